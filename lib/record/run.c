/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A call of fleck_measure: scans are shared among threads, results wait in slots until all are there,
 * since only all together tell whose paper differs from the others'. Then tables and callbacks follow
 * the order of the inputs whatever the threads do.
 */
#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "core/spill.h"
#include "core/text.h"
#include "core/versioned.h"
#include "fleck/measure.h"
#include "io/csv.h"
#include "record/run_folder.h"
#include "record/run_papers.h"
#include "record/run_table.h"
#include "record/sheet.h"

/* The result of one input until all are there. */
struct slot {
    bool ready;
    bool resumed;
    bool changed;         /* differs from what the run folder holds */
    fleck_record *record; /* NULL for a failure */
    char *failure;
};

struct course {
    const fleck_inputs *inputs;
    const fleck_measure_options *options;
    const fleck_measure_observer *observer;
    fleck_run_folder *folder; /* NULL: nothing is written */
    fleck_budget *budget;
    fleck_scan_mask mask; /* of options->mask_path */

    fleck_sheet *sheets;
    fleck_sheet_patch *patches; /* of all sheets, grouped by sheet */
    size_t sheet_count;
    unsigned threads_per_sheet;
    fleck_calibration calibration;
    bool has_calibration;
    fleck_pool *pool; /* NULL when no threshold is pooled */
    fleck_decision decision; /* for the patches that await it */

    pthread_mutex_t lock; /* guards all below */
    struct slot *slots;
    size_t next; /* the slot whose turn it is */
    size_t done;
    fleck_measure_summary summary;
    double *paper; /* open paper of each input measured, else NAN */
    fleck_text patch_rows, failure_rows;
    fleck_text measured_at, failed_at; /* of a slice: places in the whole list, with commas */
    fleck_error machine; /* the first failure of the machine; status FLECK_OK while there is none */
};

static void note_machine(struct course *course, const fleck_error *err)
{
    pthread_mutex_lock(&course->lock);
    if (course->machine.status == FLECK_OK)
        course->machine = *err;
    pthread_mutex_unlock(&course->lock);
}

/* Or the caller wants to stop, which is kept as a failure too. */
static bool machine_failed(struct course *course)
{
    bool failed;

    if (course->observer->stop != NULL && course->observer->stop(course->observer->context)) {
        fleck_error err = { 0 };

        fleck_fail(&err, FLECK_NO_RESOURCE, "%s", fleck_stopped);
        note_machine(course, &err);
    }

    pthread_mutex_lock(&course->lock);
    failed = course->machine.status != FLECK_OK;
    pthread_mutex_unlock(&course->lock);
    return failed;
}

static void report_failure(struct course *course, const char *id, const char *path,
                           const char *message)
{
    course->summary.failed++;
    fleck_csv_add_cell(&course->failure_rows, id);
    fleck_csv_add_cell(&course->failure_rows, path);
    fleck_csv_add_cell(&course->failure_rows, message);
    fleck_csv_end_row(&course->failure_rows);
    if (course->observer->failure != NULL)
        course->observer->failure(course->observer->context, path, message);
}

/* Where a patch of a slice stands in the whole list. */
static void note_place(fleck_text *places, const fleck_inputs *inputs, size_t i)
{
    if (inputs->slice_of > 0)
        fleck_text_add_format(places, "%s%zu", places->length > 0 ? "," : "", inputs->places[i]);
}

/* Hand on all results up to the first that is missing, where the machine failed. */
static void hand_on(struct course *course)
{
    while (course->next < course->inputs->count && course->slots[course->next].ready) {
        struct slot *const slot = &course->slots[course->next];
        const fleck_input *const input = &course->inputs->items[course->next];

        if (slot->record != NULL) {
            course->summary.measured++;
            course->summary.resumed += slot->resumed;
            fleck_run_table_row(&course->patch_rows, course->inputs, input, slot->record);
            note_place(&course->measured_at, course->inputs, course->next);
            if (course->observer->record != NULL)
                course->observer->record(course->observer->context, slot->record);
            fleck_record_clear(slot->record);
            fleck_free(slot->record);
            slot->record = NULL;
        } else {
            report_failure(course, input->id, input->path,
                           slot->failure != NULL ? slot->failure
                                                 : "failed, and there is no memory for the reason; "
                                                   "measure it again");
            note_place(&course->failed_at, course->inputs, course->next);
            fleck_free(slot->failure);
            slot->failure = NULL;
        }
        course->next++;
    }
}

