/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The calibration reader on any bytes; what it takes must work and come back the same. */
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/calibration.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

static void check(bool holds)
{
    if (!holds)
        abort();
}

static void check_tone(const fleck_calibration *calibration)
{
    const fleck_scan_info info = { .width_px = calibration->evenness.width_px,
                                   .height_px = calibration->evenness.height_px,
                                   .bits = calibration->bits,
                                   .sample_bytes = calibration->bits / 8,
                                   .channels = calibration->channels,
                                   .page = 1,
                                   .pages = 1 };
    const uint16_t pixels[3] = { 0, 30000, 65535 };
    fleck_warnings warnings = { 0 };
    fleck_tone *tone = NULL;
    uint16_t q[1];

    if (fleck_tone_new(&info, calibration, &tone, &warnings, NULL) == FLECK_OK) {
        fleck_tone_row_at(tone, FLECK_CHANNEL_LUMINANCE, pixels, 1, 0, 0, q);
        check(fleck_tone_count_outside(tone, pixels, 1) <= 1);
    }
    fleck_tone_free(tone);
    fleck_warnings_clear(&warnings);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    fleck_calibration calibration, again;
    fleck_error err;
    char *text, *text_again;

    if (fleck_calibration_read_memory(bytes, size, &calibration, &err) != FLECK_OK)
        return 0;
    text = fleck_calibration_to_json(&calibration);
    check(text != NULL);
    check(fleck_calibration_read_memory(text, strlen(text), &again, &err) == FLECK_OK);
    text_again = fleck_calibration_to_json(&again);
    check(text_again != NULL && strcmp(text, text_again) == 0);
    for (unsigned c = 0; calibration.tone.step_count > 0 && c < calibration.channels; c++) {
        for (int i = 0; i <= 64; i++)
            check(isfinite(fleck_tone_curve_at(&calibration.tone.curves[c], i / 64.0)));
    }
    for (unsigned t = 0; t < fleck_calibration_channels(&calibration); t++) {
        (void)fleck_calibration_optical_coverage(&calibration, (fleck_channel)t, 0.5);
        check(isfinite(fleck_calibration_field(&calibration, (fleck_channel)t, 0, 0)));
    }
    check_tone(&calibration);
    free(text);
    free(text_again);
    fleck_calibration_clear(&again);
    fleck_calibration_clear(&calibration);
    return 0;
}
