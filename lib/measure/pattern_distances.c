/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Distances to the nearest point, from points and from places. One that is longer than the way to
 * the border may be shorter in truth, by a point that is not seen: it is known to be at least that
 * way, as a lifetime is of which the end is not seen. The product-limit estimate (Kaplan & Meier
 * 1958) is for such (Baddeley & Gill 1997).
 */
#include "fleck/pattern.h"

#include <math.h>
#include <stdlib.h>

#include "core/memory.h"
#include "fleck/texture.h"
#include "measure/pattern_parts.h"

enum { MOST_CELLS = 4096 };

/* How far it was seen that there is no point, and whether the next step found one. */
struct sight {
    double mm;
    int found;
};

static struct sight sight_of(double nearest_mm, fleck_point_mm from, double width_mm,
                             double height_mm)
{
    const double border_mm =
        fmin(fmin(from.x_mm, width_mm - from.x_mm), fmin(from.y_mm, height_mm - from.y_mm));

    return nearest_mm <= border_mm ? (struct sight){ nearest_mm, 1 }
                                   : (struct sight){ border_mm, 0 };
}

static int by_length(const void *a, const void *b)
{
    const struct sight *const s = a, *const t = b;

    return (s->mm > t->mm) - (s->mm < t->mm);
}

/* Sorts the sights. One that ends without a point at some distance is still at risk there. */
static void product_limit(struct sight *sights, size_t n, const double *r_mm, size_t count,
                          double *out)
{
    double none = 1; /* share that has no point up to here */
    size_t i = 0;

    if (n == 0) {
        for (size_t k = 0; k < count; k++)
            out[k] = NAN;
        return;
    }
    qsort(sights, n, sizeof *sights, by_length);
    for (size_t k = 0; k < count; k++) {
        while (i < n && sights[i].mm <= r_mm[k]) {
            const double here_mm = sights[i].mm, at_risk = (double)(n - i);
            double found = 0;

            for (; i < n && sights[i].mm <= here_mm; i++)
                found += sights[i].found;
            none *= 1 - found / at_risk;
        }
        out[k] = 1 - none;
    }
}

static fleck_status no_memory(size_t n, fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for the distances of %zu places; give a smaller region", n);
}

fleck_status fleck_pattern_nearest_g(const fleck_point_mm *points, size_t n, double width_mm,
                                     double height_mm, const double *r_mm, size_t count, double *g,
                                     fleck_error *err)
{
    struct sight *sights = NULL;
    double *nearest_mm = NULL;
    fleck_status status = fleck_pattern_check(points, n, width_mm, height_mm, r_mm, count, err);

    if (status != FLECK_OK)
        return status;
    sights = fleck_alloc_array(n, sizeof *sights);
    nearest_mm = fleck_alloc_array(n, sizeof *nearest_mm);
    if (sights == NULL || nearest_mm == NULL)
        status = no_memory(n, err);
    else
        status = fleck_nearest_neighbours(points, n, width_mm, height_mm, nearest_mm, err);
    if (status == FLECK_OK) {
        const size_t known = n < 2 ? 0 : n;

        for (size_t i = 0; i < known; i++)
            sights[i] = sight_of(nearest_mm[i], points[i], width_mm, height_mm);
        product_limit(sights, known, r_mm, count, g);
    }
    fleck_free(sights);
    fleck_free(nearest_mm);
    return status;
}

/* Points in the order of the cells of a coarse grid, of about one point each. */
struct coarse {
    size_t columns, rows;
    double cell_x_mm, cell_y_mm;
    size_t *start; /* of each cell's points; one more for the end */
    fleck_point_mm *points;
};

static size_t cell_index(double at_mm, double cell_mm, size_t cells)
{
    const double cell = at_mm / cell_mm;

    return cell < (double)cells ? (size_t)cell : cells - 1;
}

static fleck_status coarse_init(struct coarse *coarse, const fleck_point_mm *points, size_t n,
                                double width_mm, double height_mm, fleck_error *err)
{
    const double side_mm = sqrt(width_mm * height_mm / (double)n);
    size_t cells;

    /* at most n along a side, whatever the window's proportions */
    coarse->columns = (size_t)fmin(fmax(width_mm / side_mm, 1), (double)n);
    coarse->rows = (size_t)fmin(fmax(height_mm / side_mm, 1), (double)n);
    coarse->cell_x_mm = width_mm / (double)coarse->columns;
    coarse->cell_y_mm = height_mm / (double)coarse->rows;
    if (!size_mul(coarse->columns, coarse->rows, &cells))
        return no_memory(n, err);
    coarse->start = fleck_alloc_zeroed(cells + 2, sizeof *coarse->start);
    coarse->points = fleck_alloc_array(n, sizeof *coarse->points);
    if (coarse->start == NULL || coarse->points == NULL)
        return no_memory(n, err);
    /* counts two places ahead become starts one place ahead, which filling moves to their place */
    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i < n; i++) {
            const size_t column = cell_index(points[i].x_mm, coarse->cell_x_mm, coarse->columns);
            const size_t row = cell_index(points[i].y_mm, coarse->cell_y_mm, coarse->rows);
            const size_t cell = row * coarse->columns + column;

            if (pass == 0)
                coarse->start[cell + 2]++;
            else
                coarse->points[coarse->start[cell + 1]++] = points[i];
        }
        for (size_t cell = 0; pass == 0 && cell + 1 < cells + 2; cell++)
            coarse->start[cell + 1] += coarse->start[cell];
    }
    return FLECK_OK;
}