/* record (owned from here on) or failure text (copied) of an input */
static void put_result(struct course *course, size_t index, fleck_record *record, bool resumed,
                       const char *failure)
{
    fleck_record *kept = NULL;
    fleck_error err = { 0 };

    if (record != NULL) {
        kept = fleck_alloc_array(1, sizeof *kept);
        if (kept == NULL) {
            fleck_record_clear(record);
            fleck_fail(&err, FLECK_NO_RESOURCE, "no memory for a record; free some memory");
            note_machine(course, &err);
            return;
        }
        *kept = *record;
    }
    pthread_mutex_lock(&course->lock);
    if (kept != NULL)
        course->paper[index] = kept->tone.open_paper_reflectance;
    course->slots[index] = (struct slot){
        .ready = true,
        .resumed = resumed,
        .changed = kept != NULL && fleck_paper_outliers_unwarn(&kept->warnings),
        .record = kept,
        .failure = kept == NULL ? fleck_copy_text(failure) : NULL,
    };
    course->done++;
    if (course->observer->progress != NULL)
        course->observer->progress(course->observer->context, course->done, course->inputs->count);
    pthread_mutex_unlock(&course->lock);
}

static void patch_done(void *context, fleck_sheet_patch *patch, fleck_record *record,
                       fleck_dot_tables *tables)
{
    struct course *const course = context;
    /* patches of one scan come side by side already */
    const unsigned threads = course->inputs->count > 1 ? 1 : course->threads_per_sheet;
    fleck_error err = { 0 };

    if (record == NULL) {
        if (patch->failure.status == FLECK_NO_RESOURCE)
            note_machine(course, &patch->failure);
        else
            put_result(course, patch->index, NULL, false, patch->failure.message);
        return;
    }
    if (course->folder != NULL &&
        fleck_run_folder_write_patch(course->folder, record, tables, course->options, threads,
                                     &err) != FLECK_OK) {
        note_machine(course, &err);
        fleck_record_clear(record);
    } else {
        put_result(course, patch->index, record, false, NULL);
    }
    fleck_dot_tables_clear(tables);
}

/*
 * Whether a record of an earlier part of the run is what this call would give.
 * decided    what all patches decide is decided; before, a patch that depends on it waits
 */
static bool still_holds(const struct course *course, const fleck_record *record, bool decided)
{
    const fleck_measure_options *const options = course->options;
    const char *const used = record->settings.channel_used != NULL ? record->settings.channel_used : "";
    const bool grey = strcmp(used, "grey") == 0;
    const fleck_channel channel = grey ? FLECK_CHANNEL_LUMINANCE
                                  : options->channel == FLECK_CHANNEL_AUTO ? course->decision.channel
                                                                           : options->channel;

    if ((course->has_calibration || record->settings.calibration_sha256 != NULL) &&
        (!course->has_calibration || record->settings.calibration_sha256 == NULL ||
         strcmp(course->calibration.sha256, record->settings.calibration_sha256) != 0))
        return false;
    if (!decided)
        return options->threshold != FLECK_THRESHOLD_POOLED &&
               (grey || options->channel != FLECK_CHANNEL_AUTO);
    if (!grey && strcmp(used, fleck_channel_name(channel)) != 0)
        return false;
    return options->threshold != FLECK_THRESHOLD_POOLED ||
           record->threshold.threshold_reflectance ==
               fleck_cut_threshold_reflectance(course->decision.pooled_k[channel]);
}

/* Take over what an earlier part of the run has measured. */
static void take_over(struct course *course, fleck_sheet *sheet, bool decided)
{
    if (course->folder == NULL || !course->options->resume)
        return;
    for (size_t i = 0; i < sheet->patch_count; i++) {
        fleck_sheet_patch *const patch = &sheet->patches[i];
        fleck_record record;

        if (patch->skip || patch->failure.status != FLECK_OK ||
            !fleck_run_folder_find_patch(course->folder, patch->input, sheet->source.sha256,
                                         course->options, sheet->mask, &record))
            continue;
        if (!still_holds(course, &record, decided)) {
            fleck_record_clear(&record);
            continue;
        }
        patch->skip = true;
        put_result(course, patch->index, &record, true, NULL);
    }
}

