/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Connected components of both phases from rows of runs, in one pass.
 *
 * Each phase keeps the runs of the row above, each with the slot of its component. A run of the new
 * row takes the component of the first run above that it touches, and joins the components of all
 * others into it (union-find). A component none of whose runs was touched is whole: it goes to the
 * sink and its slot is free. A slot that was joined into another is named by runs of that row at
 * most, so it is free once the row below is done, and the trees live no longer: there are never
 * more slots than runs in three rows.
 *
 * A run above is left behind only when the next run begins: so no branch asks how the ends of two
 * runs that touch lie to each other, which no processor foresees.
 *
 * Components that keep their runs carry them as chains, see run_chains.h.
 *
 * With a mask, pixels outside it are in no run of either phase: that they connect nothing follows.
 *
 * Rosenfeld & Pfaltz (1966), J. ACM 13, 471-494; He, Chao & Suzuki (2008), IEEE Trans. Image
 * Process. 17, 749-756.
 */
#include "fleck/segment.h"

#include <string.h>

#include "core/memory.h"
#include "segment/label_parts.h"
#include "segment/mask_words.h"

/* Stands behind the last run of a row, right of all others, and ends the search for neighbours */
static const fleck_run guard = { .start_px = UINT32_MAX - 1, .end_px = UINT32_MAX - 1 };

/* ---- features: what is gathered for a component ---- */

static void feature_start(fleck_component *component, uint32_t x, uint32_t y)
{
    *component = (fleck_component){
        .first_x_px = x, .first_y_px = y, .min_x_px = UINT32_MAX, .min_y_px = y
    };
}

static void feature_add_run(fleck_component *component, uint32_t start, uint32_t end, uint32_t y)
{
    const uint64_t length = end - start;

    component->area_px += length;
    component->sum_x_px += ((uint64_t)start + end - 1) * length / 2;
    component->sum_y_px += y * length;
    /* assigned whether or not they change: nothing foresees which way an edge runs */
    component->min_x_px = start < component->min_x_px ? start : component->min_x_px;
    component->max_x_px = end - 1 > component->max_x_px ? end - 1 : component->max_x_px;
    component->max_y_px = y;
}

static void feature_merge(fleck_component *into, const fleck_component *from)
{
    into->area_px += from->area_px;
    into->sum_x_px += from->sum_x_px;
    into->sum_y_px += from->sum_y_px;
    into->at_edge = into->at_edge || from->at_edge;
    if (from->first_y_px < into->first_y_px ||
        (from->first_y_px == into->first_y_px && from->first_x_px < into->first_x_px)) {
        into->first_x_px = from->first_x_px;
        into->first_y_px = from->first_y_px;
        into->min_y_px = from->min_y_px;
    }
    if (from->min_x_px < into->min_x_px)
        into->min_x_px = from->min_x_px;
    if (from->max_x_px > into->max_x_px)
        into->max_x_px = from->max_x_px;
    if (from->max_y_px > into->max_y_px)
        into->max_y_px = from->max_y_px;
}

/* ---- slots ---- */

static uint32_t slot_take(fleck_label_tracker *tracker)
{
    uint32_t slot = tracker->free_slots;

    if (slot != fleck_no_slot)
        tracker->free_slots = tracker->slots[slot].next;
    else
        slot = (uint32_t)tracker->slots_used++; /* there is room: see reserve_row */
    tracker->slots[slot].parent = slot;
    tracker->slots[slot].next = fleck_no_slot;
    return slot;
}

uint32_t fleck_label_join(fleck_label_tracker *tracker, uint32_t into, uint32_t from)
{
    fleck_label_slot *const slots = tracker->slots;

    /* else each row could leave one more slot anchored */
    if (slots[from].next == fleck_slot_is_anchored && slots[into].next != fleck_slot_is_anchored) {
        const uint32_t anchored = from;

        from = into;
        into = anchored;
    }
    feature_merge(&slots[into].component, &slots[from].component);
    if (tracker->keeps_runs)
        fleck_run_chains_join(&tracker->chains, &tracker->chain_of_slot[into],
                              &tracker->chain_of_slot[from]);
    slots[from].parent = into;
    if (slots[from].next != fleck_slot_is_anchored) {
        slots[from].next = tracker->joined_slots;
        tracker->joined_slots = from;
    }
    return into;
}

