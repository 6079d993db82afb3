/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the page tells, read and worked out before a word of it is written. */
#include <math.h>
#include <string.h>
#include <sys/stat.h>

#include <cjson/cJSON.h>

#include "core/memory.h"
#include "fleck/overlay.h"
#include "io/json_text.h"
#include "report/report_parts.h"
#include "report/report_picture.h"
#include "study/study_table.h"

enum { MOST_TOLERANCES = 64, MOST_RUN_BYTES = 16 * 1024 * 1024, MOST_FACTORS = 4 };

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the report; free some memory");
}

static char *text_of(const cJSON *document, const char *key)
{
    const cJSON *const item = cJSON_GetObjectItemCaseSensitive(document, key);

    return cJSON_IsString(item) ? fleck_copy_text(item->valuestring) : NULL;
}

/* When and by what the run was made; what it does not tell stays unknown. */
static void read_run(report_data *report)
{
    char *const path = fleck_study_join(report->run, "", "run", ".json");
    char *bytes = NULL;
    size_t size = 0;
    cJSON *document = NULL;

    report->failed = NAN;
    if (path != NULL && run_file_read(path, MOST_RUN_BYTES, &bytes, &size))
        document = fleck_json_parse(bytes, size, NULL, NULL);
    if (document != NULL) {
        const cJSON *const failed = cJSON_GetObjectItemCaseSensitive(document, "failed");

        report->program_version = text_of(document, "program_version");
        report->started = text_of(document, "started");
        report->finished = text_of(document, "finished");
        if (cJSON_IsNumber(failed))
            report->failed = failed->valuedouble;
    }
    cJSON_Delete(document);
    fleck_free(bytes);
    fleck_free(path);
}

static fleck_status read_records(report_data *report, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    report->records = fleck_alloc_zeroed(report->count > 0 ? report->count : 1, sizeof *report->records);
    if (report->records == NULL)
        return no_memory(err);
    for (size_t row = 0; status == FLECK_OK && row < report->count; row++)
        status = fleck_study_read_record(report->study, row, &report->records[row], err);
    return status;
}

static bool has_value(const report_data *report, size_t column)
{
    for (size_t row = 0; row < report->count; row++) {
        if (fleck_study_text(report->study, row, column)[0] != '\0')
            return true;
    }
    return false;
}

/* The measures asked for, or the usual ones that some patch has. */
static fleck_status find_measures(report_data *report, fleck_error *err)
{
    size_t count = report->options->measure_count;
    const bool asked = count > 0;
    const char *const *const names =
        asked ? report->options->measures : fleck_study_default_measures(&count);
    fleck_status status = FLECK_OK;

    report->measures = fleck_alloc_array(count, sizeof *report->measures);
    report->measure_columns = fleck_alloc_array(count, sizeof *report->measure_columns);
    if (report->measures == NULL || report->measure_columns == NULL)
        return no_memory(err);
    for (size_t i = 0; status == FLECK_OK && i < count; i++) {
        size_t column = fleck_study_find_column(report->study, names[i]);

        if (asked)
            status = fleck_study_need_column(report->study, names[i], "measure", &column, err);
        if (status != FLECK_OK || column == FLECK_STUDY_NONE || (!asked && !has_value(report, column)))
            continue;
        report->measures[report->measure_count] = names[i];
        report->measure_columns[report->measure_count++] = column;
    }
    return status;
}

