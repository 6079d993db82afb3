/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From printed cells to blocks, at several scales. What fills the gaps inside a sparse patch may
 * bridge the gap between two dense ones, so no single scale will do: gaps are closed with growing
 * discs, what is thin is opened away, and a block that stands as a rectangle, or stays as it was
 * from one scale to the next, is settled and taken off the sheet before the next scale. A larger
 * block takes the place of unsettled ones only when these make up too little of it to be its parts.
 */
#include "segment/locate_parts.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"

/* Radii of the closing discs in mm, common practice: the last one bridges gaps of 6 mm. */
static const double closings_mm[] = { 0, 0.5, 0.75, 1, 1.5, 2, 3 };
enum { CLOSINGS = sizeof closings_mm / sizeof *closings_mm, STROKES_OFF = 3 };

/* A patch must hold a disc of this diameter relative to its smallest side. */
#define THICKNESS 0.7
/* A block that is this share of a larger one, or several together, stands; else the larger one
 * does. */
#define STANDS 0.85
/* A block that fills its box to this share, and the box the block, is settled once it stays. */
#define STAYS_RECTANGULAR 0.87

struct search {
    const fleck_sheet_map *map;
    const fleck_relief *relief;
    double min_size_mm;
    fleck_blocks *blocks;
    fleck_cells cells;
    uint8_t *open;    /* printed cells, settled blocks and their rims taken off */
    uint8_t *settled; /* cells of settled blocks */
    uint8_t *closed;  /* scratch */
    uint32_t *labels; /* of the candidates of a scale */
    uint32_t next_label;
};

/* A block whose box leaves out, or fills up, more than this share is not rectangular. */
#define RECTANGULAR 0.09

bool fleck_block_is_rectangular(const fleck_block *block)
{
    const double gaps = fmax(0, 1 - block->inside - block->rounding);

    /* the closed shape of a sparse block has dents all round, but nothing stands out of its box */
    if (!block->settled && block->outside <= 0.6 * RECTANGULAR && gaps <= 0.2)
        return true;
    return gaps <= RECTANGULAR && block->outside <= RECTANGULAR &&
           gaps + block->outside <= 1.4 * RECTANGULAR;
}

bool fleck_block_is_hollow(const fleck_block *block)
{
    return (double)block->shape.area < 0.6 * 4 * block->box.half_u * block->box.half_v;
}

/* Close the block's holes: what of the rest does not reach the window's border is inside. */
static void close_holes(const fleck_window *window, uint32_t *stack)
{
    const size_t columns = window->columns, total = columns * window->rows;
    uint8_t *const inside = window->inside;
    size_t depth = 0;
    enum { SEEN = 4 };

    for (size_t i = 0; i < total; i++) {
        const size_t x = i % columns, y = i / columns;

        if ((x == 0 || y == 0 || x + 1 == columns || y + 1 == window->rows) && inside[i] != 1) {
            inside[i] |= SEEN;
            stack[depth++] = (uint32_t)i;
        }
    }
    while (depth > 0) {
        const size_t i = stack[--depth], x = i % columns, y = i / columns;
        const bool there[4] = { x > 0, x + 1 < columns, y > 0, y + 1 < window->rows };
        const size_t next[4] = { i - 1, i + 1, i - columns, i + columns };

        for (unsigned k = 0; k < 4; k++) {
            if (there[k] && inside[next[k]] != 1 && (inside[next[k]] & SEEN) == 0) {
                inside[next[k]] |= SEEN;
                stack[depth++] = (uint32_t)next[k];
            }
        }
    }
    for (size_t i = 0; i < total; i++)
        inside[i] = (inside[i] & SEEN) != 0 ? inside[i] & 2 : inside[i] == 2 ? 2 : 1;
}

