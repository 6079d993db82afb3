/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/overlay_lines.h"

#include <string.h>

#include "core/memory.h"
#include "report/overlay_axis.h"
#include "report/overlay_palette.h"

enum { RING = 5, CENTRE = 2, NO_ROW = -1 };

struct overlay_lines {
    const fleck_patch_view *view;
    const fleck_overlay_place *place;
    overlay_classes *classes; /* NULL: without lines */
    overlay_axis x, y;
    uint8_t ground;   /* round the patch */
    uint8_t *grey_of; /* FLECK_LEVELS */
    uint16_t *q;
    uint64_t *sums;    /* of a picture row */
    uint8_t *greys;    /* of the patch's part of a picture row */
    ptrdiff_t grey_of_row; /* scan row in greys where rows are enlarged */

    /* rows of classes, each with one pixel outside at either end: of the scan on the edges, else of
       the picture */
    size_t class_width_px, class_height_px;
    uint8_t *ring[RING], *outside, *scan_row;
    size_t loaded;
    size_t *column; /* place in such a row of picture pixels -3 line_px to width_px + 3 line_px - 1 */
    uint8_t *dash;  /* parity of the scan pixels' corner that a picture pixel is nearest to */
    ptrdiff_t next_y;
};

overlay_style overlay_style_of(unsigned class)
{
    switch (class) {
    case OVERLAY_SMALL:
        return OVERLAY_DOTTED;
    case OVERLAY_EDGE:
        return OVERLAY_DASHED;
    case OVERLAY_MERGED:
        return OVERLAY_DOUBLE;
    default:
        return OVERLAY_SOLID;
    }
}

/* Which corner of the scan's pixels is nearest, from 0; pixels beyond the patch take its own. */
static size_t nearest_corner(const overlay_axis *axis, ptrdiff_t at)
{
    size_t scan, start, end;

    if (at < 0)
        return 0;
    if ((size_t)at >= axis->picture_px)
        return axis->scan_px;
    scan = overlay_axis_first(axis, (size_t)at);
    start = overlay_axis_start(axis, scan);
    end = overlay_axis_start(axis, scan + 1);
    return scan + (2 * ((size_t)at - start) + 1 > end - start);
}

static bool make_columns(overlay_lines *lines)
{
    const fleck_overlay_place *const place = lines->place;
    const ptrdiff_t reach = 3 * (ptrdiff_t)place->line_px;
    const size_t count = place->width_px + 6 * place->line_px;

    lines->column = fleck_alloc_array(count, sizeof *lines->column);
    lines->dash = fleck_alloc_array(count, 1);
    if (lines->column == NULL || lines->dash == NULL)
        return false;
    for (size_t i = 0; i < count; i++) {
        const ptrdiff_t at = (ptrdiff_t)i - reach;

        if (at < 0)
            lines->column[i] = 0;
        else if ((size_t)at >= place->width_px)
            lines->column[i] = lines->class_width_px + 1;
        else
            lines->column[i] =
                1 + (place->on_edges ? overlay_axis_first(&lines->x, (size_t)at) : (size_t)at);
        lines->dash[i] = nearest_corner(&lines->x, at) % 2;
    }
    return true;
}

