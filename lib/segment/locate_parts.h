/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The steps from a scan to its patches. All work on a grid of cells, x to the right, y down. */
#ifndef FLECK_SEGMENT_LOCATE_PARTS_H
#define FLECK_SEGMENT_LOCATE_PARTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/locate.h"
#include "fleck/scan.h"
#include "fleck/tone.h"

/* ---- locate_overview.c: the scan as a map ---- */

/*
 * Read all rows of an open scan into cells; a cell's value is the mean of its pixels. Three
 * channels are red, green and blue. Errors: what the reader says; FLECK_BAD_INPUT (no cell in it),
 * FLECK_NO_RESOURCE.
 */
fleck_status fleck_overview_read(fleck_scan *scan, const fleck_tone *tone, double pixel_x_mm,
                                 double pixel_y_mm, fleck_sheet_map *map, fleck_error *err);

/* ---- locate_relief.c: how much darker than the paper around it each cell is ---- */

typedef struct fleck_relief {
    float *depth; /* 1 - R / paper of the channel where that is largest, 0 for the paper's mode */
    double noise; /* standard deviation of bare paper's depth */
    double least; /* depth from which a cell counts as printed */
} fleck_relief;

/* Errors: FLECK_NO_RESOURCE. Free relief->depth. */
fleck_status fleck_relief_find(const fleck_sheet_map *map, fleck_ink ink, fleck_relief *relief,
                               fleck_error *err);

/*
 * The same relief with each cell the mean of its neighbours, for prints that drown in noise. The
 * depth of `smooth` is its own.
 */
fleck_status fleck_relief_smooth(const fleck_sheet_map *map, const fleck_relief *relief,
                                 fleck_relief *smooth, fleck_error *err);

/* ---- cells.c: shapes on the grid ---- */

typedef struct fleck_cells {
    size_t columns;
    size_t rows;
    uint32_t *distance; /* scratch: one value a cell */
    uint32_t *line;     /* scratch: three values a column */
} fleck_cells;

/* Errors: FLECK_NO_RESOURCE; end with fleck_cells_clear in any case. */
fleck_status fleck_cells_init(fleck_cells *cells, size_t columns, size_t rows, fleck_error *err);
void fleck_cells_clear(fleck_cells *cells);

/* Grow what is set by a disc (radius in cells), or shrink it; beyond the grid nothing is known. */
void fleck_cells_grow(fleck_cells *cells, uint8_t *mask, double radius);
void fleck_cells_shrink(fleck_cells *cells, uint8_t *mask, double radius);

/* One 4-connected component. Right and bottom are the first column and row beyond it. */
typedef struct fleck_shape {
    size_t left, top, right, bottom;
    size_t area;
} fleck_shape;

/*
 * Number the 4-connected components of what is set, from 1, in the order of their first cell.
 * label     out: 0 or the number, one a cell
 * shapes    out: freed with fleck_free(); component n is shapes[n - 1]
 */
fleck_status fleck_cells_label(const fleck_cells *cells, const uint8_t *mask, uint32_t *label,
                               fleck_shape **shapes, size_t *count, fleck_error *err);

/* ---- locate_strokes.c: writing, ticks, crosses and lines ---- */

/* Clear the printed cells in the mask that belong to strokes. */
fleck_status fleck_strokes_remove(const fleck_sheet_map *map, const fleck_relief *relief,
                                  fleck_cells *cells, uint8_t *mask, fleck_error *err);

/* ---- locate_fit.c, locate_score.c, locate_sides.c: turned boxes ---- */

/* In cells: |u| <= half_u and |v| <= half_v about the centre; u = (cos, -sin), v = (sin, cos). */
typedef struct fleck_turned_box {
    double x, y;
    double half_u, half_v;
    double angle; /* radians, anticlockwise as seen */
} fleck_turned_box;

/* A piece of the grid with one block in it. */
typedef struct fleck_window {
    size_t left, top, columns, rows;
    uint8_t *inside; /* 1: the block, its holes closed; 2: another block; 0: neither */
} fleck_window;

/*
 * The turned box with the largest number of cells of the block less other cells in it.
 * fixed_angle    NAN, or the angle to take
 * inside         out: share of the box that is the block's
 * outside        out: share of the block that is not in the box
 */
fleck_status fleck_fit_box(const fleck_window *window, double fixed_angle, fleck_turned_box *box,
                           double *inside, double *outside, fleck_error *err);

/*
 * Move the sides of a box to where the print itself begins.
 * depth          of the whole grid
 * fixed_angle    NAN to find the angle too
 * rough          out: some sides are ragged, and lie where nearly all is printed
 */
fleck_status fleck_fit_sides(const fleck_window *window, const float *depth, size_t columns,
                             double cell_mm, double fixed_angle, fleck_turned_box *box, bool *rough,
                             fleck_error *err);

