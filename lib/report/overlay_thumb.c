/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Source: IEC 61966-2-1 for the codes; means are taken of reflectance, not of codes. */
#include "report/overlay_thumb.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "fleck/tone.h"
#include "io/picture.h"
#include "report/overlay_axis.h"

#define MOST_PPI 1e6

/* A small picture in the making: sums of the row that is being gathered. */
struct small {
    overlay_axis x, y;
    double pixel_x_mm, pixel_y_mm;
    uint64_t *sums, *inside;
    uint8_t *codes;
};

static size_t rounded(double value)
{
    return value > 1 ? (size_t)(value + 0.5) : 1;
}

static bool begin(const fleck_geometry *geometry, size_t most_px, struct small *small)
{
    const double wide_mm = (double)geometry->width_px * geometry->pixel_x_mm;
    const double high_mm = (double)geometry->height_px * geometry->pixel_y_mm;
    const double finest_mm = fmin(geometry->pixel_x_mm, geometry->pixel_y_mm);
    const double pixel_mm = fmax(fmax(wide_mm, high_mm) / (double)most_px, finest_mm);
    size_t count;

    small->x = (overlay_axis){ geometry->width_px, rounded(wide_mm / pixel_mm) };
    small->y = (overlay_axis){ geometry->height_px, rounded(high_mm / pixel_mm) };
    small->pixel_x_mm = wide_mm / (double)small->x.picture_px;
    small->pixel_y_mm = high_mm / (double)small->y.picture_px;
    small->sums = fleck_alloc_array(small->x.picture_px, sizeof *small->sums);
    small->inside = fleck_alloc_array(small->x.picture_px, sizeof *small->inside);
    small->codes = size_mul(small->x.picture_px, small->y.picture_px, &count)
                       ? fleck_alloc_array(count, 1)
                       : NULL;
    return small->sums != NULL && small->inside != NULL && small->codes != NULL;
}

static void end(struct small *small)
{
    fleck_free(small->sums);
    fleck_free(small->inside);
    fleck_free(small->codes);
}

/* Scan row y, with what of it is measured, into all rows of the picture that it is part of. */
static void add_row(struct small *small, size_t y, const uint16_t *q, const uint8_t *inside)
{
    const size_t width_px = small->x.picture_px;
    size_t at = overlay_axis_start(&small->y, y);
    const size_t behind = small->y.picture_px >= small->y.scan_px
                              ? overlay_axis_start(&small->y, y + 1)
                              : at + 1;

    for (; at < behind; at++) {
        const size_t first = overlay_axis_first(&small->y, at), last = overlay_axis_end(&small->y, at);

        if (y == first) {
            memset(small->sums, 0, width_px * sizeof *small->sums);
            memset(small->inside, 0, width_px * sizeof *small->inside);
        }
        for (size_t x = 0; x < width_px; x++) {
            const size_t from = overlay_axis_first(&small->x, x), to = overlay_axis_end(&small->x, x);

            for (size_t i = from; i < to; i++) {
                small->sums[x] += inside[i] ? q[i] : 0;
                small->inside[x] += inside[i];
            }
            if (y + 1 == last) {
                const uint64_t count = (to - from) * (last - first);
                const double mean = 2 * small->inside[x] >= count
                                        ? (double)small->sums[x] / (65535.0 * (double)small->inside[x])
                                        : 1;

                small->codes[at * width_px + x] =
                    (uint8_t)(255 * fleck_tone_srgb_encode(mean) + 0.5);
            }
        }
    }
}

static fleck_status read_rows(const fleck_patch_view *view, struct small *smalls, fleck_error *err)
{
    const size_t width_px = view->geometry->width_px;
    uint16_t *const q = fleck_alloc_array(width_px, sizeof *q);
    uint8_t *const inside = fleck_alloc_array(width_px, 1);
    fleck_run *const runs = fleck_alloc_array(width_px / 2 + 1, sizeof *runs);
    fleck_status status = FLECK_OK;

    if (q == NULL || inside == NULL || runs == NULL)
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a small picture; free some memory");
    else
        memset(inside, 1, width_px);
    for (size_t y = 0; status == FLECK_OK && y < view->geometry->height_px; y++) {
        status = view->read_row(view->context, y, q, err);
        if (status == FLECK_OK && view->mask != NULL) {
            const size_t count = fleck_mask_runs(view->mask, y, runs);

            memset(inside, 0, width_px);
            for (size_t i = 0; i < count; i++)
                memset(inside + runs[i].start_px, 1, runs[i].end_px - runs[i].start_px);
        }
        for (size_t i = 0; status == FLECK_OK && i < OVERLAY_THUMBS; i++)
            add_row(&smalls[i], y, q, inside);
    }
    fleck_free(q);
    fleck_free(inside);
    fleck_free(runs);
    return status;
}

fleck_status overlay_thumbs_write(const fleck_patch_view *view,
                                  const overlay_thumb thumbs[OVERLAY_THUMBS], fleck_error *err)
{
    struct small smalls[OVERLAY_THUMBS] = { 0 };
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < OVERLAY_THUMBS; i++) {
        if (!begin(view->geometry, thumbs[i].most_px, &smalls[i]))
            status = fleck_fail(err, FLECK_NO_RESOURCE,
                                "no memory for a small picture; free some memory");
    }
    if (status == FLECK_OK)
        status = read_rows(view, smalls, err);
    for (size_t i = 0; status == FLECK_OK && i < OVERLAY_THUMBS; i++) {
        const fleck_picture picture = {
            .format = FLECK_PICTURE_PNG,
            .width_px = smalls[i].x.picture_px,
            .height_px = smalls[i].y.picture_px,
            .channels = 1,
            .bits = 8,
            .ppi_x = fmin(25.4 / smalls[i].pixel_x_mm, MOST_PPI),
            .ppi_y = fmin(25.4 / smalls[i].pixel_y_mm, MOST_PPI),
            .srgb = true,
        };

        status = fleck_picture_write_samples(thumbs[i].path, &picture, smalls[i].codes, err);
    }
    for (size_t i = 0; i < OVERLAY_THUMBS; i++)
        end(&smalls[i]);
    return status;
}
