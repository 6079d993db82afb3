/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/plot_number.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MINUS "\xe2\x88\x92"
#define TIMES_TEN                                                                                  \
    "\xc3\x97"                                                                                     \
    "10"
#define DASH "\xe2\x80\x93"

static void add_raised(fleck_text *text, int exponent)
{
    static const char *const raised[] = { "\xe2\x81\xb0", "\xc2\xb9",     "\xc2\xb2",
                                          "\xc2\xb3",     "\xe2\x81\xb4", "\xe2\x81\xb5",
                                          "\xe2\x81\xb6", "\xe2\x81\xb7", "\xe2\x81\xb8",
                                          "\xe2\x81\xb9" };
    char digits[16];

    if (exponent < 0)
        fleck_text_add(text, "\xe2\x81\xbb");
    snprintf(digits, sizeof digits, "%d", abs(exponent));
    for (const char *d = digits; *d != '\0'; d++)
        fleck_text_add(text, raised[*d - '0']);
}

/* Digits with a point after the first `before` of them; `before` may be 0 or less. */
static void add_plain(fleck_text *text, const char *digits, int count, int before)
{
    if (before <= 0) {
        fleck_text_add(text, "0.");
        for (; before < 0; before++)
            fleck_text_add(text, "0");
        fleck_text_add_bytes(text, digits, (size_t)count);
        return;
    }
    fleck_text_add_bytes(text, digits, (size_t)(count < before ? count : before));
    for (int i = count; i < before; i++)
        fleck_text_add(text, "0");
    if (count > before) {
        fleck_text_add(text, ".");
        fleck_text_add_bytes(text, digits + before, (size_t)(count - before));
    }
}

/* keep_zeros: those at the end that lie behind the point stay, so that ticks of one axis look
 * alike. */
static void add_digits(fleck_text *text, const char *digits, int exponent, bool raised,
                       bool keep_zeros)
{
    int count = (int)strlen(digits);
    const int before = count + exponent;

    if (raised || !keep_zeros) {
        while (count > 1 && digits[count - 1] == '0')
            count--;
    }
    if (!raised) {
        add_plain(text, digits, count, before);
        return;
    }
    if (count > 1 || digits[0] != '1') {
        add_plain(text, digits, count, 1);
        fleck_text_add(text, TIMES_TEN);
    } else {
        fleck_text_add(text, "10");
    }
    add_raised(text, before - 1);
}

void plot_number_add_exact(fleck_text *text, int64_t whole, int exponent, bool raised)
{
    char digits[24];

    if (whole == 0) {
        fleck_text_add(text, "0");
        return;
    }
    if (whole < 0)
        fleck_text_add(text, MINUS);
    snprintf(digits, sizeof digits, "%lld", llabs((long long)whole));
    add_digits(text, digits, exponent, raised, true);
}

void plot_number_add(fleck_text *text, double value, int digits)
{
    char printed[40], kept[24];
    int count = 0, exponent;
    const char *e;

    if (!isfinite(value)) {
        fleck_text_add(text, DASH);
        return;
    }
    if (value == 0) {
        fleck_text_add(text, "0");
        return;
    }
    /* digits are picked out one by one: the point between them depends on the locale */
    snprintf(printed, sizeof printed, "%.*e", digits - 1, fabs(value));
    e = strchr(printed, 'e');
    for (const char *c = printed; c < e; c++) {
        if (*c >= '0' && *c <= '9')
            kept[count++] = *c;
    }
    kept[count] = '\0';
    exponent = atoi(e + 1);
    if (value < 0)
        fleck_text_add(text, MINUS);
    add_digits(text, kept, exponent - count + 1, exponent < -3 || exponent > 5, false);
}
