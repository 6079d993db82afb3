/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The kernel is the Gaussian at whole pixels. Below 0.8 pixel that would have too small a variance;
 * there the weights are exp(-t) I_n(t), t = sd^2, whose variance is t at every width (Lindeberg
 * 1990). With a standard deviation of 0 it is the one weight 1.
 */
#include "phantom/soften.h"

#include <math.h>

#include "core/memory.h"

struct fleck_soften {
    size_t width_px;
    size_t margin_px;
    size_t taps;    /* 2 * margin + 1 */
    double *kernel; /* taps weights, their sum is 1 */
    double *band;   /* taps rows smoothed along x, row r at r % taps */
    size_t rows;    /* given so far */
};

size_t fleck_soften_margin_px(double sd_px)
{
    if (sd_px == 0)
        return 0;
    return sd_px < 0.75 ? 3 : (size_t)ceil(4 * sd_px);
}

/* Modified Bessel function I_n(t), by its series; 20 terms are more than enough for t < 1. */
static double bessel(size_t n, double t)
{
    double term = 1, sum = 0;

    for (size_t i = 1; i <= n; i++)
        term *= t / 2 / (double)i;
    for (size_t k = 1; k <= 20; k++) {
        sum += term;
        term *= t * t / 4 / (double)(k * (k + n));
    }
    return sum;
}

static void make_kernel(double sd_px, size_t margin_px, double *kernel)
{
    double sum = 0;

    for (size_t i = 0; i <= 2 * margin_px; i++) {
        const size_t n = i > margin_px ? i - margin_px : margin_px - i;
        const double away = (double)n / sd_px;

        kernel[i] = sd_px < 0.8 ? bessel(n, sd_px * sd_px) : exp(-away * away / 2);
        sum += kernel[i];
    }
    for (size_t i = 0; i <= 2 * margin_px; i++)
        kernel[i] /= sum;
}

fleck_status fleck_soften_new(double sd_px, size_t width_px, fleck_soften **out, fleck_error *err)
{
    fleck_soften *soften = fleck_alloc_zeroed(1, sizeof *soften);
    size_t band;

    *out = NULL;
    if (soften == NULL)
        goto no_memory;
    soften->width_px = width_px;
    soften->margin_px = fleck_soften_margin_px(sd_px);
    soften->taps = 2 * soften->margin_px + 1;
    if (!size_mul(soften->taps, width_px, &band))
        goto no_memory;
    soften->kernel = fleck_alloc_array(soften->taps, sizeof *soften->kernel);
    soften->band = fleck_alloc_array(band, sizeof *soften->band);
    if (soften->kernel == NULL || soften->band == NULL)
        goto no_memory;
    make_kernel(sd_px, soften->margin_px, soften->kernel);
    *out = soften;
    return FLECK_OK;
no_memory:
    fleck_soften_free(soften);
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory to blur; give a smaller picture or softness");
}

void fleck_soften_put(fleck_soften *soften, const double *row)
{
    double *smoothed = soften->band + (soften->rows % soften->taps) * soften->width_px;

    for (size_t x = 0; x < soften->width_px; x++) {
        double sum = 0;

        for (size_t k = 0; k < soften->taps; k++)
            sum += soften->kernel[k] * row[x + k];
        smoothed[x] = sum;
    }
    soften->rows++;
}

void fleck_soften_get(const fleck_soften *soften, double *row)
{
    for (size_t x = 0; x < soften->width_px; x++)
        row[x] = 0;
    for (size_t k = 0; k < soften->taps; k++) {
        /* the oldest row of the ring is the one that the next would overwrite */
        const double *band = soften->band + ((soften->rows + k) % soften->taps) * soften->width_px;

        for (size_t x = 0; x < soften->width_px; x++)
            row[x] += soften->kernel[k] * band[x];
    }
}

void fleck_soften_free(fleck_soften *soften)
{
    if (soften == NULL)
        return;
    fleck_free(soften->kernel);
    fleck_free(soften->band);
    fleck_free(soften);
}
