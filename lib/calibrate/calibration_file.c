/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reading a calibration file, and writing it without losing another one. What is read is checked as
 * far as the rest of the library relies on it; the first fault is remembered, the rest does
 * nothing.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include <cjson/cJSON.h>

#include "calibrate/calibration.h"
#include "calibrate/calibration_names.h"
#include "core/memory.h"
#include "fleck/file.h"
#include "io/json_text.h"
#include "io/sha256.h"

enum { MOST_BYTES = 16 * 1024 * 1024, MOST_ITEMS = 100000 };

struct reader {
    fleck_calibration *calibration;
    fleck_error *err;
    fleck_status status;
};

static void fault(struct reader *reader, const char *key, const char *wanted)
{
    if (reader->status == FLECK_OK)
        reader->status = fleck_fail(reader->err, FLECK_BAD_INPUT,
                                    "damaged calibration: %s is not %s; make the calibration again",
                                    key, wanted);
}

static void no_memory(struct reader *reader)
{
    if (reader->status == FLECK_OK)
        reader->status = fleck_calibration_no_memory(reader->err);
}

static const cJSON *find(const cJSON *object, const char *key)
{
    return cJSON_GetObjectItemCaseSensitive(object, key);
}

static double to_number(struct reader *reader, const cJSON *item, const char *key, double least,
                        double most)
{
    if (cJSON_IsNumber(item) && item->valuedouble >= least && item->valuedouble <= most)
        return item->valuedouble;
    fault(reader, key, "a number in its range");
    return least;
}

static double number(struct reader *reader, const cJSON *object, const char *key, double least,
                     double most)
{
    return to_number(reader, find(object, key), key, least, most);
}

/* The same, or NAN for null. */
static double number_or_nan(struct reader *reader, const cJSON *object, const char *key,
                            double least, double most)
{
    return cJSON_IsNull(find(object, key)) ? NAN : number(reader, object, key, least, most);
}

static size_t whole(struct reader *reader, const cJSON *object, const char *key, double least,
                    double most)
{
    const double value = number(reader, object, key, least, most);

    if (value != floor(value))
        fault(reader, key, "a whole number");
    return (size_t)value;
}

/* A copy owned by the caller, NULL after a fault. */
static char *text(struct reader *reader, const cJSON *object, const char *key)
{
    const cJSON *const item = find(object, key);
    char *copy;

    if (!cJSON_IsString(item)) {
        fault(reader, key, "a text");
        return NULL;
    }
    copy = fleck_copy_text(item->valuestring);
    if (copy == NULL)
        no_memory(reader);
    return copy;
}

/* Items of an array, 0 after a fault. */
static size_t array_size(struct reader *reader, const cJSON *array, const char *key)
{
    const int size = cJSON_IsArray(array) ? cJSON_GetArraySize(array) : -1;

    if (size < 0 || size > MOST_ITEMS) {
        fault(reader, key, "a list");
        return 0;
    }
    return (size_t)size;
}

static void numbers(struct reader *reader, const cJSON *object, const char *key, double *values,
                    size_t count, double least, double most, bool may_lack)
{
    const cJSON *const array = find(object, key);
    const cJSON *item;
    size_t i = 0;

    if (array_size(reader, array, key) != count) {
        fault(reader, key, "a list of the right length");
        return;
    }
    cJSON_ArrayForEach(item, array)
    {
        values[i++] =
            may_lack && cJSON_IsNull(item) ? NAN : to_number(reader, item, key, least, most);
    }
}

static void channels(struct reader *reader, const cJSON *object, const char *key, double *values,
                     double least, double most, bool may_lack)
{
    const cJSON *const inner = find(object, key);

    for (unsigned t = 0; t < fleck_calibration_channels(reader->calibration); t++) {
        const char *const name = fleck_calibration_channel_name(reader->calibration, t);

        values[t] = may_lack ? number_or_nan(reader, inner, name, least, most)
                             : number(reader, inner, name, least, most);
    }
}

