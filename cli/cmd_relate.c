/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "commands.h"
#include "fleck/relate.h"
#include "relate_print.h"
#include "study_call.h"

enum option_id { FACTORS, CATEGORY, TERMS, TARGET, SOLVE, AT, EXPECT, PASTE_PERCENT };

static const cli_option options[] = {
    { "factors", '\0', "COL,...", "columns of numbers that the texture may depend on", FACTORS },
    { "category", '\0', "COL,...", "columns of texts: each text against the first in sorted order",
      CATEGORY },
    { "terms", '\0', "TERM,...",
      "further terms: squares and products of factors, such as "
      "paste_pct^2,paste_pct*force_kg",
      TERMS },
    CLI_STUDY_MEASURES_ROW,
    CLI_STUDY_UNIT_ROW,
    { "target", '\0', "KEY=VALUE,...", "turn the fit round: which setting gives this texture",
      TARGET },
    { "solve", '\0', "COL,...", "factors to solve for (default: all that --at does not hold)",
      SOLVE },
    { "at", '\0', "COL=VALUE,...",
      "hold these factors there; with --solve the others stand at their means", AT },
    { "expect", '\0', "COL:+|-,...",
      "test a direction named beforehand, one-sided, such as paste_pct:-; "
      "dots.d50_mm:paste_pct:- for one measure alone",
      EXPECT },
    { "paste-percent", '\0', "STOCK,WATER,G",
      "make a factor paste_pct, g per 100 ml, from columns with ml of "
      "stock and of water and the g of paste in one ml of stock",
      PASTE_PERCENT },
    CLI_STUDY_MIXED_ROW,
    CLI_STUDY_JSON_ROW,
    CLI_STUDY_OUT_ROW,
};

struct call {
    cli_study_call study;
    cli_list factors, categories, terms, targets, solve, held, expected, paste;
};

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;

    if (id >= CLI_STUDY_FIRST)
        return cli_study_set(&call->study, id, value, why);
    switch ((enum option_id)id) {
    case FACTORS:
        return cli_list_split(value, &call->factors, why);
    case CATEGORY:
        return cli_list_split(value, &call->categories, why);
    case TERMS:
        return cli_list_split(value, &call->terms, why);
    case TARGET:
        return cli_list_split(value, &call->targets, why);
    case SOLVE:
        return cli_list_split(value, &call->solve, why);
    case AT:
        return cli_list_split(value, &call->held, why);
    case EXPECT:
        return cli_list_split(value, &call->expected, why);
    case PASTE_PERCENT:
        break;
    }
    if (!cli_list_split(value, &call->paste, why))
        return false;
    if (call->paste.count == 3)
        return true;
    snprintf(why, 256,
             "has not three parts; give two columns and g per ml, such as "
             "stock_ml,water_ml,0.25");
    return false;
}

/* ---- words of the call into the library's lists ---- */

/* The lists that point into words of the call. */
struct lists {
    fleck_relate_target *targets;
    fleck_relate_held *held;
    fleck_relate_expectation *expected;
};

static bool say_bad(const char *option, const char *word, const char *advice)
{
    fprintf(stderr, "fleck: relate: --%s %s cannot be read; %s\n", option, word, advice);
    return false;
}

/* Cut a word of a list in two at the first such sign. NULL when there are no two parts. */
static char *cut(const cli_list *words, size_t i, char sign)
{
    char *const word = words->storage + (words->items[i] - words->storage);
    char *const at = strchr(word, sign);

    if (at == NULL || at == word || at[1] == '\0')
        return NULL;
    *at = '\0';
    return at + 1;
}

static bool read_targets(const cli_list *words, fleck_relate_target *targets)
{
    for (size_t i = 0; i < words->count; i++) {
        const char *const value = strchr(words->items[i], '=');

        if (value == NULL || !cli_number(value + 1, &targets[i].value))
            return say_bad("target", words->items[i],
                           "give a measure and a number, such as "
                           "dots.d50_mm=0.3");
        targets[i].measure = words->items[i];
        if (cut(words, i, '=') == NULL)
            return say_bad("target", words->items[i], "give a measure, such as dots.d50_mm=0.3");
    }
    return true;
}

static bool read_held(const cli_list *words, fleck_relate_held *held)
{
    for (size_t i = 0; i < words->count; i++) {
        held[i].column = words->items[i];
        held[i].value = cut(words, i, '=');
        if (held[i].value == NULL)
            return say_bad("at", words->items[i], "give a factor and a value, such as force_kg=3");
    }
    return true;
}

static bool read_expected(const cli_list *words, fleck_relate_expectation *expected)
{
    for (size_t i = 0; i < words->count; i++) {
        const size_t length = strlen(words->items[i]);
        const char *const sign = words->items[i] + (length > 2 ? length - 2 : 0);
        char *factor;

        if (length < 3 || (strcmp(sign, ":+") != 0 && strcmp(sign, ":-") != 0))
            return say_bad("expect", words->items[i],
                           "give a factor and a sign, such as paste_pct:-");
        expected[i].sign = sign[1] == '+' ? 1 : -1;
        words->storage[sign - words->storage] = '\0';
        factor = cut(words, i, ':');
        expected[i].measure = factor != NULL ? words->items[i] : NULL;
        expected[i].factor = factor != NULL ? factor : words->items[i];
    }
    return true;
}

