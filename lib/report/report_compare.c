/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Groups against each other: tables, and every patch as a point. */
#include <math.h>

#include "report/report_html.h"
#include "report/report_parts.h"

/* A page is read; the rest is for the command. */
enum { MOST_PAIRS = 20 };

static void add_measure_head(fleck_text *text, const char *label, const char *unit)
{
    fleck_text_add(text, "<tr><th scope=\"row\">");
    html_add_capital(text, label);
    if (unit[0] != '\0') {
        fleck_text_add(text, ", ");
        html_add(text, unit);
    }
    fleck_text_add(text, "</th>");
}

static void add_cell(fleck_text *text, double value, double uncertainty)
{
    fleck_text_add(text, "<td>");
    report_add_rounded(text, value, uncertainty);
    fleck_text_add(text, "</td>");
}

static const char *verdict_class(fleck_verdict verdict)
{
    switch (verdict) {
    case FLECK_VERDICT_NOT_THE_SAME:
        return "differs";
    case FLECK_VERDICT_SAME:
        return "same";
    default:
        return "unknown";
    }
}

static void add_row(fleck_text *text, const report_data *report, const fleck_comparison *one)
{
    /* two digits of what is uncertain, so that means and their difference agree */
    const double reach = (one->ci_hi - one->ci_lo) / 2 / 5;

    add_measure_head(text, report_label(report->compare.measures[one->measure].measure),
                     report_unit(report->compare.measures[one->measure].measure));
    add_cell(text, one->mean_a, reach);
    add_cell(text, one->mean_b, reach);
    add_cell(text, one->difference, reach);
    fleck_text_add(text, "<td>");
    if (isfinite(reach)) {
        report_add_rounded(text, one->ci_lo, reach);
        fleck_text_add(text, " to ");
        report_add_rounded(text, one->ci_hi, reach);
    } else {
        fleck_text_add(text, "\xe2\x80\x93");
    }
    fleck_text_add(text, "</td><td>");
    report_add_p(text, one->p_permutation);
    fleck_text_add(text, "</td><td>");
    report_add_p(text, one->p_holm);
    fleck_text_add_format(text, "</td><td>%zu + %zu</td><td class=\"%s\">%s</td></tr>\n", one->n_a, one->n_b,
                          verdict_class(one->verdict), fleck_verdict_name(one->verdict));
}

static void add_pair(fleck_text *text, const report_data *report, size_t pair)
{
    const fleck_compare *const compare = &report->compare;
    const fleck_comparison *const first = &compare->comparisons[pair * compare->measure_count];
    const char *const a = compare->groups[first->group_a].name;
    const char *const b = compare->groups[first->group_b].name;

    fleck_text_add(text, "<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"Table: ");
    html_add(text, b);
    fleck_text_add(text, " against ");
    html_add(text, a);
    fleck_text_add(text, "\"><table class=\"numbers\"><caption>");
    report_add_factor(text, report->options->by);
    fleck_text_add(text, ": ");
    html_add_name(text, b);
    fleck_text_add(text, " against ");
    html_add_name(text, a);
    fleck_text_add(text, "</caption>\n<thead><tr><th scope=\"col\">Measure</th><th scope=\"col\">");
    html_add_name(text, a);
    fleck_text_add(text, "</th><th scope=\"col\">");
    html_add_name(text, b);
    fleck_text_add(text, "</th><th scope=\"col\">Difference</th><th scope=\"col\">95 % interval</th>"
                         "<th scope=\"col\">p</th><th scope=\"col\">p over all measures</th>"
                         "<th scope=\"col\">n</th><th scope=\"col\">Verdict</th></tr></thead>\n<tbody>\n");
    for (size_t i = 0; i < compare->measure_count; i++) {
        if (compare->measures[first[i].measure].n > 0)
            add_row(text, report, &first[i]);
    }
    fleck_text_add(text, "</tbody></table></div>\n<details class=\"words\"><summary>The same in words</summary>\n<ul>\n");
    for (size_t i = 0; i < compare->measure_count; i++) {
        if (compare->measures[first[i].measure].n == 0)
            continue;
        fleck_text_add(text, "<li>");
        html_add_sentence(text, first[i].sentence, true);
        fleck_text_add(text, "</li>\n");
    }
    fleck_text_add(text, "</ul></details>\n");
}

static fleck_status add_plots(fleck_text *text, const report_data *report, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    fleck_text_add(text, "<div class=\"plots pairs\">\n");
    for (size_t i = 0; status == FLECK_OK && i < report->measure_count; i++) {
        fleck_plot groups = { .size = FLECK_PLOT_COLUMN }, fit = { .size = FLECK_PLOT_COLUMN };
        fleck_text alt = { 0 };

        fleck_text_add_format(&alt, "%s in groups, every patch a point", report_label(report->measures[i]));
        if (alt.failed)
            status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a plot; free some memory");
        else if (run_plot_fill_groups(&groups, report->study, report->by, &report->groups,
                                      report->measure_columns[i]))
            status = report_add_plot(text, &groups, alt.bytes, err);
        fleck_text_clear(&alt);
        if (status == FLECK_OK && report->groups.numeric && report->groups.count >= 3) {
            fleck_text_add_format(&alt, "%s as a straight line", report_label(report->measures[i]));
            if (alt.failed)
                status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a plot; free some memory");
            else if (run_plot_fill_factor(&fit, report->study, report->by, report->measure_columns[i]))
                status = report_add_plot(text, &fit, alt.bytes, err);
            fleck_text_clear(&alt);
        }
        fleck_plot_clear(&groups);
        fleck_plot_clear(&fit);
    }
    fleck_text_add(text, "</div>\n");
    return status;
}

fleck_status report_add_comparisons(fleck_text *text, const report_data *report, fleck_error *err)
{
    const size_t pairs = report->compare.size_count;
    fleck_status status;

    if (!report->compared)
        return FLECK_OK;
    fleck_text_add(text, "<section id=\"comparisons\" aria-labelledby=\"comparisons-title\">\n"
                         "<h2 id=\"comparisons-title\">Groups by ");
    report_add_factor(text, report->options->by);
    fleck_text_add(text, "</h2>\n");
    status = add_plots(text, report, err);
    for (size_t i = 0; i < pairs && i < MOST_PAIRS; i++)
        add_pair(text, report, i);
    if (pairs > MOST_PAIRS)
        fleck_text_add_format(text,
                              "<p>The first %d of %zu pairs of groups are shown; <code>fleck compare</code> "
                              "gives all.</p>\n",
                              MOST_PAIRS, pairs);
    fleck_text_add(text, "</section>\n");
    return status;
}