/* ---- one row of one phase ---- */

bool fleck_label_reserve_runs(fleck_label_row *row, size_t count)
{
    fleck_run *const runs = fleck_reserve(row->runs, &row->runs_capacity, count + 1, sizeof *runs);
    uint32_t *labels;

    if (runs == NULL)
        return false;
    row->runs = runs;
    labels = fleck_reserve(row->labels, &row->labels_capacity, count + 1, sizeof *labels);
    if (labels == NULL)
        return false;
    row->labels = labels;
    return true;
}

bool fleck_label_reserve_slots(fleck_label_tracker *tracker, size_t count)
{
    /* one more: a list of none is no list */
    fleck_label_slot *const slots =
        fleck_reserve(tracker->slots, &tracker->slots_capacity, count + 1, sizeof *slots);
    fleck_run_chain *chains;

    if (slots == NULL)
        return false;
    tracker->slots = slots;
    if (!tracker->keeps_runs)
        return true;
    chains =
        fleck_reserve(tracker->chain_of_slot, &tracker->chain_capacity, count + 1, sizeof *chains);
    if (chains == NULL)
        return false;
    tracker->chain_of_slot = chains;
    return true;
}

/* Room for a row of so many runs, and for the components they may found. */
static bool reserve_row(fleck_label_tracker *tracker, size_t runs)
{
    uint32_t *const untouched = fleck_reserve(tracker->untouched, &tracker->untouched_capacity,
                                              tracker->above.count + 1, sizeof *untouched);

    if (untouched == NULL)
        return false;
    tracker->untouched = untouched;
    return fleck_label_reserve_runs(&tracker->row, runs) &&
           fleck_label_reserve_slots(tracker, tracker->slots_used + runs);
}

/* A component of its own; there is room, see reserve_row. */
static uint32_t found_component(fleck_label_tracker *tracker, uint32_t x, uint32_t y)
{
    const uint32_t slot = slot_take(tracker);

    feature_start(&tracker->slots[slot].component, x, y);
    if (tracker->keeps_runs)
        tracker->chain_of_slot[slot] = fleck_run_chain_empty;
    return slot;
}

/*
 * Give every run of the row its component; false without memory for it.
 * reach    1 when runs that meet at a corner only touch; ends lie one behind the last pixel
 */
static inline __attribute__((always_inline)) bool
label_row(fleck_label_tracker *tracker, const fleck_mask *mask, uint32_t y, uint32_t reach)
{
    const fleck_label_row *const row = &tracker->row;
    const fleck_run *above = tracker->above.runs;
    const uint32_t *above_label = tracker->above.labels;
    fleck_label_slot *const slots = tracker->slots;
    uint32_t *untouched = tracker->untouched;
    const bool keeps_runs = tracker->keeps_runs;
    bool is_touched = false; /* the run above, by one further left */

    for (size_t i = 0; i < row->count; i++) {
        const fleck_run run = row->runs[i];
        uint32_t label;

        while (above->end_px + reach <= run.start_px) {
            if (!is_touched)
                *untouched++ = *above_label;
            is_touched = false;
            above++;
            above_label++;
        }
        if (above->start_px < run.end_px + reach) {
            label = fleck_label_root(slots, *above_label);
            is_touched = true;
            while (above[1].start_px < run.end_px + reach) {
                uint32_t root;

                above++;
                root = fleck_label_root(slots, *++above_label);
                if (label != root)
                    label = fleck_label_join(tracker, label, root);
            }
        } else {
            label = found_component(tracker, run.start_px, y);
        }
        feature_add_run(&slots[label].component, run.start_px, run.end_px, y);
        if (mask != NULL && !fleck_mask_is_clear(mask, y, run.start_px, run.end_px))
            slots[label].component.at_edge = true;
        if (keeps_runs && !fleck_run_chains_add(&tracker->chains, &tracker->chain_of_slot[label],
                                                (fleck_blob_run){ y, run.start_px, run.end_px }))
            return false;
        row->labels[i] = label;
    }
    for (; above < tracker->above.runs + tracker->above.count; above++) {
        if (!is_touched)
            *untouched++ = *above_label;
        is_touched = false;
        above_label++;
    }
    tracker->untouched_count = (size_t)(untouched - tracker->untouched);
    return true;
}

