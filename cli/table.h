/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables of text for a terminal, and numbers with no more digits than they deserve. */
#ifndef FLECK_CLI_TABLE_H
#define FLECK_CLI_TABLE_H

#include <stddef.h>
#include <stdio.h>

#include "number_text.h"

enum { CLI_TABLE_WIDTH = 100 };

typedef enum cli_align {
    CLI_LEFT,  /* short texts such as names */
    CLI_RIGHT, /* numbers; never wrapped */
    CLI_WRAP   /* sentences, the first to be wrapped when the table is too wide */
} cli_align;

typedef struct cli_column {
    const char *title; /* may have lines, such as "difference\nmm" */
    cli_align align;
} cli_column;

/*
 * A table under way. When its columns do not fit in CLI_TABLE_WIDTH, texts are wrapped, and when
 * that is not enough, the columns are laid out in several blocks, each of which repeats the first
 * column. Letters of any script are counted by the room they take.
 */
typedef struct cli_table cli_table;

/* columns: borrowed until cli_table_free, their titles too. NULL without memory. */
cli_table *cli_table_new(const cli_column *columns, size_t count);

/*
 * Add the next cell, row after row. The text is copied; NULL and "" stand for what cannot be given
 * and are printed as "-". A NULL table is passed over, so that one check at the end is enough.
 */
void cli_table_add(cli_table *table, const char *text);

/* The same with printf's words. */
__attribute__((format(printf, 2, 3))) void cli_table_add_format(cli_table *table,
                                                                const char *format, ...);

/* A cell that stays empty: what it would say stands in the row above. */
void cli_table_add_blank(cli_table *table);

/* The same with a number, see cli_number_rounded and cli_number_decimals. */
void cli_table_add_rounded(cli_table *table, double value, double uncertainty);
void cli_table_add_decimals(cli_table *table, double value, int decimals);
void cli_table_add_p(cli_table *table, double p);

/* Leave a line free before the next row. */
void cli_table_add_gap(cli_table *table);

/*
 * Print the table, each line with `indent` blanks before it; a row that is not full ends in empty
 * cells. Returns an exit code: EXIT_MACHINE, with a message, when there was no memory for some cell
 * or the table.
 */
int cli_table_print(const cli_table *table, FILE *out, int indent);

/* End a table; NULL is allowed. */
void cli_table_free(cli_table *table);

/*
 * Print a text wrapped at CLI_TABLE_WIDTH; '\n' in it ends a line.
 *
 * first    printed before the first line, such as "  * "; the others are indented as far
 */
void cli_print_note(FILE *out, const char *first, const char *text);

#endif
