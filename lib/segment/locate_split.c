/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What closing has bridged comes apart again where a strip right through the box is empty: two
 * sparse patches side by side, or a patch and a line of writing. The strip must be much wider than
 * all other gaps of the block, and empty by more than chance.
 */
#include "segment/locate_parts.h"

#include <math.h>

#include "core/memory.h"

/* Common practice, no source. */
#define GAP_MM 1.0 /* narrower ones may be a scratch */
#define WIDER_THAN_OTHERS 2.5
#define EXPECTED_CELLS 30 /* with ink in a strip, if it were like the rest of the block */
#define EMPTY 0.08        /* of the block's mean depth */

struct strip {
    size_t first, past; /* bins of a profile */
};

/* The widest empty strip of a profile, not at its ends, when it is no gap of the speckle. */
static bool find_strip(const fleck_profile *profile, double cell_mm, double printed,
                       struct strip *strip)
{
    const double least = GAP_MM / cell_mm;
    size_t widest = 0, second = 0, start = 0, run = 0;
    double mean = 0;

    for (size_t i = 0; i < profile->count; i++)
        mean += profile->mean[i] / (double)profile->count;
    for (size_t i = 0; i <= profile->count; i++) {
        if (i < profile->count && profile->mean[i] < EMPTY * mean) {
            if (run++ == 0)
                start = i;
            continue;
        }
        /* an empty rim is for the sides to settle */
        if (run > widest && start > 0 && i < profile->count) {
            second = widest;
            widest = run;
            *strip = (struct strip){ start, i };
        } else if (run > second) {
            second = run;
        }
        run = 0;
    }
    return (double)widest >= least && (double)widest >= WIDER_THAN_OTHERS * (double)second &&
           (double)widest * (double)profile->across * printed >= EXPECTED_CELLS;
}

/* Whether a strip leaves a patch on either side of it. */
static bool leaves_patch(const fleck_profile *profile, const struct strip *strip, double cell_mm,
                         double min_size_mm)
{
    const double larger = fmax((double)strip->first, (double)(profile->count - strip->past));

    return larger * cell_mm >= min_size_mm - 0.25;
}

/* Give the cells beyond a place of the box a label of their own. */
static void part_cells(fleck_blocks *blocks, size_t columns, const fleck_turned_box *box,
                       bool along_u, double cut, uint32_t label, uint32_t new_label,
                       fleck_shape shapes[2])
{
    const fleck_shape whole = shapes[0];

    for (unsigned k = 0; k < 2; k++)
        shapes[k] = (fleck_shape){ whole.right, whole.bottom, whole.left, whole.top, 0 };
    for (size_t y = whole.top; y < whole.bottom; y++) {
        for (size_t x = whole.left; x < whole.right; x++) {
            const double dx = (double)x + 0.5 - box->x, dy = (double)y + 0.5 - box->y;
            const double at = along_u ? dx * cos(box->angle) - dy * sin(box->angle)
                                      : dx * sin(box->angle) + dy * cos(box->angle);
            uint32_t *const owner = &blocks->owner[y * columns + x];
            fleck_shape *shape;

            if (*owner != label)
                continue;
            if (at > cut)
                *owner = new_label;
            shape = &shapes[at > cut];
            shape->area++;
            shape->left = x < shape->left ? x : shape->left;
            shape->top = y < shape->top ? y : shape->top;
            shape->right = x + 1 > shape->right ? x + 1 : shape->right;
            shape->bottom = y + 1 > shape->bottom ? y + 1 : shape->bottom;
        }
    }
}

static fleck_status fit_part(const fleck_blocks *blocks, const fleck_sheet_map *map,
                             fleck_block *block, fleck_error *err)
{
    const double angle = block->box.angle;
    fleck_window window;
    fleck_status status = fleck_blocks_window(blocks, block, map, &window, err);

    if (status != FLECK_OK)
        return status;
    status = fleck_fit_box(&window, angle, &block->box, &block->inside, &block->outside, err);
    fleck_free(window.inside);
    return status;
}

fleck_status fleck_blocks_split(fleck_blocks *blocks, size_t index, const fleck_sheet_map *map,
                                const fleck_relief *relief, double min_size_mm, bool *split,
                                fleck_error *err)
{
    fleck_profile *const profile = fleck_alloc_array(1, sizeof *profile);
    fleck_block *block = &blocks->items[index], *grown;
    fleck_shape shapes[2] = { block->shape, block->shape };
    uint32_t new_label = 0;
    struct strip strip = { 0, 0 };
    bool along_u = false;
    double cut;
    fleck_status status = FLECK_OK;

    *split = false;
    if (profile == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to fit a patch; free some memory");
    for (unsigned k = 0; k < 2 && !*split; k++) {
        along_u = k == 0;
        fleck_profile_take(map, relief, &block->box, along_u, 0, 1, profile);
        *split = find_strip(profile, map->cell_mm, block->printed, &strip);
        if (*split && !leaves_patch(profile, &strip, map->cell_mm, min_size_mm)) {
            block->scraps = true; /* lines of writing */
            *split = false;
        }
    }
    if (!*split)
        goto done;
    grown = fleck_grow(blocks->items, &blocks->capacity, blocks->count, sizeof *blocks->items);
    if (grown == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the blocks; free some memory");
        goto done;
    }
    blocks->items = grown;
    block = &grown[index];
    for (size_t i = 0; i < blocks->count; i++)
        new_label = grown[i].label >= new_label ? grown[i].label + 1 : new_label;
    cut =
        (double)(strip.first + strip.past) / 2 - (along_u ? block->box.half_u : block->box.half_v);
    part_cells(blocks, map->columns, &block->box, along_u, cut, block->label, new_label, shapes);
    if (shapes[0].area == 0 || shapes[1].area == 0) {
        *split = false; /* the block's cells lie on one side; its box will be fitted to them */
        block->shape = shapes[shapes[0].area == 0];
        block->label = shapes[0].area == 0 ? new_label : block->label;
        goto done;
    }
    grown[blocks->count] = *block;
    grown[blocks->count].label = new_label;
    grown[blocks->count].shape = shapes[1];
    block->shape = shapes[0];
    blocks->count++;
    status = fit_part(blocks, map, &grown[index], err);
    if (status == FLECK_OK)
        status = fit_part(blocks, map, &grown[blocks->count - 1], err);
done:
    fleck_free(profile);
    return status;
}
