/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The truth of a phantom as JSON, and its dots as CSV. */
#include "fleck/phantom.h"

#include <cjson/cJSON.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "core/memory.h"
#include "core/text.h"
#include "phantom/closed_forms.h"
#include "phantom/phantom_internal.h"

/* A document being made; after a failed allocation `failed` is set and the rest does nothing. */
struct page {
    cJSON *root;
    bool failed;
};

static cJSON *add_group(struct page *page, const char *name)
{
    cJSON *group = cJSON_AddObjectToObject(page->root, name);

    if (group == NULL)
        page->failed = true;
    return group;
}

static void add_raw(struct page *page, cJSON *group, const char *name, const char *raw)
{
    if (group == NULL || cJSON_AddRawToObject(group, name, raw) == NULL)
        page->failed = true;
}

static void add_number(struct page *page, cJSON *group, const char *name, double value)
{
    char text[FLECK_NUMBER_TEXT_BYTES];

    fleck_text_from_number(value, text);
    add_raw(page, group, name, text[0] != '\0' ? text : "null");
}

static void add_whole(struct page *page, cJSON *group, const char *name, uint64_t value)
{
    char text[32];

    /* as digits: a double would lose the end of a long seed */
    snprintf(text, sizeof text, "%" PRIu64, value);
    add_raw(page, group, name, text);
}

static void add_text(struct page *page, cJSON *group, const char *name, const char *text)
{
    if (group == NULL || (text != NULL ? cJSON_AddStringToObject(group, name, text)
                                       : cJSON_AddNullToObject(group, name)) == NULL)
        page->failed = true;
}

static void add_flag(struct page *page, cJSON *group, const char *name, bool used, bool value)
{
    add_raw(page, group, name, !used ? "null" : value ? "true" : "false");
}

static void add_options(struct page *page, const fleck_phantom_options *options)
{
    cJSON *group = add_group(page, "options");
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

    add_text(page, group, "kind", fleck_phantom_kind_name(options->kind));
    add_text(page, group, "sizes", spread ? fleck_phantom_sizes_name(options->sizes) : NULL);
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++)
        add_number(page, group, numbers[i].name, numbers[i].used ? numbers[i].value : NAN);
    add_flag(page, group, "keep_inside", separate, options->keep_inside);
    add_flag(page, group, "antialias", true, options->antialias);
    add_whole(page, group, "seed", options->seed);
    add_whole(page, group, "bits", options->bits);
}

static void add_picture(struct page *page, const fleck_phantom_frame *frame)
{
    cJSON *group = add_group(page, "picture");

    add_whole(page, group, "width_px", frame->width_px);
    add_whole(page, group, "height_px", frame->height_px);
    add_number(page, group, "pixel_mm", frame->pixel_mm);
}

static void add_drawn(struct page *page, const fleck_phantom *phantom)
{
    cJSON *group = add_group(page, "drawn");
    const fleck_phantom_frame *frame = &phantom->frame;
    const double area_mm2 =
        (double)frame->width_px * (double)frame->height_px * frame->pixel_mm * frame->pixel_mm;
    size_t inside = 0, whole = 0;

    for (size_t i = 0; i < phantom->dots.count; i++) {
        inside += fleck_dot_is_centred(&phantom->dots.items[i], frame);
        whole += fleck_dot_is_whole(&phantom->dots.items[i], frame);
    }
    add_number(page, group, "exact_coverage", phantom->exact_coverage);
    if (fleck_phantom_has_discs(phantom->options.kind)) {
        add_whole(page, group, "dots_touching", phantom->dots.count);
        add_whole(page, group, "dots_inside", inside);
        add_whole(page, group, "dots_whole", whole);
        add_number(page, group, "dots_per_cm2", (double)inside / area_mm2 * 100);
    } else {
        add_text(page, group, "dots_touching", NULL);
        add_text(page, group, "dots_inside", NULL);
        add_text(page, group, "dots_whole", NULL);
        add_text(page, group, "dots_per_cm2", NULL);
    }
}

static void add_expected(struct page *page, const fleck_phantom_options *options)
{
    cJSON *group = add_group(page, "expected");
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
        add_number(page, group, numbers[i].name, numbers[i].value);
}

char *fleck_phantom_truth_json(const fleck_phantom *phantom)
{
    struct page page = { .root = cJSON_CreateObject() };
    fleck_text text = { 0 };
    char *printed = NULL;

    if (page.root == NULL)
        return NULL;
    add_text(&page, page.root, "schema", FLECK_PHANTOM_SCHEMA);
    add_whole(&page, page.root, "version", FLECK_PHANTOM_VERSION);
    add_options(&page, &phantom->options);
    add_picture(&page, &phantom->frame);
    add_drawn(&page, phantom);
    add_expected(&page, &phantom->options);
    if (!page.failed)
        printed = cJSON_Print(page.root);
    cJSON_Delete(page.root);
    if (printed == NULL)
        return NULL;
    /* cJSON may allocate by hooks of the host program; the caller was promised free() */
    fleck_text_add(&text, printed);
    fleck_text_add(&text, "\n");
    cJSON_free(printed);
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
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
