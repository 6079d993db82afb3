/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/hann.h"

#include <math.h>

#include "core/memory.h"

static const double PI = 3.14159265358979323846;

double *fleck_hann_new(size_t side)
{
    double *window = fleck_alloc_array(side, sizeof *window);

    if (window == NULL)
        return NULL;
    for (size_t i = 0; i < side; i++)
        window[i] = 0.5 * (1 - cos(2 * PI * (double)i / (double)side));
    return window;
}

double fleck_hann_squares(const double *window, size_t side)
{
    double sum = 0;

    for (size_t i = 0; i < side; i++)
        sum += window[i] * window[i];
    return sum;
}
