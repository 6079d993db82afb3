/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One pass over the rows of a patch for all that describes it as a random set. Rows are kept as
 * bits, as many as the longest step of the covariance reaches back; the middle of the region is
 * kept whole for what needs a picture: openings and the test of fit.
 */
#include "fleck/random_set.h"

#include <math.h>

#include "core/memory.h"
#include "core/versioned.h"
#include "measure/chord_lengths.h"
#include "measure/covariance.h"
#include "measure/euler.h"
#include "measure/grain.h"
#include "measure/granulometry.h"

enum { DEG0, DEG90, DEG45, DEG135, DIRECTIONS };
/* y points down in rows of pixels and up in angles */
static const fleck_step neighbours[DIRECTIONS] = {
    [DEG0] = { 1, 0 }, [DEG90] = { 0, 1 }, [DEG45] = { -1, 1 }, [DEG135] = { 1, 1 }
};

struct fleck_random_set_maker {
    fleck_geometry geometry;
    bool masked;
    fleck_random_set_options options;
    size_t next_row;
    fleck_bit_rows ink, inside;
    size_t window_left, window_top;
    fleck_bit_rows window, window_inside;
    fleck_run *clipped; /* runs of one row within the window */
    fleck_lags lags;
    fleck_pairs crossings[DIRECTIONS];
    fleck_chord_counter chords;
    uint64_t inside_px, ink_px;
    int64_t euler;
};

void fleck_random_set_options_init(fleck_random_set_options *options, size_t struct_bytes)
{
    const fleck_random_set_options defaults = { .longest_lag_mm = 4,
                                       .window_px = (size_t)1 << 19,
                                       .simulations = 49,
                                       .seed = 1,
                                       .threads = 1 };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

/* The window has the region's proportions. */
static void choose_window(fleck_random_set_maker *maker, size_t *width_px, size_t *height_px)
{
    const double w = (double)maker->geometry.width_px, h = (double)maker->geometry.height_px;
    const double shrink = fmin(sqrt((double)maker->options.window_px / w / h), 1);

    *width_px = shrink < 1 ? (size_t)fmax(floor(w * shrink), 1) : maker->geometry.width_px;
    *height_px = shrink < 1 ? (size_t)fmax(floor(h * shrink), 1) : maker->geometry.height_px;
    maker->window_left = (maker->geometry.width_px - *width_px) / 2;
    maker->window_top = (maker->geometry.height_px - *height_px) / 2;
}

static fleck_status check_call(const fleck_geometry *geometry,
                               const fleck_random_set_options *options, fleck_error *err)
{
    if (geometry->width_px == 0 || geometry->height_px == 0 || geometry->width_px > INT32_MAX ||
        geometry->height_px > INT32_MAX)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "a region of %zu x %zu px cannot be measured; its sides are 1 to 2147483647 px",
            geometry->width_px, geometry->height_px);
    if (!(options->longest_lag_mm > 0) || options->window_px < 64 * 64 || options->threads < 1)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "longest lag %g mm, window %zu px, %u threads; give a lag above 0, at least "
            "4096 px and 1 thread",
            options->longest_lag_mm, options->window_px, options->threads);
    return FLECK_OK;
}

