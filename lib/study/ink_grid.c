/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>

#include "core/memory.h"
#include "stats/moments.h"
#include "study/registration.h"

/* Polynomials of degree 0, 1 and 2 that are orthogonal on `count` cells in a row (Gram). */
static double gram(size_t degree, size_t i, size_t count)
{
    const double n = (double)count, x = (double)i - (n - 1) / 2;

    return degree == 0 ? 1 : degree == 1 ? x : x * x - (n * n - 1) / 12;
}

/* Take off the part of one product of polynomials; they are orthogonal, so the order does not matter. */
static void take_off(double *shares, size_t width, size_t height, size_t degree_x, size_t degree_y)
{
    fleck_sum along = { 0, 0 };
    double square_x = 0, square_y = 0, slope;

    for (size_t x = 0; x < width; x++)
        square_x += gram(degree_x, x, width) * gram(degree_x, x, width);
    for (size_t y = 0; y < height; y++)
        square_y += gram(degree_y, y, height) * gram(degree_y, y, height);
    if (!(square_x > 0) || !(square_y > 0))
        return;
    for (size_t y = 0; y < height; y++) {
        double row = 0;

        for (size_t x = 0; x < width; x++)
            row += shares[y * width + x] * gram(degree_x, x, width);
        fleck_sum_add(&along, row * gram(degree_y, y, height));
    }
    slope = fleck_sum_value(&along) / (square_x * square_y);
    for (size_t y = 0; y < height; y++) {
        for (size_t x = 0; x < width; x++)
            shares[y * width + x] -= slope * gram(degree_x, x, width) * gram(degree_y, y, height);
    }
}

fleck_status fleck_ink_grid_from(double *shares, size_t width, size_t height, double cell_mm,
                                 fleck_ink_grid *grid, fleck_error *err)
{
    *grid = (fleck_ink_grid){ width, height, cell_mm, NULL };
    grid->cells = fleck_alloc_array(width * height, sizeof *grid->cells);
    if (grid->cells == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to register prints; free some memory");
    for (size_t y = 0; y <= 2; y++) {
        for (size_t x = 0; x + y <= 2; x++)
            take_off(shares, width, height, x, y);
    }
    for (size_t i = 0; i < width * height; i++)
        grid->cells[i] = (int16_t)lround(fmax(-1, fmin(1, shares[i])) * FLECK_GRID_SCALE);
    return FLECK_OK;
}

void fleck_ink_grid_clear(fleck_ink_grid *grid)
{
    fleck_free(grid->cells);
    *grid = (fleck_ink_grid){ 0 };
}
