/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "commands.h"
#include "fleck/edition.h"
#include "fleck/memory.h"
#include "fleck/record.h"
#include "study_call.h"
#include "table.h"

enum option_id { ORDER, PRINT, RESCAN, REFERENCE, TOLERANCE, SIZE, CONFIDENCE, NO_PATTERN };

static const cli_option options[] = {
    { "order", '\0', "COLUMN", "column of numbers with each print's place in the edition; required", ORDER },
    { "print", '\0', "COLUMN",
      "column that names the print, for reprints of one place (default: patches of the same order are one "
      "print)",
      PRINT },
    { "unit", '\0', "COLUMN", "the same as --print", PRINT },
    { "rescan", '\0', "COLUMN",
      "column that tells scans of the same print apart: how much is scanning, how much printing", RESCAN },
    { "reference", '\0', "ID|RUN", "approved patch of this run, or a run of approved prints", REFERENCE },
    { "tolerance", '\0', "KEY=X|X%",
      "how far a measure may lie from the reference, to either side; several with commas, or the option "
      "again",
      TOLERANCE },
    { "edition-size", '\0', "N", "how many prints of an edition of N to look at", SIZE },
    { "confidence", '\0', "SHARE", "of that plan and of the limits for most prints (default 0.95)",
      CONFIDENCE },
    { "no-pattern", '\0', NULL, "do not read the scans again to look for spots in the same places",
      NO_PATTERN },
    CLI_STUDY_MEASURES_ROW,
    CLI_STUDY_MIXED_ROW,
    CLI_STUDY_JSON_ROW,
    CLI_STUDY_OUT_ROW,
};

enum { MOST_TOLERANCES = 32, TOLERANCE_BYTES = 4096 };

struct call {
    cli_study_call study;
    fleck_edition_options options;
    const char *reference;
    fleck_edition_tolerance tolerances[MOST_TOLERANCES];
    char texts[TOLERANCE_BYTES]; /* of the measures' names in them */
    size_t texts_used;
};

/* One "KEY=X" or "KEY=X%" of `length` bytes. */
static bool add_tolerance(struct call *call, const char *word, size_t length, char why[256])
{
    const char *const equals = memchr(word, '=', length);
    fleck_edition_tolerance *const next = &call->tolerances[call->options.tolerance_count];
    char number[64];
    size_t key_bytes, number_bytes;
    char *key;

    key_bytes = equals != NULL ? (size_t)(equals - word) : 0;
    number_bytes = equals != NULL ? length - key_bytes - 1 : 0;
    if (key_bytes == 0 || number_bytes == 0 || number_bytes >= sizeof number ||
        call->options.tolerance_count == MOST_TOLERANCES ||
        call->texts_used + key_bytes + 1 > sizeof call->texts) {
        snprintf(why, 256, "is no tolerance; write one such as ink.coverage=5%% or dots.d50_mm=0.02");
        return false;
    }
    memcpy(number, equals + 1, number_bytes);
    number[number_bytes] = '\0';
    next->percent = number[number_bytes - 1] == '%';
    if (next->percent)
        number[number_bytes - 1] = '\0';
    if (!cli_number(number, &next->amount) || !(next->amount > 0)) {
        snprintf(why, 256, "has no number above 0; write one such as ink.coverage=5%% or "
                           "dots.d50_mm=0.02");
        return false;
    }
    key = call->texts + call->texts_used;
    memcpy(key, word, key_bytes);
    key[key_bytes] = '\0';
    call->texts_used += key_bytes + 1;
    next->measure = key;
    call->options.tolerance_count++;
    return true;
}

static bool add_tolerances(struct call *call, const char *value, char why[256])
{
    for (const char *word = value;; word++) {
        const size_t length = strcspn(word, ",");

        if (!add_tolerance(call, word, length, why))
            return false;
        word += length;
        if (*word == '\0')
            return true;
    }
}

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;
    fleck_edition_options *const o = &call->options;

    if (id >= CLI_STUDY_FIRST)
        return cli_study_set(&call->study, id, value, why);
    switch ((enum option_id)id) {
    case ORDER:
        o->order = value;
        return true;
    case PRINT:
        o->print = value;
        return true;
    case RESCAN:
        o->rescan = value;
        return true;
    case REFERENCE:
        call->reference = value;
        return true;
    case TOLERANCE:
        return add_tolerances(call, value, why);
    case SIZE:
        if (cli_count(value, &o->edition_size) && o->edition_size > 0)
            return true;
        snprintf(why, 256, "is no number of prints; give a whole number above 0");
        return false;
    case CONFIDENCE:
        if (cli_number(value, &o->confidence) && o->confidence > 0 && o->confidence < 1)
            return true;
        snprintf(why, 256, "is no share between 0 and 1; give one such as 0.95");
        return false;
    case NO_PATTERN:
        o->pattern = false;
        return true;
    }
    return false;
}

