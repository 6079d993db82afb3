/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/run_folder.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include <cjson/cJSON.h>

#include "core/memory.h"
#include "fleck/version.h"
#include "io/csv.h"
#include "io/folder_lock.h"
#include "io/json_text.h"
#include "io/whole_file.h"
#include "record/dot_csv.h"
#include "record/options.h"

enum { RUN_VERSION = 1, MOST_RECORD_BYTES = 64 << 20, TIME_TEXT_BYTES = 32 };

struct fleck_run_folder {
    char *path;
    int lock;
    char started[TIME_TEXT_BYTES];
    cJSON *settings; /* an object that holds the object "settings", and of a slice "slice" */
    bool has_flecks;
};

/* The files of a patch. */
enum { RECORD_FILE, DOTS_FILE, FLECKS_FILE, PATCH_FILES };

static const struct {
    const char *folder, *ending;
} patch_files[PATCH_FILES] = { { "records", ".json" }, { "dots", ".csv" }, { "flecks", ".csv" } };

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the run folder; free some memory");
}

/* folder/part/name+ending, any of part and ending may be "" */
static char *join(const char *folder, const char *part, const char *name, const char *ending)
{
    fleck_text text = { 0 };

    fleck_text_add_format(&text, "%s/%s%s%s%s", folder, part, *part != '\0' ? "/" : "", name, ending);
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}

static void now(char text[TIME_TEXT_BYTES])
{
    const time_t seconds = time(NULL);
    struct tm parts;

    text[0] = '\0';
    if (gmtime_r(&seconds, &parts) != NULL)
        strftime(text, TIME_TEXT_BYTES, "%Y-%m-%dT%H:%M:%SZ", &parts);
}

static bool add_number(cJSON *object, const char *key, double value)
{
    cJSON *const item = fleck_json_number(value);

    if (object != NULL && item != NULL && cJSON_AddItemToObject(object, key, item))
        return true;
    cJSON_Delete(item);
    return false;
}

/* Every option that influences a number; jobs and memory do not. */
static bool add_settings(cJSON *root, const fleck_measure_options *options)
{
    cJSON *object = cJSON_AddObjectToObject(root, "settings");
    char *threshold = fleck_threshold_text(options);
    char *region = options->has_region ? fleck_box_text(&options->region) : NULL;
    bool done = object != NULL && threshold != NULL && (region != NULL || !options->has_region);

    done = done && add_number(object, "ppi_x", options->ppi_x > 0 ? options->ppi_x : NAN);
    done = done && add_number(object, "ppi_y", options->ppi_y > 0 ? options->ppi_y : NAN);
    done = done && cJSON_AddStringToObject(object, "channel", fleck_channel_name(options->channel));
    done = done && cJSON_AddStringToObject(object, "ink", fleck_ink_name(options->ink));
    done = done && cJSON_AddStringToObject(object, "threshold", threshold);
    if (options->calibration_path != NULL)
        done = done && cJSON_AddStringToObject(object, "calibration", options->calibration_path);
    else
        done = done && cJSON_AddNullToObject(object, "calibration");
    done = done && add_number(object, "cutoff_mm", options->cutoff_mm);
    if (region != NULL)
        done = done && cJSON_AddStringToObject(object, "region", region);
    else
        done = done && cJSON_AddNullToObject(object, "region");
    done = done && add_number(object, "tilt_deg", options->has_region ? options->tilt_deg : 0);
    done = done && add_number(object, "margin_mm", options->margin_mm);
    if (options->mask_path != NULL)
        done = done && cJSON_AddStringToObject(object, "mask", options->mask_path);
    else
        done = done && cJSON_AddNullToObject(object, "mask");
    done = done && add_number(object, "tile_px", options->tile_px > 0 ? (double)options->tile_px : NAN);
    done = done && add_number(object, "seed", (double)options->seed);
    done = done && add_number(object, "simulations", (double)options->simulations);
    done = done && cJSON_AddBoolToObject(object, "split", options->split);
    done = done && cJSON_AddBoolToObject(object, "flecks_table", options->flecks_table);
    done = done && add_number(object, "page", (double)options->page);
    fleck_free(threshold);
    fleck_free(region);
    return done;
}

