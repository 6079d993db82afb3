/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The truth of a sheet as JSON, its grey scale and its dots as CSV. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "io/csv.h"
#include "phantom/closed_forms.h"
#include "phantom/phantom_sheet_internal.h"
#include "phantom/truth_page.h"

static void add_options(fleck_truth_page *page, const fleck_phantom_sheet_options *options)
{
    cJSON *group = fleck_truth_group(page, page->root, "options");
    const struct {
        const char *name;
        double value;
        bool used;
    } numbers[] = {
        { "width_mm", options->width_mm, true },
        { "height_mm", options->height_mm, true },
        { "ppi", options->ppi, true },
        { "claimed_ppi", options->claimed_ppi, options->claimed_ppi > 0 },
        { "tilt_deg", options->tilt_deg, true },
        { "density_from", options->density_from, options->steps > 0 },
        { "density_to", options->density_to, options->steps > 0 },
        { "paper_reflectance", options->paper_reflectance, true },
        { "mark_reflectance", options->mark_reflectance, true },
        { "pencil_reflectance", options->pencil_reflectance, true },
        { "fibre", options->fibre, true },
        { "fibre_length_mm", options->fibre_length_mm, options->fibre > 0 },
        { "softness_mm", options->softness_mm, true },
        { "noise", options->noise, true },
        { "gamma", options->gamma, options->curve == FLECK_PHANTOM_GAMMA },
    };

    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++)
        fleck_truth_number(page, group, numbers[i].name, numbers[i].used ? numbers[i].value : NAN);
    fleck_truth_flag(page, group, "patches", true, options->patches);
    fleck_truth_flag(page, group, "solid", true, options->solid);
    fleck_truth_flag(page, group, "rulers", true, options->rulers);
    fleck_truth_flag(page, group, "crosses", true, options->crosses);
    fleck_truth_flag(page, group, "writing", true, options->writing);
    fleck_truth_whole(page, group, "steps", options->steps);
    fleck_truth_flag(page, group, "antialias", true, options->antialias);
    fleck_truth_text(page, group, "curve",
                     options->curve == FLECK_PHANTOM_SRGB ? "srgb" : "gamma");
    fleck_truth_flag(page, group, "srgb_chunk", true, options->srgb_chunk);
    fleck_truth_whole(page, group, "bits", options->bits);
    fleck_truth_whole(page, group, "seed", options->seed);
}

static void add_picture(fleck_truth_page *page, const fleck_phantom_sheet *sheet)
{
    cJSON *group = fleck_truth_group(page, page->root, "picture");
    const double pixels = (double)sheet->frame.width_px * (double)sheet->frame.height_px;

    fleck_truth_whole(page, group, "width_px", sheet->frame.width_px);
    fleck_truth_whole(page, group, "height_px", sheet->frame.height_px);
    fleck_truth_number(page, group, "pixel_mm", sheet->frame.pixel_mm);
    fleck_truth_number(page, group, "clipped_share",
                       sheet->drawn ? (double)sheet->clipped_px / pixels : NAN);
    group = fleck_truth_group(page, page->root, "light");
    fleck_truth_number(page, group, "amplitude", sheet->light.amplitude);
    fleck_truth_number(page, group, "low", sheet->light.low);
    fleck_truth_number(page, group, "high", sheet->light.high);
    fleck_truth_text(page, group, "formula", fleck_sheet_light_formula);
}

/* Rectangle of the upright plate, to a tenth of a micrometre: what a region or a box is given as. */
static fleck_box_mm upright(const fleck_plate *plate)
{
    return (fleck_box_mm){ round((plate->x - plate->width / 2) * 1e4) / 1e4,
                           round((plate->y - plate->height / 2) * 1e4) / 1e4,
                           round(plate->width * 1e4) / 1e4, round(plate->height * 1e4) / 1e4 };
}

static void add_box(fleck_truth_page *page, cJSON *group, const fleck_box_mm *box)
{
    fleck_truth_number(page, group, "x_mm", box->x_mm);
    fleck_truth_number(page, group, "y_mm", box->y_mm);
    fleck_truth_number(page, group, "width_mm", box->width_mm);
    fleck_truth_number(page, group, "height_mm", box->height_mm);
}

