/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/phantom_sheet.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/utf8.h"
#include "core/versioned.h"
#include "fleck/tone.h"
#include "io/picture.h"
#include "phantom/phantom_sheet_internal.h"
#include "phantom/sheet_rows.h"

enum { MOST_PATCHES = 2000 }; /* each is compared with each; common practice, no source */

static fleck_status copy_patches(fleck_phantom_sheet *sheet, const fleck_phantom_patch *patches,
                                 size_t count, fleck_error *err)
{
    if (count > MOST_PATCHES)
        return fleck_fail(err, FLECK_BAD_CALL, "there are %zu patches; give at most %d", count,
                          MOST_PATCHES);
    sheet->patches = fleck_alloc_zeroed(count, sizeof *sheet->patches);
    if (sheet->patches == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the patches; give fewer");
    for (size_t i = 0; i < count; i++) {
        const void *const end = memchr(patches[i].name, '\0', sizeof patches[i].name);
        const size_t length = end == NULL ? 0 : strlen(patches[i].name);

        if (length == 0 || fleck_utf8_valid(patches[i].name, length) != length)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "patch %zu has no name, or one that is no UTF-8 of at most %d bytes; "
                              "give one",
                              i + 1, FLECK_PHANTOM_NAME_BYTES - 1);
        sheet->patches[i].given = patches[i];
    }
    sheet->patch_count = count;
    return FLECK_OK;
}

/* A side that is not given is as long as the patches and what lies around them need it. */
static fleck_status find_size(fleck_phantom_sheet *sheet, fleck_error *err)
{
    fleck_phantom_sheet_options *options = &sheet->options;
    double right = 0, bottom = 0, width_px, height_px;

    for (size_t i = 0; i < sheet->patch_count; i++) {
        const fleck_phantom_patch *patch = &sheet->patches[i].given;
        const fleck_plate plate = fleck_plate_at(
            patch->box.x_mm + patch->box.width_mm / 2, patch->box.y_mm + patch->box.height_mm / 2,
            patch->box.width_mm, patch->box.height_mm, patch->tilt_deg);
        double x[4], y[4];

        fleck_plate_corners(&plate, x, y);
        for (int corner = 0; corner < 4; corner++) {
            right = fmax(right, x[corner]);
            bottom = fmax(bottom, y[corner]);
        }
    }
    if ((options->width_mm == 0 || options->height_mm == 0) && sheet->patch_count == 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "there is neither a size of the sheet nor a patch; give width and height");
    if (options->width_mm == 0)
        options->width_mm = ceil(right + FLECK_SHEET_RIGHT);
    if (options->height_mm == 0)
        options->height_mm = ceil(bottom + FLECK_SHEET_BOTTOM);
    sheet->frame.pixel_mm = 25.4 / options->ppi;
    width_px = round(options->width_mm / sheet->frame.pixel_mm);
    height_px = round(options->height_mm / sheet->frame.pixel_mm);
    if (!(width_px >= 1 && height_px >= 1 && width_px <= 1e6 && height_px <= 1e6))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the sheet of %.1f x %.1f mm gives %.0f x %.0f pixels; give sides of 1 to "
                          "1000000 pixels",
                          options->width_mm, options->height_mm, width_px, height_px);
    sheet->frame.width_px = (size_t)width_px;
    sheet->frame.height_px = (size_t)height_px;
    return FLECK_OK;
}

static fleck_status lay_out(fleck_phantom_sheet *sheet, const fleck_phantom_patch *patches,
                            size_t count, fleck_error *err)
{
    fleck_status status;

    if ((status = fleck_sheet_check_options(&sheet->options, err)) != FLECK_OK ||
        (status = copy_patches(sheet, patches, count, err)) != FLECK_OK ||
        (status = find_size(sheet, err)) != FLECK_OK)
        return status;
    if (!sheet->options.patches)
        sheet->patch_count = 0;
    sheet->light = fleck_sheet_light_of(sheet->options.light, sheet->frame.width_px,
                                        sheet->frame.height_px);
    if ((status = fleck_sheet_lay_marks(sheet, err)) != FLECK_OK ||
        (status = fleck_sheet_lay_patches(sheet, err)) != FLECK_OK)
        return status;
    return sheet->options.writing ? fleck_sheet_lay_writing(sheet, err) : FLECK_OK;
}

