/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The scans of tests/data/scan, their table, and reading them whole. */
#ifndef FLECK_TESTS_SCAN_FILES_H
#define FLECK_TESTS_SCAN_FILES_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/scan.h"
#include "support/check.h"

/* A line of scans.txt; make_scans.py tells what it means. */
typedef struct scan_case {
    char file[64];
    size_t page, pages, width_px, height_px;
    unsigned bits, sample_bytes, channels, alpha;
    double ppi_x, ppi_y;
    uint64_t hash;
} scan_case;

enum { MAX_CASES = 400 };

static inline size_t read_cases(scan_case cases[MAX_CASES])
{
    FILE *table = fopen(FLECK_TEST_DATA "/scan/scans.txt", "r");
    size_t count = 0;
    unsigned long long hash;
    scan_case *one = cases;

    assert_non_null(table);
    while (count < MAX_CASES &&
           fscanf(table, "%63s %zu %zu %zu %zu %u %u %u %u %lf %lf %llx", one->file, &one->page,
                  &one->pages, &one->width_px, &one->height_px, &one->bits, &one->sample_bytes,
                  &one->channels, &one->alpha, &one->ppi_x, &one->ppi_y, &hash) == 12) {
        one->hash = hash;
        one++;
        count++;
    }
    fclose(table);
    assert_true(count > 200 && count < MAX_CASES);
    return count;
}

static inline const char *scan_path(const char *file, char path[512])
{
    const int length = snprintf(path, 512, "%s/scan/%s", FLECK_TEST_DATA, file);

    assert_true(length > 0 && length < 512);
    return path;
}

/* The bytes of a file in a block of just that size, so that a read past its end is seen. */
static inline uint8_t *read_file(const char *file, size_t *size)
{
    char path[512];
    FILE *stream = fopen(scan_path(file, path), "rb");
    uint8_t *bytes;
    long end;

    if (stream == NULL)
        fail_msg("%s is missing", path);
    fseek(stream, 0, SEEK_END);
    end = ftell(stream);
    rewind(stream);
    bytes = malloc(end > 0 ? (size_t)end : 1);
    assert_non_null(bytes);
    *size = fread(bytes, 1, (size_t)end, stream);
    fclose(stream);
    return bytes;
}

/* FNV-1a (Fowler, Noll, Vo) over all rows, samples of two bytes from the lower one on. */
static inline fleck_status hash_rows(fleck_scan *scan, uint64_t *hash, fleck_error *err)
{
    const fleck_scan_info *info = fleck_scan_get_info(scan);
    const size_t bytes = fleck_scan_row_bytes(scan);
    uint8_t *row = malloc(bytes);
    fleck_status status = FLECK_OK;

    assert_non_null(row);
    *hash = 0xcbf29ce484222325u;
    for (size_t y = 0; status == FLECK_OK && y < info->height_px; y++) {
        status = fleck_scan_read_row(scan, row, err);
        for (size_t i = 0; status == FLECK_OK && i < bytes; i++) {
            uint8_t byte = row[i];

            if (info->sample_bytes == 2) {
                uint16_t sample;

                memcpy(&sample, row + (i & ~(size_t)1), 2);
                byte = (uint8_t)(sample >> (i & 1) * 8);
            }
            *hash = (*hash ^ byte) * 0x100000001b3u;
        }
    }
    free(row);
    return status;
}

#endif
