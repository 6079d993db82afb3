/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A calibration as JSON text; docs/calibration.md describes the format. Numbers are printed by the
 * one formatter of the library, so that a file that is read and written again has the same bytes.
 * A failed allocation is remembered, the rest does nothing.
 */
#include <math.h>

#include <cjson/cJSON.h>

#include "calibrate/calibration.h"
#include "calibrate/calibration_names.h"
#include "fleck/version.h"
#include "io/json_text.h"

struct writer {
    const fleck_calibration *calibration;
    bool failed;
};

static cJSON *add(struct writer *writer, cJSON *object, const char *key, cJSON *item)
{
    if (object != NULL && item != NULL &&
        (key != NULL ? cJSON_AddItemToObject(object, key, item)
                     : cJSON_AddItemToArray(object, item)))
        return item;
    cJSON_Delete(item);
    writer->failed = true;
    return NULL;
}

static void add_number(struct writer *writer, cJSON *object, const char *key, double value)
{
    add(writer, object, key, fleck_json_number(value));
}

static void add_text(struct writer *writer, cJSON *object, const char *key, const char *text)
{
    add(writer, object, key, text != NULL ? cJSON_CreateString(text) : cJSON_CreateNull());
}

static cJSON *add_object(struct writer *writer, cJSON *object, const char *key)
{
    return add(writer, object, key, cJSON_CreateObject());
}

static void add_numbers(struct writer *writer, cJSON *object, const char *key, const double *values,
                        size_t count)
{
    cJSON *const array = add(writer, object, key, cJSON_CreateArray());

    for (size_t i = 0; i < count; i++)
        add_number(writer, array, NULL, values[i]);
}

/* One value for each channel that can be read, under the channel's name. */
static void add_channels(struct writer *writer, cJSON *object, const char *key,
                         const double *values)
{
    cJSON *const inner = add_object(writer, object, key);

    for (unsigned t = 0; t < fleck_calibration_channels(writer->calibration); t++)
        add_number(writer, inner, fleck_calibration_channel_name(writer->calibration, t),
                   values[t]);
}

static void write_scanner(struct writer *writer, cJSON *root)
{
    const fleck_calibration *const c = writer->calibration;
    cJSON *const object = add_object(writer, root, "scanner");
    cJSON *scans;

    add_number(writer, object, "bits", c->bits);
    add_number(writer, object, "channels", c->channels);
    add_number(writer, object, "claimed_ppi_x", c->claimed_ppi_x > 0 ? c->claimed_ppi_x : NAN);
    add_number(writer, object, "claimed_ppi_y", c->claimed_ppi_y > 0 ? c->claimed_ppi_y : NAN);
    add_text(writer, object, "tone_from",
             c->has_tone_from ? fleck_tone_source_name(c->tone_from) : NULL);
    scans = add(writer, root, "scans", cJSON_CreateArray());
    for (size_t i = 0; i < c->scan_count; i++) {
        cJSON *const scan = add_object(writer, scans, NULL);

        add_text(writer, scan, "part", c->scans[i].part);
        add_text(writer, scan, "path", c->scans[i].path);
        add_text(writer, scan, "sha256", c->scans[i].sha256);
    }
}

static void write_length(struct writer *writer, cJSON *root)
{
    const fleck_calibration_length *const length = &writer->calibration->length;
    cJSON *object, *marks;

    if (length->mark_count == 0)
        return;
    object = add_object(writer, root, "length");
    add_number(writer, object, "ppi_x", length->ppi_x);
    add_number(writer, object, "ppi_y", length->ppi_y);
    add_number(writer, object, "ppi_x_se", length->ppi_x_se);
    add_number(writer, object, "ppi_y_se", length->ppi_y_se);
    marks = add(writer, object, "marks", cJSON_CreateArray());
    for (size_t i = 0; i < length->mark_count; i++) {
        const fleck_length_mark *const m = &length->marks[i];
        const double ends[4] = { m->x1_px, m->y1_px, m->x2_px, m->y2_px };
        cJSON *const mark = add_object(writer, marks, NULL);

        add_number(writer, mark, "length_mm", m->length_mm);
        add_numbers(writer, mark, "ends_px", ends, 4);
        add_number(writer, mark, "residual_mm", m->residual_mm);
    }
}

static void write_tone(struct writer *writer, cJSON *root)
{
    const fleck_calibration_tone *const tone = &writer->calibration->tone;
    const unsigned channels = writer->calibration->channels;
    cJSON *object, *curves, *steps;

    if (tone->step_count == 0)
        return;
    object = add_object(writer, root, "tone");
    curves = add_object(writer, object, "curves");
    for (unsigned c = 0; c < channels; c++) {
        const fleck_tone_curve *const curve = &tone->curves[c];
        cJSON *const one = add_object(writer, curves, fleck_colour_name(channels, c));

        add_numbers(writer, one, "code", curve->code, curve->count);
        add_numbers(writer, one, "reflectance", curve->reflectance, curve->count);
        add_number(writer, one, "low_code", curve->low_code);
        add_number(writer, one, "high_code", curve->high_code);
    }
    steps = add(writer, object, "steps", cJSON_CreateArray());
    for (size_t i = 0; i < tone->step_count; i++) {
        const fleck_tone_step *const s = &tone->steps[i];
        cJSON *const step = add_object(writer, steps, NULL);
        cJSON *clipped;

        add_number(writer, step, "density", s->density);
        add_number(writer, step, "reflectance", s->reflectance);
        add_numbers(writer, step, "code", s->code, channels);
        add_numbers(writer, step, "code_sd", s->code_sd, channels);
        clipped = add(writer, step, "clipped", cJSON_CreateArray());
        for (unsigned c = 0; c < channels; c++)
            add_text(writer, clipped, NULL, fleck_clip_names[s->clipped[c]]);
        add_numbers(writer, step, "residual_density", s->residual_density, channels);
    }
}

