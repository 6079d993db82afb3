/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which patches are which print: by sorting, so that the order of a run's rows does not matter. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "stats/moments.h"
#include "study/edition_parts.h"

enum { MOST_NAMED = 5, MOST_MISSING = 1000 };

fleck_status fleck_edition_no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the edition; free some memory");
}

fleck_status fleck_edition_list_add(fleck_edition_list *list, size_t room, size_t print,
                                    fleck_error *err)
{
    if (list->items == NULL)
        list->items = fleck_alloc_array(room, sizeof *list->items);
    if (list->items == NULL)
        return fleck_edition_no_memory(err);
    list->items[list->count++] = print;
    return FLECK_OK;
}

static int by_number(double a, double b)
{
    return (a > b) - (a < b);
}

static int by_print_name(const void *a, const void *b)
{
    const fleck_edition_row *const x = a, *const y = b;
    const int name = strcmp(x->print, y->print);

    return name != 0 ? name : by_number(x->order, y->order);
}

static int by_place(const void *a, const void *b)
{
    const fleck_edition_row *const x = a, *const y = b;
    int found = by_number(x->order, y->order);

    if (found == 0)
        found = strcmp(x->print, y->print);
    if (found == 0)
        found = strcmp(x->round, y->round);
    if (found == 0)
        found = strcmp(x->id, y->id);
    return found != 0 ? found : (x->run > y->run) - (x->run < y->run);
}

static int by_text(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static bool is_empty(const char *text)
{
    return text[strspn(text, " \t")] == '\0';
}

static bool is_reference(const fleck_edition_layout *layout, size_t row)
{
    const fleck_edition_options *const options = layout->options;

    if (options->reference_run != FLECK_STUDY_NONE)
        return fleck_study_run_of(layout->study, row) == options->reference_run;
    return options->reference_id != NULL &&
           strcmp(fleck_study_id(layout->study, row), options->reference_id) == 0;
}

/* Columns that the options name; FLECK_STUDY_NONE for those they do not. */
typedef struct named_columns {
    size_t order, print, rescan;
} named_columns;

static fleck_status find_columns(const fleck_edition_layout *layout, named_columns *columns,
                                 fleck_error *err)
{
    const fleck_edition_options *const options = layout->options;
    fleck_status status;

    *columns = (named_columns){ FLECK_STUDY_NONE, FLECK_STUDY_NONE, FLECK_STUDY_NONE };
    if (options->order == NULL)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "no column gives the order of the prints; name one with --order");
    status = fleck_study_need_column(layout->study, options->order, "column", &columns->order, err);
    if (status == FLECK_OK && options->print != NULL)
        status = fleck_study_need_column(layout->study, options->print, "column", &columns->print, err);
    if (status == FLECK_OK && options->rescan != NULL)
        status = fleck_study_need_column(layout->study, options->rescan, "column", &columns->rescan, err);
    return status;
}

/* Warn of patches without an order, naming the first few. */
static fleck_status warn_left_out(const fleck_text *names, size_t count, const char *order,
                                  fleck_warnings *warnings, fleck_error *err)
{
    if (count == 0)
        return FLECK_OK;
    return fleck_warnings_add(warnings, err, "order-missing",
                              "%zu %s no value in the column %s and %s left out: %s%s", count,
                              count == 1 ? "patch has" : "patches have", order,
                              count == 1 ? "is" : "are", names->bytes,
                              count > MOST_NAMED ? " ..." : "");
}

static fleck_status take_rows(fleck_edition_layout *layout, const named_columns *columns,
                              fleck_warnings *warnings, fleck_error *err)
{
    const fleck_study *const study = layout->study;
    const size_t count = fleck_study_row_count(study);
    fleck_text left_out = { 0 };
    size_t left_out_count = 0;
    fleck_status status = FLECK_OK;

    layout->rows = fleck_alloc_array(count + 1, sizeof *layout->rows);
    layout->reference_rows = fleck_alloc_array(count + 1, sizeof *layout->reference_rows);
    if (layout->rows == NULL || layout->reference_rows == NULL)
        return fleck_edition_no_memory(err);
    for (size_t row = 0; row < count && status == FLECK_OK; row++) {
        fleck_edition_row next = { .print = "", .round = "", .id = fleck_study_id(study, row),
                                   .run = fleck_study_run_of(study, row), .row = row };

        if (is_reference(layout, row)) {
            layout->reference_rows[layout->reference_count++] = row;
            continue;
        }
        if (!fleck_study_number(study, row, columns->order, &next.order)) {
            status = fleck_fail(err, FLECK_BAD_CALL,
                                "the column %.60s holds \"%.60s\" for the patch %.60s, which is no number; "
                                "give --order a column of numbers",
                                layout->options->order, fleck_study_text(study, row, columns->order),
                                next.id);
        } else if (isnan(next.order)) {
            if (left_out_count++ < MOST_NAMED)
                fleck_text_add_format(&left_out, "%s%s", left_out.length > 0 ? ", " : "", next.id);
        } else {
            if (columns->print != FLECK_STUDY_NONE) {
                next.print = fleck_study_text(study, row, columns->print);
                if (is_empty(next.print))
                    next.print = next.id;
            }
            if (columns->rescan != FLECK_STUDY_NONE)
                next.round = fleck_study_text(study, row, columns->rescan);
            layout->rows[layout->row_count++] = next;
        }
    }
    if (status == FLECK_OK && left_out.failed)
        status = fleck_edition_no_memory(err);
    if (status == FLECK_OK)
        status = warn_left_out(&left_out, left_out_count, layout->options->order, warnings, err);
    fleck_text_clear(&left_out);
    return status;
}

