/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ring r holds the points with r - 1/2 <= |f| / step < r + 1/2. As (kx, ky) and (kx, -ky) share a
 * ring, one table over the quarter plane serves, and their powers are added before they go to a
 * sum. Neighbours in a column mostly share a ring, too, and a sum waits for what was added last: so
 * each of some columns has sums of its own.
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

/* Points of a column, from ky 0 on, that have another one at -ky. */
static size_t paired_points(const fleck_rings *rings, size_t kx)
{
    const size_t half = rings->side_px / 2;

    return rings->column_length[kx] < half ? rings->column_length[kx] : half;
}

void fleck_rings_add_columns(const fleck_rings *rings, size_t kx, size_t count, const double *power,
                             double *lanes)
{
    const size_t side = rings->side_px, half = side / 2, sums = rings->count + 1;
    const uint16_t *const number = rings->number + kx * (half + 1);
    size_t common = SIZE_MAX; /* points of all columns, which are added side by side */

    assert(count <= FLECK_RING_LANES);
    for (size_t c = 0; c < count; c++) {
        const size_t paired = paired_points(rings, kx + c);

        common = paired < common ? paired : common;
    }
    if (count == FLECK_RING_LANES && kx > 0 && kx + count <= half) {
        for (size_t ky = 1; ky < common; ky++) {
            for (size_t c = 0; c < FLECK_RING_LANES; c++) {
                const double *const p = power + side * c;

                lanes[sums * c + number[(half + 1) * c + ky]] += 2 * (p[ky] + p[side - ky]);
            }
        }
    } else {
        common = 1;
    }
    for (size_t c = 0; c < count; c++) {
        const double weight = kx + c == 0 || kx + c == half ? 1.0 : 2.0;
        const double *const p = power + side * c;
        const uint16_t *const own = number + (half + 1) * c;
        double *const lane = lanes + sums * c;

        if (rings->column_length[kx + c] == 0)
            continue;
        lane[own[0]] += weight * p[0];
        for (size_t ky = common > 0 ? common : 1; ky < paired_points(rings, kx + c); ky++)
            lane[own[ky]] += weight * (p[ky] + p[side - ky]);
        if (rings->column_length[kx + c] > half)
            lane[own[half]] += weight * p[half];
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
