/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Telling equal ids apart. Those of one group are sorted by where their scans lie, folder names
 * read from the innermost outward: then the longest way that two share is shared by two neighbours,
 * and one more name tells all apart. Where folders cannot (two scans in one folder), the scan's
 * name stands before a patch's word, or the file's ending behind its name. All by sorting, O(n log
 * n).
 */
#include "record/input_parts.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/utf8.h"

/* What stands between the folders and the id. */
enum level {
    NOTHING,
    STEM,      /* "sheet1/P1"; an id that is a stem already stays */
    FILE_NAME, /* "sheet1.png/P1", "a.png" */
    LEVELS
};

struct naming {
    fleck_entry *entry;
    size_t index;                /* so that nothing ties */
    size_t begin, end, stem_end; /* of the scan's name in its path */
    enum level level;
};

/*
 * The folder's name that ends before *place, which moves to its beginning. "." and doubled slashes
 * are no folders; the root of an absolute path is one with an empty name. False at the outermost.
 */
static bool next_outward(const char *path, size_t *place, const char **name, size_t *length)
{
    size_t to = *place;

    while (to != SIZE_MAX && to > 0) {
        size_t from;

        while (to > 0 && path[to - 1] == '/')
            to--;
        from = to;
        while (from > 0 && path[from - 1] != '/')
            from--;
        if (to > from && !(to - from == 1 && path[from] == '.')) {
            *name = path + from;
            *length = to - from;
            *place = from;
            return true;
        }
        to = from;
    }
    *name = path;
    *length = 0;
    *place = SIZE_MAX;
    return to == 0 && path[0] == '/';
}

static int compare_bytes(const char *a, size_t a_length, const char *b, size_t b_length)
{
    const int order = memcmp(a, b, a_length < b_length ? a_length : b_length);

    return order != 0 ? order : (a_length > b_length) - (a_length < b_length);
}

/* Order of the folders from the innermost outward; *common is how many are the same. */
static int compare_folders(const struct naming *a, const struct naming *b, size_t *common)
{
    size_t place_a = a->begin, place_b = b->begin;

    for (*common = 0;; ++*common) {
        const char *name_a, *name_b;
        size_t length_a, length_b;
        const bool more_a = next_outward(a->entry->input.path, &place_a, &name_a, &length_a);
        const bool more_b = next_outward(b->entry->input.path, &place_b, &name_b, &length_b);
        int order;

        if (!more_a || !more_b)
            return more_a - more_b;
        order = compare_bytes(name_a, length_a, name_b, length_b);
        if (order != 0)
            return order;
    }
}

static int compare_names(const struct naming *a, const struct naming *b, enum level level)
{
    const char *path_a = a->entry->input.path, *path_b = b->entry->input.path;

    if (level == NOTHING)
        return 0;
    return compare_bytes(path_a + a->begin, (level == STEM ? a->stem_end : a->end) - a->begin,
                         path_b + b->begin, (level == STEM ? b->stem_end : b->end) - b->begin);
}

static int compare_places(const void *left, const void *right)
{
    const struct naming *a = left, *b = right;
    size_t common;
    int order = compare_names(a, b, a->level);

    if (order == 0)
        order = compare_folders(a, b, &common);
    if (order == 0)
        order = compare_names(a, b, FILE_NAME);
    return order != 0 ? order : (a->index > b->index) - (a->index < b->index);
}

static int compare_ids(const void *left, const void *right)
{
    const struct naming *a = left, *b = right;
    const int order = strcmp(a->entry->input.id, b->entry->input.id);

    return order != 0 ? order : (a->index > b->index) - (a->index < b->index);
}

/*
 * Sort a group by place; *folders is the number of folder names that tells all scans apart.
 * False when no number does at this level.
 */
static bool tell_apart(struct naming *group, size_t count, enum level level, size_t *folders)
{
    for (size_t i = 0; i < count; i++)
        group[i].level = level;
    qsort(group, count, sizeof *group, compare_places);
    *folders = 0;
    for (size_t i = 1; i < count; i++) {
        size_t common;

        if (compare_names(&group[i - 1], &group[i], level) != 0)
            continue;
        if (compare_folders(&group[i - 1], &group[i], &common) != 0)
            *folders = common + 1 > *folders ? common + 1 : *folders;
        else if (compare_names(&group[i - 1], &group[i], FILE_NAME) != 0)
            return false;
    }
    return true;
}

/* Of the part of the scan's name that stands before the id, or takes its place. */
static size_t length_of_name(const struct naming *naming)
{
    if (naming->level == FILE_NAME)
        return naming->end - naming->begin;
    if (naming->level == STEM && naming->entry->named)
        return naming->stem_end - naming->begin;
    return 0;
}

/* The id with what stands before it, NULL when there is no memory. */
static char *make_id(const struct naming *naming, size_t folders)
{
    const fleck_input *input = &naming->entry->input;
    const char *name = input->path + naming->begin, *folder;
    const bool named = naming->entry->named;
    const size_t name_length = length_of_name(naming);
    /* a scan's own name takes the place of its id, which is that name's stem */
    const size_t id_length = named || name_length == 0 ? strlen(input->id) : 0;
    const size_t slash = name_length > 0 && id_length > 0;
    size_t bytes = name_length + slash + id_length + 1, place = naming->begin, length;
    char *id, *at;

    for (size_t i = 0; i < folders && next_outward(input->path, &place, &folder, &length); i++)
        bytes += length + 1;
    id = fleck_alloc_array(bytes, 1);
    if (id == NULL)
        return NULL;
    at = id + bytes - 1;
    *at = '\0';
    at -= id_length;
    memcpy(at, input->id, id_length);
    if (slash)
        *--at = '/';
    at -= name_length;
    memcpy(at, name, name_length);
    place = naming->begin;
    for (size_t i = 0; i < folders && next_outward(input->path, &place, &folder, &length); i++) {
        *--at = '/';
        at -= length;
        memcpy(at, folder, length);
    }
    return id;
}

