/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Each slice tells where its patches stand in the whole list; tables are put together in that order.
 * Records come from their files, since what only all patches together tell, whose paper differs, is
 * still to be added to them.
 */
#include "fleck/gather.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "core/versioned.h"
#include "fleck/version.h"
#include "io/csv.h"
#include "io/json_text.h"
#include "record/run_folder.h"
#include "record/run_papers.h"
#include "record/run_table.h"

struct slice {
    const char *path;
    cJSON *run; /* run.json */
    fleck_csv *patches, *failures; /* failures: NULL without */
    size_t number;
    size_t *measured_at, *failed_at;
    size_t measured_count, failed_count;
};

/* A patch of the whole list. */
struct place {
    const struct slice *slice; /* NULL: none has it */
    bool measured;
    size_t row; /* in its table, the header counted */
    fleck_record *record;
};

struct gathering {
    struct slice *slices;
    size_t count;
    struct place *places;
    size_t place_count;
    fleck_inputs inputs; /* whole list: what tables need of it */
    double *paper;
    fleck_run_folder *folder;
    const fleck_gather_observer *observer;
    fleck_gather_summary summary;
    fleck_text patch_rows, failure_rows;
};

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

/* ---- reading a slice ---- */

static const cJSON *of_slice(const struct slice *slice, const char *name)
{
    return cJSON_GetObjectItemCaseSensitive(cJSON_GetObjectItemCaseSensitive(slice->run, "slice"), name);
}

static size_t number_of(const struct slice *slice, const char *name)
{
    const cJSON *const item = of_slice(slice, name);

    return cJSON_IsNumber(item) && item->valuedouble >= 0 && item->valuedouble <= 1e9
               ? (size_t)item->valuedouble
               : 0;
}

/* "0,3,17": whole numbers that grow. */
static fleck_status read_places(const struct slice *slice, const char *name, size_t **places,
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

static fleck_status read_run_json(struct slice *slice, fleck_error *err)
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
        return fleck_fail(err, FLECK_BAD_INPUT, "%s holds no run; name folders of fleck measure --slice -o",
                          slice->path);
    return FLECK_OK;
}

static fleck_status check_run_json(const struct slice *slice, fleck_error *err)
{
    const char *const schema = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(slice->run, "schema"));
    const char *const version =
        cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(slice->run, "program_version"));

    if (schema == NULL || version == NULL || strcmp(schema, "fleck-run") != 0)
        return fleck_fail(err, FLECK_BAD_INPUT, "%s holds a run.json that cannot be read; measure it again",
                          slice->path);
    if (strcmp(version, fleck_version()) != 0)
        return fleck_fail(err, FLECK_BAD_CALL, "%s is a run of fleck %s, this is %s; gather with that version",
                          slice->path, version, fleck_version());
    if (of_slice(slice, "of") == NULL)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "%s is a run of its own and no slice; name folders of fleck measure --slice",
                          slice->path);
    if (!cJSON_IsString(cJSON_GetObjectItemCaseSensitive(slice->run, "finished")))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "%s is not finished; measure that slice again with --resume", slice->path);
    return FLECK_OK;
}

static fleck_status read_table(const struct slice *slice, const char *name, size_t rows,
                               fleck_csv **table, fleck_error *err)
{
    char *const path = path_in(slice->path, name);
    fleck_status status = path != NULL ? fleck_csv_read(path, table, err) : no_memory(err);

    fleck_free(path);
    if (status == FLECK_BAD_INPUT || (status == FLECK_OK && fleck_csv_row_count(*table) < rows + 1))
        return fleck_fail(err, FLECK_BAD_INPUT, "%s/%s is missing or damaged; measure that slice again",
                          slice->path, name);
    return status;
}