static const char *label(const char *measure)
{
    const fleck_key *const key = fleck_key_find(measure);

    return key != NULL ? key->label : measure;
}

static double standard_error(const fleck_edition_measure *measure)
{
    return measure->sd / sqrt((double)measure->n);
}

static int print_numbers(const fleck_edition *edition)
{
    static const cli_column columns[] = {
        { "measure", CLI_WRAP },
        { "prints", CLI_RIGHT },
        { "mean", CLI_RIGHT },
        { "sd of\nprints", CLI_RIGHT },
        { "sd in\n%", CLI_RIGHT },
        { "two differ\nby less than", CLI_RIGHT },
        { "lower\nlimit", CLI_RIGHT },
        { "upper\nlimit", CLI_RIGHT },
        { "trend\ntau", CLI_RIGHT },
        { "trend\np", CLI_RIGHT },
    };
    cli_table *const table = cli_table_new(columns, sizeof columns / sizeof *columns);
    int code;

    for (size_t i = 0; i < edition->measure_count; i++) {
        const fleck_edition_measure *const measure = &edition->measures[i];
        const fleck_key *const key = fleck_key_find(measure->measure);

        if (key != NULL && key->unit[0] != '\0')
            cli_table_add_format(table, "%s, %s", key->label, key->unit);
        else
            cli_table_add(table, label(measure->measure));
        cli_table_add_format(table, "%zu", measure->n);
        cli_table_add_rounded(table, measure->mean, standard_error(measure));
        cli_table_add_rounded(table, measure->sd, measure->sd / 5);
        cli_table_add_decimals(table, 100 * measure->cv, 1);
        cli_table_add_rounded(table, measure->repeatability_limit, measure->repeatability_limit / 5);
        cli_table_add_rounded(table, measure->lcl, measure->sd / 2);
        cli_table_add_rounded(table, measure->ucl, measure->sd / 2);
        cli_table_add_decimals(table, measure->trend_tau, 2);
        cli_table_add_p(table, measure->trend_p);
    }
    code = cli_table_print(table, stdout, 2);
    cli_table_free(table);
    return code;
}

static int print_scanning(const fleck_edition *edition)
{
    static const cli_column columns[] = {
        { "measure", CLI_WRAP },
        { "sd of\nscanning", CLI_RIGHT },
        { "sd of\nprinting", CLI_RIGHT },
        { "scanning's share\nof the variance, %", CLI_RIGHT },
        { "prints alike but\nfor scanning, p", CLI_RIGHT },
    };
    cli_table *const table = cli_table_new(columns, sizeof columns / sizeof *columns);
    int code;

    for (size_t i = 0; i < edition->measure_count; i++) {
        const fleck_edition_measure *const measure = &edition->measures[i];

        cli_table_add(table, label(measure->measure));
        cli_table_add_rounded(table, measure->scan_sd, measure->scan_sd / 5);
        cli_table_add_rounded(table, measure->print_sd, measure->print_sd / 5);
        cli_table_add_decimals(table, 100 * measure->scan_share, 0);
        cli_table_add_p(table, measure->scan_p);
    }
    code = cli_table_print(table, stdout, 2);
    cli_table_free(table);
    return code;
}

static int print_verdicts(const fleck_edition *edition)
{
    static const cli_column columns[] = { { "measure", CLI_LEFT }, { "verdict", CLI_LEFT },
                                          { "why", CLI_WRAP } };
    cli_table *const table = cli_table_new(columns, sizeof columns / sizeof *columns);
    int code;

    for (size_t i = 0; i < edition->measure_count; i++) {
        const fleck_edition_measure *const measure = &edition->measures[i];

        cli_table_add(table, measure->measure);
        cli_table_add(table, fleck_edition_verdict_name(measure->verdict));
        cli_table_add(table, measure->sentence);
    }
    code = cli_table_print(table, stdout, 2);
    cli_table_free(table);
    return code;
}

static void print_plan(const fleck_edition *edition)
{
    for (size_t i = 0; i < FLECK_EDITION_PLANS && edition->edition_size > 0; i++) {
        char *const sentence = fleck_edition_plan_sentence(edition, i);

        if (sentence != NULL)
            cli_print_note(stdout, "", sentence);
        fleck_free(sentence);
    }
}

