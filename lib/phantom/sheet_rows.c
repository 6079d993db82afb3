/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rows are laid on a canvas that is wider than the picture by what the blur needs. A patch is opened
 * in its first row and closed behind its last one, so that only those in the row are in memory.
 */
#include "phantom/sheet_rows.h"

#include <math.h>

#include "core/memory.h"
#include "phantom/closed_forms.h"
#include "phantom/dice.h"
#include "phantom/disc_rows.h"
#include "phantom/field_rows.h"
#include "phantom/soften.h"

/* A patch being drawn; its stretch and rows are those of the canvas. */
struct brush {
    fleck_plate plate; /* in canvas pixels */
    size_t left, width_px, top, bottom;
    fleck_disc_px *discs_px;
    fleck_disc_rows *discs;
    fleck_field_rows *field;
};

struct fleck_sheet_rows {
    fleck_phantom_sheet *sheet;
    size_t margin_px, width_px, height_px; /* of the canvas */
    size_t canvas_y, y;                    /* next rows of canvas and picture */
    fleck_field_rows *fibre;
    struct brush *brushes; /* one for each patch */
    fleck_plate *marks;    /* in canvas pixels */
    fleck_disc_px *strokes_px;
    fleck_disc_rows *strokes;
    fleck_soften *soften;
    double *row, *share, *clip; /* as wide as the canvas */
    double *light;              /* as wide as the picture */
};

static double canvas_px(const fleck_sheet_rows *rows, double mm)
{
    return mm / rows->sheet->frame.pixel_mm + (double)rows->margin_px;
}

static fleck_plate canvas_plate(const fleck_sheet_rows *rows, fleck_plate plate)
{
    plate.x = canvas_px(rows, plate.x);
    plate.y = canvas_px(rows, plate.y);
    plate.width /= rows->sheet->frame.pixel_mm;
    plate.height /= rows->sheet->frame.pixel_mm;
    return plate;
}

static fleck_disc_px *discs_of(const fleck_sheet_rows *rows, const fleck_dots *dots, double left,
                               double top)
{
    fleck_disc_px *discs = fleck_alloc_array(dots->count, sizeof *discs);

    for (size_t i = 0; discs != NULL && i < dots->count; i++)
        discs[i] = (fleck_disc_px){ canvas_px(rows, dots->items[i].x_mm) - left,
                                    canvas_px(rows, dots->items[i].y_mm) - top,
                                    dots->items[i].diameter_mm / 2 / rows->sheet->frame.pixel_mm };
    return discs;
}

/* ---- patches ---- */

static void close_brush(struct brush *brush)
{
    fleck_disc_rows_free(brush->discs);
    fleck_field_rows_free(brush->field);
    fleck_free(brush->discs_px);
    brush->discs = NULL;
    brush->field = NULL;
    brush->discs_px = NULL;
}

/* The part of the canvas in which the patch can have ink. */
static void frame_brush(const fleck_sheet_rows *rows, const fleck_sheet_patch *patch,
                        struct brush *brush)
{
    double x[4], y[4], reach = 0;
    double left = INFINITY, right = -INFINITY, top = INFINITY, bottom = -INFINITY;

    brush->plate = canvas_plate(rows, patch->plate);
    fleck_plate_corners(&brush->plate, x, y);
    for (size_t i = 0; patch->given.ragged && i < patch->dots.count; i++)
        reach = fmax(reach, patch->dots.items[i].diameter_mm / 2);
    reach /= rows->sheet->frame.pixel_mm;
    for (int i = 0; i < 4; i++) {
        left = fmin(left, x[i] - reach);
        right = fmax(right, x[i] + reach);
        top = fmin(top, y[i] - reach);
        bottom = fmax(bottom, y[i] + reach);
    }
    brush->left = (size_t)fmax(floor(left), 0);
    brush->top = (size_t)fmax(floor(top), 0);
    brush->width_px = (size_t)fmin(ceil(right), (double)rows->width_px) - brush->left;
    brush->bottom = (size_t)fmin(ceil(bottom), (double)rows->height_px);
}