fleck_status overlay_lines_new(const fleck_patch_view *view, const overlay_kinds *kinds,
                               const fleck_overlay_place *place, overlay_lines **out,
                               fleck_error *err)
{
    const fleck_geometry *const geometry = view->geometry;
    overlay_lines *const lines = fleck_alloc_zeroed(1, sizeof *lines);
    fleck_status status = FLECK_OK;
    bool done;

    *out = NULL;
    if (lines == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the picture; free some memory");
    lines->view = view;
    lines->place = place;
    lines->ground = overlay_ground(overlay_is_light(view->record));
    lines->x = (overlay_axis){ geometry->width_px, place->width_px };
    lines->y = (overlay_axis){ geometry->height_px, place->height_px };
    lines->class_width_px = place->on_edges ? geometry->width_px : place->width_px;
    lines->class_height_px = place->on_edges ? geometry->height_px : place->height_px;
    lines->grey_of_row = NO_ROW;
    lines->next_y = -(ptrdiff_t)place->line_px;
    lines->grey_of = overlay_grey_table();
    lines->q = fleck_alloc_array(geometry->width_px, sizeof *lines->q);
    lines->sums = fleck_alloc_array(place->width_px, sizeof *lines->sums);
    lines->greys = fleck_alloc_array(place->width_px, 1);
    done = lines->grey_of != NULL && lines->q != NULL && lines->sums != NULL && lines->greys != NULL;
    for (size_t i = 0; done && kinds != NULL && i < RING; i++) {
        lines->ring[i] = fleck_alloc_zeroed(lines->class_width_px + 2, 1);
        done = lines->ring[i] != NULL;
    }
    if (done && kinds != NULL) {
        lines->outside = fleck_alloc_zeroed(lines->class_width_px + 2, 1);
        lines->scan_row = fleck_alloc_array(geometry->width_px, 1);
        done = lines->outside != NULL && lines->scan_row != NULL && make_columns(lines);
    }
    if (!done)
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the picture; free some memory");
    if (status == FLECK_OK && kinds != NULL)
        status = overlay_classes_new(view, kinds, &lines->classes, err);
    if (status != FLECK_OK) {
        overlay_lines_free(lines);
        return status;
    }
    *out = lines;
    return FLECK_OK;
}

/* The next row of classes into its place of the ring. */
static fleck_status load(overlay_lines *lines, fleck_error *err)
{
    uint8_t *const row = lines->ring[lines->loaded % RING] + 1;
    fleck_status status = FLECK_OK;

    if (lines->place->on_edges)
        return overlay_classes_row(lines->classes, row, err);
    if (lines->y.picture_px > lines->y.scan_px && lines->loaded > 0 &&
        overlay_axis_first(&lines->y, lines->loaded) ==
            overlay_axis_first(&lines->y, lines->loaded - 1)) {
        memcpy(row, lines->ring[(lines->loaded - 1) % RING] + 1, lines->class_width_px);
        return FLECK_OK;
    }
    memset(row, 0, lines->class_width_px);
    for (size_t y = overlay_axis_first(&lines->y, lines->loaded);
         status == FLECK_OK && y < overlay_axis_end(&lines->y, lines->loaded); y++) {
        status = overlay_classes_row(lines->classes, lines->scan_row, err);
        for (size_t at = 0; status == FLECK_OK && at < lines->class_width_px; at++) {
            for (size_t x = overlay_axis_first(&lines->x, at); x < overlay_axis_end(&lines->x, at);
                 x++) {
                if (row[at] < lines->scan_row[x])
                    row[at] = lines->scan_row[x];
            }
        }
    }
    return status;
}

/* The row of classes of a picture row, which may lie beyond the patch. */
static fleck_status find_row(overlay_lines *lines, ptrdiff_t y, const uint8_t **row,
                             fleck_error *err)
{
    fleck_status status = FLECK_OK;
    size_t at;

    *row = lines->outside;
    if (y < 0 || (size_t)y >= lines->place->height_px)
        return FLECK_OK;
    at = lines->place->on_edges ? overlay_axis_first(&lines->y, (size_t)y) : (size_t)y;
    while (status == FLECK_OK && lines->loaded <= at) {
        status = load(lines, err);
        lines->loaded++;
    }
    *row = lines->ring[at % RING];
    return status;
}

/* Greys of a row of the picture: the mean reflectance of the scan's pixels in each. */
static fleck_status read_greys(overlay_lines *lines, size_t y, fleck_error *err)
{
    const size_t first = overlay_axis_first(&lines->y, y), end = overlay_axis_end(&lines->y, y);
    const size_t width_px = lines->place->width_px;
    fleck_status status = FLECK_OK;

    if (lines->y.picture_px >= lines->y.scan_px && lines->grey_of_row == (ptrdiff_t)first)
        return FLECK_OK;
    memset(lines->sums, 0, width_px * sizeof *lines->sums);
    for (size_t scan_y = first; status == FLECK_OK && scan_y < end; scan_y++) {
        status = lines->view->read_row(lines->view->context, scan_y, lines->q, err);
        for (size_t x = 0; status == FLECK_OK && x < width_px; x++) {
            for (size_t at = overlay_axis_first(&lines->x, x); at < overlay_axis_end(&lines->x, x);
                 at++)
                lines->sums[x] += lines->q[at];
        }
    }
    for (size_t x = 0; x < width_px; x++) {
        const uint64_t count =
            (overlay_axis_end(&lines->x, x) - overlay_axis_first(&lines->x, x)) * (end - first);

        lines->greys[x] = lines->grey_of[lines->sums[x] / count];
    }
    lines->grey_of_row = (ptrdiff_t)first;
    return status;
}

/* What lies around a picture pixel: rows and columns at 2 and 1 lines' width on both sides. */
struct around {
    const uint8_t *rows[RING];
    const size_t *columns[RING];
    const uint8_t *dash;
    uint8_t dash_y;
    ptrdiff_t y;
};

static unsigned class_at(const struct around *around, size_t x)
{
    return around->rows[CENTRE][around->columns[CENTRE][x]];
}

/* Largest class within `steps` lines' width, the pixel itself included. */
static unsigned largest(const struct around *around, size_t x, size_t steps)
{
    unsigned found = 0;

    for (size_t j = CENTRE - steps; j <= CENTRE + steps; j += steps) {
        for (size_t i = CENTRE - steps; i <= CENTRE + steps; i += steps) {
            const unsigned one = around->rows[j][around->columns[i][x]];

            found = one > found ? one : found;
        }
    }
    return found;
}

/* Whether anything within `steps` lines' width is of another class. */
static bool differs(const struct around *around, size_t x, size_t steps)
{
    const unsigned class = class_at(around, x);
    bool found = false;

    for (size_t j = CENTRE - steps; j <= CENTRE + steps; j += steps) {
        for (size_t i = CENTRE - steps; i <= CENTRE + steps; i += steps)
            found = found || around->rows[j][around->columns[i][x]] != class;
    }
    return found;
}

/* A pixel of the line of a class: its colour, or the ground where the line has a gap. */
static uint8_t line_at(const overlay_lines *lines, const struct around *around, size_t x,
                       unsigned class)
{
    const size_t line_px = lines->place->line_px;
    const size_t across = x + 2 * line_px, down = (size_t)(around->y + 3 * (ptrdiff_t)line_px);
    bool drawn = true;

    switch (overlay_style_of(class)) {
    case OVERLAY_DOTTED:
        drawn = (across / line_px + down / line_px) % 2 == 0;
        break;
    case OVERLAY_DASHED:
        /* corners of the scan's pixels alternate along any outline: each dash is about one of them */
        drawn = lines->place->on_edges ? around->dash[x] == around->dash_y
                                       : (across / 2 + down / 2) % 2 == 0;
        break;
    case OVERLAY_SOLID:
    case OVERLAY_DOUBLE:
        break;
    }
    return drawn ? overlay_colour(class) : lines->ground;
}

static uint8_t with_edge_lines(const overlay_lines *lines, const struct around *around, size_t x,
                               uint8_t below)
{
    const unsigned class = class_at(around, x);
    unsigned near;

    if (class >= OVERLAY_SMALL) {
        const bool inner = overlay_style_of(class) == OVERLAY_DOUBLE && !differs(around, x, 1) &&
                           differs(around, x, 2);

        return inner ? OVERLAY_INNER : below;
    }
    near = largest(around, x, 1);
    if (near >= OVERLAY_SMALL)
        return line_at(lines, around, x, near);
    return class == OVERLAY_OUTSIDE && near > OVERLAY_OUTSIDE ? overlay_colour(OVERLAY_BARE) : below;
}

static uint8_t with_rim_lines(const overlay_lines *lines, const struct around *around, size_t x,
                              uint8_t below)
{
    const unsigned class = class_at(around, x);

    if (class >= OVERLAY_SMALL) {
        if (differs(around, x, 1))
            return line_at(lines, around, x, class);
        return overlay_style_of(class) == OVERLAY_DOUBLE && differs(around, x, 2) ? OVERLAY_INNER
                                                                                  : below;
    }
    return class == OVERLAY_OUTSIDE && largest(around, x, 1) > OVERLAY_OUTSIDE
               ? overlay_colour(OVERLAY_BARE)
               : below;
}

/* What is not measured fades into the ground. */
static uint8_t washed(uint8_t grey, uint8_t ground)
{
    return (uint8_t)((3 * grey + 5 * ground + 4) / 8);
}

static fleck_status draw_lines(overlay_lines *lines, ptrdiff_t y, uint8_t *out, fleck_error *err)
{
    const fleck_overlay_place *const place = lines->place;
    const ptrdiff_t line_px = (ptrdiff_t)place->line_px;
    struct around around = {
        /* from here on x counts from line_px left of the patch */
        .dash = lines->dash + 2 * line_px,
        .dash_y = nearest_corner(&lines->y, y) % 2,
        .y = y,
    };
    uint8_t *const from = out + place->left_px - line_px;
    fleck_status status = FLECK_OK;

    for (ptrdiff_t i = 0; status == FLECK_OK && i < RING; i++) {
        around.columns[i] = lines->column + 2 * line_px + (i - CENTRE) * line_px;
        status = find_row(lines, y + (i - CENTRE) * line_px, &around.rows[i], err);
    }
    if (status != FLECK_OK)
        return status;
    for (size_t x = 0; x < place->width_px + 2 * place->line_px; x++) {
        const uint8_t below =
            class_at(&around, x) == OVERLAY_OUTSIDE ? washed(from[x], lines->ground) : from[x];

        from[x] = place->on_edges ? with_edge_lines(lines, &around, x, below)
                                  : with_rim_lines(lines, &around, x, below);
    }
    return FLECK_OK;
}

void overlay_lines_ground(const fleck_overlay_place *place, uint8_t ground, uint8_t *out)
{
    const size_t width_px = place->width_px + 2 * place->left_px;

    memset(out, ground, width_px);
    memset(out + width_px, OVERLAY_WHITE, place->picture_width_px - width_px);
}

fleck_status overlay_lines_row(overlay_lines *lines, uint8_t *out, fleck_error *err)
{
    const fleck_overlay_place *const place = lines->place;
    const ptrdiff_t y = lines->next_y++;
    fleck_status status = FLECK_OK;

    overlay_lines_ground(place, lines->ground, out);
    if (y >= 0 && (size_t)y < place->height_px) {
        status = read_greys(lines, (size_t)y, err);
        memcpy(out + place->left_px, lines->greys, place->width_px);
    }
    if (status == FLECK_OK && lines->classes != NULL)
        status = draw_lines(lines, y, out, err);
    return status;
}

void overlay_lines_free(overlay_lines *lines)
{
    if (lines == NULL)
        return;
    overlay_classes_free(lines->classes);
    fleck_free(lines->grey_of);
    fleck_free(lines->q);
    fleck_free(lines->sums);
    fleck_free(lines->greys);
    for (size_t i = 0; i < RING; i++)
        fleck_free(lines->ring[i]);
    fleck_free(lines->outside);
    fleck_free(lines->scan_row);
    fleck_free(lines->column);
    fleck_free(lines->dash);
    fleck_free(lines);
}