static void read_scans(struct reader *reader, const cJSON *root)
{
    fleck_calibration *const c = reader->calibration;
    const cJSON *const array = find(root, "scans");
    const size_t count = array_size(reader, array, "scans");
    const cJSON *item;

    if (reader->status != FLECK_OK || count == 0)
        return;
    c->scans = fleck_alloc_zeroed(count, sizeof *c->scans);
    if (c->scans == NULL) {
        no_memory(reader);
        return;
    }
    c->scan_capacity = count;
    cJSON_ArrayForEach(item, array)
    {
        fleck_calibration_scan *const scan = &c->scans[c->scan_count++];
        char *digest;

        scan->part = text(reader, item, "part");
        scan->path = text(reader, item, "path");
        digest = text(reader, item, "sha256");
        if (digest != NULL && strlen(digest) + 1 == sizeof scan->sha256 &&
            strspn(digest, "0123456789abcdef") + 1 == sizeof scan->sha256)
            memcpy(scan->sha256, digest, sizeof scan->sha256);
        else
            fault(reader, "sha256", "64 hexadecimal digits");
        fleck_free(digest);
    }
}

static void read_scanner(struct reader *reader, const cJSON *root)
{
    fleck_calibration *const c = reader->calibration;
    const cJSON *const object = find(root, "scanner");
    const cJSON *const from = find(object, "tone_from");

    c->bits = (unsigned)whole(reader, object, "bits", 8, 16);
    c->channels = (unsigned)whole(reader, object, "channels", 1, 3);
    if (c->bits != 8 && c->bits != 16)
        fault(reader, "bits", "8 or 16");
    if (c->channels != 1 && c->channels != 3)
        fault(reader, "channels", "1 or 3");
    c->claimed_ppi_x = number_or_nan(reader, object, "claimed_ppi_x", 1e-3, 1e7);
    c->claimed_ppi_y = number_or_nan(reader, object, "claimed_ppi_y", 1e-3, 1e7);
    if (isnan(c->claimed_ppi_x) || isnan(c->claimed_ppi_y))
        c->claimed_ppi_x = c->claimed_ppi_y = 0;
    for (int i = FLECK_TONE_FROM_ICC; i <= FLECK_TONE_ASSUMED_SRGB && cJSON_IsString(from); i++) {
        if (strcmp(from->valuestring, fleck_tone_source_name((fleck_tone_from)i)) == 0) {
            c->has_tone_from = true;
            c->tone_from = (fleck_tone_from)i;
        }
    }
    if (!c->has_tone_from && !cJSON_IsNull(from))
        fault(reader, "tone_from", "the name of a curve");
}

static void read_length(struct reader *reader, const cJSON *object)
{
    fleck_calibration_length *const length = &reader->calibration->length;
    const cJSON *const array = find(object, "marks");
    const cJSON *item;
    const size_t count = array_size(reader, array, "marks");

    length->ppi_x = number(reader, object, "ppi_x", 1e-3, 1e7);
    length->ppi_y = number(reader, object, "ppi_y", 1e-3, 1e7);
    length->ppi_x_se = number_or_nan(reader, object, "ppi_x_se", 0, 1e9);
    length->ppi_y_se = number_or_nan(reader, object, "ppi_y_se", 0, 1e9);
    if (count < 2)
        fault(reader, "marks", "a list of two or more");
    if (reader->status != FLECK_OK)
        return;
    length->marks = fleck_alloc_zeroed(count, sizeof *length->marks);
    if (length->marks == NULL) {
        no_memory(reader);
        return;
    }
    cJSON_ArrayForEach(item, array)
    {
        fleck_length_mark *const mark = &length->marks[length->mark_count++];
        double ends[4] = { 0 };

        mark->length_mm = number(reader, item, "length_mm", 0, 1e6);
        numbers(reader, item, "ends_px", ends, 4, 0, 1e9, false);
        mark->x1_px = ends[0];
        mark->y1_px = ends[1];
        mark->x2_px = ends[2];
        mark->y2_px = ends[3];
        mark->residual_mm = number(reader, item, "residual_mm", -1e7, 1e7);
    }
}

