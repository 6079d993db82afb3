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

static const double PI = 3.14159265358979323846;

/* Lower rings hold shading and the window's own shape, higher ones the scanner's blur and noise,
 * which differ between its axes. */
enum { FIRST_RING = 3, PART_OF_RINGS = 2 };

/* Half-overlapping Hann tiles are worth so many independent ones: 1 / (1 + 2 / 36)^2 (Welch 1967). */
static const double TILE_WORTH = 0.897;

static const double CHANCE = 0.01; /* common practice, no source */

void fleck_ring_moments_add_column(const fleck_rings *rings, size_t kx, const double *power,
                                   fleck_ring_moments *moments)
{
    const size_t side = rings->side_px, half = side / 2;
    const size_t last_ring = rings->count / PART_OF_RINGS;
    const uint16_t *const number = rings->number + kx * (half + 1);
    const double weight = kx == 0 || kx == half ? 1.0 : 2.0;
    const double x = rings->stretch_x * (double)kx;
    size_t length = rings->column_length[kx];

    if (length > half)
        length = half; /* no column that reaches Nyquist has it in a middle ring */
    for (size_t ky = 0; ky < length && number[ky] <= last_ring; ky++) {
        const double y = rings->stretch_y * (double)ky;
        const double up_power = power[ky], down_power = ky == 0 ? 0 : power[side - ky];
        const double scale = weight / (x * x + y * y);

        if (number[ky] < FIRST_RING)
            continue;
        moments->cosine += scale * (up_power + down_power) * (x * x - y * y);
        moments->sine += scale * (up_power - down_power) * (2 * x * y);
        moments->total += weight * (up_power + down_power);
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
