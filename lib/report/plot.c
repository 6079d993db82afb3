/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The description of a plot: it owns copies of all it was given, its texts are clean UTF-8. */
#include "fleck/plot.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "core/utf8.h"

enum { LONGEST_TEXT = 20000 }; /* bytes; more than any page holds */

static void keep_failure(fleck_plot *plot, fleck_status status, const char *message)
{
    if (plot->error.status == FLECK_OK)
        fleck_fail(&plot->error, status, "%s", message);
}

static void keep_no_memory(fleck_plot *plot)
{
    keep_failure(plot, FLECK_NO_RESOURCE, "no memory for the plot; free some memory");
}

/* What an XML reader or a font would refuse is replaced; NULL stays NULL. */
static char *copy_clean(fleck_plot *plot, const char *text)
{
    fleck_text clean = { 0 };
    size_t left;

    if (text == NULL)
        return NULL;
    fleck_text_add(&clean, "");
    for (left = strlen(text); left > 0 && clean.length < LONGEST_TEXT;) {
        uint32_t character = 0;
        const size_t length = fleck_utf8_next(text, left, &character);

        if (length == 0 || character == 0xfffe || character == 0xffff)
            fleck_text_add(&clean, "\xef\xbf\xbd");
        else if ((character < 0x20 && character != '\n') || (character >= 0x7f && character < 0xa0))
            fleck_text_add(&clean, " ");
        else
            fleck_text_add_bytes(&clean, text, length);
        text += length > 0 ? length : 1;
        left -= length > 0 ? length : 1;
    }
    if (clean.failed) {
        fleck_text_clear(&clean);
        keep_no_memory(plot);
    }
    return clean.bytes;
}

static double *copy_values(fleck_plot *plot, const double *values, size_t count)
{
    double *copy;

    if (values == NULL)
        return NULL;
    copy = fleck_alloc_array(count, sizeof *copy);
    if (copy == NULL)
        keep_no_memory(plot);
    else if (count > 0)
        memcpy(copy, values, count * sizeof *copy);
    return copy;
}

/* A missing text becomes an empty one. */
static const char *const *copy_texts(fleck_plot *plot, const char *const *texts, size_t count)
{
    char **copy;

    if (texts == NULL)
        return NULL;
    copy = fleck_alloc_zeroed(count, sizeof *copy);
    if (copy == NULL) {
        keep_no_memory(plot);
        return NULL;
    }
    for (size_t i = 0; i < count; i++)
        copy[i] = copy_clean(plot, texts[i] != NULL ? texts[i] : "");
    return (const char *const *)copy;
}

static void free_texts(const char *const *texts, size_t count)
{
    if (texts == NULL)
        return;
    for (size_t i = 0; i < count; i++)
        fleck_free((char *)texts[i]);
    fleck_free((char **)texts);
}

static void clear_axis(fleck_plot_axis *axis)
{
    fleck_free((char *)axis->label);
    fleck_free((char *)axis->unit);
    free_texts(axis->names, axis->name_count);
    *axis = (fleck_plot_axis){ 0 };
}

static void clear_series(fleck_plot_series *series)
{
    fleck_free((char *)series->name);
    fleck_free((double *)series->x);
    fleck_free((double *)series->y);
    fleck_free((double *)series->lo);
    fleck_free((double *)series->hi);
    free_texts(series->texts, series->count);
}

static void set_axis(fleck_plot *plot, fleck_plot_axis *to, const fleck_plot_axis *axis)
{
    clear_axis(to);
    *to = *axis;
    to->label = copy_clean(plot, axis->label);
    to->unit = copy_clean(plot, axis->unit);
    to->names = copy_texts(plot, axis->names, axis->name_count);
    if (to->names == NULL)
        to->name_count = 0;
}

void fleck_plot_set_x(fleck_plot *plot, const fleck_plot_axis *axis)
{
    set_axis(plot, &plot->x, axis);
}

