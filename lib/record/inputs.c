/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Names become files, files are brought into the order of their paths, and only then rows and ids
 * are made: so nothing in the list can depend on the order in which the names were given.
 */
#include "fleck/inputs.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

#include "core/memory.h"
#include "record/input_parts.h"

static bool is_manifest_name(const char *path)
{
    const size_t length = strlen(path);

    return length >= 4 && strcasecmp(path + length - 4, ".csv") == 0;
}

static fleck_status add_file(const char *path, fleck_sources *sources, fleck_inputs *out,
                             fleck_error *err)
{
    struct stat about;
    size_t begin, end, stem_end;
    char *folder;
    bool found;

    fleck_path_name(path, &begin, &end, &stem_end);
    folder = begin > 0 ? fleck_copy_bytes(path, begin) : fleck_copy_text(".");
    if (folder == NULL)
        return fleck_inputs_no_memory(err);
    found = stat(folder, &about) == 0;
    fleck_free(folder);
    if (!found)
        return fleck_inputs_fail(out, path, "cannot be opened; check the name and permissions",
                                 err);
    return fleck_sources_add(sources, fleck_copy_text(path), about.st_dev, about.st_ino,
                             is_manifest_name(path), err);
}

static fleck_status add_folder(const char *name, fleck_sources *sources, fleck_inputs *out,
                               fleck_error *err)
{
    size_t length = strlen(name);
    char *path;
    fleck_status status;

    while (length > 1 && name[length - 1] == '/')
        length--;
    path = fleck_copy_bytes(name, length);
    if (path == NULL)
        return fleck_inputs_no_memory(err);
    status = fleck_input_folder(path, sources, out, err);
    fleck_free(path);
    return status;
}

static fleck_status add_name(const char *name, fleck_sources *sources, fleck_inputs *out,
                             fleck_error *err)
{
    struct stat about;

    if (stat(name, &about) == 0)
        return S_ISDIR(about.st_mode) ? add_folder(name, sources, out, err)
                                      : add_file(name, sources, out, err);
    if (errno == ENOENT || errno == ENOTDIR)
        return fleck_inputs_fail(out, name,
                                 "does not exist; check the name, and put one with spaces between "
                                 "quotes",
                                 err);
    return fleck_inputs_fail(out, name, "cannot be opened; check the name and permissions", err);
}

static int compare_paths(const void *left, const void *right)
{
    const fleck_source *a = left, *b = right;

    return strcmp(a->path, b->path);
}

/* 0 for two spellings of one file. */
static int compare_files(const fleck_source *a, const fleck_source *b)
{
    size_t begin_a, begin_b, end, stem_end;

    if (a->device != b->device)
        return a->device < b->device ? -1 : 1;
    if (a->folder != b->folder)
        return a->folder < b->folder ? -1 : 1;
    fleck_path_name(a->path, &begin_a, &end, &stem_end);
    fleck_path_name(b->path, &begin_b, &end, &stem_end);
    return strcmp(a->path + begin_a, b->path + begin_b);
}

static int compare_files_then_paths(const void *left, const void *right)
{
    const int order = compare_files(left, right);

    return order != 0 ? order : compare_paths(left, right);
}

/* Each file once, under the first of its paths, in byte order of the paths. */
static void sort_sources(fleck_sources *sources)
{
    size_t kept = 0;

    if (sources->count == 0)
        return;
    qsort(sources->items, sources->count, sizeof *sources->items, compare_files_then_paths);
    for (size_t i = 1; i < sources->count; i++) {
        if (compare_files(&sources->items[kept], &sources->items[i]) == 0)
            fleck_free(sources->items[i].path);
        else
            sources->items[++kept] = sources->items[i];
    }
    sources->count = kept + 1;
    qsort(sources->items, sources->count, sizeof *sources->items, compare_paths);
}

static int compare_failures(const void *left, const void *right)
{
    const fleck_input_failure *a = left, *b = right;
    const int order = strcmp(a->path, b->path);

    return order != 0 ? order : strcmp(a->message, b->message);
}