static void look_in_cells(const struct coarse *coarse, size_t row, size_t first, size_t last,
                          fleck_point_mm from, double *best_mm2)
{
    const size_t end = coarse->start[row * coarse->columns + last + 1];

    for (size_t i = coarse->start[row * coarse->columns + first]; i < end; i++) {
        const double x = coarse->points[i].x_mm - from.x_mm, y = coarse->points[i].y_mm - from.y_mm;

        *best_mm2 = fmin(*best_mm2, x * x + y * y);
    }
}

/* Cells in square rings around the place's own, until none of the next can hold a nearer point. */
static double nearest_point_mm(const struct coarse *coarse, fleck_point_mm from)
{
    const size_t column = cell_index(from.x_mm, coarse->cell_x_mm, coarse->columns);
    const size_t row = cell_index(from.y_mm, coarse->cell_y_mm, coarse->rows);
    const double cell_mm = fmin(coarse->cell_x_mm, coarse->cell_y_mm);
    const size_t most = coarse->columns > coarse->rows ? coarse->columns : coarse->rows;
    double best_mm2 = INFINITY;

    for (size_t ring = 0; ring < most; ring++) {
        const size_t left = column > ring ? column - ring : 0;
        const size_t right = ring < coarse->columns - column ? column + ring : coarse->columns - 1;
        const size_t top = row > ring ? row - ring : 0;
        const size_t bottom = ring < coarse->rows - row ? row + ring : coarse->rows - 1;
        const double clear_mm = ((double)ring - 1) * cell_mm;

        if (ring > 0 && clear_mm * clear_mm > best_mm2)
            break;
        for (size_t y = top; y <= bottom; y++) {
            if (y + ring == row || y == row + ring) {
                look_in_cells(coarse, y, left, right, from, &best_mm2);
                continue;
            }
            if (column >= ring)
                look_in_cells(coarse, y, left, left, from, &best_mm2);
            if (ring < coarse->columns - column)
                look_in_cells(coarse, y, right, right, from, &best_mm2);
        }
    }
    return sqrt(best_mm2);
}

fleck_status fleck_pattern_empty_f(const fleck_point_mm *points, size_t n, double width_mm,
                                   double height_mm, size_t cells, const double *r_mm, size_t count,
                                   double *f, fleck_error *err)
{
    struct coarse coarse = { 0 };
    struct sight *sights = NULL;
    size_t columns, rows;
    fleck_status status = fleck_pattern_check(points, n, width_mm, height_mm, r_mm, count, err);

    if (status != FLECK_OK)
        return status;
    if (cells < 1 || cells > MOST_CELLS)
        return fleck_fail(err, FLECK_BAD_CALL, "a grid of %zu cells; give 1 to %d", cells,
                          MOST_CELLS);
    if (n == 0) {
        product_limit(NULL, 0, r_mm, count, f);
        return FLECK_OK;
    }
    columns = (size_t)fmax(round((double)cells * fmin(width_mm / height_mm, 1)), 1);
    rows = (size_t)fmax(round((double)cells * fmin(height_mm / width_mm, 1)), 1);
    sights = fleck_alloc_array(columns * rows, sizeof *sights);
    status = sights != NULL ? coarse_init(&coarse, points, n, width_mm, height_mm, err)
                            : no_memory(columns * rows, err);
    for (size_t y = 0; status == FLECK_OK && y < rows; y++) {
        for (size_t x = 0; x < columns; x++) {
            const fleck_point_mm from = { ((double)x + 0.5) * width_mm / (double)columns,
                                          ((double)y + 0.5) * height_mm / (double)rows };

            sights[y * columns + x] =
                sight_of(nearest_point_mm(&coarse, from), from, width_mm, height_mm);
        }
    }
    if (status == FLECK_OK)
        product_limit(sights, columns * rows, r_mm, count, f);
    fleck_free(sights);
    fleck_free(coarse.start);
    fleck_free(coarse.points);
    return status;
}
