/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A Monte Carlo test of fit (Besag & Diggle 1977; Dao & Genton 2014 for fitted nulls). The model is
 * fitted to the window and drawn again and again on the same pixels; each draw is fitted anew by
 * the same code. What is compared are signs of another order that the fit leaves over:
 *
 * - the overlap curve less that of the fitted discs, from half their size to three times it:
 *   lattices and dots that keep apart dip below it, clusters stay above
 * - its dependence on direction: elongated dots and fields
 * - the Euler number less the model's, which pixels count low in the window and the draws alike
 *
 * Their distance from the mean of all, in the metric of their own scatter (Mahalanobis 1936), is
 * ranked. The window counts as one of all, so that under the model every rank is as likely.
 *
 * With a known blur the draws are blurred and cut as the scan was. A fit to such a mask is off by
 * some percent, as notches fill and gaps close; by as much as the fits to the draws lie off the
 * model that they were drawn from, which corrects it (indirect inference, Gourieroux, Monfort &
 * Renault 1993).
 */
#include "measure/grain_test.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "measure/boolean_draw.h"
#include "measure/boolean_model.h"
#include "measure/euler.h"
#include "measure/grain_fit.h"
#include "measure/scatter_rank.h"

/*
 * Radii over the area-weighted median diameter. Those up to 11/12 are fitted; none lies near 1,
 * where the fit ends, so that each draw is fitted to the same rings.
 */
static const struct {
    double radius;
    bool tested, directions;
} rings[] = {
    { 1 / 12.0, false, false },  { 2 / 12.0, false, false },  { 3 / 12.0, false, false },
    { 4 / 12.0, false, false },  { 5 / 12.0, false, false },  { 6 / 12.0, true, true },
    { 7 / 12.0, false, false },  { 8 / 12.0, false, false },  { 9 / 12.0, true, false },
    { 10 / 12.0, false, false }, { 11 / 12.0, false, false }, { 1.08, true, true },
    { 1.3, true, false },        { 1.6, true, true },         { 2, true, false },
    { 2.5, true, false },        { 3, true, false },
};
/*
 * Every sign has a scatter of its own besides that of the draws: the short steps of a large window
 * are known better than the blur of any scan, and a difference of so little means nothing.
 */
static const double slack = 0.004;

enum {
    RINGS = sizeof rings / sizeof *rings,
    TESTED = 8,   /* rings that are tested, */
    DIRECTED = 3, /* and those of them looked at by direction, in two harmonics */
    SIGNS = TESTED + 2 * DIRECTED + 1,
    MOST_GRAINS = 3000, /* drawing more takes too long: the window is made smaller */
    LEAST_DRAWS = 4     /* with a fit, for a verdict */
};

/* A model in the numbers in which corrections add up. */
struct place {
    double log_cover, log_mean, log_variance;
};

struct signs {
    bool valid;
    double value[SIGNS];
    struct place place; /* of its fit */
};

struct worker {
    fleck_bit_rows ink;
    fleck_lags lags;
    fleck_boolean_canvas canvas;
};

struct test {
    fleck_bit_rows ink, inside_rows;
    const fleck_bit_rows *inside; /* NULL without a mask */
    uint64_t inside_px;
    double pixel_x_mm, pixel_y_mm, blur_sd_mm;
    fleck_lags lags;       /* the steps; counts of the window */
    size_t ring_at[RINGS]; /* index of each ring, or RINGS when the window has no room for it */
    fleck_disc_model fit;  /* to the window; draws are made of it */
    uint64_t seed;
    struct worker *workers;
    unsigned worker_count;
    struct signs *signs;  /* the window's, then one for each draw */
    const double **valid; /* signs of those that have a fit */
};

static struct place place_of(const fleck_disc_model *model)
{
    const double s = log(model->gsd);

    return (struct place){ log(-log(1 - fleck_disc_model_covered(model))),
                           log(fleck_disc_model_mean_mm(model)), s * s };
}

fleck_disc_model fleck_disc_model_moved(const fleck_disc_model *model, double log_cover_shift,
                                        double log_mean_shift, double log_variance_shift)
{
    static const double pi = 3.14159265358979323846;
    const struct place place = place_of(model);
    const double v = fmax(place.log_variance + log_variance_shift, 0);
    const double median_mm = exp(place.log_mean + log_mean_shift - v / 2);

    return (fleck_disc_model){ .per_mm2 = exp(place.log_cover + log_cover_shift) /
                                          (pi / 4 * median_mm * median_mm * exp(2 * v)),
                               .median_diameter_mm = median_mm,
                               .gsd = exp(sqrt(v)) };
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory to test the fit of the grains; free some memory");
}

