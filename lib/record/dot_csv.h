/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables of single dots or flecks. */
#ifndef FLECK_RECORD_DOT_CSV_H
#define FLECK_RECORD_DOT_CSV_H

#include "record/patch.h"

/*
 * Write a table, whole or not at all; numbers have ten significant digits.
 *
 * thing      what a row is, which names the first column
 * threads    at least 1; never changes a byte
 */
fleck_status fleck_dot_csv_write(const char *path, const char *thing, const fleck_dot_table *table,
                                 const fleck_geometry *geometry, bool with_parts, unsigned threads,
                                 fleck_error *err);

#endif
