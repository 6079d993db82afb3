/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/sized.h"

#include <stdlib.h>

#include "core/memory.h"
#include "core/sort.h"
#include "core/spill.h"

static int by_area(const void *left, const void *right)
{
    const fleck_sized *const a = left, *const b = right;

    if (a->area_px != b->area_px)
        return a->area_px < b->area_px ? -1 : 1;
    if (a->first_y_px != b->first_y_px)
        return a->first_y_px < b->first_y_px ? -1 : 1;
    return (a->first_x_px > b->first_x_px) - (a->first_x_px < b->first_x_px);
}

static fleck_status no_memory(size_t n, fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for the sizes of %zu components; measure a smaller region", n);
}

fleck_status fleck_sized_list(const fleck_component *components, const double *weights_per_px2,
                              size_t n, const fleck_geometry *geometry, fleck_sized **out,
                              size_t *count, fleck_error *err)
{
    fleck_sized *const list = fleck_alloc_array(n, sizeof *list);
    size_t whole = 0;

    *out = NULL;
    *count = 0;
    if (list == NULL)
        return no_memory(n, err);
    for (size_t i = 0; i < n; i++) {
        const fleck_component *const one = &components[i];
        const double weight_per_px2 =
            weights_per_px2 != NULL ? weights_per_px2[i] : fleck_edge_weight_per_px2(geometry, one);

        fleck_spill_let_go();
        if (weight_per_px2 > 0.0)
            list[whole++] = (fleck_sized){
                .area_px = one->area_px,
                .first_y_px = one->first_y_px,
                .first_x_px = one->first_x_px,
                .diameter_mm = fleck_equivalent_diameter_mm(fleck_area_mm2(geometry, one->area_px)),
                .weight_per_px2 = weight_per_px2,
                .component = one,
            };
    }
    if (!fleck_sort(list, whole, sizeof *list, by_area)) {
        fleck_free(list);
        return no_memory(n, err);
    }
    *out = list;
    *count = whole;
    return FLECK_OK;
}