static bool all_skipped(const fleck_sheet *sheet)
{
    for (size_t i = 0; i < sheet->patch_count; i++) {
        if (!sheet->patches[i].skip)
            return false;
    }
    return true;
}

/* Survey a scan, and measure it at once when nothing has to be decided with the others. */
static void first_round(void *context, unsigned worker, size_t i)
{
    struct course *const course = context;
    fleck_sheet *const sheet = &course->sheets[i];

    (void)worker;
    if (machine_failed(course))
        return;
    fleck_sheet_identify(sheet);
    take_over(course, sheet, false);
    if (all_skipped(sheet)) {
        fleck_sheet_clear(sheet);
        return;
    }
    fleck_sheet_survey(sheet, course->threads_per_sheet);
    if (fleck_sheet_awaits_others(sheet))
        return;
    fleck_sheet_measure(sheet, &course->decision, course->threads_per_sheet, patch_done, course);
    fleck_sheet_clear(sheet);
    for (size_t k = 0; k < sheet->patch_count; k++)
        sheet->patches[k].skip = true;
}

static void second_round(void *context, unsigned worker, size_t i)
{
    struct course *const course = context;
    fleck_sheet *const sheet = &course->sheets[i];

    (void)worker;
    if (all_skipped(sheet) || machine_failed(course))
        return;
    take_over(course, sheet, true);
    if (!all_skipped(sheet))
        fleck_sheet_measure(sheet, &course->decision, course->threads_per_sheet, patch_done, course);
    fleck_sheet_clear(sheet);
}

/*
 * The channel with the largest mean between-class variance over the patches that await one; the first
 * in the order of fleck_channel when two are equal. Summed in the order of the inputs.
 */
static fleck_channel choose_channel(struct course *course)
{
    double sums[FLECK_CHANNELS] = { 0 };
    const fleck_sheet_patch **by_index = fleck_alloc_zeroed(course->inputs->count, sizeof *by_index);
    fleck_channel best = FLECK_CHANNEL_LUMINANCE;

    if (by_index == NULL) {
        fleck_error err = { 0 };

        fleck_fail(&err, FLECK_NO_RESOURCE, "no memory to choose a channel; free some memory");
        note_machine(course, &err);
        return best;
    }
    for (size_t i = 0; i < course->sheet_count; i++) {
        for (size_t k = 0; k < course->sheets[i].patch_count; k++)
            by_index[course->sheets[i].patches[k].index] = &course->sheets[i].patches[k];
    }
    for (size_t i = 0; i < course->inputs->count; i++) {
        const fleck_sheet_patch *const patch = by_index[i];

        if (patch == NULL || patch->patch == NULL || patch->failure.status != FLECK_OK ||
            !fleck_patch_awaits_channel(patch->patch))
            continue;
        for (size_t c = 0; c < FLECK_CHANNELS; c++)
            sums[c] += fleck_patch_between_variance(patch->patch, (fleck_channel)c);
    }
    for (size_t c = 1; c < FLECK_CHANNELS; c++) {
        if (sums[c] > sums[best])
            best = (fleck_channel)c;
    }
    fleck_free(by_index);
    return best;
}

/* Channel and pooled threshold, from all patches that await them. */
static void decide_together(struct course *course)
{
    course->decision.channel = choose_channel(course);
    for (size_t c = 0; course->pool != NULL && c < FLECK_CHANNELS; c++) {
        /* a channel that no patch has, or of one tone, has no threshold: nothing will be cut by it */
        if (fleck_pool_cut(course->pool, (fleck_channel)c, course->options->ink,
                           &course->decision.pooled_k[c], NULL) != FLECK_OK)
            course->decision.pooled_k[c] = 0;
    }
}

