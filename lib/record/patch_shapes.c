/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The shape of each counted dot and fleck: outline, gap, tone and edge, and the parts of dots that touch. */
#include <math.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "core/spill.h"
#include "record/patch_parts.h"

/* One phase as a piece of work. */
struct shaping {
    fleck_patch *patch;
    fleck_gathered *gathered;
    fleck_phase phase;
    uint64_t phase_px;
    double *gaps_mm;
    fleck_shape_summary summary;
    fleck_status status;
    fleck_error err;
};

double fleck_patch_scanner_edge_width_mm(const fleck_patch *patch)
{
    return patch->calibration != NULL
               ? fleck_calibration_edge_width_mm(patch->calibration,
                                                 patch->surveyed[patch->chosen].channel)
               : NAN;
}

/* Components and their runs as the shapes' functions take them. */
static fleck_status make_blobs(fleck_gathered *gathered, fleck_error *err)
{
    gathered->blobs = fleck_alloc_array(gathered->count, sizeof *gathered->blobs);
    if (gathered->blobs == NULL)
        return fleck_patch_no_memory(err);
    for (size_t i = 0; i < gathered->count; i++) {
        const fleck_gathered_item *const item = &gathered->items[i];

        fleck_spill_let_go();
        gathered->blobs[i] = (fleck_blob){
            .component = item->component,
            .runs = item->run_count > 0 ? gathered->runs + item->first_run : NULL,
            .run_count = item->run_count,
        };
    }
    return FLECK_OK;
}

static fleck_status measure_blobs(struct shaping *shaping, fleck_outline *outlines,
                                  fleck_dot_tone *tones, fleck_error *err)
{
    fleck_patch *const patch = shaping->patch;
    fleck_gathered *const gathered = shaping->gathered;
    const fleck_blob *const blobs = gathered->blobs;
    const size_t n = gathered->count;
    const fleck_dot_tone_input input = {
        .geometry = &patch->geometry,
        .mask = patch->area.mask,
        .blobs = blobs,
        .outlines = outlines,
        .n = n,
        .phase = shaping->phase,
        .cut = patch->cut,
        .ink = patch->options->ink,
        .ink_reflectance = NAN,
        .scanner_edge_width_mm = NAN,
        .read = fleck_patch_read_row,
        .context = patch,
        .threads = patch->threads,
    };
    fleck_status status =
        fleck_outlines(blobs, n, shaping->phase, &patch->geometry, outlines, err);

    if (status == FLECK_OK)
        status = fleck_dot_tones(&input, tones, &gathered->tone, err);
    for (size_t i = 0; status == FLECK_OK && i < n; i++) {
        fleck_spill_let_go();
        gathered->shapes[i] = (fleck_dot_shape){ outlines[i], tones[i], shaping->gaps_mm[i] };
    }
    return status;
}

/* The blur of the scanner and that of the print add up as variances do. */
static double own_edge_width_mm(double scanned_mm, double scanner_mm)
{
    return isnan(scanner_mm)
               ? scanned_mm
               : sqrt(fmax(0, scanned_mm * scanned_mm - scanner_mm * scanner_mm));
}

/* Note the mean edge width as scanned, and take the scanner's own blur off each. */
static void take_scanner_off(struct shaping *shaping)
{
    fleck_gathered *const gathered = shaping->gathered;
    const double scanner_mm = fleck_patch_scanner_edge_width_mm(shaping->patch);
    long double sum_mm = 0.0L;
    size_t n = 0;

    for (size_t i = 0; i < gathered->count; i++) {
        double *const width_mm = &gathered->shapes[i].tone.edge_width_mm;

        fleck_spill_let_go();
        if (isnan(*width_mm))
            continue;
        sum_mm += (long double)*width_mm;
        n++;
        *width_mm = own_edge_width_mm(*width_mm, scanner_mm);
    }
    gathered->scanned_edge_width_mm = n > 0 ? (double)(sum_mm / (long double)n) : NAN;
}