static void add_region(fleck_truth_page *page, cJSON *group, const fleck_box_mm *box)
{
    fleck_text text = { 0 };

    fleck_text_add_number(&text, box->x_mm);
    fleck_text_add(&text, " ");
    fleck_text_add_number(&text, box->y_mm);
    fleck_text_add(&text, " ");
    fleck_text_add_number(&text, box->width_mm);
    fleck_text_add(&text, " ");
    fleck_text_add_number(&text, box->height_mm);
    page->failed = page->failed || text.failed;
    fleck_truth_text(page, group, "region", text.failed ? NULL : text.bytes);
    fleck_text_clear(&text);
}

static int smaller_first(const void *a, const void *b)
{
    const double first = *(const double *)a, second = *(const double *)b;

    return (first > second) - (first < second); /* equal ones are alike */
}

/* Smallest diameter at which the cumulative share reaches `share`. */
static double quantile(const double *sorted, size_t count, double share)
{
    const double rank = ceil(share * (double)count - 1e-9);

    return count == 0 ? NAN : sorted[rank < 1 ? 0 : (size_t)rank - 1];
}

static void add_dots(fleck_truth_page *page, cJSON *group, const fleck_sheet_patch *patch)
{
    double *diameters = fleck_alloc_array(patch->dots.count, sizeof *diameters);
    size_t inside = 0;

    if (diameters == NULL) {
        page->failed = true;
        return;
    }
    for (size_t i = 0; i < patch->dots.count; i++) {
        const fleck_dot *dot = &patch->dots.items[i];

        if (fleck_plate_holds(&patch->plate, dot->x_mm, dot->y_mm))
            diameters[inside++] = dot->diameter_mm;
    }
    if (inside > 0)
        qsort(diameters, inside, sizeof *diameters, smaller_first);
    fleck_truth_whole(page, group, "dots_touching", patch->dots.count);
    fleck_truth_whole(page, group, "dots_inside", inside);
    fleck_truth_number(page, group, "d10_mm", quantile(diameters, inside, 0.1));
    fleck_truth_number(page, group, "d50_mm", quantile(diameters, inside, 0.5));
    fleck_truth_number(page, group, "d90_mm", quantile(diameters, inside, 0.9));
    fleck_free(diameters);
}

static void add_speckle(fleck_truth_page *page, cJSON *group, const fleck_phantom_options *speckle)
{
    const bool discs = fleck_phantom_has_discs(speckle->kind);
    const bool lattice = fleck_phantom_is_lattice(speckle->kind);
    const bool spread = discs && !lattice;

    fleck_truth_text(page, group, "kind", fleck_phantom_kind_name(speckle->kind));
    fleck_truth_text(page, group, "sizes",
                     spread ? fleck_phantom_sizes_name(speckle->sizes) : NULL);
    fleck_truth_number(page, group, "coverage",
                       lattice && speckle->pitch_mm != 0 ? NAN : speckle->coverage);
    fleck_truth_number(page, group, "diameter_mm", discs ? speckle->diameter_mm : NAN);
    fleck_truth_number(page, group, "gsd",
                       spread && speckle->sizes == FLECK_PHANTOM_LOGNORMAL ? speckle->gsd : NAN);
    fleck_truth_number(page, group, "half_range_mm",
                       spread && speckle->sizes == FLECK_PHANTOM_UNIFORM
                           ? speckle->diameter_half_range_mm
                           : NAN);
    fleck_truth_number(page, group, "gap_mm",
                       speckle->kind == FLECK_PHANTOM_SEPARATE ? speckle->gap_mm : NAN);
    fleck_truth_number(page, group, "pitch_mm", lattice ? fleck_lattice_pitch_mm(speckle) : NAN);
    fleck_truth_number(page, group, "angle_deg", lattice ? speckle->angle_deg : NAN);
    fleck_truth_number(page, group, "correlation_mm",
                       speckle->kind == FLECK_PHANTOM_FIELD ? speckle->correlation_mm : NAN);
    fleck_truth_number(page, group, "ink_reflectance", speckle->ink_reflectance);
    fleck_truth_whole(page, group, "seed", speckle->seed);
}

