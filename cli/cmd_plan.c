/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "commands.h"
#include "fleck/plan.h"
#include "plan_account.h"
#include "plan_scans.h"
#include "study_call.h"

enum option_id {
    DIFFERENCE,
    SPREAD,
    BY,
    POWER,
    ALPHA,
    AREA,
    TOLERANCE,
    STANDARD_ERROR,
    INTEGRAL_RANGE,
    COVERAGE,
    FACTORS,
    REPEATS
};

static const cli_option options[] = {
    { "difference", '\0', "KEY=X,...",
      "differences that are to be found, such as ink.coverage=0.03 or dots.d50_mm=10%",
      DIFFERENCE },
    { "sd", '\0', "KEY=X,...",
      "standard deviation between patches of one kind, instead of the pilot's; with % of the mean",
      SPREAD },
    { "by", '\0', "COLUMN", "column of the pilot that tells kinds of patches apart", BY },
    CLI_STUDY_UNIT_ROW,
    CLI_STUDY_MEASURES_ROW,
    { "power", '\0', "P", "chance to find the difference (default 0.8)", POWER },
    { "alpha", '\0', "P", "level of the test (default 0.05)", ALPHA },
    { "area", '\0', NULL, "over what area to measure: the smallest square that does", AREA },
    { "tolerance", '\0', "KEY=X,...",
      "how well each measure is to be known, as half a 95 % interval (default "
      "ink.coverage=0.02,dots.d50_mm=5%,dots.per_cm2=10%)",
      TOLERANCE },
    { "se", '\0', "X", "wanted standard error of coverage, such as 0.01", STANDARD_ERROR },
    { "integral-range", '\0', "MM2", "for --se without a pilot: sampling.integral_range_mm2",
      INTEGRAL_RANGE },
    { "coverage", '\0', "SHARE", "for --se without a pilot: the coverage expected", COVERAGE },
    { "factors", '\0', "NAME=A,B,...",
      "a factor and its settings, for an order to print in; give it once for each factor",
      FACTORS },
    { "repeats", '\0', "N", "prints of each combination (default 4)", REPEATS },
    CLI_STUDY_SEED_ROW,
    CLI_STUDY_JSON_ROW,
    CLI_STUDY_OUT_ROW,
};

/* KEY=X,... as read. */
struct values {
    cli_list words;
    fleck_plan_value *items; /* count of words */
};

struct call {
    cli_study_call study;
    struct values differences, spreads, tolerances;
    fleck_plan_options numbers;
    fleck_plan_area_options areas;
    double integral_range_mm2, coverage;
    bool asks_area, asks_numbers;
    fleck_plan_factor *factors; /* with room for one per word */
    cli_list *levels;
    size_t factor_count, repeats;
    const char *last_number; /* an option that is about numbers or areas */
};

static bool set_values(struct values *values, const char *text, char why[256])
{
    if (!cli_list_split(text, &values->words, why))
        return false;
    free(values->items);
    values->items = calloc(values->words.count, sizeof *values->items);
    for (size_t i = 0; values->items != NULL && i < values->words.count; i++) {
        char *const word = values->words.storage + (values->words.items[i] - values->words.storage);
        char *const equals = strchr(word, '=');
        const size_t length = strlen(word);

        if (equals == NULL || equals == word) {
            snprintf(why, 256, "is not KEY=X; give such as ink.coverage=0.03");
            return false;
        }
        values->items[i].percent = word[length - 1] == '%';
        if (values->items[i].percent)
            word[length - 1] = '\0';
        *equals = '\0';
        values->items[i].measure = word;
        if (!cli_number(equals + 1, &values->items[i].value) || !(values->items[i].value > 0)) {
            snprintf(why, 256,
                     "holds no number above 0 for %.100s; give one, with a point for the decimals",
                     word);
            return false;
        }
    }
    return values->items != NULL;
}