static fleck_status open_brush(const fleck_sheet_rows *rows, const fleck_sheet_patch *patch,
                               struct brush *brush, fleck_error *err)
{
    const fleck_phantom_sheet_options *options = &rows->sheet->options;
    const fleck_phantom_options *speckle = &patch->given.speckle;

    if (fleck_phantom_has_discs(speckle->kind)) {
        brush->discs_px =
            discs_of(rows, &patch->dots, (double)brush->left, (double)brush->top);
        if (brush->discs_px == NULL)
            return fleck_fail(err, FLECK_NO_RESOURCE,
                              "no memory for %zu dots; give fewer or smaller patches",
                              patch->dots.count);
        return fleck_disc_rows_new(brush->discs_px, patch->dots.count, brush->width_px,
                                   options->antialias, &brush->discs, err);
    }
    if (speckle->kind == FLECK_PHANTOM_FIELD) {
        const fleck_field_frame frame = {
            .seed = speckle->seed,
            .correlation_mm = speckle->correlation_mm,
            .level = fleck_field_level(speckle),
            .pixel_mm = rows->sheet->frame.pixel_mm,
            .width_px = brush->width_px,
            .antialias = options->antialias,
        };

        return fleck_field_rows_new(&frame, &brush->field, err);
    }
    return FLECK_OK;
}

/* Lay the patch's part of the canvas row, and sum up its ink. */
static fleck_status paint_patch(fleck_sheet_rows *rows, fleck_sheet_patch *patch,
                                struct brush *brush, fleck_error *err)
{
    const fleck_phantom_options *speckle = &patch->given.speckle;
    double *share = rows->share + brush->left;
    double ink_px = 0, all_px = 0;
    fleck_stretch inside;
    fleck_status status = FLECK_OK;

    if (brush->discs != NULL) {
        status = fleck_disc_rows_next(brush->discs, share, err);
    } else if (brush->field != NULL) {
        fleck_field_rows_next(brush->field, share);
    } else {
        for (size_t i = 0; i < brush->width_px; i++)
            share[i] = speckle->coverage;
    }
    if (status != FLECK_OK)
        return status;
    inside = fleck_plate_row(&brush->plate, rows->canvas_y, rows->width_px,
                             rows->sheet->options.antialias, rows->clip);
    for (size_t x = brush->left; x < brush->left + brush->width_px; x++) {
        const double clip = x >= inside.first && x < inside.end ? rows->clip[x] : 0;
        const double laid = patch->given.ragged ? rows->share[x] : rows->share[x] * clip;

        all_px += clip;
        ink_px += rows->share[x] * clip;
        rows->row[x] += laid * (speckle->ink_reflectance - rows->row[x]);
    }
    patch->all_px += all_px;
    patch->ink_px += ink_px;
    return FLECK_OK;
}

static fleck_status paint_patches(fleck_sheet_rows *rows, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < rows->sheet->patch_count; i++) {
        fleck_sheet_patch *patch = &rows->sheet->patches[i];
        struct brush *brush = &rows->brushes[i];

        if (rows->canvas_y < brush->top || rows->canvas_y >= brush->bottom)
            continue;
        if (rows->canvas_y == brush->top)
            status = open_brush(rows, patch, brush, err);
        if (status == FLECK_OK)
            status = paint_patch(rows, patch, brush, err);
        if (rows->canvas_y + 1 == brush->bottom)
            close_brush(brush);
    }
    return status;
}

/* ---- all else ---- */

static void paint_paper(fleck_sheet_rows *rows)
{
    const fleck_phantom_sheet_options *options = &rows->sheet->options;

    for (size_t x = 0; x < rows->width_px; x++)
        rows->row[x] = options->paper_reflectance;
    if (rows->fibre == NULL)
        return;
    fleck_field_rows_values(rows->fibre, rows->share);
    for (size_t x = 0; x < rows->width_px; x++)
        rows->row[x] += options->fibre * rows->share[x];
}