/* What was joined in the row above is named by no label any more. */
static void free_joined(fleck_label_tracker *tracker)
{
    while (tracker->joined_earlier != fleck_no_slot) {
        const uint32_t slot = tracker->joined_earlier;

        tracker->joined_earlier = tracker->slots[slot].next;
        fleck_label_release(tracker, slot);
    }
    tracker->joined_earlier = tracker->joined_slots;
    tracker->joined_slots = fleck_no_slot;
}

fleck_status fleck_label_no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for the components of one row; measure a smaller region");
}

/* Give a whole component to the sink; its slot is free then. */
static fleck_status hand_over(fleck_labeller *labeller, fleck_label_tracker *tracker, uint32_t root,
                              fleck_error *err)
{
    fleck_component *const component = &tracker->slots[root].component;
    fleck_run_chain *const chain = tracker->keeps_runs ? &tracker->chain_of_slot[root] : NULL;
    fleck_status status;

    component->at_edge = component->at_edge || component->min_x_px == 0 ||
                         component->min_y_px == 0 ||
                         component->max_x_px == labeller->width_px - 1 ||
                         component->max_y_px == labeller->height_px - 1;
    if (chain != NULL && fleck_run_chain_holds(chain) &&
        component->area_px >= tracker->least_area_px) {
        labeller->handed_runs = fleck_run_chains_sort(&tracker->chains, chain);
        if (labeller->handed_runs == NULL)
            return fleck_label_no_memory(err);
        labeller->handed_count = chain->count;
    }
    status = labeller->sink(labeller->context, tracker->phase, component, err);
    labeller->handed_runs = NULL;
    labeller->handed_count = 0;
    if (chain != NULL)
        fleck_run_chains_drop(&tracker->chains, chain);
    component->area_px = 0;
    fleck_label_release(tracker, root);
    return status;
}

fleck_status fleck_label_close(fleck_labeller *labeller, fleck_label_tracker *tracker,
                               const uint32_t *labels, size_t count, uint32_t first_slot,
                               size_t last_y_px, fleck_error *err)
{
    for (size_t i = 0; i < count; i++) {
        const uint32_t root = fleck_label_root(tracker->slots, first_slot + labels[i]);
        const fleck_component *const component = &tracker->slots[root].component;
        fleck_status status;

        /* it goes on by another of its runs, went out by one further left, or may go on above */
        if (component->max_y_px == last_y_px || component->area_px == 0 ||
            tracker->slots[root].next == fleck_slot_is_anchored)
            continue;
        status = hand_over(labeller, tracker, root, err);
        if (status != FLECK_OK)
            return status;
    }
    return FLECK_OK;
}

static fleck_status end_row(fleck_labeller *labeller, fleck_label_tracker *tracker,
                            fleck_error *err)
{
    const fleck_label_row above = tracker->above;
    const uint32_t y = (uint32_t)labeller->y_px;
    bool has_memory;
    fleck_status status;

    tracker->row.runs[tracker->row.count] = guard;
    tracker->row.labels[tracker->row.count] = fleck_no_slot;
    if (tracker->phase == FLECK_PHASE_INK)
        has_memory = label_row(tracker, labeller->mask, y, 1);
    else
        has_memory = label_row(tracker, labeller->mask, y, 0);
    if (!has_memory || !fleck_label_keep_first_row(labeller, tracker))
        return fleck_label_no_memory(err);
    status = fleck_label_close(labeller, tracker, tracker->untouched, tracker->untouched_count, 0,
                               y, err);
    free_joined(tracker);
    tracker->above = tracker->row;
    tracker->row = above;
    tracker->row.count = 0;
    return status;
}

/* ---- both phases ---- */

fleck_status fleck_label_check_open(const fleck_labeller *labeller, fleck_error *err)
{
    if (labeller->stopped)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the labeller has stopped at an earlier failure; start a new one");
    return FLECK_OK;
}

