/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Boxes of all blocks of a sheet together: straight ones first, which tell the angle they share,
 * then what has to be parted, then those of another shape, along the others.
 */
#include "segment/locate_parts.h"

#include <math.h>

#include "core/memory.h"

#define DEGREE (3.14159265358979323846 / 180)

/* The print goes on over all edges of the scan: no side of it is to be seen. */
static bool fills_scan(const fleck_sheet_map *map, const fleck_block *block)
{
    const size_t near = (size_t)(1 / map->cell_mm) + 1;
    const fleck_shape *const shape = &block->shape;

    return shape->left <= near && shape->top <= near && shape->right + near >= map->columns &&
           shape->bottom + near >= map->rows;
}

static fleck_status fit_one(const fleck_sheet_map *map, const fleck_relief *relief,
                            const fleck_blocks *blocks, double fixed_angle, fleck_block *block,
                            fleck_error *err)
{
    fleck_window window;
    bool rough = false;
    fleck_status status;

    if (fills_scan(map, block)) {
        block->box = (fleck_turned_box){ .x = (double)map->columns / 2,
                                         .y = (double)map->rows / 2,
                                         .half_u = (double)map->columns / 2,
                                         .half_v = (double)map->rows / 2 };
        return FLECK_OK;
    }
    status = fleck_blocks_window(blocks, block, map, &window, err);
    if (status != FLECK_OK)
        return status;
    status = fleck_fit_sides(&window, relief->depth, map->columns, map->cell_mm, fixed_angle,
                             &block->box, &rough, err);
    if (rough)
        block->doubts |= FLECK_DOUBT_ROUGH;
    fleck_free(window.inside);
    return status;
}

/* Share of a block's cells that hold ink at all. */
static double printed_share(const fleck_sheet_map *map, const fleck_relief *relief,
                            const fleck_blocks *blocks, const fleck_block *block)
{
    size_t cells = 0, printed = 0;

    for (size_t y = block->shape.top; y < block->shape.bottom; y++) {
        for (size_t x = block->shape.left; x < block->shape.right; x++) {
            const size_t i = y * map->columns + x;

            cells += blocks->owner[i] == block->label;
            printed += blocks->owner[i] == block->label && relief->depth[i] > relief->least;
        }
    }
    return cells > 0 ? (double)printed / (double)cells : 0;
}

/* How far a block's own angle may be off: cells over its longer side, more when it is sparse. */
static double angle_doubt(const fleck_block *block)
{
    return (block->printed < 0.4 ? 2.5 : 1.5) / (2 * fmax(block->box.half_u, block->box.half_v));
}

/* The angle with as much certainty on either side of it. */
static double middle_angle(const fleck_block *const *straight, size_t count)
{
    double best = INFINITY, angle = 0;

    for (size_t i = 0; i < count; i++) {
        double deviations = 0;

        for (size_t j = 0; j < count; j++)
            deviations +=
                fabs(straight[j]->box.angle - straight[i]->box.angle) / angle_doubt(straight[j]);
        if (deviations < best) {
            best = deviations;
            angle = straight[i]->box.angle;
        }
    }
    return angle;
}

static bool may_share(const fleck_block *block, double angle)
{
    return fabs(block->box.angle - angle) <= angle_doubt(block);
}

/*
 * Whether blocks scatter about an angle no more than their doubts (three standard deviations) let
 * them: otherwise each was laid by hand, and keeps its own.
 */
static bool do_share(const fleck_block *const *straight, size_t count, double angle)
{
    size_t sharing = 0, near = 0;
    double squares = 0;

    for (size_t i = 0; i < count; i++) {
        const double off = (straight[i]->box.angle - angle) / angle_doubt(straight[i]);

        sharing += fabs(off) <= 1;
        if (fabs(off) <= 1.5) {
            squares += 9 * off * off;
            near++;
        }
    }
    return sharing >= 4 && 2 * sharing > count && squares < 2.25 * (double)near;
}

