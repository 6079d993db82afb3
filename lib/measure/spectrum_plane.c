/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The power of one tile on the whole frequency plane, by the transform behind the radial means. */
#include "fleck/texture.h"

#include <math.h>

#include "core/memory.h"
#include "measure/fourier.h"
#include "measure/hann.h"

static void fill_column(const double *column_power, size_t side, size_t kx, double scale,
                        double *power_mm2)
{
    const size_t mirror_kx = (side - kx) % side;

    for (size_t ky = 0; ky < side; ky++) {
        const double power = column_power[ky] * scale;

        power_mm2[ky * side + kx] = power;
        if (mirror_kx != kx) /* the tile is real: X(-kx, -ky) = conj X(kx, ky) */
            power_mm2[(side - ky) % side * side + mirror_kx] = power;
    }
}

static void transform(const fleck_fourier *fourier, const double *window, const double *values,
                      size_t side, double scale, double *power_mm2)
{
    fleck_fourier_work *const work = fleck_fourier_get_work(fourier, 0);
    double mean = 0;
    size_t ready;

    for (size_t i = 0; i < side * side; i++)
        mean += values[i];
    mean /= (double)side * (double)side;
    for (size_t i = 0; i < side; i++) {
        const unsigned half = i >= side / 2;
        const size_t y = i - half * (side / 2);
        const double *const row = values + i * side;

        for (size_t x = 0; x < side; x++)
            work->two_rows[2 * x + y % 2] = (row[x] - mean) * window[x];
        if (y % 2 == 1 || y + 1 == side / 2)
            fleck_fourier_two_rows(fourier, work, half, y / 2 * 2);
    }
    for (size_t kx = 0; kx <= side / 2; kx += ready) {
        ready = fleck_fourier_columns(fourier, work, 0, 0, kx);
        for (size_t c = 0; c < ready; c++)
            fill_column(work->power + side * c, side, kx + c, scale, power_mm2);
    }
}

fleck_status fleck_spectrum_plane(const double *values, size_t side_px, double pixel_x_mm,
                                  double pixel_y_mm, double *power_mm2, fleck_error *err)
{
    fleck_fourier *fourier = NULL;
    double *window = NULL;
    double squares;
    fleck_status status;

    if (side_px % 2 != 0 || side_px < 2 || side_px > FLECK_FOURIER_MAX_SIDE_PX)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "a tile of %zu px cannot be transformed; choose an even number from 2 to %d", side_px,
            FLECK_FOURIER_MAX_SIDE_PX);
    if (!(pixel_x_mm > 0) || !(pixel_y_mm > 0) || !isfinite(pixel_x_mm) || !isfinite(pixel_y_mm))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a pixel of %g x %g mm has no size; give a resolution above 0",
                          pixel_x_mm, pixel_y_mm);
    window = fleck_hann_new(side_px);
    if (window == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for a tile of %zu px; choose a smaller one", side_px);
    status = fleck_fourier_new(side_px, window, 1, &fourier, err);
    if (status == FLECK_OK) {
        squares = fleck_hann_squares(window, side_px);
        transform(fourier, window, values, side_px, pixel_x_mm * pixel_y_mm / (squares * squares),
                  power_mm2);
    }
    fleck_fourier_free(fourier);
    fleck_free(window);
    return status;
}
