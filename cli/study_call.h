/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the study commands have in common: options, opening runs, giving results. */
#ifndef FLECK_CLI_STUDY_CALL_H
#define FLECK_CLI_STUDY_CALL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/study.h"
#include "options.h"

/* A list of words. Start from {0}. */
typedef struct cli_list {
    const char **items; /* count of them, in the list's own storage */
    size_t count;
    char *storage;
} cli_list;

/* Split a text at its commas; blanks around a word are dropped. False with `why` when a word is
 * empty. */
bool cli_list_split(const char *text, cli_list *list, char why[256]);
void cli_list_clear(cli_list *list);

/* Ids of the common options, above those of any command's own. */
enum cli_study_option {
    CLI_STUDY_FIRST = 1000,
    CLI_STUDY_MEASURES = CLI_STUDY_FIRST,
    CLI_STUDY_UNIT,
    CLI_STUDY_SEED,
    CLI_STUDY_MIXED,
    CLI_STUDY_JSON,
    CLI_STUDY_OUT
};

/* Rows of a command's table of options: the library has the defaults, one row each. */
#define CLI_STUDY_MEASURES_ROW                                                                     \
    {                                                                                              \
        "measures", '\0', "KEY,...",                                                               \
            "measures to look at instead of the usual ones, such as "                              \
            "ink.coverage,dots.d50_mm",                                                            \
            CLI_STUDY_MEASURES                                                                     \
    }
#define CLI_STUDY_UNIT_ROW                                                                         \
    {                                                                                              \
        "unit", '\0', "COLUMN",                                                                    \
            "average patches within a unit first, such as a mixed batch of "                       \
            "paste or a print (default: batch, where there is such a column)",                     \
            CLI_STUDY_UNIT                                                                         \
    }
#define CLI_STUDY_SEED_ROW                                                                         \
    {                                                                                              \
        "seed", '\0', "N",                                                                         \
            "seed of the random numbers (default 1); the same seed gives the same "                \
            "result",                                                                              \
            CLI_STUDY_SEED                                                                         \
    }
#define CLI_STUDY_MIXED_ROW                                                                        \
    {                                                                                              \
        "mixed", '\0', NULL, "go on although patches were measured with different settings",       \
            CLI_STUDY_MIXED                                                                        \
    }
#define CLI_STUDY_JSON_ROW                                                                         \
    {                                                                                              \
        "json", '\0', NULL, "print the result as JSON instead of tables", CLI_STUDY_JSON           \
    }
#define CLI_STUDY_OUT_ROW                                                                          \
    {                                                                                              \
        "out", 'o', "FILE",                                                                        \
            "write the result to this file: .json with everything, .csv as a table", CLI_STUDY_OUT \
    }

typedef struct cli_study_call {
    cli_list measures; /* empty: not given */
    const char *unit;  /* NULL: not given */
    uint64_t seed;     /* 1 unless given */
    bool mixed, json;
    const char *out; /* NULL: not given */
} cli_study_call;

cli_study_call cli_study_call_default(void);
void cli_study_call_clear(cli_study_call *call);

/*
 * Set one of the common options; for the command's own cli_setter:
 * if (id >= CLI_STUDY_FIRST) return cli_study_set(&call->study, id, value, why);
 */
bool cli_study_set(cli_study_call *call, int id, const char *value, char why[256]);

/*
 * Open the runs named, saying what is wrong when there are fewer than `least` or more than `most`
 * of them, when one cannot be read, or when -o names a file of theirs. Returns -1 to go on, or the
 * exit code when all is said.
 */
int cli_study_open(const cli_study_call *call, const char *command, const char *const *runs,
                   size_t count, size_t least, size_t most, fleck_study **study);

/* Say a failure whose message begins with what it is about; returns the exit code. */
int cli_study_say_failure(fleck_status status, const fleck_error *err);

/* "fleck: COMMAND: warning CODE: message" on stderr for each warning. */
void cli_study_warn(const char *command, const fleck_warnings *warnings);

/*
 * Give a result: the text of --json on stdout, and the file of -o. To be called last: it also tells
 * whether all that was printed arrived.
 *
 * json, csv    the result as the library made it, NULL: it had no memory; both are freed
 *
 * Returns the exit code.
 */
int cli_study_finish(const cli_study_call *call, const char *command, char *json, char *csv);

#endif
