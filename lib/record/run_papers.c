/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/run_papers.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"

static bool is_listed(const fleck_run_papers *papers, const char *path)
{
    for (size_t i = 0; i < papers->warning.scan_count; i++) {
        if (strcmp(papers->scans[i], path) == 0)
            return true;
    }
    return false;
}

fleck_status fleck_run_papers_find(const fleck_inputs *inputs, const double *level,
                                   fleck_run_papers *out, fleck_error *err)
{
    size_t known = 0;
    fleck_status status;

    *out = (fleck_run_papers){ 0 };
    out->apart = fleck_alloc_zeroed(inputs->count, sizeof *out->apart);
    if (out->apart == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to compare papers; free some memory");
    status = fleck_paper_outliers_find(level, inputs->count, out->apart, &out->outliers, err);
    if (status != FLECK_OK || out->outliers.count == 0)
        return status;
    out->scans = fleck_alloc_array(out->outliers.count, sizeof *out->scans);
    if (out->scans == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to compare papers; free some memory");
    for (size_t i = 0; i < inputs->count; i++) {
        known += isfinite(level[i]) != 0;
        if (out->apart[i] && !is_listed(out, inputs->items[i].path))
            out->scans[out->warning.scan_count++] = inputs->items[i].path;
    }
    status = fleck_paper_outliers_warn_run(&out->outliers, known, &out->sentences, err);
    if (status != FLECK_OK)
        return status;
    out->warning.code = out->sentences.items[0].code;
    out->warning.message = out->sentences.items[0].message;
    out->warning.scans = out->scans;
    return FLECK_OK;
}

void fleck_run_papers_clear(fleck_run_papers *papers)
{
    fleck_free(papers->apart);
    fleck_free(papers->scans);
    fleck_warnings_clear(&papers->sentences);
    *papers = (fleck_run_papers){ 0 };
}
