/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An edition print by print: control charts and the numbers behind the verdict. */
#include <math.h>

#include "core/memory.h"
#include "report/report_html.h"
#include "report/report_parts.h"

static const char *verdict_class(fleck_edition_verdict verdict)
{
    switch (verdict) {
    case FLECK_EDITION_REPRODUCIBLE:
        return "same";
    case FLECK_EDITION_NOT_REPRODUCIBLE:
        return "differs";
    default:
        return "unknown";
    }
}

static void add_cell(fleck_text *text, double value, double uncertainty)
{
    fleck_text_add(text, "<td>");
    report_add_rounded(text, value, uncertainty);
    fleck_text_add(text, "</td>");
}

/* Columns that only some questions ask for. */
static void add_asked(fleck_text *text, const report_data *report, const fleck_edition_measure *measure)
{
    if (report->options->rescan != NULL) {
        add_cell(text, measure->scan_sd, measure->scan_sd / 5);
        add_cell(text, measure->print_sd, measure->print_sd / 5);
    }
    if (report->edition.edition_size > 0) {
        add_cell(text, measure->hold_lo, measure->sd / 2);
        add_cell(text, measure->hold_hi, measure->sd / 2);
    }
}

static void add_asked_heads(fleck_text *text, const report_data *report)
{
    if (report->options->rescan != NULL)
        fleck_text_add(text, "<th scope=\"col\">Standard deviation of scanning</th>"
                             "<th scope=\"col\">Standard deviation of printing</th>");
    if (report->edition.edition_size > 0)
        fleck_text_add_format(text, "<th scope=\"col\">90 %% of all prints lie above</th>"
                                    "<th scope=\"col\">and below, with %g %% confidence</th>",
                              100 * report->edition.confidence);
}

/* How many prints to look at. */
static fleck_status add_plan(fleck_text *text, const fleck_edition *edition, fleck_error *err)
{
    for (size_t i = 0; i < FLECK_EDITION_PLANS && edition->edition_size > 0; i++) {
        char *const sentence = fleck_edition_plan_sentence(edition, i);

        if (sentence == NULL)
            return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the page; free some memory");
        fleck_text_add(text, "<p>");
        html_add_sentence(text, sentence, true);
        fleck_text_add(text, "</p>\n");
        fleck_free(sentence);
    }
    return FLECK_OK;
}

static void add_row(fleck_text *text, const report_data *report, const fleck_edition_measure *measure)
{
    const char *const unit = report_unit(measure->measure);
    const double reach = measure->sd / 2;

    fleck_text_add(text, "<tr><th scope=\"row\">");
    html_add_capital(text, report_label(measure->measure));
    if (unit[0] != '\0') {
        fleck_text_add(text, ", ");
        html_add(text, unit);
    }
    fleck_text_add_format(text, "</th><td>%zu</td>", measure->n);
    add_cell(text, measure->mean, reach);
    add_cell(text, measure->sd, reach / 5);
    add_cell(text, measure->lcl, reach);
    add_cell(text, measure->ucl, reach);
    fleck_text_add(text, "<td>");
    report_add_p(text, measure->trend_p);
    fleck_text_add(text, "</td>");
    add_cell(text, measure->reference, reach);
    add_cell(text, measure->tolerance, measure->tolerance / 50);
    add_asked(text, report, measure);
    fleck_text_add_format(text, "<td class=\"%s\">%s</td></tr>\n", verdict_class(measure->verdict),
                          fleck_edition_verdict_name(measure->verdict));
}

fleck_status report_add_edition(fleck_text *text, const report_data *report, fleck_error *err)
{
    const fleck_edition *const edition = &report->edition;
    fleck_status status = FLECK_OK;

    if (!report->edited)
        return FLECK_OK;
    fleck_text_add(text, "<section id=\"edition\" aria-labelledby=\"edition-title\">\n"
                         "<h2 id=\"edition-title\">The edition, print by print</h2>\n<p>");
    report_add_count(text, edition->print_count, "print", "prints");
    fleck_text_add(text, " in the order of ");
    report_add_factor(text, edition->order);
    if (edition->reference != NULL) {
        fleck_text_add(text, ", held against ");
        html_add_name(text, edition->reference);
    }
    fleck_text_add(text, ".</p>\n<div class=\"plots\">\n");
    for (size_t i = 0; status == FLECK_OK && i < edition->measure_count; i++) {
        fleck_plot plot = { .size = FLECK_PLOT_COLUMN };
        fleck_text alt = { 0 };

        fleck_text_add_format(&alt, "Control chart of %s", report_label(edition->measures[i].measure));
        if (alt.failed)
            status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a plot; free some memory");
        else if (run_plot_fill_chart(&plot, report->judged, edition, &edition->measures[i],
                                     report->reference_id))
            status = report_add_plot(text, &plot, alt.bytes, err);
        fleck_plot_clear(&plot);
        fleck_text_clear(&alt);
    }
    fleck_text_add(text, "</div>\n<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"Table: "
                         "measures of the edition\"><table class=\"numbers\">"
                         "<caption>Measures of the edition</caption>\n<thead><tr>"
                         "<th scope=\"col\">Measure</th><th scope=\"col\">Prints</th><th scope=\"col\">Mean</th>"
                         "<th scope=\"col\">Standard deviation</th><th scope=\"col\">Lower limit</th>"
                         "<th scope=\"col\">Upper limit</th><th scope=\"col\">p of a drift</th>"
                         "<th scope=\"col\">Reference</th><th scope=\"col\">Tolerance, either side</th>");
    add_asked_heads(text, report);
    fleck_text_add(text, "<th scope=\"col\">Verdict</th></tr></thead>\n<tbody>\n");
    for (size_t i = 0; i < edition->measure_count; i++) {
        if (edition->measures[i].n > 0)
            add_row(text, report, &edition->measures[i]);
    }
    fleck_text_add(text, "</tbody></table></div>\n");
    if (status == FLECK_OK)
        status = add_plan(text, edition, err);
    fleck_text_add(text, "</section>\n");
    return status;
}
