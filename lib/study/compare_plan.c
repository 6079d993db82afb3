/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What counts as one replicate: scans, prints, units and pairs, and how they are averaged. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "study/compare_parts.h"

static const size_t none = FLECK_STUDY_NONE;

size_t compare_plan_node(const compare_plan *plan, size_t row)
{
    return plan->node_of_unit[plan->unit_of_print[plan->print_of_row[row]]];
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the groups; free some memory");
}

static bool is_empty(const char *text)
{
    return text[strspn(text, " \t")] == '\0';
}

/* Refuse, or warn of, patches whose numbers are not comparable. */
static fleck_status check_settings(const compare_plan *plan, bool mixed, fleck_compare *result,
                                   fleck_error *err)
{
    const size_t rows = fleck_study_row_count(plan->study);
    size_t *const chosen = fleck_alloc_array(rows, sizeof *chosen);
    char *lines = NULL;
    size_t count = 0;
    fleck_status status;

    if (chosen == NULL)
        return no_memory(err);
    for (size_t row = 0; row < rows; row++)
        if (plan->group_of_row[row] != none)
            chosen[count++] = row;
    status = fleck_study_differences(plan->study, chosen, count, &lines, err);
    fleck_free(chosen);
    if (status != FLECK_OK || *lines == '\0') {
        fleck_free(lines);
        return status;
    }
    for (char *end = lines; (end = strchr(end, '\n')) != NULL;)
        *end = end[1] == '\0' ? '\0' : '|';
    if (mixed)
        status = fleck_warnings_add(&result->warnings, err, "settings-differ",
                                    "the patches were measured with different settings, so a "
                                    "difference may come from these: %s",
                                    lines);
    else
        status =
            fleck_fail(err, FLECK_BAD_CALL,
                       "the patches were measured with different settings: %.300s; measure them "
                       "alike, or give --mixed to compare them all the same",
                       lines);
    fleck_free(lines);
    return status;
}

/* What makes the groups cannot also tell their replicates apart. */
static fleck_status check_roles(const fleck_compare_options *options, fleck_error *err)
{
    const char *const others[] = { options->unit, options->paired, options->rescan,
                                   options->print };

    for (size_t i = 0; i < sizeof others / sizeof *others; i++)
        if (others[i] != NULL && strcmp(others[i], options->by) == 0)
            return fleck_fail(
                err, FLECK_BAD_CALL,
                "%.100s makes the groups and cannot tell replicates apart too; give another "
                "column",
                options->by);
    return FLECK_OK;
}

/* Take a column that is asked for, or say that it is not there. */
static fleck_status take_column(const fleck_study *study, const char *name, size_t *column,
                                char **kept, fleck_error *err)
{
    fleck_status status;

    *column = none;
    if (name == NULL)
        return FLECK_OK;
    status = fleck_study_need_column(study, name, "column", column, err);
    if (status != FLECK_OK)
        return status;
    *kept = fleck_copy_text(name);
    return *kept == NULL ? no_memory(err) : FLECK_OK;
}

/* Warn of a group whose patches all come from one batch: they say nothing of the next batch. */
static fleck_status check_batches(const compare_plan *plan, size_t column, bool averaged,
                                  fleck_compare *result, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t k = 0; status == FLECK_OK && k < plan->groups; k++) {
        const char *batch = NULL;
        bool one = true;
        size_t patches = 0;

        for (size_t row = 0; row < fleck_study_row_count(plan->study); row++) {
            const char *const text = fleck_study_text(plan->study, row, column);

            if (plan->group_of_row[row] != k)
                continue;
            one = one && !is_empty(text) && (batch == NULL || strcmp(batch, text) == 0);
            batch = text;
            patches++;
        }
        if (!one || patches < 2)
            continue;
        status = fleck_warnings_add(&result->warnings, err, "one-batch",
                                    averaged ? "all %zu patches of %s are of one %s (%s), which "
                                               "counts as one replicate: it cannot "
                                               "tell another mixture from another %s; make more of "
                                               "them, or give --unit patch to "
                                               "compare just these prints"
                                             : "all %zu patches of %s are of one %s (%s): a "
                                               "difference may be that of the %s and no "
                                               "more; make more of them",
                                    patches, result->groups[k].name,
                                    fleck_study_column_name(plan->study, column), batch,
                                    fleck_study_column_name(plan->study, column));
    }
    return status;
}