static void add_patches(fleck_truth_page *page, const fleck_phantom_sheet *sheet)
{
    cJSON *list = fleck_truth_list(page, page->root, "patches");

    for (size_t i = 0; i < sheet->patch_count; i++) {
        const fleck_sheet_patch *patch = &sheet->patches[i];
        const fleck_box_mm box = upright(&patch->plate);
        cJSON *entry = fleck_truth_entry(page, list);

        fleck_truth_text(page, entry, "patch", patch->given.name);
        add_region(page, entry, &box);
        add_box(page, entry, &box);
        fleck_truth_number(page, entry, "tilt_deg", patch->tilt_deg);
        fleck_truth_text(page, entry, "edge", patch->given.ragged ? "ragged" : "straight");
        add_speckle(page, fleck_truth_group(page, entry, "asked"), &patch->given.speckle);
        fleck_truth_number(page, entry, "exact_coverage",
                           sheet->drawn ? patch->ink_px / patch->all_px : NAN);
        if (fleck_phantom_has_discs(patch->given.speckle.kind))
            add_dots(page, entry, patch);
    }
}

/* Where a tick is read: on its middle line, half as far from the ruler's line as the shortest goes. */
static void tick_px(const fleck_phantom_sheet *sheet, const fleck_sheet_mark *tick, double *x_px,
                    double *y_px)
{
    static const double read_mm = 1.25;
    double x_mm, y_mm;

    if (tick->kind == FLECK_MARK_TICK_X)
        fleck_plate_point(&tick->plate, 0, tick->plate.height / 2 - read_mm, &x_mm, &y_mm);
    else
        fleck_plate_point(&tick->plate, read_mm - tick->plate.width / 2, 0, &x_mm, &y_mm);
    *x_px = round(x_mm / sheet->frame.pixel_mm * 1e4) / 1e4;
    *y_px = round(y_mm / sheet->frame.pixel_mm * 1e4) / 1e4;
}

/* "MM:X1,Y1,X2,Y2" */
static void add_length(fleck_truth_page *page, cJSON *lengths, const fleck_phantom_sheet *sheet,
                       const fleck_sheet_mark *from, const fleck_sheet_mark *to)
{
    double end[4];
    fleck_text text = { 0 };
    cJSON *item = NULL;

    tick_px(sheet, from, &end[0], &end[1]);
    tick_px(sheet, to, &end[2], &end[3]);
    fleck_text_add_number(&text, to->value - from->value);
    for (int i = 0; i < 4; i++) {
        fleck_text_add(&text, i == 0 ? ":" : ",");
        fleck_text_add_number(&text, end[i]);
    }
    if (!text.failed)
        item = cJSON_CreateString(text.bytes);
    if (item == NULL || lengths == NULL || !cJSON_AddItemToArray(lengths, item)) {
        cJSON_Delete(item);
        page->failed = true;
    }
    fleck_text_clear(&text);
}

static void add_ruler(fleck_truth_page *page, cJSON *rulers, const fleck_phantom_sheet *sheet,
                      const char *name, fleck_mark_kind kind)
{
    cJSON *ruler = fleck_truth_group(page, rulers, name);
    cJSON *lengths = fleck_truth_list(page, ruler, "lengths");
    cJSON *ticks = fleck_truth_list(page, ruler, "ticks");
    const fleck_sheet_mark *first = NULL, *middle = NULL, *last = NULL;
    size_t count = 0, seen = 0;

    for (size_t i = 0; i < sheet->mark_count; i++)
        count += sheet->marks[i].kind == kind;
    for (size_t i = 0; i < sheet->mark_count; i++) {
        const fleck_sheet_mark *mark = &sheet->marks[i];
        double x_px, y_px;
        cJSON *entry;

        if (mark->kind != kind)
            continue;
        if (seen == 0)
            first = mark;
        if (seen == count / 2)
            middle = mark;
        last = mark;
        seen++;
        tick_px(sheet, mark, &x_px, &y_px);
        entry = fleck_truth_entry(page, ticks);
        fleck_truth_number(page, entry, "mm", mark->value);
        fleck_truth_number(page, entry, "x_px", x_px);
        fleck_truth_number(page, entry, "y_px", y_px);
    }
    if (count == 0)
        return;
    add_length(page, lengths, sheet, first, last);
    add_length(page, lengths, sheet, first, middle);
    add_length(page, lengths, sheet, middle, last);
}

