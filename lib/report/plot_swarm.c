/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Points from below upward, each in the column nearest to the middle whose last point is far
 * enough. */
#include "report/plot_swarm.h"

#include <math.h>
#include <stdlib.h>

#include "core/memory.h"

enum { MOST_COLUMNS = 121 };

struct place {
    double x, y;
    size_t index;
};

static int compare_places(const void *a, const void *b)
{
    const struct place *const left = a, *const right = b;

    if (left->x != right->x)
        return left->x < right->x ? -1 : 1;
    if (left->y != right->y)
        return left->y < right->y ? -1 : 1;
    return left->index < right->index ? -1 : 1;
}

bool plot_swarm(const double *x, const double *y, size_t n, double apart, size_t most, int *column)
{
    const size_t columns = 2 * most + 1 < MOST_COLUMNS ? 2 * most + 1 : MOST_COLUMNS;
    struct place *const places = fleck_alloc_array(n, sizeof *places);
    double last[MOST_COLUMNS];
    size_t count = 0;

    if (places == NULL)
        return false;
    for (size_t i = 0; i < n; i++) {
        column[i] = 0;
        if (isfinite(x[i]) && isfinite(y[i]))
            places[count++] = (struct place){ x[i], y[i], i };
    }
    if (count > 1)
        qsort(places, count, sizeof *places, compare_places);
    for (size_t i = 0; i < count; i++) {
        size_t chosen = 0;

        if (i == 0 || places[i].x != places[i - 1].x) {
            for (size_t c = 0; c < columns; c++)
                last[c] = -INFINITY;
        }
        for (size_t c = 0; c < columns && places[i].y - last[chosen] < apart; c++) {
            if (last[c] < last[chosen])
                chosen = c;
        }
        last[chosen] = places[i].y;
        column[places[i].index] = chosen % 2 == 1 ? (int)(chosen + 1) / 2 : -(int)(chosen / 2);
    }
    fleck_free(places);
    return true;
}