/* The middle of a window, columns from a whole word on. */
static fleck_status crop(const fleck_bit_rows *from, size_t width_px, size_t height_px,
                         size_t reach_px, fleck_bit_rows *to, fleck_error *err)
{
    const size_t left_word = (from->width_px - width_px) / 2 / 64;
    const size_t top = (from->rows - height_px) / 2, over_px = width_px % 64;
    const fleck_status status = fleck_bit_rows_init(to, width_px, height_px, reach_px, err);

    for (size_t y = 0; status == FLECK_OK && y < height_px; y++) {
        uint64_t *const row = fleck_bit_row(to, y);

        memcpy(row, fleck_bit_row(from, top + y) + left_word, to->words * sizeof *row);
        if (over_px > 0)
            row[to->words - 1] &= (UINT64_C(1) << over_px) - 1;
        fleck_bit_rows_recount(to, y);
    }
    return status;
}

/* Whether a ring of this radius looks at other pixels than those there are. */
static bool is_apart(const struct test *test, const double *radius_mm, double candidate_mm,
                     double apart_mm)
{
    for (size_t i = 0; i < RINGS; i++) {
        if (test->ring_at[i] < RINGS && fabs(radius_mm[i] - candidate_mm) < apart_mm)
            return false;
    }
    return true;
}

/* Rings to test come first: of small grains several radii are the same few pixels. */
static fleck_status choose_rings(struct test *test, double diameter_mm, double longest_mm,
                                 fleck_error *err)
{
    const double pixel_mm = fmax(test->pixel_x_mm, test->pixel_y_mm);
    double radius_mm[RINGS];
    fleck_status status = FLECK_OK;

    test->lags.pixel_x_mm = test->pixel_x_mm;
    test->lags.pixel_y_mm = test->pixel_y_mm;
    for (size_t i = 0; i < RINGS; i++) {
        radius_mm[i] = fmax(rings[i].radius * diameter_mm, pixel_mm);
        test->ring_at[i] = RINGS;
    }
    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; status == FLECK_OK && i < RINGS; i++) {
            if (rings[i].tested != (pass == 0) || radius_mm[i] > longest_mm ||
                !is_apart(test, radius_mm, radius_mm[i], 0.7 * pixel_mm))
                continue;
            test->ring_at[i] = test->lags.ring_count;
            status = fleck_lags_add_ring(&test->lags, radius_mm[i], err);
        }
    }
    return status;
}

/* Second harmonic of the overlap over the directions of a ring. */
static void by_direction(const fleck_lags *lags, const fleck_lag_ring *ring, double *cosine,
                         double *sine)
{
    static const double pi = 3.14159265358979323846;

    *cosine = *sine = 0;
    for (size_t i = 0; i < ring->members; i++) {
        const double angle = 2 * pi * (double)ring->direction[i] / FLECK_LAG_DIRECTIONS;
        const double overlap = fleck_grain_overlap(&lags->pairs[ring->member[i]]);

        *cosine += overlap * cos(angle);
        *sine += overlap * sin(angle);
    }
}

/* Count, fit and compare; lags has the steps of test->lags. */
static bool find_signs(const struct test *test, const fleck_bit_rows *ink, fleck_lags *lags,
                       const fleck_disc_model *start, fleck_disc_model *model, struct signs *signs)
{
    uint64_t ink_px = 0;
    int64_t euler = 0;
    double radius_mm, log_variance, perimeter_per_mm, area_mm2;
    size_t n = 0;

    signs->valid = false;
    memset(lags->pairs, 0, lags->count * sizeof *lags->pairs);
    for (size_t y = 0; y < ink->rows; y++) {
        fleck_lags_add_row(lags, ink, test->inside, y);
        ink_px += fleck_bit_rows_set_before(ink, y, ink->width_px);
        euler += fleck_euler_of_row(ink, test->inside, y);
    }
    if (!fleck_grain_fit(lags, (double)ink_px / (double)test->inside_px, start, model))
        return false;
    log_variance = log(model->gsd) * log(model->gsd);
    radius_mm = fleck_disc_model_weighted_mm(model) / 2;
    for (size_t i = 0; i < RINGS; i++) {
        double length_mm, overlap = 0, cosine = 0, sine = 0;

        if (test->ring_at[i] < RINGS) {
            const fleck_lag_ring *const ring = &lags->rings[test->ring_at[i]];
            const fleck_pairs sum = fleck_lag_ring_pairs(lags, ring, &length_mm);

            overlap = fleck_grain_overlap(&sum) -
                      fleck_boolean_overlap(radius_mm, log_variance, length_mm);
            by_direction(lags, ring, &cosine, &sine);
        }
        if (rings[i].tested)
            signs->value[n++] = overlap;
        if (rings[i].directions) {
            signs->value[n++] = cosine;
            signs->value[n++] = sine;
        }
    }
    area_mm2 = (double)test->inside_px * test->pixel_x_mm * test->pixel_y_mm;
    perimeter_per_mm = fleck_disc_model_perimeter_per_mm(model);
    /* over the square of the boundary, which makes it a pure number */
    signs->value[n++] = ((double)euler / area_mm2 - fleck_disc_model_euler_per_mm2(model)) /
                        (perimeter_per_mm * perimeter_per_mm);
    signs->place = place_of(model);
    signs->valid = true;
    for (size_t i = 0; i < n; i++)
        signs->valid = signs->valid && isfinite(signs->value[i]);
    return signs->valid;
}