void fleck_plot_set_y(fleck_plot *plot, const fleck_plot_axis *axis)
{
    set_axis(plot, &plot->y, axis);
    if (axis->scale == FLECK_PLOT_NAMES)
        keep_failure(plot, FLECK_BAD_CALL, "names stand on the x axis only; exchange the axes");
}

void fleck_plot_add(fleck_plot *plot, const fleck_plot_series *series)
{
    enum { X = 1, Y = 2, LO = 4, HI = 8, TEXTS = 16 };
    static const unsigned needed[] = {
        [FLECK_PLOT_LINE] = X | Y,
        [FLECK_PLOT_POINTS] = X | Y,
        [FLECK_PLOT_BARS] = LO | HI | Y,
        [FLECK_PLOT_STEPS] = LO | HI | Y,
        [FLECK_PLOT_INTERVALS] = X | Y | LO | HI,
        [FLECK_PLOT_BAND] = X | LO | HI,
        [FLECK_PLOT_RULE_X] = 0,
        [FLECK_PLOT_RULE_Y] = 0,
        [FLECK_PLOT_NOTES] = X | Y | TEXTS,
    };
    const unsigned there = (series->x != NULL ? X : 0) | (series->y != NULL ? Y : 0) |
                           (series->lo != NULL ? LO : 0) | (series->hi != NULL ? HI : 0) |
                           (series->texts != NULL ? TEXTS : 0);
    fleck_plot_series *list, *to;
    unsigned needs;

    if ((unsigned)series->kind >= sizeof needed / sizeof *needed) {
        keep_failure(plot, FLECK_BAD_CALL, "there is no such kind of series; give one of the list");
        return;
    }
    needs = needed[series->kind];
    if (series->count > 0 && (needs & ~there) != 0) {
        keep_failure(plot, FLECK_BAD_CALL,
                     "a series lacks an array that its kind needs; give all of them");
        return;
    }
    list = fleck_grow(plot->series, &plot->series_capacity, plot->series_count, sizeof *list);
    if (list == NULL) {
        keep_no_memory(plot);
        return;
    }
    plot->series = list;
    to = &list[plot->series_count++];
    *to = *series;
    if (needs == 0)
        to->count = 0;
    to->name = copy_clean(plot, series->name);
    to->x = needs & X ? copy_values(plot, series->x, to->count) : NULL;
    to->y = needs & Y ? copy_values(plot, series->y, to->count) : NULL;
    to->lo = needs & LO ? copy_values(plot, series->lo, to->count) : NULL;
    to->hi = needs & HI ? copy_values(plot, series->hi, to->count) : NULL;
    to->texts = needs & TEXTS ? copy_texts(plot, series->texts, to->count) : NULL;
}

void fleck_plot_add_caption(fleck_plot *plot, const char *sentences)
{
    fleck_text whole = { 0 };
    char *const clean = copy_clean(plot, sentences);

    if (clean == NULL)
        return;
    if (plot->caption != NULL) {
        fleck_text_add(&whole, plot->caption);
        if (whole.length > 0 && whole.bytes[whole.length - 1] != '\n')
            fleck_text_add(&whole, " ");
    }
    fleck_text_add(&whole, clean);
    fleck_free(clean);
    if (whole.failed) {
        fleck_text_clear(&whole);
        keep_no_memory(plot);
        return;
    }
    fleck_free(plot->caption);
    plot->caption = whole.bytes;
}

void fleck_plot_clear(fleck_plot *plot)
{
    fleck_plot_size size;

    if (plot == NULL)
        return;
    size = plot->size;
    clear_axis(&plot->x);
    clear_axis(&plot->y);
    for (size_t i = 0; i < plot->series_count; i++)
        clear_series(&plot->series[i]);
    fleck_free(plot->series);
    fleck_free(plot->caption);
    *plot = (fleck_plot){ .size = size };
}
