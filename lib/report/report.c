/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The page is put together from its parts. Patches are by far the largest: the richest of a few levels
 * of detail is taken at which the page stays within its size, told from a sample of them first.
 */
#include "fleck/report.h"

#include <math.h>
#include <string.h>
#include <unistd.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "core/versioned.h"
#include "report/report_html.h"
#include "report/report_parts.h"

enum { SAMPLE = 5, MOST_BYTES = 24 * 1000 * 1000, MOST_MEASURES = 60 };

static const report_level levels[] = {
    { .thumb_px = 240, .overlay_px = 720, .detail_px = 640, .plots = 6, .quality = 66 },
    { .thumb_px = 240, .overlay_px = 640, .detail_px = 480, .plots = 6, .quality = 62 },
    { .thumb_px = 200, .overlay_px = 560, .detail_px = 480, .plots = 4, .quality = 64 },
    { .thumb_px = 160, .overlay_px = 480, .detail_px = 0, .plots = 2, .quality = 60 },
    { .thumb_px = 160, .overlay_px = 320, .detail_px = 0, .plots = 1, .quality = 50 },
    { .thumb_px = 120, .overlay_px = 0, .detail_px = 0, .plots = 0, .quality = 50 },
    { .thumb_px = 64, .overlay_px = 0, .detail_px = 0, .plots = 0, .quality = 40 },
};

enum { LEVELS = sizeof levels / sizeof *levels };

void fleck_report_options_init(fleck_report_options *options, size_t struct_bytes)
{
    const fleck_report_options defaults = { .seed = 1, .most_bytes = MOST_BYTES };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the page; free some memory");
}

/* ---- patches ---- */

struct patches {
    const report_data *report;
    const report_level *level;
    const size_t *rows;
    fleck_text *pieces; /* of each of the rows */
    bool *pictured;
    fleck_status *status;
    fleck_error *errors;
};

static void make_piece(void *context, unsigned worker, size_t i)
{
    struct patches *const patches = context;

    (void)worker;
    patches->status[i] = report_add_patch(&patches->pieces[i], patches->report, patches->rows[i],
                                          patches->level, &patches->pictured[i], &patches->errors[i]);
    if (patches->status[i] == FLECK_OK && patches->pieces[i].failed)
        patches->status[i] = no_memory(&patches->errors[i]);
}

/*
 * Add the patches of the given rows at a level.
 *
 * length, pictured    out: bytes they take, and how many have a picture
 * text                NULL: they are only made
 */
static fleck_status add_rows(fleck_text *text, const report_data *report, const report_level *level,
                             const size_t *rows, size_t count, size_t *length, size_t *pictured,
                             fleck_error *err)
{
    const long cores = sysconf(_SC_NPROCESSORS_ONLN);
    const size_t room = count > 0 ? count : 1;
    struct patches patches = {
        .report = report,
        .level = level,
        .rows = rows,
        .pieces = fleck_alloc_zeroed(room, sizeof *patches.pieces),
        .pictured = fleck_alloc_zeroed(room, sizeof *patches.pictured),
        .status = fleck_alloc_zeroed(room, sizeof *patches.status),
        .errors = fleck_alloc_zeroed(room, sizeof *patches.errors),
    };
    fleck_status status = FLECK_OK;

    *length = *pictured = 0;
    if (patches.pieces == NULL || patches.pictured == NULL || patches.status == NULL ||
        patches.errors == NULL) {
        status = no_memory(err);
    } else {
        fleck_parallel_for(cores > 1 ? (unsigned)cores : 1, count, make_piece, &patches);
        for (size_t i = 0; i < count; i++) {
            if (patches.status[i] != FLECK_OK && status == FLECK_OK) {
                status = patches.status[i];
                if (err != NULL)
                    *err = patches.errors[i];
            }
            *length += patches.pieces[i].length;
            *pictured += patches.pictured[i];
            if (text != NULL && status == FLECK_OK)
                fleck_text_add_bytes(text, patches.pieces[i].bytes, patches.pieces[i].length);
            fleck_text_clear(&patches.pieces[i]);
        }
    }
    fleck_free(patches.pieces);
    fleck_free(patches.pictured);
    fleck_free(patches.status);
    fleck_free(patches.errors);
    return status;
}

