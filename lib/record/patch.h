/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One patch on its way from rows of a scan to a record. */
#ifndef FLECK_RECORD_PATCH_H
#define FLECK_RECORD_PATCH_H

#include <stdbool.h>
#include <stddef.h>

#include "calibrate/resolution.h"
#include "fleck/calibration.h"
#include "fleck/measure.h"
#include "fleck/shape.h"
#include "record/patch_area.h"
#include "record/pool.h"
#include "record/spool.h"

/*
 * A patch sees its rows twice. The survey gathers histograms of the channels that may be measured;
 * then channel and threshold are decided (outside, when all patches of a call take part); the second
 * pass measures.
 */
typedef struct fleck_patch fleck_patch;

/* A counted dot or fleck for the table of a patch. */
typedef struct fleck_dot_row {
    fleck_component component;
    double weight_per_px2; /* of the edge correction */
    double nn_mm;          /* to the nearest counted one of its kind, NAN without one */
    fleck_dot_shape shape;
    size_t parts; /* it splits into; 0 when it was not tried or cannot be told */
} fleck_dot_row;

typedef struct fleck_dot_table {
    fleck_dot_row *rows; /* in the order of their first pixels, top to bottom */
    size_t count;
} fleck_dot_table;

/* The tables of a patch. */
typedef struct fleck_dot_tables {
    fleck_dot_table dots;
    fleck_dot_table flecks; /* empty unless they are asked for */
    fleck_geometry geometry;
} fleck_dot_tables;

void fleck_dot_tables_clear(fleck_dot_tables *tables);

/* Where a patch's rows can be had again, in any order, during the second pass. */
typedef struct fleck_patch_rows {
    const unsigned char *kept; /* all its pixels, or NULL */
    size_t kept_row_bytes;
    fleck_spool *spool; /* used without kept pixels: room for width x height x 2 bytes */
    uint64_t spool_offset_bytes;
} fleck_patch_rows;

/*
 * input, options, calibration, info, tone, scan_mask    borrowed until fleck_patch_free; calibration
 *                                                       and scan_mask may be NULL
 *
 * Errors: as fleck_patch_area_find.
 */
fleck_status fleck_patch_new(const fleck_input *input, const fleck_measure_options *options,
                             const fleck_calibration *calibration, const fleck_scan_info *info,
                             const fleck_tone *tone, const fleck_resolution *resolution,
                             const fleck_scan_mask *scan_mask, fleck_patch **out, fleck_error *err);

/* How many rows are worth sharing among threads. */
size_t fleck_patch_batch_rows(size_t width_px, size_t height_px);

const fleck_patch_box *fleck_patch_get_box(const fleck_patch *patch);

/*
 * Before the first pass, let the spectrum of the tone be made in it, on so many threads: for a patch that
 * is alone in its scan, as the decoder then leaves threads idle, and as it takes memory from then on. Does
 * nothing for a patch that awaits others.
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_patch_take_tone_early(fleck_patch *patch, unsigned threads, fleck_error *err);

/* Of such a patch: share the tiles of its spectrum among so many threads from now on, 1 to those above. */
void fleck_patch_share_tiles(fleck_patch *patch, unsigned threads);

/* Rows after which it transforms tiles; 0 of other patches. */
size_t fleck_patch_tone_rows_at_once(const fleck_patch *patch);

/*
 * First pass: the patch's pixels of its next row, from top to bottom. Errors: FLECK_NO_RESOURCE, of the
 * spectrum alone.
 */
fleck_status fleck_patch_survey_row(fleck_patch *patch, const void *pixels, fleck_error *err);

/*
 * After the last row of the survey: frees the histograms, keeps what they say.
 * pool    gains them before; NULL when no threshold is pooled
 */
fleck_status fleck_patch_survey_end(fleck_patch *patch, fleck_pool *pool, fleck_error *err);

/* Whether the patch waits for a channel that is chosen from all patches of the call. */
bool fleck_patch_awaits_channel(const fleck_patch *patch);

/* The same, or for a threshold that is. */
bool fleck_patch_awaits_others(const fleck_patch *patch);

/* Otsu's between-class variance of a channel of the survey; 0 when it has one tone only. */
double fleck_patch_between_variance(const fleck_patch *patch, fleck_channel channel);

/*
 * Start the second pass.
 * decision    of all patches together; looked at by a patch that awaits it
 * threads     for what can be shared, at least 1
 * rows        copied; what it points to is borrowed until the end
 */
fleck_status fleck_patch_measure_begin(fleck_patch *patch, const fleck_decision *decision,
                                       unsigned threads, const fleck_patch_rows *rows,
                                       fleck_error *err);

/* Second pass: the same rows again, one by one. */
fleck_status fleck_patch_measure_row(fleck_patch *patch, const void *pixels, fleck_error *err);

/*
 * Second pass of kept pixels, instead of row by row: the next rows, on all threads.
 * more    out: whether there are rows left
 */
fleck_status fleck_patch_measure_kept(fleck_patch *patch, bool *more, fleck_error *err);

/*
 * Fill all of a record but its source and the warnings of the scan, and the tables of counted dots.
 * Both are the caller's; they may hold something on failure too.
 */
fleck_status fleck_patch_measure_end(fleck_patch *patch, fleck_record *record,
                                     fleck_dot_tables *tables, fleck_error *err);

/* After the end: what an observer looks at, valid as long as patch and record are. */
void fleck_patch_get_view(fleck_patch *patch, const fleck_record *record, fleck_patch_view *view);

/* End a patch; NULL is allowed. */
void fleck_patch_free(fleck_patch *patch);

#endif