/* A print stands at one place of the edition. */
static fleck_status check_places(fleck_edition_layout *layout, fleck_error *err)
{
    fleck_edition_row *const rows = layout->rows;

    qsort(rows, layout->row_count, sizeof *rows, by_print_name);
    for (size_t i = 1; i < layout->row_count; i++) {
        if (*rows[i].print != '\0' && strcmp(rows[i - 1].print, rows[i].print) == 0 &&
            rows[i - 1].order != rows[i].order)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "the print %.60s stands at %g and at %g of the edition; give each print one "
                              "order, or name another column",
                              rows[i].print, rows[i - 1].order, rows[i].order);
    }
    return FLECK_OK;
}

/* Number prints and rounds of the sorted rows. */
static fleck_status number_rows(fleck_edition_layout *layout, fleck_error *err)
{
    fleck_edition_row *const rows = layout->rows;
    const char **const rounds = fleck_alloc_array(layout->row_count + 1, sizeof *rounds);

    if (rounds == NULL)
        return fleck_edition_no_memory(err);
    for (size_t i = 0; i < layout->row_count; i++) {
        rounds[i] = rows[i].round;
        if (i > 0 && (rows[i].order != rows[i - 1].order || strcmp(rows[i].print, rows[i - 1].print) != 0))
            layout->print_count++;
        rows[i].print_index = layout->print_count;
    }
    layout->print_count += layout->row_count > 0;
    qsort(rounds, layout->row_count, sizeof *rounds, by_text);
    for (size_t i = 0; i < layout->row_count; i++) {
        if (i == 0 || strcmp(rounds[i], rounds[layout->round_count - 1]) != 0)
            rounds[layout->round_count++] = rounds[i];
    }
    for (size_t i = 0; i < layout->row_count; i++) {
        const char **const found =
            bsearch(&rows[i].round, rounds, layout->round_count, sizeof *rounds, by_text);

        rows[i].round_index = (size_t)(found - rounds);
    }
    fleck_free(rounds);
    return FLECK_OK;
}

static fleck_status name_prints(const fleck_edition_layout *layout, fleck_edition *out, fleck_error *err)
{
    char number[FLECK_NUMBER_TEXT_BYTES];

    out->prints = fleck_alloc_zeroed(layout->print_count + 1, sizeof *out->prints);
    if (out->prints == NULL)
        return fleck_edition_no_memory(err);
    out->print_count = layout->print_count;
    for (size_t i = 0; i < layout->row_count; i++) {
        const fleck_edition_row *const row = &layout->rows[i];
        fleck_edition_print *const print = &out->prints[row->print_index];

        if (print->patches++ > 0)
            continue;
        print->order = row->order;
        print->name = fleck_copy_text(*row->print != '\0' ? row->print
                                                          : fleck_text_from_number(row->order, number));
        print->id = fleck_copy_text(row->id);
        if (print->name == NULL || print->id == NULL)
            return fleck_edition_no_memory(err);
    }
    return FLECK_OK;
}

/* Prints of one order that no column tells apart, where others have fewer patches: reprints perhaps. */
static fleck_status warn_ties(const fleck_edition *edition, const fleck_edition_options *options,
                              fleck_error *err, fleck_warnings *warnings)
{
    size_t fewest = SIZE_MAX, most = 0, at = 0;

    if (options->print != NULL || options->rescan != NULL)
        return FLECK_OK;
    for (size_t i = 0; i < edition->print_count; i++) {
        const size_t patches = edition->prints[i].patches;

        fewest = patches < fewest ? patches : fewest;
        if (patches > most) {
            most = patches;
            at = i;
        }
    }
    if (most == fewest)
        return FLECK_OK;
    return fleck_warnings_add(warnings, err, "order-ties",
                              "prints have from %zu to %zu patches, print %s the most: they are taken as "
                              "patches of one print; where some are reprints, name the prints with --print",
                              fewest, most, edition->prints[at].name);
}

