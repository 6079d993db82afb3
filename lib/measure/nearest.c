/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Nearest neighbours through a k-d tree (Bentley 1975, Comm. ACM 18, 509-517). A stretch of points
 * is halved at its median along the longer side of its box, until few are left; a search then
 * enters only boxes that can hold something nearer. Splitting by number, not by place, keeps the
 * tree as deep for clusters as for evenly spread points. The distance of a pair has the same digits
 * seen from either side, so that neither the tree's shape nor the order of the points shows in the
 * result.
 */
#include "fleck/texture.h"

#include <math.h>

#include "core/memory.h"

enum { LEAF_POINTS = 8 }; /* common practice; 4 and 16 take about the same time */

struct entry {
    double at[2]; /* x and y in mm */
    size_t index; /* in the caller's list */
};

/* The smallest box around a stretch of entries. */
struct box {
    double low[2];
    double high[2];
};

/*
 * Box i has the halves 2 i + 1 and 2 i + 2; its stretch of entries follows from halving too. All
 * leaves lie `levels` below the root.
 */
struct tree {
    struct entry *entries;
    struct box *boxes;
    unsigned levels;
    uint64_t random;
};

struct search {
    const struct tree *tree;
    const struct entry *from;
    double best_mm2;
};

/* Any pivot gives the same distances; a random one (xorshift, Marsaglia 2003) is seldom bad. */
static double choose_pivot(struct tree *tree, ptrdiff_t first, ptrdiff_t last, int axis)
{
    double value[3];

    for (int i = 0; i < 3; i++) {
        tree->random ^= tree->random << 13;
        tree->random ^= tree->random >> 7;
        tree->random ^= tree->random << 17;
        value[i] =
            tree->entries[(uint64_t)first + tree->random % (uint64_t)(last - first + 1)].at[axis];
    }
    return fmax(fmin(value[0], value[1]), fmin(fmax(value[0], value[1]), value[2]));
}

/* Hoare's selection: afterwards no entry before `middle` is above one from `middle` on. */
static void select_middle(struct tree *tree, ptrdiff_t first, ptrdiff_t last, ptrdiff_t middle,
                          int axis)
{
    struct entry *const entries = tree->entries;

    while (first < last) {
        const double pivot = choose_pivot(tree, first, last, axis);
        ptrdiff_t i = first, j = last;

        while (i <= j) {
            while (entries[i].at[axis] < pivot)
                i++;
            while (entries[j].at[axis] > pivot)
                j--;
            if (i <= j) {
                const struct entry moved = entries[i];

                entries[i++] = entries[j];
                entries[j--] = moved;
            }
        }
        if (middle <= j)
            last = j;
        else if (middle >= i)
            first = i;
        else
            return;
    }
}

static struct box box_around(const struct entry *entries, size_t first, size_t end)
{
    struct box box = { { entries[first].at[0], entries[first].at[1] },
                       { entries[first].at[0], entries[first].at[1] } };

    for (size_t i = first + 1; i < end; i++) {
        for (int axis = 0; axis < 2; axis++) {
            const double at = entries[i].at[axis];

            if (at < box.low[axis])
                box.low[axis] = at;
            if (at > box.high[axis])
                box.high[axis] = at;
        }
    }
    return box;
}

static void grow(struct tree *tree, size_t node, unsigned level, size_t first, size_t end)
{
    const struct box box = box_around(tree->entries, first, end);
    const int axis = box.high[1] - box.low[1] > box.high[0] - box.low[0];
    const size_t middle = first + (end - first) / 2;

    tree->boxes[node] = box;
    if (level == tree->levels)
        return;
    select_middle(tree, (ptrdiff_t)first, (ptrdiff_t)end - 1, (ptrdiff_t)middle, axis);
    grow(tree, 2 * node + 1, level + 1, first, middle);
    grow(tree, 2 * node + 2, level + 1, middle, end);
}

