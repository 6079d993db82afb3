/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Discs are filled row by row with runs of bits. A scan does not see their outline but the ink
 * blurred by the lens and by the pixel, cut half-way: notches fill, gaps close, small dots shrink.
 * For that the discs are drawn on finer pixels, a Gaussian is laid over them along both axes, and
 * what reaches one half at the centre of a pixel is ink.
 */
#include "measure/boolean_draw.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/random.h"
#include "core/wide.h"
#include "segment/mask_words.h"

/* Pixels that a run of ink is added to together. */
enum { BLOCK_PX = 8 };

/* Of the blurred rows so many times what is needed is kept: they are moved up once in so many. */
enum { KEPT_TIMES = 3 };

static double normal(uint64_t *state)
{
    double pair[2]; /* the second number is not kept: each disc takes its own */

    fleck_random_normal_pair(state, pair);
    return pair[0];
}

static void draw_disc(fleck_bit_rows *ink, double px, double py, double x_mm, double y_mm,
                      double radius_mm)
{
    const double width = (double)ink->width_px, height = (double)ink->rows;
    const double first = fmax(ceil((y_mm - radius_mm) / py - 0.5), 0);
    const double last = fmin(floor((y_mm + radius_mm) / py - 0.5), height - 1);

    for (double y = first; y <= last; y++) {
        const double up_mm = (y + 0.5) * py - y_mm;
        const double half_mm = sqrt(fmax(radius_mm * radius_mm - up_mm * up_mm, 0));
        const double from = fmax(ceil((x_mm - half_mm) / px - 0.5), 0);
        const double to = fmin(floor((x_mm + half_mm) / px - 0.5), width - 1);

        if (from <= to)
            fleck_bit_row_fill(fleck_bit_row(ink, (size_t)y), (size_t)from, (size_t)to + 1);
    }
}

static void draw_discs(const fleck_disc_model *model, double px, double py, uint64_t seed,
                       fleck_bit_rows *ink)
{
    const double s = log(model->gsd), median_radius_mm = model->median_diameter_mm / 2;
    /* discs larger than all but 2 in 10^4 by area are cut off where they come from outside */
    const double margin_mm = median_radius_mm * exp(2 * s * s + 3.5 * s);
    const double right_mm = (double)ink->width_px * px + margin_mm;
    const double height_mm = (double)ink->rows * py + 2 * margin_mm;
    uint64_t state = seed;

    memset(ink->bits, 0, ink->rows * ink->pitch * sizeof *ink->bits);
    /* a Poisson process in the plane, from left to right: gaps in x are exponential */
    for (double x_mm = -margin_mm;;) {
        double y_mm, radius_mm;

        x_mm -= log(fleck_random_uniform(&state)) / (model->per_mm2 * height_mm);
        if (!(x_mm < right_mm))
            break;
        y_mm = fleck_random_uniform(&state) * height_mm - margin_mm;
        radius_mm = s > 0 ? median_radius_mm * exp(s * normal(&state)) : median_radius_mm;
        draw_disc(ink, px, py, x_mm, y_mm, radius_mm);
    }
}

/* Weights of the finer pixels around the centre of a pixel; NULL when there is no memory. */
static float *new_weights(double fine_mm, double sd_mm, size_t factor, size_t pad, size_t *taps)
{
    const double centre = (double)pad + ((double)factor - 1) / 2;
    float *weights;
    double sum = 0;

    *taps = 2 * pad + factor;
    weights = fleck_alloc_array(*taps, sizeof *weights);
    for (int pass = 0; weights != NULL && pass < 2; pass++) {
        for (size_t k = 0; k < *taps; k++) {
            const double u = ((double)k - centre) * fine_mm / sd_mm, value = exp(-0.5 * u * u);

            if (pass == 0)
                sum += value;
            else
                weights[k] = (float)(value / sum);
        }
    }
    return weights;
}

