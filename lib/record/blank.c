/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Blank paper is never quite without ink: dust, fibres and noise pass the threshold. What several
 * boxes of it give, measured as patches are, is the blank value; a result below its mean and three
 * standard deviations cannot be told from nothing. Source: limit of detection, Currie (1968),
 * Analytical Chemistry 40, with the factor 3 of IUPAC (1976).
 */
#include <math.h>
#include <stdint.h>

#include "calibrate/calibration.h"
#include "calibrate/scan_area.h"
#include "core/memory.h"
#include "fleck/calibration.h"
#include "fleck/segment.h"
#include "fleck/texture.h"

enum { GRID = 3 }; /* a single area is cut into GRID x GRID boxes */

/* One box in one channel. */
struct found {
    double coverage;
    double per_cm2;
};

/* Counts the false dots of one channel of a box. */
struct counter {
    bool measured; /* ink and paper differ in this channel */
    unsigned k;
    const fleck_geometry *geometry;
    uint64_t cutoff_area_px;
    uint64_t ink_px;
    double weight_per_px2;
    fleck_labeller *labeller;
};

static fleck_status count_dot(void *context, fleck_phase phase, const fleck_component *component,
                              fleck_error *err)
{
    struct counter *const counter = context;

    (void)phase;
    (void)err;
    counter->ink_px += component->area_px;
    if (component->area_px >= counter->cutoff_area_px)
        counter->weight_per_px2 += fleck_edge_weight_per_px2(counter->geometry, component);
    return FLECK_OK;
}

/* Rows of one box that is part of the open area. */
struct box {
    size_t left_px, width_px, top_px, height_px; /* in the area */
    fleck_geometry geometry;
    struct counter counters[FLECK_CHANNELS];
};

static fleck_ink tone_of_ink(const fleck_calibration *calibration, unsigned t)
{
    return calibration->ink.quantised[t] < calibration->paper.quantised[t] ? FLECK_INK_DARK
                                                                           : FLECK_INK_LIGHT;
}

static fleck_status begin_box(const fleck_calibration *calibration, double cutoff_mm,
                              struct box *box, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (unsigned t = 0; status == FLECK_OK && t < fleck_calibration_channels(calibration); t++) {
        struct counter *const counter = &box->counters[t];
        const double half = 0.5 * (calibration->paper.quantised[t] + calibration->ink.quantised[t]);

        *counter = (struct counter){
            .measured =
                !isnan(fleck_calibration_optical_coverage(calibration, (fleck_channel)t, 1)),
            .k = (unsigned)fmin(floor(65535 * half), 65534),
            .geometry = &box->geometry,
            .cutoff_area_px = fleck_cutoff_area_px(&box->geometry, cutoff_mm),
        };
        if (counter->measured) {
            status = fleck_labeller_new(box->width_px, box->height_px, NULL, count_dot, counter,
                                        &counter->labeller, err);
            if (status == FLECK_OK)
                status = fleck_labeller_leave_out_bare(counter->labeller, err);
        }
    }
    return status;
}

static void end_box(struct box *box)
{
    for (unsigned t = 0; t < FLECK_CHANNELS; t++) {
        fleck_labeller_free(box->counters[t].labeller);
        box->counters[t].labeller = NULL;
    }
}

static fleck_status finish_box(struct box *box, unsigned channels, struct found *found,
                               fleck_error *err)
{
    const fleck_geometry *const geometry = &box->geometry;
    const double pixel_mm2 = fleck_area_mm2(geometry, 1);
    fleck_status status = FLECK_OK;

    for (unsigned t = 0; status == FLECK_OK && t < channels; t++) {
        struct counter *const counter = &box->counters[t];

        found[t] = (struct found){ NAN, NAN };
        if (!counter->measured)
            continue;
        status = fleck_labeller_finish(counter->labeller, err);
        found[t].coverage =
            (double)counter->ink_px / ((double)box->width_px * (double)box->height_px);
        found[t].per_cm2 = 100 * counter->weight_per_px2 / pixel_mm2;
    }
    end_box(box);
    return status;
}

/* Room for one row. */
struct room {
    uint16_t *q;
    fleck_run *runs;
};

static fleck_status take_row(const fleck_calibration *calibration, const fleck_area_reader *reader,
                             struct box *box, const unsigned char *pixels, size_t y,
                             const struct room *room, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (unsigned t = 0; status == FLECK_OK && t < fleck_calibration_channels(calibration); t++) {
        struct counter *const counter = &box->counters[t];
        size_t run_count;

        if (!counter->measured)
            continue;
        fleck_tone_row_at(reader->tone, (fleck_channel)t,
                          pixels + box->left_px * reader->pixel_bytes, box->width_px,
                          reader->left_px + box->left_px, y, room->q);
        run_count = fleck_runs_from_row(room->q, box->width_px, counter->k,
                                        tone_of_ink(calibration, t), room->runs);
        status = fleck_labeller_row(counter->labeller, room->runs, run_count, err);
    }
    return status;
}

