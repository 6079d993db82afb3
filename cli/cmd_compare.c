/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "commands.h"
#include "fleck/compare.h"
#include "study_call.h"
#include "table.h"

enum { MOST_TOLERANCES = 64 };

enum option_id { BY, GROUPS, PAIRED, TOLERANCE, RESCAN, PRINT };

static const cli_option options[] = {
    { "by", '\0', "COLUMN", "column of the manifest that makes the groups", BY },
    { "groups", '\0', "A,B,...", "compare these groups only, each with each (default: all)",
      GROUPS },
    CLI_STUDY_MEASURES_ROW,
    CLI_STUDY_UNIT_ROW,
    { "paired", '\0', "COLUMN",
      "patches of both groups with the same cell belong together, such as those of "
      "one sheet or session",
      PAIRED },
    { "tolerance", '\0', "KEY=X,...",
      "how far a measure may differ and still be the same, in its unit or, as "
      "X%, of the first group; to be fixed beforehand",
      TOLERANCE },
    { "rescan", '\0', "COLUMN", "tells several scans of one print apart; they are averaged first",
      RESCAN },
    { "print", '\0', "COLUMN", "with --rescan: names the print (default: print)", PRINT },
    CLI_STUDY_MIXED_ROW,
    CLI_STUDY_SEED_ROW,
    CLI_STUDY_JSON_ROW,
    CLI_STUDY_OUT_ROW,
};

struct call {
    cli_study_call study;
    fleck_compare_options options;
    cli_list groups, tolerance_words;
    fleck_compare_tolerance tolerances[MOST_TOLERANCES];
};

/* Take "KEY=X" or "KEY=X%" apart, in place. */
static bool set_tolerance(struct call *call, const char *value, char why[256])
{
    if (!cli_list_split(value, &call->tolerance_words, why))
        return false;
    call->options.tolerance_count = 0;
    for (size_t i = 0; i < call->tolerance_words.count; i++) {
        /* the words lie in the list's own storage */
        char *const word = call->tolerance_words.storage +
                           (call->tolerance_words.items[i] - call->tolerance_words.storage);
        char *const equals = strchr(word, '=');
        fleck_compare_tolerance *const one = &call->tolerances[i];
        size_t length;

        if (i == MOST_TOLERANCES || equals == NULL || equals == word) {
            snprintf(why, 256,
                     i == MOST_TOLERANCES
                         ? "has too many tolerances; give at most 64"
                         : "is no list of tolerances; give such as dots.d50_mm=0.02 or "
                           "ink.coverage=5%%");
            return false;
        }
        *equals = '\0';
        length = strlen(equals + 1);
        one->measure = word;
        one->percent = length > 0 && equals[length] == '%';
        if (one->percent)
            equals[length] = '\0';
        if (!cli_number(equals + 1, &one->value) || !(one->value > 0)) {
            snprintf(why, 256,
                     "has a tolerance that is no number above 0; give such as dots.d50_mm=0.02");
            return false;
        }
        call->options.tolerance_count++;
    }
    call->options.tolerances = call->tolerances;
    return true;
}

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;

    if (id >= CLI_STUDY_FIRST)
        return cli_study_set(&call->study, id, value, why);
    switch ((enum option_id)id) {
    case BY:
        call->options.by = value;
        return true;
    case GROUPS:
        return cli_list_split(value, &call->groups, why);
    case PAIRED:
        call->options.paired = value;
        return true;
    case TOLERANCE:
        return set_tolerance(call, value, why);
    case RESCAN:
        call->options.rescan = value;
        return true;
    case PRINT:
        call->options.print = value;
        return true;
    }
    return false;
}

/* "label, mm"; the label alone when it says its unit. */
static void add_label(cli_table *table, const fleck_compared_measure *measure)
{
    if (measure->unit[0] == '\0' || strstr(measure->label, "per cm2") != NULL)
        cli_table_add(table, measure->label);
    else
        cli_table_add_format(table, "%s, %s", measure->label, measure->unit);
}

/* Whether some measure is not there in all replicates, so that their number must be told. */
static bool has_gaps(const fleck_compare *result, size_t pair)
{
    bool gaps = false;

    for (size_t i = 0; i < result->measure_count; i++) {
        const fleck_comparison *const one = &result->comparisons[pair * result->measure_count + i];

        if (one->n_a == 0 && one->n_b == 0)
            continue; /* its row is empty, which tells enough */
        gaps = gaps || one->n_a != result->groups[one->group_a].units ||
               one->n_b != result->groups[one->group_b].units;
    }
    return gaps;
}

