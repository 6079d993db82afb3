/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Connected components of both phases from rows of runs, in one pass.
 *
 * Each phase keeps the runs of the row above, labelled with the slot of their component. A run of
 * the new row takes the component of the first run above that it touches, and joins the components
 * of all others into it (union-find). At the end of a row every label is replaced by its root, so
 * the trees never live longer than one row; slots that were joined into others are free again. A
 * component none of whose runs was touched is whole: it goes to the sink and its slot is free, too.
 * So there are never more slots than runs in two rows.
 *
 * Components that keep their runs carry them as chains, see run_chains.h.
 *
 * With a mask, pixels outside it are in no run of either phase: that they connect nothing follows.
 *
 * Rosenfeld & Pfaltz (1966), J. ACM 13, 471-494; He, Chao & Suzuki (2008), IEEE Trans. Image
 * Process. 17, 749-756.
 */
#include "fleck/segment.h"


#include "core/memory.h"
#include "segment/mask_words.h"
#include "segment/run_chains.h"

static const uint32_t none = UINT32_MAX;

struct labelled_run {
    uint32_t start_px, end_px;
    uint32_t label;   /* a slot; a root once the row is done */
    uint32_t touched; /* 1 when a run of the row below touches it */
};

/* Stands behind the last run of a row, right of all others, and ends the search for neighbours */
static const struct labelled_run guard = { .start_px = UINT32_MAX - 1, .end_px = UINT32_MAX - 1 };

struct slot {
    fleck_component component; /* area 0 once it was handed over */
    fleck_run_chain chain;     /* its runs, when they are wanted */
    uint32_t parent;           /* itself in a root */
    uint32_t next;             /* in the list of free or of joined slots */
};

/* One phase. */
struct tracker {
    fleck_phase phase;
    struct labelled_run *above, *row;
    size_t above_count, row_count;
    size_t above_capacity, row_capacity;
    struct slot *slots;
    size_t slots_used, slots_capacity;
    uint32_t free_slots, joined_slots; /* heads of lists, none when empty */
    bool keeps_runs;
    uint64_t least_area_px; /* of a component whose runs are handed over */
    fleck_run_chains chains;
};

struct fleck_labeller {
    size_t width_px, height_px;
    const fleck_mask *mask;
    size_t y_px; /* the next row */
    bool stopped;
    fleck_component_sink sink;
    void *context;
    struct tracker ink, bare;
    const fleck_blob_run *handed_runs; /* of the component that is with the sink; may be NULL */
    size_t handed_count;
};

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
    if (start < component->min_x_px)
        component->min_x_px = start;
    if (end - 1 > component->max_x_px)
        component->max_x_px = end - 1;
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

static uint32_t slot_take(struct tracker *tracker)
{
    uint32_t slot = tracker->free_slots;

    if (slot != none)
        tracker->free_slots = tracker->slots[slot].next;
    else
        slot = (uint32_t)tracker->slots_used++; /* there is room: see reserve_row */
    tracker->slots[slot].parent = slot;
    return slot;
}

static void slot_release(struct tracker *tracker, uint32_t slot)
{
    tracker->slots[slot].next = tracker->free_slots;
    tracker->free_slots = slot;
}

static uint32_t find_root(struct slot *slots, uint32_t slot)
{
    while (slots[slot].parent != slot) {
        slots[slot].parent = slots[slots[slot].parent].parent;
        slot = slots[slot].parent;
    }
    return slot;
}

/* Joins one root into another; its slot stays taken until no label names it any more. */
static void join(struct tracker *tracker, uint32_t into, uint32_t from)
{
    struct slot *const joined = &tracker->slots[from];

    feature_merge(&tracker->slots[into].component, &joined->component);
    if (tracker->keeps_runs)
        fleck_run_chains_join(&tracker->chains, &tracker->slots[into].chain, &joined->chain);
    joined->parent = into;
    joined->next = tracker->joined_slots;
    tracker->joined_slots = from;
}

/* ---- one row of one phase ---- */

static void *reserve(void *items, size_t *capacity, size_t needed, size_t size)
{
    size_t wanted, bytes;
    void *moved;

    if (needed <= *capacity)
        return items;
    if (!size_mul(*capacity, 2, &wanted) || wanted < needed)
        wanted = needed;
    if (!size_mul(wanted, size, &bytes))
        return NULL;
    moved = fleck_resize(items, bytes);
    if (moved != NULL)
        *capacity = wanted;
    return moved;
}

/* Room for a row of so many runs, a guard behind it, and for the components they may found. */
static bool reserve_row(struct tracker *tracker, size_t runs)
{
    struct labelled_run *const row =
        reserve(tracker->row, &tracker->row_capacity, runs + 1, sizeof *row);
    struct slot *slots;

    if (row == NULL)
        return false;
    tracker->row = row;
    slots = reserve(tracker->slots, &tracker->slots_capacity, tracker->above_count + runs + 1,
                    sizeof *slots);
    if (slots == NULL)
        return false;
    tracker->slots = slots;
    return true;
}