static void write_evenness(struct writer *writer, cJSON *root)
{
    const fleck_calibration_evenness *const evenness = &writer->calibration->evenness;
    cJSON *object, *field, *terms;

    if (evenness->width_px == 0)
        return;
    object = add_object(writer, root, "evenness");
    add_number(writer, object, "width_px", (double)evenness->width_px);
    add_number(writer, object, "height_px", (double)evenness->height_px);
    terms = add(writer, object, "terms", cJSON_CreateArray());
    for (size_t i = 0; i < FLECK_FIELD_TERMS; i++)
        add_text(writer, terms, NULL, fleck_field_term_names[i]);
    field = add_object(writer, object, "field");
    for (unsigned t = 0; t < fleck_calibration_channels(writer->calibration); t++)
        add_numbers(writer, field, fleck_calibration_channel_name(writer->calibration, t),
                    evenness->coefficients[t], FLECK_FIELD_TERMS);
    add_channels(writer, object, "before_sd", evenness->before_sd);
    add_channels(writer, object, "after_sd", evenness->after_sd);
    add_number(writer, object, "blocks", evenness->blocks);
    add_channels(writer, object, "blocks_left_out", evenness->blocks_left_out);
}

static void write_area(struct writer *writer, cJSON *root, const char *key,
                       const fleck_calibration_area *area)
{
    cJSON *object;

    if (!area->present)
        return;
    object = add_object(writer, root, key);
    add_channels(writer, object, "reflectance", area->reflectance);
    add_channels(writer, object, "sd", area->sd);
    add_channels(writer, object, "quantised", area->quantised);
    if (area == &writer->calibration->paper)
        add(writer, object, "relative", cJSON_CreateBool(writer->calibration->relative_to_paper));
}

static void write_blank(struct writer *writer, cJSON *root)
{
    const fleck_calibration_blank *const blank = &writer->calibration->blank;
    cJSON *object;

    if (!(blank->boxes > 0))
        return;
    object = add_object(writer, root, "blank");
    add_number(writer, object, "boxes", blank->boxes);
    add_number(writer, object, "area_cm2", blank->area_cm2);
    add_number(writer, object, "cutoff_mm", blank->cutoff_mm);
    add_channels(writer, object, "coverage_mean", blank->coverage_mean);
    add_channels(writer, object, "coverage_sd", blank->coverage_sd);
    add_channels(writer, object, "coverage_limit", blank->coverage_limit);
    add_channels(writer, object, "per_cm2_mean", blank->per_cm2_mean);
    add_channels(writer, object, "per_cm2_sd", blank->per_cm2_sd);
    add_channels(writer, object, "per_cm2_limit", blank->per_cm2_limit);
}

static void write_blur(struct writer *writer, cJSON *root)
{
    const fleck_calibration_blur *const blur = &writer->calibration->blur;
    cJSON *object, *edges;

    if (!blur->present)
        return;
    object = add_object(writer, root, "blur");
    add_channels(writer, object, "edge_width_mm", blur->edge_width_mm);
    edges = add(writer, object, "edges", cJSON_CreateArray());
    for (size_t i = 0; i < blur->edge_count; i++) {
        cJSON *const edge = add_object(writer, edges, NULL);

        add_number(writer, edge, "angle_deg", blur->edges[i].angle_deg);
        add_number(writer, edge, "length_mm", blur->edges[i].length_mm);
        add_channels(writer, edge, "edge_width_mm", blur->edges[i].edge_width_mm);
    }
}

char *fleck_calibration_to_json(const fleck_calibration *calibration)
{
    struct writer writer = { .calibration = calibration };
    cJSON *const root = cJSON_CreateObject();
    cJSON *object;

    add_text(&writer, root, "schema", FLECK_CALIBRATION_SCHEMA);
    add_number(&writer, root, "version", FLECK_CALIBRATION_VERSION);
    write_scanner(&writer, root);
    write_length(&writer, root);
    write_tone(&writer, root);
    write_evenness(&writer, root);
    write_area(&writer, root, "paper", &calibration->paper);
    write_area(&writer, root, "ink", &calibration->ink);
    write_blank(&writer, root);
    write_blur(&writer, root);
    object = add_object(&writer, root, "provenance");
    add_text(&writer, object, "program", "fleck");
    add_text(&writer, object, "version", fleck_version());
    if (writer.failed) {
        cJSON_Delete(root);
        return NULL;
    }
    return fleck_json_finish(root);
}