/* One pair of groups: a table of its measures. */
static int print_pair(const fleck_compare *result, size_t pair)
{
    const fleck_comparison *const first = &result->comparisons[pair * result->measure_count];
    const fleck_size_comparison *const sizes = &result->sizes[pair];
    char a[96], b[96], text[CLI_NUMBER_BYTES];
    const bool gaps = has_gaps(result, pair);
    const cli_column columns[] = {
        { "", CLI_WRAP },
        { a, CLI_RIGHT },
        { b, CLI_RIGHT },
        { "change", CLI_RIGHT },
        { "95 % interval", CLI_RIGHT },
        { "p", CLI_RIGHT },
        { "p over\nall", CLI_RIGHT },
        { "verdict", CLI_RIGHT },
        { "n", CLI_RIGHT },
    };
    cli_table *table = cli_table_new(columns, sizeof columns / sizeof *columns - (gaps ? 0 : 1));
    int code;

    snprintf(a, sizeof a, "%.80s", result->groups[first->group_a].name);
    snprintf(b, sizeof b, "%.80s", result->groups[first->group_b].name);
    for (size_t i = 0; i < result->measure_count; i++) {
        const fleck_comparison *const one = &first[i];
        const double reach = (one->ci_hi - one->ci_lo) / 2;
        const int decimals = cli_decimals(reach);

        add_label(table, &result->measures[i]);
        cli_table_add_decimals(table, one->mean_a, decimals);
        cli_table_add_decimals(table, one->mean_b, decimals);
        cli_table_add_decimals(table, one->difference, decimals);
        if (isnan(reach)) {
            cli_table_add(table, "");
        } else {
            char hi[CLI_NUMBER_BYTES];

            cli_table_add_format(table, "%s to %s", cli_number_decimals(text, one->ci_lo, decimals),
                                 cli_number_decimals(hi, one->ci_hi, decimals));
        }
        cli_table_add_p(table, one->p_permutation);
        cli_table_add_p(table, one->p_holm);
        cli_table_add(table, fleck_verdict_name(one->verdict));
        if (gaps && result->paired != NULL)
            cli_table_add_format(table, "%zu pairs", one->n_a);
        else if (gaps)
            cli_table_add_format(table, "%zu + %zu", one->n_a, one->n_b);
    }
    code = cli_table_print(table, stdout, 0);
    cli_table_free(table);
    putchar('\n');
    for (size_t i = 0; code == EXIT_DONE && i < result->measure_count; i++)
        cli_print_note(stdout, "  ", first[i].sentence);
    if (code == EXIT_DONE && !isnan(sizes->ks_d)) {
        char line[256], ks[CLI_NUMBER_BYTES], shift[CLI_NUMBER_BYTES];
        const bool tested = !isnan(sizes->p_permutation);

        snprintf(
            line, sizeof line,
            "Dot sizes as a whole: %s mm apart on average, the shares up to some size by %s%s%s.",
            cli_number_rounded(shift, sizes->wasserstein_mm, sizes->wasserstein_mm),
            cli_number_rounded(ks, sizes->ks_d, sizes->ks_d), tested ? "; p = " : "",
            tested ? cli_number_p(text, sizes->p_permutation) : "");
        cli_print_note(stdout, "  ", line);
    }
    putchar('\n');
    return code;
}

static void print_column(const char *before, const char *name, const char *after)
{
    fputs(before, stdout);
    cli_print_path(stdout, name);
    fputs(after, stdout);
}

/* What was compared with what. */
static void print_groups(const fleck_compare *result)
{
    bool averaged = false;

    print_column("Groups by ", result->by != NULL ? result->by : "run", ":");
    for (size_t i = 0; i < result->group_count; i++) {
        const fleck_compare_group *const group = &result->groups[i];

        printf("%s ", i > 0 ? "," : "");
        cli_print_path(stdout, group->name);
        printf(" (%zu %s", group->patches, group->patches == 1 ? "patch" : "patches");
        averaged = averaged || group->units != group->patches;
        if (group->units != group->patches)
            printf(", %zu to compare", group->units);
        putchar(')');
    }
    fputs(".", stdout);
    if (result->unit != NULL && averaged)
        print_column(" Patches are averaged by ", result->unit, ".");
    if (result->paired != NULL)
        print_column(" Paired by ", result->paired, ".");
    if (result->rescan != NULL)
        print_column(" Scans of one ", result->print, " are averaged.");
    fputs("\n\n", stdout);
}

