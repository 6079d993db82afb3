/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Poisson discs are drawn cell by cell on a grid that starts at the picture's top left, each cell
 * from its own stream of random numbers: the part of an endless pattern that the picture shows.
 * Cells are visited as far outside the picture as the largest disc reaches.
 */
#include "phantom/place.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "core/memory.h"
#include "phantom/closed_forms.h"
#include "phantom/dice.h"
#include "phantom/separate.h"
#include "phantom/size_law.h"

static const double pi = 3.14159265358979323846;

/* Normal numbers beyond: 1e-15 of the discs, and 3e-9 of the ink at gsd 3. */
static const double poisson_z = 8;

/* The picture, wider by a margin on each side. */
static fleck_window window_of(const fleck_phantom_frame *frame, double margin_mm)
{
    return (fleck_window){ -margin_mm, -margin_mm,
                           (double)frame->width_px * frame->pixel_mm + margin_mm,
                           (double)frame->height_px * frame->pixel_mm + margin_mm };
}

bool fleck_window_touches(const fleck_window *window, double x, double y, double radius)
{
    const double dx = fmax(fmax(window->left - x, x - window->right), 0);
    const double dy = fmax(fmax(window->top - y, y - window->bottom), 0);

    return dx * dx + dy * dy < radius * radius;
}

fleck_status fleck_dots_keep(fleck_dots *dots, double x_mm, double y_mm, double diameter_mm,
                             fleck_error *err)
{
    fleck_dot *items = fleck_grow(dots->items, &dots->capacity, dots->count, sizeof *items);

    if (items == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for %zu dots; give a smaller picture",
                          dots->count);
    dots->items = items;
    items[dots->count++] = (fleck_dot){ x_mm, y_mm, diameter_mm };
    return FLECK_OK;
}

fleck_status fleck_dots_check_number(double dots, fleck_error *err)
{
    static const double most_dots = 5e7; /* 24 bytes each */

    if (dots <= most_dots)
        return FLECK_OK;
    return fleck_fail(err, FLECK_BAD_CALL,
                      "about %.0f dots would be drawn, at most %.0f can be; give larger dots or a "
                      "smaller picture",
                      dots, most_dots);
}

/* ---- Poisson discs ---- */

static fleck_status place_in_cell(const fleck_phantom_options *options, const fleck_size_law *law,
                                  double intensity_per_mm2, double cell_mm, int64_t column,
                                  int64_t row, const fleck_window *window, fleck_dots *out,
                                  fleck_error *err)
{
    fleck_dice dice = fleck_dice_at(options->seed, FLECK_DICE_DISCS, column, row);
    fleck_status status = FLECK_OK;
    double down_mm = 0;

    /* gaps between the heights of a Poisson process' points are exponential */
    while (status == FLECK_OK) {
        double x_mm, y_mm, diameter_mm;

        down_mm -= log(fleck_dice_uniform(&dice)) / (intensity_per_mm2 * cell_mm);
        if (down_mm >= cell_mm)
            break;
        x_mm = ((double)column + fleck_dice_uniform(&dice)) * cell_mm;
        y_mm = (double)row * cell_mm + down_mm;
        diameter_mm = fleck_size_law_draw(law, poisson_z, &dice);
        if (fleck_window_touches(window, x_mm, y_mm, diameter_mm / 2))
            status = fleck_dots_keep(out, x_mm, y_mm, diameter_mm, err);
    }
    return status;
}

static fleck_status place_poisson(const fleck_phantom_options *options, const fleck_window *window,
                                  fleck_dots *out, fleck_error *err)
{
    const fleck_size_law law = fleck_size_law_of(options);
    const double intensity_per_mm2 = fleck_disc_intensity(options);
    const double reach_mm = fleck_size_law_largest(&law, poisson_z) / 2;
    const double cell_mm = 4 / sqrt(intensity_per_mm2); /* 16 discs a cell */
    int64_t left, right, top, bottom;
    fleck_status status;

    if (intensity_per_mm2 == 0)
        return FLECK_OK;
    status = fleck_dots_check_number(intensity_per_mm2 *
                                         (window->right - window->left + 2 * (reach_mm + cell_mm)) *
                                         (window->bottom - window->top + 2 * (reach_mm + cell_mm)),
                                     err);
    if (status != FLECK_OK)
        return status;
    left = (int64_t)floor((window->left - reach_mm) / cell_mm);
    right = (int64_t)floor((window->right + reach_mm) / cell_mm);
    top = (int64_t)floor((window->top - reach_mm) / cell_mm);
    bottom = (int64_t)floor((window->bottom + reach_mm) / cell_mm);
    for (int64_t row = top; status == FLECK_OK && row <= bottom; row++) {
        for (int64_t column = left; status == FLECK_OK && column <= right; column++)
            status = place_in_cell(options, &law, intensity_per_mm2, cell_mm, column, row, window,
                                   out, err);
    }
    return status;
}

/* ---- lattices ---- */

