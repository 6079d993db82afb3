/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Draws of the Boolean model of discs as a scan would show them. */
#ifndef FLECK_MEASURE_BOOLEAN_DRAW_H
#define FLECK_MEASURE_BOOLEAN_DRAW_H

#include "fleck/random_set.h"
#include "measure/bit_rows.h"

/* What a draw needs besides its result. Start from {0}. */
typedef struct fleck_boolean_canvas {
    double pixel_x_mm, pixel_y_mm; /* of the result */
    double blur_sd_mm;
    size_t factor;         /* finer pixels to a pixel, along each axis */
    size_t pad_x, pad_y;   /* finer pixels around the result */
    size_t taps_x, taps_y; /* of the blur */
    size_t pitch_px;       /* of a row of floats: the result's, up to a whole word */
    float *edges;          /* sums of weights along x up to an edge */
    size_t edge_pitch, edge_zero;
    float *weight_y;
    float *blurred; /* finer rows, blurred along x */
    size_t blurred_rows;
    float *sum;      /* of a row of the result */
    fleck_run *runs; /* of a finer row */
    fleck_bit_rows fine; /* empty without blur */
} fleck_boolean_canvas;

/*
 * Make a canvas for results of width_px x height_px.
 *
 * blur_sd_mm    standard deviation of a Gaussian that blurs the ink before it is cut half-way; 0:
 * the pixels' centres decide
 *
 * Errors: FLECK_NO_RESOURCE. Ended with fleck_boolean_canvas_clear, on failure too.
 */
fleck_status fleck_boolean_canvas_init(fleck_boolean_canvas *canvas, size_t width_px,
                                       size_t height_px, double pixel_x_mm, double pixel_y_mm,
                                       double blur_sd_mm, fleck_error *err);
void fleck_boolean_canvas_clear(fleck_boolean_canvas *canvas);

/* Draw the model into all rows of ink and recount them. Discs from outside take part. */
void fleck_boolean_draw(fleck_boolean_canvas *canvas, const fleck_disc_model *model, uint64_t seed,
                        fleck_bit_rows *ink);

#endif
