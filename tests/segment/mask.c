/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "segment/mask.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "support/check.h"

struct mask mask_new(size_t width_px, size_t height_px)
{
    struct mask mask = { width_px, height_px, calloc(width_px * height_px, 1) };

    assert_non_null(mask.ink);
    return mask;
}

void mask_free(struct mask *mask)
{
    free(mask->ink);
    mask->ink = NULL;
}

struct mask mask_from_text(const char *text)
{
    const size_t width = strcspn(text, " ");
    const size_t height = (strlen(text) + 1) / (width + 1);
    struct mask mask = mask_new(width, height);

    for (size_t y = 0; y < height; y++)
        for (size_t x = 0; x < width; x++)
            mask.ink[y * width + x] = text[y * (width + 1) + x] == '#';
    return mask;
}

struct mask mask_random(size_t width_px, size_t height_px, double coverage, uint64_t *state)
{
    struct mask mask = mask_new(width_px, height_px);

    for (size_t i = 0; i < width_px * height_px; i++)
        mask.ink[i] = test_uniform(state) < coverage;
    return mask;
}

struct mask mask_speckle(size_t width_px, size_t height_px, double radius_px, double coverage,
                         uint64_t *state)
{
    struct mask mask = mask_new(width_px, height_px);
    const double area_px = (double)(width_px * height_px);
    const double discs = -log(1.0 - coverage) * area_px / (3.14159 * radius_px * radius_px);

    for (double disc = 0.0; disc < discs; disc += 1.0) {
        const double cx = test_uniform(state) * (double)width_px;
        const double cy = test_uniform(state) * (double)height_px;

        for (size_t y = 0; y < height_px; y++)
            for (size_t x = 0; x < width_px && fabs((double)y - cy) <= radius_px; x++)
                if (hypot((double)x - cx, (double)y - cy) <= radius_px)
                    mask.ink[y * width_px + x] = 1;
    }
    return mask;
}

struct mask mask_turned(const struct mask *mask)
{
    struct mask turned = mask_new(mask->height_px, mask->width_px);

    for (size_t y = 0; y < mask->height_px; y++)
        for (size_t x = 0; x < mask->width_px; x++)
            turned.ink[(mask->width_px - 1 - x) * turned.width_px + y] =
                mask->ink[y * mask->width_px + x];
    return turned;
}

struct mask mask_mirrored(const struct mask *mask)
{
    struct mask mirrored = mask_new(mask->width_px, mask->height_px);

    for (size_t y = 0; y < mask->height_px; y++)
        for (size_t x = 0; x < mask->width_px; x++)
            mirrored.ink[y * mask->width_px + mask->width_px - 1 - x] =
                mask->ink[y * mask->width_px + x];
    return mirrored;
}

struct mask mask_framed(const struct mask *mask)
{
    struct mask framed = mask_new(mask->width_px + 2, mask->height_px + 2);

    for (size_t y = 0; y < mask->height_px; y++)
        memcpy(framed.ink + (y + 1) * framed.width_px + 1, mask->ink + y * mask->width_px,
               mask->width_px);
    return framed;
}

size_t mask_runs(const struct mask *mask, size_t y, fleck_run *runs)
{
    const uint8_t *const row = mask->ink + y * mask->width_px;
    size_t n = 0;

    for (size_t x = 0; x < mask->width_px; x++) {
        if (row[x] == 1 && (x == 0 || row[x - 1] != 1))
            runs[n++].start_px = (uint32_t)x;
        if (row[x] == 1 && (x + 1 == mask->width_px || row[x + 1] != 1))
            runs[n - 1].end_px = (uint32_t)x + 1;
    }
    return n;
}

void components_free(struct components *components)
{
    free(components->items);
    *components = (struct components){ NULL, 0 };
}

static void components_add(struct components *components, const fleck_component *one)
{
    components->items =
        realloc(components->items, (components->count + 1) * sizeof *components->items);
    assert_non_null(components->items);
    components->items[components->count++] = *one;
}

static fleck_status collect(void *context, fleck_phase phase, const fleck_component *one,
                            fleck_error *err)
{
    struct components *const result = context;

    (void)err;
    components_add(&result[phase], one);
    return FLECK_OK;
}

static int by_first_pixel(const void *left, const void *right)
{
    const fleck_component *const a = left, *const b = right;

    if (a->first_y_px != b->first_y_px)
        return a->first_y_px < b->first_y_px ? -1 : 1;
    return (a->first_x_px > b->first_x_px) - (a->first_x_px < b->first_x_px);
}

void components_sort(struct components *components)
{
    if (components->count > 0)
        qsort(components->items, components->count, sizeof *components->items, by_first_pixel);
}

