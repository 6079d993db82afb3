/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pixels are taken from the deepest to the shallowest. One without neighbours among those taken founds
 * a basin, whose peak it is; one between basins either joins the lower into the higher, when the
 * lower's peak is not deep enough above it, or leaves them apart for good, as later pixels lie lower
 * still. So what stays apart are the maxima of dynamics >= depth (Grimaud 1992), flooded by immersion
 * (Vincent & Soille 1991).
 *
 * A pixel between two parts goes to the one of its highest neighbour: there is no line of nobody's
 * pixels, and the parts add up to the dot.
 */
#include "fleck/shape.h"

#include <math.h>
#include <stdlib.h>

#include "core/memory.h"
#include "fleck/texture.h"
#include "measure/distance_map.h"

enum {
    MOST_BOX_PX = 1 << 23, /* 17 bytes each */
    STEPS_A_PIXEL = 32     /* finer steps would part what only rounding does */
};

static const uint32_t none = UINT32_MAX;

/* Room for one box, used again from blob to blob. */
struct room {
    size_t capacity, line_capacity;
    uint8_t *bare;      /* in the box and a pixel around it */
    double *square;     /* of the distance to bare paper, in mm2; then the level */
    uint32_t *basin;    /* of a pixel, none before it is taken */
    uint32_t *order;    /* pixels of the blob, from the deepest level on */
    fleck_distance_line line;
    uint32_t *starts; /* of the levels, in order */
    size_t starts_capacity;
};

struct basin {
    uint32_t parent; /* itself when it is a part of its own */
    uint32_t level;  /* of its peak */
    uint32_t peak;   /* pixel of the box */
    uint64_t area_px;
};

struct basins {
    struct basin *items;
    size_t count, capacity;
};

static void room_clear(struct room *room)
{
    fleck_free(room->bare);
    fleck_free(room->square);
    fleck_free(room->basin);
    fleck_free(room->order);
    fleck_free(room->line.square);
    fleck_free(room->line.border);
    fleck_free(room->line.apex);
    fleck_free(room->starts);
    *room = (struct room){ 0 };
}

static bool room_reserve(struct room *room, size_t pixels, size_t line)
{
    if (pixels <= room->capacity && line <= room->line_capacity)
        return true;
    pixels = pixels > 2 * room->capacity ? pixels : 2 * room->capacity;
    line = line > 2 * room->line_capacity ? line : 2 * room->line_capacity;
    room_clear(room);
    room->bare = fleck_alloc_array(pixels, sizeof *room->bare);
    room->square = fleck_alloc_array(pixels, sizeof *room->square);
    room->basin = fleck_alloc_array(pixels, sizeof *room->basin);
    room->order = fleck_alloc_array(pixels, sizeof *room->order);
    room->line.square = fleck_alloc_array(line + 1, sizeof *room->line.square);
    room->line.border = fleck_alloc_array(line + 1, sizeof *room->line.border);
    room->line.apex = fleck_alloc_array(line + 1, sizeof *room->line.apex);
    room->capacity = pixels;
    room->line_capacity = line;
    return room->bare != NULL && room->square != NULL && room->basin != NULL &&
           room->order != NULL && room->line.square != NULL && room->line.border != NULL &&
           room->line.apex != NULL;
}

static uint32_t find_root(struct basins *basins, uint32_t basin)
{
    struct basin *const items = basins->items;

    while (items[basin].parent != basin) {
        items[basin].parent = items[items[basin].parent].parent;
        basin = items[basin].parent;
    }
    return basin;
}

/* Whether basin a rises above b; of equal ones the first pixel decides. */
static bool is_higher(const struct basin *a, const struct basin *b)
{
    return a->level != b->level ? a->level > b->level : a->peak < b->peak;
}

/* Take one pixel; the box has a bare border, so that every pixel has eight neighbours. */
static bool take_pixel(struct room *room, size_t width, uint32_t pixel, double depth,
                       struct basins *basins)
{
    const size_t neighbours[8] = { pixel - width - 1, pixel - width, pixel - width + 1,
                                   pixel - 1,         pixel + 1,     pixel + width - 1,
                                   pixel + width,     pixel + width + 1 };
    const uint32_t level = (uint32_t)room->square[pixel];
    uint32_t met[8], beside = none, highest = none;
    double beside_level = -1;
    size_t count = 0;

    for (int i = 0; i < 8; i++) {
        const size_t neighbour = neighbours[i];
        uint32_t root;

        if (room->basin[neighbour] == none)
            continue;
        root = find_root(basins, room->basin[neighbour]);
        if (room->square[neighbour] > beside_level) {
            beside_level = room->square[neighbour];
            beside = root;
        }
        if (highest == none || is_higher(&basins->items[root], &basins->items[highest]))
            highest = root;
        met[count++] = root;
    }
    for (size_t i = 0; i < count; i++) {
        struct basin *const low = &basins->items[met[i]];

        if (met[i] == highest || low->parent != met[i] || low->level - level >= depth)
            continue;
        low->parent = highest;
        basins->items[highest].area_px += low->area_px;
    }
    if (beside == none) {
        struct basin *const moved =
            fleck_grow(basins->items, &basins->capacity, basins->count, sizeof *moved);

        if (moved == NULL)
            return false;
        basins->items = moved;
        beside = (uint32_t)basins->count++;
        moved[beside] = (struct basin){ .parent = beside, .level = level, .peak = pixel };
    }
    beside = find_root(basins, beside);
    room->basin[pixel] = beside;
    basins->items[beside].area_px++;
    return true;
}

