/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

void check_near_at(const char *source, double actual, double expected, double tolerance,
                   const char *file, int line)
{
    const int same = isnan(expected) ? isnan(actual) : fabs(actual - expected) <= tolerance;

    if (!same) {
        print_error("%s\n    is %.17g, should be %.17g within %g\n", source, actual, expected,
                    tolerance);
        _fail(file, line);
    }
}

void check_ratio_at(const char *source, double actual, double expected, double tolerance,
                    const char *file, int line)
{
    check_near_at(source, actual, expected, tolerance * fabs(expected), file, line);
}

uint64_t test_random(uint64_t *state)
{
    uint64_t z = (*state += 0x9e3779b97f4a7c15u);

    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

double test_uniform(uint64_t *state)
{
    return (double)(test_random(state) >> 11) * 0x1.0p-53;
}