/* For each node of a finer level its place in a coarser one, both known by row. */
static size_t *parents(const size_t *fine_of_row, size_t fine_count, const size_t *coarse_of_row,
                       size_t rows)
{
    size_t *const parent = fleck_alloc_array(fine_count, sizeof *parent);

    for (size_t i = 0; parent != NULL && i < fine_count; i++)
        parent[i] = none;
    for (size_t row = 0; parent != NULL && row < rows; row++)
        if (fine_of_row[row] != none && parent[fine_of_row[row]] == none)
            parent[fine_of_row[row]] = coarse_of_row[row];
    return parent;
}

/* The columns of a comparison; none: not given. */
struct columns {
    size_t unit, paired, rescan, print;
};

/* Prints within units within nodes. The place of each row in the levels is in place[]. */
static fleck_status nest(compare_plan *plan, const struct columns *columns, fleck_error *err)
{
    const size_t rows = fleck_study_row_count(plan->study);
    fleck_study_units pairs = { 0 }, units = { 0 }, prints = { 0 }, rounds = { 0 };
    const bool paired = columns->paired != none;
    size_t *const place = fleck_alloc_array(rows, sizeof *place);
    fleck_status status = FLECK_OK;

    if (place == NULL)
        return no_memory(err);
    for (size_t row = 0; row < rows; row++)
        place[row] = plan->group_of_row[row] == none ? none : 0;
    if (paired)
        status = fleck_study_group_units(plan->study, columns->paired, place, &pairs, err);
    for (size_t row = 0; status == FLECK_OK && row < rows; row++)
        if (place[row] != none)
            place[row] =
                plan->group_of_row[row] + (!paired ? 0 : pairs.unit_of_row[row] * plan->groups);
    if (status == FLECK_OK)
        status = fleck_study_group_units(plan->study, columns->unit, place, &units, err);
    if (status == FLECK_OK)
        status =
            fleck_study_group_units(plan->study, columns->print, units.unit_of_row, &prints, err);
    if (status == FLECK_OK && columns->rescan != none)
        status =
            fleck_study_group_units(plan->study, columns->rescan, prints.unit_of_row, &rounds, err);
    if (status != FLECK_OK)
        goto done;
    plan->pairs = pairs.count;
    plan->print_count = prints.count;
    plan->unit_count = units.count;
    plan->node_count = !paired ? units.count : pairs.count * plan->groups;
    plan->unit_of_print = parents(prints.unit_of_row, prints.count, units.unit_of_row, rows);
    plan->node_of_unit =
        parents(units.unit_of_row, units.count, !paired ? units.unit_of_row : place, rows);
    plan->group_of_node = !paired
                              ? parents(units.unit_of_row, units.count, plan->group_of_row, rows)
                              : fleck_alloc_array(plan->node_count, sizeof *plan->group_of_node);
    if (plan->unit_of_print == NULL || plan->node_of_unit == NULL || plan->group_of_node == NULL) {
        status = no_memory(err);
        goto done;
    }
    for (size_t i = 0; paired && i < plan->node_count; i++)
        plan->group_of_node[i] = i % plan->groups;
    plan->print_of_row = prints.unit_of_row; /* the plan owns it from here */
    prints.unit_of_row = NULL;
    plan->round_count = rounds.count;
    plan->round_of_row = rounds.unit_of_row;
    rounds.unit_of_row = NULL;
done:
    fleck_free(place);
    fleck_study_units_clear(&pairs);
    fleck_study_units_clear(&units);
    fleck_study_units_clear(&prints);
    fleck_study_units_clear(&rounds);
    return status;
}