/* What a phase needs before its shapes, on all threads. */
static fleck_status find_gaps(struct shaping *shaping, fleck_error *err)
{
    fleck_gathered *const gathered = shaping->gathered;
    const fleck_status status = make_blobs(gathered, err);

    if (status != FLECK_OK)
        return status;
    shaping->gaps_mm = fleck_alloc_array(gathered->count, sizeof *shaping->gaps_mm);
    if (shaping->gaps_mm == NULL)
        return fleck_patch_no_memory(err);
    return fleck_gaps(gathered->blobs, gathered->count, &shaping->patch->geometry,
                      shaping->patch->threads, shaping->gaps_mm, err);
}

static fleck_status shape_phase(struct shaping *shaping, fleck_error *err)
{
    fleck_gathered *const gathered = shaping->gathered;
    const size_t n = gathered->count;
    fleck_outline *outlines = fleck_alloc_array(n, sizeof *outlines);
    fleck_dot_tone *tones = fleck_alloc_array(n, sizeof *tones);
    fleck_status status = FLECK_OK;

    gathered->shapes = fleck_alloc_array(n, sizeof *gathered->shapes);
    if (outlines == NULL || tones == NULL || gathered->shapes == NULL)
        status = fleck_patch_no_memory(err);
    if (status == FLECK_OK)
        status = measure_blobs(shaping, outlines, tones, err);
    if (status == FLECK_OK)
        take_scanner_off(shaping);
    if (status == FLECK_OK)
        status = fleck_shapes_summarise(gathered->blobs, gathered->shapes,
                                        gathered->weights_per_px2, n, shaping->phase_px,
                                        &shaping->summary, err);
    /* the largest of all need not be counted */
    shaping->summary.largest_share =
        shaping->phase_px > 0 ? (double)gathered->largest_px / (double)shaping->phase_px : NAN;
    fleck_free(outlines);
    fleck_free(tones);
    return status;
}

static void work(void *context, unsigned worker, size_t i)
{
    struct shaping *const shaping = (struct shaping *)context + i;

    (void)worker;
    shaping->status = shape_phase(shaping, &shaping->err);
}

/* What is unsure about the tones of a phase. */
static fleck_status doubt_tone(fleck_patch *patch, const fleck_gathered *gathered,
                               fleck_phase phase, fleck_error *err)
{
    const char *const things = phase == FLECK_PHASE_INK ? "dots" : "flecks";
    fleck_status status = FLECK_OK;

    if (gathered->count == 0)
        return FLECK_OK;
    if (gathered->tone.rim_is_cut)
        status = fleck_warnings_add(&patch->warnings, err, "soft-rim-cut",
                                    "the soft rims of %s are wider than the room between them: "
                                    "%s.tone_d50_mm and the edge widths come out too small",
                                    things, things);
    if (status == FLECK_OK && gathered->tone.ink_from == FLECK_INK_TONE_DARKEST)
        status = fleck_warnings_add(&patch->warnings, err, "no-solid-core",
                                    "no %s have a solid core, their edges meet: %s.tone_d50_mm comes "
                                    "out somewhat too large",
                                    things, things);
    if (status == FLECK_OK && gathered->tone.ink_is_beyond)
        status = fleck_warnings_add(&patch->warnings, err, "no-ink-tone",
                                    "%s are so few pixels wide that no ink tone explains how dark they "
                                    "are, and the end of the scale was taken for it: %s.tone_d50_mm "
                                    "comes out some per cent too small; scan with more ppi",
                                    things, things);
    return status;
}

