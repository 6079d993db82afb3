/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plots of the patches of a run together: groups, a factor, an edition. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "fleck/plots.h"
#include "fleck/record.h"
#include "report/plots_say.h"
#include "report/run_plots.h"
#include "report/typeset.h"
#include "study/relate_words.h"

struct cell {
    const char *text;
    double number;
    size_t row;
};

static int by_number(const void *a, const void *b)
{
    const struct cell *const x = a, *const y = b;

    if (x->number < y->number || x->number > y->number)
        return x->number < y->number ? -1 : 1;
    return x->row < y->row ? -1 : x->row > y->row;
}

static int by_text(const void *a, const void *b)
{
    const struct cell *const x = a, *const y = b;
    const int order = strcmp(x->text, y->text);

    if (order != 0)
        return order;
    return x->row < y->row ? -1 : x->row > y->row;
}

fleck_status run_groups_find(const fleck_study *study, size_t column, run_groups *groups,
                             fleck_error *err)
{
    const size_t rows = fleck_study_row_count(study);
    struct cell *const cells = fleck_alloc_array(rows, sizeof *cells);
    size_t count = 0;

    *groups = (run_groups){ .numeric = true };
    groups->names = fleck_alloc_array(rows, sizeof *groups->names);
    groups->of_row = fleck_alloc_array(rows, sizeof *groups->of_row);
    if (cells == NULL || groups->names == NULL || groups->of_row == NULL) {
        fleck_free(cells);
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for groups; free some memory");
    }
    for (size_t row = 0; row < rows; row++) {
        struct cell *const cell = &cells[count];

        groups->of_row[row] = FLECK_STUDY_NONE;
        *cell = (struct cell){ fleck_study_text(study, row, column), NAN, row };
        if (cell->text[0] == '\0')
            continue;
        if (!fleck_study_number(study, row, column, &cell->number) || isnan(cell->number))
            groups->numeric = false;
        count++;
    }
    qsort(cells, count, sizeof *cells, groups->numeric ? by_number : by_text);
    for (size_t i = 0; i < count; i++) {
        /* 2.5 and 2.50 are one number, as nothing lies between them; texts must be the same */
        const bool same = i > 0 && (groups->numeric ? !(cells[i].number > cells[i - 1].number)
                                                    : strcmp(cells[i].text, cells[i - 1].text) == 0);

        if (!same)
            groups->names[groups->count++] = cells[i].text;
        groups->of_row[cells[i].row] = groups->count - 1;
    }
    groups->numeric = groups->numeric && count > 0;
    fleck_free(cells);
    return FLECK_OK;
}

void run_groups_clear(run_groups *groups)
{
    fleck_free(groups->names);
    fleck_free(groups->of_row);
    *groups = (run_groups){ 0 };
}

/* Label and unit of a measure; a column of the user's own has its name. */
static void measure_words(fleck_plot *plot, const char *name, fleck_text *label, const char **unit)
{
    const fleck_key *const key = fleck_key_find(name);

    if (key != NULL)
        typeset_label(label, key->label);
    else
        fleck_text_add(label, name);
    if (label->failed)
        plots_no_memory(plot);
    *unit = key != NULL && key->unit[0] != '\0' ? key->unit : NULL;
    /* the label says it */
    if (*unit != NULL && strcmp(*unit, "1/cm2") == 0 && strstr(key->label, "per cm2") != NULL)
        *unit = NULL;
}

/* The numbers of a column; the count of those that are there. */
static size_t column_values(const fleck_study *study, size_t column, double *values)
{
    size_t there = 0;

    for (size_t row = 0; row < fleck_study_row_count(study); row++) {
        if (!fleck_study_number(study, row, column, &values[row]))
            values[row] = NAN;
        there += isfinite(values[row]);
    }
    return there;
}

