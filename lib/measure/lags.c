/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/lags.h"

#include <math.h>
#include <stdlib.h>

#include "core/memory.h"

static const double pi = 3.14159265358979323846;

/* Make room for one more in a list whose element size is that of *list's. */
#define GROW(list, capacity, count) grow((void **)&(list), &(capacity), (count), sizeof *(list))

static bool grow(void **list, size_t *capacity, size_t count, size_t size)
{
    void *const grown = fleck_grow(*list, capacity, count, size);

    if (grown != NULL)
        *list = grown;
    return grown != NULL;
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the covariance; free some memory");
}

/* Index of a step, added when it is not there. */
static bool find_step(fleck_lags *lags, fleck_step step, size_t *index)
{
    for (*index = 0; *index < lags->count; ++*index) {
        if (lags->steps[*index].dx_px == step.dx_px && lags->steps[*index].dy_px == step.dy_px)
            return true;
    }
    if (!GROW(lags->steps, lags->step_capacity, lags->count) ||
        !GROW(lags->pairs, lags->pair_capacity, lags->count))
        return false;
    lags->steps[lags->count] = step;
    lags->pairs[lags->count] = (fleck_pairs){ 0 };
    lags->count++;
    return true;
}

fleck_status fleck_lags_add_ring(fleck_lags *lags, double radius_mm, fleck_error *err)
{
    fleck_lag_ring ring = { 0 };

    for (size_t direction = 0; direction < FLECK_LAG_DIRECTIONS; direction++) {
        const double angle = (double)direction * pi / FLECK_LAG_DIRECTIONS;
        const fleck_step step = { (int32_t)lround(radius_mm * cos(angle) / lags->pixel_x_mm),
                                  (int32_t)lround(radius_mm * sin(angle) / lags->pixel_y_mm) };
        size_t index, i = 0;

        if (step.dx_px == 0 && step.dy_px == 0)
            continue;
        if (step.dy_px == 0 && step.dx_px < 0)
            continue; /* the step to the right is the same pair */
        if (!find_step(lags, step, &index))
            return no_memory(err);
        while (i < ring.members && ring.member[i] != index)
            i++;
        if (i == ring.members) {
            ring.direction[ring.members] = direction;
            ring.member[ring.members++] = index;
        }
    }
    if (ring.members == 0)
        return FLECK_OK;
    if (!GROW(lags->rings, lags->ring_capacity, lags->ring_count))
        return no_memory(err);
    lags->rings[lags->ring_count++] = ring;
    return FLECK_OK;
}

/* 1, 2, 3 ... up to `each`, then growing by the factor. */
static size_t next_lag(size_t lag, size_t each, double factor)
{
    const size_t grown = (size_t)lround((double)lag * factor);

    return lag < each || grown <= lag ? lag + 1 : grown;
}

fleck_status fleck_lags_fill(fleck_lags *lags, const fleck_geometry *geometry, double longest_mm,
                             fleck_error *err)
{
    enum { EACH_ON_AXIS_PX = 64, EACH_IN_RINGS_PX = 12 };
    const double r20 = pow(10, 1.0 / 20), r40 = pow(10, 1.0 / 40);
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    const double unit_mm = fmax(px, py);
    fleck_status status = FLECK_OK;
    size_t lag;

    lags->pixel_x_mm = px;
    lags->pixel_y_mm = py;
    for (lag = 1; lag < geometry->width_px && (double)lag * px <= longest_mm;
         lag = next_lag(lag, EACH_ON_AXIS_PX, r40)) {
        if (!GROW(lags->along_x, lags->x_capacity, lags->x_count) ||
            !find_step(lags, (fleck_step){ (int32_t)lag, 0 }, &lags->along_x[lags->x_count]))
            return no_memory(err);
        lags->x_count++;
    }
    for (lag = 1; lag < geometry->height_px && (double)lag * py <= longest_mm;
         lag = next_lag(lag, EACH_ON_AXIS_PX, r40)) {
        if (!GROW(lags->along_y, lags->y_capacity, lags->y_count) ||
            !find_step(lags, (fleck_step){ 0, (int32_t)lag }, &lags->along_y[lags->y_count]))
            return no_memory(err);
        lags->y_count++;
    }
    for (lag = 1; status == FLECK_OK && (double)lag * unit_mm <= longest_mm &&
                  (double)lag * unit_mm < px * (double)geometry->width_px &&
                  (double)lag * unit_mm < py * (double)geometry->height_px;
         lag = next_lag(lag, EACH_IN_RINGS_PX, r20))
        status = fleck_lags_add_ring(lags, (double)lag * unit_mm, err);
    return status;
}

void fleck_lags_add_row(fleck_lags *lags, const fleck_bit_rows *ink, const fleck_bit_rows *inside,
                        size_t y)
{
    for (size_t i = 0; i < lags->count; i++)
        fleck_pairs_add_row(&lags->pairs[i], lags->steps[i], ink, inside, y);
}

double fleck_lag_length_mm(const fleck_lags *lags, size_t step)
{
    return hypot(lags->steps[step].dx_px * lags->pixel_x_mm,
                 lags->steps[step].dy_px * lags->pixel_y_mm);
}

fleck_step fleck_lags_reach(const fleck_lags *lags)
{
    fleck_step reach = { 1, 1 };

    for (size_t i = 0; i < lags->count; i++) {
        const fleck_step step = lags->steps[i];

        if (abs(step.dx_px) > reach.dx_px)
            reach.dx_px = abs(step.dx_px);
        if (step.dy_px > reach.dy_px)
            reach.dy_px = step.dy_px;
    }
    return reach;
}

void fleck_lags_clear(fleck_lags *lags)
{
    fleck_free(lags->steps);
    fleck_free(lags->pairs);
    fleck_free(lags->rings);
    fleck_free(lags->along_x);
    fleck_free(lags->along_y);
    *lags = (fleck_lags){ 0 };
}
