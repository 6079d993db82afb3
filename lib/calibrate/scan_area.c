/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calibrate/scan_area.h"

#include <math.h>
#include <stdint.h>

#include "calibrate/calibration.h"
#include "calibrate/resolution.h"
#include "core/memory.h"

bool fleck_span_to_pixels(double start_mm, double end_mm, double pixel_mm, size_t limit_px,
                          size_t *first, size_t *count)
{
    const double from = round(start_mm / pixel_mm);
    const double to = round(end_mm / pixel_mm);

    if (!(from >= 0 && to > from && to <= (double)limit_px))
        return false;
    *first = (size_t)from;
    *count = (size_t)to - *first;
    return true;
}

bool fleck_box_to_pixels(const fleck_box_mm *box, const fleck_scan_info *info, double pixel_x_mm,
                         double pixel_y_mm, size_t *left_px, size_t *top_px, size_t *width_px,
                         size_t *height_px)
{
    return fleck_span_to_pixels(box->x_mm, box->x_mm + box->width_mm, pixel_x_mm, info->width_px,
                                left_px, width_px) &&
           fleck_span_to_pixels(box->y_mm, box->y_mm + box->height_mm, pixel_y_mm,
                                info->height_px, top_px, height_px);
}

static fleck_status place(fleck_area_reader *reader, const fleck_scan_area *area, fleck_error *err)
{
    const fleck_scan_info *const info = reader->info;
    fleck_geometry *const geometry = &reader->geometry;

    geometry->width_px = info->width_px;
    geometry->height_px = info->height_px;
    if (area->has_box &&
        !fleck_box_to_pixels(&area->box, info, geometry->pixel_x_mm, geometry->pixel_y_mm,
                             &reader->left_px, &reader->top_px, &geometry->width_px,
                             &geometry->height_px))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "box %g,%g,%g,%g mm is empty or reaches outside the scan, which is "
                          "%.4g x %.4g mm; give a box inside it",
                          area->box.x_mm, area->box.y_mm, area->box.width_mm, area->box.height_mm,
                          (double)info->width_px * geometry->pixel_x_mm,
                          (double)info->height_px * geometry->pixel_y_mm);
    return FLECK_OK;
}

/* Scans of a part that rests on their own curve must bring the same one. */
static void note_tone(fleck_calibration *calibration, const fleck_tone *tone)
{
    const fleck_tone_from from = fleck_tone_get_source(tone);

    if (from == FLECK_TONE_FROM_CALIBRATION || calibration->has_tone_from)
        return;
    calibration->has_tone_from = true;
    calibration->tone_from = from;
}

fleck_status fleck_area_open(fleck_calibration *calibration, const fleck_scan_area *area,
                             const char *part, fleck_area_need need, fleck_area_reader *reader,
                             fleck_warnings *warnings, fleck_error *err)
{
    fleck_status status;

    *reader = (fleck_area_reader){ .geometry = { .pixel_x_mm = NAN, .pixel_y_mm = NAN } };
    status = fleck_scan_open(area->path, area->page, &reader->scan, err);
    if (status != FLECK_OK)
        return status;
    reader->info = fleck_scan_get_info(reader->scan);
    reader->pixel_bytes = (size_t)(reader->info->channels + (reader->info->has_alpha ? 1 : 0)) *
                          reader->info->sample_bytes;
    status = fleck_calibration_bind(calibration, reader->info, area->path, part, warnings, err);
    if (status == FLECK_OK &&
        (area->has_box || need == FLECK_AREA_CODES_AND_SIZE || need == FLECK_AREA_TONE_AND_SIZE)) {
        fleck_resolution resolution;

        status = fleck_resolution_choose(reader->info, calibration->asked_ppi_x,
                                         calibration->asked_ppi_y, calibration, &resolution,
                                         warnings, err);
        if (status == FLECK_OK) {
            reader->geometry.pixel_x_mm = 25.4 / resolution.ppi_x;
            reader->geometry.pixel_y_mm = 25.4 / resolution.ppi_y;
        }
    }
    if (status == FLECK_OK)
        status = place(reader, area, err);
    if (status == FLECK_OK && (need == FLECK_AREA_TONE || need == FLECK_AREA_TONE_AND_SIZE)) {
        status = fleck_tone_new(reader->info, calibration, &reader->tone, warnings, err);
        if (status == FLECK_OK)
            note_tone(calibration, reader->tone);
    }
    if (status == FLECK_OK) {
        reader->row = fleck_alloc_array(fleck_scan_row_bytes(reader->scan), 1);
        if (reader->row == NULL)
            status = fleck_calibration_no_memory(err);
    }
    return status;
}

fleck_status fleck_area_next_row(fleck_area_reader *reader, size_t *y_px,
                                 const unsigned char **pixels, fleck_error *err)
{
    fleck_status status;

    do {
        status = fleck_scan_read_row(reader->scan, reader->row, err);
        reader->next_row_px++;
    } while (status == FLECK_OK && reader->next_row_px <= reader->top_px);
    *y_px = reader->next_row_px - 1;
    *pixels = reader->row + reader->left_px * reader->pixel_bytes;
    return status;
}

unsigned fleck_area_code(const fleck_area_reader *reader, const unsigned char *pixels, size_t x_px,
                         unsigned sample)
{
    const size_t samples = reader->info->channels + (reader->info->has_alpha ? 1u : 0u);
    const size_t at = x_px * samples + sample;

    return reader->info->sample_bytes == 1 ? pixels[at]
                                           : ((const uint16_t *)(const void *)pixels)[at];
}

void fleck_area_close(fleck_area_reader *reader)
{
    fleck_free(reader->row);
    fleck_tone_free(reader->tone);
    fleck_scan_close(reader->scan);
    *reader = (fleck_area_reader){ 0 };
}