static fleck_status read_slice(struct slice *slice, const char *path, fleck_error *err)
{
    const cJSON *failed;
    fleck_status status;

    slice->path = path;
    status = read_run_json(slice, err);
    if (status == FLECK_OK)
        status = check_run_json(slice, err);
    if (status == FLECK_OK)
        status = read_places(slice, "measured_at", &slice->measured_at, &slice->measured_count, err);
    if (status == FLECK_OK)
        status = read_places(slice, "failed_at", &slice->failed_at, &slice->failed_count, err);
    if (status == FLECK_OK)
        status = read_table(slice, "patches.csv", slice->measured_count, &slice->patches, err);
    if (status != FLECK_OK)
        return status;
    slice->number = number_of(slice, "slice");
    failed = cJSON_GetObjectItemCaseSensitive(slice->run, "failed");
    if (cJSON_IsNumber(failed) && failed->valuedouble > 0)
        status = read_table(slice, "failures.csv", slice->failed_count, &slice->failures, err);
    return status;
}

/* ---- do they belong together? ---- */

static fleck_status check_alike(const struct slice *first, const struct slice *other, fleck_error *err)
{
    const cJSON *const settings = cJSON_GetObjectItemCaseSensitive(first->run, "settings");

    for (const cJSON *item = settings != NULL ? settings->child : NULL; item != NULL; item = item->next) {
        const cJSON *const same = cJSON_GetObjectItemCaseSensitive(
            cJSON_GetObjectItemCaseSensitive(other->run, "settings"), item->string);

        if (!cJSON_Compare(item, same, 1))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "%s and %s were measured with another setting of %s; measure all slices with the "
                              "same options",
                              first->path, other->path, item->string);
    }
    if (number_of(first, "of") != number_of(other, "of"))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%s is one of %zu slices, %s one of %zu; name slices of one run", first->path,
                          number_of(first, "of"), other->path, number_of(other, "of"));
    if (!cJSON_Compare(of_slice(first, "patches_sha256"), of_slice(other, "patches_sha256"), 1))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%s and %s are slices of different lists; measure all from the same names and manifest",
                          first->path, other->path);
    return FLECK_OK;
}

/* Each slice once. */
static fleck_status check_complete(const struct gathering *gathering, fleck_error *err)
{
    const size_t of = number_of(&gathering->slices[0], "of");
    const struct slice **by_number;
    fleck_text missing = { 0 };
    size_t missing_count = 0;
    fleck_status status = FLECK_OK;

    if (of == 0 || of > 1000000)
        return fleck_fail(err, FLECK_BAD_INPUT, "%s/run.json is damaged; measure that slice again",
                          gathering->slices[0].path);
    by_number = fleck_alloc_zeroed(of + 1, sizeof *by_number);
    if (by_number == NULL)
        return no_memory(err);
    for (size_t i = 0; status == FLECK_OK && i < gathering->count; i++) {
        const struct slice *const slice = &gathering->slices[i];

        if (slice->number < 1 || slice->number > of)
            status = fleck_fail(err, FLECK_BAD_INPUT, "%s/run.json is damaged; measure that slice again",
                                slice->path);
        else if (by_number[slice->number] != NULL)
            status = fleck_fail(err, FLECK_BAD_CALL, "slice %zu is there twice, in %s and %s; name one of them",
                                slice->number, by_number[slice->number]->path, slice->path);
        else
            by_number[slice->number] = slice;
    }
    for (size_t i = 1; status == FLECK_OK && i <= of; i++) {
        if (by_number[i] == NULL && ++missing_count <= 20)
            fleck_text_add_format(&missing, "%s%zu", missing.length > 0 ? ", " : "", i);
    }
    if (missing_count > 0)
        status = fleck_fail(err, FLECK_BAD_CALL, "%zu of %zu slices are missing: %s%s; measure and name them too",
                            missing_count, of, missing.failed ? "" : missing.bytes,
                            missing_count > 20 ? " ..." : "");
    fleck_text_clear(&missing);
    fleck_free(by_number);
    return status;
}

/* ---- the whole list ---- */

