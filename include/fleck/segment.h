/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From quantised reflectance to ink and bare paper, and to their connected components. */
#ifndef FLECK_SEGMENT_H
#define FLECK_SEGMENT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/tone.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Which side of the cut is ink. */
typedef enum fleck_ink {
    FLECK_INK_DARK, /* ink is q <= k */
    FLECK_INK_LIGHT /* pale pigment on dark paper: ink is q > k */
} fleck_ink;

/* What a cut between level k and k + 1 makes of a histogram. */
typedef struct fleck_cut {
    unsigned k;              /* 0 to 65535: class 0 is {q <= k}, class 1 the rest */
    double between_variance; /* w0 w1 (m0 - m1)^2 in reflectance squared */
    double separability;     /* between-class over total variance; NAN when the latter is 0 */
    double ink_reflectance;  /* mean of the ink class, NAN when it is empty */
    double bare_reflectance; /* mean of the bare class, NAN when it is empty */
    double mean_reflectance; /* of all pixels */
    double sd_reflectance;   /* of all pixels, population form */
} fleck_cut;

/* The reported threshold of a cut: (k + 0.5) / 65535. */
FLECK_API double fleck_cut_threshold_reflectance(unsigned k);

/*
 * Statistics of both classes for a given k.
 *
 * counts    FLECK_LEVELS pixel counts, their sum at most 2^40; borrowed
 *
 * Sums are exact integers. Errors: FLECK_BAD_CALL (no pixels, k too large). Thread-safe.
 */
FLECK_API fleck_status fleck_cut_at(const uint64_t *counts, unsigned k, fleck_ink ink,
                                    fleck_cut *cut, fleck_error *err);

/*
 * Otsu's threshold: the k that maximises the between-class variance; where empty levels make
 * several neighbouring k equal, the middle of them, rounded down. Where different splits are
 * equally good (compared without rounding), the darkest of them. A histogram with one occupied
 * level has no threshold: FLECK_BAD_INPUT, message "one tone only ...".
 *
 * Errors: as fleck_cut_at, and the one above. Thread-safe.
 * Source: Otsu (1979), IEEE Trans. Syst. Man Cybern. 9, 62-66.
 */
FLECK_API fleck_status fleck_cut_otsu(const uint64_t *counts, fleck_ink ink, fleck_cut *cut,
                                      fleck_error *err);

/* A stretch of one row: pixels start_px to end_px - 1. */
typedef struct fleck_run {
    uint32_t start_px;
    uint32_t end_px;
} fleck_run;

/*
 * Ink runs of a row, from left to right, with at least one bare pixel between two of them.
 *
 * q, count    quantised reflectance of a row, at most 2^32 - 1 pixels
 * runs        out: room for (count + 1) / 2 runs; what lies behind the runs returned is undefined
 *
 * Returns the number of runs. Never fails. Thread-safe.
 */
FLECK_API size_t fleck_runs_from_row(const uint16_t *q, size_t count, unsigned k, fleck_ink ink,
                                     fleck_run *runs);

/* ---- areas of any shape ---- */

/*
 * Which pixels of a patch's bounding box are measured. One bit a pixel. Wherever a mask is asked for,
 * NULL stands for the whole box; a mask that covers its box gives the same numbers as NULL.
 */
typedef struct fleck_mask fleck_mask;

/*
 * A mask without any inside pixel.
 *
 * width_px, height_px    1 to 2^31 - 1
 * out                    to be ended with fleck_mask_free; NULL on failure
 *
 * Errors: FLECK_BAD_CALL (size), FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_mask_new(size_t width_px, size_t height_px, fleck_mask **out,
                                      fleck_error *err);

/* Let pixels start_px to end_px - 1 of a row, which must be there, be inside. */
FLECK_API void fleck_mask_add_run(fleck_mask *mask, size_t y_px, size_t start_px, size_t end_px);

/* Columns of the box. */
FLECK_API size_t fleck_mask_width_px(const fleck_mask *mask);

/* Rows of the box. */
FLECK_API size_t fleck_mask_height_px(const fleck_mask *mask);

/* Number of inside pixels. */
FLECK_API uint64_t fleck_mask_area_px(const fleck_mask *mask);

/* Whether a pixel is inside; what lies beyond the box is outside. */
FLECK_API bool fleck_mask_has(const fleck_mask *mask, size_t x_px, size_t y_px);

/* Inside pixels of a row as runs from left to right; room for (width + 1) / 2. Returns their number. */
FLECK_API size_t fleck_mask_runs(const fleck_mask *mask, size_t y_px, fleck_run *runs);

/*
 * What of some runs lies inside.
 *
 * runs, count    of a row, as fleck_runs_from_row gives them
 * inside         out: room for (width + 1) / 2 runs; must not be runs
 *
 * Returns the number of runs. Never fails.
 */
FLECK_API size_t fleck_mask_clip_runs(const fleck_mask *mask, size_t y_px, const fleck_run *runs,
                                      size_t count, fleck_run *inside);

/* End a mask; NULL is allowed. */
FLECK_API void fleck_mask_free(fleck_mask *mask);

/* ---- connected components ---- */

/* The two kinds of place on a patch. */
typedef enum fleck_phase {
    FLECK_PHASE_INK, /* 8-connected: dots */
    FLECK_PHASE_BARE /* 4-connected: flecks */
} fleck_phase;

