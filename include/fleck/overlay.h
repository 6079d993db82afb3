/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pictures to check a measurement by eye: the patch with the outlines of its dots, the same without
 * lines, thumbnails, and a sheet of all patches of a run at one scale. What each line means stands
 * below the picture, and in docs/pictures.md.
 */
#ifndef FLECK_OVERLAY_H
#define FLECK_OVERLAY_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/measure.h"

#ifdef __cplusplus
extern "C" {
#endif

enum {
    FLECK_OVERLAY_MOST_PX = 30000, /* longest side of the patch in a picture */
    FLECK_OVERLAY_THUMB_PX = 240,
    FLECK_OVERLAY_CELL_PX = 400,
    FLECK_CONTACT_MOST_PATCHES = 1000
};

/* How a patch is drawn. */
typedef struct fleck_overlay_options {
    size_t struct_bytes; /* set by fleck_overlay_options_default */
    /* picture pixels per scan pixel, of oblong pixels of their shorter side, 0.001 to 16. From 2 on
       lines run along the pixels' edges. 0: chosen from the patch's size, see docs/pictures.md */
    double scale;
} fleck_overlay_options;

/* The scale is chosen from the patch. */
FLECK_API void fleck_overlay_options_init(fleck_overlay_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_overlay_options fleck_overlay_options_default(void)
{
    fleck_overlay_options options;

    fleck_overlay_options_init(&options, sizeof options);
    return options;
}

/* Errors: FLECK_BAD_CALL naming the option and what it may be. */
FLECK_API fleck_status fleck_overlay_options_check(const fleck_overlay_options *options,
                                                   fleck_error *err);

/* Where the patch lies in its picture; lengths of both directions are to one scale. */
typedef struct fleck_overlay_place {
    size_t left_px, top_px;
    size_t width_px, height_px;
    size_t picture_width_px; /* the whole picture's height depends on the texts below the patch */
    double scale_x, scale_y; /* width_px and height_px over those of the scan */
    size_t line_px;          /* width of a line */
    bool on_edges; /* lines run along pixels' edges, on the paper's side; else they are the dots' own
                      outermost pixels */
} fleck_overlay_place;

/*
 * Errors: FLECK_BAD_CALL (the options), FLECK_BAD_INPUT (a side of the patch would be above
 * FLECK_OVERLAY_MOST_PX: a smaller scale is named).
 */
FLECK_API fleck_status fleck_overlay_get_place(const fleck_geometry *geometry,
                                               const fleck_overlay_options *options,
                                               fleck_overlay_place *place, fleck_error *err);

/*
 * Draw a patch as a PNG with a palette, written whole or not at all.
 *
 * lines    false: the same picture without lines in the patch
 *
 * With lines on the edges, the pixels that a counted dot's line encloses are the dot's, all of them
 * and no others. Rows are read from top to bottom, twice; memory does not grow with the height.
 * Errors: as fleck_overlay_get_place, FLECK_NO_RESOURCE, what the view returns. Thread-safe for
 * different paths. Source of the colours: Okabe & Ito (2008), Color Universal Design.
 */
FLECK_API fleck_status fleck_overlay_draw(const fleck_patch_view *view,
                                          const fleck_overlay_options *options, bool lines,
                                          const char *path, fleck_error *err);

/* The pictures of a run. */
typedef enum fleck_overlay_file {
    FLECK_OVERLAY_LINES, /* pictures/ID.png */
    FLECK_OVERLAY_PLAIN, /* pictures/plain/ID.png: of the same size, without lines */
    FLECK_OVERLAY_THUMB, /* pictures/thumbs/ID.png: at most FLECK_OVERLAY_THUMB_PX a side */
    FLECK_OVERLAY_CELL,  /* pictures/cells/ID.png: what the contact sheet is made of */
    FLECK_OVERLAY_SHEET  /* pictures/contact-sheet.png, of the whole run; the id is not read */
} fleck_overlay_file;

/*
 * Path of a picture, ID being fleck_id_to_file_name(id); in an id "contact-sheet" the first letter
 * is encoded too. Owned by the caller; NULL without memory.
 */
FLECK_API char *fleck_overlay_path(const char *run_folder, const char *id,
                                   fleck_overlay_file file);

/*
 * Write the four pictures of a patch, for the member `patch` of fleck_measure_observer; folders are
 * made where they are missing.
 * Errors: as fleck_overlay_draw. Thread-safe for different patches.
 */
FLECK_API fleck_status fleck_overlay_write(const fleck_patch_view *view,
                                           const fleck_overlay_options *options,
                                           const char *run_folder, fleck_error *err);

/*
 * Copy the pictures of a patch from one run to another.
 *
 * copied    out: false when the patch has none there, which is no error
 *
 * Errors: FLECK_BAD_INPUT (one of the four is missing or cannot be read), FLECK_NO_RESOURCE. The message begins with the
 * path concerned where the picture to copy is at fault.
 */
FLECK_API fleck_status fleck_overlay_copy(const char *from_run, const char *to_run, const char *id,
                                          bool *copied, fleck_error *err);

/* A patch of the contact sheet. */
typedef struct fleck_contact_patch {
    const char *id;
    const char *factor; /* its cell in the column that orders the sheet; NULL without one */
} fleck_contact_patch;

/* What a contact sheet shows. */
typedef struct fleck_contact_summary {
    size_t shown;
    size_t without_picture; /* measured by an earlier part of the run that made no pictures */
    size_t too_many;        /* beyond FLECK_CONTACT_MOST_PATCHES */
} fleck_contact_summary;

/*
 * Put the patches of a run side by side at one scale, from pictures/cells. Cells have one size: the
 * smallest width and height of the patches that are at least half the median; larger patches are
 * cropped to it from their middle, smaller ones stand in the middle of theirs.
 *
 * patches    in the order of the inputs
 * column     what orders the sheet: by number where all cells are numbers, else by text, empty cells
 *            last, equal ones as given; NULL: as given
 * summary    out
 *
 * Nothing is written when no patch has a picture. The same pictures give the same bytes.
 * Errors: FLECK_BAD_INPUT (a damaged cell), FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_contact_sheet_write(const char *run_folder,
                                                 const fleck_contact_patch *patches, size_t count,
                                                 const char *column,
                                                 fleck_contact_summary *summary, fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
