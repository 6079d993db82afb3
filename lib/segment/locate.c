/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From a scan to a layout: the steps of locate_parts.h in their order. */
#include "fleck/locate.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "calibrate/resolution.h"
#include "core/memory.h"
#include "core/versioned.h"
#include "segment/locate_parts.h"

#define DEGREE (3.14159265358979323846 / 180)

void fleck_locate_options_init(fleck_locate_options *options, size_t struct_bytes)
{
    const fleck_locate_options defaults = { .page = 1, .ink = FLECK_INK_DARK, .min_size_mm = 5 };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

static fleck_status check_options(const fleck_locate_options *options, fleck_error *err)
{
    const bool grid = options->grid_rows > 0 || options->grid_columns > 0;

    if ((options->ppi_x != 0 || options->ppi_y != 0) &&
        !(options->ppi_x >= 1 && options->ppi_x <= 1e6 && options->ppi_y >= 1 &&
          options->ppi_y <= 1e6))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a resolution of %g x %g ppi makes no sense; give 1 to 1000000",
                          options->ppi_x, options->ppi_y);
    if (options->page == 0)
        return fleck_fail(err, FLECK_BAD_CALL, "pages count from 1; give --page 1 or more");
    if (!(options->min_size_mm >= 1 && options->min_size_mm <= 1000))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a smallest side of %g mm makes no sense; give 1 to 1000",
                          options->min_size_mm);
    if (grid && (options->grid_rows < 1 || options->grid_rows > 1000 || options->grid_columns < 1 ||
                 options->grid_columns > 1000))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a grid of %zu x %zu makes no sense; give rows and columns of 1 to 1000, "
                          "such as --grid 4x6",
                          options->grid_rows, options->grid_columns);
    return FLECK_OK;
}

static fleck_status read_sheet(const char *path, const fleck_locate_options *options,
                               fleck_layout *layout, fleck_error *err)
{
    fleck_scan *scan = NULL;
    fleck_tone *tone = NULL;
    fleck_warnings tone_warnings = { 0 }; /* a curve that is assumed moves no patch */
    fleck_resolution resolution;
    const fleck_scan_info *info;
    fleck_status status;

    if ((status = fleck_scan_open(path, options->page, &scan, err)) != FLECK_OK)
        goto done;
    info = fleck_scan_get_info(scan);
    if (info->pages > 1)
        status = fleck_warnings_add(&layout->warnings, err, "more-pages",
                                    "the file holds %zu pages and page %zu is searched; choose "
                                    "another with --page",
                                    info->pages, info->page);
    if (status == FLECK_OK && options->calibration != NULL)
        status = fleck_calibration_check(options->calibration, info, &layout->warnings, err);
    if (status == FLECK_OK)
        status = fleck_resolution_choose(info, options->ppi_x, options->ppi_y, options->calibration,
                                         &resolution, &layout->warnings, err);
    /* depth is relative to the paper around, which no calibration knows better */
    if (status == FLECK_OK)
        status = fleck_tone_new(info, NULL, &tone, &tone_warnings, err);
    if (status != FLECK_OK)
        goto done;
    layout->width_mm = (double)info->width_px * 25.4 / resolution.ppi_x;
    layout->height_mm = (double)info->height_px * 25.4 / resolution.ppi_y;
    status = fleck_overview_read(scan, tone, 25.4 / resolution.ppi_x, 25.4 / resolution.ppi_y,
                                 &layout->map, err);
done:
    fleck_warnings_clear(&tone_warnings);
    fleck_tone_free(tone);
    fleck_scan_close(scan);
    return status;
}

/*
 * A scrap that was closed apart from a sparse block lies within its box once the sides have moved;
 * it is a part of it.
 */
static bool is_part_of_larger(const fleck_blocks *blocks, const fleck_block *block)
{
    const double area = block->box.half_u * block->box.half_v;

    for (size_t i = 0; i < blocks->count; i++) {
        const fleck_turned_box *const box = &blocks->items[i].box;
        const double dx = block->box.x - box->x, dy = block->box.y - box->y;
        const double u = dx * cos(box->angle) - dy * sin(box->angle);
        const double v = dx * sin(box->angle) + dy * cos(box->angle);

        if (blocks->items[i].kind != FLECK_BLOCK_FRAME && box->half_u * box->half_v > area &&
            fabs(u) < box->half_u && fabs(v) < box->half_v)
            return true;
    }
    return false;
}

