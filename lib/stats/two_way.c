/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/two_way.h"

#include <math.h>

#include "core/memory.h"
#include "stats/moments.h"

static double mean_of(const fleck_sum *sum, double count)
{
    return fleck_sum_value(sum) / count;
}

static void add_square(fleck_sum *sum, double weight, double deviation)
{
    fleck_sum_add(sum, weight * deviation * deviation);
}

static void fill_squares(const fleck_two_way *sizes, const double *row, const double *column,
                         const double *cell, const double *values, fleck_two_way *out)
{
    const size_t rows = (size_t)sizes->rows, columns = (size_t)sizes->columns;
    const size_t repeats = (size_t)sizes->repeats;
    fleck_sum by_row = { 0, 0 }, by_column = { 0, 0 }, by_cell = { 0, 0 }, by_value = { 0, 0 };
    const double mean = out->mean;

    for (size_t r = 0; r < rows; r++)
        add_square(&by_row, sizes->columns * sizes->repeats, row[r] - mean);
    for (size_t c = 0; c < columns; c++)
        add_square(&by_column, sizes->rows * sizes->repeats, column[c] - mean);
    for (size_t r = 0; r < rows; r++) {
        for (size_t c = 0; c < columns; c++) {
            const double at = cell[r * columns + c];

            add_square(&by_cell, sizes->repeats, at - row[r] - column[c] + mean);
            for (size_t i = 0; i < repeats; i++)
                add_square(&by_value, 1, values[(r * columns + c) * repeats + i] - values[0] - at);
        }
    }
    out->ss_rows = fleck_sum_value(&by_row);
    out->ss_columns = fleck_sum_value(&by_column);
    out->ss_interaction = fleck_sum_value(&by_cell);
    out->ss_repeat = fleck_sum_value(&by_value);
}

static double mean_square(double ss, double df)
{
    return df > 0 ? ss / df : NAN;
}

fleck_status fleck_two_way_of(const double *values, size_t rows, size_t columns, size_t repeats,
                              fleck_two_way *out, fleck_error *err)
{
    fleck_sum *const row_sum = fleck_alloc_zeroed(rows, sizeof *row_sum);
    fleck_sum *const column_sum = fleck_alloc_zeroed(columns, sizeof *column_sum);
    double *const row = fleck_alloc_array(rows, sizeof *row);
    double *const column = fleck_alloc_array(columns, sizeof *column);
    double *const cell = fleck_alloc_array(rows * columns, sizeof *cell);
    fleck_sum total = { 0, 0 };
    fleck_status status = FLECK_OK;

    *out = (fleck_two_way){ .rows = (double)rows, .columns = (double)columns,
                            .repeats = (double)repeats };
    if (row_sum == NULL || column_sum == NULL || row == NULL || column == NULL || cell == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for %zu x %zu cells; give fewer patches",
                            rows, columns);
        goto done;
    }
    for (size_t r = 0; r < rows; r++) {
        for (size_t c = 0; c < columns; c++) {
            fleck_sum sum = { 0, 0 };

            for (size_t i = 0; i < repeats; i++)
                fleck_sum_add(&sum, values[(r * columns + c) * repeats + i] - values[0]);
            cell[r * columns + c] = mean_of(&sum, out->repeats);
            fleck_sum_add(&row_sum[r], fleck_sum_value(&sum));
            fleck_sum_add(&column_sum[c], fleck_sum_value(&sum));
            fleck_sum_add(&total, fleck_sum_value(&sum));
        }
    }
    for (size_t r = 0; r < rows; r++)
        row[r] = mean_of(&row_sum[r], out->columns * out->repeats);
    for (size_t c = 0; c < columns; c++)
        column[c] = mean_of(&column_sum[c], out->rows * out->repeats);
    out->mean = mean_of(&total, out->rows * out->columns * out->repeats);
    fill_squares(out, row, column, cell, values, out);
    out->mean += values[0];
    out->df_rows = out->rows - 1;
    out->df_columns = out->columns - 1;
    out->df_interaction = out->df_rows * out->df_columns;
    out->df_repeat = out->rows * out->columns * (out->repeats - 1);
    out->ms_rows = mean_square(out->ss_rows, out->df_rows);
    out->ms_columns = mean_square(out->ss_columns, out->df_columns);
    out->ms_interaction = mean_square(out->ss_interaction, out->df_interaction);
    out->ms_repeat = mean_square(out->ss_repeat, out->df_repeat);
done:
    fleck_free(row_sum);
    fleck_free(column_sum);
    fleck_free(row);
    fleck_free(column);
    fleck_free(cell);
    return status;
}
