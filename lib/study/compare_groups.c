/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The groups of a comparison, by the cells of a column or by runs. */
#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "study/compare_parts.h"

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the groups; free some memory");
}

static bool is_empty(const char *text)
{
    return text[strspn(text, " \t")] == '\0';
}

/* A cell of the column that makes the groups. */
struct cell {
    const char *text;
    double number; /* NAN: a text */
};

static struct cell cell_of(const fleck_study *study, size_t row, size_t column)
{
    struct cell cell = { fleck_study_text(study, row, column), NAN };

    if (!fleck_study_number(study, row, column, &cell.number))
        cell.number = NAN;
    return cell;
}

/* Numbers first and by their size, then texts; 2.5 and 2.50 are one group. */
static int by_cell(const void *a, const void *b)
{
    const struct cell *const x = a, *const y = b;

    if (isnan(x->number) != isnan(y->number))
        return isnan(x->number) ? 1 : -1;
    if (isnan(x->number))
        return strcmp(x->text, y->text);
    return (x->number > y->number) - (x->number < y->number);
}

/* All different cells, sorted; the text of a number is that of its first row. */
static fleck_status list_cells(const fleck_study *study, size_t column, struct cell **cells,
                               size_t *count, fleck_error *err)
{
    const size_t rows = fleck_study_row_count(study);
    struct cell *const all = fleck_alloc_array(rows, sizeof *all);

    *cells = all;
    *count = 0;
    if (all == NULL)
        return no_memory(err);
    for (size_t row = 0; row < rows; row++) {
        const struct cell cell = cell_of(study, row, column);
        size_t at = 0, end = *count;

        if (is_empty(cell.text))
            continue;
        while (at < end) { /* where it stands, or belongs */
            const size_t middle = at + (end - at) / 2;

            if (by_cell(&all[middle], &cell) < 0)
                at = middle + 1;
            else
                end = middle;
        }
        if (at < *count && by_cell(&all[at], &cell) == 0)
            continue;
        memmove(all + at + 1, all + at, (*count - at) * sizeof *all);
        all[at] = cell;
        ++*count;
    }
    return FLECK_OK;
}

/* "2.5, 3.5, 5": what there is, for a message. */
static void list_names(const struct cell *cells, size_t count, char *list, size_t size)
{
    size_t used = 0;

    list[0] = '\0';
    for (size_t i = 0; i < count; i++) {
        const size_t length = strlen(cells[i].text);

        if (used + length + 8 > size) {
            memcpy(list + used, " ...", 5);
            return;
        }
        if (i > 0) {
            memcpy(list + used, ", ", 2);
            used += 2;
        }
        memcpy(list + used, cells[i].text, length + 1);
        used += length;
    }
}

/* Keep the groups asked for, in their order. */
static fleck_status choose_cells(const fleck_compare_options *options, const char *by,
                                 struct cell **cells, size_t *count, fleck_error *err)
{
    struct cell *const chosen = fleck_alloc_array(options->group_count, sizeof *chosen);
    char list[256];
    size_t kept = 0;

    if (chosen == NULL)
        return no_memory(err);
    for (size_t k = 0; k < options->group_count; k++) {
        struct cell wanted = { options->groups[k], NAN };
        size_t at = 0;

        if (!fleck_text_to_number(wanted.text, &wanted.number))
            wanted.number = NAN;
        while (at < *count && by_cell(&(*cells)[at], &wanted) != 0 &&
               strcmp((*cells)[at].text, wanted.text) != 0)
            at++;
        if (at == *count) {
            list_names(*cells, *count, list, sizeof list);
            fleck_free(chosen);
            return fleck_fail(err, FLECK_BAD_CALL, "%.100s: no such group in %.100s; there are %s",
                              wanted.text, by, list);
        }
        for (size_t i = 0; i < kept; i++) {
            if (by_cell(&chosen[i], &(*cells)[at]) == 0) {
                fleck_free(chosen);
                return fleck_fail(err, FLECK_BAD_CALL,
                                  "%.100s: is named twice; name each group once", wanted.text);
            }
        }
        chosen[kept++] = (*cells)[at];
    }
    fleck_free(*cells);
    *cells = chosen;
    *count = kept;
    return FLECK_OK;
}

