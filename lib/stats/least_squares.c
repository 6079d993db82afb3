/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Years such as 1947 beside percentages make X'X hopeless to invert. Here each column loses its
 * mean and is scaled to length 1 before a Householder QR, so that a coefficient is as good as the
 * columns are independent, whatever their units. `root` is R^-1 with the scaling taken back: for a
 * combination a of the coefficients, a'(X'X)^-1 a = a0^2 / rows + |root' (a - a0 centre)|^2, which
 * adds squares only and so cancels nothing.
 */
#include "stats/least_squares.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#include <gsl/gsl_linalg.h>

#include "core/memory.h"
#include "stats/moments.h"

/*
 * A column of length 1 of which less than this is left beside the columns before it is no column of
 * its own: the numbers of a table are rounded to some five digits at best. Common practice, no
 * source.
 */
static const double LEFT_OVER = 1e-8;

/* The centred and scaled columns, then their decomposition, row by row. */
struct work {
    double *q;     /* rows x inner */
    double *tau;   /* inner */
    double *right; /* rows */
    double *scale; /* inner */
    double *basis; /* rows */
};

static double length(const double *values, size_t count)
{
    double sum = 0;

    for (size_t i = 0; i < count; i++)
        sum += values[i] * values[i];
    return sqrt(sum);
}

static bool all_same(const double *values, size_t count)
{
    for (size_t i = 1; i < count; i++) {
        if (values[i] != values[0])
            return false;
    }
    return true;
}

/* The column before `column` that has the largest share in it: solve R c = r for its part of R. */
static size_t partner_of(const struct work *work, size_t inner, size_t column)
{
    size_t best = 0;
    double largest = -1;

    for (size_t i = column; i-- > 0;) {
        double sum = work->q[i * inner + column];

        for (size_t k = i + 1; k < column; k++)
            sum -= work->q[i * inner + k] * work->basis[k];
        work->basis[i] = sum / work->q[i * inner + i];
    }
    for (size_t i = 0; i < column; i++) {
        if (fabs(work->basis[i]) > largest) {
            largest = fabs(work->basis[i]);
            best = i;
        }
    }
    return best + 1;
}

static fleck_status decompose(const double *x, size_t rows, size_t inner, struct work *work,
                              fleck_least_squares_fault *fault, fleck_least_squares *fit,
                              fleck_error *err)
{
    gsl_matrix_view q;
    gsl_vector_view tau;

    if (inner == 0)
        return FLECK_OK;
    for (size_t j = 0; j < inner; j++) {
        const double *const column = x + j * rows;

        fit->centre[j] = fleck_moments_of(column, rows).mean;
        for (size_t i = 0; i < rows; i++)
            work->basis[i] = column[i] - fit->centre[j];
        work->scale[j] = length(work->basis, rows);
        if (all_same(column, rows) || !(work->scale[j] > 0)) {
            *fault = (fleck_least_squares_fault){ FLECK_COLUMN_CONSTANT, j + 1, 0 };
            return fleck_fail(err, FLECK_BAD_INPUT, "a column is constant; leave it out");
        }
        for (size_t i = 0; i < rows; i++)
            work->q[i * inner + j] = work->basis[i] / work->scale[j];
    }
    q = gsl_matrix_view_array(work->q, rows, inner);
    tau = gsl_vector_view_array(work->tau, inner);
    gsl_linalg_QR_decomp(&q.matrix, &tau.vector);
    for (size_t j = 0; j < inner; j++) {
        if (fabs(work->q[j * inner + j]) < LEFT_OVER) {
            *fault = (fleck_least_squares_fault){ FLECK_COLUMN_COLLINEAR, j + 1,
                                                  partner_of(work, inner, j) };
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "a column can be computed from others; leave it out");
        }
    }
    return FLECK_OK;
}

/* root = D^-1 R^-1, upper triangular: row j holds what column j's unit takes from each direction.
 */
static void invert(const struct work *work, size_t inner, fleck_least_squares *fit)
{
    for (size_t k = 0; k < inner; k++) {
        for (size_t i = k + 1; i-- > 0;) {
            double sum = i == k ? 1.0 : 0.0;

            for (size_t l = i + 1; l <= k; l++)
                sum -= work->q[i * inner + l] * fit->root[l * inner + k];
            fit->root[i * inner + k] = sum / work->q[i * inner + i];
        }
    }
    for (size_t j = 0; j < inner; j++) {
        for (size_t k = j; k < inner; k++)
            fit->root[j * inner + k] /= work->scale[j];
    }
}