/* Sums of the first 0, 1, 2 ... of them, up to all. */
static float *new_sums(double fine_mm, double sd_mm, size_t factor, size_t pad, size_t *taps)
{
    float *const weights = new_weights(fine_mm, sd_mm, factor, pad, taps);
    float *const sums = fleck_alloc_array(*taps + 1, sizeof *sums);
    double sum = 0;

    for (size_t k = 0; weights != NULL && sums != NULL && k <= *taps; k++) {
        sums[k] = (float)sum;
        sum += k < *taps ? (double)weights[k] : 0;
    }
    if (weights == NULL) {
        fleck_free(sums);
        return NULL;
    }
    fleck_free(weights);
    return sums;
}

/*
 * For an edge in each place of pixel 0, what lies left of it under the weights of each pixel, from as
 * many pixels to the left as to the right of it.
 */
static bool make_edges(fleck_boolean_canvas *canvas, const float *sums)
{
    const size_t most_px = canvas->fine.width_px / canvas->factor + 1;

    canvas->edge_zero = most_px;
    canvas->edge_pitch = most_px + canvas->pitch_px;
    canvas->edges = fleck_alloc_array(canvas->factor * canvas->edge_pitch, sizeof *canvas->edges);
    for (size_t place = 0; canvas->edges != NULL && place < canvas->factor; place++) {
        for (size_t i = 0; i < canvas->edge_pitch; i++) {
            const size_t left = i < most_px ? place + (most_px - i) * canvas->factor
                                : i == most_px ? place : 0;

            canvas->edges[place * canvas->edge_pitch + i] =
                sums[left < canvas->taps_x ? left : canvas->taps_x];
        }
    }
    return canvas->edges != NULL;
}

fleck_status fleck_boolean_canvas_init(fleck_boolean_canvas *canvas, size_t width_px,
                                       size_t height_px, double pixel_x_mm, double pixel_y_mm,
                                       double blur_sd_mm, fleck_error *err)
{
    const double sd_px = blur_sd_mm / fmax(pixel_x_mm, pixel_y_mm);
    double fine_x_mm, fine_y_mm;
    size_t fine_width_px, fine_height_px;
    float *sums;
    fleck_status status;

    *canvas = (fleck_boolean_canvas){ .pixel_x_mm = pixel_x_mm,
                                      .pixel_y_mm = pixel_y_mm,
                                      .blur_sd_mm = blur_sd_mm };
    if (!(blur_sd_mm > 0))
        return FLECK_OK;
    /* finer pixels of at most 0.6 of the blur: the sum over them is then as good as the integral */
    canvas->factor = (size_t)fmin(fmax(ceil(1 / (0.6 * sd_px)), 1), 6);
    fine_x_mm = pixel_x_mm / (double)canvas->factor;
    fine_y_mm = pixel_y_mm / (double)canvas->factor;
    canvas->pad_x = (size_t)ceil(3 * blur_sd_mm / fine_x_mm);
    canvas->pad_y = (size_t)ceil(3 * blur_sd_mm / fine_y_mm);
    fine_width_px = width_px * canvas->factor + 2 * canvas->pad_x;
    fine_height_px = height_px * canvas->factor + 2 * canvas->pad_y;
    sums = new_sums(fine_x_mm, blur_sd_mm, canvas->factor, canvas->pad_x, &canvas->taps_x);
    canvas->weight_y =
        new_weights(fine_y_mm, blur_sd_mm, canvas->factor, canvas->pad_y, &canvas->taps_y);
    canvas->pitch_px = (width_px + FLECK_WORD_PX - 1) / FLECK_WORD_PX * FLECK_WORD_PX;
    canvas->blurred_rows = KEPT_TIMES * canvas->taps_y;
    canvas->blurred = fleck_alloc_array(canvas->blurred_rows * canvas->pitch_px, sizeof *canvas->blurred);
    canvas->sum = fleck_alloc_array(canvas->pitch_px, sizeof *canvas->sum);
    canvas->runs = fleck_alloc_array(fine_width_px / 2 + 1, sizeof *canvas->runs);
    status = fleck_bit_rows_init(&canvas->fine, fine_width_px, fine_height_px, 1, err);
    if (status == FLECK_OK &&
        (sums == NULL || !make_edges(canvas, sums) || canvas->weight_y == NULL ||
         canvas->blurred == NULL || canvas->sum == NULL || canvas->runs == NULL))
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to draw grains; free some memory");
    fleck_free(sums);
    return status;
}