static fleck_status name_groups(const struct cell *cells, size_t count, fleck_compare *result,
                                fleck_error *err)
{
    result->groups = fleck_alloc_zeroed(count, sizeof *result->groups);
    if (result->groups == NULL)
        return no_memory(err);
    result->group_count = count;
    for (size_t i = 0; i < count; i++) {
        result->groups[i].name = fleck_copy_text(cells[i].text);
        if (result->groups[i].name == NULL)
            return no_memory(err);
    }
    return FLECK_OK;
}

static fleck_status group_by_column(const fleck_compare_options *options, compare_plan *plan,
                                    fleck_compare *result, fleck_error *err)
{
    const fleck_study *const study = plan->study;
    const size_t rows = fleck_study_row_count(study);
    struct cell *cells = NULL;
    size_t column, count = 0, empty = 0;
    fleck_status status = fleck_study_need_column(study, options->by, "column", &column, err);

    if (status == FLECK_OK)
        status = list_cells(study, column, &cells, &count, err);
    if (status == FLECK_OK && options->group_count > 0)
        status = choose_cells(options, options->by, &cells, &count, err);
    if (status == FLECK_OK && count < 2)
        status = fleck_fail(err, FLECK_BAD_CALL,
                            count == 0
                                ? "%.100s: is empty in all patches%s; give a column with the groups"
                                : "%.100s: has only the group %.100s; a comparison needs two",
                            options->by, count == 0 ? "" : cells[0].text);
    if (status == FLECK_OK && count > FLECK_COMPARE_GROUPS)
        status = fleck_fail(
            err, FLECK_BAD_CALL,
            "%.100s: has %zu groups, which makes too many pairs; choose some with --groups",
            options->by, count);
    if (status == FLECK_OK)
        status = name_groups(cells, count, result, err);
    for (size_t row = 0; status == FLECK_OK && row < rows; row++) {
        const struct cell cell = cell_of(study, row, column);

        empty += is_empty(cell.text);
        for (size_t k = 0; k < count && !is_empty(cell.text); k++)
            if (by_cell(&cells[k], &cell) == 0)
                plan->group_of_row[row] = k;
    }
    if (status == FLECK_OK && empty > 0)
        status = fleck_warnings_add(&result->warnings, err, "no-group",
                                    "%zu of %zu patches have no %s and are left out", empty, rows,
                                    options->by);
    fleck_free(cells);
    return status;
}

/* The last part of a path, unless two runs would be called the same. */
static const char *run_name(const fleck_study *study, size_t run)
{
    const char *const path = fleck_study_run_path(study, run);
    const char *last = strrchr(path, '/');

    if (last == NULL || last[1] == '\0')
        return path;
    last++;
    for (size_t other = 0; other < fleck_study_run_count(study); other++) {
        const char *const there = fleck_study_run_path(study, other);
        const char *const slash = strrchr(there, '/');

        if (other != run && strcmp(slash == NULL ? there : slash + 1, last) == 0)
            return path;
    }
    return last;
}

static fleck_status group_by_run(const fleck_compare_options *options, compare_plan *plan,
                                 fleck_compare *result, fleck_error *err)
{
    const size_t count = fleck_study_run_count(plan->study);
    struct cell cells[FLECK_COMPARE_GROUPS];

    if (options->group_count > 0)
        return fleck_fail(err, FLECK_BAD_CALL, "--groups names cells of a column; give --by too");
    if (count < 2)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "one run alone is one group; give --by COLUMN or a second run");
    if (count > FLECK_COMPARE_GROUPS)
        return fleck_fail(err, FLECK_BAD_CALL, "%zu runs make too many pairs; give at most %d",
                          count, FLECK_COMPARE_GROUPS);
    for (size_t run = 0; run < count; run++)
        cells[run] = (struct cell){ run_name(plan->study, run), NAN };
    for (size_t row = 0; row < fleck_study_row_count(plan->study); row++)
        plan->group_of_row[row] = fleck_study_run_of(plan->study, row);
    return name_groups(cells, count, result, err);
}

fleck_status compare_groups_make(const fleck_compare_options *options, compare_plan *plan,
                                 fleck_compare *result, fleck_error *err)
{
    const size_t rows = fleck_study_row_count(plan->study);
    fleck_status status;

    plan->group_of_row = fleck_alloc_array(rows, sizeof *plan->group_of_row);
    if (plan->group_of_row == NULL)
        return no_memory(err);
    for (size_t row = 0; row < rows; row++)
        plan->group_of_row[row] = FLECK_STUDY_NONE;
    status = options->by != NULL ? group_by_column(options, plan, result, err)
                                 : group_by_run(options, plan, result, err);
    plan->groups = result->group_count;
    return status;
}
