/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Poisson discs are drawn cell by cell on a grid that starts at the picture's top left, each cell
 * from its own stream of random numbers: the part of an endless pattern that the picture shows.
 * Cells are visited as far outside the picture as the largest disc reaches.
 *
 * Separate discs follow random sequential addition: sizes drawn first, placed from the largest
 * down, each where it first fits. Sizes stay as drawn; a size is never given up because it is hard
 * to place.
 */
#include "phantom/place.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "core/memory.h"
#include "phantom/closed_forms.h"
#include "phantom/dice.h"
#include "phantom/size_law.h"

static const double pi = 3.14159265358979323846;
static const double most_dots = 5e7;

/* Normal numbers beyond: 1e-15 of the discs, and 3e-9 of the ink at gsd 3. */
static const double poisson_z = 8;
/* 6e-5 of the discs; keeps the frame around separate discs narrow. */
static const double separate_z = 4;
/* Frame beyond the largest disc; four standard deviations of the largest softness. */
static const double separate_frame_mm = 2;

struct window {
    double left, top, right, bottom; /* mm */
};

/* The picture, wider by a margin on each side. */
static struct window window_of(const fleck_phantom_frame *frame, double margin_mm)
{
    return (struct window){ -margin_mm, -margin_mm,
                            (double)frame->width_px * frame->pixel_mm + margin_mm,
                            (double)frame->height_px * frame->pixel_mm + margin_mm };
}

static bool touches(const struct window *window, double x, double y, double radius)
{
    const double dx = fmax(fmax(window->left - x, x - window->right), 0);
    const double dy = fmax(fmax(window->top - y, y - window->bottom), 0);

    return dx * dx + dy * dy < radius * radius;
}

static fleck_status keep(fleck_dots *dots, double x_mm, double y_mm, double diameter_mm,
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

static fleck_status check_number(double dots, fleck_error *err)
{
    if (dots <= most_dots)
        return FLECK_OK;
    return fleck_fail(err, FLECK_BAD_CALL,
                      "about %.2g dots would be drawn, at most %.2g can be; give larger dots or a "
                      "smaller picture",
                      dots, most_dots);
}

/* ---- Poisson discs ---- */

static fleck_status place_in_cell(const fleck_phantom_options *options, const fleck_size_law *law,
                                  double intensity_per_mm2, double cell_mm, int64_t column,
                                  int64_t row, const struct window *window, fleck_dots *out,
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
        if (touches(window, x_mm, y_mm, diameter_mm / 2))
            status = keep(out, x_mm, y_mm, diameter_mm, err);
    }
    return status;
}