/* Which part of a list this run is; nothing for a whole one. */
static bool add_slice(cJSON *root, const fleck_inputs *inputs)
{
    cJSON *object;

    if (inputs->slice_of == 0)
        return true;
    object = cJSON_AddObjectToObject(root, "slice");
    return object != NULL && add_number(object, "slice", (double)inputs->slice) &&
           add_number(object, "of", (double)inputs->slice_of) &&
           add_number(object, "patches", (double)inputs->whole_count) &&
           cJSON_AddStringToObject(object, "patches_sha256", inputs->whole_sha256) != NULL;
}

/*
 * Numbers that were read and are to be written once more: cJSON rounds to 15 digits what differs by no
 * more than its own idea of nothing. False without memory.
 */
static bool write_numbers_whole(cJSON *object)
{
    const cJSON *next;

    for (const cJSON *item = object->child; item != NULL; item = next) {
        next = item->next;
        if (cJSON_IsNumber(item)) {
            cJSON *const number = fleck_json_number(item->valuedouble);
            char *const key = fleck_copy_text(item->string);
            const bool done = number != NULL && key != NULL &&
                              cJSON_ReplaceItemInObjectCaseSensitive(object, key, number);

            fleck_free(key);
            if (!done) {
                cJSON_Delete(number);
                return false;
            }
        }
    }
    return true;
}

/* A member of one object, copied into another. */
static bool add_copy(cJSON *root, const cJSON *from, const char *name)
{
    const cJSON *const item = cJSON_GetObjectItemCaseSensitive(from, name);
    cJSON *const copy = cJSON_Duplicate(item, 1);

    if (copy != NULL && cJSON_AddItemToObject(root, name, copy))
        return true;
    cJSON_Delete(copy);
    return false;
}

/* Places of patches, in the order of the tables. */
static bool add_places(cJSON *root, const fleck_run_slice *slice)
{
    cJSON *const object = cJSON_GetObjectItemCaseSensitive(root, "slice");

    return object == NULL ||
           (cJSON_AddStringToObject(object, "measured_at",
                                    slice->measured_at->length > 0 ? slice->measured_at->bytes : "") != NULL &&
            cJSON_AddStringToObject(object, "failed_at",
                                    slice->failed_at->length > 0 ? slice->failed_at->bytes : "") != NULL);
}

static bool add_warning(cJSON *array, const fleck_run_warning *warning)
{
    cJSON *object = cJSON_CreateObject();
    cJSON *scans;
    bool done = object != NULL && cJSON_AddItemToArray(array, object);

    if (!done) {
        cJSON_Delete(object);
        return false;
    }
    done = cJSON_AddStringToObject(object, "code", warning->code) &&
           cJSON_AddStringToObject(object, "message", warning->message) &&
           (scans = cJSON_AddArrayToObject(object, "scans")) != NULL;
    for (size_t i = 0; done && i < warning->scan_count; i++) {
        cJSON *path = cJSON_CreateString(warning->scans[i]);

        done = path != NULL && cJSON_AddItemToArray(scans, path);
        if (!done)
            cJSON_Delete(path);
    }
    return done;
}

/* run.json; summary NULL while the run goes on */
static fleck_status write_run_json(const fleck_run_folder *folder, const fleck_run_slice *slice,
                                   const fleck_measure_summary *summary,
                                   const fleck_run_warning *warnings, size_t warning_count,
                                   fleck_error *err)
{
    cJSON *listed;
    cJSON *root = cJSON_CreateObject();
    char *path = join(folder->path, "", "run", ".json");
    char finished[TIME_TEXT_BYTES];
    char *printed = NULL;
    fleck_status status;
    bool done = root != NULL && path != NULL;

    now(finished);
    done = done && cJSON_AddStringToObject(root, "schema", "fleck-run");
    done = done && add_number(root, "version", RUN_VERSION);
    done = done && cJSON_AddStringToObject(root, "program", "fleck");
    done = done && cJSON_AddStringToObject(root, "program_version", fleck_version());
    done = done && add_copy(root, folder->settings, "settings");
    if (cJSON_HasObjectItem(folder->settings, "slice"))
        done = done && add_copy(root, folder->settings, "slice") && (summary == NULL || add_places(root, slice));
    done = done && add_number(root, "measured", summary != NULL ? (double)summary->measured : NAN);
    done = done && add_number(root, "failed", summary != NULL ? (double)summary->failed : NAN);
    done = done && cJSON_AddStringToObject(root, "started", folder->started);
    if (summary != NULL)
        done = done && cJSON_AddStringToObject(root, "finished", finished);
    else
        done = done && cJSON_AddNullToObject(root, "finished");
    listed = done ? cJSON_AddArrayToObject(root, "warnings") : NULL;
    done = listed != NULL;
    for (size_t i = 0; done && i < warning_count; i++)
        done = add_warning(listed, &warnings[i]);
    if (done)
        printed = cJSON_Print(root);
    status = printed != NULL ? fleck_file_write(path, printed, strlen(printed), err)
                             : no_memory(err);
    cJSON_free(printed);
    cJSON_Delete(root);
    fleck_free(path);
    return status;
}

