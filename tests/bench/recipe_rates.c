/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often a recipe holds the true setting, from simulated patches whose truth is known. Prints
 * one line for each scenario: how often a setting was named, several, none, or nothing could be
 * told; and how often what was said held the truth: the 95 % intervals of the settings named or,
 * where nothing could be told, the settings that were not excluded (for several targets no claim is
 * made then).
 *
 *     recipe_rates [RUNS [SCENARIO]]    10,000 runs of each scenario when not said
 *
 * Every thousand runs are the measures of one table, written below /tmp and removed.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/random.h"
#include "core/text.h"
#include "fleck/relate.h"
#include "fleck/record.h"

enum { AT_ONCE = 1000, MOST_PATCHES = 64 };

typedef struct scenario {
    const char *name;
    unsigned patches;
    double from, step;
    unsigned settings;
    double truth[2]; /* settings that give the wanted texture; NAN when there is no second */
    double u[3];     /* the measure's constant, slope and square */
    double scatter;
    double v[2]; /* of the second measure; scatter of both is shared by half; 0: there is none */
    const char *term;
} scenario;

static const scenario scenarios[] = {
    { "line, 12 patches at 3 pastes, slope of 8 standard errors",
      12,
      2,
      1.5,
      3,
      { 3.2, NAN },
      { 1, -0.2, 0 },
      0.1,
      { 0, 0 },
      NULL },
    { "line, 6 patches at 2 pastes, slope of 8 standard errors",
      6,
      2,
      3,
      2,
      { 3.2, NAN },
      { 1, -0.2, 0 },
      0.09,
      { 0, 0 },
      NULL },
    { "line, 12 patches at 3 pastes, slope of 2.5 standard errors",
      12,
      2,
      1.5,
      3,
      { 3.2, NAN },
      { 1, -0.2, 0 },
      0.34,
      { 0, 0 },
      NULL },
    { "line without slope", 12, 2, 1.5, 3, { NAN, NAN }, { 1, 0, 0 }, 0.1, { 0, 0 }, NULL },
    { "hill, 18 patches at 9 pastes, both sides",
      18,
      0,
      0.5,
      9,
      { 1, 3 },
      { 0, 4, -1 },
      0.25,
      { 0, 0 },
      "x^2" },
    { "hill, its top", 18, 0, 0.5, 9, { 2, NAN }, { 0, 4, -1 }, 0.25, { 0, 0 }, "x^2" },
    { "two targets, 12 patches at 3 pastes",
      12,
      2,
      1.5,
      3,
      { 3.2, NAN },
      { 1, -0.2, 0 },
      0.1,
      { 3, 0.5 },
      NULL },
    { "two targets, 24 patches at 4 pastes, weak slopes",
      24,
      2,
      1,
      4,
      { 3.2, NAN },
      { 1, -0.2, 0 },
      0.5,
      { 3, 0.3 },
      NULL },
};

struct counts {
    unsigned verdict[4], held;
};

static double height(const scenario *s, double x)
{
    return s->u[0] + s->u[1] * x + s->u[2] * x * x;
}

static bool write_text(const char *path, const char *text)
{
    FILE *const out = fopen(path, "wb");
    const bool good = out != NULL && fputs(text, out) >= 0;

    return out != NULL && fclose(out) == 0 && good;
}

/* A run's folder: a record for each patch, the table of AT_ONCE simulations. */
static bool write_run(const scenario *s, uint64_t *seed)
{
    fleck_text table = { 0 };
    bool good = true;

    mkdir("run", 0777);
    mkdir("run/records", 0777);
    fleck_text_add(&table, "id,x");
    for (unsigned run = 0; run < AT_ONCE; run++)
        fleck_text_add_format(&table, ",u%u,v%u", run, run);
    fleck_text_add(&table, "\n");
    for (unsigned i = 0; i < s->patches && good; i++) {
        const double x = s->from + s->step * (i % s->settings);
        fleck_record record;
        char path[64], *json;

        fleck_text_add_format(&table, "p%u,", i);
        fleck_text_add_number(&table, x);
        for (unsigned run = 0; run < AT_ONCE; run++) {
            double pair[2];

            fleck_random_normal_pair(seed, pair);
            fleck_text_add(&table, ",");
            fleck_text_add_number(&table, height(s, x) + s->scatter * pair[0]);
            fleck_text_add(&table, ",");
            fleck_text_add_number(&table, s->v[0] + s->v[1] * x +
                                              2 * s->scatter * (pair[0] + pair[1]) / sqrt(2));
        }
        fleck_text_add(&table, "\n");
        fleck_record_init(&record);
        snprintf(path, sizeof path, "p%u", i);
        record.id = strdup(path);
        json = fleck_record_to_json(&record);
        snprintf(path, sizeof path, "run/records/p%u.json", i);
        good = json != NULL && write_text(path, json);
        free(json);
        fleck_record_clear(&record);
    }
    good = good && !table.failed && write_text("run/patches.csv", table.bytes);
    fleck_text_clear(&table);
    return good;
}

