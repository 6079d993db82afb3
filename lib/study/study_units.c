/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows of one batch, print or session as one replicate. By sorting, O(n log n). */
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "study/study_table.h"

struct entry {
    const char *text; /* "" for a row that is a unit of its own */
    size_t group;
    size_t row;
    size_t first_row; /* of its unit */
};

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the units; free some memory");
}

static int by_number(size_t a, size_t b)
{
    return (a > b) - (a < b);
}

static int by_unit(const void *a, const void *b)
{
    const struct entry *const left = a;
    const struct entry *const right = b;
    const int text = strcmp(left->text, right->text);

    if (text != 0)
        return text;
    if (left->group != right->group)
        return by_number(left->group, right->group);
    return by_number(left->row, right->row);
}

static int by_row(const void *a, const void *b)
{
    return by_number(((const struct entry *)a)->row, ((const struct entry *)b)->row);
}

static bool is_empty(const char *text)
{
    return text[strspn(text, " \t")] == '\0';
}

static char *unit_name(const fleck_study *study, const struct entry *entry, bool in_many_groups)
{
    fleck_text text = { 0 };

    if (is_empty(entry->text))
        return fleck_copy_text(fleck_study_id(study, entry->row));
    if (!in_many_groups)
        return fleck_copy_text(entry->text);
    fleck_text_add_format(&text, "%s (group %zu)", entry->text, entry->group + 1);
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}

/* Sorted by text, group and row: find the first row of each unit, and texts of several groups. */
static void find_units(struct entry *entries, size_t count, bool *in_many_groups)
{
    for (size_t i = 0; i < count; i++) {
        struct entry *const entry = &entries[i];
        const struct entry *const before = i > 0 ? &entries[i - 1] : NULL;

        entry->first_row = entry->row;
        if (before == NULL || is_empty(entry->text) || strcmp(before->text, entry->text) != 0)
            continue;
        if (before->group == entry->group)
            entry->first_row = before->first_row;
        else
            in_many_groups[entry->row] = true;
    }
    /* a text's later entries know of its groups; tell all that share the text */
    for (size_t from = 0; from < count;) {
        size_t to = from;
        bool many = false;

        while (to < count && strcmp(entries[to].text, entries[from].text) == 0)
            many = in_many_groups[entries[to++].row] || many;
        for (size_t i = from; i < to; i++)
            in_many_groups[entries[i].row] = many;
        from = to;
    }
}

fleck_status fleck_study_group_units(const fleck_study *study, size_t column,
                                     const size_t *group_of_row, fleck_study_units *units,
                                     fleck_error *err)
{
    const size_t rows = study->row_count;
    struct entry *entries = fleck_alloc_array(rows, sizeof *entries);
    bool *in_many_groups = fleck_alloc_zeroed(rows, sizeof *in_many_groups);
    size_t count = 0;
    fleck_status status = FLECK_OK;

    *units = (fleck_study_units){ 0 };
    units->unit_of_row = fleck_alloc_array(rows, sizeof *units->unit_of_row);
    units->name = fleck_alloc_zeroed(rows, sizeof *units->name);
    if (entries == NULL || in_many_groups == NULL || units->unit_of_row == NULL ||
        units->name == NULL) {
        status = no_memory(err);
        goto done;
    }
    for (size_t row = 0; row < rows; row++) {
        units->unit_of_row[row] = FLECK_STUDY_NONE;
        if (group_of_row != NULL && group_of_row[row] == FLECK_STUDY_NONE)
            continue;
        entries[count++] = (struct entry){
            .text = column != FLECK_STUDY_NONE ? fleck_study_text(study, row, column) : "",
            .group = group_of_row != NULL ? group_of_row[row] : 0,
            .row = row,
        };
    }
    qsort(entries, count, sizeof *entries, by_unit);
    find_units(entries, count, in_many_groups);
    qsort(entries, count, sizeof *entries, by_row);
    for (size_t i = 0; i < count; i++) {
        const struct entry *const entry = &entries[i];

        if (entry->first_row != entry->row) {
            units->unit_of_row[entry->row] = units->unit_of_row[entry->first_row];
            continue;
        }
        units->name[units->count] = unit_name(study, entry, in_many_groups[entry->row]);
        if (units->name[units->count] == NULL) {
            status = no_memory(err);
            goto done;
        }
        units->unit_of_row[entry->row] = units->count++;
    }
done:
    fleck_free(entries);
    fleck_free(in_many_groups);
    if (status != FLECK_OK)
        fleck_study_units_clear(units);
    return status;
}

void fleck_study_units_clear(fleck_study_units *units)
{
    if (units == NULL)
        return;
    for (size_t i = 0; i < units->count; i++)
        fleck_free(units->name[i]);
    fleck_free(units->name);
    fleck_free(units->unit_of_row);
    *units = (fleck_study_units){ 0 };
}
