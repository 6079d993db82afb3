/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers from small to large, for qsort; equal ones cannot be told apart, so their order does not matter. */
#ifndef FLECK_STATS_NUMBER_ORDER_H
#define FLECK_STATS_NUMBER_ORDER_H

static inline int fleck_number_order(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

#endif