char *fleck_run_folder_read_file(const char *path, size_t *size)
{
    FILE *stream = fopen(path, "rb");
    struct stat about;
    char *text = NULL;

    if (stream == NULL)
        return NULL;
    if (fstat(fileno(stream), &about) == 0 && S_ISREG(about.st_mode) &&
        about.st_size <= MOST_RECORD_BYTES) {
        *size = (size_t)about.st_size;
        text = fleck_alloc_array(*size + 1, 1);
        if (text != NULL && fread(text, 1, *size, stream) != *size) {
            fleck_free(text);
            text = NULL;
        }
    }
    fclose(stream);
    return text;
}

/* Whether a member of run.json is there and as this call would write it; places come at the end. */
static bool is_same(const cJSON *wanted, const cJSON *found)
{
    return wanted == NULL ? found == NULL : found != NULL && cJSON_Compare(wanted, found, 1);
}

/* Whether run.json was made by this version with these settings. */
static fleck_status check_same_run(const char *text, size_t size, const cJSON *settings, fleck_error *err)
{
    static const char *const of_slices[] = { "slice", "of", "patches", "patches_sha256" };
    bool short_of_memory;
    cJSON *found = fleck_json_parse(text, size, NULL, &short_of_memory);
    char *const printed = cJSON_Print(settings);
    cJSON *const wanted = printed != NULL ? cJSON_Parse(printed) : NULL;
    const cJSON *const slice = cJSON_GetObjectItemCaseSensitive(wanted, "slice");
    const cJSON *const other_slice = cJSON_GetObjectItemCaseSensitive(found, "slice");
    const char *version;
    fleck_status status = FLECK_OK;

    if (short_of_memory || wanted == NULL) {
        status = no_memory(err);
        goto done;
    }
    version = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(found, "program_version"));
    if (version == NULL) {
        status = fleck_fail(err, FLECK_BAD_CALL,
                            "holds a run.json that cannot be read; give another folder with -o");
        goto done;
    }
    if (strcmp(version, fleck_version()) != 0) {
        status = fleck_fail(err, FLECK_BAD_CALL,
                            "holds a run of fleck %s, this is %s; give another folder with -o",
                            version, fleck_version());
        goto done;
    }
    for (const cJSON *item = cJSON_GetObjectItemCaseSensitive(wanted, "settings")->child;
         item != NULL; item = item->next) {
        const cJSON *other = cJSON_GetObjectItemCaseSensitive(
            cJSON_GetObjectItemCaseSensitive(found, "settings"), item->string);

        if (!cJSON_Compare(item, other, 1)) {
            status = fleck_fail(err, FLECK_BAD_CALL,
                                "holds a run with another setting of %s; resume with the same "
                                "options, or give another folder with -o",
                                item->string);
            goto done;
        }
    }
    for (size_t i = 0; i < sizeof of_slices / sizeof *of_slices; i++) {
        if (!is_same(cJSON_GetObjectItemCaseSensitive(slice, of_slices[i]),
                     cJSON_GetObjectItemCaseSensitive(other_slice, of_slices[i]))) {
            status = fleck_fail(err, FLECK_BAD_CALL,
                                "holds another slice, or one of another list; give another folder with -o");
            goto done;
        }
    }
