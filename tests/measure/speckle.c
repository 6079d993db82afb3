/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/speckle.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "support/check.h"

static fleck_status read_row(void *context, size_t y_px, uint16_t *q, fleck_error *err)
{
    struct speckle *speckle = context;
    const size_t width = speckle->geometry.width_px;

    (void)err;
    assert_true(y_px < speckle->geometry.height_px);
    memcpy(q, speckle->q + y_px * width, width * sizeof *q);
    return FLECK_OK;
}

struct speckle speckle_from_q(uint16_t *q, const fleck_geometry *geometry, fleck_ink ink,
                              fleck_phase phase)
{
    struct speckle speckle = { .geometry = *geometry, .q = q };
    const size_t n = geometry->width_px * geometry->height_px;
    struct mask mask = mask_new(geometry->width_px, geometry->height_px);
    uint64_t *counts = calloc(FLECK_LEVELS, sizeof *counts);

    assert_non_null(counts);
    for (size_t i = 0; i < n; i++)
        counts[q[i]]++;
    assert_int_equal(fleck_cut_otsu(counts, ink, &speckle.cut, NULL), FLECK_OK);
    for (size_t i = 0; i < n; i++)
        mask.ink[i] = (q[i] <= speckle.cut.k) == (ink == FLECK_INK_DARK);
    speckle.blobs = blobs_from_mask(&mask, phase, 3);
    speckle.outlines = calloc(speckle.blobs.count + 1, sizeof *speckle.outlines);
    speckle.tones = calloc(speckle.blobs.count + 1, sizeof *speckle.tones);
    assert_true(speckle.outlines != NULL && speckle.tones != NULL);
    assert_int_equal(fleck_outlines(speckle.blobs.items, speckle.blobs.count, phase, geometry,
                                    speckle.outlines, NULL),
                     FLECK_OK);
    mask_free(&mask);
    free(counts);
    return speckle;
}

struct speckle speckle_from_phantom(const fleck_phantom_options *options)
{
    fleck_phantom *phantom;
    fleck_geometry geometry = { .pixel_x_mm = 25.4 / options->ppi, .pixel_y_mm = 25.4 / options->ppi };
    const float *reflectance;
    uint16_t *q;
    fleck_error err;
    struct speckle speckle;

    if (fleck_phantom_new(options, &phantom, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    reflectance = fleck_phantom_reflectance(phantom, &geometry.width_px, &geometry.height_px);
    q = calloc(geometry.width_px * geometry.height_px, sizeof *q);
    assert_non_null(q);
    for (size_t i = 0; i < geometry.width_px * geometry.height_px; i++)
        q[i] = (uint16_t)floor(65535 * fmin(1, fmax(0, (double)reflectance[i])) + 0.5);
    speckle = speckle_from_q(q, &geometry, FLECK_INK_DARK, FLECK_PHASE_INK);
    fleck_phantom_free(phantom);
    return speckle;
}

fleck_dot_tone_input speckle_input(struct speckle *speckle)
{
    return (fleck_dot_tone_input){ .geometry = &speckle->geometry,
                                   .blobs = speckle->blobs.items,
                                   .outlines = speckle->outlines,
                                   .n = speckle->blobs.count,
                                   .phase = FLECK_PHASE_INK,
                                   .cut = speckle->cut,
                                   .ink = FLECK_INK_DARK,
                                   .ink_reflectance = NAN,
                                   .scanner_edge_width_mm = NAN,
                                   .read = read_row,
                                   .context = speckle };
}

void speckle_measure(struct speckle *speckle)
{
    const fleck_dot_tone_input input = speckle_input(speckle);
    fleck_error err;

    if (fleck_dot_tones(&input, speckle->tones, &speckle->patch, &err) != FLECK_OK)
        fail_msg("%s", err.message);
}

void speckle_free(struct speckle *speckle)
{
    blobs_free(&speckle->blobs);
    free(speckle->q);
    free(speckle->outlines);
    free(speckle->tones);
}
