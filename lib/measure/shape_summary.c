/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/shape.h"

#include <math.h>
#include <stdlib.h>

#include "core/memory.h"
#include "core/spill.h"
#include "fleck/texture.h"

/* A dot that has a tone area and a weight. */
struct sized {
    double area_mm2;
    double weight_per_px2;
    uint32_t first_y_px, first_x_px;
};

static int by_area(const void *left, const void *right)
{
    const struct sized *const a = left, *const b = right;

    if (a->area_mm2 < b->area_mm2 || a->area_mm2 > b->area_mm2)
        return a->area_mm2 < b->area_mm2 ? -1 : 1;
    if (a->first_y_px != b->first_y_px)
        return a->first_y_px < b->first_y_px ? -1 : 1;
    return (a->first_x_px > b->first_x_px) - (a->first_x_px < b->first_x_px);
}

/* Smallest diameter at which half the weight is reached. */
static double median_diameter_mm(struct sized *list, size_t n)
{
    long double total = 0.0L, sum = 0.0L, goal;
    size_t i = 0;

    if (n == 0)
        return NAN;
    qsort(list, n, sizeof *list, by_area);
    for (size_t j = 0; j < n; j++)
        total += (long double)list[j].weight_per_px2;
    /* equal weights must not miss the half through the rounding of their sum */
    goal = total * 0.5L * (1.0L - 1e-12L);
    for (; i < n - 1; i++) {
        sum += (long double)list[i].weight_per_px2;
        if (sum >= goal)
            break;
    }
    return fleck_equivalent_diameter_mm(list[i].area_mm2);
}

/* A mean of values that may be missing. */
struct mean {
    long double sum, weight;
};

static void mean_add(struct mean *mean, double value, double weight)
{
    if (isnan(value))
        return;
    mean->sum += (long double)value * (long double)weight;
    mean->weight += (long double)weight;
}

static double mean_of(const struct mean *mean)
{
    return mean->weight > 0.0L ? (double)(mean->sum / mean->weight) : NAN;
}

fleck_status fleck_shapes_summarise(const fleck_blob *blobs, const fleck_dot_shape *shapes,
                                    const double *weight_per_px2, size_t n, uint64_t ink_px,
                                    fleck_shape_summary *out, fleck_error *err)
{
    struct sized *const list = fleck_alloc_array(n, sizeof *list);
    struct mean circularity = { 0.0L, 0.0L }, edge_width = circularity, gap = circularity;
    uint64_t largest_px = 0;
    size_t count = 0;

    if (list == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for the tone areas of %zu dots; measure a smaller region", n);
    for (size_t i = 0; i < n; i++) {
        const fleck_component *const component = &blobs[i].component;
        const fleck_dot_shape *const shape = &shapes[i];

        fleck_spill_let_go();
        mean_add(&circularity, shape->outline.circularity, weight_per_px2[i]);
        mean_add(&edge_width, shape->tone.edge_width_mm, 1);
        mean_add(&gap, shape->gap_mm, 1);
        if (component->area_px > largest_px)
            largest_px = component->area_px;
        if (weight_per_px2[i] > 0 && shape->tone.tone_area_mm2 >= 0)
            list[count++] = (struct sized){ shape->tone.tone_area_mm2, weight_per_px2[i],
                                            component->first_y_px, component->first_x_px };
    }
    out->mean_circularity = mean_of(&circularity);
    out->mean_edge_width_mm = mean_of(&edge_width);
    out->gap_mean_mm = mean_of(&gap);
    out->tone_d50_mm = median_diameter_mm(list, count);
    out->largest_share = ink_px > 0 ? (double)largest_px / (double)ink_px : NAN;
    fleck_free(list);
    return FLECK_OK;
}
