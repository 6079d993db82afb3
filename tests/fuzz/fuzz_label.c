/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any picture, with any mask or none, against a plain flood fill: number, area, box, sums of
 * places, first pixel and contact with the edge of each component of both phases, and the runs
 * kept.
 *
 * The first byte is the width less 1, the lowest bit of the second says whether there is a mask,
 * the others into how many bands the picture is cut that are labelled for themselves and joined;
 * then one bit a pixel for the ink and, with a mask, as many for it.
 */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/segment.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

enum { MOST_PX = 1 << 14, MOST_BANDS = 5 };

typedef struct found {
    fleck_phase phase;
    fleck_component component;
} found;

typedef struct picture {
    size_t width, height, count, run_px;
    uint8_t *kind; /* 0 bare, 1 ink, 2 outside */
    found *found;
    fleck_labeller *labeller;
} picture;

static int by_place(const void *a, const void *b)
{
    const found *const one = a, *const other = b;
    const fleck_component *const p = &one->component, *const q = &other->component;

    if (p->first_y_px != q->first_y_px)
        return p->first_y_px < q->first_y_px ? -1 : 1;
    return p->first_x_px < q->first_x_px ? -1 : p->first_x_px > q->first_x_px;
}

static fleck_status take(void *context, fleck_phase phase, const fleck_component *component,
                         fleck_error *err)
{
    picture *const labelled = context;
    size_t count;
    const fleck_blob_run *const runs = fleck_labeller_get_runs(labelled->labeller, &count);
    uint64_t area_px = 0;

    (void)err;
    for (size_t i = 0; i < count; i++)
        area_px += runs[i].end_px - runs[i].start_px;
    if (area_px != component->area_px || labelled->count == labelled->width * labelled->height)
        abort();
    labelled->found[labelled->count++] = (found){ phase, *component };
    return FLECK_OK;
}

static bool is_edge(const picture *p, size_t x, size_t y)
{
    for (size_t i = 0; i < 9; i++) {
        const size_t u = x + i % 3 - 1, v = y + i / 3 - 1; /* below 0: very large */

        if (u >= p->width || v >= p->height || p->kind[v * p->width + u] == 2)
            return true;
    }
    return false;
}

/* Fill a component; ink meets at corners, bare paper at sides only. */
static found fill(const picture *p, uint8_t *seen, size_t *stack, size_t start)
{
    const uint8_t kind = p->kind[start];
    found made = { kind == 1 ? FLECK_PHASE_INK : FLECK_PHASE_BARE,
                   { .first_x_px = (uint32_t)(start % p->width),
                     .first_y_px = (uint32_t)(start / p->width),
                     .min_x_px = UINT32_MAX,
                     .min_y_px = UINT32_MAX } };
    fleck_component *const c = &made.component;
    size_t depth = 0;

    stack[depth++] = start;
    seen[start] = 1;
    while (depth > 0) {
        const size_t at = stack[--depth], x = at % p->width, y = at / p->width;

        c->area_px++;
        c->sum_x_px += x;
        c->sum_y_px += y;
        c->min_x_px = x < c->min_x_px ? (uint32_t)x : c->min_x_px;
        c->max_x_px = x > c->max_x_px ? (uint32_t)x : c->max_x_px;
        c->min_y_px = y < c->min_y_px ? (uint32_t)y : c->min_y_px;
        c->max_y_px = y > c->max_y_px ? (uint32_t)y : c->max_y_px;
        c->at_edge = c->at_edge || is_edge(p, x, y);
        for (size_t i = 0; i < 9; i++) {
            const size_t u = x + i % 3 - 1, v = y + i / 3 - 1;

            if (i == 4 || (kind == 0 && i % 2 == 0) || u >= p->width || v >= p->height ||
                seen[v * p->width + u] || p->kind[v * p->width + u] != kind)
                continue;
            seen[v * p->width + u] = 1;
            stack[depth++] = v * p->width + u;
        }
    }
    return made;
}

/* Rows first_y to end_y - 1 through the labeller. */
static void give_rows(picture *p, fleck_labeller *labeller, size_t first_y, size_t end_y)
{
    fleck_run *const runs = malloc((p->width / 2 + 1) * sizeof *runs);

    if (runs == NULL)
        abort();
    p->labeller = labeller;
    for (size_t y = first_y; y < end_y; y++) {
        const uint8_t *const kind = p->kind + y * p->width;
        size_t count = 0;

        for (size_t x = 0; x < p->width; x++) {
            if (kind[x] != 1)
                continue;
            if (x == 0 || kind[x - 1] != 1)
                runs[count++].start_px = (uint32_t)x;
            runs[count - 1].end_px = (uint32_t)x + 1;
        }
        if (fleck_labeller_row(labeller, runs, count, NULL) != FLECK_OK)
            abort();
    }
    free(runs);
}