/* Add to scores[i] how well a box near `box` fits the print at angles[i]. */
fleck_status fleck_score_angles(const fleck_window *window, const float *depth, size_t columns,
                                double cell_mm, const fleck_turned_box *box, const double *angles,
                                size_t count, double *scores, fleck_error *err);

/* The largest box of the given angle that holds cells of the block only. */
fleck_status fleck_fit_inner(const fleck_window *window, double angle, fleck_turned_box *box,
                             fleck_error *err);

/* ---- locate_blocks.c: the printed blocks ---- */

typedef struct fleck_block {
    fleck_shape shape;
    uint32_t label; /* in the map of owners */
    bool settled;
    double printed; /* share of its cells that hold ink at all */
    bool scraps;    /* an empty strip parts it into pieces too small for patches */
    fleck_turned_box box;
    double inside, outside; /* as of fleck_fit_box */
    double rounding;        /* share of the box that opening rounds off its corners */
    fleck_block_kind kind;
    unsigned doubts;
} fleck_block;

typedef struct fleck_blocks {
    fleck_block *items;
    size_t count;
    size_t capacity;
    uint32_t *owner; /* label of the block that a cell belongs to, 0 for none */
} fleck_blocks;

fleck_status fleck_blocks_find(const fleck_sheet_map *map, const fleck_relief *relief,
                               double min_size_mm, fleck_blocks *blocks, fleck_error *err);

/* Whether the block and its box are nearly the same. */
bool fleck_block_is_rectangular(const fleck_block *block);

/* Whether most of a block's box is not its own: it lies around something else. */
bool fleck_block_is_hollow(const fleck_block *block);

/* Cut a block out of the map of owners. Free window->inside. */
fleck_status fleck_blocks_window(const fleck_blocks *blocks, const fleck_block *block,
                                 const fleck_sheet_map *map, fleck_window *window,
                                 fleck_error *err);
void fleck_blocks_clear(fleck_blocks *blocks);

/* ---- locate_profile.c: depths along a box ---- */

enum { FLECK_PROFILE_AT_MOST = 4096 };

/* Means and scatters across a box, for each cell along it. */
typedef struct fleck_profile {
    double mean[FLECK_PROFILE_AT_MOST];
    double scatter[FLECK_PROFILE_AT_MOST];
    size_t count;
    size_t across; /* cells in each mean */
} fleck_profile;

/* Depth at a place of a box, measured from its centre along u (or v) and across; 0 beyond the map.
 */
double fleck_box_depth(const fleck_sheet_map *map, const fleck_relief *relief,
                       const fleck_turned_box *box, bool along_u, double along, double across);

/* Band 0 to bands - 1 of the width; the outermost twentieth on both sides is left out. */
void fleck_profile_take(const fleck_sheet_map *map, const fleck_relief *relief,
                        const fleck_turned_box *box, bool along_u, unsigned band, unsigned bands,
                        fleck_profile *profile);

/* ---- locate_split.c: one block that is several ---- */

/*
 * Part a block at an empty strip right through its box; the new one is added at the end of the
 * list, which may move. The boxes of both still have to be fitted to their print. Needs
 * block->printed.
 */
fleck_status fleck_blocks_split(fleck_blocks *blocks, size_t index, const fleck_sheet_map *map,
                                const fleck_relief *relief, double min_size_mm, bool *split,
                                fleck_error *err);

/* ---- locate_boxes.c: the boxes of all blocks ---- */

/*
 * At 10 % coverage a quarter of the cells holds ink, with dots of a millimetre an eighth. Below a
 * twentieth it is dust or the paper's fibre; up to twice that it must look like a patch.
 */
#define FLECK_DUST 0.05

/*
 * Fit the boxes of blocks with straight sides, fill `printed`, and part what has to be.
 * angle    out: the angle the straight blocks share or lie around, 0 without any
 */
fleck_status fleck_blocks_fit(const fleck_sheet_map *map, const fleck_relief *relief,
                              double min_size_mm, fleck_blocks *blocks, double *angle,
                              fleck_error *err);

/* Once their kinds are known: the largest box of this angle inside each block of another shape. */
fleck_status fleck_blocks_fit_rough(const fleck_sheet_map *map, double angle, fleck_blocks *blocks,
                                    fleck_error *err);

/* ---- locate_kind.c: what a block is ---- */

/* Fill kind, and the doubts that the block alone tells. */
fleck_status fleck_block_judge(const fleck_sheet_map *map, const fleck_relief *relief,
                               const fleck_blocks *blocks, double min_size_mm, fleck_block *block,
                               fleck_error *err);

/* ---- locate_order.c: reading order and grid ---- */

/* Sort in reading order, find what touches or is several in one, and name: numbers or grid cells.
 */
fleck_status fleck_layout_order(fleck_layout *layout, const fleck_locate_options *options,
                                fleck_error *err);

#endif
