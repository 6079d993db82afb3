/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "core/versioned.h"
#include "phantom/phantom_sheet_internal.h"
#include "phantom/ranges.h"

void fleck_phantom_sheet_options_init(fleck_phantom_sheet_options *options, size_t struct_bytes)
{
    const fleck_phantom_options tile = fleck_phantom_options_default();
    const fleck_phantom_sheet_options defaults = {
        .width_mm = 0,
        .height_mm = 0,
        .ppi = 600,
        .claimed_ppi = 600,
        .tilt_deg = 0,
        .patches = true,
        .solid = false,
        .rulers = true,
        .crosses = true,
        .writing = true,
        .steps = 12,
        .density_from = 0.05,
        .density_to = 2,
        .antialias = true,
        .paper_reflectance = 0.8, /* below 1 also where the light is a fifth too strong */
        .mark_reflectance = 0.06,
        .pencil_reflectance = 0.4,
        .fibre = 0.01,
        .fibre_length_mm = 0.2,
        .softness_mm = tile.softness_mm,
        .light = 0,
        .noise = tile.noise,
        .curve = FLECK_PHANTOM_SRGB,
        .gamma = 2.2,
        .srgb_chunk = true,
        .bits = tile.bits,
        .seed = 1,
    };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

fleck_status fleck_sheet_check_options(const fleck_phantom_sheet_options *options, fleck_error *err)
{
    const double least_length_mm = ceil(2 * 25.4 / options->ppi * 1e4 - 1e-6) / 1e4;
    const fleck_range ranges[] = {
        { "width_mm", options->width_mm, 1, 10000, options->width_mm != 0 },
        { "height_mm", options->height_mm, 1, 10000, options->height_mm != 0 },
        { "ppi", options->ppi, 1, 100000, true },
        { "claimed_ppi", options->claimed_ppi, 1, 100000, options->claimed_ppi != 0 },
        { "tilt_deg", options->tilt_deg, -10, 10, true },
        { "steps", (double)options->steps, 2, 50, options->steps > 0 },
        { "density_from", options->density_from, -0.07, 4, options->steps > 0 },
        { "density_to", options->density_to, -0.07, 4, options->steps > 0 },
        { "paper_reflectance", options->paper_reflectance, 0, 1, true },
        { "mark_reflectance", options->mark_reflectance, 0, 1, true },
        { "pencil_reflectance", options->pencil_reflectance, 0, 1, true },
        { "fibre", options->fibre, 0, 0.5, true },
        { "fibre_length_mm", options->fibre_length_mm, least_length_mm, 1000, options->fibre > 0 },
        { "softness_mm", options->softness_mm, 0, 0.5, true },
        { "light", options->light, 0, 0.9, true },
        { "noise", options->noise, 0, 1, true },
        { "gamma", options->gamma, 0.2, 5, options->curve == FLECK_PHANTOM_GAMMA },
    };
    fleck_status status;

    if ((unsigned)options->curve > FLECK_PHANTOM_GAMMA)
        return fleck_fail(err, FLECK_BAD_CALL, "curve is %d; give 0 or 1", (int)options->curve);
    if ((status = fleck_ranges_check(ranges, sizeof ranges / sizeof *ranges, err)) != FLECK_OK)
        return status;
    if (options->bits != 8 && options->bits != 16)
        return fleck_fail(err, FLECK_BAD_CALL, "bits is %u; give 8 or 16", options->bits);
    return FLECK_OK;
}