/* Cut what has a label out of a map of labels. */
static fleck_status cut_window(const uint32_t *labels, uint32_t label, const fleck_shape *shape,
                               const fleck_sheet_map *map, fleck_window *window, fleck_error *err)
{
    const size_t rim = (size_t)ceil(2 / map->cell_mm) + 1; /* room for the sides to move */
    uint32_t *stack;

    window->left = shape->left > rim ? shape->left - rim : 0;
    window->top = shape->top > rim ? shape->top - rim : 0;
    window->columns =
        (shape->right + rim < map->columns ? shape->right + rim : map->columns) - window->left;
    window->rows =
        (shape->bottom + rim < map->rows ? shape->bottom + rim : map->rows) - window->top;
    window->inside = fleck_alloc_array(window->columns * window->rows, 1);
    stack = fleck_alloc_array(window->columns * window->rows, sizeof *stack);
    if (window->inside == NULL || stack == NULL) {
        fleck_free(window->inside);
        fleck_free(stack);
        window->inside = NULL;
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to fit a patch; free some memory");
    }
    for (size_t y = 0; y < window->rows; y++) {
        for (size_t x = 0; x < window->columns; x++) {
            const uint32_t here = labels[(window->top + y) * map->columns + window->left + x];

            window->inside[y * window->columns + x] = (uint8_t)(here == label ? 1
                                                                : here != 0   ? 2
                                                                              : 0);
        }
    }
    close_holes(window, stack);
    fleck_free(stack);
    return FLECK_OK;
}

/* A scrap beside an unsettled block is likely a part of it and must not stand in its way. */
static bool is_scrap_of(const fleck_blocks *blocks, uint32_t label, const fleck_block *block)
{
    for (size_t i = 0; i < blocks->count; i++) {
        if (blocks->items[i].label == label)
            return !block->settled && !blocks->items[i].settled &&
                   blocks->items[i].shape.area < block->shape.area / 4;
    }
    return false;
}

fleck_status fleck_blocks_window(const fleck_blocks *blocks, const fleck_block *block,
                                 const fleck_sheet_map *map, fleck_window *window, fleck_error *err)
{
    uint32_t last = 0; /* neighbouring cells mostly have the same owner */
    bool scrap = false;
    fleck_status status = cut_window(blocks->owner, block->label, &block->shape, map, window, err);

    for (size_t i = 0; status == FLECK_OK && i < window->columns * window->rows; i++) {
        const uint32_t owner = blocks->owner[(window->top + i / window->columns) * map->columns +
                                             window->left + i % window->columns];

        if (window->inside[i] != 2)
            continue;
        if (owner != last) {
            last = owner;
            scrap = is_scrap_of(blocks, owner, block);
        }
        if (scrap)
            window->inside[i] = 0;
    }
    return status;
}

void fleck_blocks_clear(fleck_blocks *blocks)
{
    fleck_free(blocks->items);
    fleck_free(blocks->owner);
    *blocks = (fleck_blocks){ 0 };
}

static fleck_block *find_block(fleck_blocks *blocks, uint32_t label)
{
    for (size_t i = 0; i < blocks->count; i++) {
        if (blocks->items[i].label == label)
            return &blocks->items[i];
    }
    return NULL;
}

static void disown(struct search *search, uint32_t label)
{
    fleck_blocks *const blocks = search->blocks;
    fleck_block *const block = find_block(blocks, label);
    const size_t columns = search->map->columns;

    for (size_t y = block->shape.top; y < block->shape.bottom; y++) {
        for (size_t x = block->shape.left; x < block->shape.right; x++) {
            if (blocks->owner[y * columns + x] == label)
                blocks->owner[y * columns + x] = 0;
        }
    }
    *block = blocks->items[--blocks->count];
}

static double square(double x)
{
    return x * x;
}

