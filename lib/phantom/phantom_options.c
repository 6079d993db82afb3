/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/versioned.h"
#include "phantom/phantom_options.h"

#include <math.h>

#include "core/text.h"
#include "phantom/ranges.h"

static const double most_pixels = 2147483648.0;
static const double most_side_px = 1000000; /* of a PNG */

void fleck_phantom_options_init(fleck_phantom_options *options, size_t struct_bytes)
{
    const fleck_phantom_options defaults = {
        .kind = FLECK_PHANTOM_DISCS,
        .width_mm = 25.4,
        .height_mm = 25.4,
        .ppi = 600,
        .coverage = 0.3,
        .sizes = FLECK_PHANTOM_LOGNORMAL,
        .diameter_mm = 0.3,
        .gsd = 1.5,
        .diameter_half_range_mm = 0,
        .gap_mm = 0.1,
        .keep_inside = false,
        .pitch_mm = 0,
        .angle_deg = 0,
        .correlation_mm = 0.5,
        .antialias = true,
        .softness_mm = 0.02,
        .noise = 0.01,
        .fibre = 0,
        .fibre_length_mm = 0.2,
        .ink_reflectance = 0.05,
        .paper_reflectance = 0.85,
        .seed = 1,
        .bits = 8,
    };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

const char *fleck_phantom_kind_name(fleck_phantom_kind kind)
{
    static const char *const names[FLECK_PHANTOM_KINDS] = { "discs",     "separate", "square",
                                                            "hexagonal", "field",    "plain" };

    return names[kind];
}

const char *fleck_phantom_sizes_name(fleck_phantom_sizes sizes)
{
    static const char *const names[FLECK_PHANTOM_SIZE_LAWS] = { "fixed", "lognormal", "uniform" };

    return names[sizes];
}

bool fleck_phantom_is_lattice(fleck_phantom_kind kind)
{
    return kind == FLECK_PHANTOM_SQUARE || kind == FLECK_PHANTOM_HEXAGONAL;
}

bool fleck_phantom_has_discs(fleck_phantom_kind kind)
{
    return fleck_phantom_is_lattice(kind) || kind == FLECK_PHANTOM_DISCS ||
           kind == FLECK_PHANTOM_SEPARATE;
}

static fleck_range coverage_range(const fleck_phantom_options *options)
{
    static const double limits[FLECK_PHANTOM_KINDS][2] = {
        [FLECK_PHANTOM_DISCS] = { 0, 0.99 },      [FLECK_PHANTOM_SEPARATE] = { 0, 0.5 },
        [FLECK_PHANTOM_SQUARE] = { 0.001, 0.99 }, [FLECK_PHANTOM_HEXAGONAL] = { 0.001, 0.99 },
        [FLECK_PHANTOM_FIELD] = { 0.001, 0.999 }, [FLECK_PHANTOM_PLAIN] = { 0, 1 },
    };
    const bool lattice = fleck_phantom_is_lattice(options->kind);

    return (fleck_range){ "coverage", options->coverage, limits[options->kind][0],
                           limits[options->kind][1], !lattice || options->pitch_mm == 0 };
}

static fleck_status check_numbers(const fleck_phantom_options *options, fleck_error *err)
{
    const bool discs = fleck_phantom_has_discs(options->kind);
    const bool lattice = fleck_phantom_is_lattice(options->kind);
    const bool separate = options->kind == FLECK_PHANTOM_SEPARATE;
    const bool spread = discs && !lattice;
    /* two pixels, rounded up to a number that reads well */
    const double least_correlation_mm = ceil(2 * 25.4 / options->ppi * 1e4 - 1e-6) / 1e4;
    const fleck_range ranges[] = {
        { "width_mm", options->width_mm, 0.001, 10000, true },
        { "height_mm", options->height_mm, 0.001, 10000, true },
        { "ppi", options->ppi, 1, 100000, true },
        { "diameter_mm", options->diameter_mm, 0.0001, 1000, discs },
        { "gsd", options->gsd, 1, 3, spread && options->sizes == FLECK_PHANTOM_LOGNORMAL },
        { "diameter_half_range_mm", options->diameter_half_range_mm, 0, options->diameter_mm,
          spread && options->sizes == FLECK_PHANTOM_UNIFORM },
        { "gap_mm", options->gap_mm, 0, 1000, separate },
        { "pitch_mm", options->pitch_mm, 0.0001, 10000, lattice && options->pitch_mm != 0 },
        { "angle_deg", options->angle_deg, -360, 360, lattice },
        coverage_range(options),
        { "correlation_mm", options->correlation_mm, least_correlation_mm, 1000,
          options->kind == FLECK_PHANTOM_FIELD },
        { "softness_mm", options->softness_mm, 0, 0.5, true },
        { "noise", options->noise, 0, 1, true },
        { "fibre", options->fibre, 0, 0.5, true },
        { "fibre_length_mm", options->fibre_length_mm, least_correlation_mm, 1000,
          options->fibre > 0 },
        { "ink_reflectance", options->ink_reflectance, 0, 1, true },
        { "paper_reflectance", options->paper_reflectance, 0, 1, true },
    };
    char value[FLECK_NUMBER_TEXT_BYTES];
    const fleck_status status = fleck_ranges_check(ranges, sizeof ranges / sizeof *ranges, err);

    if (status != FLECK_OK)
        return status;
    if (options->kind == FLECK_PHANTOM_PLAIN && options->coverage != 0 && options->coverage != 1)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "coverage is %s; give 0 or 1 for a plain picture, paper or solid ink",
                          fleck_text_from_number(options->coverage, value));
    return FLECK_OK;
}

fleck_status fleck_phantom_check(const fleck_phantom_options *options, fleck_phantom_frame *frame,
                                 fleck_error *err)
{
    double width_px, height_px;
    fleck_status status;

    if (options->struct_bytes != sizeof *options)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "its speckle is not that of the default function, or of another version; build "
                          "the program with this library's headers");
    if ((unsigned)options->kind >= FLECK_PHANTOM_KINDS)
        return fleck_fail(err, FLECK_BAD_CALL, "kind is %d; give 0 to %d", (int)options->kind,
                          FLECK_PHANTOM_KINDS - 1);
    if ((unsigned)options->sizes >= FLECK_PHANTOM_SIZE_LAWS)
        return fleck_fail(err, FLECK_BAD_CALL, "sizes is %d; give 0 to %d", (int)options->sizes,
                          FLECK_PHANTOM_SIZE_LAWS - 1);
    if (options->bits != 8 && options->bits != 16)
        return fleck_fail(err, FLECK_BAD_CALL, "bits is %u; give 8 or 16", options->bits);
    if ((status = check_numbers(options, err)) != FLECK_OK)
        return status;
    frame->pixel_mm = 25.4 / options->ppi;
    width_px = round(options->width_mm / frame->pixel_mm);
    height_px = round(options->height_mm / frame->pixel_mm);
    if (width_px < 1 || height_px < 1 || width_px > most_side_px || height_px > most_side_px ||
        width_px * height_px > most_pixels)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "width_mm, height_mm and ppi give %.0f x %.0f pixels; give sides of 1 to "
                          "%.0f pixels and at most 2^31 in all",
                          width_px, height_px, most_side_px);
    frame->width_px = (size_t)width_px;
    frame->height_px = (size_t)height_px;
    return FLECK_OK;
}
