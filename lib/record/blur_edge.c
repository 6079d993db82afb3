/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The scanner's own blur: a hard edge is measured as the edge of one large dot whose outline is a line of
 * known length. With the length from the picture, as for dots, the width would depend on the angle: four
 * directions find from 5 % too little of a straight outline to 3 % too much, which dots average out.
 */
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "calibrate/calibration.h"
#include "calibrate/scan_area.h"
#include "core/memory.h"
#include "fleck/calibration.h"
#include "fleck/shape.h"
#include "measure/edge_line.h"

enum { LEAST_SIDE_PX = 16, MOST_PX = 4000000, MOST_EDGES = 1000 };

static const double pi = 3.14159265358979323846;

/* A box of a scan, in memory. */
struct box {
    fleck_geometry geometry;
    unsigned channels;
    uint16_t *q; /* one picture for each channel */
    double clipped; /* share of pixels at either end of the codes */
};

/* What was found in one channel. */
struct found {
    fleck_edge_line line;
    fleck_edge_profile profile;
    double width_mm;
};

static fleck_status read_box(fleck_calibration *calibration, const fleck_scan_area *area,
                             struct box *box, fleck_warnings *warnings, fleck_error *err)
{
    fleck_area_reader reader;
    const unsigned char *pixels;
    size_t width, height, count, clipped = 0, y;
    fleck_status status = fleck_area_open(calibration, area, "blur", FLECK_AREA_TONE_AND_SIZE,
                                          &reader, warnings, err);

    if (status != FLECK_OK)
        goto done;
    box->geometry = reader.geometry;
    box->channels = fleck_calibration_channels(calibration);
    width = reader.geometry.width_px;
    height = reader.geometry.height_px;
    if (width < LEAST_SIDE_PX || height < LEAST_SIDE_PX || width > MOST_PX / height) {
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "a box of %zu x %zu pixels is too %s for an edge; give one of some "
                            "millimetres around it",
                            width, height, width > MOST_PX / height ? "large" : "small");
        goto done;
    }
    count = width * height;
    box->q = fleck_alloc_array(count, box->channels * sizeof *box->q);
    if (box->q == NULL)
        status = fleck_calibration_no_memory(err);
    for (size_t row = 0; status == FLECK_OK && row < height; row++) {
        const unsigned full = reader.info->sample_bytes == 1 ? 255 : 65535;

        status = fleck_area_next_row(&reader, &y, &pixels, err);
        for (unsigned t = 0; status == FLECK_OK && t < box->channels; t++)
            fleck_tone_row_at(reader.tone, (fleck_channel)t, pixels, width, reader.left_px, y,
                              box->q + t * count + row * width);
        for (size_t x = 0; status == FLECK_OK && x < width; x++) {
            bool at_end = false;

            for (unsigned sample = 0; sample < reader.info->channels; sample++) {
                const unsigned code = fleck_area_code(&reader, pixels, x, sample);

                at_end = at_end || code == 0 || code == full;
            }
            clipped += at_end;
        }
    }
    box->clipped = (double)clipped / (double)count;
done:
    fleck_area_close(&reader);
    return status;
}

static fleck_status read_row(void *context, size_t y_px, uint16_t *q, fleck_error *err)
{
    const fleck_edge_picture *const picture = context;
    const size_t width = picture->geometry.width_px;

    (void)err;
    memcpy(q, picture->q + y_px * width, width * sizeof *q);
    return FLECK_OK;
}

/* All ink of the box as one dot that no border cuts: its outline is the line. */
static size_t take_ink(const fleck_edge_picture *picture, fleck_run *row_runs, fleck_blob_run *runs,
                       fleck_component *component)
{
    const size_t width = picture->geometry.width_px, height = picture->geometry.height_px;
    size_t count = 0;

    *component = (fleck_component){ .min_x_px = UINT32_MAX, .min_y_px = UINT32_MAX };
    for (size_t y = 0; y < height; y++) {
        const size_t row_count = fleck_runs_from_row(picture->q + y * width, width, picture->k,
                                                     FLECK_INK_DARK, row_runs);

        for (size_t i = 0; i < row_count; i++) {
            const fleck_blob_run run = { (uint32_t)y, row_runs[i].start_px, row_runs[i].end_px };
            const uint64_t length_px = run.end_px - run.start_px;

            if (count == 0) {
                component->first_x_px = run.start_px;
                component->first_y_px = component->min_y_px = run.y_px;
            }
            runs[count++] = run;
            component->area_px += length_px;
            component->sum_x_px += length_px * (run.start_px + run.end_px - 1ull) / 2;
            component->sum_y_px += length_px * run.y_px;
            component->min_x_px =
                run.start_px < component->min_x_px ? run.start_px : component->min_x_px;
            component->max_x_px =
                run.end_px - 1 > component->max_x_px ? run.end_px - 1 : component->max_x_px;
            component->max_y_px = run.y_px;
        }
    }
    return count;
}