fleck_status fleck_random_set_maker_new(const fleck_geometry *geometry, bool masked,
                                        const fleck_random_set_options *options,
                                        fleck_random_set_maker **out, fleck_error *err)
{
    const double side_mm = fmin(geometry->pixel_x_mm * (double)geometry->width_px,
                                geometry->pixel_y_mm * (double)geometry->height_px);
    fleck_random_set_options known = fleck_random_set_options_default();
    fleck_random_set_maker *maker = NULL;
    size_t width_px, height_px, kept;
    fleck_step reach;
    fleck_status status;

    *out = NULL;
    if ((status = fleck_versioned_take(options, &known, sizeof known, "options of the random set", err)) != FLECK_OK)
        return status;
    options = &known;
    if ((status = check_call(geometry, options, err)) != FLECK_OK)
        return status;
    maker = fleck_alloc_zeroed(1, sizeof *maker);
    if (maker == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory to measure this patch; free some memory");
    maker->geometry = *geometry;
    maker->masked = masked;
    maker->options = *options;
    status =
        fleck_lags_fill(&maker->lags, geometry, fmin(options->longest_lag_mm, side_mm / 3), err);
    if (status != FLECK_OK)
        goto done;
    reach = fleck_lags_reach(&maker->lags);
    kept = (size_t)reach.dy_px + 1;
    status = fleck_bit_rows_init(&maker->ink, geometry->width_px, kept, (size_t)reach.dx_px, err);
    if (status == FLECK_OK && masked)
        status =
            fleck_bit_rows_init(&maker->inside, geometry->width_px, kept, (size_t)reach.dx_px, err);
    choose_window(maker, &width_px, &height_px);
    if (status == FLECK_OK)
        status = fleck_bit_rows_init(&maker->window, width_px, height_px, 1, err);
    if (status == FLECK_OK && masked)
        status = fleck_bit_rows_init(&maker->window_inside, width_px, height_px, 1, err);
    if (status == FLECK_OK)
        status =
            fleck_chord_counter_init(&maker->chords, geometry->width_px, geometry->height_px, err);
    if (status == FLECK_OK) {
        maker->clipped = fleck_alloc_array(width_px / 2 + 1, sizeof *maker->clipped);
        if (maker->clipped == NULL)
            status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for one row; free some memory");
    }
    if (status == FLECK_OK) {
        *out = maker;
        maker = NULL;
    }
done:
    fleck_random_set_maker_free(maker);
    return status;
}

static bool runs_fit(const fleck_run *runs, size_t count, size_t width_px)
{
    size_t free_from = 0;

    for (size_t i = 0; i < count; i++) {
        if (runs[i].start_px < free_from || runs[i].end_px <= runs[i].start_px ||
            runs[i].end_px > width_px)
            return false;
        free_from = (size_t)runs[i].end_px + 1;
    }
    return true;
}

static bool runs_within(const fleck_run *runs, size_t count, const fleck_run *inside,
                        size_t inside_count)
{
    size_t part = 0;

    for (size_t i = 0; i < count; i++) {
        while (part < inside_count && inside[part].end_px < runs[i].end_px)
            part++;
        if (part == inside_count || inside[part].start_px > runs[i].start_px)
            return false;
    }
    return true;
}

/* The part of a row that the window shows. */
static void keep_in_window(fleck_random_set_maker *maker, fleck_bit_rows *window,
                           const fleck_run *runs, size_t count)
{
    const size_t left = maker->window_left, right = left + window->width_px;
    size_t n = 0;

    for (size_t i = 0; i < count; i++) {
        const size_t start = runs[i].start_px > left ? runs[i].start_px : left;
        const size_t end = runs[i].end_px < right ? runs[i].end_px : right;

        if (start < end)
            maker->clipped[n++] = (fleck_run){ (uint32_t)(start - left), (uint32_t)(end - left) };
    }
    fleck_bit_rows_set(window, maker->next_row - maker->window_top, maker->clipped, n);
}

fleck_status fleck_random_set_maker_row(fleck_random_set_maker *maker, const fleck_run *ink,
                                        size_t ink_count, const fleck_run *inside,
                                        size_t inside_count, fleck_error *err)
{
    const size_t width_px = maker->geometry.width_px, y = maker->next_row;
    const fleck_run whole_row = { 0, (uint32_t)width_px };
    const fleck_bit_rows *const inside_rows = maker->masked ? &maker->inside : NULL;

    if (!maker->masked) {
        inside = &whole_row;
        inside_count = 1;
    }
    if (y >= maker->geometry.height_px || !runs_fit(ink, ink_count, width_px) ||
        !runs_fit(inside, inside_count, width_px) ||
        !runs_within(ink, ink_count, inside, inside_count))
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "row %zu lies below the region or its runs leave it; hand over each row once", y);
    fleck_bit_rows_set(&maker->ink, y, ink, ink_count);
    if (maker->masked)
        fleck_bit_rows_set(&maker->inside, y, inside, inside_count);
    if (y >= maker->window_top && y < maker->window_top + maker->window.rows) {
        keep_in_window(maker, &maker->window, ink, ink_count);
        if (maker->masked)
            keep_in_window(maker, &maker->window_inside, inside, inside_count);
    }
    maker->ink_px += fleck_bit_rows_set_before(&maker->ink, y, width_px);
    maker->inside_px +=
        maker->masked ? fleck_bit_rows_set_before(&maker->inside, y, width_px) : width_px;
    for (size_t i = 0; i < DIRECTIONS; i++)
        fleck_pairs_add_row(&maker->crossings[i], neighbours[i], &maker->ink, inside_rows, y);
    maker->euler += fleck_euler_of_row(&maker->ink, inside_rows, y);
    fleck_lags_add_row(&maker->lags, &maker->ink, inside_rows, y);
    fleck_chord_counter_row(&maker->chords, ink, ink_count, inside, inside_count, &maker->ink,
                            inside_rows);
    maker->next_row++;
    return FLECK_OK;
}