bool run_plot_fill_groups(fleck_plot *plot, const fleck_study *study, size_t by,
                          const run_groups *groups, size_t measure)
{
    const size_t rows = fleck_study_row_count(study);
    double *const values = fleck_alloc_array(rows, sizeof *values);
    const fleck_factor_words words = fleck_factor_words_of(fleck_study_column_name(study, by));
    const char *unit;
    fleck_text axis = { 0 }, label = { 0 };
    size_t there;

    if (values == NULL) {
        plots_no_memory(plot);
        return true;
    }
    there = column_values(study, measure, values);
    fleck_text_add(&axis, words.name);
    if (words.unit[0] != '\0')
        fleck_text_add_format(&axis, " (%s)", words.unit);
    if (axis.failed)
        plots_no_memory(plot);
    measure_words(plot, fleck_study_column_name(study, measure), &label, &unit);
    if (there > 0)
        fleck_plot_fill_groups(plot, &(fleck_plot_groups){ .label = label.bytes,
                                                           .unit = unit,
                                                           .by = axis.bytes,
                                                           .count = rows,
                                                           .value = values,
                                                           .group = groups->of_row,
                                                           .groups = groups->count,
                                                           .names = groups->names });
    fleck_text_clear(&axis);
    fleck_text_clear(&label);
    fleck_free(values);
    return there > 0;
}

bool run_plot_fill_factor(fleck_plot *plot, const fleck_study *study, size_t by, size_t measure)
{
    const size_t rows = fleck_study_row_count(study);
    double *const x = fleck_alloc_array(rows, sizeof *x);
    double *const y = fleck_alloc_array(rows, sizeof *y);
    const fleck_factor_words words = fleck_factor_words_of(fleck_study_column_name(study, by));
    const char *unit;
    fleck_text label = { 0 };
    size_t both = 0;

    if (x == NULL || y == NULL) {
        plots_no_memory(plot);
        both = 3;
    } else {
        column_values(study, by, x);
        column_values(study, measure, y);
        for (size_t row = 0; row < rows; row++)
            both += isfinite(x[row]) && isfinite(y[row]);
        measure_words(plot, fleck_study_column_name(study, measure), &label, &unit);
        if (both >= 3)
            fleck_plot_fill_factor(plot,
                                   &(fleck_plot_factor){ .x_label = words.name,
                                                         .x_unit = words.unit[0] != '\0' ? words.unit : NULL,
                                                         .y_label = label.bytes,
                                                         .y_unit = unit,
                                                         .count = rows,
                                                         .x = x,
                                                         .y = y });
    }
    fleck_text_clear(&label);
    fleck_free(x);
    fleck_free(y);
    return both >= 3;
}

/* Mean of a print's patches; NAN when none has the measure. */
static double print_value(const fleck_study *study, size_t order, size_t measure, double place,
                          const char *reference_id)
{
    double sum = 0;
    size_t n = 0;

    for (size_t row = 0; row < fleck_study_row_count(study); row++) {
        double at, value;

        if (fleck_study_run_of(study, row) != 0 ||
            !fleck_study_number(study, row, order, &at) || !(at >= place && at <= place) ||
            (reference_id != NULL && strcmp(fleck_study_id(study, row), reference_id) == 0) ||
            !fleck_study_number(study, row, measure, &value) || isnan(value))
            continue;
        sum += value;
        n++;
    }
    return n > 0 ? sum / (double)n : NAN;
}

bool run_plot_fill_chart(fleck_plot *plot, const fleck_study *study, const fleck_edition *edition,
                         const fleck_edition_measure *measure, const char *reference_id)
{
    const size_t order = fleck_study_find_column(study, edition->order);
    const size_t column = fleck_study_find_column(study, measure->measure);
    const fleck_factor_words words = fleck_factor_words_of(edition->order);
    double *const values = fleck_alloc_array(edition->print_count, sizeof *values);
    const char **const ids = fleck_alloc_array(edition->print_count, sizeof *ids);
    const char *unit;
    fleck_text label = { 0 };
    size_t there = 0;

    if (values == NULL || ids == NULL) {
        plots_no_memory(plot);
        there = 2;
    } else if (order != FLECK_STUDY_NONE && column != FLECK_STUDY_NONE) {
        for (size_t i = 0; i < edition->print_count; i++) {
            values[i] = print_value(study, order, column, edition->prints[i].order, reference_id);
            ids[i] = edition->prints[i].name;
            there += isfinite(values[i]);
        }
        measure_words(plot, measure->measure, &label, &unit);
        if (there > 1)
            fleck_plot_fill_chart(plot, &(fleck_plot_chart){ .label = label.bytes,
                                                             .unit = unit,
                                                             .order = words.name,
                                                             .count = edition->print_count,
                                                             .value = values,
                                                             .ids = ids,
                                                             .centre = measure->centre,
                                                             .lcl = measure->lcl,
                                                             .ucl = measure->ucl });
    }
    fleck_text_clear(&label);
    fleck_free(values);
    fleck_free(ids);
    return there > 1;
}
