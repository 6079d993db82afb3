/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "relate_print.h"

#include <math.h>
#include <stdio.h>

#include "options.h"
#include "table.h"

static void print_head(const fleck_relate *result)
{
    if (result->unit != NULL && result->units < result->patches)
        printf("%zu patches averaged to %zu units of %s.\n", result->patches, result->units,
               result->unit);
    else
        printf("%zu patches, each standing for itself.\n", result->patches);
    for (size_t i = 0; i < result->factor_count; i++) {
        const fleck_relate_factor *const factor = &result->factors[i];

        if (factor->is_category) {
            printf("%s:", factor->column);
            for (size_t k = 0; k < factor->level_count; k++)
                printf("%s %s", k > 0 ? "," : "", factor->levels[k]);
            printf("; compared with %s.\n", factor->levels[0]);
        } else {
            printf("%s: tried from %.6g to %.6g.\n", factor->column, factor->lo, factor->hi);
        }
    }
    if (result->mix_count > 0) {
        puts("\nPaste in g per 100 ml, from what was mixed:");
        for (size_t i = 0; i < result->mix_count; i++)
            cli_print_note(stdout, "  ", result->mixes[i].sentence);
    }
}

static int print_terms(const fleck_relate *result)
{
    static const cli_column columns[] = {
        { "measure", CLI_LEFT },      { "n", CLI_RIGHT },  { "term", CLI_LEFT },
        { "coefficient", CLI_RIGHT }, { "se", CLI_RIGHT }, { "95 % interval", CLI_RIGHT },
        { "p", CLI_RIGHT },           { "R2", CLI_RIGHT },
    };
    cli_table *const table = cli_table_new(columns, sizeof columns / sizeof *columns);
    char lo[CLI_NUMBER_BYTES], hi[CLI_NUMBER_BYTES];
    int code;

    for (size_t i = 0; i < result->measure_count; i++) {
        const fleck_relate_measure *const measure = &result->measures[i];

        cli_table_add(table, measure->measure);
        cli_table_add_format(table, "%zu", measure->n);
        if (measure->term_count == 0) {
            for (size_t k = 2; k < sizeof columns / sizeof *columns; k++)
                cli_table_add(table, "");
            continue;
        }
        for (size_t k = 0; k < measure->term_count; k++) {
            const fleck_relate_term *const term = &measure->terms[k];

            if (k > 0) {
                cli_table_add_blank(table);
                cli_table_add_blank(table);
            }
            cli_table_add(table, term->name);
            cli_table_add_rounded(table, term->coefficient, term->se);
            cli_table_add_rounded(table, term->se, term->se);
            cli_table_add_format(table, "%s to %s", cli_number_rounded(lo, term->ci_lo, term->se),
                                 cli_number_rounded(hi, term->ci_hi, term->se));
            cli_table_add_p(table, term->p);
            if (k == 0)
                cli_table_add_decimals(table, measure->r2, 3);
            else
                cli_table_add_blank(table);
        }
    }
    code = cli_table_print(table, stdout, 0);
    cli_table_free(table);
    return code;
}

static int print_ranks(const fleck_relate *result)
{
    static const cli_column columns[] = {
        { "measure", CLI_LEFT },         { "factor", CLI_LEFT },
        { "Spearman\nrho", CLI_RIGHT },  { "\np", CLI_RIGHT },
        { "Kendall\ntau-b", CLI_RIGHT }, { "\np", CLI_RIGHT },
        { "shown\nslope", CLI_RIGHT },   { "\nchange", CLI_RIGHT },
    };
    cli_table *const table = cli_table_new(columns, sizeof columns / sizeof *columns);
    int code;

    for (size_t i = 0; i < result->measure_count; i++) {
        const fleck_relate_measure *const measure = &result->measures[i];

        for (size_t k = 0; k < measure->effect_count; k++) {
            const fleck_relate_effect *const effect = &measure->effects[k];

            cli_table_add(table, measure->measure);
            cli_table_add(table, effect->factor);
            cli_table_add_decimals(table, effect->spearman_rho, 2);
            cli_table_add_p(table, effect->spearman_p);
            cli_table_add_decimals(table, effect->kendall_tau_b, 2);
            cli_table_add_p(table, effect->kendall_p);
            cli_table_add_rounded(table, effect->detectable_slope, effect->detectable_slope);
            cli_table_add_rounded(table, effect->detectable_change, effect->detectable_change);
        }
    }
    code = cli_table_print(table, stdout, 0);
    cli_table_free(table);
    return code;
}

static void print_sentences(const fleck_relate *result)
{
    for (size_t i = 0; i < result->measure_count; i++) {
        const fleck_relate_measure *const measure = &result->measures[i];

        for (size_t k = 0; k < measure->effect_count; k++)
            cli_print_note(stdout, "  * ", measure->effects[k].sentence);
    }
}

/* What makes a fit doubtful: its shape, and single patches that pull it. */
static void print_doubts(const fleck_relate *result)
{
    bool any = false;

    for (size_t i = 0; i < result->measure_count; i++) {
        const fleck_relate_measure *const measure = &result->measures[i];
        char text[512], p[CLI_NUMBER_BYTES];

        if (!isnan(measure->lack_p)) {
            if (!any)
                puts("\nCan the fits be trusted?");
            any = true;
            snprintf(text, sizeof text,
                     "%.120s: repeats at the same setting %s (lack of fit p = %s)",
                     measure->measure,
                     measure->lack_p < 0.05 ? "show that the shape of the fit is wrong"
                                            : "show nothing against the shape of the fit",
                     cli_number_p(p, measure->lack_p));
            cli_print_note(stdout, "  * ", text);
        }
        for (size_t k = 0; k < measure->influence_count; k++) {
            const fleck_relate_influence *const influence = &measure->influences[k];

            if (!any)
                puts("\nCan the fits be trusted?");
            any = true;
            snprintf(text, sizeof text, "%.120s: %.120s %s (leverage %.2f, Cook's distance %.2f)",
                     measure->measure, influence->name,
                     influence->high_cook
                         ? "alone moves the fit: look at it again"
                         : "stands far from the other settings: the fit leans on it",
                     influence->leverage, influence->cook);
            cli_print_note(stdout, "  * ", text);
        }
    }
}

static void print_recipe(const fleck_relate *result)
{
    const fleck_relate_recipe *const recipe = &result->recipe;

    if (!recipe->asked)
        return;
    puts("\nThe recipe");
    for (size_t i = 0; i < recipe->held_count; i++)
        printf("  with %s at %s%s\n", recipe->held[i], recipe->held_value[i],
               recipe->held_at_mean[i] ? ", its mean" : "");
    cli_print_note(stdout, "  ", recipe->sentence);
}

int cli_print_relate(const fleck_relate *result)
{
    int code;

    print_head(result);
    puts("");
    code = print_terms(result);
    puts("");
    if (code == EXIT_DONE)
        code = print_ranks(result);
    cli_print_note(
        stdout, "",
        "shown: the smallest slope that this many patches show 8 times in 10, and the smallest "
        "change of the factor over which they so show the slope that was found");
    puts("\nIn words");
    print_sentences(result);
    print_doubts(result);
    print_recipe(result);
    return code;
}
