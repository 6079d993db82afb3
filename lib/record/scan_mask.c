/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/scan_mask.h"

#include <stdint.h>

#include "core/memory.h"
#include "fleck/scan.h"
#include "fleck/tone.h"

enum { WHITE = 32768 }; /* q from which a pixel is measured */

static void add_row(const uint16_t *q, size_t y_px, fleck_mask *mask)
{
    const size_t width_px = fleck_mask_width_px(mask);
    size_t start = 0;

    for (size_t x = 0; x < width_px; x++) {
        if (q[x] < WHITE) {
            fleck_mask_add_run(mask, y_px, start, x);
            start = x + 1;
        }
    }
    fleck_mask_add_run(mask, y_px, start, width_px);
}

static fleck_status read_rows(fleck_scan *scan, const fleck_tone *tone, fleck_mask *mask,
                              fleck_error *err)
{
    const size_t width_px = fleck_mask_width_px(mask);
    unsigned char *const row = fleck_alloc_array(fleck_scan_row_bytes(scan), 1);
    uint16_t *const q = fleck_alloc_array(width_px, sizeof *q);
    fleck_status status = FLECK_OK;

    if (row == NULL || q == NULL)
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for one row; free some memory");
    for (size_t y = 0; status == FLECK_OK && y < fleck_mask_height_px(mask); y++) {
        status = fleck_scan_read_row(scan, row, err);
        if (status == FLECK_OK) {
            fleck_tone_row(tone, FLECK_CHANNEL_LUMINANCE, row, width_px, q);
            add_row(q, y, mask);
        }
    }
    fleck_free(row);
    fleck_free(q);
    return status;
}

static fleck_status read_mask(const char *path, fleck_scan_mask *out, fleck_error *err)
{
    fleck_scan *scan = NULL;
    fleck_tone *tone = NULL;
    fleck_warnings warnings = { 0 }; /* black and white stay so by any curve */
    fleck_status status = fleck_scan_open(path, 1, &scan, err);

    if (status == FLECK_OK)
        status = fleck_sha256_file(path, out->sha256, err);
    if (status == FLECK_OK)
        status = fleck_tone_new(fleck_scan_get_info(scan), NULL, &tone, &warnings, err);
    if (status == FLECK_OK)
        status = fleck_mask_new(fleck_scan_get_info(scan)->width_px,
                                fleck_scan_get_info(scan)->height_px, &out->mask, err);
    if (status == FLECK_OK)
        status = read_rows(scan, tone, out->mask, err);
    if (status == FLECK_OK && fleck_mask_area_px(out->mask) == 0)
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "has no white pixel; paint white what is to be measured");
    fleck_tone_free(tone);
    fleck_warnings_clear(&warnings);
    fleck_scan_close(scan);
    return status;
}

fleck_status fleck_scan_mask_read(const char *path, fleck_scan_mask *out, fleck_error *err)
{
    fleck_error fault = { 0 };
    fleck_status status;

    *out = (fleck_scan_mask){ .mask = NULL };
    status = read_mask(path, out, &fault);
    if (status == FLECK_OK)
        return FLECK_OK;
    /* one bad mask is the fault of the call, not of a scan */
    return fleck_fail(err, status == FLECK_NO_RESOURCE ? status : FLECK_BAD_CALL, "the mask %s %s",
                      path, fault.message);
}

void fleck_scan_mask_clear(fleck_scan_mask *mask)
{
    if (mask == NULL)
        return;
    fleck_mask_free(mask->mask);
    mask->mask = NULL;
}
