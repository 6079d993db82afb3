/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How much room a text takes on a terminal. */
#ifndef FLECK_CLI_TEXT_WIDTH_H
#define FLECK_CLI_TEXT_WIDTH_H

#include <stddef.h>
#include <stdio.h>

/* Columns that the first `size` bytes of a text take. Bytes that are no UTF-8 count as one each. */
size_t cli_text_width(const char *text, size_t size);

/*
 * Bytes of a text that fit into so many columns, never within a letter or before its marks; at
 * least one letter unless size is 0.
 */
size_t cli_text_fitting(const char *text, size_t size, size_t columns);

/* Print so many bytes; control characters and bytes that are no UTF-8 become blanks. */
void cli_text_print(FILE *out, const char *text, size_t size);

#endif
