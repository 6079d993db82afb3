/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Runs of many components in one store, each component's a chain that another can be hung behind. */
#ifndef FLECK_SEGMENT_RUN_CHAINS_H
#define FLECK_SEGMENT_RUN_CHAINS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/segment.h"

/* Start from fleck_run_chain_empty. */
typedef struct fleck_run_chain {
    uint32_t first, last; /* in the store; the ends of an empty chain have no meaning */
    uint32_t count;       /* UINT32_MAX: it grew too long and was given up */
} fleck_run_chain;

static const fleck_run_chain fleck_run_chain_empty = { 0, 0, 0 };

/* Whether there are runs in it: neither empty nor given up. */
static inline bool fleck_run_chain_holds(const fleck_run_chain *chain)
{
    return chain->count > 0 && chain->count < UINT32_MAX;
}

struct fleck_linked_run;

/* Start from {0} with most_runs, at most UINT32_MAX - 1, filled in; ended with _clear. */
typedef struct fleck_run_chains {
    struct fleck_linked_run *runs;
    size_t used, capacity;
    fleck_run_chain free_runs; /* its count is not kept */
    size_t most_runs;
    fleck_blob_run *sorted;
    size_t sorted_capacity;
} fleck_run_chains;

/* Hang a run behind a chain; false without memory. */
bool fleck_run_chains_add(fleck_run_chains *chains, fleck_run_chain *chain, fleck_blob_run run);

/* Hang a whole chain behind another in one step; `from` is no longer a chain. */
void fleck_run_chains_join(fleck_run_chains *chains, fleck_run_chain *into,
                           const fleck_run_chain *from);

/*
 * Take over the store of another, which is empty then; its chains are chains of this store once
 * *first_place is added to their ends. False without memory, which leaves both as they are.
 */
bool fleck_run_chains_absorb(fleck_run_chains *chains, fleck_run_chains *from,
                             uint32_t *first_place);

/* Give the runs of a chain back to the store. */
void fleck_run_chains_drop(fleck_run_chains *chains, fleck_run_chain *chain);

/*
 * The runs of a chain by row, then from left to right, until the next call; NULL without memory. Not
 * for an empty or given up chain.
 */
const fleck_blob_run *fleck_run_chains_sort(fleck_run_chains *chains, const fleck_run_chain *chain);

void fleck_run_chains_clear(fleck_run_chains *chains);

#endif