static void simulate(void *context, unsigned number, size_t i)
{
    struct test *const test = context;
    struct worker *const worker = &test->workers[number];
    fleck_disc_model model;

    /* seeds far apart: the generator is a counter with a mixer */
    fleck_boolean_draw(&worker->canvas, &test->fit,
                       (test->seed + i + 1) * UINT64_C(0xd1342543de82ef95), &worker->ink);
    if (test->inside != NULL) {
        for (size_t y = 0; y < worker->ink.rows; y++) {
            for (size_t w = 0; w < worker->ink.words; w++)
                fleck_bit_row(&worker->ink, y)[w] &= fleck_bit_row(test->inside, y)[w];
            fleck_bit_rows_recount(&worker->ink, y);
        }
    }
    find_signs(test, &worker->ink, &worker->lags, &test->fit, &model, &test->signs[i + 1]);
}

/* The drawn model less the mean of the fits to its draws; nought when too few have one. */
static struct place mean_shift(const struct test *test, const struct signs *draws, size_t count)
{
    const struct place drawn = place_of(&test->fit);
    struct place sum = { 0, 0, 0 };
    double valid = 0;

    for (size_t i = 0; i < count; i++) {
        if (!draws[i].valid)
            continue;
        valid++;
        sum.log_cover += drawn.log_cover - draws[i].place.log_cover;
        sum.log_mean += drawn.log_mean - draws[i].place.log_mean;
        sum.log_variance += drawn.log_variance - draws[i].place.log_variance;
    }
    if (valid < LEAST_DRAWS)
        return (struct place){ 0, 0, 0 };
    return (struct place){ sum.log_cover / valid, sum.log_mean / valid, sum.log_variance / valid };
}

static void judge(const struct signs *signs, size_t count, fleck_grain_verdict *out,
                  const double **valid)
{
    double sum = 0, squares = 0, n;
    size_t valid_count = 0;

    for (size_t i = 0; i < count; i++) {
        const double away = signs[i].place.log_mean - signs[0].place.log_mean;

        if (!signs[i].valid)
            continue;
        valid[valid_count++] = signs[i].value; /* the window's own first: it is always valid */
        sum += away;                           /* to which it adds nothing */
        squares += away * away;
    }
    if (valid_count < 1 + LEAST_DRAWS)
        return;
    out->p = fleck_scatter_rank(valid, valid_count, SIGNS, slack);
    n = (double)valid_count - 1;
    out->log_mean_sd = sqrt(fmax(squares - sum * sum / n, 0) / (n - 1));
}

static uint64_t pixels_inside(const struct test *test)
{
    uint64_t sum = 0;

    if (test->inside == NULL)
        return (uint64_t)test->ink.width_px * test->ink.rows;
    for (size_t y = 0; y < test->ink.rows; y++)
        sum += fleck_bit_rows_set_before(test->inside, y, test->ink.width_px);
    return sum;
}

static fleck_status copy_steps(const fleck_lags *from, fleck_lags *to, fleck_error *err)
{
    *to = *from;
    to->along_x = to->along_y = NULL;
    to->steps = fleck_alloc_array(from->count, sizeof *to->steps);
    to->pairs = fleck_alloc_array(from->count, sizeof *to->pairs);
    to->rings = fleck_alloc_array(from->ring_count, sizeof *to->rings);
    if (to->steps == NULL || to->pairs == NULL || to->rings == NULL)
        return no_memory(err);
    memcpy(to->steps, from->steps, from->count * sizeof *to->steps);
    memcpy(to->rings, from->rings, from->ring_count * sizeof *to->rings);
    return FLECK_OK;
}

