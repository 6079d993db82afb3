/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/contact_cell.h"

#include <math.h>
#include <unistd.h>

#include "core/memory.h"
#include "fleck/overlay.h"
#include "fleck/scan.h"
#include "fleck/tone.h"

static fleck_status read_pixels(fleck_scan *scan, contact_cell *cell, fleck_error *err)
{
    fleck_status status = FLECK_OK;
    size_t count;

    if (size_mul(cell->width_px, cell->height_px, &count))
        cell->codes = fleck_alloc_array(count, 1);
    if (cell->codes == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the contact sheet; free some memory");
    for (size_t y = 0; status == FLECK_OK && y < cell->height_px; y++)
        status = fleck_scan_read_row(scan, cell->codes + y * cell->width_px, err);
    return status;
}

fleck_status contact_cell_read(const char *path, bool pixels, bool *found, contact_cell *cell,
                               fleck_error *err)
{
    const fleck_scan_info *info;
    fleck_scan *scan = NULL;
    fleck_status status;

    *cell = (contact_cell){ 0 };
    *found = access(path, F_OK) == 0;
    if (!*found)
        return FLECK_OK;
    status = fleck_scan_open(path, 1, &scan, err);
    if (status != FLECK_OK)
        return status;
    info = fleck_scan_get_info(scan);
    if (fleck_scan_row_bytes(scan) != info->width_px || info->width_px > FLECK_OVERLAY_CELL_PX ||
        info->height_px > FLECK_OVERLAY_CELL_PX || !(info->ppi_x > 0 && info->ppi_y > 0)) {
        status = fleck_fail(err, FLECK_BAD_INPUT, "is no picture of a patch as it was written; "
                                                  "remove it and measure the patch anew");
    } else {
        cell->width_px = info->width_px;
        cell->height_px = info->height_px;
        cell->width_mm = 25.4 * (double)info->width_px / info->ppi_x;
        cell->height_mm = 25.4 * (double)info->height_px / info->ppi_y;
        if (pixels)
            status = read_pixels(scan, cell, err);
    }
    fleck_scan_close(scan);
    return status;
}

void contact_cell_clear(contact_cell *cell)
{
    fleck_free(cell->codes);
    *cell = (contact_cell){ 0 };
}

uint8_t contact_cell_mean(const contact_cell *cell, const double *decoded, double left, double top,
                          double right, double bottom)
{
    double sum = 0, area = 0;

    left = fmax(left, 0);
    top = fmax(top, 0);
    right = fmin(right, (double)cell->width_px);
    bottom = fmin(bottom, (double)cell->height_px);
    for (size_t y = (size_t)top; top < bottom && (double)y < bottom; y++) {
        const double high = fmin(bottom, (double)y + 1) - fmax(top, (double)y);

        for (size_t x = (size_t)left; left < right && (double)x < right; x++) {
            const double part = high * (fmin(right, (double)x + 1) - fmax(left, (double)x));

            sum += part * decoded[cell->codes[y * cell->width_px + x]];
            area += part;
        }
    }
    return area > 0 ? (uint8_t)(255 * fleck_tone_srgb_encode(fmin(sum / area, 1)) + 0.5) : 255;
}