static bool set_factor(struct call *call, const char *text, char why[256])
{
    cli_list *const levels = &call->levels[call->factor_count];
    const char *const equals = strchr(text, '=');
    char *name;

    if (equals == NULL || equals == text) {
        snprintf(why, 256, "is not NAME=A,B; give such as paste_pct=2,2.5,3");
        return false;
    }
    if (!cli_list_split(equals + 1, levels, why))
        return false;
    name = malloc((size_t)(equals - text) + 1);
    if (name == NULL) {
        snprintf(why, 256, "there is no memory for it; free some memory");
        return false;
    }
    memcpy(name, text, (size_t)(equals - text));
    name[equals - text] = '\0';
    call->factors[call->factor_count++] = (fleck_plan_factor){ name, levels->items, levels->count };
    return true;
}

static bool set_number(double *into, const char *value, char why[256])
{
    if (cli_number(value, into) && *into > 0)
        return true;
    snprintf(why, 256, "is no number above 0; give one, with a point for the decimals");
    return false;
}

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;

    if (id >= CLI_STUDY_FIRST) {
        if (id == CLI_STUDY_MEASURES || id == CLI_STUDY_UNIT)
            call->last_number = id == CLI_STUDY_MEASURES ? "measures" : "unit";
        call->asks_numbers = call->asks_numbers || id == CLI_STUDY_MEASURES;
        return cli_study_set(&call->study, id, value, why);
    }
    switch ((enum option_id)id) {
    case FACTORS:
        return set_factor(call, value, why);
    case REPEATS:
        if (cli_count(value, &call->repeats) && call->repeats >= 1)
            return true;
        snprintf(why, 256, "is no number of repeats; give a whole number of 1 or more");
        return false;
    case DIFFERENCE:
        call->asks_numbers = true;
        call->last_number = "difference";
        return set_values(&call->differences, value, why);
    case SPREAD:
        call->asks_numbers = true;
        call->last_number = "sd";
        return set_values(&call->spreads, value, why);
    case BY:
        call->asks_numbers = true;
        call->last_number = "by";
        call->numbers.by = value;
        return true;
    case POWER:
        call->last_number = "power";
        return set_number(&call->numbers.power, value, why);
    case ALPHA:
        call->last_number = "alpha";
        return set_number(&call->numbers.alpha, value, why);
    case AREA:
        call->asks_area = true;
        call->last_number = "area";
        return true;
    case TOLERANCE:
        call->asks_area = true;
        call->last_number = "tolerance";
        return set_values(&call->tolerances, value, why);
    case STANDARD_ERROR:
        call->asks_area = true;
        call->last_number = "se";
        return set_number(&call->areas.coverage_se, value, why);
    case INTEGRAL_RANGE:
        call->asks_area = true;
        call->last_number = "integral-range";
        return set_number(&call->integral_range_mm2, value, why);
    case COVERAGE:
        call->asks_area = true;
        call->last_number = "coverage";
        if (cli_number(value, &call->coverage) && call->coverage > 0 && call->coverage < 1)
            return true;
        snprintf(why, 256, "is no share; give one between 0 and 1, such as 0.3");
        return false;
    }
    return false;
}

/* ---- the order ---- */

static int give_order(const struct call *call)
{
    fleck_plan_order order;
    fleck_error err = { 0 };
    const fleck_status status = fleck_plan_order_make(
        call->factors, call->factor_count, call->repeats, call->study.seed, &order, &err);
    char *csv;
    int code;

    if (status != FLECK_OK)
        return cli_study_say_failure(status, &err);
    csv = fleck_plan_order_to_csv(&order);
    if (csv != NULL && call->study.out == NULL && !call->study.json)
        fputs(csv, stdout);
    code = cli_study_finish(&call->study, "plan", fleck_plan_to_json(NULL, NULL, &order), csv);
    if (code == EXIT_DONE)
        fprintf(stderr, "fleck: plan: %zu prints in %zu blocks, seed %llu\n", order.print_count,
                order.repeats, (unsigned long long)order.seed);
    fleck_plan_order_clear(&order);
    return code;
}

/* ---- numbers and areas ---- */