static void paint_marks(fleck_sheet_rows *rows)
{
    for (size_t i = 0; i < rows->sheet->mark_count; i++) {
        const double reflectance = rows->sheet->marks[i].reflectance;
        const fleck_stretch inside =
            fleck_plate_row(&rows->marks[i], rows->canvas_y, rows->width_px,
                            rows->sheet->options.antialias, rows->share);

        for (size_t x = inside.first; x < inside.end; x++)
            rows->row[x] += rows->share[x] * (reflectance - rows->row[x]);
    }
}

static fleck_status paint_strokes(fleck_sheet_rows *rows, fleck_error *err)
{
    const double pencil = rows->sheet->options.pencil_reflectance;
    fleck_status status;

    if (rows->strokes == NULL)
        return FLECK_OK;
    status = fleck_disc_rows_next(rows->strokes, rows->share, err);
    for (size_t x = 0; status == FLECK_OK && x < rows->width_px; x++)
        rows->row[x] += rows->share[x] * (pencil - rows->row[x]);
    return status;
}

static fleck_status next_canvas_row(fleck_sheet_rows *rows, fleck_error *err)
{
    fleck_status status;

    paint_paper(rows);
    if ((status = paint_patches(rows, err)) != FLECK_OK)
        return status;
    paint_marks(rows);
    if ((status = paint_strokes(rows, err)) != FLECK_OK)
        return status;
    fleck_soften_put(rows->soften, rows->row);
    rows->canvas_y++;
    return FLECK_OK;
}

/* Light and noise: what the scanner adds. */
static void scan_row(fleck_sheet_rows *rows, double *reflectance)
{
    fleck_phantom_sheet *sheet = rows->sheet;
    const double noise = sheet->options.noise;
    const fleck_sheet_light_row light = fleck_sheet_light_in_row(&sheet->light, rows->y);
    fleck_dice dice = fleck_dice_at(sheet->options.seed, FLECK_DICE_NOISE, 0, (int64_t)rows->y);
    double pair[2] = { 0, 0 };

    for (size_t x = 0; x < sheet->frame.width_px; x++) {
        if (noise > 0 && x % 2 == 0)
            fleck_dice_normal_pair(&dice, pair);
        reflectance[x] =
            reflectance[x] * (light.base + light.slope * rows->light[x]) + noise * pair[x % 2];
        sheet->clipped_px += reflectance[x] < 0 || reflectance[x] > 1;
    }
}

fleck_status fleck_sheet_rows_next(fleck_sheet_rows *rows, double *reflectance, fleck_error *err)
{
    while (rows->canvas_y <= rows->y + 2 * rows->margin_px) {
        const fleck_status status = next_canvas_row(rows, err);

        if (status != FLECK_OK)
            return status;
    }
    fleck_soften_get(rows->soften, reflectance);
    scan_row(rows, reflectance);
    rows->y++;
    if (rows->y == rows->sheet->frame.height_px)
        rows->sheet->drawn = true;
    return FLECK_OK;
}

/* ---- beginning and end ---- */

static fleck_status begin_fibre(fleck_sheet_rows *rows, fleck_error *err)
{
    const fleck_phantom_sheet_options *options = &rows->sheet->options;
    const fleck_field_frame frame = {
        .seed = options->seed,
        .correlation_mm = options->fibre_length_mm,
        .pixel_mm = rows->sheet->frame.pixel_mm,
        .left_px = -(double)rows->margin_px,
        .top_px = -(double)rows->margin_px,
        .width_px = rows->width_px,
        .fibre = true,
    };

    return options->fibre > 0 ? fleck_field_rows_new(&frame, &rows->fibre, err) : FLECK_OK;
}

