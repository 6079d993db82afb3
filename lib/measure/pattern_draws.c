/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/pattern_draws.h"

#include <math.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "measure/boolean_draw.h"
#include "segment/mask_words.h"

static const double pi = 3.14159265358979323846;

struct worker {
    const fleck_pattern_null *null;
    fleck_bit_rows ink;
    fleck_boolean_canvas canvas;
    fleck_run *runs; /* of one row */
    fleck_point_mm *points;
    size_t count, capacity;
};

struct draws {
    const fleck_pattern_null *null;
    struct worker *workers;
    unsigned worker_count;
    uint64_t seed;
    double *curves;
    fleck_error *errors; /* of each draw */
};

fleck_status fleck_pattern_curve(const fleck_pattern_null *null, const fleck_point_mm *points,
                                 size_t n, double *l_mm, fleck_error *err)
{
    const fleck_pattern_box *const box = &null->window->points;
    const fleck_status status = fleck_pattern_ripley_k(
        points, n, (double)box->width_px * null->geometry->pixel_x_mm,
        (double)box->height_px * null->geometry->pixel_y_mm, null->r_mm, null->count, l_mm, err);

    for (size_t k = 0; status == FLECK_OK && k < null->count; k++)
        l_mm[k] = sqrt(l_mm[k] / pi) - null->r_mm[k];
    return status;
}

static fleck_status take_dot(void *context, fleck_phase phase, const fleck_component *component,
                             fleck_error *err)
{
    struct worker *const worker = context;
    const fleck_pattern_null *const null = worker->null;
    fleck_point_mm place;

    (void)phase;
    if (component->area_px < null->least_area_px ||
        !fleck_pattern_place(null->window, null->geometry, component, null->window->drawn.left_px,
                             null->window->drawn.top_px, &place))
        return FLECK_OK;
    if (worker->count == worker->capacity) {
        fleck_point_mm *const grown =
            fleck_grow(worker->points, &worker->capacity, worker->count, sizeof *grown);

        if (grown == NULL)
            return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for %zu dots; free some memory",
                              worker->count + 1);
        worker->points = grown;
    }
    worker->points[worker->count++] = place;
    return FLECK_OK;
}

/* Centroids of the dots of what is drawn. */
static fleck_status find_dots(struct worker *worker, fleck_error *err)
{
    const fleck_mask ink = { .width_px = worker->ink.width_px,
                             .height_px = worker->ink.rows,
                             .row_words = worker->ink.pitch,
                             .words = worker->ink.bits };
    fleck_labeller *labeller = NULL;
    fleck_status status = fleck_labeller_new(worker->ink.width_px, worker->ink.rows, NULL, take_dot,
                                             worker, &labeller, err);

    worker->count = 0;
    if (status == FLECK_OK)
        status = fleck_labeller_leave_out_bare(labeller, err);
    for (size_t y = 0; status == FLECK_OK && y < worker->ink.rows; y++)
        status =
            fleck_labeller_row(labeller, worker->runs, fleck_mask_runs(&ink, y, worker->runs), err);
    if (status == FLECK_OK)
        status = fleck_labeller_finish(labeller, err);
    fleck_labeller_free(labeller);
    return status;
}

static void draw_one(void *context, unsigned number, size_t i)
{
    struct draws *const draws = context;
    struct worker *const worker = &draws->workers[number];
    fleck_error *const err = &draws->errors[i];

    /* seeds far apart: the generator is a counter with a mixer */
    fleck_boolean_draw(&worker->canvas, draws->null->grains,
                       (draws->seed + i + 1) * UINT64_C(0xaef17502108ef2d9), &worker->ink);
    if (find_dots(worker, err) == FLECK_OK)
        (void)fleck_pattern_curve(draws->null, worker->points, worker->count,
                                  draws->curves + i * draws->null->count, err);
}

static fleck_status init_worker(struct worker *worker, const fleck_pattern_null *null,
                                fleck_error *err)
{
    const fleck_pattern_box *const box = &null->window->drawn;
    fleck_status status = fleck_bit_rows_init(&worker->ink, box->width_px, box->height_px, 1, err);

    worker->null = null;
    if (status == FLECK_OK)
        status = fleck_boolean_canvas_init(&worker->canvas, box->width_px, box->height_px,
                                           null->geometry->pixel_x_mm, null->geometry->pixel_y_mm,
                                           null->blur_sd_mm, err);
    if (status == FLECK_OK) {
        worker->runs = fleck_alloc_array(box->width_px / 2 + 1, sizeof *worker->runs);
        if (worker->runs == NULL)
            status =
                fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a row of dots; free some memory");
    }
    return status;
}

fleck_status fleck_pattern_draw_curves(const fleck_pattern_null *null, size_t draws_wanted,
                                       uint64_t seed, unsigned threads, double *curves,
                                       fleck_error *err)
{
    struct draws draws = { .null = null, .seed = seed, .curves = curves };
    fleck_status status = FLECK_OK;

    if (threads > draws_wanted)
        threads = draws_wanted > 0 ? (unsigned)draws_wanted : 1;
    draws.workers = fleck_alloc_zeroed(threads, sizeof *draws.workers);
    draws.errors = fleck_alloc_zeroed(draws_wanted, sizeof *draws.errors);
    if (draws.workers == NULL || draws.errors == NULL)
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for %zu simulations; free some memory", draws_wanted);
    while (status == FLECK_OK && draws.worker_count < threads)
        status = init_worker(&draws.workers[draws.worker_count++], null, err);
    if (status == FLECK_OK)
        fleck_parallel_for(threads, draws_wanted, draw_one, &draws);
    for (size_t i = 0; status == FLECK_OK && i < draws_wanted; i++) {
        if (draws.errors[i].status != FLECK_OK)
            status = fleck_fail(err, draws.errors[i].status, "%s", draws.errors[i].message);
    }
    for (unsigned i = 0; i < draws.worker_count; i++) {
        fleck_bit_rows_clear(&draws.workers[i].ink);
        fleck_boolean_canvas_clear(&draws.workers[i].canvas);
        fleck_free(draws.workers[i].runs);
        fleck_free(draws.workers[i].points);
    }
    fleck_free(draws.workers);
    fleck_free(draws.errors);
    return status;
}
