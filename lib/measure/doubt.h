/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What every test of a scan's own quality answers with. Codes and sentences: docs/doubts.md. */
#ifndef FLECK_MEASURE_DOUBT_H
#define FLECK_MEASURE_DOUBT_H

#include <stdbool.h>

typedef struct fleck_doubt {
    double statistic; /* NAN: the rows seen cannot tell, which is no doubt */
    double critical;  /* a doubt from here on, when it is also more than chance */
    bool exceeded;
} fleck_doubt;

#endif
