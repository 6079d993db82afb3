/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Levels stretched by a factor g leave a share 1 - 1/g of the codes empty, at regular distances. A
 * code is tested where one or two neighbours on both sides are full: noise leaves a code between
 * two of 16 counts and more empty less than once in a million, since a histogram's peaks are convex
 * towards their tails. In a drawn picture without noise any code may be missing; its gaps come at
 * all distances, as a geometric law has them (their spread is about their mean), and those of a
 * stretch at even ones.
 */
#include "measure/doubt_comb.h"

#include <math.h>

enum { FULL = 16, LEAST_GAPS = 3, LEAST_TESTED = 8 };

static const double critical = 0.02;       /* stretched by 2 %; docs/doubts.md has the rates */
static const double critical_spread = 0.5; /* of distances between gaps, over their mean */

struct gaps {
    unsigned tested, empty;
    unsigned pairs; /* neighbouring gaps with nothing but tested codes between them */
    double sum, squares;
};

/* Whether code c lies between full ones, at most two steps away on either side. */
static bool is_tested(const uint64_t *codes, int c)
{
    const bool below = codes[c - 1] >= FULL || (codes[c - 1] == 0 && codes[c - 2] >= FULL);
    const bool above = codes[c + 1] >= FULL || (codes[c + 1] == 0 && codes[c + 2] >= FULL);

    return below && above;
}

static struct gaps find_gaps(const uint64_t *codes)
{
    struct gaps gaps = { 0 };
    int last = -1; /* code of the last gap of this stretch of tested codes */

    for (int c = 2; c <= 253; c++) {
        if (!is_tested(codes, c)) {
            last = -1;
            continue;
        }
        gaps.tested++;
        if (codes[c] > 0)
            continue;
        gaps.empty++;
        if (last >= 0) {
            gaps.pairs++;
            gaps.sum += c - last;
            gaps.squares += (double)(c - last) * (c - last);
        }
        last = c;
    }
    return gaps;
}

static bool is_regular(const struct gaps *gaps)
{
    const double mean = gaps->sum / gaps->pairs;
    const double variance = gaps->squares / gaps->pairs - mean * mean;

    return gaps->pairs + 1 >= LEAST_GAPS && sqrt(fmax(variance, 0)) <= critical_spread * mean;
}

fleck_doubt_comb fleck_doubt_comb_finish(const fleck_code_counts *counts)
{
    fleck_doubt_comb comb = { .doubt = { .statistic = NAN, .critical = critical } };

    for (unsigned c = 0; !counts->narrow && c < counts->channels; c++) {
        const fleck_code_channel *const channel = &counts->channel[c];
        const struct gaps gaps = find_gaps(channel->codes);
        const double share = gaps.tested > 0 ? (double)gaps.empty / gaps.tested : 0;

        if (channel->between > 0 || gaps.tested < LEAST_TESTED)
            continue;
        if (!(share <= comb.doubt.statistic)) {
            comb.doubt.statistic = share;
            comb.gaps = gaps.empty;
        }
        if (share >= critical && gaps.empty >= LEAST_GAPS && is_regular(&gaps))
            comb.doubt.exceeded = true;
    }
    return comb;
}

fleck_status fleck_doubt_comb_warn(const fleck_doubt_comb *comb, fleck_warnings *warnings,
                                   fleck_error *err)
{
    if (!comb->doubt.exceeded)
        return FLECK_OK;
    return fleck_warnings_add(warnings, err, "histogram-gaps",
                              "%u code values stand empty between full ones, as a comb: the levels "
                              "were stretched after the scan, and tones are no longer those of the "
                              "scanner; use the scan as it came, or scan again in 16 bits",
                              comb->gaps);
}
