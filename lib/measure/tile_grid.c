/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A tile lies inside when its first pixel is left of the mask eroded by the tile. Such pixels whose
 * places agree but for half tiles belong to one grid, so that counting them by the rest of their
 * places tries all grids at once.
 */
#include "measure/tile_grid.h"

#include <stdint.h>

#include "core/memory.h"
#include "segment/mask_words.h"

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

fleck_status fleck_tile_grid_choose(const fleck_mask *mask, size_t tile_px, fleck_tile_grid *out,
                                    fleck_error *err)
{
    const size_t half = tile_px / 2;
    fleck_mask *eroded = NULL;
    uint32_t *counts = NULL;
    size_t across, down, size, rows = 1;
    fleck_status status;

    *out = (fleck_tile_grid){ 0, 0, 0 };
    if (tile_px > mask->width_px || tile_px > mask->height_px)
        return FLECK_OK;
    across = smaller(half, mask->width_px - tile_px + 1);
    down = smaller(half, mask->height_px - tile_px + 1);
    status = fleck_mask_crop(mask, 0, 0, mask->width_px, mask->height_px, &eroded, err);
    if (status != FLECK_OK)
        return status;
    if (size_mul(across, down, &size))
        counts = fleck_alloc_zeroed(size, sizeof *counts);
    if (counts == NULL) {
        status =
            fleck_fail(err, FLECK_NO_RESOURCE,
                       "no memory for the places of %zu px tiles; choose smaller tiles", tile_px);
        goto done;
    }
    fleck_mask_erode_rows(eroded, &rows, tile_px);
    for (size_t y = 0; y < eroded->height_px; y++) {
        const size_t first_count = y % half * across; /* within counts where there are runs */
        fleck_run run;

        for (size_t x = 0; fleck_mask_next_run(eroded, y, x, &run); x = run.end_px) {
            for (size_t first = run.start_px; first + tile_px <= run.end_px; first++)
                counts[first_count + first % half]++;
        }
    }
    for (size_t i = 0; i < size; i++) {
        if (counts[i] > out->tiles)
            *out = (fleck_tile_grid){ i % across, i / across, counts[i] };
    }
done:
    fleck_free(counts);
    fleck_mask_free(eroded);
    return status;
}