void fleck_boolean_canvas_clear(fleck_boolean_canvas *canvas)
{
    fleck_free(canvas->edges);
    fleck_free(canvas->weight_y);
    fleck_free(canvas->blurred);
    fleck_free(canvas->sum);
    fleck_free(canvas->runs);
    fleck_bit_rows_clear(&canvas->fine);
    *canvas = (fleck_boolean_canvas){ 0 };
}

/*
 * Add what each run of ink adds to the pixels of a row: the weights it lies under, which is a difference
 * of their sums. `edges` has these sums for an edge in place 0, 1 ... of pixel 0, by the pixel; for an
 * edge further right they stand further left. Whole blocks do no harm: beyond the reach of a run the
 * sums of its edges are the same.
 */
FLECK_WIDE_BODY add_runs_body(const fleck_run *restrict runs, size_t count, size_t width_px,
                              const float *restrict edges, size_t edge_pitch, uint32_t factor,
                              size_t reach_px, float *restrict blurred)
{
    for (size_t i = 0; i < count; i++) {
        const uint32_t start_px = runs[i].start_px / factor, end_px = runs[i].end_px / factor;
        const float *const start = edges + (runs[i].start_px % factor) * edge_pitch - start_px;
        const float *const end = edges + (runs[i].end_px % factor) * edge_pitch - end_px;
        const size_t past = end_px < width_px ? end_px + 1 : width_px;

        for (size_t x = (start_px > reach_px ? start_px - reach_px : 0) / BLOCK_PX * BLOCK_PX; x < past;
             x += BLOCK_PX) {
            for (size_t k = x; k < x + BLOCK_PX; k++)
                blurred[k] += end[k] - start[k];
        }
    }
}

FLECK_WIDE(add_runs,
           (const fleck_run *restrict runs, size_t count, size_t width_px, const float *restrict edges,
            size_t edge_pitch, uint32_t factor, size_t reach_px, float *restrict blurred),
           (runs, count, width_px, edges, edge_pitch, factor, reach_px, blurred))

/* Finer row j along x. */
static void blur_row(const fleck_boolean_canvas *canvas, size_t j, size_t width_px, float *blurred)
{
    const fleck_mask fine = { .width_px = canvas->fine.width_px,
                              .height_px = canvas->fine.rows,
                              .row_words = canvas->fine.pitch,
                              .words = canvas->fine.bits };
    const size_t count = fleck_mask_runs(&fine, j, canvas->runs);

    memset(blurred, 0, canvas->pitch_px * sizeof *blurred);
    add_runs_at(fleck_widest())(canvas->runs, count, width_px, canvas->edges + canvas->edge_zero,
                                canvas->edge_pitch, (uint32_t)canvas->factor,
                                canvas->taps_x / canvas->factor + 1, blurred);
}

/* Add four finer rows, one after the other. */
FLECK_WIDE_BODY add_four_body(const float *restrict rows, size_t pitch, const float *restrict weights,
                              size_t width_px, float *restrict sum)
{
    const float *const second = rows + pitch, *const third = second + pitch,
                *const fourth = third + pitch;

    for (size_t x = 0; x < width_px; x++)
        sum[x] = (((sum[x] + weights[0] * rows[x]) + weights[1] * second[x]) + weights[2] * third[x]) +
                 weights[3] * fourth[x];
}

