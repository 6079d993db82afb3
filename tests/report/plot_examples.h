/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plots of invented data, ordinary ones and such as are hard to lay out. */
#ifndef FLECK_TESTS_PLOT_EXAMPLES_H
#define FLECK_TESTS_PLOT_EXAMPLES_H

#include "fleck/plots.h"

typedef struct plot_example {
    const char *name;
    void (*fill)(fleck_plot *plot);
} plot_example;

extern const plot_example plot_examples[];
extern const size_t plot_example_count;

#endif
