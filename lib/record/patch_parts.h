/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A patch as its own files see it: patch.c makes it, patch_survey.c looks at it first, patch_measure.c
 * begins the second pass and patch_rows.c
 * takes its rows, patch_fill.c writes what came of it into a record. */
#ifndef FLECK_RECORD_PATCH_PARTS_H
#define FLECK_RECORD_PATCH_PARTS_H

#include "fleck/pattern.h"
#include "fleck/print_noise.h"
#include "fleck/random_set.h"
#include "fleck/sampling.h"
#include "fleck/shape.h"
#include "fleck/size_distribution.h"
#include "fleck/spectrum_features.h"
#include "measure/code_counts.h"
#include "measure/doubt_rows.h"
#include "record/patch.h"
#include "segment/local.h"
#include "segment/presence.h"

/* A counted component, and which of the kept runs are its own. */
typedef struct fleck_gathered_item {
    fleck_component component;
    size_t first_run, run_count;
} fleck_gathered_item;

/* Components of one phase: the items as a labeller hands them over, all else at the end. */
typedef struct fleck_gathered {
    fleck_gathered_item *items;
    size_t count, capacity;
    fleck_blob_run *runs; /* of the main layer only */
    size_t run_count, run_capacity;
    uint64_t below_cutoff;
    uint64_t counted_px; /* pixels of all counted components */
    uint64_t largest_px; /* pixels of the largest component, counted or not */
    fleck_component *counted;
    double *weights_per_px2;
    fleck_blob *blobs; /* with the shapes: of the main layer only */
    fleck_dot_shape *shapes;
    fleck_patch_tone tone;
    double scanned_edge_width_mm; /* mean as the scan shows it, the scanner's own blur included */
} fleck_gathered;

/* The ink of one cut: what is gathered for it row by row. */
typedef struct fleck_layer {
    const fleck_patch *patch;
    unsigned k;
    /* Of ink, most_runs for each row of each half: first of the row above it, then of its own */
    fleck_run *runs, *unclipped;       /* inside the mask; all, with a mask only */
    size_t *counts, *unclipped_counts; /* in each of these rows */
    size_t most_runs;
    uint64_t ink_px, ink_sum; /* sum of q over ink */
    int shift;                /* in levels, of a local threshold */
    fleck_labeller *labeller;
    fleck_gathered ink, bare;
} fleck_layer;

/* Rows of the second pass that are worked on together: in one half, while the next ones are made in the
   other if there are two. */
typedef struct fleck_batch {
    size_t halves, capacity; /* rows of a half */
    size_t half, count;      /* where they stand, from next_row on */
    size_t ahead;            /* rows made in the other half */
    uint16_t *q;             /* reflectances */
} fleck_batch;

/* What the survey found in one channel. */
typedef struct fleck_surveyed {
    fleck_channel channel;
    fleck_level_counter *counter; /* NULL once the survey is over */
    fleck_presence *presence_rows;
    fleck_cut cut; /* the fixed one, else Otsu's */
    bool one_tone;
    unsigned lowest, highest; /* levels that occur */
    fleck_presence_finding presence;
    double paper_level;
    fleck_local *local; /* for the local threshold only */
    fleck_local_summary local_summary;
} fleck_surveyed;

/* The cut of the record, and those with the threshold moved down and up. */
enum { FLECK_LAYER_MAIN, FLECK_LAYER_LESS, FLECK_LAYER_MORE, FLECK_LAYERS };

struct fleck_patch {
    const fleck_input *input;
    const fleck_measure_options *options;
    const fleck_calibration *calibration; /* may be NULL */
    const fleck_scan_info *info;
    const fleck_tone *tone;
    const fleck_scan_mask *scan_mask; /* may be NULL */
    fleck_resolution resolution;
    fleck_patch_area area;
    fleck_geometry geometry;
    uint16_t *q;       /* one row */
    uint16_t *levels;  /* thresholds of a row, for the local threshold only */
    uint16_t *sides;   /* of a row's pixels: 0 at or below its threshold, else 1 */
    fleck_run *inside; /* what of a row is measured, with a mask only */
    size_t next_row;   /* of the pass that is going on */
    fleck_batch batch; /* of the second pass, from next_row on */

    fleck_surveyed surveyed[FLECK_CHANNELS];
    size_t channel_count;
    fleck_code_counts codes;
    uint64_t outside_px; /* beyond the calibration's curve */

    size_t chosen; /* index into surveyed */
    bool has_ink;
    fleck_cut cut;    /* of the record */
    uint64_t *counts; /* histogram of the chosen channel, for a cut that is not the survey's */
    uint64_t cutoff_area_px;
    fleck_layer layers[FLECK_LAYERS];
    fleck_chord_counts chords;
    size_t tile_px; /* of the spectrum and of the evenness; 0 when no tile fits */
    fleck_spectrum_maker *spectrum_maker;
    bool has_early_tone; /* the spectrum has taken the rows of the survey */
    fleck_random_set_maker *random_set_maker;
    fleck_cell_counts *cell_counts;
    fleck_print_noise_maker *print_noise_maker;
    fleck_patch_rows rows;
    unsigned threads;
    fleck_doubt_rows *doubt_rows;
    fleck_warnings warnings;
};

/* The stretches of row y that are measured; *inside is the patch's own. */
size_t fleck_patch_inside(fleck_patch *patch, size_t y, const fleck_run **inside);

fleck_status fleck_patch_no_memory(fleck_error *err);

/* Choose the tiles of the spectrum and start its maker; none when no tile fits. */
fleck_status fleck_patch_begin_spectrum(fleck_patch *patch, unsigned threads, fleck_error *err);

/* Second pass: free what a layer holds. */
void fleck_layer_clear(fleck_layer *layer);

/* Room for the runs of a batch, whose capacity is known; ended with fleck_layer_clear_rows. */
fleck_status fleck_layer_begin_rows(fleck_layer *layer, fleck_error *err);
void fleck_layer_clear_rows(fleck_layer *layer);

/* Row y_px of the patch once more; a fleck_row_reader, thread-safe. */
fleck_status fleck_patch_read_row(void *patch, size_t y_px, uint16_t *q, fleck_error *err);

/* The scanner's own edge width in the chosen channel; NAN when the calibration does not know it. */
double fleck_patch_scanner_edge_width_mm(const fleck_patch *patch);

/*
 * Shapes of the counted dots and flecks, whose components and weights are there, into both gatherings
 * and the record; with options->split the parts of dots that touch too.
 * parts    out: of each counted dot, the caller's with fleck_free(); NULL unless they are asked for
 */
fleck_status fleck_patch_fill_shapes(fleck_patch *patch, fleck_record *record, size_t **parts,
                                     fleck_error *err);

/* Add every doubt there is about the record: each null has its reason here. */
fleck_status fleck_patch_doubt(fleck_patch *patch, const fleck_record *record, fleck_error *err);

#endif