/* The largest step of which all differences of order are multiples; 0 when they are not whole. */
static double spacing_of(const fleck_edition *edition)
{
    double step = 0;

    for (size_t i = 1; i < edition->print_count; i++) {
        double a = edition->prints[i].order - edition->prints[i - 1].order, b = step;

        if (a != floor(a) || edition->prints[i].order != floor(edition->prints[i].order) || a > 1e9)
            return 0;
        while (b > 0) {
            const double rest = fmod(a, b);

            a = b;
            b = rest;
        }
        step = a;
    }
    return step;
}

static fleck_status find_missing(fleck_edition *out, fleck_error *err)
{
    const double step = spacing_of(out);
    double count = 0;

    for (size_t i = 1; step > 0 && i < out->print_count; i++)
        count += fmax((out->prints[i].order - out->prints[i - 1].order) / step - 1, 0);
    if (count == 0)
        return FLECK_OK;
    out->missing = fleck_alloc_array(MOST_MISSING, sizeof *out->missing);
    if (out->missing == NULL)
        return fleck_edition_no_memory(err);
    for (size_t i = 1; i < out->print_count; i++) {
        for (double at = out->prints[i - 1].order + step;
             at < out->prints[i].order && out->missing_count < MOST_MISSING; at += step)
            out->missing[out->missing_count++] = at;
    }
    return fleck_warnings_add(&out->warnings, err, "prints-missing",
                              "%.0f %s between the first and the last print %s missing, the first of them "
                              "%g: neighbours on the chart stand farther apart there",
                              count, count == 1 ? "place" : "places", count == 1 ? "is" : "are",
                              out->missing[0]);
}

fleck_status fleck_edition_lay_out(const fleck_study *study, const fleck_edition_options *options,
                                   fleck_edition_layout *layout, fleck_edition *out, fleck_error *err)
{
    named_columns columns;
    fleck_status status;

    *layout = (fleck_edition_layout){ .study = study, .options = options };
    if ((status = find_columns(layout, &columns, err)) != FLECK_OK ||
        (status = take_rows(layout, &columns, &out->warnings, err)) != FLECK_OK)
        return status;
    if (options->reference_id != NULL && layout->reference_count == 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%.100s: no such patch for a reference; give the id of a patch or a run of "
                          "approved prints",
                          options->reference_id);
    if ((status = check_places(layout, err)) != FLECK_OK)
        return status;
    qsort(layout->rows, layout->row_count, sizeof *layout->rows, by_place);
    if ((status = number_rows(layout, err)) != FLECK_OK)
        return status;
    if (layout->print_count < 3)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "the edition has %zu %s with a value in the column %.60s; measure 3 or more",
                          layout->print_count, layout->print_count == 1 ? "print" : "prints",
                          options->order);
    if ((status = name_prints(layout, out, err)) != FLECK_OK ||
        (status = warn_ties(out, options, err, &out->warnings)) != FLECK_OK)
        return status;
    return find_missing(out, err);
}

void fleck_edition_layout_clear(fleck_edition_layout *layout)
{
    fleck_free(layout->rows);
    fleck_free(layout->reference_rows);
    *layout = (fleck_edition_layout){ 0 };
}

/* Mean of means: of the patches of a round, then of the rounds of a print. */
fleck_status fleck_edition_values(const fleck_edition_layout *layout, size_t column, double *values,
                                  fleck_error *err)
{
    size_t i = 0;

    for (size_t print = 0; print < layout->print_count; print++) {
        fleck_sum rounds = { 0, 0 };
        size_t round_count = 0;

        while (i < layout->row_count && layout->rows[i].print_index == print) {
            const size_t round = layout->rows[i].round_index;
            fleck_sum patches = { 0, 0 };
            size_t patch_count = 0;

            for (; i < layout->row_count && layout->rows[i].print_index == print &&
                   layout->rows[i].round_index == round;
                 i++) {
                double value;

                if (!fleck_study_number(layout->study, layout->rows[i].row, column, &value))
                    return fleck_fail(err, FLECK_BAD_CALL,
                                      "the column %.60s holds \"%.60s\" for the patch %.60s, which is no "
                                      "number; choose another measure",
                                      fleck_study_column_name(layout->study, column),
                                      fleck_study_text(layout->study, layout->rows[i].row, column),
                                      layout->rows[i].id);
                if (isnan(value))
                    continue;
                fleck_sum_add(&patches, value);
                patch_count++;
            }
            if (patch_count > 0) {
                fleck_sum_add(&rounds, fleck_sum_value(&patches) / (double)patch_count);
                round_count++;
            }
        }
        values[print] = round_count > 0 ? fleck_sum_value(&rounds) / (double)round_count : NAN;
    }
    return FLECK_OK;
}