/* Bring the sides in until all corners lie on the scan. */
static void keep_on_scan(fleck_turned_box *box, double columns, double rows)
{
    const double c = cos(box->angle), s = sin(box->angle);
    /* reach of the box to the right of its centre, and below it */
    const double reach_x = box->half_u * fabs(c) + box->half_v * fabs(s);
    const double reach_y = box->half_u * fabs(s) + box->half_v * fabs(c);
    /* right, left, lower, upper: how far beyond, and the side's own direction */
    const double beyond[4] = { box->x + reach_x - columns, reach_x - box->x,
                               box->y + reach_y - rows, reach_y - box->y };

    for (unsigned side = 0; side < 4; side++) {
        const double in = beyond[side] > 0 ? beyond[side] / fabs(c) : 0;
        const double way = side % 2 == 0 ? -in / 2 : in / 2;
        double *const half = side < 2 ? &box->half_u : &box->half_v;

        if (!(in > 0) || in / 2 >= *half)
            continue;
        *half -= in / 2;
        box->x += side < 2 ? way * c : way * s;
        box->y += side < 2 ? -way * s : way * c;
    }
}

static double hundredths(double value)
{
    return floor(value * 100 + 0.5) / 100;
}

static fleck_located in_mm(const fleck_block *block, const fleck_layout *layout)
{
    const double cell_mm = layout->map.cell_mm;
    fleck_turned_box box = block->box;
    fleck_located located = { .doubts = block->doubts, .kind = block->kind };

    for (unsigned round = 0; round < 3; round++)
        keep_on_scan(&box, layout->width_mm / cell_mm, layout->height_mm / cell_mm);
    located.box.width_mm = floor(2 * box.half_u * cell_mm * 100) / 100;
    located.box.height_mm = floor(2 * box.half_v * cell_mm * 100) / 100;
    located.box.x_mm = fmax(0, hundredths(box.x * cell_mm - located.box.width_mm / 2));
    located.box.y_mm = fmax(0, hundredths(box.y * cell_mm - located.box.height_mm / 2));
    located.tilt_deg = hundredths(box.angle / DEGREE) + 0.0; /* never -0 */
    if (block->kind != FLECK_BLOCK_PATCH)
        located.doubts |= FLECK_DOUBT_KIND;
    return located;
}

static fleck_status warn_of_doubts(fleck_layout *layout, fleck_error *err)
{
    size_t writing = 0;
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < layout->count; i++) {
        const fleck_located *const patch = &layout->patches[i];
        char note[256];

        if (patch->doubts != 0)
            status = fleck_warnings_add(&layout->warnings, err, "patch-in-doubt", "patch %s: %s",
                                        patch->id, fleck_located_note(patch, note));
    }
    for (size_t i = 0; i < layout->left_out_count; i++)
        writing += layout->left_out[i].kind == FLECK_BLOCK_WRITING;
    for (size_t i = 0; status == FLECK_OK && i < layout->left_out_count; i++) {
        const fleck_located *const block = &layout->left_out[i];

        if (block->kind == FLECK_BLOCK_WRITING && writing > 3)
            continue;
        status = fleck_warnings_add(
            &layout->warnings, err, "left-out",
            "left out at %.0f,%.0f mm, %.1f x %.1f mm: %s; --all lists it", block->box.x_mm,
            block->box.y_mm, block->box.width_mm, block->box.height_mm,
            block->kind == FLECK_BLOCK_GREY_SCALE ? "flat steps, a grey scale?"
            : block->kind == FLECK_BLOCK_RULER    ? "even marks, a ruler?"
            : block->kind == FLECK_BLOCK_FRAME    ? "a frame or a dark margin?"
            : block->kind == FLECK_BLOCK_SMALL    ? "below the smallest side of a patch"
                                                  : "few strokes, writing or a mark?");
    }
    if (status == FLECK_OK && writing > 3)
        status = fleck_warnings_add(&layout->warnings, err, "left-out",
                                    "left out: %zu places with few strokes, writing or marks? look "
                                    "at the preview; --all lists them",
                                    writing);
    return status;
}

/*
 * Below the smallest side, and no solid rectangle close to it that the option may have missed:
 * scraps of writing, numbers, ticks. They are what --min-size is for, and go unmentioned.
 */