static void print_limits(const fleck_edition *edition)
{
    char low[CLI_NUMBER_BYTES], high[CLI_NUMBER_BYTES], text[256];

    for (size_t i = 0; i < edition->measure_count && edition->edition_size > 0; i++) {
        const fleck_edition_measure *const measure = &edition->measures[i];

        if (isnan(measure->hold_lo))
            continue;
        snprintf(text, sizeof text, "%s: 90 %% of all prints between %s and %s, with %g %% confidence.",
                 label(measure->measure),
                 cli_number_rounded(low, measure->hold_lo, measure->sd / 2),
                 cli_number_rounded(high, measure->hold_hi, measure->sd / 2), 100 * edition->confidence);
        cli_print_note(stdout, "", text);
    }
}

static int print_edition(const fleck_edition *edition, bool rescanned)
{
    int code;

    cli_print_note(stdout, "", edition->sentence);
    fputc('\n', stdout);
    code = print_numbers(edition);
    fputc('\n', stdout);
    if (code == EXIT_DONE)
        code = print_verdicts(edition);
    if (code == EXIT_DONE && rescanned) {
        fputc('\n', stdout);
        code = print_scanning(edition);
    }
    if (edition->pattern.sentence != NULL) {
        fputc('\n', stdout);
        cli_print_note(stdout, "", edition->pattern.sentence);
    }
    if (edition->edition_size > 0) {
        fputc('\n', stdout);
        print_plan(edition);
        print_limits(edition);
    }
    return code;
}

static bool has_id(const fleck_study *study, const char *id)
{
    for (size_t row = 0; row < fleck_study_row_count(study); row++) {
        if (strcmp(fleck_study_id(study, row), id) == 0)
            return true;
    }
    return false;
}

static bool is_folder(const char *path)
{
    struct stat about;

    return stat(path, &about) == 0 && S_ISDIR(about.st_mode);
}

/* The run, with that of the approved prints when --reference names no patch of it. */
static int open_runs(struct call *call, const char *const *names, size_t count, fleck_study **study)
{
    int code = cli_study_open(&call->study, "edition", names, count, 1, 1, study);

    if (code >= 0 || call->reference == NULL)
        return code;
    if (has_id(*study, call->reference) || !is_folder(call->reference)) {
        call->options.reference_id = call->reference; /* the library says when it is none */
        return code;
    }
    const char *const both[] = { names[0], call->reference };

    fleck_study_free(*study);
    call->options.reference_run = 1;
    return cli_study_open(&call->study, "edition", both, 2, 2, 2, study);
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .study = cli_study_call_default(), .options = fleck_edition_options_default() };
    const char **names = calloc((size_t)count + 1, sizeof *names);
    fleck_study *study = NULL;
    fleck_edition edition = { 0 };
    fleck_error err = { 0 };
    size_t name_count = 0;
    fleck_status status;
    int code;

    if (names == NULL) {
        cli_say("edition", "no memory for the call; free some memory");
        return EXIT_MACHINE;
    }
    call.options.tolerances = call.tolerances;
    code = cli_parse(command, count, words, set_option, &call, names, &name_count);
    if (code < 0)
        code = open_runs(&call, names, name_count, &study);
    if (code >= 0)
        goto done;
    call.options.mixed = call.study.mixed;
    call.options.measures = call.study.measures.items;
    call.options.measure_count = call.study.measures.count;
    status = fleck_edition_judge(study, &call.options, &edition, &err);
    if (status != FLECK_OK) {
        code = cli_say_failure("edition", status, &err);
        goto done;
    }
    code = call.study.json ? EXIT_DONE : print_edition(&edition, call.options.rescan != NULL);
    cli_study_warn("edition", &edition.warnings);
    if (code == EXIT_DONE)
        code = cli_study_finish(&call.study, "edition", fleck_edition_to_json(&edition),
                                fleck_edition_to_csv(&edition));
done:
    fleck_edition_clear(&edition);
    fleck_study_free(study);
    cli_study_call_clear(&call.study);
    free(names);
    return code;
}

const cli_command cli_command_edition = {
    .name = "edition",
    .arguments = "RUN --order COLUMN [options]",
    .summary = "is the texture reproducible across an edition",
    .text = "Reproducible means the same numbers, within a tolerance from an approved print that was set "
            "beforehand; without one the edition can be found to have changed, but not to be reproducible. "
            "Whether the spots stand in the same places from print to print is told apart from that.\n"
            "\n"
            "Two differ by less than: two prints differ by more than this once in 20 times. Lower and upper limit: "
            "of the control chart of individuals. Trend: Mann and Kendall's test along the order.\n"
            "\n"
            "fleck edition run --order print_no --reference proof --tolerance ink.coverage=5%,dots.d50_mm=0.02",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