static fleck_status rename_group(struct naming *group, size_t count, fleck_error *err)
{
    size_t folders = 0;
    int level = NOTHING;

    while (!tell_apart(group, count, (enum level)level, &folders) && level + 1 < LEVELS)
        level++;
    for (size_t i = 0; i < count; i++) {
        char *id = make_id(&group[i], folders);

        if (id == NULL)
            return fleck_inputs_no_memory(err);
        fleck_free(group[i].entry->input.id);
        group[i].entry->input.id = id;
    }
    return FLECK_OK;
}

enum { PLACE_TEXT_BYTES = FLECK_SHORT_TEXT_BYTES + 32 };

/* What the message of a patch that stands twice says of one of the two. */
static const char *place_of(const fleck_entry *entry, char text[PLACE_TEXT_BYTES])
{
    char buffer[FLECK_SHORT_TEXT_BYTES];

    if (entry->manifest == NULL)
        return "the scan named by itself";
    snprintf(text, PLACE_TEXT_BYTES, "line %zu of %s", entry->line,
             fleck_short_text(entry->manifest, buffer));
    return text;
}

static fleck_status fail_twice(fleck_entry *entry, const fleck_entry *first,
                               const fleck_entry *second, fleck_error *err)
{
    char id[FLECK_SHORT_TEXT_BYTES];
    fleck_error fault;

    if (entry->input.failure != NULL)
        return FLECK_OK;
    if (first->manifest != NULL && first->manifest == second->manifest) {
        (void)fleck_fail(&fault, FLECK_BAD_INPUT,
                         "id \"%s\" stands twice (lines %zu and %zu); give each row its own patch",
                         fleck_short_text(first->input.id, id), first->line, second->line);
    } else {
        char one[PLACE_TEXT_BYTES], other[PLACE_TEXT_BYTES];

        (void)fleck_fail(&fault, FLECK_BAD_INPUT,
                         "id \"%s\" stands twice (%s and %s); give each row its own patch",
                         fleck_short_text(first->input.id, id), place_of(first, one),
                         place_of(second, other));
    }
    entry->input.failure = fleck_copy_text(fault.message);
    return entry->input.failure != NULL ? FLECK_OK : fleck_inputs_no_memory(err);
}

static fleck_status fail_equal_ids(struct naming *names, size_t count, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    qsort(names, count, sizeof *names, compare_ids);
    for (size_t first = 0, i = 1; i < count && status == FLECK_OK; i++) {
        if (strcmp(names[first].entry->input.id, names[i].entry->input.id) != 0) {
            first = i;
            continue;
        }
        if (i == first + 1)
            status = fail_twice(names[first].entry, names[first].entry, names[i].entry, err);
        if (status == FLECK_OK)
            status = fail_twice(names[i].entry, names[first].entry, names[i].entry, err);
    }
    return status;
}

/* Records and tables are UTF-8 and could not hold such a name. */
static fleck_status fail_other_bytes(fleck_entry *entry, fleck_error *err)
{
    fleck_input *input = &entry->input;
    size_t length = strlen(input->path), at = 0;

    if (fleck_utf8_valid(input->path, length) == length)
        return FLECK_OK;
    length = strlen(input->id);
    while ((at += fleck_utf8_valid(input->id + at, length - at)) < length)
        input->id[at] = '?';
    if (input->failure == NULL)
        input->failure =
            fleck_copy_text("has a path that is not UTF-8; rename the file or its folder");
    return input->failure != NULL ? FLECK_OK : fleck_inputs_no_memory(err);
}

fleck_status fleck_input_ids(fleck_entries *entries, fleck_error *err)
{
    const size_t count = entries->count;
    struct naming *names = fleck_alloc_zeroed(count, sizeof *names);
    fleck_status status = FLECK_OK;

    if (names == NULL)
        return fleck_inputs_no_memory(err);
    for (size_t i = 0; i < count; i++) {
        names[i].entry = &entries->items[i];
        names[i].index = i;
        fleck_path_name(entries->items[i].input.path, &names[i].begin, &names[i].end,
                        &names[i].stem_end);
    }
    qsort(names, count, sizeof *names, compare_ids);
    for (size_t first = 0, end; first < count && status == FLECK_OK; first = end) {
        /* the ids before `end` are changed below, so it is found first */
        for (end = first + 1; end < count; end++) {
            if (strcmp(names[first].entry->input.id, names[end].entry->input.id) != 0)
                break;
        }
        if (end - first > 1)
            status = rename_group(names + first, end - first, err);
    }
    if (status == FLECK_OK)
        status = fail_equal_ids(names, count, err);
    for (size_t i = 0; i < count && status == FLECK_OK; i++)
        status = fail_other_bytes(&entries->items[i], err);
    fleck_free(names);
    return status;
}
