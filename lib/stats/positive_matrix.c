/* SPDX-License-Identifier: GPL-3.0-or-later */
/* GSL's own ends the program by default when a matrix is not positive definite. */
#include "stats/positive_matrix.h"

#include <math.h>

/* Of a diagonal element, what must be left when the columns before it are taken out. */
static const double LEFT_OVER = 1e-13;

bool fleck_positive_factor(double *matrix, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j <= i; j++) {
            double sum = matrix[i * n + j];

            for (size_t k = 0; k < j; k++)
                sum -= matrix[i * n + k] * matrix[j * n + k];
            if (j < i) {
                matrix[i * n + j] = sum / matrix[j * n + j];
                continue;
            }
            if (!(sum > LEFT_OVER * matrix[i * n + i]))
                return false;
            matrix[i * n + i] = sqrt(sum);
        }
    }
    return true;
}

static void solve_lower(const double *factor, size_t n, double *b)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < i; k++)
            b[i] -= factor[i * n + k] * b[k];
        b[i] /= factor[i * n + i];
    }
}

void fleck_positive_solve(const double *factor, size_t n, double *b)
{
    solve_lower(factor, n, b);
    for (size_t i = n; i-- > 0;) {
        for (size_t k = i + 1; k < n; k++)
            b[i] -= factor[k * n + i] * b[k];
        b[i] /= factor[i * n + i];
    }
}

double fleck_positive_form(const double *factor, size_t n, double *b)
{
    double sum = 0;

    solve_lower(factor, n, b);
    for (size_t i = 0; i < n; i++)
        sum += b[i] * b[i];
    return sum;
}
