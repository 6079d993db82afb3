/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rows from a decoder of your own, such as a camera: own_decoder PPI <PICTURE.pgm (8-bit grey, sRGB).
 * fleck_measure takes files; rows go through its parts: tone, threshold, runs, components, sizes.
 */
#include <stdio.h>
#include <stdlib.h>

#include <fleck/fleck.h>

enum { WIDEST = 65535, MOST_DOTS = 100000, HALF = 32767 }; /* ink: reflectance 0.5 and less */
static unsigned char codes[WIDEST];
static uint16_t q[WIDEST];
static fleck_run runs[WIDEST / 2 + 1];
static fleck_component dots[MOST_DOTS];
static size_t dot_count;

static fleck_status keep(void *least_px, fleck_phase phase, const fleck_component *c, fleck_error *err)
{
    if (phase == FLECK_PHASE_INK && c->area_px >= *(uint64_t *)least_px && dot_count == MOST_DOTS)
        return fleck_fail(err, FLECK_BAD_INPUT, "too many dots; give a smaller picture");
    if (phase == FLECK_PHASE_INK && c->area_px >= *(uint64_t *)least_px)
        dots[dot_count++] = *c;
    return FLECK_OK;
}

int main(int count, char **words)
{
    const fleck_scan_info info = { .bits = 8, .sample_bytes = 1, .channels = 1, .srgb = true };
    const double mm = count == 2 ? 25.4 / atof(words[1]) : 0;
    fleck_geometry size = { .pixel_x_mm = mm, .pixel_y_mm = mm };
    fleck_tone *tone = NULL;
    fleck_labeller *labeller = NULL;
    fleck_warnings warnings = { 0 };
    fleck_error err = { FLECK_BAD_INPUT, "no picture; give: own_decoder PPI <PICTURE.pgm" };
    bool good = mm > 0 && scanf("P5 %zu %zu 255", &size.width_px, &size.height_px) == 2 &&
                getchar() != EOF && size.width_px <= WIDEST;
    uint64_t least_px = good ? fleck_cutoff_area_px(&size, 0.1) : 0;
    fleck_sizes sizes;

    good = good && fleck_tone_new(&info, NULL, &tone, &warnings, &err) == FLECK_OK &&
           fleck_labeller_new(size.width_px, size.height_px, NULL, keep, &least_px, &labeller,
                              &err) == FLECK_OK;
    for (size_t y = 0; good && y < size.height_px && fread(codes, size.width_px, 1, stdin) == 1; y++) {
        fleck_tone_row(tone, FLECK_CHANNEL_LUMINANCE, codes, size.width_px, q);
        const size_t n = fleck_runs_from_row(q, size.width_px, HALF, FLECK_INK_DARK, runs);
        good = fleck_labeller_row(labeller, runs, n, &err) == FLECK_OK;
    }
    good = good && fleck_labeller_finish(labeller, &err) == FLECK_OK && /* fails if rows are missing */
           fleck_sizes_summarise(dots, NULL, dot_count, 0, &size, &sizes, &err) == FLECK_OK;
    if (good)
        printf("%zu dots, median size %.4f mm\n", dot_count, sizes.d50_mm);
    else
        fprintf(stderr, "own_decoder: %s\n", err.message);
    fleck_labeller_free(labeller);
    fleck_tone_free(tone);
    fleck_warnings_clear(&warnings);
    return !good;
}
