/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The area between two levels of reflectance over the length of the outline is the mean distance
 * between their contours, whichever way the outline runs. For the levels at a quarter and three
 * quarters of a Gaussian edge that is 1.349 standard deviations. The outline's length is Crofton's,
 * two directions.
 */
#include "measure/edge_survey.h"

#include <math.h>

#include "core/memory.h"
#include "measure/rim_rows.h"
#include "segment/mask_words.h"

enum {
    MOST_PX = 4000000, /* enough for a blur within a few per cent in any speckle worth measuring */
    BLOCK_ROWS = 32
};

struct sums {
    uint64_t counts[FLECK_LEVELS];
    uint64_t in_band, changes_in_rows, changes_in_columns, pairs_of_rows, rows;
    double low_q, high_q;
};

static bool is_inside(const fleck_dot_tone_input *input, size_t x, size_t y)
{
    return input->mask == NULL || fleck_mask_has(input->mask, x, y);
}

static void count_levels(const fleck_dot_tone_input *input, struct sums *sums, size_t y,
                         const uint16_t *q)
{
    const size_t width = input->geometry->width_px;

    for (size_t x = 0; x < width; x++)
        sums->counts[q[x]] += is_inside(input, x, y);
}

static void count_edges(const fleck_dot_tone_input *input, struct sums *sums, size_t y,
                        const uint16_t *q, const uint16_t *above)
{
    const size_t width = input->geometry->width_px;

    sums->rows++;
    sums->pairs_of_rows += above != NULL;
    for (size_t x = 0; x < width; x++) {
        const bool ink = fleck_rim_is_ink(input, q[x]);

        if (!is_inside(input, x, y))
            continue;
        sums->in_band += q[x] > sums->low_q && q[x] < sums->high_q;
        sums->changes_in_rows +=
            x > 0 && fleck_rim_is_ink(input, q[x - 1]) != ink && is_inside(input, x - 1, y);
        sums->changes_in_columns += above != NULL && fleck_rim_is_ink(input, above[x]) != ink &&
                                    is_inside(input, x, y - 1);
    }
}

/* Level below which a share of the pixels of one kind lies; that of the cut when there is none. */
static double quantile(const fleck_dot_tone_input *input, const uint64_t *counts, bool ink,
                       double share)
{
    uint64_t total = 0, sum = 0;

    for (unsigned level = 0; level < FLECK_LEVELS; level++)
        if (fleck_rim_is_ink(input, (uint16_t)level) == ink)
            total += counts[level];
    for (unsigned level = 0; level < FLECK_LEVELS; level++) {
        if (fleck_rim_is_ink(input, (uint16_t)level) != ink)
            continue;
        sum += counts[level];
        if (total > 0 && (double)sum >= share * (double)total)
            return level;
    }
    return input->cut.k;
}

static fleck_status read_blocks(const fleck_dot_tone_input *input, struct sums *sums, bool edges,
                                uint16_t *rows[2], fleck_error *err)
{
    const size_t height = input->geometry->height_px, width = input->geometry->width_px;
    const size_t blocks = (height + BLOCK_ROWS - 1) / BLOCK_ROWS;
    const size_t wanted = MOST_PX / BLOCK_ROWS / width + 1;
    const size_t step = blocks / wanted > 1 ? blocks / wanted : 1;

    for (size_t block = 0; block < blocks; block += step) {
        const size_t first = block * BLOCK_ROWS;
        const size_t end = height - first > BLOCK_ROWS ? first + BLOCK_ROWS : height;

        for (size_t y = first; y < end; y++) {
            uint16_t *const q = rows[y % 2];
            const fleck_status status = input->read(input->context, y, q, err);

            if (status != FLECK_OK)
                return status;
            if (edges)
                count_edges(input, sums, y, q, y > first ? rows[(y + 1) % 2] : NULL);
            else
                count_levels(input, sums, y, q);
        }
    }
    return FLECK_OK;
}

static double find_blur_mm(const struct sums *sums, const fleck_geometry *geometry)
{
    static const double pi = 3.14159265358979323846;
    static const double quartiles_apart = 1.3489795; /* of a normal distribution, in sd */
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    const double columns =
        sums->pairs_of_rows > 0
            ? (double)sums->changes_in_columns * (double)sums->rows / (double)sums->pairs_of_rows
            : 0;
    const double length_mm = pi / 4 * ((double)sums->changes_in_rows * py + columns * px);

    return length_mm > 0 ? (double)sums->in_band * px * py / length_mm / quartiles_apart : NAN;
}

fleck_status fleck_edge_survey_take(const fleck_dot_tone_input *input, fleck_edge_survey *out,
                                    fleck_error *err)
{
    const size_t width = input->geometry->width_px;
    uint16_t *rows[2] = { fleck_alloc_array(width, sizeof *rows[0]),
                          fleck_alloc_array(width, sizeof *rows[1]) };
    struct sums *sums = fleck_alloc_zeroed(1, sizeof *sums);
    const bool dark = fleck_rim_is_ink(input, 0);
    double low_q, high_q;
    fleck_status status;

    if (rows[0] == NULL || rows[1] == NULL || sums == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory to look at edges; measure a smaller region");
        goto done;
    }
    status = read_blocks(input, sums, false, rows, err);
    if (status != FLECK_OK)
        goto done;
    out->ink_q = quantile(input, sums->counts, true, dark ? 0.25 : 0.75);
    out->bare_q = quantile(input, sums->counts, false, dark ? 0.75 : 0.25);
    out->lightest_q = quantile(input, sums->counts, false, dark ? 0.95 : 0.05);
    low_q = fmin(out->ink_q, out->bare_q);
    high_q = fmax(out->ink_q, out->bare_q);
    sums->low_q = low_q + 0.25 * (high_q - low_q);
    sums->high_q = low_q + 0.75 * (high_q - low_q);
    status = read_blocks(input, sums, true, rows, err);
    if (status == FLECK_OK)
        out->blur_mm = find_blur_mm(sums, input->geometry);
done:
    fleck_free(rows[0]);
    fleck_free(rows[1]);
    fleck_free(sums);
    return status;
}