/* The angle, within reach of the one so far, at which all blocks that may share it fit best. */
static fleck_status refine_shared(const fleck_sheet_map *map, const fleck_relief *relief,
                                  const fleck_blocks *blocks, const fleck_block *const *straight,
                                  size_t count, double reach, double *angle, fleck_error *err)
{
    enum { STEPS = 25 };
    double angles[STEPS], scores[STEPS] = { 0 };
    size_t best = STEPS / 2;
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < STEPS; i++)
        angles[i] = *angle + reach * (2 * (double)i / (STEPS - 1) - 1);
    for (size_t k = 0; status == FLECK_OK && k < count; k++) {
        fleck_window window;

        if (!may_share(straight[k], *angle))
            continue;
        status = fleck_blocks_window(blocks, straight[k], map, &window, err);
        if (status == FLECK_OK)
            status = fleck_score_angles(&window, relief->depth, map->columns, map->cell_mm,
                                        &straight[k]->box, angles, STEPS, scores, err);
        fleck_free(window.inside);
    }
    for (size_t i = 0; i < STEPS; i++) {
        if (scores[i] > scores[best])
            best = i;
    }
    *angle = angles[best];
    return status;
}

/*
 * Move the sides of straight blocks to the print's own edges. Where most of them may share an
 * angle, those that cannot be told apart from it take it: it is known far better than a small
 * block's own.
 */
static fleck_status fit_straight(const fleck_sheet_map *map, const fleck_relief *relief,
                                 fleck_blocks *blocks, double *angle, fleck_error *err)
{
    const fleck_block **const straight = fleck_alloc_array(blocks->count, sizeof *straight);
    size_t count = 0;
    fleck_status status = FLECK_OK;

    if (straight == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the layout; free some memory");
    for (size_t i = 0; status == FLECK_OK && i < blocks->count; i++) {
        fleck_block *const block = &blocks->items[i];

        block->printed = printed_share(map, relief, blocks, block);
        if (block->printed >= FLECK_DUST && fleck_block_is_rectangular(block)) {
            status = fit_one(map, relief, blocks, NAN, block, err);
            straight[count++] = block;
        }
    }
    *angle = middle_angle(straight, count);
    if (status == FLECK_OK && do_share(straight, count, *angle)) {
        status = refine_shared(map, relief, blocks, straight, count, 1.2 * DEGREE, angle, err);
        if (status == FLECK_OK)
            status = refine_shared(map, relief, blocks, straight, count, 0.12 * DEGREE, angle, err);
        for (size_t i = 0; status == FLECK_OK && i < blocks->count; i++) {
            fleck_block *const block = &blocks->items[i];

            if (block->printed >= FLECK_DUST && fleck_block_is_rectangular(block) &&
                may_share(block, *angle))
                status = fit_one(map, relief, blocks, *angle, block, err);
        }
    }
    fleck_free(straight);
    return status;
}

/* Part what was bridged, and fit the sides of both parts. */
static fleck_status split_blocks(const fleck_sheet_map *map, const fleck_relief *relief,
                                 double min_size_mm, fleck_blocks *blocks, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < blocks->count; i++) {
        const size_t before = blocks->count;
        bool split =
            blocks->items[i].printed >= FLECK_DUST && !fleck_block_is_hollow(&blocks->items[i]);

        while (split && status == FLECK_OK) {
            status = fleck_blocks_split(blocks, i, map, relief, min_size_mm, &split, err);
            for (unsigned k = 0; status == FLECK_OK && split && k < 2; k++) {
                fleck_block *const part = &blocks->items[k == 0 ? i : blocks->count - 1];

                part->printed = printed_share(map, relief, blocks, part);
                if (fleck_block_is_rectangular(part))
                    status = fit_one(map, relief, blocks, part->box.angle, part, err);
            }
            split = split && blocks->count < before + 64; /* no sheet has more in a row */
        }
    }
    return status;
}

fleck_status fleck_blocks_fit(const fleck_sheet_map *map, const fleck_relief *relief,
                              double min_size_mm, fleck_blocks *blocks, double *angle,
                              fleck_error *err)
{
    const fleck_status status = fit_straight(map, relief, blocks, angle, err);

    return status == FLECK_OK ? split_blocks(map, relief, min_size_mm, blocks, err) : status;
}

fleck_status fleck_blocks_fit_rough(const fleck_sheet_map *map, double angle, fleck_blocks *blocks,
                                    fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < blocks->count; i++) {
        fleck_block *const block = &blocks->items[i];
        fleck_window window;

        if (fleck_block_is_rectangular(block) || block->kind == FLECK_BLOCK_FRAME)
            continue;
        status = fleck_blocks_window(blocks, block, map, &window, err);
        if (status != FLECK_OK)
            break;
        status = fleck_fit_inner(&window, angle, &block->box, err);
        block->doubts |= FLECK_DOUBT_NOT_RECTANGULAR;
        fleck_free(window.inside);
    }
    return status;
}
