/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "study/relate_words.h"

#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/record.h"

static const struct {
    const char *measure;
    fleck_measure_words words;
} spoken[] = {
    { "ink.coverage", { "ink coverage", "", "higher", "lower" } },
    { "dots.d50_mm", { "dots", "mm", "larger", "smaller" } },
    { "dots.per_cm2", { "dots", "per cm2", "more", "fewer" } },
    { "spacing.nn_mean_mm", { "dots", "mm", "further apart", "closer together" } },
    { "flecks.mean_chord_mm", { "bare gaps", "mm", "longer", "shorter" } },
    { "spectrum.dominant_spacing_mm", { "dominant spacing", "mm", "larger", "smaller" } },
};

static const struct {
    const char *ending, *unit;
} endings[] = {
    { "_pct", "%" }, { "_percent", "%" },   { "_kg", "kg" },   { "_g", "g" },   { "_ml", "ml" },
    { "_l", "l" },   { "_mm", "mm" },       { "_um", "um" },   { "_cm", "cm" }, { "_kpa", "kPa" },
    { "_n", "N" },   { "_deg", "degrees" }, { "_c", "deg C" }, { "_s", "s" },   { "_min", "min" },
    { "_h", "h" },   { "_gsm", "g/m2" },    { "_rh", "% rH" },
};

fleck_measure_words fleck_measure_words_of(const char *measure)
{
    const fleck_key *key;

    for (size_t i = 0; i < sizeof spoken / sizeof *spoken; i++) {
        if (strcmp(spoken[i].measure, measure) == 0)
            return spoken[i].words;
    }
    key = fleck_key_find(measure);
    if (key == NULL)
        return (fleck_measure_words){ measure, "", "higher", "lower" };
    return (fleck_measure_words){ key->label, key->unit, "higher", "lower" };
}

fleck_factor_words fleck_factor_words_of(const char *column)
{
    fleck_factor_words words = { .unit = "" };
    size_t length = strlen(column);

    for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
        const size_t ending = strlen(endings[i].ending);

        if (length > ending && strcmp(column + length - ending, endings[i].ending) == 0) {
            words.unit = endings[i].unit;
            length -= ending;
            break;
        }
    }
    if (length >= sizeof words.name)
        length = sizeof words.name - 1;
    for (size_t i = 0; i < length; i++)
        words.name[i] = column[i] == '_' ? ' ' : column[i];
    return words;
}

/* printf's number with a point, whatever the host's locale. */
static void add_formatted(fleck_text *text, const char *number)
{
    const char *const point = localeconv()->decimal_point;
    const char *const at = strcmp(point, ".") != 0 ? strstr(number, point) : NULL;

    if (at == NULL) {
        fleck_text_add(text, number);
        return;
    }
    fleck_text_add_bytes(text, number, (size_t)(at - number));
    fleck_text_add(text, ".");
    fleck_text_add(text, at + strlen(point));
}

void fleck_words_add_number(fleck_text *text, double value)
{
    char number[64];

    snprintf(number, sizeof number, "%.6g", value == 0 ? 0.0 : value);
    add_formatted(text, number);
}

void fleck_words_add_rounded(fleck_text *text, double value, double uncertainty)
{
    char number[400], digits[16];
    int decimals;

    if (!(uncertainty > 0) || !isfinite(uncertainty) || !isfinite(value)) {
        fleck_words_add_number(text, value);
        return;
    }
    /* the digits as they will be printed: 0.0999 begins with 1 */
    snprintf(digits, sizeof digits, "%.1e", uncertainty);
    decimals = (digits[0] == '1') - (int)strtol(strchr(digits, 'e') + 1, NULL, 10);
    if (decimals > 17) {
        fleck_words_add_number(text, value);
        return;
    }
    if (decimals < 0) {
        const double unit = pow(10, -decimals);

        value = round(value / unit) * unit;
        decimals = 0;
    }
    snprintf(number, sizeof number, "%.*f", decimals, value);
    if (number[0] == '-' && strspn(number + 1, "0.,") == strlen(number + 1))
        memmove(number, number + 1, strlen(number));
    add_formatted(text, number);
}

void fleck_words_add_p(fleck_text *text, double p)
{
    char number[32];

    if (!(p >= 0.001)) {
        fleck_text_add(text, isnan(p) ? "p unknown" : "p < 0.001");
        return;
    }
    snprintf(number, sizeof number, p < 0.1 ? "%.2g" : "%.2f", p);
    fleck_text_add(text, "p = ");
    add_formatted(text, number);
}
