/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A whole test sheet as a scanner sees it, whose true numbers are known. */
#ifndef FLECK_PHANTOM_SHEET_H
#define FLECK_PHANTOM_SHEET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/phantom.h"

#ifdef __cplusplus
extern "C" {
#endif

#define FLECK_PHANTOM_SHEET_SCHEMA "fleck-phantom-sheet-truth"
enum { FLECK_PHANTOM_SHEET_VERSION = 1 };

enum { FLECK_PHANTOM_NAME_BYTES = 64 };

/*
 * A patch: the rectangle `box`, seen from the sheet's top left, turned by tilt_deg about its own
 * centre, anticlockwise to the eye. It is turned as a whole: its dots lie in it as in a phantom of
 * the box's size. (A field has no direction; it is cut out of a field that lies straight.)
 */
typedef struct fleck_phantom_patch {
    char name[FLECK_PHANTOM_NAME_BYTES]; /* UTF-8, not empty, no two the same */
    fleck_box_mm box;                    /* sides 0.1 to 10000 */
    double tilt_deg;                     /* -45 to 45 */
    bool ragged; /* kinds made of discs: those centred inside are drawn whole; false: cut straight */
    /* kind, coverage, sizes and the rest down to correlation_mm, ink_reflectance and seed; what
       concerns the picture (size, ppi, antialias, blur, noise, paper, bits) is the sheet's. It stands
       here as a whole, so that patches are those of the version the program was built with */
    fleck_phantom_options speckle;
} fleck_phantom_patch;

/* Patches in rows and columns, named r1c1, r1c2 ... */
typedef struct fleck_phantom_grid {
    size_t rows, columns; /* 1 to 100 */
    double patch_mm;      /* side of each, 0.1 to 1000 */
    double gap_mm;        /* between them, 0 to 1000 */
    double coverage_from, coverage_to; /* of the first and the last, even steps between */
    double diameter_from_mm, diameter_to_mm; /* likewise, on a geometric scale; above 0 */
    double tilt_deg; /* each is turned by up to so much, 0 to 20 */
    bool ragged;
    fleck_phantom_options speckle; /* the rest; patch i (from 0) has the seed + 1 + i */
} fleck_phantom_grid;

/* How the samples follow the reflectance. */
typedef enum fleck_phantom_curve {
    FLECK_PHANTOM_SRGB, /* IEC 61966-2-1 */
    FLECK_PHANTOM_GAMMA /* code = reflectance^(1 / gamma) */
} fleck_phantom_curve;

/*
 * The sheet and its scanner. Beside the patches it may hold two rulers (along the left and the lower
 * edge), a grey scale above the lower ruler, a cross in each corner, and lines of pencil strokes like
 * writing above the patches and, where there is room, below each. These lie in the outer 18 mm at
 * the left, 14 mm at the top, 12 mm at the right and 34 mm at the bottom.
 */
typedef struct fleck_phantom_sheet_options {
    size_t struct_bytes; /* set by fleck_phantom_sheet_options_default */
    double width_mm;    /* 1 to 10000, or 0: as the patches and what lies around them need it */
    double height_mm;   /* likewise */
    double ppi;         /* 1 to 100000: the true one */
    double claimed_ppi; /* what the file says; 0: nothing */
    double tilt_deg;    /* turns all that is drawn about the sheet's centre, anticlockwise, -10 to 10 */
    bool patches;       /* false: none is drawn, though the sheet keeps their room */
    bool solid;         /* each patch is solid ink, cut straight */
    bool rulers, crosses, writing;
    size_t steps;        /* of the grey scale, 2 to 50, or 0: none */
    double density_from; /* of the first step, at the left, -0.07 to 4 */
    double density_to;
    bool antialias;
    double paper_reflectance;
    double mark_reflectance;   /* rulers and crosses */
    double pencil_reflectance; /* writing */
    double fibre, fibre_length_mm; /* as of a phantom, on the bare paper */
    double softness_mm;
    double light; /* the light goes from 1 - light to 1 + light over the sheet, 0 to 0.9 */
    double noise;
    fleck_phantom_curve curve;
    double gamma;      /* 0.2 to 5 */
    bool srgb_chunk;   /* the PNG says that it follows the sRGB curve, whether it does or not */
    unsigned bits;
    uint64_t seed; /* of noise, fibre and writing */
} fleck_phantom_sheet_options;

/* The only homes of the defaults. */
FLECK_API void fleck_phantom_sheet_options_init(fleck_phantom_sheet_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_phantom_sheet_options fleck_phantom_sheet_options_default(void)
{
    fleck_phantom_sheet_options options;

    fleck_phantom_sheet_options_init(&options, sizeof options);
    return options;
}

/* The only home of the defaults. */
FLECK_API fleck_phantom_grid fleck_phantom_grid_default(void);

/*
 * Patches of a grid, the first one's corner at (18, 14) mm.
 * out    freed with fleck_free()
 * Errors: FLECK_BAD_CALL, FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_phantom_patches_from_grid(const fleck_phantom_grid *grid,
                                                       fleck_phantom_patch **out, size_t *count,
                                                       fleck_error *err);

/*
 * Patches of a table: a CSV with the columns patch, x_mm, y_mm, width_mm, height_mm and, where they
 * should differ from the speckle given, tilt_deg, kind, coverage, diameter_mm, gsd, half_range_mm,
 * gap_mm, pitch_mm, angle_deg, correlation_mm, ink, seed, edge (straight or ragged). A column `note`
 * is passed over. An empty cell is as a column that is not there. A patch without a seed has the
 * speckle's + 1 + its row (from 0).
 *
 * out    freed with fleck_free()
 *
 * Errors: FLECK_BAD_INPUT (the file, a column missing or not known, a cell; with its line),
 * FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_phantom_patches_from_csv(const char *path,
                                                      const fleck_phantom_options *speckle,
                                                      fleck_phantom_patch **out, size_t *count,
                                                      fleck_error *err);

/* A sheet that was laid out and can be written. */
typedef struct fleck_phantom_sheet fleck_phantom_sheet;

/*
 * Lay a sheet out: check it and place its dots (24 bytes each). Pixels are drawn when it is written.
 *
 * patches, count    copied
 * out               to be ended with fleck_phantom_sheet_free; NULL on failure
 *
 * Errors: FLECK_BAD_CALL (an option out of range; a patch, named, outside the sheet or on another one
 * or on a ruler, cross or grey scale), FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_phantom_sheet_new(const fleck_phantom_sheet_options *options,
                                               const fleck_phantom_patch *patches, size_t count,
                                               fleck_phantom_sheet **out, fleck_error *err);

/*
 * Draw the sheet and write it as fleck_phantom_write does, row by row: memory does not grow with its
 * height. Pixels are, in this order: paper with its fibre, patches, marks and writing; blurred; times
 * the light; plus noise; cut to 0 to 1; through the curve.
 */
FLECK_API fleck_status fleck_phantom_sheet_write(fleck_phantom_sheet *sheet, const char *path,
                                                 fleck_error *err);

/* One row of reflectance, not cut to 0 to 1, from the top downward. */
typedef fleck_status (*fleck_phantom_row)(void *context, size_t y, const double *reflectance,
                                          size_t width_px, fleck_error *err);

/* Draw the sheet for a caller's own use. Errors: FLECK_NO_RESOURCE, and what `row` returns. */
FLECK_API fleck_status fleck_phantom_sheet_draw(fleck_phantom_sheet *sheet, fleck_phantom_row row,
                                                void *context, fleck_error *err);

/*
 * The truth as JSON text, schema fleck-phantom-sheet-truth; freed with fleck_free(); NULL without memory.
 *
 * options     of the sheet
 * picture     width_px, height_px, pixel_mm, clipped_share (pixels cut to 0 to 1)
 * light       amplitude and the formula of the light
 * patches     per patch: name, region ("X Y W H" in mm, of the upright rectangle) and tilt_deg as they
 *             lie on the scan, x_mm, y_mm, width_mm, height_mm; what was asked for; exact_coverage
 *             (share of ink in the rectangle before blur, light and noise); dots_touching,
 *             dots_inside (centre inside the rectangle), and d10_mm, d50_mm, d90_mm of the latter as
 *             drawn, overlaps not merged
 * rulers      per ruler: ticks (mm from its zero, and where on the scan in px), lengths (a few pairs
 *             as MM:X1,Y1,X2,Y2)
 * steps       per step of the grey scale: density, reflectance, box and tilt
 * crosses     their centres
 *
 * clipped_share and exact_coverage are null before the sheet has been drawn.
 */
FLECK_API char *fleck_phantom_sheet_truth_json(const fleck_phantom_sheet *sheet);

/* The grey scale as CSV with the columns density, x, y, width, height (in mm, upright). */
FLECK_API char *fleck_phantom_sheet_steps_csv(const fleck_phantom_sheet *sheet);

/* All dots that touch their patch, with the columns patch, x_mm, y_mm, diameter_mm. */
FLECK_API char *fleck_phantom_sheet_dots_csv(const fleck_phantom_sheet *sheet);

/* End a sheet; NULL is allowed. */
FLECK_API void fleck_phantom_sheet_free(fleck_phantom_sheet *sheet);

#ifdef __cplusplus
}
#endif

#endif