static fleck_status place_lattice(const fleck_phantom_options *options, const fleck_window *window,
                                  fleck_dots *out, fleck_error *err)
{
    const double pitch_mm = fleck_lattice_pitch_mm(options);
    const double diameter_mm = options->diameter_mm;
    const double angle = options->angle_deg * pi / 180;
    /* steps of the lattice; y points down, so that the turn is anticlockwise to the eye */
    const double shear = options->kind == FLECK_PHANTOM_SQUARE ? 0 : 0.5;
    const double rise = options->kind == FLECK_PHANTOM_SQUARE ? 1 : 0.86602540378443864676;
    const double ux = pitch_mm * cos(angle), uy = -pitch_mm * sin(angle);
    const double vx = shear * ux - rise * uy, vy = shear * uy + rise * ux;
    const double width_mm = window->right - window->left + diameter_mm;
    const double height_mm = window->bottom - window->top + diameter_mm;
    fleck_dice dice = fleck_dice_at(options->seed, FLECK_DICE_LATTICE, 0, 0);
    const double phase_u = fleck_dice_uniform(&dice), phase_v = fleck_dice_uniform(&dice);
    double u_low = INFINITY, u_high = -INFINITY, v_low = INFINITY, v_high = -INFINITY;
    fleck_status status;

    for (int corner = 0; corner < 4; corner++) {
        const double x = window->left - diameter_mm / 2 + (corner % 2) * width_mm;
        const double y = window->top - diameter_mm / 2 + (corner / 2) * height_mm;
        const double area = ux * vy - uy * vx;
        const double u = (x * vy - y * vx) / area - phase_u;
        const double v = (ux * y - uy * x) / area - phase_v;

        u_low = fmin(u_low, floor(u));
        u_high = fmax(u_high, ceil(u));
        v_low = fmin(v_low, floor(v));
        v_high = fmax(v_high, ceil(v));
    }
    status = fleck_dots_check_number((u_high - u_low + 1) * (v_high - v_low + 1), err);
    if (status != FLECK_OK)
        return status;
    for (int64_t j = (int64_t)v_low; status == FLECK_OK && j <= (int64_t)v_high; j++) {
        for (int64_t i = (int64_t)u_low; status == FLECK_OK && i <= (int64_t)u_high; i++) {
            const double u = (double)i + phase_u, v = (double)j + phase_v;
            const double x = u * ux + v * vx, y = u * uy + v * vy;

            if (fleck_window_touches(window, x, y, diameter_mm / 2))
                status = fleck_dots_keep(out, x, y, diameter_mm, err);
        }
    }
    return status;
}

/* ---- all ---- */

static int higher_first(const void *a, const void *b)
{
    const fleck_dot *first = a, *second = b;

    if (first->y_mm != second->y_mm)
        return first->y_mm < second->y_mm ? -1 : 1;
    if (first->x_mm != second->x_mm)
        return first->x_mm < second->x_mm ? -1 : 1;
    return (first->diameter_mm < second->diameter_mm) - (first->diameter_mm > second->diameter_mm);
}

bool fleck_dot_reaches(const fleck_dot *dot, const fleck_phantom_frame *frame)
{
    const fleck_window window = window_of(frame, 0);

    return fleck_window_touches(&window, dot->x_mm, dot->y_mm, dot->diameter_mm / 2);
}

bool fleck_dot_is_centred(const fleck_dot *dot, const fleck_phantom_frame *frame)
{
    const fleck_window window = window_of(frame, 0);

    return dot->x_mm >= window.left && dot->x_mm < window.right && dot->y_mm >= window.top &&
           dot->y_mm < window.bottom;
}

bool fleck_dot_is_whole(const fleck_dot *dot, const fleck_phantom_frame *frame)
{
    const fleck_window window = window_of(frame, -dot->diameter_mm / 2);

    return dot->x_mm >= window.left && dot->x_mm <= window.right && dot->y_mm >= window.top &&
           dot->y_mm <= window.bottom;
}

fleck_status fleck_place_in(const fleck_phantom_options *options, const fleck_window *picture,
                            const fleck_window *window, fleck_dots *out, fleck_error *err)
{
    fleck_status status;

    if (options->kind == FLECK_PHANTOM_DISCS)
        status = place_poisson(options, window, out, err);
    else if (options->kind == FLECK_PHANTOM_SEPARATE)
        status = fleck_place_separate(options, picture, window, out, err);
    else
        status = place_lattice(options, window, out, err);
    if (status == FLECK_OK && out->count > 0)
        qsort(out->items, out->count, sizeof *out->items, higher_first);
    return status;
}

fleck_status fleck_place(const fleck_phantom_options *options, const fleck_phantom_frame *frame,
                         double margin_mm, fleck_dots *out, fleck_error *err)
{
    const fleck_window picture = window_of(frame, 0);
    const fleck_window window = window_of(frame, margin_mm);

    return fleck_place_in(options, &picture, &window, out, err);
}
