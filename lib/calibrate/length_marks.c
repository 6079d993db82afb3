/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A mark of (dx, dy) pixels is sqrt((dx px)^2 + (dy py)^2) mm long. The pixel sizes px and py that
 * fit the stated lengths best in mm follow by Gauss-Newton; for marks along the axes that is exact
 * in one step, px = sum(dx L) / sum(dx^2). Picking errors are taken to be alike for all marks.
 */
#include <math.h>
#include <string.h>

#include "calibrate/calibration.h"
#include "calibrate/resolution.h"
#include "calibrate/scan_area.h"
#include "core/memory.h"

/* Sums of the normal equations for the two pixel sizes. */
struct normal {
    double xx, xy, yy, x, y;
};

static double fitted_mm(const fleck_length_mark *mark, const double pixel_mm[2])
{
    return hypot((mark->x2_px - mark->x1_px) * pixel_mm[0],
                 (mark->y2_px - mark->y1_px) * pixel_mm[1]);
}

static struct normal sum_up(const fleck_length_mark *marks, size_t count, const double pixel_mm[2])
{
    struct normal sums = { 0 };

    for (size_t i = 0; i < count; i++) {
        const double dx = marks[i].x2_px - marks[i].x1_px, dy = marks[i].y2_px - marks[i].y1_px;
        const double fitted = fitted_mm(&marks[i], pixel_mm);
        const double by_x = dx * dx * pixel_mm[0] / fitted, by_y = dy * dy * pixel_mm[1] / fitted;
        const double off = marks[i].length_mm - fitted;

        sums.xx += by_x * by_x;
        sums.xy += by_x * by_y;
        sums.yy += by_y * by_y;
        sums.x += by_x * off;
        sums.y += by_y * off;
    }
    return sums;
}

static double determinant(const struct normal *sums)
{
    return sums->xx * sums->yy - sums->xy * sums->xy;
}

static fleck_status check_marks(const fleck_length_mark *marks, size_t count,
                                const fleck_scan_info *info, fleck_error *err)
{
    const double width = (double)info->width_px, height = (double)info->height_px;

    for (size_t i = 0; i < count; i++) {
        const fleck_length_mark *const m = &marks[i];

        if (!(m->length_mm > 0 && m->length_mm < 1e6))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "a length of %g mm is none; give the distance of the two marks in mm",
                              m->length_mm);
        if (!(m->x1_px >= 0 && m->x1_px <= width && m->x2_px >= 0 && m->x2_px <= width &&
              m->y1_px >= 0 && m->y1_px <= height && m->y2_px >= 0 && m->y2_px <= height))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "the marks %g,%g and %g,%g are not both in the scan of %zu x %zu "
                              "pixels; give X1,Y1,X2,Y2 in its pixels",
                              m->x1_px, m->y1_px, m->x2_px, m->y2_px, info->width_px,
                              info->height_px);
        if (!(hypot(m->x2_px - m->x1_px, m->y2_px - m->y1_px) >= 1))
            return fleck_fail(
                err, FLECK_BAD_CALL,
                "the two marks of %g mm are at the same point %g,%g; give two that lie "
                "far apart",
                m->length_mm, m->x1_px, m->y1_px);
    }
    return FLECK_OK;
}

/* Whether both pixel sizes can be told: some mark rises, some runs, and not all in one direction.
 */
static fleck_status check_directions(const fleck_length_mark *marks, size_t count, fleck_error *err)
{
    const double least_share = 0.25; /* of the squared length: 30 degrees off the other axis */
    const double square[2] = { 1, 1 };
    const struct normal sums = sum_up(marks, count, square);
    double most_x = 0, most_y = 0;

    for (size_t i = 0; i < count; i++) {
        const double dx = marks[i].x2_px - marks[i].x1_px, dy = marks[i].y2_px - marks[i].y1_px;

        most_x = fmax(most_x, dx * dx / (dx * dx + dy * dy));
        most_y = fmax(most_y, dy * dy / (dx * dx + dy * dy));
    }
    if (most_x < least_share || most_y < least_share)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "no length runs along %s, whose pixels may be of another size; turn the "
                          "ruler and add one",
                          most_x < least_share ? "x" : "y");
    if (!(determinant(&sums) > 0.01 * sums.xx * sums.yy))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "all lengths run the same way, which tells nothing of x and y apart; add "
                          "one along x or along y");
    return FLECK_OK;
}

