/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include "study/relate_case.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "study/run_files.h"

enum { MOST = 16, LONGEST = 512 };

typedef struct words {
    char storage[LONGEST];
    const char *items[MOST];
    size_t count;
} words;

static void split(const char *text, words *out)
{
    out->count = 0;
    if (text == NULL)
        return;
    assert_true(strlen(text) < LONGEST);
    strcpy(out->storage, text);
    for (char *at = strtok(out->storage, ","); at != NULL; at = strtok(NULL, ",")) {
        assert_true(out->count < MOST);
        out->items[out->count++] = at;
    }
}

/* The part behind the sign, which ends the part before it. */
static char *behind(words *list, size_t i, char sign)
{
    char *const at = strchr(list->storage + (list->items[i] - list->storage), sign);

    assert_non_null(at);
    *at = '\0';
    return at + 1;
}

fleck_study *read_table(const char *table)
{
    static unsigned runs;
    fleck_study *study = NULL;
    fleck_error err = { 0 };
    char run[32];
    const char *const path = run;

    snprintf(run, sizeof run, "relate%u", runs++);
    run_put_all(run, table, NULL);
    if (fleck_study_read(&path, 1, &study, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    return study;
}

fleck_status relate_study(const fleck_study *study, const relate_case *what, fleck_relate *result,
                          fleck_error *err)
{
    words factors, categories, terms, measures, solve, targets, held, expected;
    fleck_relate_target target[MOST];
    fleck_relate_held hold[MOST];
    fleck_relate_expectation expect[MOST];
    fleck_relate_options options = fleck_relate_options_default();

    split(what->factors, &factors);
    split(what->categories, &categories);
    split(what->terms, &terms);
    split(what->measures, &measures);
    split(what->solve, &solve);
    split(what->targets, &targets);
    split(what->held, &held);
    split(what->expected, &expected);
    for (size_t i = 0; i < targets.count; i++) {
        target[i].value = atof(behind(&targets, i, '='));
        target[i].measure = targets.items[i];
    }
    for (size_t i = 0; i < held.count; i++) {
        hold[i].value = behind(&held, i, '=');
        hold[i].column = held.items[i];
    }
    for (size_t i = 0; i < expected.count; i++) {
        char *const sign = expected.storage + (expected.items[i] - expected.storage) +
                           strlen(expected.items[i]) - 1;

        expect[i] = (fleck_relate_expectation){ NULL, expected.items[i], *sign == '+' ? 1 : -1 };
        *sign = '\0';
    }
    options.factors = factors.items;
    options.factor_count = factors.count;
    options.categories = categories.items;
    options.category_count = categories.count;
    options.terms = terms.items;
    options.term_count = terms.count;
    options.measures = measures.items;
    options.measure_count = measures.count;
    options.solve = solve.items;
    options.solve_count = solve.count;
    options.targets = target;
    options.target_count = targets.count;
    options.held = hold;
    options.held_count = held.count;
    options.expected = expect;
    options.expected_count = expected.count;
    options.stock_ml_column = what->stock;
    options.water_ml_column = what->water;
    options.stock_g_per_ml = what->g_per_ml;
    options.unit = what->unit;
    options.mixed = what->mixed;
    return fleck_relate_study(study, &options, result, err);
}

fleck_status relate_table(const char *table, const relate_case *what, fleck_relate *result,
                          fleck_error *err)
{
    fleck_study *const study = read_table(table);
    const fleck_status status = relate_study(study, what, result, err);

    fleck_study_free(study);
    return status;
}

void relate_fine(const char *table, const relate_case *what, fleck_relate *result)
{
    fleck_error err = { 0 };

    if (relate_table(table, what, result, &err) != FLECK_OK)
        fail_msg("%s", err.message);
}

const fleck_relate_measure *relate_measure(const fleck_relate *result, const char *name)
{
    for (size_t i = 0; i < result->measure_count; i++) {
        if (strcmp(result->measures[i].measure, name) == 0)
            return &result->measures[i];
    }
    fail_msg("no measure %s", name);
    return NULL;
}