static void add_marks(fleck_truth_page *page, const fleck_phantom_sheet *sheet)
{
    cJSON *rulers = fleck_truth_group(page, page->root, "rulers");
    cJSON *steps, *crosses;

    add_ruler(page, rulers, sheet, "along_x", FLECK_MARK_TICK_X);
    add_ruler(page, rulers, sheet, "along_y", FLECK_MARK_TICK_Y);
    steps = fleck_truth_list(page, page->root, "steps");
    crosses = fleck_truth_list(page, page->root, "crosses");
    for (size_t i = 0; i < sheet->mark_count; i++) {
        const fleck_sheet_mark *mark = &sheet->marks[i];
        const fleck_box_mm box = upright(&mark->plate);
        cJSON *entry;

        if (mark->kind == FLECK_MARK_STEP) {
            entry = fleck_truth_entry(page, steps);
            fleck_truth_number(page, entry, "density", mark->value);
            fleck_truth_number(page, entry, "reflectance", mark->reflectance);
            add_box(page, entry, &box);
            fleck_truth_number(page, entry, "tilt_deg", sheet->options.tilt_deg);
        } else if (mark->kind == FLECK_MARK_CROSS) {
            entry = fleck_truth_entry(page, crosses);
            fleck_truth_number(page, entry, "x_mm", mark->plate.x);
            fleck_truth_number(page, entry, "y_mm", mark->plate.y);
        }
    }
}

char *fleck_phantom_sheet_truth_json(const fleck_phantom_sheet *sheet)
{
    fleck_truth_page page =
        fleck_truth_begin(FLECK_PHANTOM_SHEET_SCHEMA, FLECK_PHANTOM_SHEET_VERSION);

    add_options(&page, &sheet->options);
    add_picture(&page, sheet);
    add_patches(&page, sheet);
    add_marks(&page, sheet);
    return fleck_truth_print(&page);
}

char *fleck_phantom_sheet_steps_csv(const fleck_phantom_sheet *sheet)
{
    fleck_text text = { 0 };

    fleck_text_add(&text, "density,x,y,width,height\n");
    for (size_t i = 0; i < sheet->mark_count; i++) {
        const fleck_sheet_mark *mark = &sheet->marks[i];
        const fleck_box_mm box = upright(&mark->plate);

        if (mark->kind != FLECK_MARK_STEP)
            continue;
        fleck_csv_add_number(&text, mark->value);
        fleck_csv_add_number(&text, box.x_mm);
        fleck_csv_add_number(&text, box.y_mm);
        fleck_csv_add_number(&text, box.width_mm);
        fleck_csv_add_number(&text, box.height_mm);
        fleck_csv_end_row(&text);
    }
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}

char *fleck_phantom_sheet_dots_csv(const fleck_phantom_sheet *sheet)
{
    fleck_text text = { 0 };

    fleck_text_add(&text, "patch,x_mm,y_mm,diameter_mm\n");
    for (size_t i = 0; i < sheet->patch_count; i++) {
        const fleck_sheet_patch *patch = &sheet->patches[i];

        for (size_t k = 0; k < patch->dots.count; k++) {
            fleck_csv_add_cell(&text, patch->given.name);
            fleck_csv_add_number(&text, patch->dots.items[k].x_mm);
            fleck_csv_add_number(&text, patch->dots.items[k].y_mm);
            fleck_csv_add_number(&text, patch->dots.items[k].diameter_mm);
            fleck_csv_end_row(&text);
        }
    }
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}