/* The blob in its box, with one bare pixel around it. */
static void draw(const fleck_blob *blob, struct room *room, size_t width, size_t height)
{
    for (size_t i = 0; i < width * height; i++) {
        room->bare[i] = 1;
        room->basin[i] = none;
    }
    for (size_t i = 0; i < blob->run_count; i++) {
        const fleck_blob_run *const run = &blob->runs[i];
        const size_t row = (run->y_px - blob->component.min_y_px + 1) * width;
        const size_t left = blob->component.min_x_px - (size_t)1;

        for (size_t x = run->start_px; x < run->end_px; x++)
            room->bare[row + x - left] = 0;
    }
}

/* Distances become levels, and the blob's pixels are put in order of them. False without memory. */
static bool sort_pixels(struct room *room, size_t pixels, double step_mm, size_t *count)
{
    size_t levels = 0;
    uint32_t sum = 0;

    for (size_t i = 0; i < pixels; i++) {
        room->square[i] = floor(sqrt(room->square[i]) / step_mm + 0.5);
        levels = room->square[i] > (double)levels ? (size_t)room->square[i] : levels;
    }
    if (levels + 1 > room->starts_capacity) {
        fleck_free(room->starts);
        room->starts = fleck_alloc_array(levels + 1, sizeof *room->starts);
        room->starts_capacity = room->starts != NULL ? levels + 1 : 0;
        if (room->starts == NULL)
            return false;
    }
    for (size_t i = 0; i <= levels; i++)
        room->starts[i] = 0;
    for (size_t i = 0; i < pixels; i++)
        room->starts[(size_t)room->square[i]] += !room->bare[i];
    for (size_t i = levels + 1; i-- > 0;) {
        const uint32_t here = room->starts[i];

        room->starts[i] = sum;
        sum += here;
    }
    for (size_t i = 0; i < pixels; i++)
        if (!room->bare[i])
            room->order[room->starts[(size_t)room->square[i]]++] = (uint32_t)i;
    *count = sum;
    return true;
}

static bool add_part(fleck_split *split, size_t *capacity, size_t blob, uint64_t area_px)
{
    fleck_split_part *const moved =
        fleck_grow(split->parts, capacity, split->count, sizeof *moved);

    if (moved == NULL)
        return false;
    split->parts = moved;
    moved[split->count++] = (fleck_split_part){ blob, area_px };
    return true;
}

static int by_peak(const void *left, const void *right)
{
    const struct basin *const a = left, *const b = right;

    return (a->peak > b->peak) - (a->peak < b->peak);
}

static bool split_blob(const fleck_blob *blob, const fleck_geometry *geometry, double depth_mm,
                       size_t width, size_t height, struct room *room, struct basins *basins)
{
    const double step_mm = sqrt(fleck_area_mm2(geometry, 1)) / STEPS_A_PIXEL;
    size_t count, parts = 0;

    if (!room_reserve(room, width * height, width > height ? width : height))
        return false;
    draw(blob, room, width, height);
    fleck_distance_map(room->bare, width, height, geometry->pixel_x_mm, geometry->pixel_y_mm,
                       &room->line, room->order, room->square); /* whose order is made next */
    if (!sort_pixels(room, width * height, step_mm, &count))
        return false;
    basins->count = 0;
    for (size_t i = 0; i < count; i++)
        if (!take_pixel(room, width, room->order[i], depth_mm / step_mm, basins))
            return false;
    for (size_t i = 0; i < basins->count; i++)
        if (basins->items[i].parent == i)
            basins->items[parts++] = basins->items[i];
    basins->count = parts;
    if (parts > 1)
        qsort(basins->items, parts, sizeof *basins->items, by_peak);
    return true;
}

double fleck_split_depth_mm(const fleck_geometry *geometry)
{
    /* tried on drawn discs, ellipses and wavy outlines of 3 to 24 pixels radius */
    static const double bump_px = 0.75, bump_mm = 0.01;

    return fmax(bump_mm, bump_px * sqrt(fleck_area_mm2(geometry, 1)));
}

fleck_status fleck_split_dots(const fleck_blob *blobs, size_t n, const fleck_geometry *geometry,
                              double depth_mm, fleck_split *out, fleck_error *err)
{
    struct room room = { 0 };
    struct basins basins = { 0 };
    size_t capacity = 0;
    bool enough = true;

    *out = (fleck_split){ 0 };
    if (!(depth_mm > 0))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a depth of %g mm splits nothing; give one above 0", depth_mm);
    for (size_t i = 0; i < n && enough; i++) {
        const fleck_component *const component = &blobs[i].component;
        const size_t width = (size_t)component->max_x_px - component->min_x_px + 3;
        const size_t height = (size_t)component->max_y_px - component->min_y_px + 3;

        if (blobs[i].run_count == 0 || height > MOST_BOX_PX / width) {
            out->too_large++;
            enough = add_part(out, &capacity, i, component->area_px);
            continue;
        }
        enough = split_blob(&blobs[i], geometry, depth_mm, width, height, &room, &basins);
        for (size_t j = 0; j < basins.count && enough; j++)
            enough = add_part(out, &capacity, i, basins.items[j].area_px);
    }
    room_clear(&room);
    fleck_free(basins.items);
    if (enough)
        return FLECK_OK;
    fleck_split_clear(out);
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory to split dots; measure a smaller region or leave out --split");
}

void fleck_split_clear(fleck_split *split)
{
    if (split == NULL)
        return;
    fleck_free(split->parts);
    *split = (fleck_split){ 0 };
}
