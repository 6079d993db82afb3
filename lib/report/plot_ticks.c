/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/plot_ticks.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "core/text.h"
#include "report/plot_number.h"

/* A limit that a tick misses by rounding alone still has it. */
#define SLACK 1e-9

/* False, and no label, when it is too long (a plain number of 300 digits). */
static bool write_label(plot_tick *tick, int64_t whole, int exponent, bool raised)
{
    fleck_text text = { 0 };
    bool fits;

    plot_number_add_exact(&text, whole, exponent, raised);
    fits = !text.failed && text.length < sizeof tick->label;
    if (fits)
        memcpy(tick->label, text.bytes, text.length + 1);
    else
        tick->label[0] = '\0';
    fleck_text_clear(&text);
    return fits;
}

/* In characters. */
static size_t longest_label(const plot_ticks *ticks)
{
    size_t longest = 0;

    for (size_t i = 0; i < ticks->count; i++) {
        size_t length = 0;

        for (const char *c = ticks->tick[i].label; *c != '\0'; c++)
            length += (*c & 0xc0) != 0x80;
        longest = length > longest ? length : longest;
    }
    return longest;
}

/* whole * 10^exponent, correctly rounded as long as the power is exact. */
static double tick_value(int64_t whole, int exponent)
{
    return exponent < 0 ? (double)whole / pow(10, -exponent) : (double)whole * pow(10, exponent);
}

void plot_ticks_linear(double least, double greatest, size_t most, plot_ticks *out)
{
    static const int mantissas[] = { 1, 2, 5 };
    enum { LONGEST_PLAIN = 7 };
    /* one decade below what could be right; the loop ends at the first step with few enough ticks
     */
    int exponent = (int)floor(log10((greatest - least) / (double)most)) - 1;
    int mantissa = 0;
    double first, last, step;
    bool plain_fits = true;

    out->count = 0;
    if (exponent < -300)
        exponent = -300;
    for (;; mantissa = (mantissa + 1) % 3, exponent += mantissa == 0) {
        step = tick_value(mantissas[mantissa], exponent);
        first = ceil(least / step - SLACK);
        last = floor(greatest / step + SLACK);
        if (last - first + 1 <= (double)most)
            break;
    }
    for (int raised = 0; raised < 2; raised++) {
        plot_ticks ticks = { 0 };
        bool fit = true;

        for (double k = first; k <= last && ticks.count < PLOT_TICKS_MOST; k++) {
            plot_tick *const tick = &ticks.tick[ticks.count++];
            const int64_t whole = (int64_t)k * mantissas[mantissa];

            tick->value = tick_value(whole, exponent);
            fit = write_label(tick, whole, exponent, raised != 0) && fit;
        }
        if (raised == 0 || !plain_fits || longest_label(&ticks) < longest_label(out))
            *out = ticks;
        plain_fits = fit;
        if (raised == 0 && fit && longest_label(out) <= LONGEST_PLAIN)
            break;
    }
}

void plot_ticks_log(double least, double greatest, size_t coarseness, plot_ticks *out)
{
    static const int every[PLOT_COARSEST + 1] = { 1, 1, 2, 3, 5, 10, 20, 50, 100 };
    enum {
        LINEAR_MOST = 6,
        SMALL_DECADES = 4,
        SMALL_MOST = 40,
        PLAIN_LEAST = -3,
        PLAIN_GREATEST = 4
    };
    const int from = (int)floor(log10(least)), to = (int)ceil(log10(greatest));
    const int apart = every[coarseness];
    const bool raised =
        log10(least) < PLAIN_LEAST - 0.01 || log10(greatest) > PLAIN_GREATEST + 0.99;
    /* the limits lie inside the outermost decades */
    const bool small = to - from <= SMALL_DECADES + 1, small_decades = to - from <= SMALL_MOST + 1;
    size_t labels = 0;

    out->count = 0;
    for (int decade = from; decade <= to; decade++) {
        for (int digit = 1; digit < 10; digit++) {
            const double value = tick_value(digit, decade);
            const bool labelled =
                digit == 1 ? decade % apart == 0 : coarseness == 0 && (digit == 2 || digit == 5);
            plot_tick *const tick = &out->tick[out->count];

            if (value < least * (1 - SLACK) || value > greatest * (1 + SLACK) ||
                (!labelled && !(digit > 1 ? small : small_decades)) ||
                out->count == PLOT_TICKS_MOST)
                continue;
            tick->value = value;
            tick->label[0] = '\0';
            if (labelled) {
                write_label(tick, digit, decade, raised);
                labels++;
            }
            out->count++;
        }
    }
    if (labels < 2 && coarseness == 0)
        plot_ticks_linear(least, greatest, LINEAR_MOST, out);
}
