/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/gather_slice.h"

#include <stdint.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "fleck/version.h"
#include "io/json_text.h"
#include "record/run_folder.h"

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to gather a run; free some memory");
}

static char *path_in(const char *run, const char *name)
{
    fleck_text text = { 0 };

    fleck_text_add_format(&text, "%s/%s", run, name);
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}

static const cJSON *of_slice(const fleck_slice *slice, const char *name)
{
    return cJSON_GetObjectItemCaseSensitive(cJSON_GetObjectItemCaseSensitive(slice->run, "slice"),
                                            name);
}

static size_t number_of(const fleck_slice *slice, const char *name)
{
    const cJSON *const item = of_slice(slice, name);

    return cJSON_IsNumber(item) && item->valuedouble >= 0 && item->valuedouble <= 1e9
               ? (size_t)item->valuedouble
               : 0;
}

/* "0,3,17": whole numbers that grow. */
static fleck_status read_places(const fleck_slice *slice, const char *name, size_t **places,
                                size_t *count, fleck_error *err)
{
    const char *text = cJSON_GetStringValue(of_slice(slice, name));
    size_t capacity = 0;

    while (text != NULL && *text != '\0') {
        const size_t length = strcspn(text, ",");
        char digits[24];
        size_t *const moved = fleck_grow(*places, &capacity, *count, sizeof *moved);

        if (moved == NULL)
            return no_memory(err);
        *places = moved;
        if (length >= sizeof digits)
            break;
        memcpy(digits, text, length);
        digits[length] = '\0';
        if (!fleck_text_to_size(digits, &moved[*count]) ||
            (*count > 0 && moved[*count] <= moved[*count - 1]))
            break;
        ++*count;
        text += length;
        if (*text == ',' && text[1] != '\0')
            text++;
    }
    if (text == NULL || *text != '\0')
        return fleck_fail(err, FLECK_BAD_INPUT, "%s/run.json is damaged; measure that slice again",
                          slice->path);
    return FLECK_OK;
}

static fleck_status read_run_json(fleck_slice *slice, fleck_error *err)
{
    char *const path = path_in(slice->path, "run.json");
    char *text = NULL;
    size_t size = 0;
    bool short_of_memory = false;

    if (path != NULL)
        text = fleck_run_folder_read_file(path, &size);
    if (text != NULL)
        slice->run = fleck_json_parse(text, size, NULL, &short_of_memory);
    fleck_free(text);
    fleck_free(path);
    if (path == NULL || short_of_memory)
        return no_memory(err);
    if (slice->run == NULL)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "%s holds no run; name folders of fleck measure --slice -o", slice->path);
    return FLECK_OK;
}

static fleck_status check_run_json(const fleck_slice *slice, fleck_error *err)
{
    const char *const schema =
        cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(slice->run, "schema"));
    const char *const version =
        cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(slice->run, "program_version"));

    if (schema == NULL || version == NULL || strcmp(schema, "fleck-run") != 0)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "%s holds a run.json that cannot be read; measure it again", slice->path);
    if (strcmp(version, fleck_version()) != 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%s is a run of fleck %s, this is %s; gather with that version",
                          slice->path, version, fleck_version());
    if (!cJSON_IsObject(cJSON_GetObjectItemCaseSensitive(slice->run, "settings")))
        return fleck_fail(err, FLECK_BAD_INPUT, "%s/run.json is damaged; measure that slice again",
                          slice->path);
    if (of_slice(slice, "of") == NULL)
        return fleck_fail(
            err, FLECK_BAD_INPUT,
            "%s is a run of its own and no slice; name folders of fleck measure --slice",
            slice->path);
    if (!cJSON_IsString(cJSON_GetObjectItemCaseSensitive(slice->run, "finished")))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "%s is not finished; measure that slice again with --resume",
                          slice->path);
    return FLECK_OK;
}

/* most_rows: without the header; names that led to no patch may stand before those of patches */
static fleck_status read_table(const fleck_slice *slice, const char *name, size_t least_rows,
                               size_t most_rows, fleck_csv **table, fleck_error *err)
{
    char *const path = path_in(slice->path, name);
    fleck_status status = path != NULL ? fleck_csv_read(path, table, err) : no_memory(err);

    fleck_free(path);
    if (status == FLECK_BAD_INPUT ||
        (status == FLECK_OK && (fleck_csv_row_count(*table) - 1 < least_rows ||
                                fleck_csv_row_count(*table) - 1 > most_rows)))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "%s/%s is missing or damaged; measure that slice again", slice->path,
                          name);
    return status;
}