/* Fit a box to a candidate of the scale under way. */
static fleck_status fit_candidate(const struct search *search, fleck_block *block,
                                  uint32_t candidate, fleck_error *err)
{
    fleck_window window;
    fleck_status status =
        cut_window(search->labels, candidate, &block->shape, search->map, &window, err);

    if (status != FLECK_OK)
        return status;
    status = fleck_fit_box(&window, NAN, &block->box, &block->inside, &block->outside, err);
    /* the opening disc of radius r takes (4 - pi) r^2 off a rectangle's corners */
    block->rounding = 0.858 * square(THICKNESS * search->min_size_mm / 2 / search->map->cell_mm) /
                      (4 * block->box.half_u * block->box.half_v + 1);
    fleck_free(window.inside);
    return status;
}

static bool fills(const fleck_block *block, double share)
{
    return block->inside >= share && block->outside <= 1 - share;
}

/* Take over a candidate as a block of its own. */
static fleck_status adopt(struct search *search, const fleck_shape *shape, uint32_t candidate,
                          double rectangle_share, fleck_error *err)
{
    fleck_blocks *const blocks = search->blocks;
    const size_t columns = search->map->columns;
    fleck_block *const grown =
        fleck_grow(blocks->items, &blocks->capacity, blocks->count, sizeof *blocks->items);
    fleck_block *block;
    fleck_status status;

    if (grown == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the blocks; free some memory");
    blocks->items = grown;
    block = &grown[blocks->count++];
    *block = (fleck_block){ .shape = *shape, .label = search->next_label++ };
    for (size_t y = shape->top; y < shape->bottom; y++) {
        for (size_t x = shape->left; x < shape->right; x++) {
            if (search->labels[y * columns + x] == candidate)
                blocks->owner[y * columns + x] = block->label;
        }
    }
    status = fit_candidate(search, block, candidate, err);
    block->settled = fills(block, rectangle_share);
    for (size_t y = shape->top; block->settled && y < shape->bottom; y++) {
        for (size_t x = shape->left; x < shape->right; x++)
            search->settled[y * columns + x] |= blocks->owner[y * columns + x] == block->label;
    }
    return status;
}

/* How much of a candidate the blocks of smaller scales cover, and which they are: the first 16. */
struct parts {
    uint32_t label[16];
    size_t count;
    size_t area;
};

static void find_parts(const struct search *search, const fleck_shape *shape, uint32_t candidate,
                       struct parts *parts)
{
    const size_t columns = search->map->columns;

    *parts = (struct parts){ .count = 0 };
    for (size_t y = shape->top; y < shape->bottom; y++) {
        for (size_t x = shape->left; x < shape->right; x++) {
            const size_t i = y * columns + x;
            const uint32_t owner = search->blocks->owner[i];
            size_t k = 0;

            if (search->labels[i] != candidate || owner == 0)
                continue;
            parts->area++;
            while (k < parts->count && parts->label[k] != owner)
                k++;
            if (k == parts->count && k < sizeof parts->label / sizeof *parts->label)
                parts->label[parts->count++] = owner;
        }
    }
}

/* Whether all parts that are more than scraps stand as rectangles. */
static bool are_rectangles(const struct search *search, const struct parts *parts,
                           const fleck_shape *shape)
{
    for (size_t k = 0; k < parts->count; k++) {
        const fleck_block *const part = find_block(search->blocks, parts->label[k]);

        if (part->shape.area * 20 > shape->area && !fills(part, STAYS_RECTANGULAR))
            return false;
    }
    return true;
}

static fleck_status judge_candidate(struct search *search, const fleck_shape *shape,
                                    uint32_t candidate, double rectangle_share, fleck_error *err)
{
    struct parts parts;
    bool stand;

    find_parts(search, shape, candidate, &parts);
    stand = parts.count > 0 && (double)parts.area >= STANDS * (double)shape->area;
    if (stand && parts.count > 1) {
        fleck_block whole = { .shape = *shape };
        fleck_status status;

        if (are_rectangles(search, &parts, shape))
            return FLECK_OK;
        if ((status = fit_candidate(search, &whole, candidate, err)) != FLECK_OK)
            return status;
        if (!fills(&whole, rectangle_share))
            return FLECK_OK;
    }
    while (parts.count > 0) {
        for (size_t k = 0; k < parts.count; k++)
            disown(search, parts.label[k]);
        find_parts(search, shape, candidate, &parts);
    }
    if (stand)
        rectangle_share = STAYS_RECTANGULAR; /* it stayed as it was: settled, in its fuller shape */
    return adopt(search, shape, candidate, rectangle_share, err);
}

/* Take settled blocks and a rim around them off what is still open. */
static void take_off_settled(struct search *search)
{
    const size_t cells = search->map->columns * search->map->rows;

    memcpy(search->closed, search->settled, cells);
    fleck_cells_grow(&search->cells, search->closed, 0.5 / search->map->cell_mm);
    for (size_t i = 0; i < cells; i++)
        search->open[i] &= (uint8_t)!search->closed[i];
}

static fleck_status search_scale(struct search *search, unsigned scale, fleck_error *err)
{
    const double cell_mm = search->map->cell_mm;
    const double radius = closings_mm[scale] / cell_mm;
    const double thick = THICKNESS * search->min_size_mm / 2 / cell_mm;
    const size_t cells = search->map->columns * search->map->rows;
    fleck_shape *shapes = NULL;
    size_t count = 0;
    fleck_status status;

    take_off_settled(search);
    memcpy(search->closed, search->open, cells);
    fleck_cells_grow(&search->cells, search->closed, radius);
    fleck_cells_shrink(&search->cells, search->closed, radius);
    fleck_cells_shrink(&search->cells, search->closed, thick);
    fleck_cells_grow(&search->cells, search->closed, thick);
    /* settled blocks keep what is theirs */
    for (size_t i = 0; i < cells; i++)
        search->closed[i] &= (uint8_t)!search->settled[i];
    status =
        fleck_cells_label(&search->cells, search->closed, search->labels, &shapes, &count, err);
    for (size_t k = 0; status == FLECK_OK && k < count; k++) {
        /* the rest that opening leaves beside settled blocks is thinner than any opened block */
        if ((double)shapes[k].area < 3 * thick * thick)
            continue;
        status =
            judge_candidate(search, &shapes[k], (uint32_t)(k + 1), scale < 4 ? 0.95 : 0.93, err);
    }
    fleck_free(shapes);
    return status;
}

fleck_status fleck_blocks_find(const fleck_sheet_map *map, const fleck_relief *relief,
                               double min_size_mm, fleck_blocks *blocks, fleck_error *err)
{
    const size_t cells = map->columns * map->rows;
    struct search search = {
        .map = map,
        .relief = relief,
        .min_size_mm = min_size_mm,
        .blocks = blocks,
        .next_label = 1,
    };
    fleck_status status = fleck_cells_init(&search.cells, map->columns, map->rows, err);

    search.open = fleck_alloc_array(cells, 1);
    search.settled = fleck_alloc_zeroed(cells, 1);
    search.closed = fleck_alloc_array(cells, 1);
    search.labels = fleck_alloc_array(cells, sizeof *search.labels);
    blocks->owner = fleck_alloc_zeroed(cells, sizeof *blocks->owner);
    if (status == FLECK_OK &&
        (search.open == NULL || search.settled == NULL || search.closed == NULL ||
         search.labels == NULL || blocks->owner == NULL))
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for a map of the sheet; free some memory");
    if (status != FLECK_OK)
        goto done;
    for (size_t i = 0; i < cells; i++)
        search.open[i] = relief->depth[i] > relief->least;
    for (unsigned scale = 0; status == FLECK_OK && scale < CLOSINGS; scale++) {
        /* dense patches, whose ink grows together, are settled by now; sparse ones are in danger */
        if (scale == STROKES_OFF)
            status = fleck_strokes_remove(map, relief, &search.cells, search.open, err);
        if (status == FLECK_OK)
            status = search_scale(&search, scale, err);
    }
done:
    fleck_free(search.labels);
    fleck_free(search.closed);
    fleck_free(search.settled);
    fleck_free(search.open);
    fleck_cells_clear(&search.cells);
    return status;
}