/* Warn of scans whose bare paper differs from the others', in their records and to the observer. */
static fleck_status warn_of_papers(struct course *course, const fleck_run_papers *papers,
                                   fleck_error *err)
{
    const fleck_measure_observer *const observer = course->observer;
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < course->inputs->count; i++) {
        struct slot *const slot = &course->slots[i];
        const fleck_warnings *warnings;

        if (slot->record == NULL)
            continue;
        warnings = &slot->record->warnings;
        if (papers->apart[i]) {
            status = fleck_paper_outliers_warn(&papers->outliers, course->paper[i],
                                               &slot->record->warnings, err);
            slot->changed = true;
        }
        if (status == FLECK_OK && slot->changed && course->folder != NULL)
            status = fleck_run_folder_rewrite_record(course->folder, slot->record, err);
        if (status == FLECK_OK && papers->apart[i] && observer->warning != NULL)
            observer->warning(observer->context, course->inputs->items[i].path,
                              warnings->items[warnings->count - 1].code,
                              warnings->items[warnings->count - 1].message);
    }
    return status;
}

/* What only all patches together tell, then the tables. */
static fleck_status finish_course(struct course *course, fleck_error *err)
{
    const bool whole = course->inputs->slice_of == 0;
    fleck_run_papers papers = { 0 };
    fleck_run_slice slice = { .inputs = course->inputs };
    const fleck_text *failures;
    fleck_status status = FLECK_OK;

    /* of a slice they are compared when all are gathered */
    if (whole)
        status = fleck_run_papers_find(course->inputs, course->paper, &papers, err);
    if (status == FLECK_OK && whole)
        status = warn_of_papers(course, &papers, err);
    hand_on(course);
    slice.measured_at = &course->measured_at;
    slice.failed_at = &course->failed_at;
    if (status == FLECK_OK && (course->patch_rows.failed || course->failure_rows.failed ||
                               course->measured_at.failed || course->failed_at.failed))
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the tables; free some memory");
    failures = course->summary.failed > 0 ? &course->failure_rows : NULL;
    if (status == FLECK_OK && course->folder != NULL)
        status = fleck_run_folder_finish(course->folder, &course->patch_rows, failures, &slice,
                                         &course->summary, &papers.warning,
                                         papers.outliers.count > 0, err);
    fleck_run_papers_clear(&papers);
    return status;
}

static int by_path(const void *a, const void *b)
{
    const fleck_sheet_patch *const one = a, *const other = b;
    const int order = strcmp(one->input->path, other->input->path);

    if (order != 0)
        return order;
    if (one->input->source != other->input->source)
        return one->input->source < other->input->source ? -1 : 1;
    return one->index < other->index ? -1 : one->index > other->index;
}

static bool same_scan(const fleck_input *a, const fleck_input *b)
{
    return strcmp(a->path, b->path) == 0 && a->source == b->source;
}

static int by_first_index(const void *a, const void *b)
{
    const fleck_sheet *const one = a, *const other = b;

    return one->patches[0].index < other->patches[0].index ? -1 : 1;
}

/* Group the inputs by scan, the scans in the order of their first patches. */
static fleck_status make_sheets(struct course *course, fleck_error *err)
{
    const fleck_inputs *const inputs = course->inputs;
    size_t live = 0;

    course->patches = fleck_alloc_zeroed(inputs->count, sizeof *course->patches);
    course->sheets = fleck_alloc_zeroed(inputs->count, sizeof *course->sheets);
    if (course->patches == NULL || course->sheets == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the list of patches; free some memory");
    for (size_t i = 0; i < inputs->count; i++) {
        if (inputs->items[i].failure == NULL) {
            course->patches[live].index = i;
            course->patches[live].input = &inputs->items[i];
            live++;
        }
    }
    if (live > 0)
        qsort(course->patches, live, sizeof *course->patches, by_path);
    for (size_t i = 0; i < live; i++) {
        fleck_sheet *sheet;

        if (i == 0 || !same_scan(course->patches[i].input, course->patches[i - 1].input)) {
            sheet = &course->sheets[course->sheet_count++];
            sheet->source.path = course->patches[i].input->path;
            sheet->source.page = course->options->page;
            if (course->patches[i].input->source > 0)
                sheet->source.given = &inputs->sources[course->patches[i].input->source - 1];
            sheet->lock = &course->lock;
            sheet->options = course->options;
            sheet->observer = course->observer;
            sheet->budget = course->budget;
            sheet->calibration = course->has_calibration ? &course->calibration : NULL;
            sheet->pool = course->pool;
            sheet->mask = course->mask.mask != NULL ? &course->mask : NULL;
            sheet->patches = &course->patches[i];
        }
        sheet = &course->sheets[course->sheet_count - 1];
        sheet->patch_count++;
    }
    if (course->sheet_count > 0)
        qsort(course->sheets, course->sheet_count, sizeof *course->sheets, by_first_index);
    return FLECK_OK;
}

static fleck_status refuse_to_choose(fleck_error *err)
{
    return fleck_fail(err, FLECK_BAD_CALL,
                      "the channel of colour scans is chosen from all patches of a run, which a slice does "
                      "not see; give --channel red, green, blue or luminance for all slices");
}

/* What all patches of a run decide cannot be decided by a slice. */
static fleck_status check_slice(const struct course *course, fleck_error *err)
{
    if (course->inputs->slice_of == 0)
        return FLECK_OK;
    if (course->options->threshold == FLECK_THRESHOLD_POOLED)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a pooled threshold comes from all patches of a run, which a slice does not see; "
                          "give --threshold otsu or fixed:R");
    for (size_t i = 0; i < course->sheet_count; i++) {
        if (fleck_sheet_will_await_channel(&course->sheets[i]))
            return refuse_to_choose(err);
    }
    return FLECK_OK;
}