/* Columns that tell patches apart: not where they were taken from, and not all the same. */
static fleck_status find_factors(report_data *report, fleck_error *err)
{
    static const char *const places[] = { "id", "scan", "patch", "region", "tilt_deg", "speckle", "warnings" };
    const size_t columns = fleck_study_column_count(report->study);

    report->factors = fleck_alloc_array(columns + 2, sizeof *report->factors);
    if (report->factors == NULL)
        return no_memory(err);
    /* what is asked about stands first */
    for (size_t i = 0; i < 2; i++) {
        const char *const asked = i == 0 ? report->options->by : report->options->order;
        const size_t column = asked != NULL ? fleck_study_find_column(report->study, asked) : FLECK_STUDY_NONE;

        if (column != FLECK_STUDY_NONE && !fleck_study_column_is_measure(report->study, column))
            report->factors[report->factor_count++] = column;
    }
    if (report->factor_count == 2 && report->factors[0] == report->factors[1])
        report->factor_count = 1;
    for (size_t column = 0; column < columns && report->factor_count < MOST_FACTORS; column++) {
        const char *const name = fleck_study_column_name(report->study, column);
        bool wanted = !fleck_study_column_is_measure(report->study, column), differs = false;

        for (size_t i = 0; i < sizeof places / sizeof *places; i++)
            wanted = wanted && strcmp(name, places[i]) != 0;
        for (size_t i = 0; i < report->factor_count; i++)
            wanted = wanted && report->factors[i] != column;
        for (size_t row = 1; row < report->count; row++)
            differs = differs || strcmp(fleck_study_text(report->study, row, column),
                                        fleck_study_text(report->study, 0, column)) != 0;
        if (wanted && differs)
            report->factors[report->factor_count++] = column;
    }
    return FLECK_OK;
}

static fleck_status compare(report_data *report, fleck_error *err)
{
    const fleck_report_options *const options = report->options;
    fleck_compare_options wanted = fleck_compare_options_default();
    fleck_compare_tolerance tolerances[MOST_TOLERANCES];
    fleck_relate_options related = fleck_relate_options_default();
    fleck_status status;

    for (size_t i = 0; i < options->tolerance_count; i++)
        tolerances[i] = (fleck_compare_tolerance){ options->tolerances[i].measure,
                                                   options->tolerances[i].amount,
                                                   options->tolerances[i].percent };
    wanted.by = options->by;
    wanted.measures = options->measures;
    wanted.measure_count = options->measure_count;
    wanted.tolerances = tolerances;
    wanted.tolerance_count = options->order == NULL ? options->tolerance_count : 0;
    wanted.unit = options->unit;
    wanted.rescan = options->rescan;
    wanted.print = options->rescan != NULL ? options->print : NULL;
    wanted.mixed = options->mixed;
    wanted.seed = options->seed;
    if ((status = fleck_compare_study(report->study, &wanted, &report->compare, err)) != FLECK_OK)
        return status;
    report->compared = true;
    if ((status = fleck_study_need_column(report->study, options->by, "column", &report->by, err)) !=
            FLECK_OK ||
        (status = run_groups_find(report->study, report->by, &report->groups, err)) != FLECK_OK)
        return status;
    if (!report->groups.numeric || report->groups.count < 3)
        return FLECK_OK;
    related.factors = &options->by;
    related.factor_count = 1;
    related.measures = options->measures;
    related.measure_count = options->measure_count;
    related.unit = options->unit;
    related.mixed = options->mixed;
    status = fleck_relate_study(report->study, &related, &report->relate, err);
    /* a line is told beside the groups where there is one; that there is none is no failure */
    report->related = status == FLECK_OK;
    return status == FLECK_NO_RESOURCE ? status : FLECK_OK;
}

static bool has_id(const fleck_study *study, const char *id)
{
    for (size_t row = 0; row < fleck_study_row_count(study); row++) {
        if (strcmp(fleck_study_id(study, row), id) == 0)
            return true;
    }
    return false;
}

static bool is_folder(const char *path)
{
    struct stat about;

    return stat(path, &about) == 0 && S_ISDIR(about.st_mode);
}