static fleck_status measure_width(const fleck_edge_picture *picture, const fleck_cut *cut,
                                  double length_mm, double *width_mm, fleck_error *err)
{
    const size_t width = picture->geometry.width_px, height = picture->geometry.height_px;
    fleck_run *row_runs = fleck_alloc_array(width / 2 + 1, sizeof *row_runs);
    fleck_blob_run *runs = fleck_alloc_array((width / 2 + 1) * height, sizeof *runs);
    fleck_outline outline = { .perimeter_mm = length_mm };
    fleck_edge_picture copy = *picture; /* a reader's context is not const */
    fleck_blob blob = { .runs = runs };
    fleck_dot_tone_input input = {
        .geometry = &picture->geometry,
        .blobs = &blob,
        .outlines = &outline,
        .n = 1,
        .phase = FLECK_PHASE_INK,
        .cut = *cut,
        .ink = FLECK_INK_DARK,
        .ink_reflectance = NAN,
        .scanner_edge_width_mm = NAN,
        .read = read_row,
        .context = &copy,
    };
    fleck_dot_tone tone;
    fleck_patch_tone patch;
    fleck_status status;

    if (row_runs == NULL || runs == NULL) {
        status = fleck_calibration_no_memory(err);
        goto done;
    }
    blob.run_count = take_ink(picture, row_runs, runs, &blob.component);
    status = fleck_dot_tones(&input, &tone, &patch, err);
    if (status == FLECK_OK)
        *width_mm = patch.rim_is_cut ? NAN : tone.edge_width_mm;
done:
    fleck_free(row_runs);
    fleck_free(runs);
    return status;
}

/* Two tones that paper without an edge does not show. */
static fleck_status find_cut(const fleck_edge_picture *picture, fleck_cut *cut, bool *shows_edge,
                             fleck_error *err)
{
    /* noise that is normal has a separability of 2 / pi, and a slope of light 3 / 4 */
    static const double least_separability = 0.8, least_contrast = 0.05;
    const size_t count = picture->geometry.width_px * picture->geometry.height_px;
    uint64_t *counts = fleck_alloc_zeroed(FLECK_LEVELS, sizeof *counts);
    fleck_status status;

    *shows_edge = false;
    if (counts == NULL)
        return fleck_calibration_no_memory(err);
    for (size_t i = 0; i < count; i++)
        counts[picture->q[i]]++;
    status = fleck_cut_otsu(counts, FLECK_INK_DARK, cut, NULL);
    fleck_free(counts);
    if (status == FLECK_OK)
        *shows_edge = cut->separability >= least_separability &&
                      cut->bare_reflectance - cut->ink_reflectance >= least_contrast;
    return FLECK_OK; /* one tone only is no fault of the machine */
}

/* The edge in one channel; width NAN where the channel does not show two tones. */
static fleck_status measure_channel(const struct box *box, unsigned t, struct found *found,
                                    fleck_error *err)
{
    fleck_edge_picture picture = {
        .q = box->q + t * box->geometry.width_px * box->geometry.height_px,
        .geometry = box->geometry,
    };
    const double larger_mm = fmax(box->geometry.pixel_x_mm, box->geometry.pixel_y_mm);
    fleck_edge_line *const line = &found->line;
    bool shows_edge;
    fleck_cut cut;
    fleck_status status = find_cut(&picture, &cut, &shows_edge, err);

    found->width_mm = NAN;
    if (status != FLECK_OK || !shows_edge)
        return status;
    picture.k = cut.k;
    if (!fleck_edge_line_fit(&picture, line))
        return FLECK_OK;
    if (!(line->left_out <= 0.1 && line->off_mm <= 0.02 * line->length_mm + larger_mm &&
          line->length_mm > 0))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "what parts dark from light in the box is no straight line: %.0f %% of it "
                          "lie elsewhere, the rest is off by %.3g mm; give a box with one straight "
                          "edge that runs through it",
                          100 * line->left_out, line->off_mm);
    status = measure_width(&picture, &cut, line->length_mm, &found->width_mm, err);
    if (status != FLECK_OK)
        return status;
    if (!(found->width_mm > 0))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          isnan(found->width_mm)
                              ? "the edge is too soft to be that of a scanner, too near to the box's "
                                "sides, or lost in noise; give a larger box around a hard, plain edge"
                              : "no pixel lies between the two tones of the edge, so this is no scan "
                                "or was cut into two tones; give a scan as it came");
    if (fmin(line->ink_room_mm, line->bare_room_mm) < 2 * found->width_mm + 2 * larger_mm)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "the box shows too little on one side of the edge; give one that has the edge "
                          "in its middle");
    return fleck_edge_profile_take(&picture, line, found->width_mm, &found->profile, err);
}