static int areas_of_scans(const struct call *call, const char *const *names, size_t count,
                          fleck_plan_areas *areas, bool *some_failed)
{
    cli_plan_scans scans = { 0 };
    fleck_record given;
    fleck_error err = { 0 };
    fleck_status status = FLECK_OK;
    int code = -1;

    fleck_record_init(&given);
    if (count > 0) {
        status = cli_plan_scans_measure(names, count, &scans, &err);
        if (status != FLECK_OK)
            code = cli_say_failure("plan", status, &err);
    } else {
        given.ink.coverage = call->coverage;
        given.sampling.integral_range_mm2 = call->integral_range_mm2;
    }
    if (status == FLECK_OK) {
        status = fleck_plan_areas_records(count > 0 ? scans.records : &given,
                                          count > 0 ? scans.count : 1, &call->areas, areas, &err);
        if (status != FLECK_OK)
            code = cli_study_say_failure(status, &err);
    }
    *some_failed = scans.failed > 0;
    cli_plan_scans_clear(&scans);
    return code;
}

static bool is_run(const char *name)
{
    char path[4096];

    return snprintf(path, sizeof path, "%s/patches.csv", name) < (int)sizeof path &&
           access(path, F_OK) == 0;
}

/* What can be told is wrong before anything is read. Returns -1 to go on. */
static int check_call(struct call *call, size_t name_count)
{
    const bool given = !isnan(call->integral_range_mm2) || !isnan(call->coverage);

    if (call->factor_count > 0) {
        if (name_count > 0 || call->last_number != NULL) {
            if (call->last_number != NULL)
                fprintf(stderr,
                        "fleck: --%s: has no part in an order of prints; ask for it without "
                        "--factors\n",
                        call->last_number);
            else
                cli_say("plan",
                        "a pilot has no part in an order of prints; leave it out, or --factors");
            return EXIT_CALL;
        }
        if (call->study.out != NULL && access(call->study.out, F_OK) == 0) {
            cli_say(call->study.out,
                    "is there already, and may be filled in; give another name with -o");
            return EXIT_CALL;
        }
        return -1;
    }
    if (given && name_count > 0) {
        cli_say("plan", "--integral-range and --coverage stand for a pilot; give them or a pilot");
        return EXIT_CALL;
    }
    if (given && (isnan(call->integral_range_mm2) || isnan(call->coverage) ||
                  isnan(call->areas.coverage_se))) {
        cli_say("plan", "--se, --integral-range and --coverage belong together; give all three");
        return EXIT_CALL;
    }
    if (!call->asks_area)
        call->asks_numbers = true;
    if (name_count == 0 &&
        ((call->asks_area && !given) || (call->asks_numbers && call->spreads.words.count == 0))) {
        cli_say("plan",
                call->asks_area
                    ? "no pilot is named; give a run or a scan, or --se with --integral-range "
                      "and --coverage"
                    : "there is nothing to plan from; give a pilot run, spreads with --sd, or "
                      "--factors for an order of prints");
        return EXIT_CALL;
    }
    if (call->asks_area && call->asks_numbers && call->study.out != NULL &&
        strcmp(call->study.out + strlen(call->study.out) - 4, ".csv") == 0) {
        cli_say(call->study.out,
                "two questions make two tables; ask one at a time, or give a .json");
        return EXIT_CALL;
    }
    return -1;
}