/* Returns -1 to go on, or the exit code. */
static int read_lists(const struct call *call, struct lists *lists, fleck_relate_options *wanted)
{
    lists->targets = calloc(call->targets.count + 1, sizeof *lists->targets);
    lists->held = calloc(call->held.count + 1, sizeof *lists->held);
    lists->expected = calloc(call->expected.count + 1, sizeof *lists->expected);
    if (lists->targets == NULL || lists->held == NULL || lists->expected == NULL) {
        fputs("fleck: relate: no memory for the call; free some memory\n", stderr);
        return EXIT_MACHINE;
    }
    if (!read_targets(&call->targets, lists->targets) || !read_held(&call->held, lists->held) ||
        !read_expected(&call->expected, lists->expected))
        return EXIT_CALL;
    *wanted = fleck_relate_options_default();
    wanted->factors = call->factors.items;
    wanted->factor_count = call->factors.count;
    wanted->categories = call->categories.items;
    wanted->category_count = call->categories.count;
    wanted->terms = call->terms.items;
    wanted->term_count = call->terms.count;
    wanted->measures = call->study.measures.items;
    wanted->measure_count = call->study.measures.count;
    wanted->unit = call->study.unit;
    wanted->mixed = call->study.mixed;
    wanted->targets = lists->targets;
    wanted->target_count = call->targets.count;
    wanted->solve = call->solve.items;
    wanted->solve_count = call->solve.count;
    wanted->held = lists->held;
    wanted->held_count = call->held.count;
    wanted->expected = lists->expected;
    wanted->expected_count = call->expected.count;
    if (call->paste.count == 3) {
        wanted->stock_ml_column = call->paste.items[0];
        wanted->water_ml_column = call->paste.items[1];
        if (!cli_number(call->paste.items[2], &wanted->stock_g_per_ml)) {
            say_bad("paste-percent", call->paste.items[2],
                    "give the g of paste in one ml of stock, such as 0.25");
            return EXIT_CALL;
        }
    }
    if ((call->solve.count > 0 || call->held.count > 0) && call->targets.count == 0) {
        fputs("fleck: relate: --solve and --at are about a recipe; give --target too\n", stderr);
        return EXIT_CALL;
    }
    return -1;
}

static int relate(const struct call *call, const fleck_relate_options *wanted, fleck_study *study)
{
    fleck_relate result = { 0 };
    fleck_error err = { 0 };
    const fleck_status status = fleck_relate_study(study, wanted, &result, &err);
    int code = EXIT_DONE;

    if (status != FLECK_OK)
        return cli_study_say_failure(status, &err);
    cli_study_warn("relate", &result.warnings);
    if (!call->study.json)
        code = cli_print_relate(&result);
    if (code == EXIT_DONE)
        code = cli_study_finish(&call->study, "relate", fleck_relate_to_json(&result),
                                fleck_relate_to_csv(&result));
    fleck_relate_clear(&result);
    return code;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .study = cli_study_call_default() };
    struct lists lists = { 0 };
    const char **runs = calloc((size_t)count + 1, sizeof *runs);
    fleck_relate_options wanted;
    fleck_study *study = NULL;
    size_t run_count = 0;
    int code;

    if (runs == NULL) {
        fputs("fleck: relate: no memory for the call; free some memory\n", stderr);
        return EXIT_MACHINE;
    }
    code = cli_parse(command, count, words, set_option, &call, runs, &run_count);
    if (code < 0)
        code = read_lists(&call, &lists, &wanted);
    if (code < 0)
        code = cli_study_open(&call.study, "relate", runs, run_count, 1, (size_t)-1, &study);
    if (code < 0)
        code = relate(&call, &wanted, study);
    fleck_study_free(study);
    free(lists.targets);
    free(lists.held);
    free(lists.expected);
    cli_list_clear(&call.factors);
    cli_list_clear(&call.categories);
    cli_list_clear(&call.terms);
    cli_list_clear(&call.targets);
    cli_list_clear(&call.solve);
    cli_list_clear(&call.held);
    cli_list_clear(&call.expected);
    cli_list_clear(&call.paste);
    cli_study_call_clear(&call.study);
    free(runs);
    return code;
}

const cli_command cli_command_relate = {
    .name = "relate",
    .arguments = "RUN ... --factors COL,... [options]",
    .summary = "texture against process factors, and the recipe for a wanted texture",
    .text = "Each patch is one piece of evidence, its dots are not. Coefficients come from least "
            "squares, with "
            "95 % intervals; \"cannot tell\" means that the patches do not settle it, not that "
            "there is no "
            "effect.\n"
            "\n"
            "With --target the fit is turned round. A setting is named only when the patches "
            "single one out "
            "within the range that was tried.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