/* All patches at the richest level that fits into so many bytes. */
static fleck_status add_patches(fleck_text *text, const report_data *report, size_t most_bytes,
                                fleck_report_summary *summary, fleck_error *err)
{
    size_t *const rows = fleck_alloc_array(report->count > 0 ? report->count : 1, sizeof *rows);
    size_t sample[SAMPLE], sampled = report->count < SAMPLE ? report->count : SAMPLE;
    fleck_status status = FLECK_OK;

    if (rows == NULL)
        return no_memory(err);
    for (size_t row = 0; row < report->count; row++)
        rows[row] = row;
    for (size_t i = 0; i < sampled; i++)
        sample[i] = i * report->count / sampled;
    for (size_t i = 0; i < LEVELS; i++) {
        fleck_text made = { 0 };
        size_t length;

        if (sampled < report->count) {
            status = add_rows(NULL, report, &levels[i], sample, sampled, &length, &summary->with_pictures, err);
            if (status != FLECK_OK)
                break;
            if ((double)length / (double)sampled * (double)report->count > (double)most_bytes)
                continue;
        }
        status = add_rows(&made, report, &levels[i], rows, report->count, &length, &summary->with_pictures, err);
        if (status == FLECK_OK && made.length <= most_bytes) {
            fleck_text_add_bytes(text, made.bytes != NULL ? made.bytes : "", made.length);
            summary->reduced = i > 0;
            if (i > 0) {
                fleck_text_add(text, "<p class=\"small\">To keep the page small, pictures are smaller");
                fleck_text_add(text, levels[i].plots < 6 ? " and plots fewer" : "");
                fleck_text_add(text, " than they could be: <code>fleck plot</code> draws all plots, and the "
                                     "run\xe2\x80\x99s folder pictures holds the pictures at full size.</p>\n");
            }
            fleck_text_clear(&made);
            fleck_free(rows);
            return FLECK_OK;
        }
        fleck_text_clear(&made);
        if (status != FLECK_OK)
            break;
    }
    fleck_free(rows);
    if (status != FLECK_OK)
        return status;
    return fleck_fail(err, FLECK_BAD_CALL, "%zu patches do not fit on a page of that size; allow a larger one",
                      report->count);
}

/* ---- the page ---- */

/* The run's folder, without the path to it. */
static void add_run_name(fleck_text *text, const char *run)
{
    size_t length = strlen(run), from;
    char *name;

    while (length > 1 && run[length - 1] == '/')
        length--;
    from = length;
    while (from > 0 && run[from - 1] != '/')
        from--;
    name = fleck_alloc_array(length - from + 1, 1);
    if (name == NULL) {
        text->failed = true;
        return;
    }
    memcpy(name, run + from, length - from);
    name[length - from] = '\0';
    html_add(text, name);
    fleck_free(name);
}

static void add_title(fleck_text *text, const report_data *report)
{
    if (report->options->title != NULL) {
        html_add(text, report->options->title);
        return;
    }
    fleck_text_add(text, "Speckle of ");
    add_run_name(text, report->run);
}

static bool has_doubts(const report_data *report)
{
    for (size_t row = 0; row < report->count; row++) {
        if (report->records[row].warnings.count > 0)
            return true;
    }
    return (report->compared && report->compare.warnings.count > 0) ||
           (report->edited && report->edition.warnings.count > 0) || report->failed > 0;
}

static void add_lines(fleck_text *text, const char *const *lines)
{
    for (; *lines != NULL; lines++)
        fleck_text_add(text, *lines);
}

