/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A small patch has few windows, and those leave its rim out. So all its cells of 2 pixels are kept and
 * a surface of second order in x and y, fitted by least squares, is taken off: slopes and bows of the
 * light go with it.
 *
 * Cells of smooth noise are not independent. The third moment of n values of normal noise with the
 * correlation r(h) at distance h scatters as if there were n / sum r^3 of them, the fourth as if
 * n / sum r^4, summed over all distances in the plane (Priestley 1981, 5.3). The sums are taken from
 * correlations along rows and columns, as if they were the same in all directions.
 */
#include "segment/presence_parts.h"

#include <math.h>

enum {
    TERMS = 6,       /* 1, x, y, x^2, xy, y^2 */
    LEAST_SIDE = 9,  /* cells: those 4 apart need as many */
    LAGS = 16,       /* cells: correlations further off count as none */
    BEND = 4         /* cells */
};

/* Cells of a small patch. */
struct field {
    size_t width, height;
    const uint32_t *sums;
    const uint8_t *measured; /* NULL: all */
    double *rest;
};

static bool is_in(const struct field *field, size_t i)
{
    return field->measured == NULL || field->measured[i] != 0;
}

/* Terms at a cell; the patch spans -1 to 1 along both axes. */
static void find_terms(const struct field *field, size_t x, size_t y, double terms[TERMS])
{
    const double u = 2 * (double)x / (double)(field->width - 1) - 1;
    const double v = 2 * (double)y / (double)(field->height - 1) - 1;

    terms[0] = 1;
    terms[1] = u;
    terms[2] = v;
    terms[3] = u * u;
    terms[4] = u * v;
    terms[5] = v * v;
}

/* Solve the normal equations by Gauss's elimination; false when the cells do not settle the surface. */
static bool solve(double a[TERMS][TERMS], double b[TERMS])
{
    const double least = 1e-6 * a[0][0]; /* the terms are of size 1 */

    for (size_t i = 0; i < TERMS; i++) {
        if (!(a[i][i] > least))
            return false;
        for (size_t j = i + 1; j < TERMS; j++) {
            const double factor = a[j][i] / a[i][i];

            for (size_t k = i; k < TERMS; k++)
                a[j][k] -= factor * a[i][k];
            b[j] -= factor * b[i];
        }
    }
    for (size_t i = TERMS; i-- > 0;) {
        for (size_t k = i + 1; k < TERMS; k++)
            b[i] -= a[i][k] * b[k];
        b[i] /= a[i][i];
    }
    return true;
}

static bool take_surface_off(const struct field *field)
{
    double matrix[TERMS][TERMS] = { 0 }, surface[TERMS] = { 0 }, terms[TERMS];

    for (size_t y = 0, i = 0; y < field->height; y++) {
        for (size_t x = 0; x < field->width; x++, i++) {
            if (!is_in(field, i))
                continue;
            find_terms(field, x, y, terms);
            for (size_t j = 0; j < TERMS; j++) {
                for (size_t k = 0; k < TERMS; k++)
                    matrix[j][k] += terms[j] * terms[k];
                surface[j] += terms[j] * (field->sums[i] / 4.0);
            }
        }
    }
    if (!solve(matrix, surface))
        return false;
    for (size_t y = 0, i = 0; y < field->height; y++) {
        for (size_t x = 0; x < field->width; x++, i++) {
            double rest = field->sums[i] / 4.0;

            find_terms(field, x, y, terms);
            for (size_t j = 0; j < TERMS; j++)
                rest -= surface[j] * terms[j];
            field->rest[i] = is_in(field, i) ? rest : 0;
        }
    }
    return true;
}

/* Mean product of cells that lie this far apart, over the variance; 0 without any. */
static double correlation(const struct field *field, size_t dx, size_t dy, double m2)
{
    const size_t ahead = dy * field->width + dx;
    double sum = 0, pairs = 0;

    for (size_t y = 0; y + dy < field->height; y++) {
        for (size_t x = 0; x + dx < field->width; x++) {
            const size_t i = y * field->width + x;

            if (is_in(field, i) && is_in(field, i + ahead)) {
                sum += field->rest[i] * field->rest[i + ahead];
                pairs++;
            }
        }
    }
    return pairs > 0 ? sum / pairs / m2 : 0;
}

static void find_dependence(const struct field *field, struct whole_shape *shape)
{
    shape->third = shape->fourth = 1;
    for (size_t lag = 1; lag <= LAGS; lag++) {
        const double x = fmax(correlation(field, lag, 0, shape->m2), 0);
        const double y = fmax(correlation(field, 0, lag, shape->m2), 0);
        const double half_ring = acos(-1.0) * (double)lag; /* each axis stands for half the cells there */

        shape->third += half_ring * (x * x * x + y * y * y);
        shape->fourth += half_ring * (x * x * x * x + y * y * y * y);
        if (x <= 0 && y <= 0)
            return;
    }
}

static double bend(const struct field *field, size_t dx, size_t dy)
{
    const size_t ahead = dy * field->width + dx;
    double sum = 0, found = 0;

    for (size_t y = dy; y + dy < field->height; y++) {
        for (size_t x = dx; x + dx < field->width; x++) {
            const size_t i = y * field->width + x;
            const double second =
                field->rest[i - ahead] - 2 * field->rest[i] + field->rest[i + ahead];

            if (is_in(field, i - ahead) && is_in(field, i) && is_in(field, i + ahead)) {
                sum += second * second;
                found++;
            }
        }
    }
    return found > 0 ? sum / found : 0;
}

bool fleck_presence_whole(const fleck_presence *presence, struct whole_shape *shape)
{
    const struct whole *const whole = &presence->whole;
    const struct field field = { presence->width_px / 2, whole->rows, whole->sums, whole->measured,
                                 whole->rest };
    const size_t count = field.width * field.height;
    double mean = 0;

    *shape = (struct whole_shape){ 0 };
    if (whole->rows > whole->room || field.width < LEAST_SIDE || field.height < LEAST_SIDE ||
        !take_surface_off(&field))
        return false;
    for (size_t i = 0; i < count; i++) {
        mean += field.rest[i];
        shape->cells += is_in(&field, i);
    }
    mean /= shape->cells;
    for (size_t i = 0; i < count; i++) {
        const double rest = is_in(&field, i) ? field.rest[i] - mean : 0;
        const double square = rest * rest;

        field.rest[i] = rest;
        shape->m2 += square / shape->cells;
        shape->m3 += square * rest / shape->cells;
        shape->m4 += square * square / shape->cells;
    }
    if (!(shape->m2 > 0))
        return false;
    shape->roughness = (bend(&field, BEND, 0) + bend(&field, 0, BEND)) / 2;
    find_dependence(&field, shape);
    return true;
}