static int give_numbers(struct call *call, const char *const *names, size_t name_count)
{
    const bool from_runs = name_count > 0 && (call->asks_numbers || is_run(names[0]));
    fleck_study *study = NULL;
    fleck_plan plan = { 0 };
    fleck_plan_areas areas = { 0 };
    fleck_error err = { 0 };
    fleck_status status = FLECK_OK;
    bool some_failed = false;
    char *csv;
    int code = -1;

    call->numbers.differences = call->differences.items;
    call->numbers.difference_count = call->differences.words.count;
    call->numbers.spreads = call->spreads.items;
    call->numbers.spread_count = call->spreads.words.count;
    call->numbers.measures = call->study.measures.items;
    call->numbers.measure_count = call->study.measures.count;
    call->numbers.unit = call->study.unit;
    call->areas.tolerances = call->tolerances.items;
    call->areas.tolerance_count = call->tolerances.words.count;
    if (from_runs)
        code = cli_study_open(&call->study, "plan", names, name_count, 1, name_count, &study);
    if (code < 0 && call->asks_numbers) {
        status = fleck_plan_numbers(study, &call->numbers, &plan, &err);
        if (status != FLECK_OK)
            code = cli_study_say_failure(status, &err);
    }
    if (code < 0 && call->asks_area && study != NULL) {
        status = fleck_plan_areas_study(study, &call->areas, &areas, &err);
        if (status != FLECK_OK)
            code = cli_study_say_failure(status, &err);
    } else if (code < 0 && call->asks_area)
        code = areas_of_scans(call, names, name_count, &areas, &some_failed);
    if (code >= 0)
        goto done;
    code = EXIT_DONE;
    if (!call->study.json && call->asks_numbers)
        code = cli_print_plan(stdout, &plan);
    if (!call->study.json && call->asks_area && code == EXIT_DONE)
        code = cli_print_areas(stdout, &areas);
    cli_study_warn("plan", &plan.warnings);
    cli_study_warn("plan", &areas.warnings);
    if (code != EXIT_DONE)
        goto done;
    csv = call->asks_numbers ? fleck_plan_to_csv(&plan) : fleck_plan_areas_to_csv(&areas);
    code = cli_study_finish(&call->study, "plan",
                            fleck_plan_to_json(call->asks_numbers ? &plan : NULL,
                                               call->asks_area ? &areas : NULL, NULL),
                            csv);
    if (code == EXIT_DONE && some_failed)
        code = EXIT_INPUT;
done:
    fleck_plan_areas_clear(&areas);
    fleck_plan_clear(&plan);
    fleck_study_free(study);
    return code;
}

static void clear_values(struct values *values)
{
    cli_list_clear(&values->words);
    free(values->items);
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .study = cli_study_call_default(),
                         .numbers = fleck_plan_options_default(),
                         .areas = fleck_plan_area_options_default(),
                         .integral_range_mm2 = NAN,
                         .coverage = NAN,
                         .repeats = 4 };
    const char **names = calloc((size_t)count + 1, sizeof *names);
    size_t name_count = 0;
    int code = EXIT_MACHINE;

    call.factors = calloc((size_t)count + 1, sizeof *call.factors);
    call.levels = calloc((size_t)count + 1, sizeof *call.levels);
    if (names == NULL || call.factors == NULL || call.levels == NULL) {
        cli_say("plan", "no memory for the call; free some memory");
        goto done;
    }
    code = cli_parse(command, count, words, set_option, &call, names, &name_count);
    if (code < 0)
        code = check_call(&call, name_count);
    if (code < 0)
        code = call.factor_count > 0 ? give_order(&call) : give_numbers(&call, names, name_count);
done:
    for (size_t i = 0; call.factors != NULL && call.levels != NULL && i <= (size_t)count; i++) {
        free((char *)call.factors[i].name);
        cli_list_clear(&call.levels[i]);
    }
    clear_values(&call.differences);
    clear_values(&call.spreads);
    clear_values(&call.tolerances);
    cli_study_call_clear(&call.study);
    free(call.factors);
    free(call.levels);
    free(names);
    return code;
}

const cli_command cli_command_plan = {
    .name = "plan",
    .arguments = "[RUN] [options]",
    .summary = "how much area, how many patches, in which random order",
    .text = "How many patches: fleck plan RUN --by paste_pct --difference ink.coverage=0.03, from "
            "the spread "
            "within the kinds of patches of a pilot run; without --difference the differences that "
            "groups of "
            "several sizes would show. With --sd no pilot is needed.\n"
            "\n"
            "Over what area: fleck plan RUN|SCAN --area, or --se 0.01 for a standard error of "
            "coverage.\n"
            "\n"
            "In which order: fleck plan --factors paste_pct=2,2.5,3 --repeats 4 --seed 7 -o "
            "prints.csv gives "
            "a manifest to fill in, in blocks of one print of each combination, shuffled.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