static void row_add(struct tracker *tracker, uint32_t start, uint32_t end)
{
    tracker->row[tracker->row_count++] = (struct labelled_run){ .start_px = start, .end_px = end };
}

/* Give every run of the row its component; false without memory for it. */
static bool label_row(struct tracker *tracker, const fleck_mask *mask, uint32_t y)
{
    /* runs that meet at a corner only touch in ink; ends lie one behind the last pixel */
    const uint32_t reach = tracker->phase == FLECK_PHASE_INK;
    struct labelled_run *above = tracker->above;

    tracker->row[tracker->row_count] = guard;
    for (size_t i = 0; i < tracker->row_count; i++) {
        struct labelled_run *const run = &tracker->row[i];
        uint32_t label = none;

        while (above->end_px + reach <= run->start_px)
            above++;
        while (above->start_px < run->end_px + reach) {
            const uint32_t root = find_root(tracker->slots, above->label);

            above->touched = 1;
            if (label == none)
                label = root;
            else if (label != root)
                join(tracker, label, root);
            if (above->end_px > run->end_px) /* it may touch the next run as well */
                break;
            above++;
        }
        if (label == none) {
            label = slot_take(tracker);
            feature_start(&tracker->slots[label].component, run->start_px, y);
            tracker->slots[label].chain = fleck_run_chain_empty;
        }
        feature_add_run(&tracker->slots[label].component, run->start_px, run->end_px, y);
        if (mask != NULL && !fleck_mask_is_clear(mask, y, run->start_px, run->end_px))
            tracker->slots[label].component.at_edge = true;
        if (tracker->keeps_runs &&
            !fleck_run_chains_add(&tracker->chains, &tracker->slots[label].chain,
                                  (fleck_blob_run){ y, run->start_px, run->end_px }))
            return false;
        run->label = label;
    }
    return true;
}

/* Labels become roots, and what was joined is free. */
static void settle_row(struct tracker *tracker)
{
    if (tracker->joined_slots == none)
        return;
    for (size_t i = 0; i < tracker->row_count; i++)
        tracker->row[i].label = find_root(tracker->slots, tracker->row[i].label);
    while (tracker->joined_slots != none) {
        const uint32_t slot = tracker->joined_slots;

        tracker->joined_slots = tracker->slots[slot].next;
        slot_release(tracker, slot);
    }
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for the components of one row; measure a smaller region");
}

static fleck_status hand_over(fleck_labeller *labeller, struct tracker *tracker,
                              struct slot *slot, fleck_error *err)
{
    fleck_component *const component = &slot->component;
    fleck_status status;

    component->at_edge = component->at_edge || component->min_x_px == 0 ||
                         component->min_y_px == 0 ||
                         component->max_x_px == labeller->width_px - 1 ||
                         component->max_y_px == labeller->height_px - 1;
    if (fleck_run_chain_holds(&slot->chain) && component->area_px >= tracker->least_area_px) {
        labeller->handed_runs = fleck_run_chains_sort(&tracker->chains, &slot->chain);
        if (labeller->handed_runs == NULL)
            return no_memory(err);
        labeller->handed_count = slot->chain.count;
    }
    status = labeller->sink(labeller->context, tracker->phase, component, err);
    labeller->handed_runs = NULL;
    labeller->handed_count = 0;
    fleck_run_chains_drop(&tracker->chains, &slot->chain);
    return status;
}

/* Hand over the components that no run of row y has touched, from left to right. */
static fleck_status close_components(fleck_labeller *labeller, struct tracker *tracker, uint32_t y,
                                     fleck_error *err)
{
    for (size_t i = 0; i < tracker->above_count; i++) {
        fleck_component *component;
        fleck_status status;
        uint32_t root;

        if (tracker->above[i].touched)
            continue;
        root = find_root(tracker->slots, tracker->above[i].label);
        component = &tracker->slots[root].component;
        /* it goes on by another of its runs, or went out by one further left */
        if (component->max_y_px == y || component->area_px == 0)
            continue;
        status = hand_over(labeller, tracker, &tracker->slots[root], err);
        if (status != FLECK_OK)
            return status;
        component->area_px = 0;
        slot_release(tracker, root);
    }
    return FLECK_OK;
}

static fleck_status end_row(fleck_labeller *labeller, struct tracker *tracker, fleck_error *err)
{
    struct labelled_run *const row = tracker->row;
    const size_t row_capacity = tracker->row_capacity;
    const uint32_t y = (uint32_t)labeller->y_px;
    fleck_status status;

    if (!label_row(tracker, labeller->mask, y))
        return no_memory(err);
    settle_row(tracker);
    status = close_components(labeller, tracker, y, err);
    tracker->row = tracker->above;
    tracker->row_capacity = tracker->above_capacity;
    tracker->above = row;
    tracker->above_count = tracker->row_count;
    tracker->above_capacity = row_capacity;
    tracker->row_count = 0;
    return status;
}