static void fill_areas(const fleck_random_set_maker *maker, fleck_random_set *set)
{
    const double px = maker->geometry.pixel_x_mm, py = maker->geometry.pixel_y_mm;
    const double area_mm2 = (double)maker->inside_px * (px * py);

    set->inside_px = maker->inside_px;
    set->ink_px = maker->ink_px;
    set->crossings = (fleck_crossings){ .deg0 = maker->crossings[DEG0].differ,
                                        .deg90 = maker->crossings[DEG90].differ,
                                        .deg45 = maker->crossings[DEG45].differ,
                                        .deg135 = maker->crossings[DEG135].differ };
    set->euler = maker->euler;
    set->perimeter_per_area_per_mm = NAN;
    set->euler_per_cm2 = NAN;
    if (maker->inside_px > 0) {
        set->perimeter_per_area_per_mm =
            fleck_crossings_length_mm(&set->crossings, px, py) / area_mm2;
        set->euler_per_cm2 = 100 * (double)maker->euler / area_mm2;
    }
}

fleck_status fleck_random_set_maker_finish(fleck_random_set_maker *maker, double blur_sd_mm,
                                           fleck_random_set *out, fleck_error *err)
{
    const double px = maker->geometry.pixel_x_mm, py = maker->geometry.pixel_y_mm;
    const double coverage =
        maker->inside_px > 0 ? (double)maker->ink_px / (double)maker->inside_px : NAN;
    const fleck_bit_rows *const window_inside = maker->masked ? &maker->window_inside : NULL;
    fleck_status status;

    *out = (fleck_random_set){ 0 };
    if (maker->next_row != maker->geometry.height_px)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%zu of %zu rows came, once each; hand over all rows", maker->next_row,
                          maker->geometry.height_px);
    maker->next_row++; /* so that a second call fails */
    fill_areas(maker, out);
    fleck_chord_counter_end(&maker->chords, &maker->ink, maker->masked ? &maker->inside : NULL);
    status = fleck_covariance_fill(&maker->lags, coverage, out, err);
    if (status == FLECK_OK)
        status = fleck_chord_lengths_fill(&maker->chords, FLECK_PHASE_INK, px, py, &out->ink_chords,
                                          err);
    if (status == FLECK_OK)
        status = fleck_chord_lengths_fill(&maker->chords, FLECK_PHASE_BARE, px, py,
                                          &out->bare_chords, err);
    if (status == FLECK_OK)
        status =
            fleck_granulometry_fill(&maker->window, window_inside, px, py, maker->options.threads,
                                    &out->granulometry, err);
    if (status == FLECK_OK)
        status = fleck_grain_fill(&maker->lags, maker->inside_px, maker->ink_px, &maker->window,
                                  window_inside, blur_sd_mm > 0 ? blur_sd_mm : 0, &maker->options,
                                  &out->grain, err);
    if (status != FLECK_OK)
        fleck_random_set_clear(out);
    return status;
}

void fleck_random_set_maker_free(fleck_random_set_maker *maker)
{
    if (maker == NULL)
        return;
    fleck_bit_rows_clear(&maker->ink);
    fleck_bit_rows_clear(&maker->inside);
    fleck_bit_rows_clear(&maker->window);
    fleck_bit_rows_clear(&maker->window_inside);
    fleck_lags_clear(&maker->lags);
    fleck_chord_counter_clear(&maker->chords);
    fleck_free(maker->clipped);
    fleck_free(maker);
}

void fleck_random_set_clear(fleck_random_set *set)
{
    if (set == NULL)
        return;
    fleck_two_point_clear(&set->along_x);
    fleck_two_point_clear(&set->along_y);
    fleck_two_point_clear(&set->radial);
    fleck_chord_lengths_clear(&set->ink_chords);
    fleck_chord_lengths_clear(&set->bare_chords);
    fleck_granulometry_clear(&set->granulometry);
    *set = (fleck_random_set){ 0 };
}
