/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers, units and plots as the page shows them. */
#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "report/plot_number.h"
#include "report/report_html.h"
#include "report/report_parts.h"
#include "study/relate_words.h"

#define DASH "\xe2\x80\x93"

const char *report_label(const char *measure)
{
    const fleck_key *const key = fleck_key_find(measure);

    return key != NULL ? key->label : measure;
}

const char *report_unit(const char *measure)
{
    const fleck_key *const key = fleck_key_find(measure);

    /* the label says it: "dots per cm2" */
    if (key == NULL || (strcmp(key->unit, "1/cm2") == 0 && strstr(key->label, "per cm2") != NULL))
        return "";
    return report_pretty_unit(key->unit);
}

const char *report_pretty_unit(const char *unit)
{
    static const char *const pretty[][2] = {
        { "mm2", "mm\xc2\xb2" },
        { "1/cm2", "per cm\xc2\xb2" },
        { "1/mm", "per mm" },
        { "deg", "\xc2\xb0" },
    };

    for (size_t i = 0; i < sizeof pretty / sizeof *pretty; i++) {
        if (strcmp(unit, pretty[i][0]) == 0)
            return pretty[i][1];
    }
    return unit;
}

void report_add_number(fleck_text *text, double value)
{
    plot_number_add(text, value, 3);
}

void report_add_rounded(fleck_text *text, double value, double uncertainty)
{
    fleck_text number = { 0 };

    if (!isfinite(value)) {
        fleck_text_add(text, DASH);
        return;
    }
    if (!(uncertainty > 0)) {
        report_add_number(text, value);
        return;
    }
    fleck_words_add_rounded(&number, value, uncertainty);
    if (number.failed || number.bytes == NULL) {
        text->failed = true;
    } else if (number.bytes[0] == '-') {
        fleck_text_add(text, "\xe2\x88\x92");
        fleck_text_add(text, number.bytes + 1);
    } else {
        fleck_text_add(text, number.bytes);
    }
    fleck_text_clear(&number);
}

void report_add_p(fleck_text *text, double p)
{
    if (isnan(p)) {
        fleck_text_add(text, DASH);
    } else if (p < 0.001) {
        fleck_text_add(text, "&lt; 0.001");
    } else {
        plot_number_add(text, p, 2);
    }
}

void report_add_count(fleck_text *text, size_t count, const char *one, const char *several)
{
    fleck_text_add_format(text, "%zu %s", count, count == 1 ? one : several);
}

void report_add_factor(fleck_text *text, const char *column)
{
    const fleck_factor_words words = fleck_factor_words_of(column);

    html_add(text, words.name);
    if (words.unit[0] != '\0') {
        fleck_text_add(text, " (");
        html_add(text, words.unit);
        fleck_text_add(text, ")");
    }
}

size_t report_spread(const report_data *report, size_t column, double *mean, double *sd, double *least,
                     double *greatest)
{
    double sum = 0, squares = 0;
    size_t n = 0;

    *mean = *sd = *least = *greatest = NAN;
    for (size_t row = 0; row < report->count; row++) {
        double value;

        if (!fleck_study_number(report->study, row, column, &value) || !isfinite(value))
            continue;
        *least = n == 0 ? value : fmin(*least, value);
        *greatest = n == 0 ? value : fmax(*greatest, value);
        sum += value;
        n++;
    }
    if (n == 0)
        return 0;
    *mean = sum / (double)n;
    for (size_t row = 0; row < report->count; row++) {
        double value;

        if (fleck_study_number(report->study, row, column, &value) && isfinite(value))
            squares += (value - *mean) * (value - *mean);
    }
    if (n > 1)
        *sd = sqrt(squares / (double)(n - 1));
    return n;
}

/*
 * Numbers in attributes with at most three decimals, in place: a thousandth of a point is not seen, and a
 * third of the picture's bytes is saved. Returns the new size.
 */
static size_t shorten_numbers(unsigned char *svg, size_t size)
{
    enum { DECIMALS = 3 };
    size_t to = 0, decimals = 0;
    bool quoted = false, behind_point = false;

    for (size_t from = 0; from < size; from++) {
        const unsigned char c = svg[from];
        const bool digit = c >= '0' && c <= '9';

        if (c == '"')
            quoted = !quoted;
        if (behind_point && digit && decimals++ >= DECIMALS)
            continue;
        if (!digit) {
            behind_point = quoted && c == '.';
            decimals = 0;
        }
        svg[to++] = c;
    }
    return to;
}

fleck_status report_add_plot(fleck_text *text, fleck_plot *plot, const char *alt, fleck_error *err)
{
    char *const caption = plot->caption;
    unsigned char *bytes = NULL;
    size_t size = 0;
    fleck_status status;

    /* as text it can be read, copied and enlarged, and its glyphs need no room in the picture */
    plot->caption = NULL;
    status = fleck_plot_render(plot, FLECK_PLOT_SVG, &bytes, &size, err);
    if (status == FLECK_OK) {
        size = shorten_numbers(bytes, size);
        fleck_text_add(text, "<figure class=\"plot\"><img loading=\"lazy\" alt=\"");
        html_add(text, alt);
        fleck_text_add(text, "\" src=\"data:image/svg+xml;base64,");
        html_add_base64(text, bytes, size);
        fleck_text_add(text, "\"><figcaption>");
        html_add_capital(text, alt);
        fleck_text_add(text, ". ");
        html_add(text, caption != NULL ? caption : "");
        fleck_text_add(text, "</figcaption></figure>\n");
    }
    plot->caption = caption;
    fleck_plot_clear(plot);
    fleck_free(bytes);
    return status;
}
