/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/options.h"

#include <math.h>

#include "core/memory.h"
#include "core/text.h"
#include "core/versioned.h"

void fleck_measure_options_init(fleck_measure_options *options, size_t struct_bytes)
{
    const fleck_measure_options defaults = {
        .channel = FLECK_CHANNEL_AUTO,
        .ink = FLECK_INK_DARK,
        .threshold = FLECK_THRESHOLD_OTSU,
        .fixed_reflectance = 0.5,
        .window_mm = 8,   /* holds many dots and few changes of the paper: common practice, no source */
        .cutoff_mm = 0.1, /* spots count from 0.1 mm: common practice, no source */
        .seed = 1,
        .simulations = 99, /* tell p to 0.01 in about a second a patch */
        .page = 1,
    };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

void fleck_measure_observer_init(fleck_measure_observer *observer, size_t struct_bytes)
{
    const fleck_measure_observer defaults = { 0 };

    fleck_versioned_init(observer, struct_bytes, &defaults, sizeof defaults);
}

fleck_status fleck_measure_options_check(const fleck_measure_options *options, fleck_error *err)
{
    fleck_measure_options known = fleck_measure_options_default();
    const fleck_box_mm *const region = &known.region;
    fleck_status status;

    if ((status = fleck_versioned_take(options, &known, sizeof known, "measure options", err)) != FLECK_OK)
        return status;
    options = &known;
    if ((options->ppi_x != 0 || options->ppi_y != 0) &&
        !(options->ppi_x >= 1 && options->ppi_x <= 1e6 && options->ppi_y >= 1 &&
          options->ppi_y <= 1e6))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a resolution of %g x %g ppi makes no sense; give 1 to 1000000",
                          options->ppi_x, options->ppi_y);
    if (options->threshold == FLECK_THRESHOLD_FIXED &&
        !(options->fixed_reflectance >= 0 && options->fixed_reflectance <= 1))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a threshold of %g is no reflectance; give fixed:R with R from 0 to 1",
                          options->fixed_reflectance);
    if (options->threshold == FLECK_THRESHOLD_LOCAL &&
        !(options->window_mm > 0 && options->window_mm <= 1000))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a window of %g mm makes no sense; give local:MM with MM above 0",
                          options->window_mm);
    if (!(options->cutoff_mm > 0 && options->cutoff_mm <= 1000))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a cutoff of %g mm makes no sense; give a diameter above 0, such as 0.1",
                          options->cutoff_mm);
    if (options->has_region &&
        !(region->x_mm >= 0 && region->y_mm >= 0 && region->width_mm > 0 &&
          region->height_mm > 0 && isfinite(region->x_mm + region->width_mm) &&
          isfinite(region->y_mm + region->height_mm)))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "region %g,%g,%g,%g makes no sense; give X,Y,W,H in mm from the scan's top "
                          "left, W and H above 0",
                          region->x_mm, region->y_mm, region->width_mm, region->height_mm);
    if (!(options->tilt_deg >= -180 && options->tilt_deg <= 180))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a tilt of %g makes no sense; give degrees from -180 to 180, anticlockwise",
                          options->tilt_deg);
    if (options->tilt_deg != 0 && !options->has_region)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a tilt of %g turns a region and there is none; give --region too",
                          options->tilt_deg);
    if (!(options->margin_mm >= 0 && options->margin_mm <= 1e6))
        return fleck_fail(err, FLECK_BAD_CALL, "a margin of %g mm makes no sense; give 0 or more",
                          options->margin_mm);
    if (options->tile_px != 0 &&
        (options->tile_px < 16 || options->tile_px > 16384 || options->tile_px % 2 != 0))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a tile of %zu pixels cannot be used; give an even number from 16 to 16384",
                          options->tile_px);
    if (options->simulations != 0 && (options->simulations < 19 || options->simulations > 100000))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%zu simulations are too few or too many; give 19 to 100000, or 0 for no "
                          "verdict on the pattern",
                          options->simulations);
    if (options->seed >= (size_t)1 << 53) /* a record holds it as a number */
        return fleck_fail(err, FLECK_BAD_CALL, "a seed of %zu is too large; give one below 2^53",
                          options->seed);
    if (options->page == 0)
        return fleck_fail(err, FLECK_BAD_CALL, "pages count from 1; give --page 1 or more");
    if (options->jobs > 1024)
        return fleck_fail(err, FLECK_BAD_CALL, "%u jobs are too many; give 1 to 1024",
                          options->jobs);
    return FLECK_OK;
}

const char *fleck_threshold_method_name(fleck_threshold_method method)
{
    switch (method) {
    case FLECK_THRESHOLD_OTSU:
        return "otsu";
    case FLECK_THRESHOLD_POOLED:
        return "pooled";
    case FLECK_THRESHOLD_LOCAL:
        return "local";
    case FLECK_THRESHOLD_FIXED:
        return "fixed";
    }
    return "";
}

char *fleck_threshold_text(const fleck_measure_options *options)
{
    fleck_text text = { 0 };

    fleck_text_add(&text, fleck_threshold_method_name(options->threshold));
    if (options->threshold == FLECK_THRESHOLD_FIXED ||
        options->threshold == FLECK_THRESHOLD_LOCAL) {
        fleck_text_add(&text, ":");
        fleck_text_add_number(&text, options->threshold == FLECK_THRESHOLD_FIXED
                                         ? options->fixed_reflectance
                                         : options->window_mm);
    }
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}

const char *fleck_ink_name(fleck_ink ink)
{
    return ink == FLECK_INK_DARK ? "dark" : "light";
}

char *fleck_box_text(const fleck_box_mm *box)
{
    const double sides[] = { box->x_mm, box->y_mm, box->width_mm, box->height_mm };
    fleck_text text = { 0 };

    for (size_t i = 0; i < sizeof sides / sizeof *sides; i++) {
        if (i > 0)
            fleck_text_add(&text, ",");
        fleck_text_add_number(&text, sides[i]);
    }
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}
