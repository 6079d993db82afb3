/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "number_text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { MOST_DECIMALS = 15 };

/* The power of ten of a number's first digit, once it is rounded to so many significant digits. */
static int first_place(double value, int digits)
{
    char text[CLI_NUMBER_BYTES];
    int place = 0;

    /* printf rounds 0.0996 up to 0.10, which a logarithm does not know */
    snprintf(text, sizeof text, "%.*e", digits - 1, value);
    (void)sscanf(strchr(text, 'e') + 1, "%d", &place);
    return place;
}

int cli_decimals(double uncertainty)
{
    if (!isfinite(uncertainty) || uncertainty == 0)
        return CLI_DECIMALS_UNKNOWN;
    return 1 - first_place(uncertainty, 2);
}

const char *cli_number_decimals(char text[CLI_NUMBER_BYTES], double value, int decimals)
{
    if (isnan(value)) {
        memcpy(text, "-", 2);
        return text;
    }
    if (isinf(value) || (value != 0 && (fabs(value) >= 1e15 || fabs(value) < 1e-9))) {
        snprintf(text, CLI_NUMBER_BYTES, "%.3g", value);
        return text;
    }
    if (decimals >= CLI_DECIMALS_UNKNOWN)
        decimals = value != 0 ? 3 - first_place(value, 4) : 0;
    if (decimals > MOST_DECIMALS)
        decimals = MOST_DECIMALS;
    if (decimals < 0) {
        const double unit = pow(10, -decimals);

        value = round(value / unit) * unit;
        decimals = 0;
    }
    snprintf(text, CLI_NUMBER_BYTES, "%.*f", decimals, value);
    if (text[0] == '-' && strspn(text, "-0.") == strlen(text)) /* nothing is left of it */
        memmove(text, text + 1, strlen(text));
    return text;
}

const char *cli_number_rounded(char text[CLI_NUMBER_BYTES], double value, double uncertainty)
{
    return cli_number_decimals(text, value, cli_decimals(uncertainty));
}

const char *cli_number_p(char text[CLI_NUMBER_BYTES], double p)
{
    if (isnan(p))
        memcpy(text, "-", 2);
    else if (p < 0.0001)
        memcpy(text, "< 0.0001", 9);
    else
        snprintf(text, CLI_NUMBER_BYTES, "%.*f", p >= 0.0995 ? 2 : 1 - first_place(p, 2), p);
    return text;
}
