/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/ranks.h"

#include <math.h>
#include <stdlib.h>

#include "core/memory.h"

struct placed {
    double value;
    size_t index;
};

static int by_value(const void *a, const void *b)
{
    const struct placed *const x = a, *const y = b;

    if (x->value != y->value)
        return x->value < y->value ? -1 : 1;
    return x->index < y->index ? -1 : x->index > y->index;
}

fleck_status fleck_ranks(const double *values, size_t n, double *ranks, double *ties,
                         fleck_error *err)
{
    struct placed *const placed = fleck_alloc_array(n, sizeof *placed);
    double sum = 0;

    if (placed == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to rank; free some memory");
    for (size_t i = 0; i < n; i++)
        placed[i] = (struct placed){ values[i], i };
    qsort(placed, n, sizeof *placed, by_value);
    for (size_t from = 0, to; from < n; from = to) {
        double count;

        for (to = from + 1; to < n && placed[to].value == placed[from].value;)
            to++;
        count = (double)(to - from);
        sum += count * count * count - count;
        for (size_t i = from; i < to; i++)
            ranks[placed[i].index] = ((double)from + (double)to + 1) / 2;
    }
    if (ties != NULL)
        *ties = sum;
    fleck_free(placed);
    return FLECK_OK;
}

/* Taking p in rising order: the k-th of n by n - k + 1, never below the one before. */
fleck_status fleck_holm(const double *p, size_t n, double *adjusted, fleck_error *err)
{
    struct placed *const placed = fleck_alloc_array(n, sizeof *placed);
    size_t count = 0;
    double least = 0;

    if (placed == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for p-values; free some memory");
    for (size_t i = 0; i < n; i++) {
        if (!isnan(p[i]))
            placed[count++] = (struct placed){ p[i], i };
        adjusted[i] = p[i];
    }
    qsort(placed, count, sizeof *placed, by_value);
    for (size_t k = 0; k < count; k++) {
        least = fmax(least, fmin(1, (double)(count - k) * placed[k].value));
        adjusted[placed[k].index] = least;
    }
    fleck_free(placed);
    return FLECK_OK;
}