fleck_status fleck_phantom_sheet_new(const fleck_phantom_sheet_options *options,
                                     const fleck_phantom_patch *patches, size_t count,
                                     fleck_phantom_sheet **out, fleck_error *err)
{
    fleck_phantom_sheet *sheet = fleck_alloc_zeroed(1, sizeof *sheet);
    fleck_status status;

    *out = NULL;
    if (sheet == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a sheet; free some memory");
    sheet->options = fleck_phantom_sheet_options_default();
    status = fleck_versioned_take(options, &sheet->options, sizeof sheet->options, "sheet options", err);
    if (status == FLECK_OK)
        status = lay_out(sheet, patches, count, err);
    if (status == FLECK_OK)
        *out = sheet;
    else
        fleck_phantom_sheet_free(sheet);
    return status;
}

fleck_status fleck_phantom_sheet_draw(fleck_phantom_sheet *sheet, fleck_phantom_row row,
                                      void *context, fleck_error *err)
{
    fleck_sheet_rows *rows = NULL;
    double *reflectance = fleck_alloc_array(sheet->frame.width_px, sizeof *reflectance);
    fleck_status status;

    if (reflectance == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for one row; free some memory");
    status = fleck_sheet_rows_new(sheet, &rows, err);
    for (size_t y = 0; status == FLECK_OK && y < sheet->frame.height_px; y++) {
        status = fleck_sheet_rows_next(rows, reflectance, err);
        if (status == FLECK_OK)
            status = row(context, y, reflectance, sheet->frame.width_px, err);
    }
    fleck_sheet_rows_free(rows);
    fleck_free(reflectance);
    return status;
}

/* A sheet on its way to a file. */
struct coding {
    const fleck_phantom_sheet_options *options;
    fleck_sheet_rows *rows;
    double *reflectance;
    size_t width_px;
};

static fleck_status code_row(void *context, size_t y, void *samples, fleck_error *err)
{
    const struct coding *coding = context;
    const fleck_phantom_sheet_options *options = coding->options;
    const double full = options->bits == 8 ? 255 : 65535;
    const fleck_status status = fleck_sheet_rows_next(coding->rows, coding->reflectance, err);

    (void)y; /* rows are asked for in order */
    for (size_t x = 0; status == FLECK_OK && x < coding->width_px; x++) {
        const double linear = fmin(fmax(coding->reflectance[x], 0), 1);
        const double code = options->curve == FLECK_PHANTOM_SRGB ? fleck_tone_srgb_encode(linear)
                                                                 : pow(linear, 1 / options->gamma);

        if (options->bits == 8)
            ((uint8_t *)samples)[x] = (uint8_t)floor(code * full + 0.5);
        else
            ((uint16_t *)samples)[x] = (uint16_t)floor(code * full + 0.5);
    }
    return status;
}

fleck_status fleck_phantom_sheet_write(fleck_phantom_sheet *sheet, const char *path,
                                       fleck_error *err)
{
    struct coding coding = { .options = &sheet->options, .width_px = sheet->frame.width_px };
    fleck_picture picture = {
        .width_px = sheet->frame.width_px,
        .height_px = sheet->frame.height_px,
        .channels = 1,
        .bits = sheet->options.bits,
        .ppi_x = sheet->options.claimed_ppi,
        .ppi_y = sheet->options.claimed_ppi,
        .srgb = sheet->options.srgb_chunk,
    };
    fleck_status status;

    if (!fleck_picture_format_from_name(path, &picture.format))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the name tells no kind of picture; end it in .png, .tif or .tiff");
    coding.reflectance = fleck_alloc_array(coding.width_px, sizeof *coding.reflectance);
    if (coding.reflectance == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for one row; free some memory");
    status = fleck_sheet_rows_new(sheet, &coding.rows, err);
    if (status == FLECK_OK)
        status = fleck_picture_write(path, &picture, code_row, &coding, err);
    fleck_sheet_rows_free(coding.rows);
    fleck_free(coding.reflectance);
    return status;
}

void fleck_phantom_sheet_free(fleck_phantom_sheet *sheet)
{
    if (sheet == NULL)
        return;
    for (size_t i = 0; sheet->patches != NULL && i < sheet->patch_count; i++)
        fleck_free(sheet->patches[i].dots.items);
    fleck_free(sheet->patches);
    fleck_free(sheet->marks);
    fleck_free(sheet->strokes.items);
    fleck_free(sheet);
}
