/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading a command line by a table, and the help text printed from the same table. */
#ifndef FLECK_CLI_OPTIONS_H
#define FLECK_CLI_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "fleck/error.h"

enum { EXIT_DONE = 0, EXIT_INPUT = 1, EXIT_CALL = 2, EXIT_MACHINE = 3 };

/* One option of a command. */
typedef struct cli_option {
    const char *name;  /* without the dashes */
    char letter;       /* '\0' when there is no short form */
    const char *value; /* name of its value in the help, NULL for a switch */
    const char *help;
    int id; /* for the command's own switch */
} cli_option;

typedef struct cli_command {
    const char *name;
    const char *arguments; /* as in the help's first line */
    const char *summary;   /* one line */
    const char *text;      /* what stands below the options in the help, may be NULL */
    const cli_option *options;
    size_t option_count;
    int (*run)(const struct cli_command *command, int count, char **words);
} cli_command;

/*
 * What is wrong with a value: filled by the command's setter, printed by cli_parse.
 * Returns false and fills why ("is wrong; what to do") for a bad value, or for want of memory, which
 * leaves ENOMEM in errno: the machine is to blame then, not the call.
 */
typedef bool (*cli_setter)(void *context, int id, const char *value, char why[256]);

/*
 * Parse the words behind a command's name.
 *
 * positional    out: room for `count` words that are no options
 *
 * Returns -1 to go on, or the exit code when all is said (help printed, or an error).
 */
int cli_parse(const cli_command *command, int count, char **words, cli_setter set, void *context,
              const char **positional, size_t *positional_count);

/* The program's exit code for a status of the library. */
int cli_exit_code(fleck_status status);

/* Say what a call of the library failed at; returns the exit code. */
int cli_say_failure(const char *path, fleck_status status, const fleck_error *err);

/* "fleck: PATH: message" on stderr, in one line whatever the path holds. */
void cli_say(const char *path, const char *message);

/* The same with a message of several parts, which may hold no text from outside. */
void cli_say_parts(const char *path, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* A path as it may stand in a message: control characters become spaces. Prints, adds no newline. */
void cli_print_path(FILE *out, const char *path);

void cli_print_help(const cli_command *command, FILE *out);

/* Print `text` wrapped at 80 columns, each line indented. */
void cli_print_wrapped(FILE *out, const char *text, int first_indent, int indent);

/* The candidate nearest to `word` by edit distance, or NULL when none is near. */
const char *cli_nearest(const char *word, const char *const *candidates, size_t count);

/* The whole text as a finite number. */
bool cli_number(const char *text, double *value);

/* `wanted` numbers separated by commas; false for another count. */
bool cli_numbers(const char *text, double *values, size_t wanted);

/*
 * One number above 0, or two with a comma, for x and y. False with `why` filled otherwise.
 * example    what the advice names, such as "pixels per inch such as 600"
 */
bool cli_pair(const char *text, const char *example, double pair[2], char why[256]);

/* The whole text as a count. */
bool cli_count(const char *text, size_t *value);

/* Bytes with an ending: 500K, 64M, 2G. */
bool cli_bytes(const char *text, size_t *value);

#endif