static fleck_status place_poisson(const fleck_phantom_options *options, const struct window *window,
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
    status =
        check_number(intensity_per_mm2 * (window->right - window->left + 2 * (reach_mm + cell_mm)) *
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

static fleck_status place_lattice(const fleck_phantom_options *options, const struct window *window,
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
    status = check_number((u_high - u_low + 1) * (v_high - v_low + 1), err);
    if (status != FLECK_OK)
        return status;
    for (int64_t j = (int64_t)v_low; status == FLECK_OK && j <= (int64_t)v_high; j++) {
        for (int64_t i = (int64_t)u_low; status == FLECK_OK && i <= (int64_t)u_high; i++) {
            const double u = (double)i + phase_u, v = (double)j + phase_v;
            const double x = u * ux + v * vx, y = u * uy + v * vy;

            if (touches(window, x, y, diameter_mm / 2))
                status = keep(out, x, y, diameter_mm, err);
        }
    }
    return status;
}

/* ---- separate discs ---- */

/* A grid of cells; each lists the discs whose bounding box meets it. */
struct crowd {
    const fleck_dot *dots; /* placed so far */
    struct window window;
    double cell_mm;
    size_t columns, rows;
    size_t *first; /* per cell: 1 + index into links, 0 for none */
    struct link {
        size_t dot;
        size_t next; /* 1 + index, 0 at the end */
    } * links;
    size_t link_count, link_capacity;
};

struct cells {
    size_t left, right, top, bottom; /* inclusive */
};

static size_t cell_at(double offset_mm, double cell_mm, size_t cells)
{
    const double cell = floor(offset_mm / cell_mm);

    if (cell < 0)
        return 0;
    return cell >= (double)cells ? cells - 1 : (size_t)cell;
}

static struct cells cells_of(const struct crowd *crowd, double x, double y, double reach)
{
    const double left = x - crowd->window.left, top = y - crowd->window.top;

    return (struct cells){ cell_at(left - reach, crowd->cell_mm, crowd->columns),
                           cell_at(left + reach, crowd->cell_mm, crowd->columns),
                           cell_at(top - reach, crowd->cell_mm, crowd->rows),
                           cell_at(top + reach, crowd->cell_mm, crowd->rows) };
}

static bool has_room(const struct crowd *crowd, double x, double y, double radius, double gap)
{
    const struct cells cells = cells_of(crowd, x, y, radius + gap);

    for (size_t row = cells.top; row <= cells.bottom; row++) {
        for (size_t column = cells.left; column <= cells.right; column++) {
            size_t at = crowd->first[row * crowd->columns + column];

            for (; at != 0; at = crowd->links[at - 1].next) {
                const fleck_dot *other = &crowd->dots[crowd->links[at - 1].dot];
                const double least = radius + other->diameter_mm / 2 + gap;
                const double dx = other->x_mm - x, dy = other->y_mm - y;

                if (dx * dx + dy * dy <= least * least)
                    return false;
            }
        }
    }
    return true;
}

static fleck_status enter(struct crowd *crowd, size_t dot, fleck_error *err)
{
    const fleck_dot *one = &crowd->dots[dot];
    const struct cells cells = cells_of(crowd, one->x_mm, one->y_mm, one->diameter_mm / 2);

    for (size_t row = cells.top; row <= cells.bottom; row++) {
        for (size_t column = cells.left; column <= cells.right; column++) {
            size_t *first = &crowd->first[row * crowd->columns + column];
            struct link *links =
                fleck_grow(crowd->links, &crowd->link_capacity, crowd->link_count, sizeof *links);

            if (links == NULL)
                return fleck_fail(err, FLECK_NO_RESOURCE,
                                  "no memory to place the dots; give a smaller picture");
            crowd->links = links;
            links[crowd->link_count] = (struct link){ dot, *first };
            *first = ++crowd->link_count;
        }
    }
    return FLECK_OK;
}

static int larger_first(const void *a, const void *b)
{
    const double first = ((const fleck_dot *)a)->diameter_mm;
    const double second = ((const fleck_dot *)b)->diameter_mm;

    return (first < second) - (first > second); /* equal ones are alike until they are placed */
}

static fleck_status no_room(const fleck_phantom_options *options, fleck_error *err)
{
    return fleck_fail(err, FLECK_BAD_CALL,
                      "coverage %g with gap_mm %g leaves no room for separate dots; give a lower "
                      "coverage or a smaller gap",
                      options->coverage, options->gap_mm);
}

/* Find a place for dots[i], the dots before it having theirs. */
static fleck_status find_place(const fleck_phantom_options *options, struct crowd *crowd,
                               fleck_dot *dot, fleck_dice *dice, fleck_error *err)
{
    enum { TRIES = 20000 }; /* common practice, no source: below 1e-4 of free area it is full */
    const double radius = dot->diameter_mm / 2;
    const double border = options->keep_inside ? radius : 0;
    const double width = crowd->window.right - crowd->window.left - 2 * border;
    const double height = crowd->window.bottom - crowd->window.top - 2 * border;

    if (width <= 0 || height <= 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a dot of %g mm does not fit into the picture; give smaller dots",
                          dot->diameter_mm);
    for (int i = 0; i < TRIES; i++) {
        dot->x_mm = crowd->window.left + border + width * fleck_dice_uniform(dice);
        dot->y_mm = crowd->window.top + border + height * fleck_dice_uniform(dice);
        if (has_room(crowd, dot->x_mm, dot->y_mm, radius, options->gap_mm))
            return FLECK_OK;
    }
    return no_room(options, err);
}

static fleck_status place_separate(const fleck_phantom_options *options,
                                   const struct window *picture, const struct window *window,
                                   fleck_dots *out, fleck_error *err)
{
    const fleck_size_law law = fleck_size_law_of(options);
    const double frame_mm =
        options->keep_inside ? 0 : separate_frame_mm + fleck_size_law_largest(&law, separate_z) / 2;
    struct crowd crowd = { .window = { picture->left - frame_mm, picture->top - frame_mm,
                                       picture->right + frame_mm, picture->bottom + frame_mm } };
    const double width_mm = crowd.window.right - crowd.window.left;
    const double height_mm = crowd.window.bottom - crowd.window.top;
    const double wanted = round(fleck_disc_intensity(options) * width_mm * height_mm);
    fleck_dice dice = fleck_dice_at(options->seed, FLECK_DICE_SEPARATE, 0, 0);
    fleck_dot *dots = NULL;
    size_t count;
    fleck_status status;

    if ((status = check_number(wanted, err)) != FLECK_OK)
        goto done;
    count = (size_t)wanted;
    crowd.cell_mm = sqrt(width_mm * height_mm / fmax(wanted, 1));
    if (width_mm / crowd.cell_mm > most_dots || height_mm / crowd.cell_mm > most_dots) {
        status = check_number(INFINITY, err);
        goto done;
    }
    crowd.columns = (size_t)(width_mm / crowd.cell_mm) + 1;
    crowd.rows = (size_t)(height_mm / crowd.cell_mm) + 1;
    dots = fleck_alloc_array(count, sizeof *dots);
    crowd.first = fleck_alloc_zeroed(crowd.columns * crowd.rows, sizeof *crowd.first);
    if (dots == NULL || crowd.first == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory to place the dots; give a smaller picture");
        goto done;
    }
    crowd.dots = dots;
    for (size_t i = 0; i < count; i++)
        dots[i] = (fleck_dot){ 0, 0, fleck_size_law_draw(&law, separate_z, &dice) };
    qsort(dots, count, sizeof *dots, larger_first);
    for (size_t i = 0; status == FLECK_OK && i < count; i++) {
        status = find_place(options, &crowd, &dots[i], &dice, err);
        if (status == FLECK_OK)
            status = enter(&crowd, i, err);
        if (status == FLECK_OK &&
            touches(window, dots[i].x_mm, dots[i].y_mm, dots[i].diameter_mm / 2))
            status = keep(out, dots[i].x_mm, dots[i].y_mm, dots[i].diameter_mm, err);
    }
done:
    free(dots);
    free(crowd.first);
    free(crowd.links);
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
    return larger_first(a, b);
}

bool fleck_dot_reaches(const fleck_dot *dot, const fleck_phantom_frame *frame)
{
    const struct window window = window_of(frame, 0);

    return touches(&window, dot->x_mm, dot->y_mm, dot->diameter_mm / 2);
}

bool fleck_dot_is_centred(const fleck_dot *dot, const fleck_phantom_frame *frame)
{
    const struct window window = window_of(frame, 0);

    return dot->x_mm >= window.left && dot->x_mm < window.right && dot->y_mm >= window.top &&
           dot->y_mm < window.bottom;
}

bool fleck_dot_is_whole(const fleck_dot *dot, const fleck_phantom_frame *frame)
{
    const struct window window = window_of(frame, -dot->diameter_mm / 2);

    return dot->x_mm >= window.left && dot->x_mm <= window.right && dot->y_mm >= window.top &&
           dot->y_mm <= window.bottom;
}

fleck_status fleck_place(const fleck_phantom_options *options, const fleck_phantom_frame *frame,
                         double margin_mm, fleck_dots *out, fleck_error *err)
{
    const struct window picture = window_of(frame, 0);
    const struct window window = window_of(frame, margin_mm);
    fleck_status status;

    if (options->kind == FLECK_PHANTOM_DISCS)
        status = place_poisson(options, &window, out, err);
    else if (options->kind == FLECK_PHANTOM_SEPARATE)
        status = place_separate(options, &picture, &window, out, err);
    else
        status = place_lattice(options, &window, out, err);
    if (status == FLECK_OK && out->count > 0)
        qsort(out->items, out->count, sizeof *out->items, higher_first);
    return status;
}