done:
    cJSON_Delete(found);
    cJSON_Delete(wanted);
    cJSON_free(printed);
    return status;
}

static fleck_status make_folder(const char *path, fleck_error *err)
{
    struct stat about;

    if (path == NULL)
        return no_memory(err);
    if (mkdir(path, 0777) == 0)
        return FLECK_OK;
    if (errno == EEXIST && stat(path, &about) == 0 && S_ISDIR(about.st_mode))
        return FLECK_OK;
    if (errno == EEXIST)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "is there and is no folder; give another name with -o");
    if (errno == ENOENT || errno == ENOTDIR)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "cannot be made, the folder above it is missing; make that first");
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "cannot be made; check the disk and the folder's permissions");
}

/* What a call that was killed has left half-written. The lock is held. */
static fleck_status sweep(const char *path, fleck_error *err)
{
    static const char *const parts[] = { "records", "dots", "flecks", "pictures" };

    fleck_whole_file_sweep(path);
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        char *part = join(path, "", parts[i], "");

        if (part == NULL)
            return no_memory(err);
        fleck_whole_file_sweep(part);
        fleck_free(part);
    }
    return FLECK_OK;
}

/* Open a folder whose settings are there already. */
static fleck_status begin(fleck_run_folder *folder, const char *path, bool resume, fleck_error *err)
{
    char *run_json = join(path, "", "run", ".json");
    char *text = NULL;
    size_t size = 0;
    fleck_status status = FLECK_OK;

    folder->lock = -1;
    if (run_json == NULL || (folder->path = fleck_copy_text(path)) == NULL) {
        status = no_memory(err);
        goto done;
    }
    now(folder->started);
    if ((status = make_folder(path, err)) != FLECK_OK ||
        (status = fleck_folder_lock(path, &folder->lock, err)) != FLECK_OK)
        goto done;
    text = fleck_run_folder_read_file(run_json, &size);
    if (text == NULL && access(run_json, F_OK) == 0)
        status = fleck_fail(err, FLECK_BAD_CALL,
                            "holds a run.json that cannot be read; give another folder with -o");
    else if (text != NULL && !resume)
        status = fleck_fail(err, FLECK_BAD_CALL,
                            "holds a run already; give another folder with -o, or go on with --resume");
    else if (text != NULL)
        status = check_same_run(text, size, folder->settings, err);
    if (status == FLECK_OK)
        status = sweep(path, err);
    for (size_t i = 0; status == FLECK_OK && i < PATCH_FILES; i++) {
        char *part = join(path, "", patch_files[i].folder, "");

        if (i != FLECKS_FILE || folder->has_flecks)
            status = make_folder(part, err);
        fleck_free(part);
    }
    if (status == FLECK_OK)
        status = write_run_json(folder, NULL, NULL, NULL, 0, err);
done:
    fleck_free(text);
    fleck_free(run_json);
    return status;
}

fleck_status fleck_run_folder_open(const char *path, const fleck_inputs *inputs,
                                   const fleck_measure_options *options, fleck_run_folder **out,
                                   fleck_error *err)
{
    fleck_run_folder *const folder = fleck_alloc_zeroed(1, sizeof *folder);
    fleck_status status;

    *out = NULL;
    if (folder == NULL)
        return no_memory(err);
    folder->lock = -1;
    folder->has_flecks = options->flecks_table;
    folder->settings = cJSON_CreateObject();
    if (folder->settings == NULL || !add_settings(folder->settings, options) ||
        !add_slice(folder->settings, inputs))
        status = no_memory(err);
    else
        status = begin(folder, path, options->resume, err);
    if (status == FLECK_OK)
        *out = folder;
    else
        fleck_run_folder_close(folder);
    return status;
}