/* The same of a scan that was another file a moment ago. */
static void check_surveyed(struct course *course)
{
    fleck_error err = { 0 };

    for (size_t i = 0; i < course->sheet_count; i++) {
        if (!all_skipped(&course->sheets[i]) && fleck_sheet_awaits_others(&course->sheets[i])) {
            (void)refuse_to_choose(&err);
            note_machine(course, &err);
            return;
        }
    }
}

static unsigned core_count(void)
{
    const long cores = sysconf(_SC_NPROCESSORS_ONLN);

    return cores > 0 && cores <= 1024 ? (unsigned)cores : 1;
}

static size_t default_memory_bytes(void)
{
    const long pages = sysconf(_SC_PHYS_PAGES);
    const long page_bytes = sysconf(_SC_PAGESIZE);

    if (pages <= 0 || page_bytes <= 0)
        return (size_t)1 << 28;
    return (size_t)pages / 4 * (size_t)page_bytes;
}

/* All that is known to fail before anything is opened. */
static void report_early_failures(struct course *course)
{
    const fleck_inputs *const inputs = course->inputs;

    pthread_mutex_lock(&course->lock);
    for (size_t i = 0; i < inputs->failure_count; i++)
        report_failure(course, "", inputs->failures[i].path, inputs->failures[i].message);
    pthread_mutex_unlock(&course->lock);
    for (size_t i = 0; i < inputs->count; i++) {
        if (inputs->items[i].failure != NULL)
            put_result(course, i, NULL, false, inputs->items[i].failure);
    }
}

static void note_threads(struct course *course, unsigned workers, unsigned asked)
{
    char message[128];

    if (course->observer->note == NULL)
        return;
    snprintf(message, sizeof message, "%u of %u threads could be started: measuring takes longer", workers,
             asked);
    pthread_mutex_lock(&course->lock);
    course->observer->note(course->observer->context, NULL, message);
    pthread_mutex_unlock(&course->lock);
}

static fleck_status run_course(struct course *course, fleck_error *err)
{
    const unsigned jobs = course->options->jobs > 0 ? course->options->jobs : core_count();
    unsigned outer, workers;

    fleck_run_table_header(&course->patch_rows, course->inputs);
    fleck_text_add(&course->failure_rows, "id,path,message\n");
    report_early_failures(course);
    outer = jobs < course->sheet_count ? jobs : (unsigned)course->sheet_count;
    course->threads_per_sheet = outer > 0 ? jobs / outer : 1;
    workers = fleck_parallel_for(outer, course->sheet_count, first_round, course);
    if (workers < outer)
        note_threads(course, workers, outer);
    if (course->inputs->slice_of > 0)
        check_surveyed(course);
    decide_together(course);
    fleck_parallel_for(outer, course->sheet_count, second_round, course);
    if (course->machine.status == FLECK_OK)
        return finish_course(course, err);
    hand_on(course);
    if (err != NULL)
        *err = course->machine;
    return course->machine.status;
}

