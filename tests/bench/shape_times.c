/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Times of all that is measured on single dots, on one core, on a phantom of an A4 page at 600 ppi:
 * shape_times [DIAMETER_MM [COVERAGE]]
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "fleck/phantom.h"
#include "fleck/shape.h"

struct page {
    fleck_geometry geometry;
    uint16_t *q;
    fleck_labeller *labeller;
    fleck_blob *blobs;
    size_t count, capacity;
};

static double seconds(void)
{
    struct timespec now;

    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static fleck_status read_row(void *context, size_t y_px, uint16_t *q, fleck_error *err)
{
    const struct page *page = context;

    (void)err;
    memcpy(q, page->q + y_px * page->geometry.width_px, page->geometry.width_px * sizeof *q);
    return FLECK_OK;
}

static fleck_status gather(void *context, fleck_phase phase, const fleck_component *component,
                           fleck_error *err)
{
    struct page *page = context;
    size_t count;
    const fleck_blob_run *const handed = fleck_labeller_get_runs(page->labeller, &count);
    fleck_blob_run *runs;

    if (phase != FLECK_PHASE_INK || component->area_px < 5)
        return FLECK_OK;
    if (page->count == page->capacity) {
        page->capacity = 2 * page->capacity + 1024;
        page->blobs = realloc(page->blobs, page->capacity * sizeof *page->blobs);
    }
    runs = malloc(count * sizeof *runs);
    if (page->blobs == NULL || runs == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory");
    memcpy(runs, handed, count * sizeof *runs);
    page->blobs[page->count++] = (fleck_blob){ *component, runs, count };
    return FLECK_OK;
}

/* Label all rows. Returns the time. */
static double label(struct page *page, unsigned k, bool keep)
{
    const fleck_runs_wanted wanted = { 5, FLECK_BLOB_MOST_RUNS };
    const size_t width = page->geometry.width_px;
    fleck_run *runs = malloc((width / 2 + 1) * sizeof *runs);
    const double start = seconds();

    if (runs == NULL ||
        fleck_labeller_new(width, page->geometry.height_px, NULL, gather, page, &page->labeller,
                           NULL) != FLECK_OK)
        exit(1);
    if (keep)
        fleck_labeller_keep_runs(page->labeller, FLECK_PHASE_INK, &wanted, NULL);
    for (size_t y = 0; y < page->geometry.height_px; y++) {
        const size_t count =
            fleck_runs_from_row(page->q + y * width, width, k, FLECK_INK_DARK, runs);

        if (fleck_labeller_row(page->labeller, runs, count, NULL) != FLECK_OK)
            exit(1);
    }
    fleck_labeller_finish(page->labeller, NULL);
    fleck_labeller_free(page->labeller);
    free(runs);
    return seconds() - start;
}

int main(int argc, char **argv)
{
    fleck_phantom_options options = fleck_phantom_options_default();
    fleck_phantom *phantom;
    struct page page = { 0 };
    const float *reflectance;
    const unsigned k = 65535 * 45 / 100;
    fleck_error err;
    fleck_outline *outlines;
    fleck_dot_tone *tones;
    fleck_patch_tone patch;
    fleck_split split;
    double *gaps, start, without;

    options.width_mm = 210;
    options.height_mm = 297;
    options.ppi = 600;
    options.kind = FLECK_PHANTOM_DISCS;
    options.diameter_mm = argc > 1 ? atof(argv[1]) : 0.4;
    options.coverage = argc > 2 ? atof(argv[2]) : 0.15;
    options.softness_mm = 0.02;
    options.noise = 0.01;
    if (fleck_phantom_new(&options, &phantom, &err) != FLECK_OK) {
        fprintf(stderr, "%s\n", err.message);
        return 1;
    }
    reflectance =
        fleck_phantom_reflectance(phantom, &page.geometry.width_px, &page.geometry.height_px);
    page.geometry.pixel_x_mm = page.geometry.pixel_y_mm = 25.4 / options.ppi;
    page.q = malloc(page.geometry.width_px * page.geometry.height_px * sizeof *page.q);
    if (page.q == NULL)
        return 1;
    for (size_t i = 0; i < page.geometry.width_px * page.geometry.height_px; i++)
        page.q[i] = (uint16_t)(65535 * fmin(1, fmax(0, (double)reflectance[i])));
    fleck_phantom_free(phantom);
    without = label(&page, k, false);
    for (size_t i = 0; i < page.count; i++)
        free((void *)(uintptr_t)page.blobs[i].runs);
    page.count = 0;
    printf("label %.2f s", without);
    printf(", with runs %.2f s", label(&page, k, true));
    printf("; %zu x %zu pixels, %zu dots\n", page.geometry.width_px, page.geometry.height_px,
           page.count);
    outlines = malloc(page.count * sizeof *outlines);
    tones = malloc(page.count * sizeof *tones);
    gaps = malloc(page.count * sizeof *gaps);
    if (outlines == NULL || tones == NULL || gaps == NULL)
        return 1;
    start = seconds();
    fleck_outlines(page.blobs, page.count, FLECK_PHASE_INK, &page.geometry, outlines, &err);
    printf("outlines %.2f s\n", seconds() - start);
    start = seconds();
    fleck_gaps(page.blobs, page.count, &page.geometry, 1, gaps, &err);
    printf("gaps %.2f s\n", seconds() - start);
    start = seconds();
    {
        const fleck_dot_tone_input input = { .geometry = &page.geometry,
                                             .blobs = page.blobs,
                                             .outlines = outlines,
                                             .n = page.count,
                                             .phase = FLECK_PHASE_INK,
                                             .cut = { .k = k },
                                             .ink = FLECK_INK_DARK,
                                             .ink_reflectance = NAN,
                                             .scanner_edge_width_mm = NAN,
                                             .read = read_row,
                                             .context = &page };

        fleck_dot_tones(&input, tones, &patch, &err);
    }
    printf("tones %.2f s (rim %.3f mm)\n", seconds() - start, patch.rim_mm);
    start = seconds();
    fleck_split_dots(page.blobs, page.count, &page.geometry, fleck_split_depth_mm(&page.geometry),
                     &split, &err);
    printf("split %.2f s (%zu parts)\n", seconds() - start, split.count);
    fleck_split_clear(&split);
    for (size_t i = 0; i < page.count; i++)
        free((void *)(uintptr_t)page.blobs[i].runs);
    free(page.blobs);
    free(page.q);
    free(outlines);
    free(tones);
    free(gaps);
    return 0;
}