/* All boxes of an area: itself, or cells of a grid. found: FLECK_CHANNELS for each box. */
static fleck_status measure_area(fleck_calibration *calibration, const fleck_scan_area *area,
                                 size_t grid, double cutoff_mm, struct found *found,
                                 double *area_cm2, fleck_warnings *warnings, fleck_error *err)
{
    struct box boxes[GRID] = { { 0 } }; /* those side by side */
    struct room room = { 0 };
    fleck_area_reader reader;
    const unsigned char *pixels;
    size_t y;
    fleck_status status = fleck_area_open(calibration, area, "blank", FLECK_AREA_TONE_AND_SIZE,
                                          &reader, warnings, err);

    if (status != FLECK_OK)
        goto done;
    if (reader.geometry.width_px < 16 * grid || reader.geometry.height_px < 16 * grid) {
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "blank paper of %zu x %zu pixels is too little to count false dots on; "
                            "give a larger box",
                            reader.geometry.width_px, reader.geometry.height_px);
        goto done;
    }
    room.q = fleck_alloc_array(reader.geometry.width_px, sizeof *room.q);
    room.runs = fleck_alloc_array(reader.geometry.width_px, sizeof *room.runs);
    if (room.q == NULL || room.runs == NULL)
        status = fleck_calibration_no_memory(err);
    for (size_t row = 0; status == FLECK_OK && row < grid; row++) {
        const size_t top = reader.geometry.height_px * row / grid;
        const size_t past = reader.geometry.height_px * (row + 1) / grid;

        for (size_t column = 0; status == FLECK_OK && column < grid; column++) {
            struct box *const box = &boxes[column];

            box->left_px = reader.geometry.width_px * column / grid;
            box->width_px = reader.geometry.width_px * (column + 1) / grid - box->left_px;
            box->height_px = past - top;
            box->geometry =
                (fleck_geometry){ box->width_px, box->height_px, reader.geometry.pixel_x_mm,
                                  reader.geometry.pixel_y_mm };
            status = begin_box(calibration, cutoff_mm, box, err);
        }
        for (size_t i = top; status == FLECK_OK && i < past; i++) {
            status = fleck_area_next_row(&reader, &y, &pixels, err);
            for (size_t column = 0; status == FLECK_OK && column < grid; column++)
                status = take_row(calibration, &reader, &boxes[column], pixels, y, &room, err);
        }
        for (size_t column = 0; status == FLECK_OK && column < grid; column++)
            status = finish_box(&boxes[column], fleck_calibration_channels(calibration),
                                found + (row * grid + column) * FLECK_CHANNELS, err);
    }
    *area_cm2 = 0.01 * (double)reader.geometry.width_px * (double)reader.geometry.height_px *
                fleck_area_mm2(&reader.geometry, 1);
done:
    for (size_t column = 0; column < GRID; column++)
        end_box(&boxes[column]);
    fleck_free(room.q);
    fleck_free(room.runs);
    fleck_area_close(&reader);
    return status;
}

/* Mean and standard deviation (of a sample) of one of two numbers over the boxes. */
static void summarise(const struct found *found, size_t boxes, unsigned t, bool coverage,
                      double *mean, double *sd, double *limit)
{
    double sum = 0, square = 0;

    for (size_t i = 0; i < boxes; i++) {
        const struct found *const f = &found[i * FLECK_CHANNELS + t];

        sum += coverage ? f->coverage : f->per_cm2;
    }
    *mean = sum / (double)boxes;
    for (size_t i = 0; i < boxes; i++) {
        const struct found *const f = &found[i * FLECK_CHANNELS + t];
        const double off = (coverage ? f->coverage : f->per_cm2) - *mean;

        square += off * off;
    }
    *sd = sqrt(square / (double)(boxes - 1));
    *limit = *mean + 3 * *sd;
}

fleck_status fleck_calibrate_blank(fleck_calibration *calibration, const fleck_scan_area *areas,
                                   size_t count, double cutoff_mm, fleck_warnings *warnings,
                                   fleck_error *err)
{
    const size_t grid = count == 1 ? GRID : 1;
    const size_t boxes = count * grid * grid;
    fleck_calibration_blank blank = { .boxes = (double)boxes, .cutoff_mm = cutoff_mm };
    struct found *found;
    fleck_status status = FLECK_OK;

    if (!calibration->paper.present || !calibration->ink.present)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the blank value needs a threshold half-way between paper and ink; "
                          "calibrate both before it");
    if (count == 0 || count > 10000 || !(cutoff_mm > 0 && cutoff_mm < 1000))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the blank value needs blank paper and a cutoff above 0; give both");
    found = fleck_alloc_array(boxes * FLECK_CHANNELS, sizeof *found);
    if (found == NULL)
        return fleck_calibration_no_memory(err);
    for (size_t i = 0; status == FLECK_OK && i < count; i++) {
        double area_cm2 = 0;

        status = measure_area(calibration, &areas[i], grid, cutoff_mm, found + i * FLECK_CHANNELS,
                              &area_cm2, warnings, err);
        blank.area_cm2 += area_cm2;
    }
    for (unsigned t = 0; status == FLECK_OK && t < fleck_calibration_channels(calibration); t++) {
        summarise(found, boxes, t, true, &blank.coverage_mean[t], &blank.coverage_sd[t],
                  &blank.coverage_limit[t]);
        summarise(found, boxes, t, false, &blank.per_cm2_mean[t], &blank.per_cm2_sd[t],
                  &blank.per_cm2_limit[t]);
    }
    if (status == FLECK_OK)
        calibration->blank = blank;
    fleck_free(found);
    return status;
}