static void clear_course(struct course *course)
{
    for (size_t i = 0; i < course->sheet_count; i++)
        fleck_sheet_clear(&course->sheets[i]);
    for (size_t i = 0; course->slots != NULL && i < course->inputs->count; i++) {
        fleck_record_clear(course->slots[i].record);
        fleck_free(course->slots[i].record);
        fleck_free(course->slots[i].failure);
    }
    fleck_free(course->slots);
    fleck_free(course->paper);
    fleck_pool_free(course->pool);
    fleck_calibration_clear(&course->calibration);
    fleck_free(course->sheets);
    fleck_free(course->patches);
    fleck_text_clear(&course->patch_rows);
    fleck_text_clear(&course->failure_rows);
    fleck_text_clear(&course->measured_at);
    fleck_text_clear(&course->failed_at);
    fleck_run_folder_close(course->folder);
    fleck_budget_free(course->budget);
    fleck_scan_mask_clear(&course->mask);
    pthread_mutex_destroy(&course->lock);
}

/* A calibration that cannot be used makes the call wrong, whatever is wrong with it. */
static fleck_status read_calibration(struct course *course, fleck_error *err)
{
    fleck_error why = { 0 };
    const fleck_status status =
        fleck_calibration_read(course->options->calibration_path, &course->calibration, &why);

    course->has_calibration = status == FLECK_OK;
    if (status == FLECK_OK)
        return FLECK_OK;
    return fleck_fail(err, status == FLECK_BAD_INPUT ? FLECK_BAD_CALL : status,
                      "calibration %s: %s", course->options->calibration_path, why.message);
}

fleck_status fleck_measure(const fleck_inputs *inputs, const fleck_measure_options *options,
                           const char *run_folder, const fleck_measure_observer *observer,
                           fleck_measure_summary *summary, fleck_error *err)
{
    fleck_measure_options known = fleck_measure_options_default();
    fleck_measure_observer told = fleck_measure_observer_default();
    struct course course = { .inputs = inputs, .options = &known, .observer = &told };
    size_t memory_bytes;
    fleck_status status;

    *summary = (fleck_measure_summary){ 0 };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "measure options", err)) != FLECK_OK ||
        (status = fleck_measure_options_check(&known, err)) != FLECK_OK)
        return status;
    if (observer != NULL && (status = fleck_versioned_take(observer, &told, sizeof told,
                                                           "observer's members", err)) != FLECK_OK)
        return status;
    options = &known;
    if (inputs->count == 0 && inputs->failure_count == 0 && inputs->slice_of == 0)
        return fleck_fail(err, FLECK_BAD_CALL, "there is nothing to measure; name a scan, a folder or "
                                               "a manifest");
    if (pthread_mutex_init(&course.lock, NULL) != 0)
        return fleck_fail(err, FLECK_NO_RESOURCE, "cannot make a lock; free some memory");
    memory_bytes = options->memory_bytes > 0 ? options->memory_bytes : default_memory_bytes();
    fleck_spill_begin(memory_bytes);
    fleck_parallel_hold();
    course.budget = fleck_budget_new(fleck_spill_heap_share(memory_bytes));
    course.slots = fleck_alloc_zeroed(inputs->count, sizeof *course.slots);
    course.paper = fleck_alloc_array(inputs->count, sizeof *course.paper);
    for (size_t i = 0; course.paper != NULL && i < inputs->count; i++)
        course.paper[i] = NAN;
    if (options->threshold == FLECK_THRESHOLD_POOLED)
        course.pool = fleck_pool_new();
    fleck_calibration_init(&course.calibration);
    if (course.budget == NULL || course.slots == NULL || course.paper == NULL ||
        (options->threshold == FLECK_THRESHOLD_POOLED && course.pool == NULL))
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the list of patches; free some memory");
    if (status == FLECK_OK && options->calibration_path != NULL)
        status = read_calibration(&course, err);
    if (status == FLECK_OK && options->mask_path != NULL)
        status = fleck_scan_mask_read(options->mask_path, &course.mask, err);
    if (status == FLECK_OK)
        status = make_sheets(&course, err);
    if (status == FLECK_OK)
        status = check_slice(&course, err);
    if (status == FLECK_OK && run_folder != NULL)
        status = fleck_run_folder_open(run_folder, inputs, options, &course.folder, err);
    if (status == FLECK_OK)
        status = run_course(&course, err);
    *summary = course.summary;
    clear_course(&course);
    fleck_parallel_release();
    fleck_spill_end();
    return status;
}
