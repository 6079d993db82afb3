/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/blobs.h"

#include <stdlib.h>
#include <string.h>

#include "support/check.h"

struct gathering {
    fleck_labeller *labeller;
    fleck_phase phase;
    uint64_t least_px;
    struct blobs blobs;
};

static fleck_status gather(void *context, fleck_phase phase, const fleck_component *component,
                           fleck_error *err)
{
    struct gathering *gathering = context;
    struct blobs *const blobs = &gathering->blobs;
    fleck_blob *blob;
    fleck_blob_run *runs;
    size_t count;
    const fleck_blob_run *const handed = fleck_labeller_get_runs(gathering->labeller, &count);

    (void)err;
    if (phase != gathering->phase || component->area_px < gathering->least_px)
        return FLECK_OK;
    blobs->items = realloc(blobs->items, (blobs->count + 1) * sizeof *blobs->items);
    runs = malloc(count * sizeof *runs);
    assert_non_null(blobs->items);
    assert_non_null(runs);
    assert_non_null(handed);
    memcpy(runs, handed, count * sizeof *runs);
    blob = &blobs->items[blobs->count++];
    *blob = (fleck_blob){ .component = *component, .runs = runs, .run_count = count };
    return FLECK_OK;
}

static int by_first_pixel(const void *left, const void *right)
{
    const fleck_component *const a = &((const fleck_blob *)left)->component;
    const fleck_component *const b = &((const fleck_blob *)right)->component;

    if (a->first_y_px != b->first_y_px)
        return a->first_y_px < b->first_y_px ? -1 : 1;
    return (a->first_x_px > b->first_x_px) - (a->first_x_px < b->first_x_px);
}

struct blobs blobs_from_mask(const struct mask *mask, fleck_phase phase, uint64_t least_px)
{
    const fleck_runs_wanted wanted = { least_px, FLECK_BLOB_MOST_RUNS };
    struct gathering gathering = { .phase = phase, .least_px = least_px };
    fleck_run *runs = malloc((mask->width_px / 2 + 1) * sizeof *runs);

    assert_non_null(runs);
    assert_int_equal(fleck_labeller_new(mask->width_px, mask->height_px, NULL, gather, &gathering,
                                        &gathering.labeller, NULL),
                     FLECK_OK);
    assert_int_equal(fleck_labeller_keep_runs(gathering.labeller, phase, &wanted, NULL), FLECK_OK);
    for (size_t y = 0; y < mask->height_px; y++)
        assert_int_equal(
            fleck_labeller_row(gathering.labeller, runs, mask_runs(mask, y, runs), NULL), FLECK_OK);
    assert_int_equal(fleck_labeller_finish(gathering.labeller, NULL), FLECK_OK);
    fleck_labeller_free(gathering.labeller);
    free(runs);
    if (gathering.blobs.count > 0)
        qsort(gathering.blobs.items, gathering.blobs.count, sizeof *gathering.blobs.items,
              by_first_pixel);
    return gathering.blobs;
}

void blobs_free(struct blobs *blobs)
{
    for (size_t i = 0; i < blobs->count; i++)
        free((void *)(uintptr_t)blobs->items[i].runs);
    free(blobs->items);
    *blobs = (struct blobs){ NULL, 0 };
}
