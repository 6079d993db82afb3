/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finding the printed patches of a test sheet, and the layout that names them. */
#ifndef FLECK_LOCATE_H
#define FLECK_LOCATE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/calibration.h"
#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/segment.h"

#ifdef __cplusplus
extern "C" {
#endif

/* What is looked for on a sheet. */
typedef struct fleck_locate_options {
    size_t struct_bytes; /* set by fleck_locate_options_default */
    double ppi_x; /* pixels per inch; 0: as the calibration, else the file says */
    double ppi_y;
    const fleck_calibration *calibration; /* for its lengths; borrowed; NULL: none */
    size_t page;                          /* page of a TIFF, from 1 */
    fleck_ink ink;
    double min_size_mm; /* smallest side of a patch, 1 to 1000 */
    size_t grid_rows;   /* 0 for both: number the patches in reading order; else 1 to 1000 */
    size_t grid_columns;
    bool all; /* list also what looks like a grey scale, a ruler, writing or a frame */
} fleck_locate_options;

/* Dark ink, patches of 5 mm and more, no grid, page 1. */
FLECK_API void fleck_locate_options_init(fleck_locate_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_locate_options fleck_locate_options_default(void)
{
    fleck_locate_options options;

    fleck_locate_options_init(&options, sizeof options);
    return options;
}

/* What a printed block is taken for. */
typedef enum fleck_block_kind {
    FLECK_BLOCK_PATCH,
    FLECK_BLOCK_GREY_SCALE, /* flat steps, or one flat slope, of different tones side by side */
    FLECK_BLOCK_RULER,      /* long, with marks at even distances */
    FLECK_BLOCK_WRITING,    /* few strokes as large as the block: writing, a cross, a drawing */
    FLECK_BLOCK_FRAME,      /* a band around something else, or a dark margin of the scan */
    FLECK_BLOCK_SMALL       /* printed, but below min_size_mm */
} fleck_block_kind;

/* "patch", "grey scale", "ruler", "writing", "frame", "small"; static storage. */
FLECK_API const char *fleck_block_kind_name(fleck_block_kind kind);

/* What is in doubt about a patch; several may be set. */
enum {
    FLECK_DOUBT_CUT = 1,     /* it reaches the scan's edge */
    FLECK_DOUBT_TOUCHES = 2, /* less than half a millimetre from another one */
    FLECK_DOUBT_SEVERAL = 4, /* about a whole number of times as long as the others, or two tones */
    FLECK_DOUBT_NOT_RECTANGULAR = 8, /* the box is the largest one that holds print only */
    FLECK_DOUBT_WEAK = 16,           /* hardly darker than the paper */
    FLECK_DOUBT_KIND = 32,           /* may be no patch at all; only when all blocks are listed */
    FLECK_DOUBT_OFF_GRID = 64, /* does not fit the grid, or shares its cell with another one */
    FLECK_DOUBT_ROUGH = 128    /* ragged sides; the box ends where nearly all is printed */
};

/*
 * A patch: the rectangle `box` turned by tilt_deg about its own centre, anticlockwise as seen on
 * the scan.
 */
typedef struct fleck_located {
    char id[32]; /* "1", "2" ... in reading order, or "r1c1" with a grid */
    fleck_box_mm box;
    double tilt_deg;
    unsigned doubts;
    fleck_block_kind kind;
} fleck_located;

/* The sheet, reduced: linear reflectance (65535 is 1) of cells, row by row, `channels` values each.
 */
typedef struct fleck_sheet_map {
    size_t columns;
    size_t rows;
    unsigned channels; /* 1 or 3 */
    double cell_mm;
    uint16_t *reflectance;
} fleck_sheet_map;

/* What was found on a sheet. Owns its lists. */
typedef struct fleck_layout {
    fleck_located *patches; /* in reading order */
    size_t count;
    fleck_located *left_out; /* printed blocks that are taken for something else */
    size_t left_out_count;
    double width_mm, height_mm; /* of the scan */
    fleck_sheet_map map;
    fleck_warnings warnings; /* one for each patch in doubt, block left out and empty grid cell */
} fleck_layout;

/*
 * Find the printed patches of a scan.
 *
 * The scan is read once and kept as a map of cells (0.25 mm, down to 0.125 for small sheets, larger
 * where there would be more than 4 million), so that memory does not grow with its resolution. The
 * paper's tone may change slowly over the sheet. Patches have straight or ragged sides, are tilted
 * by up to 10 degrees, speckled or solid; between two of them there must be a gap that is clearer
 * than the gaps inside.
 *
 * out    to be ended with fleck_layout_clear, also after a failure
 *
 * Errors: FLECK_BAD_CALL (option out of range), FLECK_BAD_INPUT (the scan cannot be read, has no
 * resolution, has no patch), FLECK_NO_RESOURCE. Thread-safe. O(pixels).
 */
FLECK_API fleck_status fleck_locate(const char *path, const fleck_locate_options *options,
                                    fleck_layout *out, fleck_error *err);

/* The doubts of a patch in words, "; " between them; "" without any. Returns buffer. */
FLECK_API const char *fleck_located_note(const fleck_located *located, char buffer[256]);

/*
 * The layout as a manifest: columns scan, patch, region ("X Y W H" in mm), tilt_deg, note.
 *
 * scan_path      as it was given to fleck_locate
 * layout_path    where the text will stand, so that the column `scan` can lead from there to the
 *                scan; NULL: scan_path is written as it is
 * text           out: freed with fleck_free()
 *
 * Errors: FLECK_BAD_INPUT (a folder of either path is not there), FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_layout_csv(const fleck_layout *layout, const char *scan_path,
                                        const char *layout_path, char **text, fleck_error *err);

/*
 * Draw the sheet with the patches' outlines and names, what was left out dashed, as a PNG.
 * Errors: FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_layout_write_preview(const fleck_layout *layout, const char *path,
                                                  fleck_error *err);

/* Free what the layout owns; NULL is allowed. */
FLECK_API void fleck_layout_clear(fleck_layout *layout);

#ifdef __cplusplus
}
#endif

#endif
