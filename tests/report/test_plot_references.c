/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Plots of each kind against pictures of them that were looked at and kept: the PNG as it is, and the
 * PDF as poppler draws it. `test_plot_references --renew` draws them anew; look at them before they
 * are committed.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/memory.h"
#include "report/picture_cells.h"
#include "report/plot_examples.h"
#include "support/check.h"

static const char *const shown[] = { "sizes", "spacing", "spectrum", "chords", "covariance", "order",
                                     "three-groups", "factor", "chart" };

enum { SHOWN = sizeof shown / sizeof *shown };

static void fill(const char *name, fleck_plot *plot)
{
    *plot = (fleck_plot){ .size = FLECK_PLOT_COLUMN };
    for (size_t i = 0; i < plot_example_count; i++) {
        if (strcmp(plot_examples[i].name, name) == 0)
            plot_examples[i].fill(plot);
    }
    plot->size = FLECK_PLOT_COLUMN;
    assert_true(plot->series_count > 0);
}

static picture_cells draw(const fleck_plot *plot, fleck_plot_format format)
{
    unsigned char *bytes;
    fleck_error err = { 0 };
    size_t size;
    picture_cells made;

    if (fleck_plot_render(plot, format, &bytes, &size, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    made = format == FLECK_PLOT_PDF ? picture_cells_of_pdf(bytes, size) : picture_cells_of_png(bytes, size);
    fleck_free(bytes);
    return made;
}

static void check_all(fleck_plot_format format)
{
    for (size_t i = 0; i < SHOWN; i++) {
        fleck_plot plot;

        fill(shown[i], &plot);
        check_picture_cells(draw(&plot, format), shown[i]);
        fleck_plot_clear(&plot);
    }
}

static void png_of_each_kind_is_as_it_was_looked_at(void **state)
{
    (void)state;
    check_all(FLECK_PLOT_PNG);
}

static void pdf_of_each_kind_is_the_same_picture(void **state)
{
    (void)state;
    check_all(FLECK_PLOT_PDF);
}

/* Let a change befall each series of each plot in turn; every one must be noticed. */
static void check_noticed(const char *change, bool (*befall)(fleck_plot *plot, size_t at))
{
    for (size_t i = 0; i < SHOWN; i++) {
        size_t count = 1;

        for (size_t s = 0; s < count; s++) {
            fleck_plot plot;

            fill(shown[i], &plot);
            count = plot.series_count;
            if (befall(&plot, s) && picture_cells_off(draw(&plot, FLECK_PLOT_PNG), shown[i]) <= 1)
                fail_msg("%s with series %zu %s looks as kept", shown[i], s, change);
            fleck_plot_clear(&plot);
        }
    }
}

static bool leave_out(fleck_plot *plot, size_t at)
{
    fleck_plot_series *const series = &plot->series[at];
    const bool on_line = series->kind == FLECK_PLOT_POINTS && at > 0 &&
                         plot->series[at - 1].kind == FLECK_PLOT_LINE &&
                         plot->series[at - 1].look == series->look;
    const bool rule = series->kind == FLECK_PLOT_RULE_X || series->kind == FLECK_PLOT_RULE_Y;

    /* a few signs, or small ones upon a line of their colour, are less than what a font may change */
    if (on_line || (!rule && series->count < 4))
        return false;
    if (rule)
        series->at = (double)NAN;
    else
        series->count = 0;
    return true;
}

static void a_series_left_out_is_noticed(void **state)
{
    (void)state;
    check_noticed("left out", leave_out);
}

/* Up by a twentieth of its own height. */
static bool shift(fleck_plot *plot, size_t at)
{
    fleck_plot_series *const series = &plot->series[at];
    /* the plot's own copies */
    double *const arrays[] = { (double *)series->y, (double *)series->lo, (double *)series->hi };
    double least = (double)INFINITY, greatest = -(double)INFINITY;

    for (size_t a = 0; a < sizeof arrays / sizeof *arrays; a++) {
        for (size_t i = 0; arrays[a] != NULL && i < series->count; i++) {
            least = fmin(least, arrays[a][i]);
            greatest = fmax(greatest, arrays[a][i]);
        }
    }
    if (!(greatest > least))
        return false;
    for (size_t a = 0; a < sizeof arrays / sizeof *arrays; a++) {
        for (size_t i = 0; arrays[a] != NULL && i < series->count; i++)
            arrays[a][i] += (greatest - least) / 20;
    }
    return true;
}

static void a_series_shifted_is_noticed(void **state)
{
    (void)state;
    check_noticed("shifted", shift);
}

static int renew(void)
{
    bool kept = true;

    for (size_t i = 0; i < SHOWN; i++) {
        fleck_plot plot;

        fill(shown[i], &plot);
        kept = picture_cells_keep(draw(&plot, FLECK_PLOT_PNG), shown[i]) && kept;
        fleck_plot_clear(&plot);
    }
    return kept ? 0 : 1;
}

int main(int argc, char **argv)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(png_of_each_kind_is_as_it_was_looked_at),
        cmocka_unit_test(pdf_of_each_kind_is_the_same_picture),
        cmocka_unit_test(a_series_left_out_is_noticed),
        cmocka_unit_test(a_series_shifted_is_noticed),
    };

    if (argc == 2 && strcmp(argv[1], "--renew") == 0)
        return renew();
    return cmocka_run_group_tests(tests, NULL, NULL);
}
