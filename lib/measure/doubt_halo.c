/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tone as a function of the distance from an edge, along rows. Each edge is its own control: what
 * lies 1 to 5 units from it is compared with what lies 8 to 11 units from it in the same stretch,
 * and only stretches that are clear of the other phase above and below count. So neither uneven
 * paper nor a neighbouring dot's blur shows up; a soft edge can only give less tone near it, never
 * more. A unit is a pixel at 600 ppi and grows with the resolution.
 */
#include "measure/doubt_halo.h"

#include <math.h>

enum {
    NEAR_UNITS = 5,
    FAR_UNITS = 8,     /* to 11 */
    LENGTH_UNITS = 18, /* the far end is an edge too, with a halo of its own */
    SLACK_PX = 2,      /* a dot's outline may bend so far within the band */
    LEAST_COUNT = 30
};

static const double critical = 0.015; /* of the contrast; docs/doubts.md has the rates */
static const double critical_z = 5;

static void take_edge(fleck_doubt_halo_sums *sums, size_t phase, const uint16_t *q, size_t start_px,
                      bool leftward)
{
    const size_t unit_px = sums->unit_px;
    int64_t far = 0;

    for (size_t i = 0; i < 4; i++) {
        const size_t away_px = (FAR_UNITS + i) * unit_px;

        far += q[leftward ? start_px - away_px : start_px + away_px];
    }
    for (size_t away_px = 1; away_px <= NEAR_UNITS * unit_px; away_px++) {
        const int64_t near = q[leftward ? start_px - away_px : start_px + away_px];
        const int64_t excess = 4 * near - far;

        sums->sum[phase][away_px - 1] += excess;
        sums->squares[phase][away_px - 1] += (uint64_t)(excess * excess);
    }
    sums->count[phase]++;
}

/*
 * The run of the row in which a clear stretch lies, for either phase. *next is where the search
 * goes on, as stretches come from left to right.
 */
static fleck_run find_run(const fleck_clear_rows *clear, size_t phase, fleck_run stretch,
                          size_t *next)
{
    while (*next < clear->run_count && clear->runs[*next].end_px <= stretch.start_px)
        ++*next;
    if (phase == FLECK_PHASE_INK)
        return clear->runs[*next];
    return (fleck_run){ *next > 0 ? clear->runs[*next - 1].end_px : 0,
                        *next < clear->run_count ? clear->runs[*next].start_px
                                                 : (uint32_t)clear->width_px };
}

void fleck_doubt_halo_add(fleck_doubt_halo_sums *sums, const fleck_clear_rows *clear)
{
    if (sums->unit_px == 0) {
        sums->unit_px = (clear->reach_px + 1) / 3; /* the reach is 3 pixels at 600 ppi */
        if (sums->unit_px > FLECK_HALO_MOST_PX / NEAR_UNITS)
            sums->unit_px = FLECK_HALO_MOST_PX / NEAR_UNITS;
    }
    for (size_t phase = 0; phase < 2; phase++) {
        size_t next = 0;

        for (size_t i = 0; i < clear->clear_count[phase]; i++) {
            const fleck_run stretch = clear->clear[phase][i];
            fleck_run run;

            if (stretch.end_px - stretch.start_px < LENGTH_UNITS * sums->unit_px)
                continue;
            run = find_run(clear, phase, stretch, &next);
            if (run.start_px > 0 && stretch.start_px - run.start_px <= SLACK_PX)
                take_edge(sums, phase, clear->q, run.start_px, false);
            if (run.end_px < clear->width_px && run.end_px - stretch.end_px <= SLACK_PX)
                take_edge(sums, phase, clear->q, run.end_px - 1, true);
        }
    }
}

/* Largest mean excess in the direction given, in reflectance, among those above chance; 0: none. */
static double largest_excess(const fleck_doubt_halo_sums *sums, size_t phase, double direction)
{
    const double n = (double)sums->count[phase];
    double largest = 0;

    if (sums->count[phase] < LEAST_COUNT)
        return NAN;
    for (size_t i = 0; i < NEAR_UNITS * sums->unit_px; i++) {
        const double mean = direction * (double)sums->sum[phase][i] / n;
        const double variance = (double)sums->squares[phase][i] / n - mean * mean;

        if (mean > largest && mean > critical_z * sqrt(fmax(variance, 0) / n))
            largest = mean;
    }
    return largest / (4 * 65535.0);
}

fleck_doubt_halo fleck_doubt_halo_finish(const fleck_doubt_halo_sums *sums, double ink_reflectance,
                                         double bare_reflectance)
{
    const double contrast = bare_reflectance - ink_reflectance; /* negative for light ink */
    const double direction = contrast < 0 ? -1 : 1;
    fleck_doubt_halo halo = { .doubt = { .critical = critical } };

    halo.doubt.statistic = largest_excess(sums, FLECK_PHASE_BARE, direction) / fabs(contrast);
    halo.undershoot = largest_excess(sums, FLECK_PHASE_INK, -direction) / fabs(contrast);
    halo.doubt.exceeded = halo.doubt.statistic >= critical;
    return halo;
}

fleck_status fleck_doubt_halo_warn(const fleck_doubt_halo *halo, fleck_warnings *warnings,
                                   fleck_error *err)
{
    if (!halo->doubt.exceeded)
        return FLECK_OK;
    return fleck_warnings_add(
        warnings, err, "sharpening-halo",
        "bare paper beside ink overshoots by %.1f %% of the contrast: the scan "
        "was sharpened, which moves edges and joins or parts dots; scan again "
        "with sharpening (unsharp mask) switched off",
        100 * halo->doubt.statistic);
}
