/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Each slice tells where its patches stand in the whole list; tables are put together in that
 * order. Records come from their files, since what only all patches together tell, whose paper
 * differs, is still to be added to them.
 */
#include "fleck/gather.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "core/versioned.h"
#include "io/csv.h"
#include "record/gather_slice.h"
#include "record/run_folder.h"
#include "record/run_papers.h"
#include "record/run_table.h"

/* A patch of the whole list. */
struct place {
    const fleck_slice *slice; /* NULL: none has it */
    bool measured;
    size_t row; /* in its table, the header counted */
    fleck_record *record;
};

struct gathering {
    fleck_slice *slices;
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

static fleck_status put_places(struct gathering *gathering, const fleck_slice *slice, bool measured,
                               fleck_error *err)
{
    const size_t *const at = measured ? slice->measured_at : slice->failed_at;
    const size_t count = measured ? slice->measured_count : slice->failed_count;
    const fleck_csv *const table = measured ? slice->patches : slice->failures;
    const size_t first = table != NULL ? fleck_csv_row_count(table) - count : 0;

    for (size_t i = 0; i < count; i++) {
        if (at[i] >= gathering->place_count || gathering->places[at[i]].slice != NULL)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "%s/run.json is damaged; measure that slice again", slice->path);
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
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "%s/patches.csv is damaged; measure that slice again",
                          gathering->slices[0].path);
    gathering->inputs.columns =
        fleck_alloc_zeroed(cells - fixed, sizeof *gathering->inputs.columns);
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

    /* a row that was cut off has fewer cells */
    if (fleck_csv_cell_count(table, place->row) != fleck_csv_cell_count(table, 0) ||
        fleck_csv_cell_count(table, 0) < (place->measured ? 1 + columns : 3))
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
    size_t held = 0;

    for (size_t i = 0; i < gathering->count; i++)
        held += gathering->slices[i].measured_count + gathering->slices[i].failed_count;
    gathering->place_count = fleck_slice_whole_count(&gathering->slices[0]);
    if (status == FLECK_OK && held != gathering->place_count)
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "the slices hold %zu patches of the list's %zu; measure them again",
                            held, gathering->place_count);
    if (status != FLECK_OK)
        return status;
    gathering->places = fleck_alloc_zeroed(gathering->place_count, sizeof *gathering->places);
    gathering->inputs.items =
        fleck_alloc_zeroed(gathering->place_count, sizeof *gathering->inputs.items);
    gathering->paper = fleck_alloc_array(gathering->place_count, sizeof *gathering->paper);
    if (gathering->places == NULL || gathering->inputs.items == NULL || gathering->paper == NULL)
        return no_memory(err);
    for (size_t i = 0; i < gathering->place_count; i++)
        gathering->paper[i] = NAN;
    /* as many as there are places, and no place twice: none is left over */
    for (size_t i = 0; i < gathering->count && status == FLECK_OK; i++) {
        status = put_places(gathering, &gathering->slices[i], true, err);
        if (status == FLECK_OK)
            status = put_places(gathering, &gathering->slices[i], false, err);
    }
    return status;
}

static const char *id_at(const struct place *place)
{
    return fleck_csv_cell(place->slice->patches, place->row, 0);
}

static fleck_status read_record(const struct gathering *gathering, struct place *place,
                                fleck_error *err)
{
    place->record = fleck_alloc_array(1, sizeof *place->record);
    if (place->record == NULL)
        return no_memory(err);
    fleck_record_init(place->record);
    return fleck_run_folder_read_patch(place->slice->path, id_at(place),
                                       fleck_slice_has_flecks(&gathering->slices[0]), place->record,
                                       err);
}

static bool same_text(const char *a, const char *b)
{
    return a != NULL && b != NULL ? strcmp(a, b) == 0 : a == b;
}

/* Settings name calibration and mask; whether all machines had the same ones is told by the
 * records. */
static fleck_status check_files(const struct place *first, const struct place *other,
                                fleck_error *err)
{
    const char *differs = NULL;

    if (!same_text(first->record->settings.calibration_sha256,
                   other->record->settings.calibration_sha256))
        differs = "calibration";
    else if (!same_text(first->record->settings.mask_sha256, other->record->settings.mask_sha256))
        differs = "mask";
    if (differs == NULL)
        return FLECK_OK;
    return fleck_fail(
        err, FLECK_BAD_CALL,
        "%s and %s were measured with a %s of the same name and other content; measure all "
        "slices with the same file",
        first->slice->path, other->slice->path, differs);
}

/* All that can be wrong shows here, before anything is written. */
static fleck_status read_patches(struct gathering *gathering, fleck_error *err)
{
    const struct place *first = NULL;
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < gathering->place_count; i++) {
        struct place *const place = &gathering->places[i];

        if (place->measured)
            status = read_record(gathering, place, err);
        if (status == FLECK_OK && place->measured && first != NULL)
            status = check_files(first, place, err);
        if (status != FLECK_OK)
            break;
        if (place->measured && first == NULL)
            first = place;
        if (place->measured)
            gathering->paper[i] = place->record->tone.open_paper_reflectance;
        gathering->inputs.count = i + 1;
        status = fill_input(gathering, i, err);
    }
    return status;
}