static bool holds(const scenario *s, const fleck_relate_recipe *recipe)
{
    const bool any = isnan(s->truth[0]);
    bool all = true;

    if (any) /* nothing gives it more than anything else: a setting named is wrong */
        return recipe->answer_count == 0;
    if (recipe->verdict == FLECK_RELATE_UNSURE_SETTING && recipe->stretch_count == 0)
        return true;
    for (size_t k = 0; k < 2 && !isnan(s->truth[k]); k++) {
        bool one = false;

        for (size_t i = 0; i < recipe->answer_count; i++)
            one = one || (recipe->answer[i].setting[0].lo <= s->truth[k] &&
                          s->truth[k] <= recipe->answer[i].setting[0].hi);
        for (size_t i = 0; recipe->answer_count == 0 && i < recipe->stretch_count; i++)
            one = one ||
                  (recipe->stretch_lo[i] <= s->truth[k] && s->truth[k] <= recipe->stretch_hi[i]);
        all = all && one;
    }
    return all;
}

static bool simulate(const scenario *s, uint64_t *seed, unsigned runs, struct counts *counts)
{
    static const char *const path = "run", *const factor = "x";
    const bool joint = s->v[1] != 0;
    const double x = isnan(s->truth[0]) ? s->from : s->truth[0];
    fleck_study *study = NULL;
    fleck_error err = { 0 };
    bool good = write_run(s, seed) && fleck_study_read(&path, 1, &study, &err) == FLECK_OK;

    for (unsigned run = 0; run < runs && good; run++) {
        char u[16], v[16];
        const char *const measures[] = { u, v };
        const fleck_relate_target targets[] = { { u, height(s, x) }, { v, s->v[0] + s->v[1] * x } };
        fleck_relate_options options = fleck_relate_options_default();
        fleck_relate result;

        snprintf(u, sizeof u, "u%u", run);
        snprintf(v, sizeof v, "v%u", run);
        options.factors = &factor;
        options.factor_count = 1;
        options.terms = &s->term;
        options.term_count = s->term != NULL;
        options.measures = measures;
        options.measure_count = options.target_count = joint ? 2 : 1;
        options.targets = targets;
        good = fleck_relate_study(study, &options, &result, &err) == FLECK_OK;
        if (good) {
            counts->verdict[result.recipe.verdict]++;
            counts->held += holds(s, &result.recipe);
        }
        fleck_relate_clear(&result);
    }
    if (!good)
        fprintf(stderr, "recipe_rates: %s\n", err.message);
    fleck_study_free(study);
    return good;
}

int main(int count, char **words)
{
    const unsigned runs = count > 1 ? (unsigned)strtoul(words[1], NULL, 10) : 10000;
    char folder[] = "/tmp/fleck-recipe-XXXXXX", path[64];
    bool good = mkdtemp(folder) != NULL && chdir(folder) == 0;

    printf("%-62s  one  several  none  cannot tell  held\n", "");
    for (size_t i = 0; i < sizeof scenarios / sizeof *scenarios && good; i++) {
        struct counts counts = { 0 };
        uint64_t seed = 1000 + i;

        if (count > 2 && strtoul(words[2], NULL, 10) != i)
            continue;
        for (unsigned done = 0; done < runs && good; done += AT_ONCE)
            good = simulate(&scenarios[i], &seed, runs - done < AT_ONCE ? runs - done : AT_ONCE,
                            &counts);
        printf("%-62s %.3f  %.3f  %.3f  %.3f  %.4f\n", scenarios[i].name,
               counts.verdict[FLECK_RELATE_ONE_SETTING] / (double)runs,
               counts.verdict[FLECK_RELATE_SEVERAL_SETTINGS] / (double)runs,
               counts.verdict[FLECK_RELATE_NO_SETTING] / (double)runs,
               counts.verdict[FLECK_RELATE_UNSURE_SETTING] / (double)runs,
               counts.held / (double)runs);
        fflush(stdout);
    }
    for (unsigned i = 0; i < MOST_PATCHES; i++) {
        snprintf(path, sizeof path, "run/records/p%u.json", i);
        remove(path);
    }
    remove("run/patches.csv");
    rmdir("run/records");
    rmdir("run");
    if (chdir("/") == 0)
        rmdir(folder);
    return good ? 0 : 1;
}
