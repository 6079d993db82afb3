/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A measure of your own, from the dots of each patch: the share of dots that are rings, with bare paper
 * in their middle. count_rings SCAN|FOLDER|MANIFEST.csv ...
 */
#include <stdio.h>
#include <stdlib.h>

#include <fleck/fleck.h>

/* Called as soon as a patch is measured, from several threads unless options.jobs is 1. */
static fleck_status count_rings(void *context, const fleck_patch_view *view, fleck_error *err)
{
    fleck_outline *const outlines = calloc(view->dot_count + 1, sizeof *outlines);
    size_t rings = 0;
    fleck_status status;

    (void)context;
    if (outlines == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the outlines; free some memory");
    status = fleck_outlines(view->dots, view->dot_count, FLECK_PHASE_INK, view->geometry, outlines, err);
    for (size_t i = 0; status == FLECK_OK && i < view->dot_count; i++)
        rings += outlines[i].holes > 0; /* false for NAN: a dot too large to keep its outline */
    if (status == FLECK_OK)
        printf("%s: %zu of %zu dots are rings\n", view->record->id, rings, view->dot_count);
    free(outlines);
    return status;
}

int main(int count, char **words)
{
    fleck_measure_observer observer = fleck_measure_observer_default();
    fleck_measure_options options = fleck_measure_options_default();
    fleck_measure_summary summary = { 0 };
    fleck_inputs inputs = { 0 };
    fleck_error err = { 0 };
    fleck_status status;

    observer.patch = count_rings;
    options.jobs = 1;
    options.simulations = 0; /* no verdict on the pattern is asked for */
    status = fleck_inputs_gather((const char *const *)words + 1, (size_t)count - 1, &inputs, &err);
    if (status == FLECK_OK)
        status = fleck_measure(&inputs, &options, NULL, &observer, &summary, &err);
    if (status != FLECK_OK)
        fprintf(stderr, "count_rings: %s\n", err.message);
    fleck_inputs_clear(&inputs);
    return status != FLECK_OK || summary.failed > 0;
}