static void add_failure(struct gathering *gathering, const char *id, const char *path,
                        const char *message)
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
        const fleck_slice *const slice = &gathering->slices[i];
        const size_t rows = slice->failures != NULL ? fleck_csv_row_count(slice->failures) : 0;

        for (size_t row = 1; row + slice->failed_count < rows; row++) {
            if (fleck_csv_cell_count(slice->failures, row) >= 3)
                add_failure(gathering, fleck_csv_cell(slice->failures, row, 0),
                            fleck_csv_cell(slice->failures, row, 1),
                            fleck_csv_cell(slice->failures, row, 2));
        }
    }
}

static fleck_status write_patch(struct gathering *gathering, size_t i,
                                const fleck_run_papers *papers, fleck_error *err)
{
    const fleck_gather_observer *const observer = gathering->observer;
    const fleck_input *const input = &gathering->inputs.items[i];
    const struct place *const place = &gathering->places[i];
    fleck_record *const record = place->record;
    fleck_status status = FLECK_OK;

    if (record == NULL) {
        add_failure(gathering, input->id, input->path, input->failure);
        return FLECK_OK;
    }
    if (papers->apart[i]) {
        status = fleck_paper_outliers_warn(&papers->outliers, gathering->paper[i],
                                           &record->warnings, err);
        if (status == FLECK_OK && observer->warning != NULL)
            observer->warning(observer->context, input->path,
                              record->warnings.items[record->warnings.count - 1].code,
                              record->warnings.items[record->warnings.count - 1].message);
    }
    if (status == FLECK_OK)
        status =
            fleck_run_folder_copy_tables(gathering->folder, place->slice->path, record->id, err);
    if (status == FLECK_OK)
        status = fleck_run_folder_rewrite_record(gathering->folder, record, err);
    if (status == FLECK_OK && observer->copy != NULL)
        status = observer->copy(observer->context, place->slice->path, input, record, err);
    if (status != FLECK_OK)
        return status;
    gathering->summary.measured++;
    fleck_run_table_row(&gathering->patch_rows, &gathering->inputs, input, record);
    if (observer->record != NULL)
        observer->record(observer->context, record);
    return FLECK_OK;
}

static fleck_status write_run(struct gathering *gathering, fleck_error *err)
{
    fleck_run_papers papers = { 0 };
    fleck_measure_summary summary = { 0 };
    fleck_status status = fleck_run_papers_find(&gathering->inputs, gathering->paper, &papers, err);

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
                                         summary.failed > 0 ? &gathering->failure_rows : NULL, NULL,
                                         &summary, &papers.warning, papers.outliers.count > 0, err);
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
    for (size_t i = 0; gathering->slices != NULL && i < gathering->count; i++)
        fleck_slice_clear(&gathering->slices[i]);
    fleck_free(gathering->slices);
    fleck_free(gathering->places);
    fleck_free(gathering->paper);
    fleck_text_clear(&gathering->patch_rows);
    fleck_text_clear(&gathering->failure_rows);
    fleck_run_folder_close(gathering->folder);
}

void fleck_gather_options_init(fleck_gather_options *options, size_t struct_bytes)
{
    const fleck_gather_options defaults = { 0 };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

void fleck_gather_observer_init(fleck_gather_observer *observer, size_t struct_bytes)
{
    const fleck_gather_observer defaults = { 0 };

    fleck_versioned_init(observer, struct_bytes, &defaults, sizeof defaults);
}

fleck_status fleck_gather(const char *const *runs, size_t count,
                          const fleck_gather_options *options, const char *out_run,
                          const fleck_gather_observer *observer, fleck_gather_summary *summary,
                          fleck_error *err)
{
    fleck_gather_options known = fleck_gather_options_default();
    fleck_gather_observer told = fleck_gather_observer_default();
    struct gathering gathering = { .count = count, .observer = &told };
    fleck_status status = FLECK_OK;

    *summary = (fleck_gather_summary){ 0 };
    if (options != NULL)
        status = fleck_versioned_take(options, &known, sizeof known, "gather options", err);
    if (status == FLECK_OK && observer != NULL)
        status = fleck_versioned_take(observer, &told, sizeof told, "observer's members", err);
    if (status != FLECK_OK)
        return status;
    if (count == 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "there is nothing to gather; name the folders of all slices");
    gathering.slices = fleck_alloc_zeroed(count, sizeof *gathering.slices);
    if (gathering.slices == NULL)
        status = no_memory(err);
    for (size_t i = 0; status == FLECK_OK && i < count; i++)
        status = fleck_slice_read(&gathering.slices[i], runs[i], err);
    for (size_t i = 1; status == FLECK_OK && i < count; i++)
        status = fleck_slices_check_alike(&gathering.slices[0], &gathering.slices[i], err);
    if (status == FLECK_OK)
        status = fleck_slices_check_complete(gathering.slices, count, err);
    if (status == FLECK_OK)
        status = make_list(&gathering, err);
    if (status == FLECK_OK)
        status = read_patches(&gathering, err);
    if (status == FLECK_OK && gathering.observer->begin != NULL)
        status = gathering.observer->begin(gathering.observer->context, &gathering.inputs, err);
    if (status == FLECK_OK)
        status = fleck_run_folder_open_gathered(out_run, gathering.slices[0].run, known.resume,
                                                &gathering.folder, err);
    if (status == FLECK_OK)
        status = write_run(&gathering, err);
    if (status == FLECK_OK && gathering.observer->end != NULL)
        gathering.observer->end(gathering.observer->context);
    gathering.summary.slices = count;
    *summary = gathering.summary;
    clear(&gathering);
    return status;
}