fleck_status fleck_run_folder_open_gathered(const char *path, const cJSON *run, bool resume,
                                            fleck_run_folder **out, fleck_error *err)
{
    fleck_run_folder *const folder = fleck_alloc_zeroed(1, sizeof *folder);
    const cJSON *const settings = cJSON_GetObjectItemCaseSensitive(run, "settings");
    fleck_status status;

    *out = NULL;
    if (folder == NULL)
        return no_memory(err);
    folder->lock = -1;
    folder->has_flecks = cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(settings, "flecks_table"));
    folder->settings = cJSON_CreateObject();
    if (folder->settings == NULL || !add_copy(folder->settings, run, "settings") ||
        !write_numbers_whole(cJSON_GetObjectItemCaseSensitive(folder->settings, "settings")))
        status = no_memory(err);
    else
        status = begin(folder, path, resume, err);
    if (status == FLECK_OK)
        *out = folder;
    else
        fleck_run_folder_close(folder);
    return status;
}

static void patch_paths_clear(char *paths[PATCH_FILES])
{
    for (size_t i = 0; i < PATCH_FILES; i++)
        fleck_free(paths[i]);
}

/* False without memory. */
static bool paths_in(const char *run, const char *id, char *paths[PATCH_FILES])
{
    char *name = fleck_id_to_file_name(id);
    bool done = name != NULL;

    for (size_t i = 0; i < PATCH_FILES; i++) {
        paths[i] = name != NULL
                       ? join(run, patch_files[i].folder, name, patch_files[i].ending)
                       : NULL;
        done = done && paths[i] != NULL;
    }
    fleck_free(name);
    return done;
}

static bool patch_paths(const fleck_run_folder *folder, const char *id, char *paths[PATCH_FILES])
{
    return paths_in(folder->path, id, paths);
}

fleck_status fleck_run_folder_write_patch(const fleck_run_folder *folder,
                                          const fleck_record *record,
                                          const fleck_dot_tables *tables,
                                          const fleck_measure_options *options, unsigned threads,
                                          fleck_error *err)
{
    char *paths[PATCH_FILES];
    char *json = NULL;
    fleck_status status = FLECK_OK;

    if (!patch_paths(folder, record->id, paths) || (json = fleck_record_to_json(record)) == NULL)
        status = no_memory(err);
    if (status == FLECK_OK)
        status = fleck_dot_csv_write(paths[DOTS_FILE], "dot", &tables->dots, &tables->geometry,
                                     options->split, threads, err);
    if (status == FLECK_OK && options->flecks_table)
        status = fleck_dot_csv_write(paths[FLECKS_FILE], "fleck", &tables->flecks,
                                     &tables->geometry, false, threads, err);
    if (status == FLECK_OK)
        status = fleck_file_write(paths[RECORD_FILE], json, strlen(json), err);
    patch_paths_clear(paths);
    fleck_free(json);
    return status;
}

fleck_status fleck_run_folder_rewrite_record(const fleck_run_folder *folder,
                                             const fleck_record *record, fleck_error *err)
{
    char *paths[PATCH_FILES];
    char *json = NULL;
    fleck_status status;

    if (!patch_paths(folder, record->id, paths) || (json = fleck_record_to_json(record)) == NULL)
        status = no_memory(err);
    else
        status = fleck_file_write(paths[RECORD_FILE], json, strlen(json), err);
    patch_paths_clear(paths);
    fleck_free(json);
    return status;
}

static bool same_text(const char *a, const char *b)
{
    return a != NULL && b != NULL ? strcmp(a, b) == 0 : a == b;
}

fleck_status fleck_run_folder_read_patch(const char *run, const char *id, bool has_flecks,
                                         fleck_record *record, fleck_error *err)
{
    char *paths[PATCH_FILES];
    char *text = NULL;
    size_t size = 0;
    fleck_error why = { 0 };
    fleck_status status = FLECK_OK;

    if (!paths_in(run, id, paths))
        status = no_memory(err);
    if (status == FLECK_OK) {
        text = fleck_run_folder_read_file(paths[RECORD_FILE], &size);
        status = text != NULL ? fleck_record_from_json(text, size, record, &why) : FLECK_BAD_INPUT;
        if (status == FLECK_NO_RESOURCE)
            status = no_memory(err);
        else if (status != FLECK_OK || !same_text(record->id, id) || record->source.path == NULL)
            status = fleck_fail(err, FLECK_BAD_INPUT,
                                "%s is missing or damaged; measure that slice again with --resume",
                                paths[RECORD_FILE]);
    }
    for (size_t i = DOTS_FILE; status == FLECK_OK && i < PATCH_FILES; i++) {
        if ((i != FLECKS_FILE || has_flecks) && access(paths[i], R_OK) != 0)
            status = fleck_fail(err, FLECK_BAD_INPUT,
                                "%s is missing; measure that slice again with --resume", paths[i]);
    }
    fleck_free(text);
    patch_paths_clear(paths);
    return status;
}