static fleck_status begin_strokes(fleck_sheet_rows *rows, fleck_error *err)
{
    const fleck_phantom_sheet *sheet = rows->sheet;

    if (sheet->strokes.count == 0)
        return FLECK_OK;
    rows->strokes_px = discs_of(rows, &sheet->strokes, 0, 0);
    if (rows->strokes_px == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the writing; leave it out");
    return fleck_disc_rows_new(rows->strokes_px, sheet->strokes.count, rows->width_px,
                               sheet->options.antialias, &rows->strokes, err);
}

static fleck_status begin(fleck_sheet_rows *rows, fleck_phantom_sheet *sheet, fleck_error *err)
{
    const double sd_px = sheet->options.softness_mm / sheet->frame.pixel_mm;
    fleck_status status;

    rows->sheet = sheet;
    rows->margin_px = fleck_soften_margin_px(sd_px);
    rows->width_px = sheet->frame.width_px + 2 * rows->margin_px;
    rows->height_px = sheet->frame.height_px + 2 * rows->margin_px;
    rows->row = fleck_alloc_array(rows->width_px, sizeof *rows->row);
    rows->share = fleck_alloc_array(rows->width_px, sizeof *rows->share);
    rows->clip = fleck_alloc_array(rows->width_px, sizeof *rows->clip);
    rows->light = fleck_alloc_array(sheet->frame.width_px, sizeof *rows->light);
    rows->brushes = fleck_alloc_zeroed(sheet->patch_count, sizeof *rows->brushes);
    rows->marks = fleck_alloc_array(sheet->mark_count, sizeof *rows->marks);
    if (rows->row == NULL || rows->share == NULL || rows->clip == NULL || rows->light == NULL ||
        rows->brushes == NULL || rows->marks == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to draw; give a smaller sheet");
    fleck_sheet_light_columns(&sheet->light, rows->light);
    for (size_t i = 0; i < sheet->mark_count; i++) {
        const fleck_sheet_mark *mark = &sheet->marks[i];
        fleck_plate plate = mark->plate;

        fleck_plate_point(&mark->plate, mark->under_mm / 2, 0, &plate.x, &plate.y);
        plate.width += mark->under_mm;
        rows->marks[i] = canvas_plate(rows, plate);
    }
    for (size_t i = 0; i < sheet->patch_count; i++) {
        frame_brush(rows, &sheet->patches[i], &rows->brushes[i]);
        sheet->patches[i].ink_px = sheet->patches[i].all_px = 0;
    }
    sheet->clipped_px = 0;
    sheet->drawn = false;
    if ((status = fleck_soften_new(sd_px, sheet->frame.width_px, &rows->soften, err)) != FLECK_OK)
        return status;
    if ((status = begin_fibre(rows, err)) != FLECK_OK)
        return status;
    return begin_strokes(rows, err);
}

fleck_status fleck_sheet_rows_new(fleck_phantom_sheet *sheet, fleck_sheet_rows **out,
                                  fleck_error *err)
{
    fleck_sheet_rows *rows = fleck_alloc_zeroed(1, sizeof *rows);
    fleck_status status;

    *out = NULL;
    if (rows == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to draw; give a smaller sheet");
    status = begin(rows, sheet, err);
    if (status == FLECK_OK)
        *out = rows;
    else
        fleck_sheet_rows_free(rows);
    return status;
}

void fleck_sheet_rows_free(fleck_sheet_rows *rows)
{
    if (rows == NULL)
        return;
    for (size_t i = 0; rows->brushes != NULL && i < rows->sheet->patch_count; i++)
        close_brush(&rows->brushes[i]);
    fleck_field_rows_free(rows->fibre);
    fleck_disc_rows_free(rows->strokes);
    fleck_soften_free(rows->soften);
    fleck_free(rows->brushes);
    fleck_free(rows->marks);
    fleck_free(rows->strokes_px);
    fleck_free(rows->row);
    fleck_free(rows->share);
    fleck_free(rows->clip);
    fleck_free(rows->light);
    fleck_free(rows);
}
