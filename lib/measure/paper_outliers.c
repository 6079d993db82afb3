/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/paper_outliers.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"

/* Papers of one stock and one exposure: see docs/doubts.md. */
static const double least_tolerance = 0.03;

static const char code[] = "paper-differs";

double fleck_paper_level(const uint64_t *counts, unsigned k, fleck_ink ink)
{
    uint64_t bare = 0, passed = 0;

    if (ink == FLECK_INK_DARK) {
        for (size_t level = k + 1; level < FLECK_LEVELS; level++)
            bare += counts[level];
        for (size_t level = FLECK_LEVELS; bare > 0 && level-- > k + 1;) {
            passed += counts[level];
            if (4 * passed >= bare)
                return (double)level / 65535;
        }
        return NAN;
    }
    for (size_t level = 0; level <= k && level < FLECK_LEVELS; level++)
        bare += counts[level];
    for (size_t level = 0; bare > 0 && level <= k; level++) {
        passed += counts[level];
        if (4 * passed >= bare)
            return (double)level / 65535;
    }
    return NAN;
}

static int by_value(const void *a, const void *b)
{
    const double one = *(const double *)a, other = *(const double *)b;

    return (one > other) - (one < other);
}

static double median_of(double *values, size_t n)
{
    qsort(values, n, sizeof *values, by_value);
    return n % 2 != 0 ? values[n / 2] : (values[n / 2 - 1] + values[n / 2]) / 2;
}

fleck_status fleck_paper_outliers_find(const double *level, size_t n, bool *apart,
                                       fleck_paper_outliers *out, fleck_error *err)
{
    double *values = fleck_alloc_array(n, sizeof *values);
    size_t known = 0;

    *out = (fleck_paper_outliers){ .median = NAN, .tolerance = NAN };
    if (values == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to compare papers; free some memory");
    for (size_t i = 0; i < n; i++) {
        apart[i] = false;
        if (isfinite(level[i]))
            values[known++] = level[i];
    }
    if (known >= 3) {
        out->median = median_of(values, known);
        for (size_t i = 0; i < known; i++)
            values[i] = fabs(values[i] - out->median);
        /* 1.4826: a normal distribution's standard deviation over its median absolute deviation */
        out->tolerance = fmax(3.5 * 1.4826 * median_of(values, known), least_tolerance);
        for (size_t i = 0; i < n; i++) {
            apart[i] = isfinite(level[i]) && fabs(level[i] - out->median) > out->tolerance;
            out->count += apart[i];
        }
    }
    fleck_free(values);
    return FLECK_OK;
}

fleck_status fleck_paper_outliers_warn_run(const fleck_paper_outliers *outliers, size_t known,
                                           fleck_warnings *warnings, fleck_error *err)
{
    return fleck_warnings_add(
        warnings, err, code,
        "bare paper of %zu of %zu patches differs from that of the others, whose reflectance is %.3f: "
        "the exposure was probably set anew for each scan; switch automatic exposure off and scan "
        "again, or calibrate",
        outliers->count, known, outliers->median);
}

bool fleck_paper_outliers_unwarn(fleck_warnings *warnings)
{
    size_t kept = 0;
    const size_t before = warnings->count;

    for (size_t i = 0; i < before; i++) {
        if (strcmp(warnings->items[i].code, code) != 0) {
            warnings->items[kept++] = warnings->items[i];
        } else {
            fleck_free(warnings->items[i].code);
            fleck_free(warnings->items[i].message);
        }
    }
    warnings->count = kept;
    return kept < before;
}

fleck_status fleck_paper_outliers_warn(const fleck_paper_outliers *outliers, double level,
                                       fleck_warnings *warnings, fleck_error *err)
{
    return fleck_warnings_add(
        warnings, err, code,
        "bare paper has a reflectance of %.3f, in the other scans of this run "
        "it is %.3f: the exposure was probably set anew for each scan; switch "
        "automatic exposure off and scan again, or calibrate",
        level, outliers->median);
}