/* With more than two groups: does the measure differ among them at all? */
static int print_kruskal(const fleck_compare *result)
{
    const cli_column columns[] = { { "", CLI_LEFT },
                                   { "n", CLI_RIGHT },
                                   { "p over all groups", CLI_RIGHT } };
    cli_table *table;
    int code;

    if (result->group_count < 3)
        return EXIT_DONE;
    table = cli_table_new(columns, sizeof columns / sizeof *columns);
    for (size_t i = 0; i < result->measure_count; i++) {
        add_label(table, &result->measures[i]);
        cli_table_add_format(table, "%zu", result->measures[i].n);
        cli_table_add_p(table, result->measures[i].kruskal_p);
    }
    code = cli_table_print(table, stdout, 0);
    cli_table_free(table);
    putchar('\n');
    return code;
}

static int print_result(const fleck_compare *result)
{
    int code;

    print_groups(result);
    code = print_kruskal(result);
    for (size_t i = 0; code == EXIT_DONE && result->measure_count > 0 && i < result->size_count;
         i++)
        code = print_pair(result, i);
    return code;
}

static int compare(struct call *call, const char *const *runs, size_t run_count)
{
    fleck_study *study = NULL;
    fleck_compare result = { 0 };
    fleck_error err = { 0 };
    fleck_status status;
    int code =
        cli_study_open(&call->study, "compare", runs, run_count, 1, FLECK_COMPARE_GROUPS, &study);

    if (code >= 0)
        return code;
    call->options.groups = call->groups.items;
    call->options.group_count = call->groups.count;
    call->options.measures = call->study.measures.items;
    call->options.measure_count = call->study.measures.count;
    call->options.unit = call->study.unit;
    call->options.mixed = call->study.mixed;
    call->options.seed = call->study.seed;
    status = fleck_compare_study(study, &call->options, &result, &err);
    if (status != FLECK_OK) {
        code = cli_study_say_failure(status, &err);
    } else {
        code = call->study.json ? EXIT_DONE : print_result(&result);
        cli_study_warn("compare", &result.warnings);
        if (code == EXIT_DONE)
            code = cli_study_finish(&call->study, "compare", fleck_compare_to_json(&result),
                                    fleck_compare_to_csv(&result));
    }
    fleck_compare_clear(&result);
    fleck_study_free(study);
    return code;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .study = cli_study_call_default(),
                         .options = fleck_compare_options_default() };
    const char **runs = calloc((size_t)count + 1, sizeof *runs);
    size_t run_count = 0;
    int code;

    if (runs == NULL) {
        cli_say("compare", "no memory for the call; free some memory");
        return EXIT_MACHINE;
    }
    code = cli_parse(command, count, words, set_option, &call, runs, &run_count);
    if (code < 0)
        code = compare(&call, runs, run_count);
    cli_study_call_clear(&call.study);
    cli_list_clear(&call.groups);
    cli_list_clear(&call.tolerance_words);
    free(runs);
    return code;
}

const cli_command cli_command_compare = {
    .name = "compare",
    .arguments = "RUN [RUN ...] [options]",
    .summary = "do groups of patches differ, and by how much",
    .text = "With --by the patches of all runs are grouped by a column of the manifest; without it "
            "each run is "
            "one group.\n"
            "\n"
            "The patch is the replicate, not the dot; patches of one batch are averaged first. p "
            "is the chance "
            "that dealing the patches out to the groups anew gives as large a difference; \"p over "
            "all\" makes "
            "up for looking at several measures.\n"
            "\n"
            "Verdicts: \"not the same\" when p over all is 0.05 or less; \"same\" only when the "
            "difference "
            "lies within --tolerance with 95 % confidence; else \"cannot tell\", which is not "
            "\"same\".\n"
            "\n"
            "--unit patch lets each patch stand for itself where there is a column batch.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