struct named_row {
    const char *id;
    size_t run, row;
};

static int by_name(const void *a, const void *b)
{
    const struct named_row *const x = a, *const y = b;
    const int text = strcmp(x->id, y->id);

    if (x->run != y->run)
        return x->run < y->run ? -1 : 1;
    return text != 0 ? text : (x->row > y->row) - (x->row < y->row);
}

/* An order of rows and nodes that does not depend on how the table was sorted. */
static fleck_status order_by_name(compare_plan *plan, fleck_error *err)
{
    const size_t rows = fleck_study_row_count(plan->study);
    struct named_row *const names = fleck_alloc_array(rows, sizeof *names);
    bool *const seen = fleck_alloc_zeroed(plan->node_count, sizeof *seen);
    size_t count = 0;

    plan->rows_in_order = fleck_alloc_array(rows, sizeof *plan->rows_in_order);
    plan->nodes_in_order = fleck_alloc_array(plan->node_count, sizeof *plan->nodes_in_order);
    if (names == NULL || seen == NULL || plan->rows_in_order == NULL ||
        plan->nodes_in_order == NULL) {
        fleck_free(names);
        fleck_free(seen);
        return no_memory(err);
    }
    for (size_t row = 0; row < rows; row++)
        if (plan->print_of_row[row] != none)
            names[count++] = (struct named_row){ fleck_study_id(plan->study, row),
                                                 fleck_study_run_of(plan->study, row), row };
    qsort(names, count, sizeof *names, by_name);
    for (size_t i = 0; i < count; i++) {
        const size_t node = compare_plan_node(plan, names[i].row);

        plan->rows_in_order[plan->row_count++] = names[i].row;
        if (!seen[node])
            plan->nodes_in_order[plan->nodes_used++] = node;
        seen[node] = true;
    }
    fleck_free(names);
    fleck_free(seen);
    return FLECK_OK;
}

/* Patches and replicates of each group. */
static void count_groups(const compare_plan *plan, fleck_compare *result)
{
    for (size_t i = 0; i < plan->row_count; i++)
        result->groups[plan->group_of_row[plan->rows_in_order[i]]].patches++;
    for (size_t i = 0; i < plan->nodes_used; i++)
        result->groups[plan->group_of_node[plan->nodes_in_order[i]]].units++;
}

fleck_status compare_plan_make(const fleck_study *study, const fleck_compare_options *options,
                               compare_plan *plan, fleck_compare *result, fleck_error *err)
{
    const char *unit = options->unit;
    const char *print = options->print;
    struct columns columns = { none, none, none, none };
    size_t batch;
    fleck_status status;

    *plan = (compare_plan){ .study = study };
    status = compare_groups_make(options, plan, result, err);
    if (status != FLECK_OK)
        return status;
    status = check_settings(plan, options->mixed, result, err);
    batch = fleck_study_find_column(study, "batch");
    if (batch != none && options->by != NULL && strcmp(options->by, "batch") == 0)
        batch = none; /* it makes the groups, so it is no replicate of them */
    if (status == FLECK_OK && options->by != NULL)
        status = check_roles(options, err);
    if (unit != NULL && strcmp(unit, "patch") == 0)
        unit = NULL;
    else if (unit == NULL && options->paired == NULL && batch != none)
        unit = "batch";
    if (status == FLECK_OK && options->by != NULL)
        status = (result->by = fleck_copy_text(options->by)) == NULL ? no_memory(err) : FLECK_OK;
    if (status == FLECK_OK)
        status = take_column(study, unit, &columns.unit, &result->unit, err);
    if (status == FLECK_OK)
        status = take_column(study, options->paired, &columns.paired, &result->paired, err);
    if (status == FLECK_OK)
        status = take_column(study, options->rescan, &columns.rescan, &result->rescan, err);
    if (status == FLECK_OK && options->rescan != NULL && print == NULL) {
        print = "print";
        if (fleck_study_find_column(study, print) == none)
            status =
                fleck_fail(err, FLECK_BAD_CALL,
                           "%.100s tells scans of one print apart, but nothing names the prints; "
                           "give --print COLUMN too",
                           options->rescan);
    }
    if (status == FLECK_OK && options->rescan == NULL && print != NULL)
        status = fleck_fail(
            err, FLECK_BAD_CALL,
            "--print names the prints that were scanned again; give --rescan COLUMN too");
    if (status == FLECK_OK)
        status = take_column(study, print, &columns.print, &result->print, err);
    if (status == FLECK_OK && (columns.unit != none || batch != none))
        status = check_batches(plan, columns.unit != none ? columns.unit : batch,
                               columns.unit != none, result, err);
    if (columns.unit == none)
        columns.unit = columns.print; /* a print is the least that can be a replicate */
    if (status == FLECK_OK)
        status = nest(plan, &columns, err);
    if (status == FLECK_OK)
        status = order_by_name(plan, err);
    if (status == FLECK_OK)
        count_groups(plan, result);
    return status;
}

