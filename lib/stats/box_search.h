/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The settings within a box at which several fitted numbers come nearest to what is wanted. */
#ifndef FLECK_STATS_BOX_SEARCH_H
#define FLECK_STATS_BOX_SEARCH_H

#include <stdbool.h>
#include <stddef.h>

enum { FLECK_BOX_SIDES = 4, FLECK_BOX_TARGETS = 16, FLECK_BOX_ANSWERS = 8 };

/*
 * How far off the targets are at a place of the box.
 *
 * u      `sides` numbers from -1 to 1
 * off    out: for each target the fitted less the wanted number, weighted
 * by     out: off's derivatives, by[target * sides + side]
 */
typedef void (*fleck_box_offsets)(void *context, const double *u, double *off, double *by);

typedef struct fleck_box_answer {
    double u[FLECK_BOX_SIDES];
    bool at_edge[FLECK_BOX_SIDES]; /* the box holds it back there */
    double misfit;                 /* sum of squared offsets */
} fleck_box_answer;

/*
 * Lowest places of the misfit, from starts spread over the box in a fixed order.
 *
 * sides, targets    1 to FLECK_BOX_SIDES, FLECK_BOX_TARGETS
 * answers           out: different places where it has a minimum, the lowest first
 *
 * Returns their number, at least 1. Method: Levenberg (1944) with the sides that hold back left
 * out.
 */
size_t fleck_box_search(fleck_box_offsets offsets, void *context, size_t sides, size_t targets,
                        fleck_box_answer answers[FLECK_BOX_ANSWERS]);

#endif
