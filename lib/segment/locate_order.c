/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reading order: rows are found along the tilt that the patches share, so that a sheet laid askew
 * reads as it would straight; within a row from left to right.
 */
#include "segment/locate_parts.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"

#define DEGREE (3.14159265358979323846 / 180)

/* A patch as seen along the sheet's tilt. */
struct placed {
    double x, y; /* of its centre, mm */
    double width, height;
    size_t row, column;
    size_t index; /* in the layout */
};

static int compare_doubles(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

static double median(double *values, size_t count)
{
    if (count == 0)
        return 0;
    qsort(values, count, sizeof *values, compare_doubles);
    return (values[(count - 1) / 2] + values[count / 2]) / 2;
}

static int compare_y(const void *a, const void *b)
{
    const struct placed *const p = a, *const q = b;

    if (p->y != q->y)
        return p->y < q->y ? -1 : 1;
    return (p->x > q->x) - (p->x < q->x);
}

static int compare_x(const void *a, const void *b)
{
    const struct placed *const p = a, *const q = b;

    if (p->x != q->x)
        return p->x < q->x ? -1 : 1;
    return (p->y > q->y) - (p->y < q->y);
}

static int compare_reading(const void *a, const void *b)
{
    const struct placed *const p = a, *const q = b;

    if (p->row != q->row)
        return p->row < q->row ? -1 : 1;
    return compare_x(a, b);
}

/*
 * Number groups along one direction: a patch belongs to the group under way when its centre is
 * nearer to that group's mean than half of the smaller extent.
 */
static size_t group(struct placed *placed, size_t count, bool rows, double *centres)
{
    size_t groups = 0, in_group = 0;
    double sum = 0, extent = 0;

    qsort(placed, count, sizeof *placed, rows ? compare_y : compare_x);
    for (size_t i = 0; i < count; i++) {
        const double at = rows ? placed[i].y : placed[i].x;
        const double here = rows ? placed[i].height : placed[i].width;

        if (i == 0 || at - sum / (double)in_group > fmin(here, extent / (double)in_group) / 2) {
            groups++;
            in_group = 0;
            sum = extent = 0;
        }
        in_group++;
        sum += at;
        extent += here;
        centres[groups - 1] = sum / (double)in_group;
        *(rows ? &placed[i].row : &placed[i].column) = groups - 1;
    }
    return groups;
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the layout; free some memory");
}

/* The grid line of each group; false when that cannot be told. */
static bool find_lines(const double *centres, size_t groups, size_t lines, size_t *line)
{
    double pitch = INFINITY;

    for (size_t i = 0; i < groups; i++)
        line[i] = i;
    if (groups == lines)
        return true;
    if (groups > lines || groups < 2)
        return false;
    for (size_t i = 1; i < groups; i++)
        pitch = fmin(pitch, centres[i] - centres[i - 1]);
    for (size_t i = 1; i < groups; i++)
        line[i] = (size_t)((centres[i] - centres[0]) / pitch + 0.5);
    /* with the outermost lines taken, what lies between them is certain */
    return line[groups - 1] == lines - 1;
}

static fleck_status warn_empty_cells(fleck_layout *layout, const struct placed *placed,
                                     const fleck_locate_options *options, fleck_error *err)
{
    const size_t cells = options->grid_rows * options->grid_columns; /* at most a million */
    bool *const taken = fleck_alloc_zeroed(cells, sizeof *taken);
    fleck_status status = FLECK_OK;

    if (taken == NULL)
        return no_memory(err);
    for (size_t i = 0; i < layout->count; i++) {
        if (placed[i].row < options->grid_rows && placed[i].column < options->grid_columns)
            taken[placed[i].row * options->grid_columns + placed[i].column] = true;
    }
    for (size_t i = 0; status == FLECK_OK && i < cells; i++) {
        if (!taken[i])
            status =
                fleck_warnings_add(&layout->warnings, err, "empty-cell",
                                   "no patch in cell r%zuc%zu of the grid; look at the preview",
                                   i / options->grid_columns + 1, i % options->grid_columns + 1);
    }
    fleck_free(taken);
    return status;
}

static fleck_status name_by_grid(fleck_layout *layout, struct placed *placed,
                                 const fleck_locate_options *options, fleck_error *err)
{
    const size_t count = layout->count;
    double *const centres = fleck_alloc_array(count, sizeof *centres);
    size_t *const row_line = fleck_alloc_array(count, sizeof *row_line);
    size_t *const column_line = fleck_alloc_array(count, sizeof *column_line);
    size_t rows, columns;
    bool certain;
    fleck_status status = FLECK_OK;

    if (centres == NULL || row_line == NULL || column_line == NULL) {
        status = no_memory(err);
        goto done;
    }
    columns = group(placed, count, false, centres);
    certain = find_lines(centres, columns, options->grid_columns, column_line);
    rows = group(placed, count, true, centres);
    certain = find_lines(centres, rows, options->grid_rows, row_line) && certain;
    for (size_t i = 0; i < count; i++) {
        placed[i].row = row_line[placed[i].row];
        placed[i].column = column_line[placed[i].column];
    }
    qsort(placed, count, sizeof *placed, compare_reading);
    if (!certain)
        status = fleck_warnings_add(
            &layout->warnings, err, "grid-differs",
            "the patches stand in %zu rows and %zu columns, not %zu x %zu, and it cannot be told "
            "which are missing; their names count from the first row and column found",
            rows, columns, options->grid_rows, options->grid_columns);
    for (size_t i = 0; i < count; i++) {
        fleck_located *const patch = &layout->patches[placed[i].index];
        size_t before = 0;

        while (before < i && placed[i - 1 - before].row == placed[i].row &&
               placed[i - 1 - before].column == placed[i].column)
            before++;
        if (before > 0 || placed[i].row >= options->grid_rows ||
            placed[i].column >= options->grid_columns)
            patch->doubts |= FLECK_DOUBT_OFF_GRID;
        if (before == 0)
            snprintf(patch->id, sizeof patch->id, "r%zuc%zu", placed[i].row + 1,
                     placed[i].column + 1);
        else
            snprintf(patch->id, sizeof patch->id, "r%zuc%zu-%zu", placed[i].row + 1,
                     placed[i].column + 1, before + 1);
    }
    if (status == FLECK_OK)
        status = warn_empty_cells(layout, placed, options, err);
done:
    fleck_free(centres);
    fleck_free(row_line);
    fleck_free(column_line);
    return status;
}

/* Least distance between two boxes as seen along the sheet's tilt, below 0 where they overlap. */
static double distance(const struct placed *p, const struct placed *q)
{
    return fmax(fabs(p->x - q->x) - (p->width + q->width) / 2,
                fabs(p->y - q->y) - (p->height + q->height) / 2);
}

/* A patch that is longer than the others by half, and as wide, may be several that touch. */
static bool is_several(double length, double usual, double across, double usual_across)
{
    return length > 1.5 * usual && fabs(across / usual_across - 1) < 0.25;
}

/* Whether most patches are of the same size. */
static bool have_usual_size(const struct placed *placed, size_t count, double width, double height)
{
    size_t usual = 0;

    for (size_t i = 0; i < count; i++)
        usual +=
            fabs(placed[i].width / width - 1) < 0.2 && fabs(placed[i].height / height - 1) < 0.2;
    return count >= 4 && 10 * usual >= 6 * count;
}

static fleck_status find_neighbours(fleck_layout *layout, const struct placed *placed,
                                    fleck_error *err)
{
    double *const room = fleck_alloc_array(layout->count, sizeof *room);
    double width, height;
    bool usual;

    if (room == NULL)
        return no_memory(err);
    for (size_t i = 0; i < layout->count; i++)
        room[i] = placed[i].width;
    width = median(room, layout->count);
    for (size_t i = 0; i < layout->count; i++)
        room[i] = placed[i].height;
    height = median(room, layout->count);
    fleck_free(room);
    usual = have_usual_size(placed, layout->count, width, height);
    for (size_t i = 0; i < layout->count; i++) {
        fleck_located *const patch = &layout->patches[placed[i].index];

        if (usual && (is_several(placed[i].width, width, placed[i].height, height) ||
                      is_several(placed[i].height, height, placed[i].width, width)))
            patch->doubts |= FLECK_DOUBT_SEVERAL;
        for (size_t j = 0; j < layout->count; j++) {
            if (j != i && distance(&placed[i], &placed[j]) < 0.5)
                patch->doubts |= FLECK_DOUBT_TOUCHES;
        }
    }
    return FLECK_OK;
}

fleck_status fleck_layout_order(fleck_layout *layout, const fleck_locate_options *options,
                                fleck_error *err)
{
    const size_t count = layout->count;
    struct placed *const placed = fleck_alloc_zeroed(count, sizeof *placed);
    double *const room = fleck_alloc_array(count, sizeof *room);
    fleck_located *const sorted = fleck_alloc_array(count, sizeof *sorted);
    double tilt;
    fleck_status status = FLECK_OK;

    if (placed == NULL || room == NULL || sorted == NULL) {
        status = no_memory(err);
        goto done;
    }
    for (size_t i = 0; i < count; i++)
        room[i] = layout->patches[i].tilt_deg;
    tilt = median(room, count) * DEGREE;
    for (size_t i = 0; i < count; i++) {
        const fleck_box_mm *const box = &layout->patches[i].box;
        const double x = box->x_mm + box->width_mm / 2, y = box->y_mm + box->height_mm / 2;

        placed[i] = (struct placed){ .x = x * cos(tilt) - y * sin(tilt),
                                     .y = x * sin(tilt) + y * cos(tilt),
                                     .width = box->width_mm,
                                     .height = box->height_mm,
                                     .index = i };
    }
    if ((status = find_neighbours(layout, placed, err)) != FLECK_OK)
        goto done;
    if (options->grid_rows > 0) {
        status = name_by_grid(layout, placed, options, err);
    } else {
        (void)group(placed, count, true, room);
        qsort(placed, count, sizeof *placed, compare_reading);
        for (size_t i = 0; i < count; i++) {
            fleck_located *const patch = &layout->patches[placed[i].index];

            snprintf(patch->id, sizeof patch->id, "%zu", i + 1);
        }
    }
    for (size_t i = 0; i < count; i++)
        sorted[i] = layout->patches[placed[i].index];
    if (count > 0)
        memcpy(layout->patches, sorted, count * sizeof *sorted);
done:
    fleck_free(placed);
    fleck_free(room);
    fleck_free(sorted);
    return status;
}