static bool are_runs(const fleck_labeller *labeller, const fleck_run *runs, size_t count)
{
    bool good = count == 0 ||
                (runs[0].start_px < runs[0].end_px && runs[count - 1].end_px <= labeller->width_px);

    for (size_t i = 1; i < count; i++)
        good = good & (runs[i - 1].end_px < runs[i].start_px) & (runs[i].start_px < runs[i].end_px);
    for (size_t i = 0; good && labeller->mask != NULL && i < count; i++)
        good = fleck_mask_covers(labeller->mask, labeller->y_px, runs[i].start_px, runs[i].end_px);
    return good;
}

static void row_add(fleck_label_row *row, uint32_t start, uint32_t end)
{
    row->runs[row->count++] = (fleck_run){ .start_px = start, .end_px = end };
}

/* Stretches of the next row that are inside the mask. */
static size_t count_inside_runs(const fleck_labeller *labeller)
{
    fleck_run inside = { 0, 0 };
    size_t count = 0;

    if (labeller->mask == NULL)
        return 1;
    while (fleck_mask_next_run(labeller->mask, labeller->y_px, inside.end_px, &inside))
        count++;
    return count;
}

/* What lies between the ink runs from one place of a row to another is bare. */
static void add_bare(fleck_label_row *bare, const fleck_run *ink_runs, size_t count, size_t *next,
                     uint32_t start, uint32_t end)
{
    for (; *next < count && ink_runs[*next].start_px < end; ++*next) {
        if (ink_runs[*next].start_px > start)
            row_add(bare, start, ink_runs[*next].start_px);
        start = ink_runs[*next].end_px;
    }
    if (start < end)
        row_add(bare, start, end);
}

static void add_bare_row(fleck_labeller *labeller, const fleck_run *ink_runs, size_t count)
{
    fleck_run inside = { 0, 0 };
    size_t next = 0;

    if (labeller->mask == NULL)
        add_bare(&labeller->bare.row, ink_runs, count, &next, 0, (uint32_t)labeller->width_px);
    while (labeller->mask != NULL &&
           fleck_mask_next_run(labeller->mask, labeller->y_px, inside.end_px, &inside))
        add_bare(&labeller->bare.row, ink_runs, count, &next, inside.start_px, inside.end_px);
}

static fleck_status end_rows(fleck_labeller *labeller, fleck_error *err)
{
    const fleck_status status = end_row(labeller, &labeller->ink, err);

    return status == FLECK_OK && !labeller->bare.is_left_out
               ? end_row(labeller, &labeller->bare, err)
               : status;
}

fleck_status fleck_labeller_row(fleck_labeller *labeller, const fleck_run *ink_runs, size_t count,
                                fleck_error *err)
{
    fleck_status status;

    if ((status = fleck_label_check_open(labeller, err)) != FLECK_OK)
        return status;
    if (labeller->y_px >= labeller->height_px)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "more rows than the %zu announced; start the labeller with all of them",
                          labeller->height_px);
    if (!are_runs(labeller, ink_runs, count))
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "ink runs of row %zu touch, overlap or leave the row or mask; give them from left "
            "to right",
            labeller->y_px);
    /* each run, of ink or of the mask, ends at most one stretch of bare paper */
    if (!reserve_row(&labeller->ink, count) ||
        (!labeller->bare.is_left_out &&
         !reserve_row(&labeller->bare, count + count_inside_runs(labeller))))
        return fleck_label_no_memory(err);
    if (count > 0)
        memcpy(labeller->ink.row.runs, ink_runs, count * sizeof *ink_runs);
    labeller->ink.row.count = count;
    if (!labeller->bare.is_left_out)
        add_bare_row(labeller, ink_runs, count);
    status = end_rows(labeller, err);
    labeller->stopped = status != FLECK_OK;
    labeller->y_px++;
    return status;
}

fleck_status fleck_labeller_finish(fleck_labeller *labeller, fleck_error *err)
{
    fleck_status status;

    if ((status = fleck_label_check_open(labeller, err)) != FLECK_OK)
        return status;
    if (labeller->first_y_px > 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a band that begins at row %zu is no whole region; join it to what is "
                          "above it and finish that",
                          labeller->first_y_px);
    if (labeller->y_px < labeller->height_px)
        return fleck_fail(err, FLECK_BAD_CALL, "only %zu of %zu rows were given; give all of them",
                          labeller->y_px, labeller->height_px);
    /* a row without runs touches nothing */
    if (!reserve_row(&labeller->ink, 0) || !reserve_row(&labeller->bare, 0))
        return fleck_label_no_memory(err);
    status = end_rows(labeller, err);
    labeller->stopped = true; /* nothing is open any more */
    return status;
}