/* One connected component, in pixels of the region (origin top left, x to the right, y down). */
typedef struct fleck_component {
    uint64_t area_px;
    uint64_t sum_x_px;   /* sum of column numbers; the centroid is (sum_x_px / area_px + 1/2) px */
    uint64_t sum_y_px;   /* sum of row numbers */
    uint32_t first_x_px; /* leftmost pixel of the topmost row: both name the component */
    uint32_t first_y_px;
    uint32_t min_x_px, max_x_px; /* bounding box, inclusive */
    uint32_t min_y_px, max_y_px;
    bool at_edge; /* has a pixel in the region's outermost rows or columns, or one with a pixel
                     outside the mask among its 8 neighbours */
} fleck_component;

/*
 * Receives each component once, when no further row can touch it. The order is fixed: by the last
 * row of the component, ink before bare paper, then by its leftmost pixel in that row. The
 * component is borrowed for the call. A failure stops the labeller.
 */
typedef fleck_status (*fleck_component_sink)(void *context, fleck_phase phase,
                                             const fleck_component *component, fleck_error *err);

/*
 * Labels both phases in one pass over rows of runs: 8-connected ink, 4-connected bare paper.
 * Memory grows with the number of runs in a row, not with the height.
 * Source: run-based union-find, after Rosenfeld & Pfaltz (1966) and He, Chao & Suzuki (2008).
 */
typedef struct fleck_labeller fleck_labeller;

/*
 * Start a labeller for a region of width_px x height_px: both 1 to 2^31 - 1, and width times height
 * times the longer of them below 2^64 (some 2.6 million pixels square), so that sums fit.
 *
 * mask             of that size, NULL for the whole region; borrowed until fleck_labeller_free. Pixels
 *                  outside belong to no phase and connect nothing
 * sink, context    called with the context from within _row and _finish; of the labeller it may call
 *                  fleck_labeller_get_runs alone
 * out              to be ended with fleck_labeller_free; NULL on failure
 *
 * Errors: FLECK_BAD_CALL (size), FLECK_NO_RESOURCE. Thread-safe for different labellers.
 */
FLECK_API fleck_status fleck_labeller_new(size_t width_px, size_t height_px,
                                          const fleck_mask *mask, fleck_component_sink sink,
                                          void *context, fleck_labeller **out, fleck_error *err);

/* A stretch of one row of a component: pixels start_px to end_px - 1 of row y_px. */
typedef struct fleck_blob_run {
    uint32_t y_px;
    uint32_t start_px;
    uint32_t end_px;
} fleck_blob_run;

/* Which components of a phase keep their runs until they are handed over. */
typedef struct fleck_runs_wanted {
    uint64_t least_area_px; /* smaller components have none */
    size_t most_runs;       /* a component with more loses them all, so that memory has a limit */
} fleck_runs_wanted;

/*
 * Keep the runs of the components of a phase; before the first row. While a component is open its runs
 * take 16 bytes each.
 * Errors: FLECK_BAD_CALL (a row was given already).
 */
FLECK_API fleck_status fleck_labeller_keep_runs(fleck_labeller *labeller, fleck_phase phase,
                                                const fleck_runs_wanted *wanted, fleck_error *err);

/*
 * Hand over components of ink alone, in half the time; before the first row. What they are does not
 * change.
 * Errors: FLECK_BAD_CALL (a row was given already).
 */
FLECK_API fleck_status fleck_labeller_leave_out_bare(fleck_labeller *labeller, fleck_error *err);

/*
 * From within the sink: runs of the component that is handed over, by row, then from left to right;
 * valid until the sink returns. NULL and *count 0 for a component that has none: not wanted, too small
 * or with too many.
 */
FLECK_API const fleck_blob_run *fleck_labeller_get_runs(const fleck_labeller *labeller,
                                                        size_t *count);

/*
 * Let the rows of a labeller begin at y_px; before the first row. So a region can be labelled in bands,
 * each by a labeller of its own and by a thread of its own, that are joined afterwards; all are started
 * for the whole region. A component with a pixel in the band's first row is handed over when the band
 * was joined to what is above.
 * Errors: FLECK_BAD_CALL (a row was given already, y_px not inside).
 */
FLECK_API fleck_status fleck_labeller_start_at(fleck_labeller *labeller, size_t y_px,
                                               fleck_error *err);

/*
 * Join a band to the labeller that ends where it begins: that one goes on where the band ended, and
 * its sink receives what is whole now. Of two bands that are joined the order of components is fixed,
 * but is not that of a region in one piece; the components are the same. The lower one can only be
 * ended then. Bands can be joined in any order of seams.
 * Errors: FLECK_BAD_CALL (no neighbours, or not started alike), FLECK_NO_RESOURCE, what the sink
 * returns. O(runs in the band's components that are not whole).
 */
FLECK_API fleck_status fleck_labeller_join(fleck_labeller *upper, fleck_labeller *lower,
                                           fleck_error *err);

/*
 * Hand over the next row as its ink runs, as fleck_runs_from_row, or with a mask
 * fleck_mask_clip_runs, gives them; the rest of the inside is bare.
 * Errors: FLECK_BAD_CALL (more rows than height_px, runs that touch or leave row or mask, an earlier
 * failure of the sink), FLECK_NO_RESOURCE, what the sink returns. Amortised O(count), with a mask
 * O(count + width_px / 64).
 */
FLECK_API fleck_status fleck_labeller_row(fleck_labeller *labeller, const fleck_run *ink_runs,
                                          size_t count, fleck_error *err);

/*
 * After the last row, once: hands over what is still open.
 * Errors: FLECK_BAD_CALL (rows missing, a second call), what the sink returns.
 */
FLECK_API fleck_status fleck_labeller_finish(fleck_labeller *labeller, fleck_error *err);

/* End a labeller; NULL is allowed. */
FLECK_API void fleck_labeller_free(fleck_labeller *labeller);

#ifdef __cplusplus
}
#endif

#endif