static fleck_status judge(report_data *report, fleck_error *err)
{
    const fleck_report_options *const options = report->options;
    fleck_edition_options wanted = fleck_edition_options_default();
    fleck_edition_tolerance tolerances[MOST_TOLERANCES];
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < options->tolerance_count; i++)
        tolerances[i] = (fleck_edition_tolerance){ options->tolerances[i].measure,
                                                   options->tolerances[i].amount,
                                                   options->tolerances[i].percent };
    wanted.order = options->order;
    wanted.print = options->print;
    wanted.rescan = options->rescan;
    wanted.edition_size = options->edition_size;
    wanted.tolerances = tolerances;
    wanted.tolerance_count = options->tolerance_count;
    wanted.measures = options->measures;
    wanted.measure_count = options->measure_count;
    wanted.mixed = options->mixed;
    if (options->reference != NULL) {
        if (has_id(report->study, options->reference) || !is_folder(options->reference)) {
            wanted.reference_id = report->reference_id = options->reference;
        } else {
            const char *const both[] = { report->run, options->reference };

            report->judged = NULL;
            status = fleck_study_read(both, 2, &report->judged, err);
            wanted.reference_run = 1;
        }
    }
    if (status == FLECK_OK)
        status = fleck_edition_judge(report->judged, &wanted, &report->edition, err);
    report->edited = status == FLECK_OK;
    return status;
}

static cairo_surface_t *read_sheet(const char *run)
{
    char *const path = fleck_overlay_path(run, "", FLECK_OVERLAY_SHEET);
    cairo_surface_t *const sheet = path != NULL ? picture_read(path) : NULL;

    fleck_free(path);
    return sheet;
}

fleck_status report_read(report_data *report, const char *run, const fleck_report_options *options,
                         fleck_error *err)
{
    fleck_status status;

    memset(report, 0, sizeof *report);
    report->run = run;
    report->options = options;
    report->by = FLECK_STUDY_NONE;
    if (options->tolerance_count > MOST_TOLERANCES)
        return fleck_fail(err, FLECK_BAD_CALL, "too many tolerances; give at most %d", MOST_TOLERANCES);
    if (options->tolerance_count > 0 && options->by == NULL && options->order == NULL)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a tolerance without anything to compare; give --by or --order with it");
    if (options->reference != NULL && options->order == NULL)
        return fleck_fail(err, FLECK_BAD_CALL, "a reference without an edition; give --order with it");
    if (options->edition_size > 0 && options->order == NULL)
        return fleck_fail(err, FLECK_BAD_CALL, "an edition's size without an edition; give --order with it");
    if (options->rescan != NULL && options->by == NULL && options->order == NULL)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "scans of one print without anything to compare; give --by or --order with it");
    if ((status = fleck_study_read(&run, 1, &report->study, err)) != FLECK_OK)
        return status;
    report->judged = report->study;
    report->count = fleck_study_row_count(report->study);
    if ((status = read_records(report, err)) != FLECK_OK ||
        (status = find_measures(report, err)) != FLECK_OK ||
        (status = find_factors(report, err)) != FLECK_OK)
        return status;
    read_run(report);
    report->sheet = read_sheet(run);
    if (options->by != NULL && (status = compare(report, err)) != FLECK_OK)
        return status;
    return options->order != NULL ? judge(report, err) : FLECK_OK;
}

void report_clear(report_data *report)
{
    for (size_t row = 0; report->records != NULL && row < report->count; row++)
        fleck_record_clear(&report->records[row]);
    fleck_free(report->records);
    cairo_surface_destroy(report->sheet);
    fleck_free(report->measures);
    fleck_free(report->measure_columns);
    fleck_free(report->factors);
    fleck_free(report->program_version);
    fleck_free(report->started);
    fleck_free(report->finished);
    run_groups_clear(&report->groups);
    fleck_compare_clear(&report->compare);
    fleck_relate_clear(&report->relate);
    fleck_edition_clear(&report->edition);
    if (report->judged != report->study)
        fleck_study_free(report->judged);
    fleck_study_free(report->study);
    memset(report, 0, sizeof *report);
}