static fleck_status new_workers(struct test *test, size_t reach_px, unsigned threads,
                                fleck_error *err)
{
    fleck_status status = FLECK_OK;

    test->workers = fleck_alloc_zeroed(threads, sizeof *test->workers);
    if (test->workers == NULL)
        return no_memory(err);
    while (status == FLECK_OK && test->worker_count < threads) {
        struct worker *const worker = &test->workers[test->worker_count++];

        status =
            fleck_bit_rows_init(&worker->ink, test->ink.width_px, test->ink.rows, reach_px, err);
        if (status == FLECK_OK)
            status = copy_steps(&test->lags, &worker->lags, err);
        if (status == FLECK_OK)
            status = fleck_boolean_canvas_init(&worker->canvas, test->ink.width_px, test->ink.rows,
                                               test->pixel_x_mm, test->pixel_y_mm, test->blur_sd_mm,
                                               err);
    }
    return status;
}

static void free_test(struct test *test)
{
    for (unsigned i = 0; i < test->worker_count; i++) {
        fleck_bit_rows_clear(&test->workers[i].ink);
        fleck_lags_clear(&test->workers[i].lags);
        fleck_boolean_canvas_clear(&test->workers[i].canvas);
    }
    fleck_free(test->workers);
    fleck_free(test->signs);
    fleck_free(test->valid);
    fleck_lags_clear(&test->lags);
    fleck_bit_rows_clear(&test->ink);
    fleck_bit_rows_clear(&test->inside_rows);
}

static void run_draws(struct test *test, const fleck_random_set_options *options,
                      fleck_grain_verdict *out)
{
    fleck_parallel_for(options->threads, options->simulations, simulate, test);
    judge(test->signs, options->simulations + 1, out, test->valid);
    out->tested_px = test->inside_px;
    if (test->blur_sd_mm > 0) {
        const struct place shift = mean_shift(test, test->signs + 1, options->simulations);

        out->log_cover_shift = shift.log_cover;
        out->log_mean_shift = shift.log_mean;
        out->log_variance_shift = shift.log_variance;
    }
}

/* Sides of the window to use: all of it unless it would hold too many grains. */
static void choose_size(const fleck_bit_rows *window, double grains, size_t *width_px,
                        size_t *height_px)
{
    const double shrink = fmin(sqrt(MOST_GRAINS / grains), 1);

    *width_px = (size_t)ceil((double)window->width_px * shrink);
    *height_px = (size_t)ceil((double)window->rows * shrink);
}

fleck_status fleck_grain_test(const fleck_bit_rows *window, const fleck_bit_rows *inside,
                              double pixel_x_mm, double pixel_y_mm, double blur_sd_mm,
                              const fleck_disc_model *start,
                              const fleck_random_set_options *options, fleck_grain_verdict *out,
                              fleck_error *err)
{
    const double weighted_mm = fleck_disc_model_weighted_mm(start);
    const double grains =
        start->per_mm2 * pixel_x_mm * (double)window->width_px * pixel_y_mm * (double)window->rows;
    const double reach_px = ceil(3 * weighted_mm / fmin(pixel_x_mm, pixel_y_mm)) + 1;
    struct test test = { .pixel_x_mm = pixel_x_mm,
                         .pixel_y_mm = pixel_y_mm,
                         .blur_sd_mm = blur_sd_mm,
                         .seed = options->seed };
    size_t width_px, height_px;
    double side_mm;
    fleck_status status;

    *out = (fleck_grain_verdict){ .p = NAN, .log_mean_sd = NAN };
    if (!(grains >= FLECK_GRAIN_LEAST) || options->simulations == 0 || !(reach_px < INT32_MAX) ||
        !(blur_sd_mm < weighted_mm / 4))
        return FLECK_OK;
    choose_size(window, grains, &width_px, &height_px);
    side_mm = fmin((double)width_px * pixel_x_mm, (double)height_px * pixel_y_mm);
    status = choose_rings(&test, weighted_mm, side_mm / 3, err);
    if (status == FLECK_OK)
        status = crop(window, width_px, height_px, (size_t)reach_px, &test.ink, err);
    if (status == FLECK_OK && inside != NULL) {
        status = crop(inside, width_px, height_px, (size_t)reach_px, &test.inside_rows, err);
        test.inside = &test.inside_rows;
    }
    if (status == FLECK_OK) {
        test.inside_px = pixels_inside(&test);
        test.signs = fleck_alloc_zeroed(options->simulations + 1, sizeof *test.signs);
        test.valid = fleck_alloc_array(options->simulations + 1, sizeof *test.valid);
        if (test.signs == NULL || test.valid == NULL)
            status = no_memory(err);
    }
    if (status == FLECK_OK && test.inside_px > 0 &&
        find_signs(&test, &test.ink, &test.lags, start, &test.fit, &test.signs[0])) {
        status = new_workers(&test, (size_t)reach_px, options->threads, err);
        if (status == FLECK_OK)
            run_draws(&test, options, out);
    }
    free_test(&test);
    return status;
}