void components_check(const char *name, const struct components *found,
                      const struct components *twin)
{
    if (found->count != twin->count)
        fail_msg("%s: %zu components, the flood fill has %zu", name, found->count, twin->count);
    for (size_t i = 0; i < twin->count; i++) {
        const fleck_component *const a = &found->items[i], *const b = &twin->items[i];

        if (a->area_px != b->area_px || a->sum_x_px != b->sum_x_px || a->sum_y_px != b->sum_y_px ||
            a->first_x_px != b->first_x_px || a->first_y_px != b->first_y_px ||
            a->min_x_px != b->min_x_px || a->max_x_px != b->max_x_px ||
            a->min_y_px != b->min_y_px || a->max_y_px != b->max_y_px || a->at_edge != b->at_edge)
            fail_msg("%s: component %zu at %u, %u differs%s", name, i, b->first_x_px, b->first_y_px,
                     a->at_edge != b->at_edge ? " in at_edge" : "");
    }
}

void mask_label(const struct mask *mask, struct components result[2])
{
    mask_label_in(mask, NULL, result);
}

void mask_label_in(const struct mask *mask, const fleck_mask *area, struct components result[2])
{
    fleck_run *const runs = malloc((mask->width_px + 1) / 2 * sizeof *runs);
    fleck_labeller *labeller;
    fleck_error err;

    result[0] = result[1] = (struct components){ NULL, 0 };
    assert_non_null(runs);
    assert_int_equal(
        fleck_labeller_new(mask->width_px, mask->height_px, area, collect, result, &labeller, &err),
        FLECK_OK);
    for (size_t y = 0; y < mask->height_px; y++)
        assert_int_equal(fleck_labeller_row(labeller, runs, mask_runs(mask, y, runs), &err),
                         FLECK_OK);
    assert_int_equal(fleck_labeller_finish(labeller, &err), FLECK_OK);
    fleck_labeller_free(labeller);
    free(runs);
    for (int phase = 0; phase < 2; phase++)
        components_sort(&result[phase]);
}

/* Collect the component of one pixel; `seen` marks what has been visited. */
static fleck_component flood(const struct mask *mask, size_t start, int neighbours, uint8_t *seen,
                             size_t *stack)
{
    static const int dx[8] = { 1, -1, 0, 0, 1, 1, -1, -1 };
    static const int dy[8] = { 0, 0, 1, -1, 1, -1, 1, -1 };
    const long width = (long)mask->width_px, height = (long)mask->height_px;
    fleck_component found = { .first_x_px = (uint32_t)(start % mask->width_px),
                              .first_y_px = (uint32_t)(start / mask->width_px),
                              .min_x_px = UINT32_MAX,
                              .min_y_px = UINT32_MAX };
    size_t depth = 0;

    stack[depth++] = start;
    seen[start] = 1;
    while (depth > 0) {
        const size_t at = stack[--depth];
        const long x = (long)at % width, y = (long)at / width;

        found.area_px++;
        found.sum_x_px += (uint64_t)x;
        found.sum_y_px += (uint64_t)y;
        found.min_x_px = x < found.min_x_px ? (uint32_t)x : found.min_x_px;
        found.max_x_px = x > found.max_x_px ? (uint32_t)x : found.max_x_px;
        found.min_y_px = y < found.min_y_px ? (uint32_t)y : found.min_y_px;
        found.max_y_px = y > found.max_y_px ? (uint32_t)y : found.max_y_px;
        found.at_edge = found.at_edge || x == 0 || y == 0 || x == width - 1 || y == height - 1;
        for (int i = 0; i < 8; i++) {
            const long nx = x + dx[i], ny = y + dy[i];
            const size_t to = (size_t)(ny * width + nx);

            if (nx < 0 || ny < 0 || nx >= width || ny >= height)
                continue;
            found.at_edge = found.at_edge || mask->ink[to] == 2;
            if (i >= neighbours || seen[to] || mask->ink[to] != mask->ink[start])
                continue;
            seen[to] = 1;
            stack[depth++] = to;
        }
    }
    return found;
}

struct components mask_flood(const struct mask *mask, fleck_phase phase)
{
    const size_t n = mask->width_px * mask->height_px;
    uint8_t *const seen = calloc(n, 1);
    size_t *const stack = malloc(n * sizeof *stack);
    struct components result = { NULL, 0 };

    assert_non_null(seen);
    assert_non_null(stack);
    for (size_t i = 0; i < n; i++) {
        if (!seen[i] && mask->ink[i] == (phase == FLECK_PHASE_INK)) {
            const fleck_component found =
                flood(mask, i, phase == FLECK_PHASE_INK ? 8 : 4, seen, stack);

            components_add(&result, &found);
        }
    }
    free(seen);
    free(stack);
    return result;
}