static fleck_status put_places(struct gathering *gathering, const struct slice *slice, bool measured,
                               fleck_error *err)
{
    const size_t *const at = measured ? slice->measured_at : slice->failed_at;
    const size_t count = measured ? slice->measured_count : slice->failed_count;
    const fleck_csv *const table = measured ? slice->patches : slice->failures;
    const size_t first = table != NULL ? fleck_csv_row_count(table) - count : 0;

    for (size_t i = 0; i < count; i++) {
        if (at[i] >= gathering->place_count || gathering->places[at[i]].slice != NULL)
            return fleck_fail(err, FLECK_BAD_INPUT, "%s/run.json is damaged; measure that slice again",
                              slice->path);
        /* names that led to no patch stand first in failures.csv */
        gathering->places[at[i]] = (struct place){ slice, measured, first + i, NULL };
    }
    return FLECK_OK;
}

/* Columns of the manifest: between the id and the measures. */
static fleck_status read_columns(struct gathering *gathering, fleck_error *err)
{
    const fleck_csv *const table = gathering->slices[0].patches;
    const size_t cells = fleck_csv_cell_count(table, 0);
    size_t keys, fixed = 3; /* id, speckle, warnings */

    for (const fleck_key *key = fleck_keys(&keys); keys > 0; keys--, key++)
        fixed += key->measure ? 1 : 0;
    if (cells < fixed)
        return fleck_fail(err, FLECK_BAD_INPUT, "%s/patches.csv is damaged; measure that slice again",
                          gathering->slices[0].path);
    gathering->inputs.columns = fleck_alloc_zeroed(cells - fixed, sizeof *gathering->inputs.columns);
    if (gathering->inputs.columns == NULL)
        return no_memory(err);
    for (size_t c = 0; c < cells - fixed; c++) {
        gathering->inputs.columns[c] = fleck_copy_text(fleck_csv_cell(table, 0, 1 + c));
        if (gathering->inputs.columns[c] == NULL)
            return no_memory(err);
        gathering->inputs.column_count++;
    }
    return FLECK_OK;
}

/* Texts of a patch as the tables have them. */
static fleck_status fill_input(struct gathering *gathering, size_t i, fleck_error *err)
{
    const struct place *const place = &gathering->places[i];
    const size_t columns = gathering->inputs.column_count;
    const fleck_csv *const table = place->measured ? place->slice->patches : place->slice->failures;
    fleck_input *const input = &gathering->inputs.items[i];

    if (fleck_csv_cell_count(table, place->row) < (place->measured ? 1 + columns : 3))
        return fleck_fail(err, FLECK_BAD_INPUT, "%s has a damaged table; measure that slice again",
                          place->slice->path);
    input->id = fleck_copy_text(fleck_csv_cell(table, place->row, 0));
    if (place->measured) {
        input->path = fleck_copy_text(place->record->source.path);
        input->cells = fleck_alloc_array(columns, sizeof *input->cells);
        for (size_t c = 0; input->cells != NULL && c < columns; c++) /* borrowed from the table */
            input->cells[c] = (char *)(uintptr_t)fleck_csv_cell(table, place->row, 1 + c);
    } else {
        input->path = fleck_copy_text(fleck_csv_cell(table, place->row, 1));
        input->failure = fleck_copy_text(fleck_csv_cell(table, place->row, 2));
    }
    return input->id != NULL && input->path != NULL && (!place->measured || input->cells != NULL) &&
                   (place->measured || input->failure != NULL)
               ? FLECK_OK
               : no_memory(err);
}

static fleck_status make_list(struct gathering *gathering, fleck_error *err)
{
    fleck_status status = read_columns(gathering, err);

    gathering->place_count = number_of(&gathering->slices[0], "patches");
    gathering->places = fleck_alloc_zeroed(gathering->place_count, sizeof *gathering->places);
    gathering->inputs.items = fleck_alloc_zeroed(gathering->place_count, sizeof *gathering->inputs.items);
    gathering->paper = fleck_alloc_array(gathering->place_count, sizeof *gathering->paper);
    if (gathering->places == NULL || gathering->inputs.items == NULL || gathering->paper == NULL)
        return status == FLECK_OK ? no_memory(err) : status;
    for (size_t i = 0; i < gathering->count && status == FLECK_OK; i++) {
        status = put_places(gathering, &gathering->slices[i], true, err);
        if (status == FLECK_OK)
            status = put_places(gathering, &gathering->slices[i], false, err);
    }
    for (size_t i = 0; i < gathering->place_count && status == FLECK_OK; i++) {
        gathering->paper[i] = NAN;
        if (gathering->places[i].slice == NULL)
            status = fleck_fail(err, FLECK_BAD_INPUT,
                                "the slices do not hold all patches: number %zu is in none; measure them again",
                                i + 1);
    }
    return status;
}