/* Whether sums of row and column numbers over the whole region fit 64 bits. */
static bool sums_fit(uint64_t width_px, uint64_t height_px)
{
    const uint64_t longer_px = width_px > height_px ? width_px : height_px;

    return width_px * height_px <= UINT64_MAX / longer_px;
}

static bool tracker_start(fleck_label_tracker *tracker, fleck_phase phase)
{
    *tracker = (fleck_label_tracker){ .phase = phase,
                                      .free_slots = fleck_no_slot,
                                      .joined_slots = fleck_no_slot,
                                      .joined_earlier = fleck_no_slot };
    if (!fleck_label_reserve_runs(&tracker->above, 0))
        return false;
    /* above the first row there is nothing */
    tracker->above.runs[0] = guard;
    tracker->above.labels[0] = fleck_no_slot;
    return true;
}

static void row_clear(fleck_label_row *row)
{
    fleck_free(row->runs);
    fleck_free(row->labels);
}

static void tracker_end(fleck_label_tracker *tracker)
{
    row_clear(&tracker->above);
    row_clear(&tracker->row);
    row_clear(&tracker->first);
    fleck_free(tracker->untouched);
    fleck_free(tracker->slots);
    fleck_free(tracker->chain_of_slot);
    fleck_run_chains_clear(&tracker->chains);
}

fleck_status fleck_labeller_new(size_t width_px, size_t height_px, const fleck_mask *mask,
                                fleck_component_sink sink, void *context, fleck_labeller **out,
                                fleck_error *err)
{
    fleck_labeller *labeller;

    *out = NULL;
    if (width_px == 0 || height_px == 0 || width_px > INT32_MAX || height_px > INT32_MAX ||
        !sums_fit(width_px, height_px))
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "a region of %zu x %zu pixels cannot be labelled; give one that is neither "
            "empty nor larger than about 2.6 million pixels square",
            width_px, height_px);
    if (mask != NULL && (mask->width_px != width_px || mask->height_px != height_px))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a mask of %zu x %zu pixels does not fit a region of %zu x %zu; give one "
                          "of its size",
                          mask->width_px, mask->height_px, width_px, height_px);
    labeller = fleck_alloc_zeroed(1, sizeof *labeller);
    if (labeller == NULL || !tracker_start(&labeller->ink, FLECK_PHASE_INK) ||
        !tracker_start(&labeller->bare, FLECK_PHASE_BARE)) {
        fleck_labeller_free(labeller);
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory to label components; free some memory");
    }
    labeller->width_px = width_px;
    labeller->height_px = height_px;
    labeller->mask = fleck_mask_unless_full(mask);
    labeller->sink = sink;
    labeller->context = context;
    *out = labeller;
    return FLECK_OK;
}

fleck_status fleck_labeller_keep_runs(fleck_labeller *labeller, fleck_phase phase,
                                      const fleck_runs_wanted *wanted, fleck_error *err)
{
    fleck_label_tracker *const tracker =
        phase == FLECK_PHASE_INK ? &labeller->ink : &labeller->bare;

    if (labeller->y_px > labeller->first_y_px)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "runs are kept from the first row on; ask for them before it");
    tracker->keeps_runs = true;
    tracker->least_area_px = wanted->least_area_px;
    tracker->chains.most_runs = wanted->most_runs < UINT32_MAX ? wanted->most_runs : UINT32_MAX - 1;
    return FLECK_OK;
}

fleck_status fleck_labeller_leave_out_bare(fleck_labeller *labeller, fleck_error *err)
{
    if (labeller->y_px > labeller->first_y_px)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "bare paper is left out from the first row on; ask for it before it");
    labeller->bare.is_left_out = true;
    return FLECK_OK;
}

const fleck_blob_run *fleck_labeller_get_runs(const fleck_labeller *labeller, size_t *count)
{
    *count = labeller->handed_count;
    return labeller->handed_runs;
}

void fleck_labeller_free(fleck_labeller *labeller)
{
    if (labeller == NULL)
        return;
    tracker_end(&labeller->ink);
    tracker_end(&labeller->bare);
    fleck_free(labeller);
}
