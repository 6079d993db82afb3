/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether a patch holds speckle at all, or only the noise of paper, ink and scanner. */
#ifndef FLECK_SEGMENT_PRESENCE_H
#define FLECK_SEGMENT_PRESENCE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/segment.h"

/* What decides; docs/thresholds.md says how each was found. */
typedef enum fleck_presence_test {
    FLECK_PRESENCE_SKEW,  /* few dots or few flecks: the tones lean to one side */
    FLECK_PRESENCE_TWO,   /* two tones of similar share: fewer pixels in between than noise has */
    FLECK_PRESENCE_EDGES, /* edges here and there: more far tones than noise has */
    FLECK_PRESENCE_APART  /* Otsu's classes are far apart against their own spread */
} fleck_presence_test;

typedef struct fleck_presence_finding {
    bool present;
    double statistic; /* largest of all tests, each over its own critical value; 0 for one tone */
    double critical;  /* 1: present when the statistic reaches it, unless it is only_specks */
    fleck_presence_test test; /* the one that gives the statistic */
    double cut_distance; /* from the cut to the tone of most pixels, in standard deviations of that
                            tone; INFINITY when it has no noise, NAN for one tone */
    bool cut_in_noise;   /* the cut lies within the noise of paper or ink */
    bool only_specks;    /* so it does, and too few pixels stand out of the noise for a print */
} fleck_presence_finding;

/* Looks at the rows of a patch one after the other. Memory grows with the width, not the height. */
typedef struct fleck_presence fleck_presence;

/*
 * width_px    of the rows, 1 to 2^31 - 1
 * masked      whether the patch leaves pixels of its bounding box out
 * out         to be ended with fleck_presence_free; NULL on failure
 *
 * Errors: FLECK_BAD_CALL (size), FLECK_NO_RESOURCE. Thread-safe for different objects.
 */
fleck_status fleck_presence_new(size_t width_px, bool masked, fleck_presence **out, fleck_error *err);

/*
 * Hand over the next row.
 *
 * q                       width_px quantised reflectances, borrowed
 * inside, inside_count    when masked: the pixels that belong to the patch, as fleck_mask_runs gives
 *                         them; else not looked at
 *
 * Sums are exact integers. Never fails.
 */
void fleck_presence_row(fleck_presence *presence, const uint16_t *q, const fleck_run *inside,
                        size_t inside_count);

/*
 * Decide, after the last row.
 *
 * counts    histogram of all measured pixels, FLECK_LEVELS counts; borrowed
 * cut       Otsu's cut of it, for either kind of ink; borrowed, not looked at when there is one
 *           tone only
 *
 * Never fails. Without pixels or with one tone: not present. May be called again after more rows.
 */
fleck_presence_finding fleck_presence_decide(const fleck_presence *presence, const uint64_t *counts,
                                             const fleck_cut *cut);

/* NULL is allowed. */
void fleck_presence_free(fleck_presence *presence);

#endif