static void read_curve(struct reader *reader, const cJSON *object, fleck_tone_curve *curve)
{
    const size_t count = array_size(reader, find(object, "code"), "code");

    if (count < 2)
        fault(reader, "code", "a list of two or more");
    if (reader->status != FLECK_OK)
        return;
    curve->code = fleck_alloc_zeroed(count, sizeof *curve->code);
    curve->reflectance = fleck_alloc_zeroed(count, sizeof *curve->reflectance);
    if (curve->code == NULL || curve->reflectance == NULL) {
        no_memory(reader);
        return;
    }
    curve->count = count;
    numbers(reader, object, "code", curve->code, count, 0, 1, false);
    numbers(reader, object, "reflectance", curve->reflectance, count, 0, 2, false);
    curve->low_code = number(reader, object, "low_code", 0, 1);
    curve->high_code = number(reader, object, "high_code", 0, 1);
    for (size_t i = 1; i < count; i++) {
        if (!(curve->code[i] - curve->code[i - 1] > 1e-9 &&
              curve->reflectance[i] > curve->reflectance[i - 1]))
            fault(reader, "the tone curve", "rising");
    }
}

static void read_step(struct reader *reader, const cJSON *item, fleck_tone_step *step)
{
    const unsigned count = reader->calibration->channels;
    const cJSON *const clipped = find(item, "clipped");
    const cJSON *word;
    size_t c = 0;

    step->density = number(reader, item, "density", -1, 10);
    step->reflectance = number(reader, item, "reflectance", 0, 2);
    numbers(reader, item, "code", step->code, count, 0, 1, false);
    numbers(reader, item, "code_sd", step->code_sd, count, 0, 1, false);
    numbers(reader, item, "residual_density", step->residual_density, count, -10, 10, true);
    if (array_size(reader, clipped, "clipped") != count) {
        fault(reader, "clipped", "a list of the right length");
        return;
    }
    cJSON_ArrayForEach(word, clipped)
    {
        bool known = false;

        for (int i = FLECK_CLIP_NONE; i <= FLECK_CLIP_LIGHT && cJSON_IsString(word); i++) {
            if (strcmp(word->valuestring, fleck_clip_names[i]) == 0) {
                step->clipped[c] = (fleck_clip)i;
                known = true;
            }
        }
        if (!known)
            fault(reader, "clipped", "no, dark or light");
        c++;
    }
}

static void read_tone(struct reader *reader, const cJSON *object)
{
    fleck_calibration_tone *const tone = &reader->calibration->tone;
    const cJSON *const array = find(object, "steps");
    const size_t count = array_size(reader, array, "steps");
    const cJSON *item;

    if (count < 4)
        fault(reader, "steps", "a list of four or more");
    for (unsigned c = 0; reader->status == FLECK_OK && c < reader->calibration->channels; c++)
        read_curve(
            reader,
            find(find(object, "curves"), fleck_colour_name(reader->calibration->channels, c)),
            &tone->curves[c]);
    if (reader->status != FLECK_OK)
        return;
    tone->steps = fleck_alloc_zeroed(count, sizeof *tone->steps);
    if (tone->steps == NULL) {
        no_memory(reader);
        return;
    }
    cJSON_ArrayForEach(item, array)
    {
        read_step(reader, item, &tone->steps[tone->step_count++]);
    }
}

static void read_evenness(struct reader *reader, const cJSON *object)
{
    fleck_calibration_evenness *const evenness = &reader->calibration->evenness;
    const cJSON *const terms = find(object, "terms");
    const cJSON *term;
    size_t i = 0;

    evenness->width_px = whole(reader, object, "width_px", 1, 1e9);
    evenness->height_px = whole(reader, object, "height_px", 1, 1e9);
    if (array_size(reader, terms, "terms") != FLECK_FIELD_TERMS) {
        fault(reader, "terms", "the list of ten terms");
        return;
    }
    cJSON_ArrayForEach(term, terms)
    {
        if (!cJSON_IsString(term) || strcmp(term->valuestring, fleck_field_term_names[i++]) != 0)
            fault(reader, "terms", "the list of ten terms");
    }
    for (unsigned t = 0; t < fleck_calibration_channels(reader->calibration); t++) {
        double *const c = evenness->coefficients[t];

        numbers(reader, find(object, "field"),
                fleck_calibration_channel_name(reader->calibration, t), c, FLECK_FIELD_TERMS, -1e3,
                1e3, false);
        for (int at = 0; reader->status == FLECK_OK && at < 33 * 33; at++) {
            if (!(fleck_field_at(c, (at % 33) / 16.0 - 1, (at / 33) / 16.0 - 1) >
                  FLECK_LEAST_FIELD))
                fault(reader, "field", "light everywhere");
        }
    }
    channels(reader, object, "before_sd", evenness->before_sd, 0, 1e3, false);
    channels(reader, object, "after_sd", evenness->after_sd, 0, 1e3, false);
    evenness->blocks = number(reader, object, "blocks", 0, 1e6);
    channels(reader, object, "blocks_left_out", evenness->blocks_left_out, 0, 1e6, false);
}