/* False when no pixel sizes fit. */
static bool fit(const fleck_length_mark *marks, size_t count, double pixel_mm[2])
{
    double pixels = 0, mm = 0;

    for (size_t i = 0; i < count; i++) {
        pixels += hypot(marks[i].x2_px - marks[i].x1_px, marks[i].y2_px - marks[i].y1_px);
        mm += marks[i].length_mm;
    }
    pixel_mm[0] = pixel_mm[1] = mm / pixels;
    for (int round = 0; round < 50; round++) {
        const struct normal sums = sum_up(marks, count, pixel_mm);
        const double det = determinant(&sums);
        const double step_x = (sums.yy * sums.x - sums.xy * sums.y) / det;
        const double step_y = (sums.xx * sums.y - sums.xy * sums.x) / det;

        pixel_mm[0] += step_x;
        pixel_mm[1] += step_y;
        if (!(pixel_mm[0] > 0 && pixel_mm[1] > 0 && isfinite(pixel_mm[0] + pixel_mm[1])))
            return false;
        if (fabs(step_x) < 1e-14 * pixel_mm[0] && fabs(step_y) < 1e-14 * pixel_mm[1])
            break;
    }
    return true;
}

static fleck_status warn(const fleck_calibration_length *length, const fleck_scan_info *info,
                         fleck_warnings *warnings, fleck_error *err)
{
    const fleck_length_mark *worst = &length->marks[0];
    fleck_status status = FLECK_OK;

    for (size_t i = 1; i < length->mark_count; i++) {
        if (fabs(length->marks[i].residual_mm / length->marks[i].length_mm) >
            fabs(worst->residual_mm / worst->length_mm))
            worst = &length->marks[i];
    }
    if (length->mark_count == 2)
        status = fleck_warnings_add(warnings, err, "length-exact",
                                    "two lengths fit exactly, right or wrong, and say nothing of "
                                    "their error; mark a third one");
    else if (fabs(worst->residual_mm) > 0.01 * worst->length_mm)
        status =
            fleck_warnings_add(warnings, err, "length-misfit",
                               "the length of %g mm from %g,%g is off by %+.3g mm from what the "
                               "others say; check its marks",
                               worst->length_mm, worst->x1_px, worst->y1_px, -worst->residual_mm);
    if (status == FLECK_OK)
        status = fleck_resolution_compare(info, length, warnings, err);
    return status;
}

fleck_status fleck_calibrate_length(fleck_calibration *calibration, const fleck_length_mark *marks,
                                    size_t count, const fleck_scan_area *scan,
                                    fleck_warnings *warnings, fleck_error *err)
{
    fleck_area_reader reader = { 0 };
    fleck_calibration_length length = { .mark_count = count };
    struct normal sums;
    double pixel_mm[2];
    double squares = 0, variance;
    fleck_status status;

    if (count < 2)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "one length cannot tell x and y apart; give one along x and one along y");
    status = fleck_area_open(calibration, scan, "length", FLECK_AREA_CODES, &reader, warnings, err);
    if (status == FLECK_OK)
        status = check_marks(marks, count, reader.info, err);
    if (status == FLECK_OK)
        status = check_directions(marks, count, err);
    if (status == FLECK_OK && !fit(marks, count, pixel_mm))
        status = fleck_fail(err, FLECK_BAD_CALL,
                            "the lengths contradict each other; check their marks and mm");
    if (status != FLECK_OK)
        goto done;
    length.marks = fleck_alloc_array(count, sizeof *length.marks);
    if (length.marks == NULL) {
        status = fleck_calibration_no_memory(err);
        goto done;
    }
    memcpy(length.marks, marks, count * sizeof *marks);
    for (size_t i = 0; i < count; i++) {
        length.marks[i].residual_mm = fitted_mm(&marks[i], pixel_mm) - marks[i].length_mm;
        squares += length.marks[i].residual_mm * length.marks[i].residual_mm;
    }
    sums = sum_up(marks, count, pixel_mm);
    variance = count > 2 ? squares / (double)(count - 2) : NAN;
    length.ppi_x = 25.4 / pixel_mm[0];
    length.ppi_y = 25.4 / pixel_mm[1];
    /* of 25.4 / p, to first order */
    length.ppi_x_se = length.ppi_x / pixel_mm[0] * sqrt(variance * sums.yy / determinant(&sums));
    length.ppi_y_se = length.ppi_y / pixel_mm[1] * sqrt(variance * sums.xx / determinant(&sums));
    status = warn(&length, reader.info, warnings, err);
    if (status == FLECK_OK) {
        fleck_free(calibration->length.marks);
        calibration->length = length;
        length.marks = NULL;
    }
done:
    fleck_free(length.marks);
    fleck_area_close(&reader);
    return status;
}