static void sort_failures(fleck_inputs *out)
{
    fleck_input_failure *failures = out->failures;
    size_t kept = 0;

    if (out->failure_count == 0)
        return;
    qsort(failures, out->failure_count, sizeof *failures, compare_failures);
    for (size_t i = 1; i < out->failure_count; i++) {
        if (compare_failures(&failures[kept], &failures[i]) == 0) {
            fleck_free(failures[i].path);
            fleck_free(failures[i].message);
        } else {
            failures[++kept] = failures[i];
        }
    }
    out->failure_count = kept + 1;
}

/* All manifests are opened before the first row is made, which needs the columns of all. */
static fleck_status open_manifests(const fleck_sources *sources, fleck_manifest **manifests,
                                   fleck_inputs *out, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < sources->count && status == FLECK_OK; i++) {
        const char *path = sources->items[i].path;
        fleck_error fault;

        if (!sources->items[i].manifest)
            continue;
        status = fleck_manifest_open(path, &manifests[i], &fault);
        if (status == FLECK_OK)
            status = fleck_manifest_add_columns(manifests[i], out, err);
        else if (status == FLECK_BAD_INPUT)
            status = fleck_inputs_fail(out, path, fault.message, err);
        else if (err != NULL)
            *err = fault;
    }
    return status;
}

static fleck_status make_entries(const fleck_sources *sources, fleck_manifest *const *manifests,
                                 const fleck_inputs *out, fleck_entries *entries, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < sources->count && status == FLECK_OK; i++) {
        if (manifests[i] != NULL)
            status = fleck_manifest_add_rows(manifests[i], out, entries, err);
        else if (!sources->items[i].manifest)
            status = fleck_scan_add_entry(sources->items[i].path, out, entries, err);
    }
    return status;
}

static fleck_status hand_over(fleck_entries *entries, fleck_inputs *out, fleck_error *err)
{
    out->items = fleck_alloc_array(entries->count, sizeof *out->items);
    if (out->items == NULL)
        return fleck_inputs_no_memory(err);
    for (size_t i = 0; i < entries->count; i++)
        out->items[i] = entries->items[i].input;
    out->count = out->capacity = entries->count;
    entries->count = 0;
    return FLECK_OK;
}

fleck_status fleck_inputs_gather(const char *const *names, size_t count, fleck_inputs *out,
                                 fleck_error *err)
{
    fleck_sources sources = { 0 };
    fleck_entries entries = { 0 };
    fleck_manifest **manifests = NULL;
    fleck_status status = FLECK_OK;

    *out = (fleck_inputs){ 0 };
    for (size_t i = 0; i < count && status == FLECK_OK; i++)
        status = add_name(names[i], &sources, out, err);
    if (status != FLECK_OK)
        goto done;
    sort_sources(&sources);
    manifests = fleck_alloc_zeroed(sources.count, sizeof *manifests);
    if (manifests == NULL) {
        status = fleck_inputs_no_memory(err);
        goto done;
    }
    if ((status = open_manifests(&sources, manifests, out, err)) != FLECK_OK)
        goto done;
    if ((status = make_entries(&sources, manifests, out, &entries, err)) != FLECK_OK)
        goto done;
    if ((status = fleck_input_ids(&entries, err)) != FLECK_OK)
        goto done;
    sort_failures(out);
    status = hand_over(&entries, out, err);
done:
    for (size_t i = 0; manifests != NULL && i < sources.count; i++)
        fleck_manifest_close(manifests[i]);
    fleck_free(manifests);
    for (size_t i = 0; i < entries.count; i++)
        fleck_input_clear(&entries.items[i].input);
    fleck_free(entries.items);
    for (size_t i = 0; i < sources.count; i++)
        fleck_free(sources.items[i].path);
    fleck_free(sources.items);
    return status;
}

void fleck_inputs_clear(fleck_inputs *inputs)
{
    if (inputs == NULL)
        return;
    for (size_t i = 0; i < inputs->count; i++)
        fleck_input_clear(&inputs->items[i]);
    fleck_free(inputs->items);
    for (size_t i = 0; i < inputs->column_count; i++)
        fleck_free(inputs->columns[i]);
    fleck_free(inputs->columns);
    for (size_t i = 0; i < inputs->failure_count; i++) {
        fleck_free(inputs->failures[i].path);
        fleck_free(inputs->failures[i].message);
    }
    fleck_free(inputs->failures);
    fleck_free(inputs->sources);
    fleck_free(inputs->places);
    fleck_free(inputs->whole_sha256);
    *inputs = (fleck_inputs){ 0 };
}