/* ---- into the new run ---- */

static fleck_status take_patch(struct gathering *gathering, size_t i, fleck_error *err)
{
    struct place *const place = &gathering->places[i];
    const char *id;
    fleck_status status = FLECK_OK;

    if (place->measured) {
        id = fleck_csv_cell(place->slice->patches, place->row, 0);
        place->record = fleck_alloc_array(1, sizeof *place->record);
        if (place->record == NULL)
            return no_memory(err);
        fleck_record_init(place->record);
        status = fleck_run_folder_take(gathering->folder, place->slice->path, id, place->record, err);
        gathering->paper[i] = place->record->tone.open_paper_reflectance;
    }
    gathering->inputs.count = i + 1;
    return status == FLECK_OK ? fill_input(gathering, i, err) : status;
}

static void add_failure(struct gathering *gathering, const char *id, const char *path, const char *message)
{
    const fleck_gather_observer *const observer = gathering->observer;

    gathering->summary.failed++;
    fleck_csv_add_cell(&gathering->failure_rows, id);
    fleck_csv_add_cell(&gathering->failure_rows, path);
    fleck_csv_add_cell(&gathering->failure_rows, message);
    fleck_csv_end_row(&gathering->failure_rows);
    if (observer->failure != NULL)
        observer->failure(observer->context, path, message);
}

/* Names that led to no patch. */
static void add_early_failures(struct gathering *gathering)
{
    for (size_t i = 0; i < gathering->count; i++) {
        const struct slice *const slice = &gathering->slices[i];
        const size_t rows = slice->failures != NULL ? fleck_csv_row_count(slice->failures) : 0;

        for (size_t row = 1; row + slice->failed_count < rows; row++) {
            if (fleck_csv_cell_count(slice->failures, row) >= 3)
                add_failure(gathering, fleck_csv_cell(slice->failures, row, 0),
                            fleck_csv_cell(slice->failures, row, 1), fleck_csv_cell(slice->failures, row, 2));
        }
    }
}

static fleck_status write_patch(struct gathering *gathering, size_t i, const fleck_run_papers *papers,
                                fleck_error *err)
{
    const fleck_gather_observer *const observer = gathering->observer;
    const fleck_input *const input = &gathering->inputs.items[i];
    fleck_record *const record = gathering->places[i].record;
    fleck_status status = FLECK_OK;

    if (record == NULL) {
        add_failure(gathering, input->id, input->path, input->failure);
        return FLECK_OK;
    }
    if (papers->apart[i]) {
        status = fleck_paper_outliers_warn(&papers->outliers, gathering->paper[i], &record->warnings, err);
        if (status == FLECK_OK && observer->warning != NULL)
            observer->warning(observer->context, input->path,
                              record->warnings.items[record->warnings.count - 1].code,
                              record->warnings.items[record->warnings.count - 1].message);
    }
    if (status == FLECK_OK)
        status = fleck_run_folder_rewrite_record(gathering->folder, record, err);
    if (status != FLECK_OK)
        return status;
    gathering->summary.measured++;
    fleck_run_table_row(&gathering->patch_rows, &gathering->inputs, input, record);
    if (observer->record != NULL)
        observer->record(observer->context, &gathering->inputs, input, record);
    return FLECK_OK;
}

