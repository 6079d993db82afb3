/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A run joins its component in the row where it is met, and components join in any order, so that a
 * chain is sorted once the component is whole; most, which never forked, are in order already.
 */
#include "segment/run_chains.h"

#include <stdlib.h>

#include "core/memory.h"

struct fleck_linked_run {
    fleck_blob_run run;
    uint32_t next;
};

static const uint32_t given_up = UINT32_MAX;

static bool take(fleck_run_chains *chains, uint32_t *place)
{
    if (chains->free_runs.count > 0) {
        *place = chains->free_runs.first;
        if (chains->free_runs.first == chains->free_runs.last)
            chains->free_runs.count = 0;
        chains->free_runs.first = chains->runs[*place].next;
        return true;
    }
    if (chains->used < UINT32_MAX) {
        struct fleck_linked_run *const moved =
            fleck_grow(chains->runs, &chains->capacity, chains->used, sizeof *moved);

        if (moved == NULL)
            return false;
        chains->runs = moved;
        *place = (uint32_t)chains->used++;
        return true;
    }
    return false;
}

bool fleck_run_chains_add(fleck_run_chains *chains, fleck_run_chain *chain, fleck_blob_run run)
{
    uint32_t place;

    if (chain->count == given_up)
        return true;
    if (chain->count == chains->most_runs) {
        fleck_run_chains_drop(chains, chain);
        chain->count = given_up;
        return true;
    }
    if (!take(chains, &place))
        return false;
    chains->runs[place].run = run;
    if (chain->count == 0)
        chain->first = place;
    else
        chains->runs[chain->last].next = place;
    chain->last = place;
    chain->count++;
    return true;
}

void fleck_run_chains_join(fleck_run_chains *chains, fleck_run_chain *into,
                           const fleck_run_chain *from)
{
    fleck_run_chain other = *from;

    if (into->count == given_up || other.count == given_up ||
        other.count > chains->most_runs - into->count) {
        fleck_run_chains_drop(chains, into);
        fleck_run_chains_drop(chains, &other);
        into->count = given_up;
    } else if (into->count == 0) {
        *into = other;
    } else if (other.count > 0) {
        chains->runs[into->last].next = other.first;
        into->last = other.last;
        into->count += other.count;
    }
}

bool fleck_run_chains_absorb(fleck_run_chains *chains, fleck_run_chains *from,
                             uint32_t *first_place)
{
    fleck_run_chain free_runs = from->free_runs;
    struct fleck_linked_run *moved;

    *first_place = (uint32_t)chains->used;
    if (from->used == 0)
        return true;
    if (from->used > UINT32_MAX - chains->used)
        return false;
    moved =
        fleck_reserve(chains->runs, &chains->capacity, chains->used + from->used, sizeof *moved);
    if (moved == NULL)
        return false;
    chains->runs = moved;
    for (size_t i = 0; i < from->used; i++) {
        chains->runs[chains->used + i] = from->runs[i];
        chains->runs[chains->used + i].next += *first_place; /* of the last of a chain unused */
    }
    chains->used += from->used;
    from->used = 0;
    from->free_runs = fleck_run_chain_empty;
    free_runs.first += *first_place;
    free_runs.last += *first_place;
    fleck_run_chains_drop(chains, &free_runs);
    return true;
}

void fleck_run_chains_drop(fleck_run_chains *chains, fleck_run_chain *chain)
{
    if (fleck_run_chain_holds(chain)) {
        if (chains->free_runs.count > 0)
            chains->runs[chain->last].next = chains->free_runs.first;
        else
            chains->free_runs.last = chain->last;
        chains->free_runs.first = chain->first;
        chains->free_runs.count = 1;
    }
    *chain = fleck_run_chain_empty;
}

static int by_place(const void *left, const void *right)
{
    const fleck_blob_run *const a = left, *const b = right;

    if (a->y_px != b->y_px)
        return a->y_px < b->y_px ? -1 : 1;
    return (a->start_px > b->start_px) - (a->start_px < b->start_px);
}

const fleck_blob_run *fleck_run_chains_sort(fleck_run_chains *chains, const fleck_run_chain *chain)
{
    bool in_order = true;
    uint32_t place = chain->first;

    if (chain->count > chains->sorted_capacity) {
        fleck_blob_run *const more = fleck_alloc_array(chain->count, sizeof *more);

        if (more == NULL)
            return NULL;
        fleck_free(chains->sorted);
        chains->sorted = more;
        chains->sorted_capacity = chain->count;
    }
    for (size_t i = 0; i < chain->count; i++) {
        chains->sorted[i] = chains->runs[place].run;
        place = chains->runs[place].next;
        in_order = in_order && (i == 0 || by_place(&chains->sorted[i - 1], &chains->sorted[i]) < 0);
    }
    if (!in_order)
        qsort(chains->sorted, chain->count, sizeof *chains->sorted, by_place);
    return chains->sorted;
}

void fleck_run_chains_clear(fleck_run_chains *chains)
{
    fleck_free(chains->runs);
    fleck_free(chains->sorted);
    *chains = (fleck_run_chains){ 0 };
}