fleck_status fleck_run_folder_copy_tables(const fleck_run_folder *folder, const char *from,
                                          const char *id, fleck_error *err)
{
    char *ours[PATCH_FILES], *theirs[PATCH_FILES];
    const bool named = paths_in(from, id, theirs);
    fleck_error why = { 0 };
    fleck_status status = FLECK_OK;

    if (!patch_paths(folder, id, ours) || !named)
        status = no_memory(err);
    for (size_t i = DOTS_FILE; status == FLECK_OK && i < PATCH_FILES; i++) {
        if (i == FLECKS_FILE && !folder->has_flecks)
            continue;
        status = fleck_whole_file_copy(theirs[i], ours[i], &why);
        if (status == FLECK_BAD_INPUT)
            status = fleck_fail(err, status, "%s %s", theirs[i], why.message);
        else if (status != FLECK_OK && err != NULL)
            *err = why;
    }
    patch_paths_clear(ours);
    patch_paths_clear(theirs);
    return status;
}

bool fleck_run_folder_find_patch(const fleck_run_folder *folder, const fleck_input *input,
                                 const char *sha256, const fleck_measure_options *options,
                                 const fleck_scan_mask *mask, fleck_record *record)
{
    const fleck_box_mm *const box = fleck_patch_region(input, options);
    char *paths[PATCH_FILES];
    char *text = NULL, *region = NULL;
    size_t size = 0;
    bool found = false;

    if (patch_paths(folder, input->id, paths) && access(paths[DOTS_FILE], F_OK) == 0 &&
        (!options->flecks_table || access(paths[FLECKS_FILE], F_OK) == 0))
        text = fleck_run_folder_read_file(paths[RECORD_FILE], &size);
    if (box != NULL)
        region = fleck_box_text(box);
    if (text != NULL && fleck_record_from_json(text, size, record, NULL) == FLECK_OK) {
        /* the settings are those of run.json, which have been compared already */
        found = same_text(record->id, input->id) && same_text(record->source.path, input->path) &&
                same_text(record->source.sha256, sha256) &&
                same_text(record->settings.region, region) &&
                record->settings.tilt_deg == fleck_patch_tilt_deg(input, options) &&
                same_text(record->settings.mask_sha256, mask != NULL ? mask->sha256 : NULL);
        if (!found)
            fleck_record_clear(record);
    }
    fleck_free(region);
    fleck_free(text);
    patch_paths_clear(paths);
    return found;
}

static fleck_status write_table(const fleck_run_folder *folder, const char *name,
                                const fleck_text *text, fleck_error *err)
{
    char *path = join(folder->path, "", name, "");
    fleck_status status = FLECK_OK;

    if (path == NULL)
        return no_memory(err);
    if (text != NULL)
        status = fleck_file_write(path, text->bytes, text->length, err);
    else
        (void)unlink(path); /* left by an earlier part of the run */
    fleck_free(path);
    return status;
}

fleck_status fleck_run_folder_finish(fleck_run_folder *folder, const fleck_text *patches,
                                     const fleck_text *failures, const fleck_run_slice *slice,
                                     const fleck_measure_summary *summary,
                                     const fleck_run_warning *warnings, size_t warning_count,
                                     fleck_error *err)
{
    fleck_status status = write_table(folder, "patches.csv", patches, err);

    if (status == FLECK_OK)
        status = write_table(folder, "failures.csv", failures, err);
    if (status == FLECK_OK)
        status = write_run_json(folder, slice, summary, warnings, warning_count, err);
    return status;
}

void fleck_run_folder_close(fleck_run_folder *folder)
{
    if (folder == NULL)
        return;
    fleck_folder_unlock(folder->lock);
    cJSON_Delete(folder->settings);
    fleck_free(folder->path);
    fleck_free(folder);
}
