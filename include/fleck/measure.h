/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Measuring patches: from a list of inputs to records and a run folder. */
#ifndef FLECK_MEASURE_H
#define FLECK_MEASURE_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/inputs.h"
#include "fleck/record.h"
#include "fleck/segment.h"
#include "fleck/shape.h"
#include "fleck/tone.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Where reflectance is cut into ink and bare paper. */
typedef enum fleck_threshold_method {
    FLECK_THRESHOLD_OTSU,   /* from each patch's own histogram */
    FLECK_THRESHOLD_POOLED, /* Otsu's from the histograms of all patches of the call together */
    FLECK_THRESHOLD_LOCAL,  /* Otsu's in windows, following slow changes of light and paper */
    FLECK_THRESHOLD_FIXED /* at fixed_reflectance */
} fleck_threshold_method;

/*
 * How patches are measured. Begin with fleck_measure_options_default; what is pointed to is
 * borrowed for the call.
 */
typedef struct fleck_measure_options {
    size_t struct_bytes; /* set by fleck_measure_options_default */
    double ppi_x; /* pixels per inch; 0: as the file says */
    double ppi_y;
    fleck_channel channel;
    fleck_ink ink;
    fleck_threshold_method threshold;
    double fixed_reflectance; /* 0 to 1, for FLECK_THRESHOLD_FIXED */
    double window_mm;         /* side of the windows, for FLECK_THRESHOLD_LOCAL, > 0 */
    const char *calibration_path; /* NULL: none; borrowed for the call */
    double cutoff_mm;         /* equivalent diameter from which a dot counts, > 0 */
    bool has_region;          /* for inputs that bring no region of their own */
    fleck_box_mm region;
    double tilt_deg;       /* of that region: turned about its centre, anticlockwise, -180 to 180 */
    double margin_mm;      /* kept off on all four sides of the region and round the mask, >= 0 */
    const char *mask_path; /* a picture of the scans' size, white where they are measured; NULL: all.
                              Borrowed. Costs a bit for each of its pixels, and of each patch's */
    size_t tile_px;      /* side of the spectrum's tiles, even; 0: chosen from the patch */
    size_t seed;         /* of what is drawn by chance: intervals, simulations */
    size_t simulations;  /* for the verdict on the pattern; 0: none is given */
    bool split;          /* part dots that touch, too: the group `split` of the record */
    bool flecks_table;   /* write flecks/ID.csv beside dots/ID.csv */
    size_t page;         /* page of a TIFF, from 1 */
    unsigned jobs;       /* threads; 0: one for each core. Never changes a number */
    size_t memory_bytes; /* for pixels and dots that are kept; what is more goes into temporary files.
                            0: a quarter of the machine's. Never changes a number. Of calls at the same
                            time in one process that which began last sets it for all */
    bool resume;         /* go on with a run folder that holds a part of the same run */
} fleck_measure_options;

/* Dark ink, Otsu, auto channel, cutoff 0.1 mm, the whole scan, page 1. */
FLECK_API void fleck_measure_options_init(fleck_measure_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_measure_options fleck_measure_options_default(void)
{
    fleck_measure_options options;

    fleck_measure_options_init(&options, sizeof options);
    return options;
}

/* Errors: FLECK_BAD_CALL naming the option and what it may be. */
FLECK_API fleck_status fleck_measure_options_check(const fleck_measure_options *options,
                                                   fleck_error *err);

/*
 * A measured patch to look at, for a picture of it. Everything is borrowed for the call in which it is
 * handed over, and used by one thread.
 */
typedef struct fleck_patch_view {
    const fleck_record *record;
    const fleck_geometry *geometry;
    const fleck_mask *mask;  /* NULL: the whole box is measured */
    const fleck_blob *dots;  /* the counted ones, by their first pixels */
    size_t dot_count;
    void *context; /* for the functions below */
    /* reflectance of a row, width_px values */
    fleck_row_reader read_row;
    /* its ink inside the region, counted or not; room for width_px / 2 + 1 runs */
    fleck_status (*read_ink)(void *context, size_t y_px, fleck_run *runs, size_t *count,
                             fleck_error *err);
} fleck_patch_view;

/* Told about the course of a call; members may be NULL. Calls come one at a time, from any thread. */
typedef struct fleck_measure_observer {
    size_t struct_bytes; /* set by fleck_measure_observer_default */
    void *context;
    /* a record, in the order of the inputs, when all are there; borrowed for the call */
    void (*record)(void *context, const fleck_record *record);
    /* a patch or name that could not be measured; patches in the order of the inputs */
    void (*failure)(void *context, const char *path, const char *message);
    /*
     * A patch that has just been measured, in any order, from several threads at once. What it returns
     * instead of FLECK_OK is taken as a failure of the patch, or for FLECK_NO_RESOURCE of the machine.
     */
    fleck_status (*patch)(void *context, const fleck_patch_view *view, fleck_error *err);
    /* what only the run as a whole puts in doubt, and stands in records too: path of the scan
       concerned, code, sentence */
    void (*warning)(void *context, const char *path, const char *code, const char *message);
    /* after each patch: how many of `count` are done, failures counted */
    void (*progress)(void *context, size_t done, size_t count);
    /*
     * Asked often, from several threads at once; true ends the call soon with FLECK_NO_RESOURCE. What
     * is measured is in the run folder, which can be resumed.
     */
    bool (*stop)(void *context);
    /*
     * What happens on the way and changes no number: a scan is decoded twice or its rows put in a
     * temporary file for want of memory, fewer threads work than were asked for. path of the scan, NULL
     * when it concerns none; a sentence
     */
    void (*note)(void *context, const char *path, const char *message);
} fleck_measure_observer;

/* Nothing is told. */
FLECK_API void fleck_measure_observer_init(fleck_measure_observer *observer, size_t struct_bytes);

/* The same as a value. */
static inline fleck_measure_observer fleck_measure_observer_default(void)
{
    fleck_measure_observer observer;

    fleck_measure_observer_init(&observer, sizeof observer);
    return observer;
}

/* How many patches there were; what could not be measured is counted in failed. */
typedef struct fleck_measure_summary {
    size_t measured;
    size_t failed;
    size_t resumed; /* of those measured, taken over from an earlier part of the run */
} fleck_measure_summary;

/*
 * Measure all inputs.
 *
 * run_folder    made when it is not there; NULL: nothing is written. Gains patches.csv,
 *               records/ID.json, dots/ID.csv, run.json, and failures.csv when there are failures
 * observer      may be NULL
 * summary       out
 *
 * Errors: FLECK_BAD_CALL (option out of range, no input, a mask that cannot be read or has no white, the
 * folder holds another run: nothing was done), FLECK_NO_RESOURCE (disk or memory: what the folder holds is whole). A patch that cannot be
 * measured is no error of the call: it is counted in summary->failed.
 * The same inputs and options give the same bytes, whatever jobs and memory_bytes are, times in
 * run.json aside.
 */
FLECK_API fleck_status fleck_measure(const fleck_inputs *inputs,
                                     const fleck_measure_options *options, const char *run_folder,
                                     const fleck_measure_observer *observer,
                                     fleck_measure_summary *summary, fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