/* In bands of equal height; the seam between the last two is joined first. */
static void label(picture *p, const fleck_mask *mask, size_t bands)
{
    const fleck_runs_wanted wanted = { 0, SIZE_MAX };
    fleck_labeller *labellers[MOST_BANDS];

    for (size_t i = 0; i < bands; i++) {
        const size_t first_y = p->height * i / bands, end_y = p->height * (i + 1) / bands;

        if (fleck_labeller_new(p->width, p->height, mask, take, p, &labellers[i], NULL) !=
                FLECK_OK ||
            fleck_labeller_keep_runs(labellers[i], FLECK_PHASE_INK, &wanted, NULL) != FLECK_OK ||
            fleck_labeller_keep_runs(labellers[i], FLECK_PHASE_BARE, &wanted, NULL) != FLECK_OK ||
            (first_y > 0 && fleck_labeller_start_at(labellers[i], first_y, NULL) != FLECK_OK))
            abort();
        give_rows(p, labellers[i], first_y, end_y);
    }
    for (size_t i = bands - 1; i > 0; i--) {
        p->labeller = labellers[i - 1];
        if (fleck_labeller_join(labellers[i - 1], labellers[i], NULL) != FLECK_OK)
            abort();
        fleck_labeller_free(labellers[i]);
    }
    if (fleck_labeller_finish(labellers[0], NULL) != FLECK_OK)
        abort();
    fleck_labeller_free(labellers[0]);
}

static void compare(picture *p)
{
    const size_t pixels = p->width * p->height;
    uint8_t *const seen = calloc(pixels, 1);
    size_t *const stack = malloc(pixels * sizeof *stack);
    size_t next = 0;

    if (seen == NULL || stack == NULL)
        abort();
    qsort(p->found, p->count, sizeof *p->found, by_place);
    for (size_t at = 0; at < pixels; at++) {
        found wanted;
        const fleck_component *a, *b;

        if (seen[at] || p->kind[at] == 2)
            continue;
        wanted = fill(p, seen, stack, at);
        if (next == p->count || p->found[next].phase != wanted.phase)
            abort();
        a = &p->found[next++].component;
        b = &wanted.component;
        if (a->area_px != b->area_px || a->sum_x_px != b->sum_x_px || a->sum_y_px != b->sum_y_px ||
            a->min_x_px != b->min_x_px || a->max_x_px != b->max_x_px ||
            a->min_y_px != b->min_y_px || a->max_y_px != b->max_y_px ||
            a->first_x_px != b->first_x_px || a->first_y_px != b->first_y_px ||
            a->at_edge != b->at_edge)
            abort();
    }
    if (next != p->count)
        abort();
    free(seen);
    free(stack);
}

static bool bit(const uint8_t *bytes, size_t i)
{
    return bytes[i / 8] >> i % 8 & 1;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    fleck_mask *mask = NULL;
    picture p = { 0 };
    bool masked;
    size_t bits, bands;

    if (size < 3)
        return 0;
    masked = bytes[1] % 2 == 1;
    bits = 8 * (size - 2) / (masked ? 2 : 1);
    bits = bits < MOST_PX ? bits : MOST_PX;
    p.width = (size_t)bytes[0] + 1;
    p.height = bits / p.width;
    if (p.height == 0)
        return 0;
    p.kind = malloc(p.width * p.height);
    p.found = malloc(p.width * p.height * sizeof *p.found);
    if (p.kind == NULL || p.found == NULL)
        abort();
    if (masked && fleck_mask_new(p.width, p.height, &mask, NULL) != FLECK_OK)
        abort();
    for (size_t i = 0; i < p.width * p.height; i++) {
        const bool inside = !masked || bit(bytes + 2 + (size - 2) / 2, i);

        p.kind[i] = inside ? bit(bytes + 2, i) : 2;
        if (masked && inside)
            fleck_mask_add_run(mask, i / p.width, i % p.width, i % p.width + 1);
    }
    bands = (size_t)bytes[1] / 2 % MOST_BANDS + 1;
    label(&p, mask, bands < p.height ? bands : 1);
    compare(&p);
    fleck_mask_free(mask);
    free(p.kind);
    free(p.found);
    return 0;
}
