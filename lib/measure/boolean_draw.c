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
#include "segment/mask_words.h"

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

fleck_status fleck_boolean_canvas_init(fleck_boolean_canvas *canvas, size_t width_px,
                                       size_t height_px, double pixel_x_mm, double pixel_y_mm,
                                       double blur_sd_mm, fleck_error *err)
{
    const double sd_px = blur_sd_mm / fmax(pixel_x_mm, pixel_y_mm);
    double fine_x_mm, fine_y_mm;
    size_t fine_width_px, fine_height_px;
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
    canvas->sum_x = new_sums(fine_x_mm, blur_sd_mm, canvas->factor, canvas->pad_x, &canvas->taps_x);
    canvas->weight_y =
        new_weights(fine_y_mm, blur_sd_mm, canvas->factor, canvas->pad_y, &canvas->taps_y);
    canvas->blurred = fleck_alloc_array(width_px, sizeof *canvas->blurred);
    canvas->sum = fleck_alloc_array(width_px * height_px, sizeof *canvas->sum);
    status = fleck_bit_rows_init(&canvas->fine, fine_width_px, fine_height_px, 1, err);
    if (status == FLECK_OK && (canvas->sum_x == NULL || canvas->weight_y == NULL ||
                               canvas->blurred == NULL || canvas->sum == NULL))
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to draw grains; free some memory");
    return status;
}

void fleck_boolean_canvas_clear(fleck_boolean_canvas *canvas)
{
    fleck_free(canvas->sum_x);
    fleck_free(canvas->weight_y);
    fleck_free(canvas->blurred);
    fleck_free(canvas->sum);
    fleck_bit_rows_clear(&canvas->fine);
    *canvas = (fleck_boolean_canvas){ 0 };
}

/* Each run of ink adds the weights it lies under: a difference of their sums. */
static void blur_row(fleck_boolean_canvas *canvas, size_t j, size_t width_px)
{
    const fleck_mask fine = { .width_px = canvas->fine.width_px,
                              .height_px = canvas->fine.rows,
                              .row_words = canvas->fine.pitch,
                              .words = canvas->fine.bits };
    const size_t taps = canvas->taps_x, factor = canvas->factor;
    fleck_run run = { 0, 0 };

    memset(canvas->blurred, 0, width_px * sizeof *canvas->blurred);
    while (fleck_mask_next_run(&fine, j, run.end_px, &run)) {
        const size_t start = run.start_px, end = run.end_px;

        for (size_t x = start < taps ? 0 : (start - taps) / factor + 1;
             x < width_px && x * factor < end; x++) {
            const size_t from = x * factor < start ? start - x * factor : 0;
            const size_t to = end - x * factor < taps ? end - x * factor : taps;

            canvas->blurred[x] += canvas->sum_x[to] - canvas->sum_x[from];
        }
    }
}

/* Lay the blurred finer row j over the rows it reaches. */
static void add_row(fleck_boolean_canvas *canvas, size_t j, size_t width_px, size_t height_px)
{
    const size_t first = j < canvas->taps_y ? 0 : (j - canvas->taps_y) / canvas->factor + 1;

    for (size_t y = first; y < height_px && y * canvas->factor <= j; y++) {
        const float weight = canvas->weight_y[j - y * canvas->factor];
        float *const sum = canvas->sum + y * width_px;

        for (size_t x = 0; x < width_px; x++)
            sum[x] += weight * canvas->blurred[x];
    }
}

static void draw_blurred(fleck_boolean_canvas *canvas, const fleck_disc_model *model, uint64_t seed,
                         fleck_bit_rows *ink)
{
    const size_t w = ink->width_px, h = ink->rows;
    const double factor = (double)canvas->factor;

    draw_discs(model, canvas->pixel_x_mm / factor, canvas->pixel_y_mm / factor, seed,
               &canvas->fine);
    memset(canvas->sum, 0, w * h * sizeof *canvas->sum);
    for (size_t j = 0; j < canvas->fine.rows; j++) {
        blur_row(canvas, j, w);
        add_row(canvas, j, w, h);
    }
    memset(ink->bits, 0, ink->rows * ink->pitch * sizeof *ink->bits);
    for (size_t y = 0; y < h; y++) {
        uint64_t *const row = fleck_bit_row(ink, y);

        for (size_t x = 0; x < w; x++)
            row[x / 64] |= (uint64_t)(canvas->sum[y * w + x] >= 0.5f) << x % 64;
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
