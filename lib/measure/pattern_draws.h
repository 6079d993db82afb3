/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Patterns of dots as the Boolean model of discs gives them. */
#ifndef FLECK_MEASURE_PATTERN_DRAWS_H
#define FLECK_MEASURE_PATTERN_DRAWS_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/pattern.h"
#include "measure/pattern_window.h"

/* What to draw and what to look at. All borrowed. */
typedef struct fleck_pattern_null {
    const fleck_geometry *geometry;
    const fleck_pattern_window *window;
    const fleck_disc_model *grains;
    double blur_sd_mm;
    uint64_t least_area_px;
    const double *r_mm;
    size_t count; /* distances */
} fleck_pattern_null;

/*
 * L(r) - r of points in a window, `count` values; all NAN of fewer than two points.
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_pattern_curve(const fleck_pattern_null *null, const fleck_point_mm *points,
                                 size_t n, double *l_mm, fleck_error *err);

/*
 * The same for draws of the model: discs on the pixels of window->drawn, dots labelled and those
 * below the cutoff left out as in a patch, centroids in window->points.
 *
 * curves    out: of one draw after the other, null->count values each; a draw depends on the seed
 *           and its number alone
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_pattern_draw_curves(const fleck_pattern_null *null, size_t draws, uint64_t seed,
                                       unsigned threads, double *curves, fleck_error *err);

#endif
