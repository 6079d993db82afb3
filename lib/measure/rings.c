/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ring r holds the points with r - 1/2 <= |f| / step < r + 1/2. As (kx, ky) and (kx, -ky) share a
 * ring, one table over the quarter plane serves, and their powers are added before they go to a
 * sum.
 */
#include "measure/rings.h"

#include <assert.h>
#include <math.h>

#include "core/memory.h"

/*
 * Where the sides of a pixel stand in a ratio of small numbers a point can lie on the border of two
 * rings, and rounding must not decide. Points that are truly below a border stay 1 / (8 r q^2) away
 * from it, q the denominator of the ratio: far more than this.
 */
static const double BORDER = 1e-9;

static void fill(fleck_rings *rings)
{
    const size_t half = rings->side_px / 2;

    for (size_t kx = 0; kx <= half; kx++) {
        uint16_t *number = rings->number + kx * (half + 1);
        const uint64_t in_x = kx == 0 || kx == half ? 1 : 2;

        for (size_t ky = 0; ky <= half; ky++) {
            const double x = rings->stretch_x * (double)kx, y = rings->stretch_y * (double)ky;
            const double ring = floor(sqrt(x * x + y * y) + 0.5 + BORDER);
            const uint64_t in_y = ky == 0 || ky == half ? 1 : 2;

            if (ring > (double)rings->count)
                break; /* the corners of the plane and, for oblong pixels, more belong to no ring */
            number[ky] = (uint16_t)ring;
            rings->column_length[kx]++;
            rings->samples[number[ky]] += in_x * in_y;
        }
    }
}

void fleck_rings_add_column(const fleck_rings *rings, size_t kx, const double *column, double *sums)
{
    const size_t side = rings->side_px, half = side / 2;
    const uint16_t *number = rings->number + kx * (half + 1);
    const size_t length = rings->column_length[kx];
    const size_t paired = length < half ? length : half;
    const double weight = kx == 0 || kx == half ? 1.0 : 2.0;

    if (length == 0)
        return;
    sums[number[0]] += weight * (column[0] * column[0] + column[1] * column[1]);
    for (size_t ky = 1; ky < paired; ky++) {
        const double *up = column + 2 * ky, *down = column + 2 * (side - ky);

        sums[number[ky]] +=
            weight * ((up[0] * up[0] + up[1] * up[1]) + (down[0] * down[0] + down[1] * down[1]));
    }
    if (length > half) {
        const double *last = column + 2 * half;

        sums[number[half]] += weight * (last[0] * last[0] + last[1] * last[1]);
    }
}

void fleck_rings_clear(fleck_rings *rings)
{
    fleck_free(rings->number);
    fleck_free(rings->column_length);
    fleck_free(rings->samples);
    *rings = (fleck_rings){ 0 };
}

fleck_status fleck_rings_new(size_t side_px, double pixel_x_mm, double pixel_y_mm, fleck_rings *out,
                             fleck_error *err)
{
    const size_t half = side_px / 2;
    const double larger_mm = fmax(pixel_x_mm, pixel_y_mm);
    fleck_rings rings = { .side_px = side_px, .count = half };
    size_t points;

    assert(side_px >= 2 && side_px % 2 == 0 && side_px <= 65536);
    *out = (fleck_rings){ 0 };
    rings.step_per_mm = 1 / ((double)side_px * larger_mm);
    if (size_mul(half + 1, half + 1, &points))
        rings.number = fleck_alloc_zeroed(points, sizeof *rings.number);
    rings.column_length = fleck_alloc_zeroed(half + 1, sizeof *rings.column_length);
    rings.samples = fleck_alloc_zeroed(half + 1, sizeof *rings.samples);
    if (rings.number == NULL || rings.column_length == NULL || rings.samples == NULL) {
        fleck_rings_clear(&rings);
        return fleck_fail(
            err, FLECK_NO_RESOURCE,
            "no memory for the rings of a spectrum of %zu px tiles; choose smaller tiles", side_px);
    }
    rings.stretch_x = larger_mm / pixel_x_mm;
    rings.stretch_y = larger_mm / pixel_y_mm;
    fill(&rings);
    *out = rings;
    return FLECK_OK;
}
