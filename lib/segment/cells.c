/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Growing and shrinking by true discs through the exact distance transform, and labelling.
 * Source: Meijster, Roerdink & Hesselink (2000), a general algorithm for computing distance
 * transforms in linear time.
 */
#include "segment/locate_parts.h"

#include "core/memory.h"

/* No distance on a grid of at most 4 million cells; its square still fits 64 bits. */
enum { FAR_AWAY = 1 << 23 };

fleck_status fleck_cells_init(fleck_cells *cells, size_t columns, size_t rows, fleck_error *err)
{
    *cells = (fleck_cells){ .columns = columns, .rows = rows };
    cells->distance = fleck_alloc_array(columns * rows, sizeof *cells->distance);
    cells->line = fleck_alloc_array(columns, 3 * sizeof *cells->line);
    if (cells->distance == NULL || cells->line == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for a map of the sheet; free some memory");
    return FLECK_OK;
}

void fleck_cells_clear(fleck_cells *cells)
{
    fleck_free(cells->distance);
    fleck_free(cells->line);
    *cells = (fleck_cells){ 0 };
}

/* Along each column the distance to the nearest cell that is `wanted`. */
static void measure_columns(fleck_cells *cells, const uint8_t *mask, bool wanted)
{
    const size_t columns = cells->columns, rows = cells->rows;
    uint32_t *const distance = cells->distance;

    for (size_t i = 0; i < columns * rows; i++) {
        if ((mask[i] != 0) == wanted)
            distance[i] = 0;
        else
            distance[i] = i < columns || distance[i - columns] == FAR_AWAY
                              ? FAR_AWAY
                              : distance[i - columns] + 1;
    }
    for (size_t i = columns * (rows - 1); i-- > 0;) {
        if (distance[i + columns] + 1 < distance[i])
            distance[i] = distance[i + columns] + 1;
    }
}

static int64_t square_at(const uint32_t *g, int64_t x, int64_t i)
{
    return (x - i) * (x - i) + (int64_t)g[i] * (int64_t)g[i];
}

/* First place from which parabola u lies below parabola i, i < u; floored. */
static int64_t crossing(const uint32_t *g, int64_t i, int64_t u)
{
    const int64_t above = u * u - i * i + (int64_t)g[u] * g[u] - (int64_t)g[i] * g[i];
    const int64_t below = 2 * (u - i);

    return above >= 0 ? above / below : -((-above + below - 1) / below);
}

/* Set what lies within the radius of a cell that is `wanted`, to `wanted`. */
static void spread(fleck_cells *cells, uint8_t *mask, double radius, bool wanted)
{
    const int64_t columns = (int64_t)cells->columns;
    uint32_t *const centre = cells->line;
    uint32_t *const from = cells->line + cells->columns;
    const double reach = radius * radius + 1e-6;

    measure_columns(cells, mask, wanted);
    for (size_t row = 0; row < cells->rows; row++) {
        const uint32_t *const g = cells->distance + row * cells->columns;
        uint8_t *const line = mask + row * cells->columns;
        int64_t top = 0;

        centre[0] = 0;
        from[0] = 0;
        for (int64_t u = 1; u < columns; u++) {
            int64_t start;

            while (top >= 0 && square_at(g, from[top], centre[top]) > square_at(g, from[top], u))
                top--;
            if (top < 0) {
                top = 0;
                centre[0] = (uint32_t)u;
                from[0] = 0;
                continue;
            }
            start = 1 + crossing(g, centre[top], u);
            if (start < columns) {
                top++;
                centre[top] = (uint32_t)u;
                from[top] = (uint32_t)start;
            }
        }
        for (int64_t u = columns; u-- > 0;) {
            if ((double)square_at(g, u, centre[top]) <= reach)
                line[u] = wanted;
            if (u == from[top])
                top--;
        }
    }
}

void fleck_cells_grow(fleck_cells *cells, uint8_t *mask, double radius)
{
    if (radius > 0)
        spread(cells, mask, radius, true);
}

void fleck_cells_shrink(fleck_cells *cells, uint8_t *mask, double radius)
{
    if (radius > 0)
        spread(cells, mask, radius, false);
}

/* Fill one component from its first cell; stack has room for all cells. */
static fleck_shape flood(const fleck_cells *cells, const uint8_t *mask, uint32_t *label,
                         uint32_t number, size_t first, uint32_t *stack)
{
    const size_t columns = cells->columns;
    fleck_shape shape = { columns, cells->rows, 0, 0, 0 };
    size_t depth = 0;

    stack[depth++] = (uint32_t)first;
    label[first] = number;
    while (depth > 0) {
        const size_t i = stack[--depth], x = i % columns, y = i / columns;
        const bool there[4] = { x > 0, x + 1 < columns, y > 0, y + 1 < cells->rows };
        const size_t next[4] = { i - 1, i + 1, i - columns, i + columns };

        shape.area++;
        shape.left = x < shape.left ? x : shape.left;
        shape.top = y < shape.top ? y : shape.top;
        shape.right = x + 1 > shape.right ? x + 1 : shape.right;
        shape.bottom = y + 1 > shape.bottom ? y + 1 : shape.bottom;
        for (unsigned k = 0; k < 4; k++) {
            if (there[k] && mask[next[k]] != 0 && label[next[k]] == 0) {
                label[next[k]] = number;
                stack[depth++] = (uint32_t)next[k];
            }
        }
    }
    return shape;
}

fleck_status fleck_cells_label(const fleck_cells *cells, const uint8_t *mask, uint32_t *label,
                               fleck_shape **shapes, size_t *count, fleck_error *err)
{
    const size_t total = cells->columns * cells->rows;
    size_t capacity = 0;

    *shapes = NULL;
    *count = 0;
    for (size_t i = 0; i < total; i++)
        label[i] = 0;
    for (size_t i = 0; i < total; i++) {
        if (mask[i] != 0 && label[i] == 0) {
            fleck_shape *const grown = fleck_grow(*shapes, &capacity, *count, sizeof **shapes);

            if (grown == NULL) {
                fleck_free(*shapes);
                *shapes = NULL;
                *count = 0;
                return fleck_fail(err, FLECK_NO_RESOURCE,
                                  "no memory for the blocks; free some memory");
            }
            *shapes = grown;
            /* each cell is put on the stack once, so the distances' room suffices */
            grown[*count] = flood(cells, mask, label, (uint32_t)(*count + 1), i, cells->distance);
            ++*count;
        }
    }
    return FLECK_OK;
}
