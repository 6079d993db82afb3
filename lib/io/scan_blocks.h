/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading a scan from elsewhere than its first row, where its format allows. */
#ifndef FLECK_IO_SCAN_BLOCKS_H
#define FLECK_IO_SCAN_BLOCKS_H

#include "fleck/scan.h"

/*
 * Rows of the blocks that can be decoded without those before them: the strips or rows of tiles of a TIFF,
 * 1 where nothing is compressed. 0 where all rows must be read one after the other.
 *
 * Errors: as fleck_scan_read_row, which then gives the same.
 */
fleck_status fleck_scan_block_rows(fleck_scan *scan, size_t *rows, fleck_error *err);

/* Let the first row of a block be the next that is read; a multiple of the above, within the scan. */
void fleck_scan_go_on_at(fleck_scan *scan, size_t row);

#endif