static void solve(const double *y, size_t rows, size_t inner, struct work *work,
                  fleck_least_squares *fit)
{
    const double mean = fleck_moments_of(y, rows).mean;
    gsl_vector_view right = gsl_vector_view_array(work->right, rows);

    fit->level = all_same(y, rows) ? y[0] : mean;
    fit->coefficient[0] = fit->level;
    for (size_t i = 0; i < rows; i++)
        work->right[i] = y[i] - fit->level;
    if (inner > 0) {
        gsl_matrix_view q = gsl_matrix_view_array(work->q, rows, inner);
        gsl_vector_view tau = gsl_vector_view_array(work->tau, inner);

        gsl_linalg_QR_QTvec(&q.matrix, &tau.vector, &right.vector);
        for (size_t j = 0; j < inner; j++) {
            double sum = 0;

            for (size_t k = j; k < inner; k++)
                sum += fit->root[j * inner + k] * work->right[k];
            fit->coefficient[j + 1] = sum;
        }
        for (size_t j = 0; j < inner; j++)
            work->right[j] = 0;
        gsl_linalg_QR_Qvec(&q.matrix, &tau.vector, &right.vector);
        for (size_t j = 0; j < inner; j++)
            fit->coefficient[0] -= fit->coefficient[j + 1] * fit->centre[j];
    }
    memcpy(fit->residual, work->right, rows * sizeof *fit->residual);
}

static void find_leverages(size_t rows, size_t inner, struct work *work, fleck_least_squares *fit)
{
    for (size_t i = 0; i < rows; i++)
        fit->leverage[i] = 1.0 / (double)rows;
    for (size_t j = 0; j < inner; j++) {
        gsl_matrix_view q = gsl_matrix_view_array(work->q, rows, inner);
        gsl_vector_view tau = gsl_vector_view_array(work->tau, inner);
        gsl_vector_view basis = gsl_vector_view_array(work->basis, rows);

        for (size_t i = 0; i < rows; i++)
            work->basis[i] = i == j ? 1.0 : 0.0;
        gsl_linalg_QR_Qvec(&q.matrix, &tau.vector, &basis.vector);
        for (size_t i = 0; i < rows; i++)
            fit->leverage[i] += work->basis[i] * work->basis[i];
    }
}

static void judge(const double *y, fleck_least_squares *fit)
{
    const double mean = fleck_moments_of(y, fit->rows).mean;
    double total = 0;

    fit->rss = 0;
    for (size_t i = 0; i < fit->rows; i++) {
        fit->rss += fit->residual[i] * fit->residual[i];
        total += (y[i] - mean) * (y[i] - mean);
    }
    fit->residual_sd = sqrt(fit->rss / (double)fit->df);
    if (all_same(y, fit->rows)) {
        fit->r2 = fit->r2_adjusted = NAN;
    } else {
        fit->r2 = 1 - fit->rss / total;
        fit->r2_adjusted = 1 - fit->rss / (double)fit->df / (total / (double)(fit->rows - 1));
    }
    for (size_t i = 0; i < fit->rows; i++) {
        const double free_part = 1 - fit->leverage[i];
        const double spread = fit->residual_sd * fit->residual_sd * (double)fit->columns;

        /* with no freedom left the residual is 0, and rounding would decide */
        fit->cook[i] = free_part < 1e-10 || !(spread > 0)
                           ? 0
                           : fit->residual[i] * fit->residual[i] * fit->leverage[i] /
                                 (spread * free_part * free_part);
    }
}

double fleck_least_squares_form(const fleck_least_squares *fit, const double *a, const double *b,
                                double *work)
{
    const size_t inner = fit->columns - 1;
    double *const from_b = work + fit->columns;
    double sum = a[0] * b[0] / (double)fit->rows;

    for (size_t j = 0; j < inner; j++) {
        work[j] = a[j + 1] - a[0] * fit->centre[j];
        from_b[j] = b[j + 1] - b[0] * fit->centre[j];
    }
    for (size_t k = 0; k < inner; k++) {
        double left = 0, right = 0;

        for (size_t j = 0; j <= k; j++) {
            left += fit->root[j * inner + k] * work[j];
            right += fit->root[j * inner + k] * from_b[j];
        }
        sum += left * right;
    }
    return sum;
}