fleck_status fleck_slice_read(fleck_slice *slice, const char *path, fleck_error *err)
{
    const cJSON *failed;
    fleck_status status;

    slice->path = path;
    status = read_run_json(slice, err);
    if (status == FLECK_OK)
        status = check_run_json(slice, err);
    if (status == FLECK_OK)
        status =
            read_places(slice, "measured_at", &slice->measured_at, &slice->measured_count, err);
    if (status == FLECK_OK)
        status = read_places(slice, "failed_at", &slice->failed_at, &slice->failed_count, err);
    if (status == FLECK_OK)
        status = read_table(slice, "patches.csv", slice->measured_count, slice->measured_count,
                            &slice->patches, err);
    if (status != FLECK_OK)
        return status;
    slice->number = number_of(slice, "slice");
    failed = cJSON_GetObjectItemCaseSensitive(slice->run, "failed");
    if (slice->failed_count > 0 || (cJSON_IsNumber(failed) && failed->valuedouble > 0))
        status =
            read_table(slice, "failures.csv", slice->failed_count, SIZE_MAX, &slice->failures, err);
    return status;
}

fleck_status fleck_slices_check_alike(const fleck_slice *first, const fleck_slice *other,
                                      fleck_error *err)
{
    const cJSON *const settings = cJSON_GetObjectItemCaseSensitive(first->run, "settings");

    for (const cJSON *item = settings != NULL ? settings->child : NULL; item != NULL;
         item = item->next) {
        const cJSON *const same = cJSON_GetObjectItemCaseSensitive(
            cJSON_GetObjectItemCaseSensitive(other->run, "settings"), item->string);

        if (!cJSON_Compare(item, same, 1))
            return fleck_fail(
                err, FLECK_BAD_CALL,
                "%s and %s were measured with another setting of %s; measure all slices with the "
                "same options",
                first->path, other->path, item->string);
    }
    if (number_of(first, "of") != number_of(other, "of"))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%s is one of %zu slices, %s one of %zu; name slices of one run",
                          first->path, number_of(first, "of"), other->path, number_of(other, "of"));
    if (!cJSON_Compare(of_slice(first, "patches_sha256"), of_slice(other, "patches_sha256"), 1))
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "%s and %s are slices of different lists; measure all from the same names and manifest",
            first->path, other->path);
    return FLECK_OK;
}

/* Each slice once. */
fleck_status fleck_slices_check_complete(const fleck_slice *slices, size_t count, fleck_error *err)
{
    const size_t of = number_of(&slices[0], "of");
    const fleck_slice **by_number;
    fleck_text missing = { 0 };
    size_t missing_count = 0;
    fleck_status status = FLECK_OK;

    if (of == 0 || of > 1000000)
        return fleck_fail(err, FLECK_BAD_INPUT, "%s/run.json is damaged; measure that slice again",
                          slices[0].path);
    by_number = fleck_alloc_zeroed(of + 1, sizeof *by_number);
    if (by_number == NULL)
        return no_memory(err);
    for (size_t i = 0; status == FLECK_OK && i < count; i++) {
        const fleck_slice *const slice = &slices[i];

        if (slice->number < 1 || slice->number > of)
            status = fleck_fail(err, FLECK_BAD_INPUT,
                                "%s/run.json is damaged; measure that slice again", slice->path);
        else if (by_number[slice->number] != NULL)
            status = fleck_fail(err, FLECK_BAD_CALL,
                                "slice %zu is there twice, in %s and %s; name one of them",
                                slice->number, by_number[slice->number]->path, slice->path);
        else
            by_number[slice->number] = slice;
    }
    for (size_t i = 1; status == FLECK_OK && i <= of; i++) {
        if (by_number[i] == NULL && ++missing_count <= 20)
            fleck_text_add_format(&missing, "%s%zu", missing.length > 0 ? ", " : "", i);
    }
    if (missing_count > 0)
        status = fleck_fail(err, FLECK_BAD_CALL,
                            "%zu of %zu slices are missing: %s%s; measure and name them too",
                            missing_count, of, missing.failed ? "" : missing.bytes,
                            missing_count > 20 ? " ..." : "");
    fleck_text_clear(&missing);
    fleck_free(by_number);
    return status;
}

size_t fleck_slice_whole_count(const fleck_slice *slice)
{
    return number_of(slice, "patches");
}

bool fleck_slice_has_flecks(const fleck_slice *slice)
{
    const cJSON *const settings = cJSON_GetObjectItemCaseSensitive(slice->run, "settings");

    return cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(settings, "flecks_table"));
}

void fleck_slice_clear(fleck_slice *slice)
{
    cJSON_Delete(slice->run);
    fleck_csv_free(slice->patches);
    fleck_csv_free(slice->failures);
    fleck_free(slice->measured_at);
    fleck_free(slice->failed_at);
    *slice = (fleck_slice){ 0 };
}