static fleck_status write_run(struct gathering *gathering, fleck_error *err)
{
    fleck_run_papers papers = { 0 };
    fleck_measure_summary summary = { 0 };
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < gathering->place_count; i++)
        status = take_patch(gathering, i, err);
    if (status == FLECK_OK)
        status = fleck_run_papers_find(&gathering->inputs, gathering->paper, &papers, err);
    fleck_run_table_header(&gathering->patch_rows, &gathering->inputs);
    fleck_text_add(&gathering->failure_rows, "id,path,message\n");
    if (status == FLECK_OK)
        add_early_failures(gathering);
    for (size_t i = 0; status == FLECK_OK && i < gathering->place_count; i++)
        status = write_patch(gathering, i, &papers, err);
    if (status == FLECK_OK && (gathering->patch_rows.failed || gathering->failure_rows.failed))
        status = no_memory(err);
    summary.measured = gathering->summary.measured;
    summary.failed = gathering->summary.failed;
    if (status == FLECK_OK)
        status = fleck_run_folder_finish(gathering->folder, &gathering->patch_rows,
                                         summary.failed > 0 ? &gathering->failure_rows : NULL, NULL, &summary,
                                         &papers.warning, papers.outliers.count > 0, err);
    fleck_run_papers_clear(&papers);
    return status;
}

static void clear(struct gathering *gathering)
{
    for (size_t i = 0; i < gathering->inputs.count; i++) {
        fleck_input *const input = &gathering->inputs.items[i];

        fleck_free(input->id);
        fleck_free(input->path);
        fleck_free(input->cells);
        fleck_free(input->failure);
    }
    gathering->inputs.count = 0;
    fleck_inputs_clear(&gathering->inputs);
    for (size_t i = 0; gathering->places != NULL && i < gathering->place_count; i++) {
        fleck_record_clear(gathering->places[i].record);
        fleck_free(gathering->places[i].record);
    }
    for (size_t i = 0; gathering->slices != NULL && i < gathering->count; i++) {
        struct slice *const slice = &gathering->slices[i];

        cJSON_Delete(slice->run);
        fleck_csv_free(slice->patches);
        fleck_csv_free(slice->failures);
        fleck_free(slice->measured_at);
        fleck_free(slice->failed_at);
    }
    fleck_free(gathering->slices);
    fleck_free(gathering->places);
    fleck_free(gathering->paper);
    fleck_text_clear(&gathering->patch_rows);
    fleck_text_clear(&gathering->failure_rows);
    fleck_run_folder_close(gathering->folder);
}

void fleck_gather_observer_init(fleck_gather_observer *observer, size_t struct_bytes)
{
    const fleck_gather_observer defaults = { 0 };

    fleck_versioned_init(observer, struct_bytes, &defaults, sizeof defaults);
}

fleck_status fleck_gather(const char *const *runs, size_t count, const char *out_run,
                          const fleck_gather_observer *observer, fleck_gather_summary *summary,
                          fleck_error *err)
{
    fleck_gather_observer told = fleck_gather_observer_default();
    struct gathering gathering = { .count = count, .observer = &told };
    fleck_status status = FLECK_OK;

    *summary = (fleck_gather_summary){ 0 };
    if (observer != NULL)
        status = fleck_versioned_take(observer, &told, sizeof told, "observer's members", err);
    if (status != FLECK_OK)
        return status;
    if (count == 0)
        return fleck_fail(err, FLECK_BAD_CALL, "there is nothing to gather; name the folders of all slices");
    gathering.slices = fleck_alloc_zeroed(count, sizeof *gathering.slices);
    if (gathering.slices == NULL)
        status = no_memory(err);
    for (size_t i = 0; status == FLECK_OK && i < count; i++)
        status = read_slice(&gathering.slices[i], runs[i], err);
    for (size_t i = 1; status == FLECK_OK && i < count; i++)
        status = check_alike(&gathering.slices[0], &gathering.slices[i], err);
    if (status == FLECK_OK)
        status = check_complete(&gathering, err);
    if (status == FLECK_OK)
        status = make_list(&gathering, err);
    if (status == FLECK_OK)
        status = fleck_run_folder_open_gathered(out_run, gathering.slices[0].run, &gathering.folder, err);
    if (status == FLECK_OK)
        status = write_run(&gathering, err);
    gathering.summary.slices = count;
    *summary = gathering.summary;
    clear(&gathering);
    return status;
}
