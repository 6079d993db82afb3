/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the patches of a call decide together. */
#ifndef FLECK_RECORD_POOL_H
#define FLECK_RECORD_POOL_H

#include <stdint.h>

#include "fleck/segment.h"
#include "fleck/tone.h"

/* Decided from all patches of a call, for those that wait for it. */
typedef struct fleck_decision {
    fleck_channel channel;             /* for patches whose channel is auto */
    unsigned pooled_k[FLECK_CHANNELS]; /* for the pooled threshold, by channel */
} fleck_decision;

/* Histograms of all patches together, one for each channel; integer sums, so that order is nothing. */
typedef struct fleck_pool fleck_pool;

/* NULL without memory. */
fleck_pool *fleck_pool_new(void);
void fleck_pool_free(fleck_pool *pool);

/* Add a patch's FLECK_LEVELS counts. Thread-safe. */
void fleck_pool_add(fleck_pool *pool, fleck_channel channel, const uint64_t *counts);

/*
 * Otsu's threshold of all patches together in each channel that was added.
 * Errors: FLECK_BAD_INPUT (one tone only).
 */
fleck_status fleck_pool_cut(const fleck_pool *pool, fleck_channel channel, fleck_ink ink,
                            unsigned *k, fleck_error *err);

#endif
