/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The settings with which each patch was measured, from its record, and where they differ. */
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "core/text.h"
#include "fleck/inputs.h"
#include "study/study_table.h"

enum { MOST_RECORD_BYTES = 64 << 20, MOST_VALUES = 8 };

static const char *const names[FLECK_STUDY_SETTINGS] = {
    "channel",   "ink",         "threshold", "cutoff_mm", "ppi",
    "tone_from", "calibration", "tile_px",   "mask",
};

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the records; free some memory");
}

/* A regular file as bytes. */
static fleck_status read_file(const char *path, char **bytes, size_t *size, fleck_error *err)
{
    struct stat about;
    FILE *stream;
    size_t got;

    *bytes = NULL;
    if (stat(path, &about) != 0 || !S_ISREG(about.st_mode))
        return fleck_study_fail_at(err, FLECK_BAD_INPUT, path,
                                   "is not there; go on with fleck measure --resume to make it");
    if (about.st_size > MOST_RECORD_BYTES)
        return fleck_study_fail_at(err, FLECK_BAD_INPUT, path,
                                   "is too large for a record; measure again");
    *bytes = fleck_alloc_array((size_t)about.st_size + 1, 1);
    if (*bytes == NULL)
        return no_memory(err);
    stream = fopen(path, "rb");
    if (stream == NULL)
        return fleck_study_fail_at(err, FLECK_BAD_INPUT, path,
                                   "cannot be opened; check its permissions");
    *size = (size_t)about.st_size;
    got = fread(*bytes, 1, *size, stream);
    fclose(stream);
    if (got != *size)
        return fleck_study_fail_at(err, FLECK_BAD_INPUT, path, "cannot be read; check the disk");
    return FLECK_OK;
}

/*
 * Put null for the lists of numbers within a record's groups, in place, and return the new size:
 * nothing here needs them, and reading them is nine tenths of the work. What is no JSON stays none.
 */
static size_t drop_lists(char *bytes, size_t size)
{
    static const char null[] = { 'n', 'u', 'l', 'l' };
    size_t depth = 0, to = 0;
    bool in_text = false;

    for (size_t from = 0; from < size; from++) {
        const char c = bytes[from];

        bytes[to++] = c;
        if (in_text) {
            if (c == '\\' && from + 1 < size)
                bytes[to++] = bytes[++from];
            in_text = c != '"';
            continue;
        }
        in_text = c == '"';
        if (c == '{' || c == '[')
            depth++;
        else if ((c == '}' || c == ']') && depth > 0)
            depth--;
        if (c == '[' && depth == 3) {
            const char *const end = memchr(bytes + from, ']', size - from);
            const size_t length = end != NULL ? (size_t)(end - (bytes + from)) + 1 : 0;

            if (length < sizeof null)
                continue;
            memcpy(bytes + to - 1, null, sizeof null);
            to += sizeof null - 1;
            from += length - 1;
            depth--;
        }
    }
    return to;
}

static char *ppi_text(double x, double y)
{
    char text[64];

    if (!(x > 0) || !(y > 0))
        return fleck_copy_text("unknown");
    if (fabs(x - y) <= 0.01 * x)
        snprintf(text, sizeof text, "%.0f", x);
    else
        snprintf(text, sizeof text, "%.0f x %.0f", x, y);
    return fleck_copy_text(text);
}

static char *calibration_text(const fleck_record *record)
{
    fleck_text text = { 0 };
    const char *const sha256 = record->settings.calibration_sha256;

    if (record->settings.calibration == NULL)
        return fleck_copy_text("none");
    /* the same name may stand for a file made anew, and the same file may have moved */
    fleck_text_add_format(&text, "%s (SHA-256 %.8s...)", record->settings.calibration,
                          sha256 != NULL ? sha256 : "unknown");
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}

static char *number_text(double value, const char *otherwise)
{
    char text[FLECK_NUMBER_TEXT_BYTES];

    return fleck_copy_text(isnan(value) ? otherwise : fleck_text_from_number(value, text));
}

static fleck_status keep_settings(fleck_study_row *row, const fleck_record *record,
                                  fleck_error *err)
{
    const char *const texts[FLECK_STUDY_SETTINGS] = {
        [FLECK_SETTING_CHANNEL] = record->settings.channel_used,
        [FLECK_SETTING_INK] = record->settings.ink,
        [FLECK_SETTING_THRESHOLD] = record->settings.threshold,
        [FLECK_SETTING_TONE] = record->settings.tone_from,
        /* a mask says where was measured, not how: only whether there was one */
        [FLECK_SETTING_MASK] = record->settings.mask != NULL ? "with a mask" : "none",
    };

    row->ppi_x = record->source.ppi_x;
    row->ppi_y = record->source.ppi_y;
    row->settings[FLECK_SETTING_PPI] = ppi_text(row->ppi_x, row->ppi_y);
    row->settings[FLECK_SETTING_CUTOFF] = number_text(record->settings.cutoff_mm, "unknown");
    row->settings[FLECK_SETTING_TILE] = number_text(record->settings.tile_px, "chosen by size");
    row->settings[FLECK_SETTING_CALIBRATION] = calibration_text(record);
    /* these always have a text: none means no memory, never an unknown setting */
    if (row->settings[FLECK_SETTING_PPI] == NULL || row->settings[FLECK_SETTING_CUTOFF] == NULL ||
        row->settings[FLECK_SETTING_TILE] == NULL ||
        row->settings[FLECK_SETTING_CALIBRATION] == NULL)
        return no_memory(err);
    for (size_t i = 0; i < FLECK_STUDY_SETTINGS; i++) {
        if (row->settings[i] == NULL)
            row->settings[i] = fleck_copy_text(texts[i] != NULL ? texts[i] : "unknown");
        if (row->settings[i] == NULL)
            return no_memory(err);
    }
    return FLECK_OK;
}

