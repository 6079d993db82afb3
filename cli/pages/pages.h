/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Man pages and shell completions, written when fleck is built from the tables that its help prints. */
#ifndef FLECK_CLI_PAGES_H
#define FLECK_CLI_PAGES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "../commands.h"

/* Man page, in man(7), of a command. date: of the version, "" when it has none. */
void cli_print_man_page(FILE *out, const cli_command *command, const char *date);

/* Man page of fleck itself. */
void cli_print_man_page_of_all(FILE *out, const char *date);

/* The command's name with hyphens for blanks: "phantom-sheet". */
void cli_page_name(const cli_command *command, char name[64]);

/* Command number i: those of fleck, then the words of their own such as "phantom sheet"; NULL behind them. */
const cli_command *cli_page_command(size_t i);

void cli_print_bash_completion(FILE *out);
void cli_print_zsh_completion(FILE *out);
void cli_print_fish_completion(FILE *out);

typedef enum cli_value_kind {
    CLI_VALUE_OTHER, /* a number, a column: nothing to offer */
    CLI_VALUE_FILE,
    CLI_VALUE_FOLDER,
    CLI_VALUE_WORDS
} cli_value_kind;

/*
 * What a shell may offer for a value.
 *
 * value    its name in the help, such as "FILE.csv" or "x|y"
 * help     of its option, NULL for an argument of a command; only words named there are offered
 * words    out: for CLI_VALUE_WORDS, separated by blanks; else ""
 * list     out: whether several of the words may be given with commas
 */
cli_value_kind cli_value_offer(const char *value, const char *help, char words[8192], bool *list);

/* The same for the arguments of a command that are no options, by the first of them. */
cli_value_kind cli_argument_offer(const cli_command *command, char words[8192]);

/* The first clause of an option's help, for a list of options. */
void cli_short_help(const char *help, char clause[128]);

#endif
