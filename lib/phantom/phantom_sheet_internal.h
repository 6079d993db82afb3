/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A sheet laid out, as layout makes it and drawing and truth read it. */
#ifndef FLECK_PHANTOM_SHEET_INTERNAL_H
#define FLECK_PHANTOM_SHEET_INTERNAL_H

#include "fleck/phantom_sheet.h"
#include "phantom/phantom_options.h"
#include "phantom/place.h"
#include "phantom/plate.h"
#include "phantom/sheet_light.h"

/* Room around the patches for what else a sheet holds, in mm. */
enum { FLECK_SHEET_LEFT = 18, FLECK_SHEET_TOP = 14, FLECK_SHEET_RIGHT = 12, FLECK_SHEET_BOTTOM = 34 };

/* A patch in its place. Lengths in mm of the sheet. */
typedef struct fleck_sheet_patch {
    fleck_phantom_patch given; /* as it is drawn: plain with `solid` */
    double tilt_deg;           /* with the sheet's */
    fleck_plate plate;
    fleck_dots dots;      /* those that are drawn, by the sheet's coordinates */
    double ink_px, all_px; /* out of drawing: areas inside the rectangle */
} fleck_sheet_patch;

typedef enum fleck_mark_kind {
    FLECK_MARK_TICK_X, /* of the ruler along x */
    FLECK_MARK_TICK_Y,
    FLECK_MARK_STEP,
    FLECK_MARK_CROSS, /* its arm along x; the other one is a line */
    FLECK_MARK_LINE
} fleck_mark_kind;

/* Where an upright sheet holds something else than patches. */
typedef struct fleck_sheet_zone {
    const char *name;
    fleck_box_mm box;
} fleck_sheet_zone;
enum { FLECK_SHEET_ZONES = 7 }; /* two rulers, a grey scale, four crosses */

/* A rectangle of one tone. */
typedef struct fleck_sheet_mark {
    fleck_mark_kind kind;
    fleck_plate plate;
    double reflectance;
    double value; /* tick: mm from the ruler's zero; step: density */
    double under_mm; /* drawn so much longer at its right end, below the next mark: no paper must show
                        between two steps, whose shares of a pixel both end short of 1 */
} fleck_sheet_mark;

struct fleck_phantom_sheet {
    fleck_phantom_sheet_options options; /* with the size as it became */
    fleck_phantom_frame frame;
    fleck_sheet_light light;
    fleck_sheet_patch *patches;
    size_t patch_count;
    fleck_sheet_mark *marks;
    size_t mark_count, mark_capacity;
    fleck_sheet_zone zones[FLECK_SHEET_ZONES];
    size_t zone_count;
    fleck_dots strokes; /* writing: a chain of discs */
    bool drawn;
    uint64_t clipped_px;
};

/* Errors: FLECK_BAD_CALL, naming the option. */
fleck_status fleck_sheet_check_options(const fleck_phantom_sheet_options *options,
                                       fleck_error *err);

/* Put the patches in their places, after the marks; check that they may lie there; place their dots. */
fleck_status fleck_sheet_lay_patches(fleck_phantom_sheet *sheet, fleck_error *err);

/* Add rulers, grey scale and crosses. */
fleck_status fleck_sheet_lay_marks(fleck_phantom_sheet *sheet, fleck_error *err);

/* Add the strokes of the writing, where there is room, after all else. */
fleck_status fleck_sheet_lay_writing(fleck_phantom_sheet *sheet, fleck_error *err);

/* A rectangle of the upright sheet as it lies on the scan, turned by its own and the sheet's tilt. */
fleck_plate fleck_sheet_plate(const fleck_phantom_sheet *sheet, const fleck_box_mm *box,
                              double tilt_deg);

/* A point of the upright sheet as it lies on the scan. */
void fleck_sheet_point(const fleck_phantom_sheet *sheet, double *x_mm, double *y_mm);

#endif