double fleck_least_squares_value(const fleck_least_squares *fit, const double *a)
{
    double sum = a[0] * fit->level;

    for (size_t j = 1; j < fit->columns; j++)
        sum += (a[j] - a[0] * fit->centre[j - 1]) * fit->coefficient[j];
    return sum;
}

void fleck_least_squares_clear(fleck_least_squares *fit)
{
    if (fit == NULL)
        return;
    fleck_free(fit->coefficient);
    fleck_free(fit->se);
    fleck_free(fit->residual);
    fleck_free(fit->leverage);
    fleck_free(fit->cook);
    fleck_free(fit->centre);
    fleck_free(fit->root);
    *fit = (fleck_least_squares){ 0 };
}

static void free_work(struct work *work)
{
    fleck_free(work->q);
    fleck_free(work->tau);
    fleck_free(work->right);
    fleck_free(work->scale);
    fleck_free(work->basis);
}

static fleck_status make_room(size_t rows, size_t columns, struct work *work,
                              fleck_least_squares *fit, fleck_error *err)
{
    size_t cells, squares;

    if (size_mul(rows, columns, &cells) && size_mul(columns, columns, &squares)) {
        work->q = fleck_alloc_array(cells, sizeof *work->q);
        work->tau = fleck_alloc_array(columns, sizeof *work->tau);
        work->right = fleck_alloc_array(rows, sizeof *work->right);
        work->scale = fleck_alloc_array(columns, sizeof *work->scale);
        work->basis = fleck_alloc_array(rows, sizeof *work->basis);
        fit->coefficient = fleck_alloc_array(columns, sizeof *fit->coefficient);
        fit->se = fleck_alloc_array(columns, sizeof *fit->se);
        fit->residual = fleck_alloc_array(rows, sizeof *fit->residual);
        fit->leverage = fleck_alloc_array(rows, sizeof *fit->leverage);
        fit->cook = fleck_alloc_array(rows, sizeof *fit->cook);
        fit->centre = fleck_alloc_array(columns, sizeof *fit->centre);
        fit->root = fleck_alloc_zeroed(squares, sizeof *fit->root);
    }
    if (work->q == NULL || work->tau == NULL || work->right == NULL || work->scale == NULL ||
        work->basis == NULL || fit->coefficient == NULL || fit->se == NULL ||
        fit->residual == NULL || fit->leverage == NULL || fit->cook == NULL ||
        fit->centre == NULL || fit->root == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a fit; free some memory");
    return FLECK_OK;
}

fleck_status fleck_least_squares_fit(const double *x, const double *y, size_t rows, size_t columns,
                                     fleck_least_squares_fault *fault, fleck_least_squares *fit,
                                     fleck_error *err)
{
    struct work work = { 0 };
    fleck_status status;

    assert(columns >= 1);
    *fit = (fleck_least_squares){ .rows = rows, .columns = columns };
    *fault = (fleck_least_squares_fault){ FLECK_COLUMN_FINE, 0, 0 };
    if (rows <= columns)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "%zu values cannot carry %zu terms; give more values", rows, columns);
    fit->df = rows - columns;
    if ((status = make_room(rows, columns, &work, fit, err)) != FLECK_OK ||
        (status = decompose(x, rows, columns - 1, &work, fault, fit, err)) != FLECK_OK)
        goto done;
    invert(&work, columns - 1, fit);
    solve(y, rows, columns - 1, &work, fit);
    find_leverages(rows, columns - 1, &work, fit);
    judge(y, fit);
    for (size_t j = 0; j < columns; j++) {
        for (size_t k = 0; k < columns; k++)
            work.basis[k] = k == j ? 1.0 : 0.0; /* rows > columns: there is room */
        fit->se[j] =
            fit->residual_sd * sqrt(fleck_least_squares_form(fit, work.basis, work.basis, work.q));
    }
done:
    free_work(&work);
    if (status != FLECK_OK)
        fleck_least_squares_clear(fit);
    return status;
}
