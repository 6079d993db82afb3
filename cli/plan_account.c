/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "plan_account.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "options.h"
#include "table.h"

/* "0.031" or "4.2 %"; "-" for NAN. */
static void add_scaled(cli_table *table, double value, double uncertainty, bool percent)
{
    char number[CLI_NUMBER_BYTES];

    cli_number_rounded(number, value, uncertainty);
    cli_table_add_format(table, percent && !isnan(value) ? "%s %%" : "%s", number);
}

/* Two digits of a number that is an uncertainty itself. */
static void add_spread(cli_table *table, double value, bool percent)
{
    add_scaled(table, value, value, percent);
}

/* "1 patch", "2 batches" */
static const char *plural(const char *unit)
{
    static const struct {
        const char *one, *many;
    } words[] = { { "patch", "patches" }, { "batch", "batches" }, { "print", "prints" } };

    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        if (strcmp(words[i].one, unit) == 0)
            return words[i].many;
    }
    return "units";
}

static int print_wanted(FILE *out, const fleck_plan *plan)
{
    static const cli_column columns[] = {
        { "measure", CLI_LEFT },
        { "pilot's\nmean", CLI_RIGHT },
        { "spread\n(sd)", CLI_RIGHT },
        { "difference\nwanted", CLI_RIGHT },
        { "needed per\ngroup", CLI_RIGHT },
        { "cautious", CLI_RIGHT },
        { "in all", CLI_RIGHT },
        { "power\n%", CLI_RIGHT },
    };
    cli_table *table = cli_table_new(columns, sizeof columns / sizeof *columns);
    int code;

    for (size_t i = 0; i < plan->number_count; i++) {
        const fleck_plan_number *const number = &plan->numbers[i];
        const double se = number->units > 0 ? number->sd / sqrt((double)number->units) : NAN;

        cli_table_add(table, number->measure);
        add_scaled(table, number->mean, se, number->percent);
        add_spread(table, number->sd, number->percent);
        if (isnan(number->difference))
            cli_table_add(table, NULL);
        else
            cli_table_add_format(table, "%g%s", number->difference, number->percent ? " %" : "");
        cli_table_add_decimals(table, number->per_group, 0);
        cli_table_add_decimals(table, number->per_group_cautious, 0);
        cli_table_add_decimals(table, 2 * number->per_group, 0);
        cli_table_add_decimals(table, 100 * number->reached, 0);
    }
    code = cli_table_print(table, out, 2);
    cli_table_free(table);
    return code;
}

static int print_shown(FILE *out, const fleck_plan *plan)
{
    const size_t *const sizes = fleck_plan_sizes();
    char titles[FLECK_PLAN_SIZES][32];
    cli_column columns[FLECK_PLAN_SIZES + 1] = { { "measure", CLI_LEFT } };
    cli_table *table;
    int code;

    for (size_t k = 0; k < FLECK_PLAN_SIZES; k++) {
        snprintf(titles[k], sizeof titles[k], "%zu + %zu", sizes[k], sizes[k]);
        columns[k + 1] = (cli_column){ titles[k], CLI_RIGHT };
    }
    table = cli_table_new(columns, FLECK_PLAN_SIZES + 1);
    for (size_t i = 0; i < plan->number_count; i++) {
        cli_table_add(table, plan->numbers[i].measure);
        for (size_t k = 0; k < FLECK_PLAN_SIZES; k++)
            add_spread(table, plan->numbers[i].shown[k], plan->numbers[i].percent);
    }
    code = cli_table_print(table, out, 2);
    cli_table_free(table);
    return code;
}

static void print_notes(FILE *out, const char *const *notes, size_t count)
{
    fputc('\n', out);
    for (size_t i = 0; i < count; i++)
        cli_print_note(out, "  * ", notes[i]);
}

int cli_print_plan(FILE *out, const fleck_plan *plan)
{
    const char *const *notes;
    size_t count;
    bool wanted = false;
    int code = EXIT_DONE;

    for (size_t i = 0; i < plan->number_count; i++)
        wanted = wanted || !isnan(plan->numbers[i].difference);
    if (wanted) {
        fprintf(out, "How many %s find a difference with a chance of %g %% (level %g)\n\n",
                plural(plan->unit), 100 * plan->power, plan->alpha);
        code = print_wanted(out, plan);
        fputc('\n', out);
    }
    if (code == EXIT_DONE) {
        fprintf(out, "Which difference groups of so many %s find with a chance of %g %%\n\n",
                plural(plan->unit), 100 * plan->power);
        code = print_shown(out, plan);
    }
    notes = fleck_plan_assumptions(&count);
    print_notes(out, notes, count);
    return code;
}

int cli_print_areas(FILE *out, const fleck_plan_areas *areas)
{
    static const cli_column columns[] = {
        { "measure", CLI_LEFT },          { "wanted\n+-", CLI_RIGHT },
        { "pilot gives\n+-", CLI_RIGHT }, { "square\nmm", CLI_RIGHT },
        { "at worst\nmm", CLI_RIGHT },    { "dots\nin it", CLI_RIGHT },
        { "told by", CLI_LEFT },
    };
    cli_table *table = cli_table_new(columns, sizeof columns / sizeof *columns);
    const char *const *notes;
    char side[CLI_NUMBER_BYTES];
    size_t count;
    int code;

    fputs("Over what area each measure is known well enough (+- is half a 95 % interval, or a "
          "standard "
          "error\nwhere it says se)\n\n",
          out);
    for (size_t i = 0; i < areas->area_count; i++) {
        const fleck_plan_area *const area = &areas->areas[i];

        cli_table_add(table, area->measure);
        cli_table_add_format(table, "%s%g%s", area->is_se ? "se " : "", area->tolerance,
                             area->percent ? " %" : "");
        add_spread(table, area->pilot_tolerance, area->percent);
        cli_table_add_decimals(table, area->side_mm, 1);
        cli_table_add_decimals(table, sqrt(area->area_worst_mm2), 1);
        cli_table_add_decimals(table, area->dots, 0);
        if (area->patches == 0)
            cli_table_add(table, NULL);
        else
            cli_table_add_format(table, "%s of %zu %s", area->basis, area->patches,
                                 area->patches == 1 ? "patch" : "patches");
    }
    code = cli_table_print(table, out, 2);
    cli_table_free(table);
    if (!isnan(areas->side_mm) && areas->area_count > 1)
        fprintf(out, "\n  A square of %s mm does for all of them.\n",
                cli_number_decimals(side, areas->side_mm, 1));
    notes = fleck_plan_area_assumptions(&count);
    print_notes(out, notes, count);
    return code;
}
