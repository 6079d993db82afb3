/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records as a person reads them on a terminal. */
#ifndef FLECK_CLI_SUMMARY_H
#define FLECK_CLI_SUMMARY_H

#include <stdio.h>

#include "fleck/fleck.h"

/* All that matters of one patch. */
void cli_print_summary(FILE *out, const fleck_record *record);

/* Head and one line for each patch of many. id_width: columns for the longest id. */
void cli_print_table_head(FILE *out, int id_width);
void cli_print_table_row(FILE *out, int id_width, const fleck_record *record);

/* "fleck: PATH: warning CODE: message", without a newline. */
void cli_print_warning(FILE *out, const char *path, const char *code, const char *message);

/* Warnings of many records, each said once with how many patches it concerns. Start from {0}. */
typedef struct cli_doubts {
    struct cli_doubt *items;
    size_t count;
    size_t capacity;
} cli_doubts;

/* Remember the warnings of a record; what there is no memory for is printed at once. */
void cli_doubts_note(cli_doubts *doubts, const fleck_record *record);
void cli_doubts_print(const cli_doubts *doubts, FILE *out);
void cli_doubts_clear(cli_doubts *doubts);

#endif
