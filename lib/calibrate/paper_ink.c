/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdint.h>

#include "calibrate/calibration.h"
#include "calibrate/scan_area.h"
#include "calibrate/tone_reflect.h"
#include "core/memory.h"

/* Sums of one channel; deviations are taken from the first pixel, so that little cancels. */
struct sums {
    double first, sum, square;
    uint64_t q_sum;
};

static void add_row(struct sums *sums, const double *reflectance, const uint16_t *q, size_t count)
{
    double sum = 0, square = 0;

    for (size_t x = 0; x < count; x++) {
        const double off = reflectance[x] - sums->first;

        sum += off;
        square += off * off;
        sums->q_sum += q[x];
    }
    sums->sum += sum;
    sums->square += square;
}

/* Means and noise of an area by the calibration as it stands. */
static fleck_status measure(fleck_calibration *calibration, const fleck_scan_area *area,
                            const char *part, fleck_calibration_area *out, fleck_warnings *warnings,
                            fleck_error *err)
{
    struct sums sums[FLECK_CHANNELS] = { { 0 } };
    fleck_area_reader reader;
    double *reflectance = NULL;
    uint16_t *q = NULL;
    const unsigned char *pixels;
    size_t width, height, y;
    double pixel_count;
    unsigned channels = 0;
    fleck_status status =
        fleck_area_open(calibration, area, part, FLECK_AREA_TONE, &reader, warnings, err);

    *out = (fleck_calibration_area){ 0 };
    if (status != FLECK_OK)
        goto done;
    width = reader.geometry.width_px;
    height = reader.geometry.height_px;
    channels = fleck_tone_channels(reader.tone);
    reflectance = fleck_alloc_array(width, sizeof *reflectance);
    q = fleck_alloc_array(width, sizeof *q);
    if (reflectance == NULL || q == NULL)
        status = fleck_calibration_no_memory(err);
    for (size_t row = 0; status == FLECK_OK && row < height; row++) {
        status = fleck_area_next_row(&reader, &y, &pixels, err);
        for (unsigned t = 0; status == FLECK_OK && t < channels; t++) {
            fleck_tone_reflect_row(reader.tone, (fleck_channel)t, pixels, width, reader.left_px, y,
                                   reflectance);
            fleck_tone_row_at(reader.tone, (fleck_channel)t, pixels, width, reader.left_px, y, q);
            if (row == 0)
                sums[t].first = reflectance[0];
            add_row(&sums[t], reflectance, q, width);
        }
    }
    if (status != FLECK_OK)
        goto done;
    pixel_count = (double)width * (double)height;
    out->present = true;
    for (unsigned t = 0; t < channels; t++) {
        const double mean = sums[t].sum / pixel_count;
        const double variance = sums[t].square / pixel_count - mean * mean;

        out->reflectance[t] = sums[t].first + mean;
        out->sd[t] = variance > 0 ? sqrt(variance) : 0;
        out->quantised[t] = (double)sums[t].q_sum / pixel_count / 65535;
    }
done:
    fleck_free(reflectance);
    fleck_free(q);
    fleck_area_close(&reader);
    return status;
}

/* The same pixels again, as a measurement sees them now that the paper is known. */
static fleck_status measure_quantised(fleck_calibration *calibration, const fleck_scan_area *area,
                                      const char *part, fleck_calibration_area *into,
                                      fleck_warnings *warnings, fleck_error *err)
{
    fleck_calibration_area seen;
    fleck_status status = measure(calibration, area, part, &seen, warnings, err);

    for (unsigned t = 0; status == FLECK_OK && t < FLECK_CHANNELS; t++)
        into->quantised[t] = seen.quantised[t];
    return status;
}

fleck_status fleck_calibrate_paper(fleck_calibration *calibration, const fleck_scan_area *paper,
                                   fleck_warnings *warnings, fleck_error *err)
{
    /* darker than any paper: the lid was open, or this is no paper */
    const double least_reflectance = 0.01;
    fleck_calibration_area measured;
    fleck_status status;

    calibration->paper = (fleck_calibration_area){ 0 };
    calibration->ink = (fleck_calibration_area){ 0 };
    calibration->relative_to_paper = false;
    status = measure(calibration, paper, "paper", &measured, warnings, err);
    if (status != FLECK_OK)
        return status;
    for (unsigned t = 0; t < fleck_calibration_channels(calibration); t++) {
        if (!(measured.reflectance[t] >= least_reflectance))
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "the paper has a reflectance of %.3g only (%s); scan blank paper, or "
                              "give its box",
                              measured.reflectance[t],
                              fleck_calibration_channel_name(calibration, t));
    }
    calibration->paper = measured;
    calibration->relative_to_paper = true;
    return measure_quantised(calibration, paper, "paper", &calibration->paper, warnings, err);
}

fleck_status fleck_calibrate_ink(fleck_calibration *calibration, const fleck_scan_area *ink,
                                 const fleck_scan_area *paper, fleck_warnings *warnings,
                                 fleck_error *err)
{
    fleck_calibration_area *const white = &calibration->paper;
    fleck_calibration_area measured;
    bool differs = false;
    fleck_status status;

    if (!white->present)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "ink is seen against its paper; calibrate the paper before it");
    calibration->ink = (fleck_calibration_area){ 0 };
    calibration->relative_to_paper = false; /* the ink's own reflectance first */
    status = measure(calibration, ink, "ink", &measured, warnings, err);
    if (status != FLECK_OK)
        return status;
    for (unsigned t = 0; t < fleck_calibration_channels(calibration); t++)
        differs = differs || fabs(white->reflectance[t] - measured.reflectance[t]) >
                                 fmax(white->sd[t], measured.sd[t]);
    if (!differs)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "the ink's reflectance of %.4g does not differ from the paper's %.4g by "
                          "more than their noise; scan solid ink, or give its box",
                          measured.reflectance[0], white->reflectance[0]);
    calibration->ink = measured;
    calibration->relative_to_paper = measured.reflectance[0] <= white->reflectance[0];
    if (calibration->relative_to_paper)
        return measure_quantised(calibration, ink, "ink", &calibration->ink, warnings, err);
    status = measure_quantised(calibration, paper, "paper", white, warnings, err);
    if (status == FLECK_OK)
        status =
            fleck_warnings_add(warnings, err, "not-relative-to-paper",
                               "the ink is lighter than the paper: reflectance stays relative "
                               "to the scanner's white, since ink relative to its paper would be "
                               "above 1; measure with --ink light");
    return status;
}
