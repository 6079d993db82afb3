/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The truth of a phantom as JSON, and its dots as CSV. */
#include "fleck/phantom.h"

#include <math.h>

#include "core/text.h"
#include "phantom/closed_forms.h"
#include "phantom/phantom_internal.h"
#include "phantom/truth_page.h"

static void add_options(fleck_truth_page *page, const fleck_phantom_options *options)
{
    cJSON *group = fleck_truth_group(page, page->root, "options");
    const bool discs = fleck_phantom_has_discs(options->kind);
    const bool lattice = fleck_phantom_is_lattice(options->kind);
    const bool separate = options->kind == FLECK_PHANTOM_SEPARATE;
    const bool spread = discs && !lattice;
    const struct {
        const char *name;
        double value;
        bool used;
    } numbers[] = {
        { "width_mm", options->width_mm, true },
        { "height_mm", options->height_mm, true },
        { "ppi", options->ppi, true },
        { "coverage", options->coverage, !lattice || options->pitch_mm == 0 },
        { "diameter_mm", options->diameter_mm, discs },
        { "gsd", options->gsd, spread && options->sizes == FLECK_PHANTOM_LOGNORMAL },
        { "diameter_half_range_mm", options->diameter_half_range_mm,
          spread && options->sizes == FLECK_PHANTOM_UNIFORM },
        { "gap_mm", options->gap_mm, separate },
        { "pitch_mm", options->pitch_mm, lattice && options->pitch_mm > 0 },
        { "angle_deg", options->angle_deg, lattice },
        { "correlation_mm", options->correlation_mm, options->kind == FLECK_PHANTOM_FIELD },
        { "softness_mm", options->softness_mm, true },
        { "noise", options->noise, true },
        { "fibre", options->fibre, true },
        { "fibre_length_mm", options->fibre_length_mm, options->fibre > 0 },
        { "ink_reflectance", options->ink_reflectance, true },
        { "paper_reflectance", options->paper_reflectance, true },
    };

    fleck_truth_text(page, group, "kind", fleck_phantom_kind_name(options->kind));
    fleck_truth_text(page, group, "sizes", spread ? fleck_phantom_sizes_name(options->sizes) : NULL);
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++)
        fleck_truth_number(page, group, numbers[i].name, numbers[i].used ? numbers[i].value : NAN);
    fleck_truth_flag(page, group, "keep_inside", separate, options->keep_inside);
    fleck_truth_flag(page, group, "antialias", true, options->antialias);
    fleck_truth_whole(page, group, "seed", options->seed);
    fleck_truth_whole(page, group, "bits", options->bits);
}

static void add_picture(fleck_truth_page *page, const fleck_phantom_frame *frame)
{
    cJSON *group = fleck_truth_group(page, page->root, "picture");

    fleck_truth_whole(page, group, "width_px", frame->width_px);
    fleck_truth_whole(page, group, "height_px", frame->height_px);
    fleck_truth_number(page, group, "pixel_mm", frame->pixel_mm);
}

static void add_drawn(fleck_truth_page *page, const fleck_phantom *phantom)
{
    cJSON *group = fleck_truth_group(page, page->root, "drawn");
    const fleck_phantom_frame *frame = &phantom->frame;
    const double area_mm2 =
        (double)frame->width_px * (double)frame->height_px * frame->pixel_mm * frame->pixel_mm;
    size_t inside = 0, whole = 0;

    for (size_t i = 0; i < phantom->dots.count; i++) {
        inside += fleck_dot_is_centred(&phantom->dots.items[i], frame);
        whole += fleck_dot_is_whole(&phantom->dots.items[i], frame);
    }
    fleck_truth_number(page, group, "exact_coverage", phantom->exact_coverage);
    if (fleck_phantom_has_discs(phantom->options.kind)) {
        fleck_truth_whole(page, group, "dots_touching", phantom->dots.count);
        fleck_truth_whole(page, group, "dots_inside", inside);
        fleck_truth_whole(page, group, "dots_whole", whole);
        fleck_truth_number(page, group, "dots_per_cm2", (double)inside / area_mm2 * 100);
    } else {
        fleck_truth_text(page, group, "dots_touching", NULL);
        fleck_truth_text(page, group, "dots_inside", NULL);
        fleck_truth_text(page, group, "dots_whole", NULL);
        fleck_truth_text(page, group, "dots_per_cm2", NULL);
    }
}

static void add_expected(fleck_truth_page *page, const fleck_phantom_options *options)
{
    cJSON *group = fleck_truth_group(page, page->root, "expected");
    const fleck_expected expected = fleck_expect(options);
    const struct {
        const char *name;
        double value;
    } numbers[] = {
        { "coverage", expected.coverage },
        { "intensity_per_mm2", expected.intensity_per_mm2 },
        { "mean_radius_mm", expected.mean_radius_mm },
        { "mean_radius_sq_mm2", expected.mean_radius_sq_mm2 },
        { "d10_mm", expected.d10_mm },
        { "d50_mm", expected.d50_mm },
        { "d90_mm", expected.d90_mm },
        { "perimeter_per_area_per_mm", expected.perimeter_per_area_per_mm },
        { "euler_per_cm2", expected.euler_per_cm2 },
        { "ink_mean_chord_mm", expected.ink_mean_chord_mm },
        { "bare_mean_chord_mm", expected.bare_mean_chord_mm },
        { "integral_range_mm2", expected.integral_range_mm2 },
        { "nn_mean_mm", expected.nn_mean_mm },
        { "pitch_mm", expected.pitch_mm },
        { "first_peak_per_mm", expected.first_peak_per_mm },
        { "level", expected.level },
    };

    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++)
        fleck_truth_number(page, group, numbers[i].name, numbers[i].value);
}

char *fleck_phantom_truth_json(const fleck_phantom *phantom)
{
    fleck_truth_page page = fleck_truth_begin(FLECK_PHANTOM_SCHEMA, FLECK_PHANTOM_VERSION);

    add_options(&page, &phantom->options);
    add_picture(&page, &phantom->frame);
    add_drawn(&page, phantom);
    add_expected(&page, &phantom->options);
    return fleck_truth_print(&page);
}

char *fleck_phantom_dots_csv(const fleck_phantom *phantom)
{
    fleck_text text = { 0 };

    fleck_text_add(&text, "x_mm,y_mm,diameter_mm\n");
    for (size_t i = 0; i < phantom->dots.count; i++) {
        const fleck_dot *dot = &phantom->dots.items[i];

        fleck_text_add_number(&text, dot->x_mm);
        fleck_text_add(&text, ",");
        fleck_text_add_number(&text, dot->y_mm);
        fleck_text_add(&text, ",");
        fleck_text_add_number(&text, dot->diameter_mm);
        fleck_text_add(&text, "\n");
    }
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}
