/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How often each code value of a scan occurs, before any curve: the ground for two doubts. */
#ifndef FLECK_MEASURE_CODE_COUNTS_H
#define FLECK_MEASURE_CODE_COUNTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/scan.h"

enum { FLECK_CODE_CHANNELS = 4 };

/* Counts of one colour sample. Of 16 bits the upper 8 are counted. */
typedef struct fleck_code_channel {
    uint64_t codes[256];
    uint64_t darkest, lightest; /* samples at 0 and at full scale, of 16 bits too */
    uint64_t between;           /* 16 bits: samples that are no 8-bit code times 257 or times 256 */
} fleck_code_channel;

typedef struct fleck_code_counts {
    unsigned channels, samples, sample_bytes; /* samples: with alpha */
    bool narrow;                              /* fewer than 8 bits in the file */
    size_t row, row_step;                     /* each row_step-th row is counted */
    fleck_code_channel channel[FLECK_CODE_CHANNELS];
} fleck_code_counts;

/*
 * Start counting for a region. Rows are left out when more than a million pixels remain; the step
 * is odd, so that it does not beat with blocks of 8 rows.
 */
void fleck_code_counts_begin(fleck_code_counts *counts, const fleck_scan_info *info,
                             size_t width_px, size_t height_px);

/* The region's pixels of its next row, laid out as fleck_scan_read_row gives them. */
void fleck_code_counts_add_row(fleck_code_counts *counts, const void *pixels, size_t count);

#endif