static void read_area(struct reader *reader, const cJSON *object, fleck_calibration_area *area)
{
    fleck_calibration *const c = reader->calibration;

    area->present = true;
    channels(reader, object, "reflectance", area->reflectance, area == &c->paper ? 1e-3 : -10, 10,
             false);
    channels(reader, object, "sd", area->sd, 0, 10, false);
    channels(reader, object, "quantised", area->quantised, 0, 1, false);
    if (area == &c->paper) {
        const cJSON *const relative = find(object, "relative");

        c->relative_to_paper = cJSON_IsTrue(relative);
        if (!cJSON_IsBool(relative))
            fault(reader, "relative", "true or false");
    }
}

static void read_blank(struct reader *reader, const cJSON *object)
{
    fleck_calibration_blank *const blank = &reader->calibration->blank;

    blank->boxes = number(reader, object, "boxes", 1, 1e6);
    blank->area_cm2 = number(reader, object, "area_cm2", 0, 1e9);
    blank->cutoff_mm = number(reader, object, "cutoff_mm", 1e-6, 1e3);
    channels(reader, object, "coverage_mean", blank->coverage_mean, 0, 1, true);
    channels(reader, object, "coverage_sd", blank->coverage_sd, 0, 1, true);
    channels(reader, object, "coverage_limit", blank->coverage_limit, 0, 10, true);
    channels(reader, object, "per_cm2_mean", blank->per_cm2_mean, 0, 1e9, true);
    channels(reader, object, "per_cm2_sd", blank->per_cm2_sd, 0, 1e9, true);
    channels(reader, object, "per_cm2_limit", blank->per_cm2_limit, 0, 1e10, true);
}

/* One number stands for all channels, and edges need not be there: so it can be written by hand. */
static void read_blur(struct reader *reader, const cJSON *object)
{
    static const char *const key = "edge_width_mm";
    fleck_calibration_blur *const blur = &reader->calibration->blur;
    const cJSON *const array = find(object, "edges");
    const cJSON *item;
    size_t count;

    blur->present = true;
    if (cJSON_IsNumber(find(object, key))) {
        for (unsigned t = 0; t < FLECK_CHANNELS; t++)
            blur->edge_width_mm[t] = number(reader, object, key, 0, 1e3);
    } else {
        channels(reader, object, key, blur->edge_width_mm, 0, 1e3, true);
    }
    count = array != NULL ? array_size(reader, array, "edges") : 0;
    if (reader->status != FLECK_OK || count == 0)
        return;
    blur->edges = fleck_alloc_zeroed(count, sizeof *blur->edges);
    if (blur->edges == NULL) {
        no_memory(reader);
        return;
    }
    cJSON_ArrayForEach(item, array)
    {
        fleck_blur_edge *const edge = &blur->edges[blur->edge_count++];

        edge->angle_deg = number(reader, item, "angle_deg", 0, 180);
        edge->length_mm = number(reader, item, "length_mm", 0, 1e6);
        channels(reader, item, key, edge->edge_width_mm, 0, 1e3, true);
    }
}

static void read_root(struct reader *reader, const cJSON *root)
{
    const cJSON *const schema = find(root, "schema");
    const cJSON *const version = find(root, "version");
    fleck_calibration *const c = reader->calibration;

    if (!cJSON_IsString(schema) || strcmp(schema->valuestring, FLECK_CALIBRATION_SCHEMA) != 0) {
        reader->status = fleck_fail(reader->err, FLECK_BAD_INPUT,
                                    "is no calibration file; make one with fleck calibrate");
        return;
    }
    if (cJSON_IsNumber(version) && version->valuedouble > FLECK_CALIBRATION_VERSION) {
        reader->status = fleck_fail(
            reader->err, FLECK_BAD_INPUT,
            "is a calibration of version %.4g, and this fleck knows %d only; use a newer fleck",
            version->valuedouble, FLECK_CALIBRATION_VERSION);
        return;
    }
    (void)number(reader, root, "version", 1, FLECK_CALIBRATION_VERSION);
    read_scanner(reader, root);
    read_scans(reader, root);
    if (reader->status != FLECK_OK)
        return;
    if (find(root, "length") != NULL)
        read_length(reader, find(root, "length"));
    if (find(root, "tone") != NULL)
        read_tone(reader, find(root, "tone"));
    if (find(root, "evenness") != NULL)
        read_evenness(reader, find(root, "evenness"));
    if (find(root, "paper") != NULL)
        read_area(reader, find(root, "paper"), &c->paper);
    if (find(root, "ink") != NULL)
        read_area(reader, find(root, "ink"), &c->ink);
    if (find(root, "blank") != NULL)
        read_blank(reader, find(root, "blank"));
    if (find(root, "blur") != NULL)
        read_blur(reader, find(root, "blur"));
}

