/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Correction for the border: a large dot lies wholly inside a small window more seldom than a small
 * one, so each whole dot counts as often as the inverse of that chance (Miles 1974; Lantuejoul
 * 1978). A box of w x h pixels clear of the outermost rows and columns has (W - w - 1)(H - h - 1)
 * places.
 *
 * In a mask the places of the box, with one more pixel on all sides, are counted: the mask is
 * eroded downward by the height, and a run of length l of what is left holds l - w + 1 places of a
 * width w. Heights are taken in order, so that each erosion goes on from the last one.
 */
#include "fleck/texture.h"

#include <stdlib.h>

#include "core/memory.h"
#include "core/spill.h"
#include "segment/mask_words.h"

/* A component that has a weight: its box with one more pixel on all sides. */
struct boxed {
    uint32_t width_px, height_px;
    size_t index; /* in the caller's list */
};

double fleck_edge_weight_per_px2(const fleck_geometry *geometry, const fleck_component *component)
{
    const double box_width_px = (double)component->max_x_px - (double)component->min_x_px + 1.0;
    const double box_height_px = (double)component->max_y_px - (double)component->min_y_px + 1.0;
    const double places_x = (double)geometry->width_px - box_width_px - 1.0;
    const double places_y = (double)geometry->height_px - box_height_px - 1.0;

    if (component->at_edge || places_x <= 0.0 || places_y <= 0.0)
        return 0.0;
    return 1.0 / (places_x * places_y);
}

static int by_height(const void *left, const void *right)
{
    const struct boxed *const a = left, *const b = right;

    if (a->height_px != b->height_px)
        return a->height_px < b->height_px ? -1 : 1;
    return (a->index > b->index) - (a->index < b->index);
}

/* The components whose box with one more pixel on all sides lies inside. */
static size_t find_whole(const fleck_mask *mask, const fleck_component *components, size_t n,
                         struct boxed *list)
{
    size_t whole = 0;

    for (size_t i = 0; i < n; i++) {
        const fleck_component *const one = &components[i];
        const uint32_t width_px = one->max_x_px - one->min_x_px + 3;
        const uint32_t height_px = one->max_y_px - one->min_y_px + 3;

        if (!one->at_edge &&
            fleck_mask_covers_box(mask, one->min_x_px - 1, one->min_y_px - 1, width_px, height_px))
            list[whole++] = (struct boxed){ width_px, height_px, i };
    }
    return whole;
}

/* places[w] becomes the number of places of a width w in the runs of all rows. */
static void count_places(const fleck_mask *eroded, uint64_t *places)
{
    uint64_t longer = 0, sum = 0;
    fleck_run run;

    for (size_t w = 0; w <= eroded->width_px; w++)
        places[w] = 0;
    for (size_t y = 0; y < eroded->height_px; y++) {
        for (size_t x = 0; fleck_mask_next_run(eroded, y, x, &run); x = run.end_px)
            places[run.end_px - run.start_px]++;
    }
    for (size_t w = eroded->width_px; w > 0; w--) {
        longer += places[w];
        sum += longer;
        places[w] = sum;
    }
}

fleck_status fleck_edge_weights(const fleck_geometry *geometry, const fleck_mask *mask,
                                const fleck_component *components, size_t n, double *weight_per_px2,
                                fleck_error *err)
{
    const fleck_mask *const shape = fleck_mask_unless_full(mask);
    fleck_mask *eroded = NULL;
    struct boxed *list = NULL;
    uint64_t *places = NULL;
    size_t whole, rows = 1;
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < n; i++) {
        fleck_spill_let_go();
        weight_per_px2[i] =
            shape == NULL ? fleck_edge_weight_per_px2(geometry, &components[i]) : 0.0;
    }
    if (shape == NULL || n == 0)
        return FLECK_OK;
    list = fleck_alloc_array(n, sizeof *list);
    places = fleck_alloc_array(shape->width_px + 1, sizeof *places);
    if (list == NULL || places == NULL) {
        status =
            fleck_fail(err, FLECK_NO_RESOURCE,
                       "no memory for the weights of %zu components; measure a smaller region", n);
        goto done;
    }
    status = fleck_mask_crop(shape, 0, 0, shape->width_px, shape->height_px, &eroded, err);
    if (status != FLECK_OK)
        goto done;
    whole = find_whole(shape, components, n, list);
    if (whole > 0)
        qsort(list, whole, sizeof *list, by_height);
    for (size_t i = 0; i < whole; i++) {
        if (list[i].height_px != rows) { /* a box has at least 3 rows */
            fleck_mask_erode_rows(eroded, &rows, list[i].height_px);
            count_places(eroded, places);
        }
        weight_per_px2[list[i].index] = 1.0 / (double)places[list[i].width_px];
    }
done:
    fleck_mask_free(eroded);
    fleck_free(list);
    fleck_free(places);
    return status;
}
