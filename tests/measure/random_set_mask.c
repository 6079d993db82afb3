/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/random_set_mask.h"

#include <stdlib.h>

#include "support/check.h"

fleck_random_set random_set_with(const struct mask *ink, const struct mask *inside,
                                 double pixel_x_mm, double pixel_y_mm,
                                 const fleck_random_set_options *options, double blur_sd_mm)
{
    const fleck_geometry geometry = { ink->width_px, ink->height_px, pixel_x_mm, pixel_y_mm };
    const size_t room = (ink->width_px + 1) / 2;
    fleck_run *runs = malloc(room * sizeof *runs), *parts = malloc(room * sizeof *parts);
    fleck_random_set_maker *maker = NULL;
    fleck_random_set set;
    fleck_error err = { FLECK_OK, "" };

    assert_non_null(runs);
    assert_non_null(parts);
    if (fleck_random_set_maker_new(&geometry, inside != NULL, options, &maker, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    for (size_t y = 0; y < ink->height_px; y++) {
        const size_t count = mask_runs(ink, y, runs);
        const size_t part_count = inside != NULL ? mask_runs(inside, y, parts) : 0;

        if (fleck_random_set_maker_row(maker, runs, count, parts, part_count, &err) != FLECK_OK)
            fail_msg("%s", err.message);
    }
    if (fleck_random_set_maker_finish(maker, blur_sd_mm, &set, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    fleck_random_set_maker_free(maker);
    free(runs);
    free(parts);
    return set;
}

fleck_random_set random_set_of(const struct mask *ink, const struct mask *inside, double pixel_x_mm,
                               double pixel_y_mm)
{
    fleck_random_set_options options = fleck_random_set_options_default();

    options.simulations = 0;
    options.longest_lag_mm = 1e6;
    return random_set_with(ink, inside, pixel_x_mm, pixel_y_mm, &options, 0);
}
