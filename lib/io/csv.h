/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables of text: reading CSV as spreadsheets write it, and writing it as RFC 4180 wants it. */
#ifndef FLECK_IO_CSV_H
#define FLECK_IO_CSV_H

#include <stdbool.h>
#include <stddef.h>

#include "core/text.h"
#include "fleck/error.h"

/* Far above any table of prints, far below what could fill a machine; common practice, no source.
 */
enum {
    FLECK_CSV_FILE_BYTES = 256 * 1024 * 1024,
    FLECK_CSV_ROW_BYTES = 1024 * 1024, /* with its separators and quotes */
    FLECK_CSV_CELL_BYTES = 64 * 1024,
    FLECK_CSV_COLUMNS = 4096
};

/* A file's rows of cells, row 0 being the header. Does not change once it is read. */
typedef struct fleck_csv fleck_csv;

/*
 * Read a whole CSV file.
 *
 * UTF-8 with or without a byte-order mark; lines end in CRLF, LF or CR. The separator is the one of
 * comma, semicolon and tab that stands most often outside quotes in the header (in case of a tie
 * the first named here; comma when there is none). Quotes as in RFC 4180: a quoted cell may hold
 * separators, line ends and doubled quotes; nothing may stand between a quote and its separator.
 * Lines that are empty or hold only blanks are passed over. Cells are kept untouched. Rows need not
 * have as many cells as the header.
 *
 * out    the table, to be ended with fleck_csv_free; NULL on failure
 *
 * Errors: FLECK_BAD_INPUT (not readable, not UTF-8, a NUL byte, a fault in the quoting, above one
 * of the limits, no header; where it lies in a line, the message names the line),
 * FLECK_NO_RESOURCE. A limit shows while reading: of a line that is too long nothing is kept but
 * its beginning. Source: RFC 4180; RFC 3629 for UTF-8.
 */
fleck_status fleck_csv_read(const char *path, fleck_csv **out, fleck_error *err);

/* The same from bytes in memory, which are borrowed for the call. */
fleck_status fleck_csv_read_memory(const void *bytes, size_t size, fleck_csv **out,
                                   fleck_error *err);

/* End a table; NULL is allowed. */
void fleck_csv_free(fleck_csv *csv);

/* ',', ';' or '\t'. */
char fleck_csv_separator(const fleck_csv *csv);

/* Rows with the header, at least 1. */
size_t fleck_csv_row_count(const fleck_csv *csv);

/* Cells of a row, at least 1. */
size_t fleck_csv_cell_count(const fleck_csv *csv, size_t row);

/* A cell, owned by the table; "" when the row has fewer cells. */
const char *fleck_csv_cell(const fleck_csv *csv, size_t row, size_t column);

/* The line of the file, from 1, in which a row begins. */
size_t fleck_csv_line(const fleck_csv *csv, size_t row);

/* The first column whose name, without blanks around it, is `name`. False when there is none. */
bool fleck_csv_find_column(const fleck_csv *csv, const char *name, size_t *column);

/*
 * Read a cell, or part of one, as a number, see fleck_text_to_number. Where the separator is not a
 * comma, the number may have a decimal comma. False when it is no number, *value untouched then.
 */
bool fleck_csv_number(const fleck_csv *csv, const char *cell, double *value);

/*
 * Append a cell to a row under way; after the last one call fleck_csv_end_row.
 *
 * cell    UTF-8; quoted when it would not be read back the same otherwise, and when blanks stand at
 *         its ends, which some readers drop
 */
void fleck_csv_add_cell(fleck_text *text, const char *cell);

/* The same with a number, in the shortest form that reads back the same; empty when it is NAN. */
void fleck_csv_add_number(fleck_text *text, double value);

/* End a row that has at least one cell. Lines end in LF. */
void fleck_csv_end_row(fleck_text *text);

#endif