fleck_status fleck_study_read_record(const fleck_study *study, size_t row, fleck_record *record,
                                     fleck_error *err)
{
    const char *const id = fleck_study_id(study, row);
    char *name = fleck_id_to_file_name(id);
    char *path = NULL, *bytes = NULL;
    size_t size = 0;
    fleck_error inner = { 0 };
    fleck_status status;

    fleck_record_init(record);
    if (name != NULL)
        path = fleck_study_join(study->runs[study->rows[row].run].path, "records", name, ".json");
    status = path != NULL ? read_file(path, &bytes, &size, err) : no_memory(err);
    if (status == FLECK_OK && (status = fleck_record_from_json(bytes, drop_lists(bytes, size),
                                                               record, &inner)) != FLECK_OK)
        fleck_study_fail_at(err, status, path, inner.message);
    if (status == FLECK_OK && (record->id == NULL || strcmp(record->id, id) != 0))
        status = fleck_study_fail_at(err, FLECK_BAD_INPUT, path,
                                     "is the record of another patch; measure again");
    fleck_free(bytes);
    fleck_free(path);
    fleck_free(name);
    return status;
}

static fleck_status read_record(fleck_study *study, size_t at, fleck_error *err)
{
    fleck_record record;
    fleck_status status = fleck_study_read_record(study, at, &record, err);

    if (status == FLECK_OK)
        status = keep_settings(&study->rows[at], &record, err);
    fleck_record_clear(&record);
    return status;
}

struct reading {
    fleck_study *study;
    fleck_status *status; /* of each row */
};

static void read_one(void *context, unsigned worker, size_t i)
{
    struct reading *const reading = context;

    (void)worker;
    reading->status[i] = read_record(reading->study, i, NULL);
}

fleck_status fleck_study_read_settings(fleck_study *study, fleck_error *err)
{
    struct reading reading = { .study = study };
    const long cores = sysconf(_SC_NPROCESSORS_ONLN);
    fleck_status status = FLECK_OK;

    reading.status = fleck_alloc_zeroed(study->row_count, sizeof *reading.status);
    if (reading.status == NULL)
        return no_memory(err);
    fleck_parallel_for(cores > 0 && cores <= 64 ? (unsigned)cores : 1, study->row_count, read_one,
                       &reading);
    for (size_t i = 0; i < study->row_count && status == FLECK_OK; i++) {
        if (reading.status[i] == FLECK_OK)
            continue;
        for (size_t s = 0; s < FLECK_STUDY_SETTINGS; s++) {
            fleck_free(study->rows[i].settings[s]);
            study->rows[i].settings[s] = NULL;
        }
        status = read_record(study, i, err); /* once more, for what there is to say */
    }
    fleck_free(reading.status);
    return status;
}

/* Whether two rows have the same setting. A ppi within 1 % is the same scanner, calibrated or not.
 */
static bool agree(const fleck_study_row *a, const fleck_study_row *b, size_t setting)
{
    if (setting == FLECK_SETTING_PPI && a->ppi_x > 0 && b->ppi_x > 0)
        return fabs(a->ppi_x - b->ppi_x) <= 0.01 * a->ppi_x &&
               fabs(a->ppi_y - b->ppi_y) <= 0.01 * a->ppi_y;
    if (setting == FLECK_SETTING_CALIBRATION) { /* the file's bytes count, not its name */
        const char *const left = strrchr(a->settings[setting], '(');
        const char *const right = strrchr(b->settings[setting], '(');

        if (left != NULL && right != NULL)
            return strcmp(left, right) == 0;
    }
    return strcmp(a->settings[setting], b->settings[setting]) == 0;
}

/* Add a line for a setting when its values differ. */
static void add_setting(fleck_text *text, const fleck_study *study, const size_t *rows,
                        size_t count, size_t setting)
{
    size_t first[MOST_VALUES], uses[MOST_VALUES];
    size_t values = 0, other = 0;

    for (size_t i = 0; i < count; i++) {
        size_t at = 0;

        while (at < values && !agree(&study->rows[rows[first[at]]], &study->rows[rows[i]], setting))
            at++;
        if (at == values && values == MOST_VALUES) {
            other++;
            continue;
        }
        if (at == values) {
            first[values] = i;
            uses[values++] = 0;
        }
        uses[at]++;
    }
    if (values < 2)
        return;
    fleck_text_add_format(text, "%s%s: ", text->length > 0 ? "\n" : "", names[setting]);
    for (size_t i = 0; i < values; i++) {
        const size_t row = rows[first[i]];

        fleck_text_add_format(text, "%s%s (%s", i > 0 ? ", " : "",
                              study->rows[row].settings[setting], fleck_study_id(study, row));
        if (study->run_count > 1)
            fleck_text_add_format(text, " of %s", study->runs[study->rows[row].run].path);
        if (uses[i] > 1)
            fleck_text_add_format(text, " and %zu more", uses[i] - 1);
        fleck_text_add(text, ")");
    }
    if (other > 0)
        fleck_text_add_format(text, ", other values (%zu more)", other);
}

fleck_status fleck_study_differences(const fleck_study *study, const size_t *rows, size_t count,
                                     char **out, fleck_error *err)
{
    fleck_text text = { 0 };

    *out = NULL;
    fleck_text_add(&text, "");
    for (size_t i = 0; i < FLECK_STUDY_SETTINGS; i++)
        add_setting(&text, study, rows, count, i);
    if (text.failed) {
        fleck_text_clear(&text);
        return no_memory(err);
    }
    *out = text.bytes;
    return FLECK_OK;
}
