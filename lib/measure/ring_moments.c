/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The mean of (cos 2t, sin 2t) over the power is 0 for a texture without direction, and for lattices
 * with three, four or six axes. Without direction its scatter from tile to tile is the same along
 * both axes, which leaves one variance to be found: twice the square of the mean over it is F with 2
 * and 2 (n - 1) degrees of freedom, whose tail has a closed form. Source: the one-way F test;
 * Mardia & Jupp (2000), Directional Statistics, for the doubled angle.
 */
#include "measure/ring_moments.h"

#include <math.h>

#include "core/wide.h"

static const double PI = 3.14159265358979323846;

/* Lower rings hold shading and the window's own shape, higher ones the scanner's blur and noise,
 * which differ between its axes. */
enum { FIRST_RING = 3, PART_OF_RINGS = 2 };

/* Half-overlapping Hann tiles are worth so many independent ones: 1 / (1 + 2 / 36)^2 (Welch 1967). */
static const double TILE_WORTH = 0.897;

static const double CHANCE = 0.01; /* common practice, no source */

/* Sums of their own for every LANES-th point, so that vectors of any width add in the same order. */
enum { LANES = 8 };

struct lanes {
    double cosine[LANES], sine[LANES], total[LANES];
};

/* The point at ky of the column at x, into lane i; that of -ky stands at mirror[-ky]. */
static inline __attribute__((always_inline)) void add_point(const double *power,
                                                            const double *mirror, size_t ky,
                                                            double x, double stretch_y,
                                                            struct lanes *lanes, size_t i)
{
    const double y = stretch_y * (double)(int)ky; /* int: quicker, and enough for a side */
    const double up_power = power[ky], down_power = *(mirror - ky);
    const double scale = 1 / (x * x + y * y);

    lanes->cosine[i] += scale * (up_power + down_power) * (x * x - y * y);
    lanes->sine[i] += scale * (up_power - down_power) * (2 * x * y);
    lanes->total[i] += up_power + down_power;
}

/*
 * The points from ky = first to end - 1; an end beyond the last whole group of LANES is left to the
 * caller.
 */
FLECK_WIDE_BODY add_groups_body(const double *restrict power, const double *restrict mirror,
                                size_t first, size_t end, double x, double stretch_y,
                                struct lanes *restrict lanes)
{
    struct lanes sums = *lanes;

    for (size_t from = first; from + LANES <= end; from += LANES) {
        for (size_t i = 0; i < LANES; i++)
            add_point(power, mirror, from + i, x, stretch_y, &sums, i);
    }
    *lanes = sums;
}

FLECK_WIDE(add_groups,
           (const double *restrict power, const double *restrict mirror, size_t first, size_t end,
            double x, double stretch_y, struct lanes *restrict lanes),
           (power, mirror, first, end, x, stretch_y, lanes))

/* The first of `length` points of a column whose ring is at least this one; rings grow along it. */
static size_t first_at(const uint16_t *number, size_t length, size_t ring)
{
    size_t from = 0;

    while (length > 0) {
        const size_t half = length / 2;

        if (number[from + half] < ring) {
            from += half + 1;
            length -= half + 1;
        } else {
            length = half;
        }
    }
    return from;
}

void fleck_ring_moments_add_column(const fleck_rings *rings, size_t kx, const double *power,
                                   fleck_ring_moments *moments)
{
    const size_t side = rings->side_px, half = side / 2;
    const uint16_t *const number = rings->number + kx * (half + 1);
    /* no column that reaches Nyquist has it in a middle ring */
    const size_t length = rings->column_length[kx] < half ? rings->column_length[kx] : half;
    const size_t end = first_at(number, length, rings->count / PART_OF_RINGS + 1);
    const double weight = kx == 0 || kx == half ? 1.0 : 2.0;
    const double x = rings->stretch_x * (double)kx;
    struct lanes lanes = { { 0 }, { 0 }, { 0 } };
    size_t ky = first_at(number, end, FIRST_RING);

    if (ky == 0 && end > 0) { /* its own mirror image; on the axis of x */
        lanes.cosine[0] = power[0];
        lanes.total[0] = power[0];
        ky = 1;
    }
    add_groups_at(fleck_widest())(power, power + side, ky, end, x, rings->stretch_y, &lanes);
    for (ky += end > ky ? (end - ky) / LANES * LANES : 0; ky < end; ky++)
        add_point(power, power + side, ky, x, rings->stretch_y, &lanes, 0);
    for (size_t i = 0; i < LANES; i++) {
        moments->cosine += weight * lanes.cosine[i];
        moments->sine += weight * lanes.sine[i];
        moments->total += weight * lanes.total[i];
    }
}

void fleck_moment_sums_add(fleck_moment_sums *sums, const fleck_ring_moments *tile)
{
    sums->tiles++;
    sums->cosine += tile->cosine;
    sums->sine += tile->sine;
    sums->total += tile->total;
    sums->squares += tile->cosine * tile->cosine + tile->sine * tile->sine;
}

fleck_moment_verdict fleck_moment_sums_judge(const fleck_moment_sums *sums)
{
    fleck_moment_verdict verdict = { NAN, NAN, NAN };
    const double tiles = (double)sums->tiles, freedom = TILE_WORTH * tiles - 1;
    const double length_2 = sums->cosine * sums->cosine + sums->sine * sums->sine;
    const double scatter = (sums->squares - length_2 / tiles) / (tiles - 1);

    if (!(sums->total > 0))
        return verdict;
    verdict.anisotropy = sqrt(length_2) / sums->total;
    if (!(freedom > 0) || !(scatter > 0))
        return verdict;
    verdict.p = pow(1 + TILE_WORTH * length_2 / tiles / scatter / freedom, -freedom);
    if (verdict.p < CHANCE) {
        /* y upward turns the sign of the sine; the grain runs across its frequency */
        const double frequency_deg = atan2(-sums->sine, sums->cosine) / 2 * 180 / PI;

        verdict.direction_deg = frequency_deg + 90 >= 180 ? frequency_deg - 90 : frequency_deg + 90;
    }
    return verdict;
}
