/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A drawn phantom, as drawing makes it and truth and writing read it. */
#ifndef FLECK_PHANTOM_INTERNAL_H
#define FLECK_PHANTOM_INTERNAL_H

#include "fleck/phantom.h"
#include "phantom/phantom_options.h"
#include "phantom/place.h"

struct fleck_phantom {
    fleck_phantom_options options;
    fleck_phantom_frame frame;
    fleck_dots dots; /* those that touch the picture */
    float *reflectance;
    double exact_coverage;
};

#endif
