/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes as a scan: opened, and its rows read unless there are too many to be quick. */
#include "fleck/scan.h"

#include <stdint.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

enum { PIXEL_BUDGET = 1 << 20, LARGEST_ROW = 1 << 24 };

static void read_rows(fleck_scan *scan)
{
    const fleck_scan_info *info = fleck_scan_get_info(scan);
    const size_t row_bytes = fleck_scan_row_bytes(scan);
    uint8_t *row;

    if (row_bytes > LARGEST_ROW || info->width_px > PIXEL_BUDGET / info->height_px)
        return;
    row = malloc(row_bytes);
    if (row == NULL)
        return;
    for (size_t y = 0; y < info->height_px; y++) {
        if (fleck_scan_read_row(scan, row, NULL) != FLECK_OK)
            break;
    }
    free(row);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    for (size_t page = 1; page <= 2; page++) {
        fleck_scan *scan;

        if (fleck_scan_open_memory(bytes, size, page, &scan, NULL) == FLECK_OK)
            read_rows(scan);
        fleck_scan_close(scan);
    }
    return 0;
}
