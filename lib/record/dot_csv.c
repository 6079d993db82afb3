/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Most of the time of a table goes into printing its numbers, so pieces of it are printed side by side,
 * and written in their order.
 */
#include "record/dot_csv.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "core/text.h"
#include "io/csv.h"
#include "io/whole_file.h"

enum {
    PIECE_ROWS = 512,
    PIECES = 32, /* printed before they are written: some 4 MB of text */
    DIGITS = 10  /* of a number: a thousand times finer than a scan can tell */
};

/* A stretch of the table as text. */
struct printing {
    const fleck_dot_table *table;
    const fleck_geometry *geometry;
    bool with_parts;
    size_t first; /* row of the first piece */
    fleck_text pieces[PIECES];
};

static const char *const dot_columns[] = {
    "x_mm",         "y_mm",        "area_mm2",        "diameter_mm", "left_mm",
    "top_mm",       "width_mm",    "height_mm",       "at_edge",     "weight_per_mm2",
    "nn_mm",        "gap_mm",      "perimeter_mm",    "circularity", "feret_max_mm",
    "feret_min_mm", "aspect",      "orientation_deg", "solidity",    "holes",
    "mean_reflectance", "density", "tone_area_mm2",   "edge_width_mm",
};

static void add_header(fleck_text *text, const char *thing, bool with_parts)
{
    fleck_csv_add_cell(text, thing);
    for (size_t i = 0; i < sizeof dot_columns / sizeof *dot_columns; i++)
        fleck_csv_add_cell(text, dot_columns[i]);
    if (with_parts)
        fleck_csv_add_cell(text, "parts");
    fleck_csv_end_row(text);
}

static void add_value(fleck_text *text, double value)
{
    fleck_text_add_rounded(text, value, DIGITS);
    fleck_text_add(text, ",");
}

static void add_dot(fleck_text *text, size_t number, const fleck_dot_row *row,
                    const fleck_geometry *geometry, bool with_parts)
{
    const fleck_component *const dot = &row->component;
    const fleck_outline *const outline = &row->shape.outline;
    const fleck_dot_tone *const tone = &row->shape.tone;
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    const fleck_point_mm centre = fleck_component_centroid(dot, geometry);
    const double area_mm2 = (double)dot->area_px * (px * py);
    const double values[] = {
        centre.x_mm,
        centre.y_mm,
        area_mm2,
        fleck_equivalent_diameter_mm(area_mm2),
        dot->min_x_px * px,
        dot->min_y_px * py,
        (dot->max_x_px - dot->min_x_px + 1) * px,
        (dot->max_y_px - dot->min_y_px + 1) * py,
        dot->at_edge ? 1 : 0,
        row->weight_per_px2 / (px * py),
        row->nn_mm,
        row->shape.gap_mm,
        outline->perimeter_mm,
        outline->circularity,
        outline->feret_max_mm,
        outline->feret_min_mm,
        outline->aspect,
        outline->orientation_deg,
        outline->solidity,
        outline->holes,
        tone->mean_reflectance,
        tone->density,
        tone->tone_area_mm2,
        tone->edge_width_mm,
    };

    static_assert(sizeof values / sizeof *values == sizeof dot_columns / sizeof *dot_columns,
                  "each column has its value");
    fleck_text_add_format(text, "%zu,", number);
    for (size_t i = 0; i < sizeof values / sizeof *values; i++)
        add_value(text, values[i]);
    if (with_parts)
        add_value(text, row->parts > 0 ? (double)row->parts : NAN);
    fleck_csv_end_row(text);
}

static void print_piece(void *context, unsigned worker, size_t i)
{
    struct printing *const printing = context;
    const size_t first = printing->first + i * PIECE_ROWS;
    const size_t left = printing->table->count - first;
    const size_t end = first + (left < PIECE_ROWS ? left : PIECE_ROWS);
    fleck_text *const text = &printing->pieces[i];

    (void)worker;
    for (size_t row = first; row < end; row++)
        add_dot(text, row + 1, &printing->table->rows[row], printing->geometry,
                printing->with_parts);
}

/* Write a text and make it empty; false when it could not be made. */
static bool put(fleck_text *text, FILE *stream)
{
    if (text->failed)
        return false;
    (void)fwrite(text->bytes, 1, text->length, stream); /* errors are told by the commit */
    text->length = 0;
    return true;
}

fleck_status fleck_dot_csv_write(const char *path, const char *thing, const fleck_dot_table *table,
                                 const fleck_geometry *geometry, bool with_parts, unsigned threads,
                                 fleck_error *err)
{
    struct printing printing = {
        .table = table, .geometry = geometry, .with_parts = with_parts
    };
    fleck_whole_file *file = NULL;
    fleck_text header = { 0 };
    bool good;
    fleck_status status = fleck_whole_file_begin(path, &file, err);

    if (status != FLECK_OK)
        return status;
    add_header(&header, thing, with_parts);
    good = put(&header, fleck_whole_file_stream(file));
    for (; good && printing.first < table->count; printing.first += PIECES * PIECE_ROWS) {
        const size_t pieces = (table->count - printing.first + PIECE_ROWS - 1) / PIECE_ROWS;
        const size_t count = pieces < PIECES ? pieces : PIECES;

        fleck_parallel_for(threads, count, print_piece, &printing);
        for (size_t i = 0; i < count; i++)
            good = put(&printing.pieces[i], fleck_whole_file_stream(file)) && good;
    }
    if (good) {
        status = fleck_whole_file_commit(file, err);
    } else {
        fleck_whole_file_abandon(file);
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for a table of %ss; free some memory", thing);
    }
    fleck_text_clear(&header);
    for (size_t i = 0; i < PIECES; i++)
        fleck_text_clear(&printing.pieces[i]);
    return status;
}
