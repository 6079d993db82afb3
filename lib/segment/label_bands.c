/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A region labelled in bands, by a labeller each, that are joined at their seams.
 *
 * A component with a run in the first row of a band may go on above it. So that row is kept, and
 * its components are anchored: whole or not, they stay where they are. When the band is joined to
 * the one above, its slots and runs are taken over, runs that touch across the seam join their
 * components, and what is whole then goes to the sink. The order of components is that of the
 * seams, no longer that of rows.
 */
#include <string.h>

#include "core/memory.h"
#include "segment/label_parts.h"

fleck_status fleck_labeller_start_at(fleck_labeller *labeller, size_t y_px, fleck_error *err)
{
    if (labeller->y_px > labeller->first_y_px)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a band begins before its first row is given; start a new labeller");
    if (y_px >= labeller->height_px)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "row %zu is below a region of %zu rows; begin a band inside", y_px,
                          labeller->height_px);
    labeller->first_y_px = labeller->y_px = y_px;
    return FLECK_OK;
}

bool fleck_label_keep_first_row(const fleck_labeller *labeller, fleck_label_tracker *tracker)
{
    const fleck_label_row *const row = &tracker->row;
    fleck_label_row *const first = &tracker->first;

    if (labeller->first_y_px == 0 || labeller->y_px > labeller->first_y_px)
        return true;
    if (!fleck_label_reserve_runs(first, row->count))
        return false;
    memcpy(first->runs, row->runs, row->count * sizeof *row->runs);
    memcpy(first->labels, row->labels, row->count * sizeof *row->labels);
    first->count = row->count;
    for (size_t i = 0; i < row->count; i++)
        tracker->slots[row->labels[i]].next = fleck_slot_is_anchored;
    return true;
}

/* All slots of a list that hang on `slot` of the band below, by their new numbers. */
static void release_list(fleck_label_tracker *upper, const fleck_label_tracker *lower,
                         uint32_t slot, uint32_t first_slot)
{
    while (slot != fleck_no_slot) {
        const uint32_t next = lower->slots[slot].next; /* both may be one tracker */

        fleck_label_release(upper, first_slot + slot);
        slot = next;
    }
}

/* Take over the slots of the band below and the runs of their components; false without memory. */
static bool take_slots(fleck_label_tracker *upper, fleck_label_tracker *lower)
{
    const size_t first_slot = upper->slots_used;
    uint32_t first_place = 0;

    if (lower->slots_used >= fleck_slot_is_anchored - first_slot ||
        !fleck_label_reserve_slots(upper, first_slot + lower->slots_used) ||
        (upper->keeps_runs &&
         !fleck_run_chains_absorb(&upper->chains, &lower->chains, &first_place)))
        return false;
    for (size_t i = 0; i < lower->slots_used; i++) {
        upper->slots[first_slot + i] = lower->slots[i];
        upper->slots[first_slot + i].parent += (uint32_t)first_slot;
        if (upper->keeps_runs) {
            fleck_run_chain chain = lower->chain_of_slot[i];

            chain.first += first_place; /* of an empty chain both ends have no meaning */
            chain.last += first_place;
            upper->chain_of_slot[first_slot + i] = chain;
        }
    }
    upper->slots_used += lower->slots_used;
    return true;
}

/* Join the components of runs that touch across the seam. */
static void join_across(fleck_label_tracker *upper, const fleck_label_tracker *lower,
                        uint32_t first_slot)
{
    const uint32_t reach = upper->phase == FLECK_PHASE_INK; /* as in label.c */
    const fleck_run *const above = upper->above.runs;
    size_t left = 0;

    for (size_t i = 0; i < lower->first.count; i++) {
        const fleck_run run = lower->first.runs[i];

        while (left < upper->above.count && above[left].end_px + reach <= run.start_px)
            left++;
        for (size_t j = left; j < upper->above.count && above[j].start_px < run.end_px + reach;
             j++) {
            const uint32_t there = fleck_label_root(upper->slots, upper->above.labels[j]);
            const uint32_t here =
                fleck_label_root(upper->slots, first_slot + lower->first.labels[i]);

            if (there != here)
                (void)fleck_label_join(upper, there, here);
        }
    }
}

