/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A labeller as its own files see it: label.c gives it rows, label_bands.c joins two of them. */
#ifndef FLECK_SEGMENT_LABEL_PARTS_H
#define FLECK_SEGMENT_LABEL_PARTS_H

#include "fleck/segment.h"
#include "segment/run_chains.h"

/* A row's runs and the components they are of. */
typedef struct fleck_label_row {
    fleck_run *runs;  /* and one behind them that is right of all others */
    uint32_t *labels; /* of each run: a slot; its root names the component */
    size_t count;
    size_t runs_capacity, labels_capacity;
} fleck_label_row;

/* In place of a slot's number. */
static const uint32_t fleck_no_slot = UINT32_MAX;
/* As `next` of a slot that runs of a band's first row name: it stays taken until bands are joined.
 */
static const uint32_t fleck_slot_is_anchored = UINT32_MAX - 1;

typedef struct fleck_label_slot {
    fleck_component component; /* area 0 once it was handed over */
    uint32_t parent;           /* itself in a root */
    uint32_t next;             /* in the list of free or of joined slots */
} fleck_label_slot;

/* One phase. */
typedef struct fleck_label_tracker {
    fleck_phase phase;
    fleck_label_row above, row;
    fleck_label_row first; /* of a band that does not begin at the top */
    uint32_t *untouched;   /* labels of runs above that the row left alone, from left to right */
    size_t untouched_count, untouched_capacity;
    fleck_label_slot *slots;
    size_t slots_used, slots_capacity;
    uint32_t free_slots;                   /* heads of lists, fleck_no_slot when empty */
    uint32_t joined_slots, joined_earlier; /* in this row; in the one above */
    bool is_left_out;
    bool keeps_runs;
    fleck_run_chain *chain_of_slot; /* as many as slots, when runs are kept */
    size_t chain_capacity;
    uint64_t least_area_px; /* of a component whose runs are handed over */
    fleck_run_chains chains;
} fleck_label_tracker;

struct fleck_labeller {
    size_t width_px, height_px;
    const fleck_mask *mask;
    size_t first_y_px; /* of the band */
    size_t y_px;       /* the next row */
    bool stopped;
    fleck_component_sink sink;
    void *context;
    fleck_label_tracker ink, bare;
    const fleck_blob_run *handed_runs; /* of the component that is with the sink; may be NULL */
    size_t handed_count;
};

static inline uint32_t fleck_label_root(fleck_label_slot *slots, uint32_t slot)
{
    while (slots[slot].parent != slot) {
        slots[slot].parent = slots[slots[slot].parent].parent;
        slot = slots[slot].parent;
    }
    return slot;
}

static inline void fleck_label_release(fleck_label_tracker *tracker, uint32_t slot)
{
    tracker->slots[slot].next = tracker->free_slots;
    tracker->free_slots = slot;
}

/*
 * Join one root into another, or the other way when only the latter is anchored; returns the one
 * that is left. The other's slot stays taken until no label names it any more.
 */
uint32_t fleck_label_join(fleck_label_tracker *tracker, uint32_t into, uint32_t from);

/* Room for a row of so many runs; false without memory, which leaves the row as it is. */
bool fleck_label_reserve_runs(fleck_label_row *row, size_t count);

/*
 * Behind the first row of a band: note its runs, and anchor their components. Does nothing at other
 * rows and at the top of the region; false without memory.
 */
bool fleck_label_keep_first_row(const fleck_labeller *labeller, fleck_label_tracker *tracker);

/* Room for so many slots; false without memory. */
bool fleck_label_reserve_slots(fleck_label_tracker *tracker, size_t count);

/*
 * Hand over the components of some runs that do not reach down to the last row, from left to right.
 * labels, first_slot    of each run: its slot less first_slot
 */
fleck_status fleck_label_close(fleck_labeller *labeller, fleck_label_tracker *tracker,
                               const uint32_t *labels, size_t count, uint32_t first_slot,
                               size_t last_y_px, fleck_error *err);

/* FLECK_BAD_CALL once a labeller has stopped. */
fleck_status fleck_label_check_open(const fleck_labeller *labeller, fleck_error *err);

/* FLECK_NO_RESOURCE. */
fleck_status fleck_label_no_memory(fleck_error *err);

#endif