/* Sizes of the parts, each with the weight of the dot that it is a part of. */
static fleck_status summarise_parts(const fleck_patch *patch, const fleck_split *split,
                                    size_t *parts, fleck_record *record, fleck_error *err)
{
    const fleck_gathered *const ink = &patch->layers[FLECK_LAYER_MAIN].ink;
    fleck_component *components = fleck_alloc_zeroed(split->count, sizeof *components);
    double *weights = fleck_alloc_array(split->count, sizeof *weights);
    fleck_sizes sizes;
    fleck_status status = FLECK_OK;
    size_t count = 0, below = 0;

    if (components == NULL || weights == NULL) {
        status = fleck_patch_no_memory(err);
        goto done;
    }
    for (size_t i = 0; i < split->count; i++) {
        const fleck_split_part *const part = &split->parts[i];

        parts[part->blob]++;
        if (part->area_px < patch->cutoff_area_px) {
            below++;
            continue;
        }
        components[count] = ink->counted[part->blob];
        components[count].area_px = part->area_px;
        weights[count++] = ink->weights_per_px2[part->blob];
    }
    status = fleck_sizes_summarise(components, weights, count, below, &patch->geometry, &sizes, err);
    if (status != FLECK_OK)
        goto done;
    record->split.parts = sizes.counted;
    record->split.per_cm2 = sizes.per_cm2;
    record->split.d10_mm = sizes.d10_mm;
    record->split.d50_mm = sizes.d50_mm;
    record->split.d90_mm = sizes.d90_mm;
done:
    fleck_free(components);
    fleck_free(weights);
    return status;
}

static fleck_status split_dots(fleck_patch *patch, fleck_record *record, size_t **parts,
                               fleck_error *err)
{
    const fleck_gathered *const ink = &patch->layers[FLECK_LAYER_MAIN].ink;
    fleck_split split = { 0 };
    fleck_status status;

    record->split.depth_mm = fleck_split_depth_mm(&patch->geometry);
    *parts = fleck_alloc_zeroed(ink->count, sizeof **parts);
    if (*parts == NULL)
        return fleck_patch_no_memory(err);
    status = fleck_split_dots(ink->blobs, ink->count, &patch->geometry, record->split.depth_mm,
                              &split, err);
    if (status == FLECK_OK)
        status = summarise_parts(patch, &split, *parts, record, err);
    if (status == FLECK_OK && split.too_large > 0)
        status = fleck_warnings_add(&patch->warnings, err, "split-left-whole",
                                    "%zu dots are too large to be split and were left whole",
                                    split.too_large);
    fleck_split_clear(&split);
    return status;
}

fleck_status fleck_patch_fill_shapes(fleck_patch *patch, fleck_record *record, size_t **parts,
                                     fleck_error *err)
{
    fleck_layer *const main = &patch->layers[FLECK_LAYER_MAIN];
    struct shaping shapings[] = {
        { .patch = patch, .gathered = &main->ink, .phase = FLECK_PHASE_INK,
          .phase_px = patch->chords.ink_px },
        { .patch = patch, .gathered = &main->bare, .phase = FLECK_PHASE_BARE,
          .phase_px = patch->chords.bare_px },
    };
    fleck_status status = FLECK_OK;

    *parts = NULL;
    for (size_t i = 0; status == FLECK_OK && i < 2; i++)
        status = find_gaps(&shapings[i], err);
    if (status == FLECK_OK)
        fleck_parallel_for(patch->threads < 2 ? 1 : 2, 2, work, shapings);
    for (size_t i = 0; i < 2; i++) {
        fleck_free(shapings[i].gaps_mm);
        if (status == FLECK_OK && shapings[i].status != FLECK_OK) {
            status = shapings[i].status;
            if (err != NULL)
                *err = shapings[i].err;
        }
        if (status == FLECK_OK)
            status = doubt_tone(patch, shapings[i].gathered, shapings[i].phase, err);
    }
    if (status != FLECK_OK)
        return status;
    record->dots_shape = shapings[0].summary;
    record->flecks_shape = shapings[1].summary;
    return patch->options->split ? split_dots(patch, record, parts, err) : FLECK_OK;
}
