/* SPDX-License-Identifier: GPL-3.0-or-later */
/* All patches in one table, which the page's script sorts and filters. */
#include <math.h>

#include "report/report_html.h"
#include "report/report_parts.h"

static void add_head(fleck_text *text, const report_data *report)
{
    fleck_text_add(text, "<thead><tr><th scope=\"col\">Patch</th>");
    for (size_t i = 0; i < report->factor_count; i++) {
        fleck_text_add(text, "<th scope=\"col\">");
        report_add_factor(text, fleck_study_column_name(report->study, report->factors[i]));
        fleck_text_add(text, "</th>");
    }
    for (size_t i = 0; i < report->measure_count; i++) {
        const char *const unit = report_unit(report->measures[i]);

        fleck_text_add(text, "<th scope=\"col\">");
        html_add_capital(text, report_label(report->measures[i]));
        if (unit[0] != '\0') {
            fleck_text_add(text, ", ");
            html_add(text, unit);
        }
        fleck_text_add(text, "</th>");
    }
    fleck_text_add(text, "<th scope=\"col\">Order of dots</th><th scope=\"col\">Warnings</th></tr></thead>\n");
}

static void add_value(fleck_text *text, const report_data *report, size_t row, size_t column, double sd)
{
    double value;

    if (!fleck_study_number(report->study, row, column, &value) || !isfinite(value)) {
        fleck_text_add(text, "<td data-value=\"\">\xe2\x80\x93</td>");
        return;
    }
    fleck_text_add(text, "<td data-value=\"");
    fleck_text_add_number(text, value);
    fleck_text_add(text, "\">");
    report_add_rounded(text, value, sd / 5);
    fleck_text_add(text, "</td>");
}

static void add_row(fleck_text *text, const report_data *report, size_t row, const double *sds)
{
    const fleck_record *const record = &report->records[row];
    const bool speckled = record->speckle != NULL && record->speckle[0] == 'p';

    fleck_text_add_format(text, "<tr><th scope=\"row\"><a href=\"#patch-%zu\">", row + 1);
    html_add_name(text, fleck_study_id(report->study, row));
    fleck_text_add(text, "</a></th>");
    for (size_t i = 0; i < report->factor_count; i++) {
        fleck_text_add(text, "<td>");
        html_add_name(text, fleck_study_text(report->study, row, report->factors[i]));
        fleck_text_add(text, "</td>");
    }
    for (size_t i = 0; i < report->measure_count; i++)
        add_value(text, report, row, report->measure_columns[i], sds[i]);
    fleck_text_add(text, "<td>");
    if (!speckled && record->speckle != NULL)
        html_add(text, record->speckle);
    else
        html_add(text, record->pattern.order != NULL ? record->pattern.order : "\xe2\x80\x93");
    fleck_text_add_format(text, "</td><td data-value=\"%zu\">%zu</td></tr>\n", record->warnings.count,
                          record->warnings.count);
}

void report_add_table(fleck_text *text, const report_data *report)
{
    double sds[64] = { 0 };

    for (size_t i = 0; i < report->measure_count && i < sizeof sds / sizeof *sds; i++) {
        double mean, least, greatest;

        report_spread(report, report->measure_columns[i], &mean, &sds[i], &least, &greatest);
    }
    fleck_text_add(text, "<section id=\"table\" aria-labelledby=\"table-title\">\n"
                         "<h2 id=\"table-title\">All numbers</h2>\n"
                         "<p class=\"tools\" hidden><label for=\"filter\">Show rows with</label> "
                         "<input id=\"filter\" type=\"search\" autocomplete=\"off\"> "
                         "<span id=\"found\" role=\"status\"></span></p>\n"
                         "<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"Table: all patches\">"
                         "<table class=\"numbers\" id=\"patches-table\"><caption>Main measures of each patch. "
                         "<span class=\"scripted\">A column\xe2\x80\x99s name sorts by it. </span>The run\xe2\x80\x99s "
                         "patches.csv has all measures.</caption>\n");
    add_head(text, report);
    fleck_text_add(text, "<tbody>\n");
    for (size_t row = 0; row < report->count; row++)
        add_row(text, report, row, sds);
    fleck_text_add(text, "</tbody></table></div>\n</section>\n");
}