/* The last row of the band below is that of both; its labels become roots. */
static void move_last_row(fleck_label_tracker *upper, fleck_label_tracker *lower,
                          uint32_t first_slot)
{
    const fleck_label_row above = upper->above;

    for (size_t i = 0; i < lower->above.count; i++)
        lower->above.labels[i] =
            fleck_label_root(upper->slots, first_slot + lower->above.labels[i]);
    upper->above = lower->above;
    lower->above = above;
    lower->above.count = 0;
}

static fleck_status join_phase(fleck_labeller *labeller, fleck_label_tracker *upper,
                               fleck_label_tracker *lower, size_t last_y_px, fleck_error *err)
{
    const uint32_t first_slot = (uint32_t)upper->slots_used;
    fleck_status status;

    if (!take_slots(upper, lower))
        return fleck_label_no_memory(err);
    for (uint32_t slot = first_slot; slot < upper->slots_used; slot++) {
        fleck_label_slot *const taken = &upper->slots[slot];

        if (taken->next == fleck_slot_is_anchored && taken->parent == slot)
            taken->next = fleck_no_slot;
    }
    join_across(upper, lower, first_slot);
    status = fleck_label_close(labeller, upper, upper->above.labels, upper->above.count, 0,
                               last_y_px, err);
    if (status == FLECK_OK)
        status = fleck_label_close(labeller, upper, lower->first.labels, lower->first.count,
                                   first_slot, last_y_px, err);
    move_last_row(upper, lower, first_slot);
    /* labels are roots now: whatever was joined into others is named no more */
    for (uint32_t slot = first_slot; slot < upper->slots_used; slot++) {
        if (upper->slots[slot].next == fleck_slot_is_anchored)
            fleck_label_release(upper, slot);
    }
    release_list(upper, lower, lower->free_slots, first_slot);
    release_list(upper, lower, lower->joined_earlier, first_slot);
    release_list(upper, upper, upper->joined_earlier, 0);
    release_list(upper, upper, upper->joined_slots, 0);
    upper->joined_earlier = upper->joined_slots = fleck_no_slot;
    return status;
}

static bool are_alike(const fleck_labeller *upper, const fleck_labeller *lower)
{
    return upper->width_px == lower->width_px && upper->height_px == lower->height_px &&
           upper->mask == lower->mask && upper->ink.keeps_runs == lower->ink.keeps_runs &&
           upper->bare.keeps_runs == lower->bare.keeps_runs &&
           upper->ink.chains.most_runs == lower->ink.chains.most_runs &&
           upper->bare.chains.most_runs == lower->bare.chains.most_runs &&
           upper->bare.is_left_out == lower->bare.is_left_out;
}

fleck_status fleck_labeller_join(fleck_labeller *upper, fleck_labeller *lower, fleck_error *err)
{
    fleck_status status;

    if ((status = fleck_label_check_open(upper, err)) != FLECK_OK ||
        (status = fleck_label_check_open(lower, err)) != FLECK_OK)
        return status;
    if (upper == lower || lower->first_y_px != upper->y_px || lower->first_y_px == 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a band that begins at row %zu does not go on where rows end at %zu; "
                          "join bands from neighbour to neighbour",
                          lower->first_y_px, upper->y_px);
    if (!are_alike(upper, lower))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "two bands differ in region, mask or in what is kept; start them alike");
    lower->stopped = true;
    if (lower->y_px == lower->first_y_px)
        return FLECK_OK;
    status = join_phase(upper, &upper->ink, &lower->ink, lower->y_px - 1, err);
    if (status == FLECK_OK)
        status = join_phase(upper, &upper->bare, &lower->bare, lower->y_px - 1, err);
    upper->stopped = status != FLECK_OK;
    upper->y_px = lower->y_px;
    return status;
}