void compare_plan_clear(compare_plan *plan)
{
    fleck_free(plan->group_of_row);
    fleck_free(plan->print_of_row);
    fleck_free(plan->round_of_row);
    fleck_free(plan->unit_of_print);
    fleck_free(plan->node_of_unit);
    fleck_free(plan->group_of_node);
    fleck_free(plan->rows_in_order);
    fleck_free(plan->nodes_in_order);
    *plan = (compare_plan){ 0 };
}

fleck_status compare_plan_weights(const compare_plan *plan, const bool *present, double *weight,
                                  fleck_error *err)
{
    const size_t rows = fleck_study_row_count(plan->study);
    double *const in_print = fleck_alloc_zeroed(plan->print_count, sizeof *in_print);
    double *const in_unit = fleck_alloc_zeroed(plan->unit_count, sizeof *in_unit);
    double *const in_node = fleck_alloc_zeroed(plan->node_count, sizeof *in_node);
    fleck_status status = FLECK_OK;

    if (in_print == NULL || in_unit == NULL || in_node == NULL) {
        status = no_memory(err);
        goto done;
    }
    for (size_t row = 0; row < rows; row++)
        if (present[row] && plan->print_of_row[row] != none)
            in_print[plan->print_of_row[row]]++;
    for (size_t i = 0; i < plan->print_count; i++)
        in_unit[plan->unit_of_print[i]] += in_print[i] > 0;
    for (size_t i = 0; i < plan->unit_count; i++)
        in_node[plan->node_of_unit[i]] += in_unit[i] > 0;
    for (size_t row = 0; row < rows; row++) {
        const size_t print = plan->print_of_row[row];

        weight[row] = 0;
        if (present[row] && print != none)
            weight[row] = 1 / (in_print[print] * in_unit[plan->unit_of_print[print]] *
                               in_node[plan->node_of_unit[plan->unit_of_print[print]]]);
    }
done:
    fleck_free(in_print);
    fleck_free(in_unit);
    fleck_free(in_node);
    return status;
}

fleck_status compare_plan_average(const compare_plan *plan, const double *values, double *weight,
                                  double *means, fleck_error *err)
{
    const size_t rows = fleck_study_row_count(plan->study);
    bool *const present = fleck_alloc_array(rows, sizeof *present);
    fleck_status status;

    if (present == NULL)
        return no_memory(err);
    for (size_t row = 0; row < rows; row++)
        present[row] = !isnan(values[row]);
    status = compare_plan_weights(plan, present, weight, err);
    fleck_free(present);
    if (status != FLECK_OK)
        return status;
    for (size_t i = 0; i < plan->node_count; i++)
        means[i] = NAN;
    for (size_t i = 0; i < plan->row_count; i++) {
        const size_t row = plan->rows_in_order[i];
        double *const mean = &means[compare_plan_node(plan, row)];

        if (weight[row] > 0)
            *mean = (isnan(*mean) ? 0 : *mean) + weight[row] * values[row];
    }
    return FLECK_OK;
}