static void add_start(fleck_text *text, const report_data *report)
{
    const struct {
        const char *id, *name;
        bool there;
    } links[] = {
        { "answer", "Answer", true },
        { "sheet", "Side by side", report->sheet != NULL },
        { "doubts", "Keep in mind", has_doubts(report) },
        { "comparisons", "Groups", report->compared },
        { "edition", "Edition", report->edited },
        { "table", "All numbers", true },
        { "patches", "Each patch", true },
        { "methods", "Methods", true },
        { "provenance", "Provenance", true },
    };

    fleck_text_add(text,
                   "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                   "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                   "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; "
                   "style-src 'unsafe-inline'; script-src 'unsafe-inline'; base-uri 'none'; form-action 'none'\">\n"
                   "<meta name=\"referrer\" content=\"no-referrer\">\n<title>");
    add_title(text, report);
    fleck_text_add(text, "</title>\n<style>\n");
    add_lines(text, report_style);
    fleck_text_add(text, "</style>\n</head>\n<body>\n<a class=\"skip\" href=\"#answer\">Skip to the answer</a>\n"
                         "<header>\n<h1>");
    add_title(text, report);
    fleck_text_add(text, "</h1>\n<p class=\"lead\">");
    report_add_count(text, report->count, "patch", "patches");
    fleck_text_add(text, " measured by fleck ");
    html_add(text, report->program_version != NULL ? report->program_version : "");
    if (report->finished != NULL && strlen(report->finished) >= 10) {
        char day[11];

        memcpy(day, report->finished, 10);
        day[10] = '\0';
        fleck_text_add(text, " on ");
        html_add(text, day);
    }
    fleck_text_add(text, "</p>\n<nav aria-label=\"On this page\"><ul>\n");
    for (size_t i = 0; i < sizeof links / sizeof *links; i++) {
        if (links[i].there)
            fleck_text_add_format(text, "<li><a href=\"#%s\">%s</a></li>\n", links[i].id, links[i].name);
    }
    fleck_text_add(text, "</ul></nav>\n</header>\n<main>\n");
}

fleck_status fleck_report_make(const char *run, const fleck_report_options *options, char **bytes,
                               size_t *size, fleck_report_summary *summary, fleck_error *err)
{
    fleck_report_options known = fleck_report_options_default();
    report_data report;
    fleck_text text = { 0 }, end = { 0 };
    fleck_status status;

    *bytes = NULL;
    *size = 0;
    *summary = (fleck_report_summary){ 0 };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "report options", err)) != FLECK_OK)
        return status;
    options = &known;
    if (options->measure_count > MOST_MEASURES)
        return fleck_fail(err, FLECK_BAD_CALL, "too many measures for a page; give at most %d", MOST_MEASURES);
    if ((status = report_read(&report, run, options, err)) != FLECK_OK)
        goto done;
    summary->patches = report.count;
    add_start(&text, &report);
    report_add_answer(&text, &report);
    report_add_sheet(&text, &report);
    report_add_doubts(&text, &report);
    if ((status = report_add_comparisons(&text, &report, err)) != FLECK_OK ||
        (status = report_add_edition(&text, &report, err)) != FLECK_OK)
        goto done;
    report_add_table(&text, &report);
    fleck_text_add(&text, "<section id=\"patches\" aria-labelledby=\"patches-title\">\n"
                          "<h2 id=\"patches-title\">Each patch</h2>\n"
                          "<p id=\"fold\" hidden><button type=\"button\" data-open=\"1\">Unfold all</button>"
                          "<button type=\"button\" data-open=\"0\">Fold all</button></p>\n");
    fleck_text_add(&end, "</section>\n");
    report_add_methods(&end, &report);
    report_add_provenance(&end, &report);
    fleck_text_add(&end, "</main>\n<footer><p>This page needs nothing beside it: it can be sent, kept and printed as "
                         "one file.</p></footer>\n<script>\n");
    add_lines(&end, report_script);
    fleck_text_add(&end, "</script>\n</body>\n</html>\n");
    if (text.failed || end.failed) {
        status = no_memory(err);
        goto done;
    }
    status = add_patches(&text, &report,
                         options->most_bytes > text.length + end.length ? options->most_bytes - text.length - end.length
                                                                        : 0,
                         summary, err);
    if (status != FLECK_OK)
        goto done;
    fleck_text_add_bytes(&text, end.bytes, end.length);
    if (text.failed) {
        status = no_memory(err);
        goto done;
    }
    *bytes = text.bytes;
    *size = text.length;
    text = (fleck_text){ 0 };
done:
    fleck_text_clear(&end);
    fleck_text_clear(&text);
    report_clear(&report);
    return status;
}