/* ---- both phases ---- */

static fleck_status check_open(const fleck_labeller *labeller, fleck_error *err)
{
    if (labeller->stopped)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the labeller has stopped at an earlier failure; start a new one");
    return FLECK_OK;
}

static bool are_runs(const fleck_labeller *labeller, const fleck_run *runs, size_t count)
{
    bool good = true;

    for (size_t i = 0; i < count; i++)
        good = good && runs[i].start_px < runs[i].end_px &&
               (i == 0 || runs[i - 1].end_px < runs[i].start_px);
    good = good && (count == 0 || runs[count - 1].end_px <= labeller->width_px);
    for (size_t i = 0; good && labeller->mask != NULL && i < count; i++)
        good = fleck_mask_covers(labeller->mask, labeller->y_px, runs[i].start_px, runs[i].end_px);
    return good;
}

/* What lies between the ink runs from one place of a row to another is bare. */
static void add_bare(struct tracker *bare, const fleck_run *ink_runs, size_t count, size_t *next,
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

fleck_status fleck_labeller_row(fleck_labeller *labeller, const fleck_run *ink_runs, size_t count,
                                fleck_error *err)
{
    const fleck_mask *const mask = labeller->mask;
    size_t y, next = 0, inside_count = 1;
    fleck_run inside = { 0, 0 };
    fleck_status status;

    if ((status = check_open(labeller, err)) != FLECK_OK)
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
    y = labeller->y_px;
    if (mask != NULL) {
        for (inside_count = 0; fleck_mask_next_run(mask, y, inside.end_px, &inside);)
            inside_count++;
    }
    /* each run, of ink or of the mask, ends at most one stretch of bare paper */
    if (!reserve_row(&labeller->ink, count) ||
        !reserve_row(&labeller->bare, count + inside_count))
        return no_memory(err);
    for (size_t i = 0; i < count; i++)
        row_add(&labeller->ink, ink_runs[i].start_px, ink_runs[i].end_px);
    inside = (fleck_run){ 0, 0 };
    if (mask == NULL)
        add_bare(&labeller->bare, ink_runs, count, &next, 0, (uint32_t)labeller->width_px);
    while (mask != NULL && fleck_mask_next_run(mask, y, inside.end_px, &inside))
        add_bare(&labeller->bare, ink_runs, count, &next, inside.start_px, inside.end_px);
    status = end_row(labeller, &labeller->ink, err);
    if (status == FLECK_OK)
        status = end_row(labeller, &labeller->bare, err);
    labeller->stopped = status != FLECK_OK;
    labeller->y_px++;
    return status;
}

fleck_status fleck_labeller_finish(fleck_labeller *labeller, fleck_error *err)
{
    const uint32_t y = (uint32_t)labeller->y_px;
    fleck_status status;

    if ((status = check_open(labeller, err)) != FLECK_OK)
        return status;
    if (labeller->y_px < labeller->height_px)
        return fleck_fail(err, FLECK_BAD_CALL, "only %zu of %zu rows were given; give all of them",
                          labeller->y_px, labeller->height_px);
    status = close_components(labeller, &labeller->ink, y, err);
    if (status == FLECK_OK)
        status = close_components(labeller, &labeller->bare, y, err);
    labeller->stopped = true; /* nothing is open any more */
    return status;
}

/* Whether sums of row and column numbers over the whole region fit 64 bits. */
static bool sums_fit(uint64_t width_px, uint64_t height_px)
{
    const uint64_t longer_px = width_px > height_px ? width_px : height_px;

    return width_px * height_px <= UINT64_MAX / longer_px;
}

static bool tracker_start(struct tracker *tracker, fleck_phase phase)
{
    *tracker = (struct tracker){ .phase = phase, .free_slots = none, .joined_slots = none };
    tracker->above = reserve(NULL, &tracker->above_capacity, 1, sizeof *tracker->above);
    if (tracker->above == NULL)
        return false;
    tracker->above[0] = guard; /* above the first row there is nothing */
    return true;
}

static void tracker_end(struct tracker *tracker)
{
    fleck_free(tracker->above);
    fleck_free(tracker->row);
    fleck_free(tracker->slots);
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
    struct tracker *const tracker = phase == FLECK_PHASE_INK ? &labeller->ink : &labeller->bare;

    if (labeller->y_px > 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "runs are kept from the first row on; ask for them before it");
    tracker->keeps_runs = true;
    tracker->least_area_px = wanted->least_area_px;
    tracker->chains.most_runs =
        wanted->most_runs < UINT32_MAX ? wanted->most_runs : UINT32_MAX - 1;
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