static bool is_trifle(const fleck_block *block, const fleck_sheet_map *map,
                      const fleck_locate_options *options, bool weak)
{
    const double smaller_mm = 2 * fmin(block->box.half_u, block->box.half_v) * map->cell_mm;

    /* what is hardly darker than the paper must leave some of it to be seen */
    if (weak &&
        block->box.half_u * block->box.half_v > 0.2 * (double)map->columns * (double)map->rows)
        return true;
    /* and must at least have the shape of a patch */
    if (block->printed < FLECK_DUST ||
        ((weak || block->printed < 2 * FLECK_DUST) && !fleck_block_is_rectangular(block)))
        return true;
    if (block->kind == FLECK_BLOCK_SMALL)
        return !fleck_block_is_rectangular(block) || smaller_mm < 0.7 * options->min_size_mm;
    /* an ellipse loses three tenths of its side to the box inside */
    return smaller_mm < 0.7 * options->min_size_mm;
}

static fleck_status find_patches(const fleck_relief *relief, const fleck_locate_options *options,
                                 bool weak, fleck_layout *layout, fleck_error *err)
{
    fleck_blocks blocks = { 0 };
    fleck_located *patches = NULL, *left_out = NULL;
    size_t count = 0, left_out_count = 0;
    double angle = 0;
    fleck_status status =
        fleck_blocks_find(&layout->map, relief, options->min_size_mm, &blocks, err);

    if (status == FLECK_OK)
        status = fleck_blocks_fit(&layout->map, relief, options->min_size_mm, &blocks, &angle, err);
    for (size_t i = 0; status == FLECK_OK && i < blocks.count; i++)
        status = fleck_block_judge(&layout->map, relief, &blocks, options->min_size_mm,
                                   &blocks.items[i], err);
    if (status == FLECK_OK)
        status = fleck_blocks_fit_rough(&layout->map, angle, &blocks, err);
    if (status != FLECK_OK)
        goto done;
    patches = fleck_alloc_zeroed(blocks.count, sizeof *patches);
    left_out = fleck_alloc_zeroed(blocks.count, sizeof *left_out);
    if (patches == NULL || left_out == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the layout; free some memory");
        goto done;
    }
    for (size_t i = 0; i < blocks.count; i++) {
        const fleck_block *const block = &blocks.items[i];
        fleck_located located = in_mm(block, layout);

        if (is_trifle(block, &layout->map, options, weak) || is_part_of_larger(&blocks, block))
            continue;
        if (weak)
            located.doubts |= FLECK_DOUBT_WEAK;
        if (block->kind == FLECK_BLOCK_PATCH || options->all)
            patches[count++] = located;
        else
            left_out[left_out_count++] = located;
    }
    if (count > 0 || !weak) { /* a second look that found nothing leaves what the first one saw */
        fleck_free(layout->patches);
        fleck_free(layout->left_out);
        layout->patches = patches; /* the layout owns both from here */
        layout->left_out = left_out;
        layout->count = count;
        layout->left_out_count = left_out_count;
        patches = left_out = NULL;
    }
done:
    fleck_free(patches);
    fleck_free(left_out);
    fleck_blocks_clear(&blocks);
    return status;
}

fleck_status fleck_locate(const char *path, const fleck_locate_options *options, fleck_layout *out,
                          fleck_error *err)
{
    fleck_locate_options known = fleck_locate_options_default();
    fleck_relief relief = { 0 }, smooth = { 0 };
    fleck_status status;

    *out = (fleck_layout){ 0 };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "locate options", err)) != FLECK_OK)
        return status;
    options = &known;
    if ((status = check_options(options, err)) != FLECK_OK ||
        (status = read_sheet(path, options, out, err)) != FLECK_OK ||
        (status = fleck_relief_find(&out->map, options->ink, &relief, err)) != FLECK_OK ||
        (status = find_patches(&relief, options, false, out, err)) != FLECK_OK)
        goto done;
    if (out->count == 0) {
        status = fleck_relief_smooth(&out->map, &relief, &smooth, err);
        if (status == FLECK_OK)
            status = find_patches(&smooth, options, true, out, err);
    }
    if (status == FLECK_OK && out->count == 0) {
        (void)warn_of_doubts(out, err);
        status =
            fleck_fail(err, FLECK_BAD_INPUT,
                       "no patch of %g mm or more stands out of the paper; look at the scan, try "
                       "--min-size or --ink, or measure it with --region",
                       options->min_size_mm);
    }
    if (status == FLECK_OK)
        status = fleck_layout_order(out, options, err);
    if (status == FLECK_OK)
        status = warn_of_doubts(out, err);
done:
    fleck_free(relief.depth);
    fleck_free(smooth.depth);
    return status;
}