/* What is unsure about an edge, each doubt once, for the first channel that has it. */
static fleck_status doubt_edge(const fleck_calibration *calibration, const struct box *box,
                               const struct found *found, fleck_warnings *warnings, fleck_error *err)
{
    const double larger_mm = fmax(box->geometry.pixel_x_mm, box->geometry.pixel_y_mm);
    fleck_status status = FLECK_OK;
    enum { SHORT = 1, CROOKED = 2, ONE_SIDED = 4, NOISY = 8, IN_LINE = 16 };
    unsigned said = 0;

    if (box->clipped > 0.05)
        status = fleck_warnings_add(warnings, err, "blur-edge-clipped",
                                    "%.0f %% of the pixels around the edge are at the end of the "
                                    "codes, which makes it look harder than it is; scan darker, or "
                                    "against paper instead of the lid",
                                    100 * box->clipped);
    for (unsigned t = 0; t < box->channels; t++) {
        const char *const name = fleck_calibration_channel_name(calibration, t);
        const fleck_edge_line *const line = &found[t].line;
        const fleck_edge_profile *const profile = &found[t].profile;
        const double width_mm = found[t].width_mm;
        const double larger_part = fmax(profile->ink_part_mm, profile->bare_part_mm);
        const double smaller_part = fmin(profile->ink_part_mm, profile->bare_part_mm);
        unsigned doubts = 0;

        if (isnan(width_mm))
            continue;
        if (line->length_mm < fmax(20 * width_mm, 50 * larger_mm))
            doubts |= SHORT;
        if (line->left_out > 0.02 || line->off_mm > 0.25 * (width_mm + larger_mm))
            doubts |= CROOKED;
        if (!(larger_part <= 1.5 * smaller_part))
            doubts |= ONE_SIDED;
        if (!(profile->noise <= 0.05))
            doubts |= NOISY;
        if (line->steps_px < 4 && width_mm < 4 * larger_mm)
            doubts |= IN_LINE;
        if (doubts & (CROOKED | IN_LINE))
            doubts &= ~(unsigned)ONE_SIDED; /* the profile across it is smeared, or has gaps */
        doubts &= ~said;
        said |= doubts;
        if (status == FLECK_OK && doubts & SHORT)
            status = fleck_warnings_add(warnings, err, "blur-edge-short",
                                        "the edge (%s) is only %.3g mm long, and %.3g mm wide; give at "
                                        "least %.2g mm of it",
                                        name, line->length_mm, width_mm,
                                        fmax(20 * width_mm, 50 * larger_mm));
        if (status == FLECK_OK && doubts & CROOKED)
            status = fleck_warnings_add(warnings, err, "blur-edge-crooked",
                                        "the edge (%s) is not quite straight or not clean: off by %.3g "
                                        "mm, and %.1f %% of it lie elsewhere; the width may come out too "
                                        "large",
                                        name, line->off_mm, 100 * line->left_out);
        if (status == FLECK_OK && doubts & ONE_SIDED)
            status = fleck_warnings_add(warnings, err, "blur-edge-one-sided",
                                        "the edge (%s) is soft on one side: 10 to 50 %% take %.3g mm, 50 "
                                        "to 90 %% take %.3g mm; it may throw a shadow, or the tone "
                                        "curve is wrong",
                                        name, profile->ink_part_mm, profile->bare_part_mm);
        if (status == FLECK_OK && doubts & NOISY)
            status = fleck_warnings_add(warnings, err, "blur-edge-noisy",
                                        "the tones beside the edge (%s) scatter by %.0f %% of the "
                                        "contrast, which makes it look wider; scan a plain dark edge "
                                        "on plain white",
                                        name, 100 * profile->noise);
        if (status == FLECK_OK && doubts & IN_LINE)
            status = fleck_warnings_add(warnings, err, "blur-edge-in-line",
                                        "the edge (%s) runs along the rows, columns or diagonals of "
                                        "pixels, which then see it at one place only; turn it by some "
                                        "degrees",
                                        name);
    }
    return status;
}