FLECK_WIDE(add_four,
           (const float *restrict rows, size_t pitch, const float *restrict weights, size_t width_px,
            float *restrict sum),
           (rows, pitch, weights, width_px, sum))

FLECK_WIDE_BODY add_one_body(const float *restrict row, float weight, size_t width_px,
                             float *restrict sum)
{
    for (size_t x = 0; x < width_px; x++)
        sum[x] += weight * row[x];
}

FLECK_WIDE(add_one, (const float *restrict row, float weight, size_t width_px, float *restrict sum),
           (row, weight, width_px, sum))

/* Blurred finer rows, from above to below, into the sum of a row of the result. */
static void add_rows(const fleck_boolean_canvas *canvas, const float *rows)
{
    const fleck_width width = fleck_widest();
    add_four_function *const add_four = add_four_at(width);
    add_one_function *const add_one = add_one_at(width);
    const size_t pitch_px = canvas->pitch_px;
    size_t k = 0;

    memset(canvas->sum, 0, pitch_px * sizeof *canvas->sum);
    for (; k + 4 <= canvas->taps_y; k += 4)
        add_four(rows + k * pitch_px, pitch_px, canvas->weight_y + k, pitch_px, canvas->sum);
    for (; k < canvas->taps_y; k++)
        add_one(rows + k * pitch_px, canvas->weight_y[k], pitch_px, canvas->sum);
}

/* A row of the result: what reaches one half is ink. */
FLECK_WIDE_BODY cut_row_body(const float *restrict sum, size_t words, uint64_t *restrict row)
{
    for (size_t i = 0; i < words; i++) {
        uint64_t word = 0;

        for (size_t x = 0; x < FLECK_WORD_PX; x++)
            word |= (uint64_t)(sum[i * FLECK_WORD_PX + x] >= 0.5f) << x;
        row[i] = word;
    }
}

FLECK_WIDE(cut_row, (const float *restrict sum, size_t words, uint64_t *restrict row),
           (sum, words, row))

static void draw_blurred(fleck_boolean_canvas *canvas, const fleck_disc_model *model, uint64_t seed,
                         fleck_bit_rows *ink)
{
    const size_t pitch_px = canvas->pitch_px, taps = canvas->taps_y, factor = canvas->factor;
    size_t first = 0, kept = 0; /* of the blurred finer rows: those that a row of the result is made of */

    draw_discs(model, canvas->pixel_x_mm / (double)factor, canvas->pixel_y_mm / (double)factor, seed,
               &canvas->fine);
    memset(ink->bits, 0, ink->rows * ink->pitch * sizeof *ink->bits);
    for (size_t y = 0; y < ink->rows; y++) {
        uint64_t *const row = fleck_bit_row(ink, y);

        if (y > 0) {
            first += factor;
            kept -= factor;
        }
        if (first + taps > canvas->blurred_rows) {
            memmove(canvas->blurred, canvas->blurred + first * pitch_px,
                    kept * pitch_px * sizeof *canvas->blurred);
            first = 0;
        }
        for (; kept < taps; kept++)
            blur_row(canvas, y * factor + kept, ink->width_px,
                     canvas->blurred + (first + kept) * pitch_px);
        add_rows(canvas, canvas->blurred + first * pitch_px);
        cut_row_at(fleck_widest())(canvas->sum, ink->words, row);
        row[ink->words - 1] &= UINT64_MAX >> (ink->words * FLECK_WORD_PX - ink->width_px);
    }
}

void fleck_boolean_draw(fleck_boolean_canvas *canvas, const fleck_disc_model *model, uint64_t seed,
                        fleck_bit_rows *ink)
{
    if (canvas->factor == 0)
        draw_discs(model, canvas->pixel_x_mm, canvas->pixel_y_mm, seed, ink);
    else
        draw_blurred(canvas, model, seed, ink);
    for (size_t y = 0; y < ink->rows; y++)
        fleck_bit_rows_recount(ink, y);
}