/* Not above the distance to any entry of the box, as rounding keeps the order at each step. */
static double least_distance_mm2(const struct box *box, const struct entry *from)
{
    double sum_mm2 = 0;

    for (int axis = 0; axis < 2; axis++) {
        const double below = box->low[axis] - from->at[axis];
        const double above = from->at[axis] - box->high[axis];
        const double gap = below > 0 ? below : above > 0 ? above : 0;

        sum_mm2 += gap * gap;
    }
    return sum_mm2;
}

static void look_in(struct search *search, size_t node, unsigned level, size_t first, size_t end)
{
    const struct tree *const tree = search->tree;
    const size_t middle = first + (end - first) / 2;
    double left_mm2, right_mm2;

    if (level == tree->levels) {
        for (size_t i = first; i < end; i++) {
            const struct entry *const to = &tree->entries[i];
            const double x = to->at[0] - search->from->at[0], y = to->at[1] - search->from->at[1];
            const double distance_mm2 = x * x + y * y;

            if (distance_mm2 < search->best_mm2 && to != search->from)
                search->best_mm2 = distance_mm2;
        }
        return;
    }
    left_mm2 = least_distance_mm2(&tree->boxes[2 * node + 1], search->from);
    right_mm2 = least_distance_mm2(&tree->boxes[2 * node + 2], search->from);
    if (left_mm2 <= right_mm2 && left_mm2 < search->best_mm2)
        look_in(search, 2 * node + 1, level + 1, first, middle);
    if (right_mm2 < search->best_mm2)
        look_in(search, 2 * node + 2, level + 1, middle, end);
    if (left_mm2 > right_mm2 && left_mm2 < search->best_mm2)
        look_in(search, 2 * node + 1, level + 1, first, middle);
}

static fleck_status check_points(const fleck_point_mm *points, size_t n, double width_mm,
                                 double height_mm, fleck_error *err)
{
    if (!(width_mm > 0) || !(height_mm > 0))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a region of %g x %g mm has no area; give sides above 0", width_mm,
                          height_mm);
    for (size_t i = 0; i < n; i++) {
        const double x = points[i].x_mm, y = points[i].y_mm;

        if (!(x >= 0) || !(x <= width_mm) || !(y >= 0) || !(y <= height_mm))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "point %zu at %g, %g mm lies outside the region of %g x %g mm; "
                              "measure points from the region's top left",
                              i, x, y, width_mm, height_mm);
    }
    return FLECK_OK;
}

fleck_status fleck_nearest_neighbours(const fleck_point_mm *points, size_t n, double width_mm,
                                      double height_mm, double *distance_mm, fleck_error *err)
{
    struct tree tree = { .random = 88172645463325252u }; /* Marsaglia's example; never 0 */
    fleck_status status;

    if ((status = check_points(points, n, width_mm, height_mm, err)) != FLECK_OK)
        return status;
    if (n < 2) {
        if (n == 1)
            distance_mm[0] = NAN;
        return FLECK_OK;
    }
    while (((n - 1) >> tree.levels) >= LEAF_POINTS)
        tree.levels++;
    tree.entries = fleck_alloc_array(n, sizeof *tree.entries);
    tree.boxes = fleck_alloc_array((size_t)2 << tree.levels, sizeof *tree.boxes);
    if (tree.entries == NULL || tree.boxes == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for the neighbours of %zu points; give a smaller region", n);
        goto done;
    }
    for (size_t i = 0; i < n; i++)
        tree.entries[i] = (struct entry){ { points[i].x_mm, points[i].y_mm }, i };
    grow(&tree, 0, 0, 0, n);
    /* in the order of the tree, so that one search finds in the cache what the last one needed */
    for (size_t i = 0; i < n; i++) {
        struct search search = { &tree, &tree.entries[i], INFINITY };

        look_in(&search, 0, 0, 0, n);
        distance_mm[tree.entries[i].index] = sqrt(search.best_mm2);
    }
done:
    fleck_free(tree.entries);
    fleck_free(tree.boxes);
    return status;
}