fleck_status fleck_calibration_read_memory(const void *bytes, size_t size, fleck_calibration *out,
                                           fleck_error *err)
{
    struct reader reader = { .calibration = out, .err = err };
    const char *end = NULL;
    bool short_of_memory = false;
    cJSON *root;

    fleck_calibration_init(out);
    if (size > MOST_BYTES)
        return fleck_fail(
            err, FLECK_BAD_INPUT,
            "is too large for a calibration; name the file that fleck calibrate made");
    root = size > 0 ? fleck_json_parse(bytes, size, &end, &short_of_memory) : NULL;
    while (root != NULL && end < (const char *)bytes + size && strchr(" \t\r\n", *end) != NULL &&
           *end != '\0')
        end++;
    if (short_of_memory)
        reader.status = fleck_calibration_no_memory(err);
    else if (root == NULL || end != (const char *)bytes + size)
        reader.status = fleck_fail(err, FLECK_BAD_INPUT,
                                   "is no whole JSON: damaged, or no calibration; make the "
                                   "calibration again");
    else
        read_root(&reader, root);
    cJSON_Delete(root);
    if (reader.status == FLECK_OK)
        fleck_sha256_bytes(bytes, size, out->sha256);
    else
        fleck_calibration_clear(out);
    return reader.status;
}

fleck_status fleck_calibration_read(const char *path, fleck_calibration *out, fleck_error *err)
{
    FILE *stream = fopen(path, "rb");
    char *bytes = NULL;
    struct stat about;
    size_t size = 0;
    fleck_status status = FLECK_OK;

    fleck_calibration_init(out);
    if (stream == NULL)
        return fleck_fail(err, FLECK_BAD_INPUT, "cannot be opened; check the name and permissions");
    if (fstat(fileno(stream), &about) != 0 || !S_ISREG(about.st_mode) ||
        about.st_size > MOST_BYTES) {
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "is no calibration file; name the file that fleck calibrate made");
        goto done;
    }
    bytes = fleck_alloc_array((size_t)about.st_size + 1, 1);
    if (bytes == NULL) {
        status = fleck_calibration_no_memory(err);
        goto done;
    }
    size = fread(bytes, 1, (size_t)about.st_size + 1, stream);
    if (ferror(stream) || size != (size_t)about.st_size)
        status = fleck_fail(err, FLECK_BAD_INPUT, "cannot be read to its end; check the disk");
    else
        status = fleck_calibration_read_memory(bytes, size, out, err);
done:
    fleck_free(bytes);
    fclose(stream);
    return status;
}

fleck_status fleck_calibration_write(fleck_calibration *calibration, const char *path,
                                     fleck_error *err)
{
    fleck_calibration there;
    struct stat about;
    char *json;
    fleck_status status;

    if (stat(path, &about) == 0) {
        status = fleck_calibration_read(path, &there, NULL);
        fleck_calibration_clear(&there);
        if (status != FLECK_OK)
            return fleck_fail(
                err, FLECK_BAD_CALL,
                "exists and is no calibration that this fleck can read, so it stays as "
                "it is; give another name");
    }
    json = fleck_calibration_to_json(calibration);
    if (json == NULL)
        return fleck_calibration_no_memory(err);
    status = fleck_file_write(path, json, strlen(json), err);
    if (status == FLECK_OK)
        fleck_sha256_bytes(json, strlen(json), calibration->sha256);
    fleck_free(json);
    return status;
}
