/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plots of everything that a table could hold: numbers of any size, names of any bytes, all kinds
 * at once. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/plot.h"
#include "report/plot_layout.h"
#include "support/check.h"

enum { VALUES = 12, NAME_BYTES = 400, SERIES_MOST = 8 };

typedef struct odd_things {
    uint64_t seed;
    char bytes[VALUES][NAME_BYTES];
    const char *names[VALUES];
} odd_things;

static size_t below(uint64_t *seed, size_t limit)
{
    return (size_t)(test_random(seed) % limit);
}

static double odd_value(uint64_t *seed)
{
    static const double odd[] = { 0,         -0.0,   1,          -1,      NAN,      INFINITY,
                                  -INFINITY, 1e300,  -1e300,     1.7e308, -1.7e308, 5e-324,
                                  0.1,       1e-300, 1000000001, 3 };

    if (below(seed, 2) == 0)
        return odd[below(seed, sizeof odd / sizeof *odd)];
    return below(seed, 2) == 0 ? 100 * test_uniform(seed) - 50
                               : pow(10, 600 * test_uniform(seed) - 300);
}

static void make_names(odd_things *things)
{
    for (size_t n = 0; n < VALUES; n++) {
        const size_t length = below(&things->seed, below(&things->seed, 3) == 0 ? NAME_BYTES : 20);

        for (size_t i = 0; i < length; i++) {
            const size_t kind = below(&things->seed, 10);

            things->bytes[n][i] = (char)(kind < 2    ? ' '
                                         : kind == 2 ? 1 + below(&things->seed, 255)
                                                     : 'a' + below(&things->seed, 26));
        }
        things->bytes[n][length] = '\0';
        things->names[n] = things->bytes[n];
    }
}

static fleck_plot_axis odd_axis(odd_things *things, size_t scales)
{
    uint64_t *const seed = &things->seed;
    fleck_plot_axis axis = { .label = things->names[0],
                             .unit = below(seed, 2) == 0 ? things->names[1] : NULL,
                             .scale = (fleck_plot_scale)below(seed, scales),
                             .from_zero = below(seed, 2) == 0,
                             .name_count = below(seed, VALUES),
                             .names = things->names };

    if (below(seed, 3) == 0) {
        axis.least = odd_value(seed);
        axis.greatest = odd_value(seed);
    }
    return axis;
}

static void add_odd_series(fleck_plot *plot, odd_things *things)
{
    uint64_t *const seed = &things->seed;
    double values[4][VALUES];

    for (size_t i = 0; i < 4 * VALUES; i++)
        values[i / VALUES][i % VALUES] = odd_value(seed);
    fleck_plot_add(plot,
                   &(fleck_plot_series){ .kind = (fleck_plot_kind)below(seed, FLECK_PLOT_NOTES + 1),
                                         .name = things->names[below(seed, VALUES)],
                                         .count = below(seed, VALUES),
                                         .x = values[0],
                                         .y = values[1],
                                         .lo = values[2],
                                         .hi = values[3],
                                         .texts = things->names,
                                         .at = values[0][0],
                                         .look = (fleck_plot_look)below(seed, 7),
                                         .marker = (fleck_plot_marker)below(seed, 9),
                                         .dash = (fleck_plot_dash)below(seed, 6),
                                         .spread = below(seed, 2) == 0 });
}

static void check_layout(const fleck_plot *plot, int number)
{
    plot_layout layout;

    assert_int_equal(plot_layout_make(plot, &layout, NULL), FLECK_OK);
    assert_true(layout.panel.right - layout.panel.left > 0.4 * layout.width_pt);
    for (size_t a = 0; a < layout.text_count; a++) {
        const plot_box box = plot_text_box(&layout.texts[a]);

        if (!(box.left >= 0 && box.top >= 0 && box.right <= layout.width_pt &&
              box.bottom <= layout.height_pt))
            fail_msg("%d: \"%s\" lies beyond the page", number, layout.texts[a].string);
        for (size_t b = 0; b < a; b++) {
            plot_text first = layout.texts[a], second = layout.texts[b];

            /* without the room for accents, which only few lines need */
            first.size_pt *= 0.8;
            second.size_pt *= 0.8;
            if (plot_boxes_meet(plot_text_box(&first), plot_text_box(&second)))
                fail_msg("%d: \"%s\" lies on \"%s\"", number, first.string, second.string);
        }
    }
    plot_layout_clear(&layout);
}

static void odd_plots_are_laid_out_and_drawn(void **state)
{
    static odd_things things = { .seed = 1 };

    (void)state;
    for (int i = 0; i < 300; i++) {
        fleck_plot plot = { .size = (fleck_plot_size)(i % 2) };
        fleck_plot_axis axis;
        unsigned char *bytes;
        size_t size;

        make_names(&things);
        axis = odd_axis(&things, 3);
        fleck_plot_set_x(&plot, &axis);
        axis = odd_axis(&things, 2);
        fleck_plot_set_y(&plot, &axis);
        for (size_t s = below(&things.seed, SERIES_MOST); s > 0; s--)
            add_odd_series(&plot, &things);
        fleck_plot_add_caption(&plot, things.names[3]);
        check_layout(&plot, i);
        if (i % 4 == 0) {
            assert_int_equal(fleck_plot_render(&plot, FLECK_PLOT_PDF, &bytes, &size, NULL),
                             FLECK_OK);
            free(bytes);
        }
        fleck_plot_clear(&plot);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(odd_plots_are_laid_out_and_drawn),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
