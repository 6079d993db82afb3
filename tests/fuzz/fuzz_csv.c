/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The CSV reader on any bytes; what it makes of them must survive being written and read again. */
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "io/csv.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

static void check(bool holds)
{
    if (!holds)
        abort();
}

static void check_same(const fleck_csv *a, const fleck_csv *b)
{
    check(fleck_csv_row_count(a) == fleck_csv_row_count(b));
    for (size_t row = 0; row < fleck_csv_row_count(a); row++) {
        check(fleck_csv_cell_count(a, row) == fleck_csv_cell_count(b, row));
        for (size_t column = 0; column < fleck_csv_cell_count(a, row); column++)
            check(strcmp(fleck_csv_cell(a, row, column), fleck_csv_cell(b, row, column)) == 0);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    fleck_csv *csv = NULL, *again = NULL;
    fleck_text text = { 0 };
    fleck_error err;
    size_t column;

    if (fleck_csv_read_memory(bytes, size, &csv, &err) != FLECK_OK)
        return 0;
    (void)fleck_csv_find_column(csv, "scan", &column);
    for (size_t row = 0; row < fleck_csv_row_count(csv); row++) {
        check(row == 0 || fleck_csv_line(csv, row - 1) < fleck_csv_line(csv, row));
        for (size_t i = 0; i < fleck_csv_cell_count(csv, row); i++) {
            double value;

            (void)fleck_csv_number(csv, fleck_csv_cell(csv, row, i), &value);
            fleck_csv_add_cell(&text, fleck_csv_cell(csv, row, i));
        }
        fleck_csv_end_row(&text);
    }
    /* quotes can make a row longer than the reader takes; anything else must come back */
    if (!text.failed && size < FLECK_CSV_ROW_BYTES / 4) {
        check(fleck_csv_read_memory(text.bytes, text.length, &again, &err) == FLECK_OK);
        check_same(csv, again);
    }
    fleck_text_clear(&text);
    fleck_csv_free(again);
    fleck_csv_free(csv);
    return 0;
}