/* Edges that all run one way tell the blur across it alone. */
static fleck_status doubt_directions(const fleck_blur_edge *edges, size_t count,
                                     fleck_warnings *warnings, fleck_error *err)
{
    double one_way = 0;

    for (size_t i = 0; i < count; i++)
        one_way += cos(edges[i].angle_deg * pi / 90) / (double)count;
    if (fabs(one_way) <= 0.6)
        return FLECK_OK;
    return fleck_warnings_add(warnings, err, "blur-edge-one-direction",
                              "only the blur along %s was seen, and scanners differ along x and y; "
                              "give a second edge at right angles, or one at some 30 to 60 degrees",
                              one_way > 0 ? "y" : "x");
}

/* Mean of squares over the edges that show a channel. */
static double mean_width_mm(const fleck_blur_edge *edges, size_t count, unsigned t)
{
    double sum = 0, n = 0;

    for (size_t i = 0; i < count; i++) {
        const double width_mm = edges[i].edge_width_mm[t];

        if (isnan(width_mm))
            continue;
        sum += width_mm * width_mm;
        n++;
    }
    return n > 0 ? sqrt(sum / n) : NAN;
}

static fleck_status measure_edge(fleck_calibration *calibration, const fleck_scan_area *area,
                                 fleck_blur_edge *edge, fleck_warnings *warnings, fleck_error *err)
{
    struct found found[FLECK_CHANNELS] = { { .width_mm = NAN } };
    struct box box = { 0 };
    const struct found *first = NULL;
    fleck_status status = read_box(calibration, area, &box, warnings, err);

    for (unsigned t = 0; status == FLECK_OK && t < box.channels; t++) {
        status = measure_channel(&box, t, &found[t], err);
        edge->edge_width_mm[t] = found[t].width_mm;
        if (status == FLECK_OK && first == NULL && !isnan(found[t].width_mm))
            first = &found[t];
    }
    if (status == FLECK_OK && first == NULL)
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "the box shows no edge between two tones; give one around a hard dark edge "
                            "on white");
    if (status == FLECK_OK) {
        edge->angle_deg = first->line.angle_deg;
        edge->length_mm = first->line.length_mm;
        status = doubt_edge(calibration, &box, found, warnings, err);
    }
    fleck_free(box.q);
    return status;
}

fleck_status fleck_calibrate_blur(fleck_calibration *calibration, const fleck_scan_area *areas,
                                  size_t count, fleck_warnings *warnings, fleck_error *err)
{
    const bool relative_to_paper = calibration->relative_to_paper;
    fleck_calibration_blur blur = { .present = true, .edge_count = count };
    fleck_status status = FLECK_OK;

    if (count == 0 || count > MOST_EDGES)
        return fleck_fail(err, FLECK_BAD_CALL, "the blur needs 1 to %d hard edges; give their boxes",
                          MOST_EDGES);
    blur.edges = fleck_alloc_zeroed(count, sizeof *blur.edges);
    if (blur.edges == NULL)
        return fleck_calibration_no_memory(err);
    /* a lid or film may be lighter than the paper, and would be cut off at its white */
    calibration->relative_to_paper = false;
    for (size_t i = 0; status == FLECK_OK && i < count; i++)
        status = measure_edge(calibration, &areas[i], &blur.edges[i], warnings, err);
    calibration->relative_to_paper = relative_to_paper;
    if (status == FLECK_OK)
        status = doubt_directions(blur.edges, count, warnings, err);
    for (unsigned t = 0; t < FLECK_CHANNELS; t++)
        blur.edge_width_mm[t] = t < fleck_calibration_channels(calibration)
                                    ? mean_width_mm(blur.edges, count, t)
                                    : NAN;
    if (status == FLECK_OK) {
        fleck_free(calibration->blur.edges);
        calibration->blur = blur;
    } else {
        fleck_free(blur.edges);
    }
    return status;
}
