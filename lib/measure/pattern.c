/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The verdict on a pattern of dots: a Monte Carlo test against the patch's own grains at random
 * places (Besag & Diggle 1977; Myllymaki et al. 2017). L(r) - r takes the number of dots out, so
 * that a draw with a few more or fewer of them is compared all the same.
 */
#include "fleck/pattern.h"

#include <math.h>

#include "core/memory.h"
#include "core/versioned.h"
#include "measure/grain_fit.h"
#include "measure/pattern_draws.h"
#include "measure/pattern_envelope.h"
#include "measure/pattern_window.h"

enum {
    STEPS = 60,
    LEAST_DOTS = 30,        /* common practice, no source */
    LEAST_WINDOW_DOTS = 50, /* more than LEAST_DOTS: the number in a window scatters */
    LEAST_SIMULATIONS = 19, /* fewer cannot reach 5 % */
    MOST_GRAINS = 4000,     /* in a draw, and its pixels: more would take too long */
    MOST_PIXELS = 1 << 20,
    CELLS = 256
};
static const double level = 0.05;
/*
 * Area-weighted median diameters from which pairs are looked at. At 1 a fifth of the patches with
 * weak clusters were called regular, at 1.3 none, and farther off no more were found.
 */
static const double nearest = 1.3;

/* Why there is no verdict. */
enum reason { NO_SIMULATIONS, FEW_DOTS, NO_GRAINS, TOO_SOFT, NO_WINDOW, FEW_PAIRS, REASONS };
static const struct {
    const char *code, *text;
} reasons[REASONS] = {
    [NO_SIMULATIONS] = { "no-simulations", "no simulations were asked for" },
    [FEW_DOTS] = { "few-dots", "fewer than 30 dots cannot tell an order from chance" },
    [NO_GRAINS] = { "no-grains", "no discs could be fitted to the dots to compare them with" },
    [TOO_SOFT] = { "too-soft", "the dots are too soft to draw others like them" },
    [NO_WINDOW] = { "no-window", "the mask has no room for a window clear of its border" },
    [FEW_PAIRS] = { "few-pairs", "the fitted discs give too few dots to compare with" },
};

void fleck_pattern_options_init(fleck_pattern_options *options, size_t struct_bytes)
{
    const fleck_pattern_options defaults = {
        .simulations = 199, .seed = 1, .window_dots = 500, .least_area_px = 1, .threads = 1
    };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

const char *fleck_order_name(fleck_order order)
{
    static const char *const names[] = { [FLECK_ORDER_CLUSTERED] = "clustered",
                                         [FLECK_ORDER_RANDOM] = "random",
                                         [FLECK_ORDER_REGULAR] = "regular" };

    return order > FLECK_ORDER_NONE && order <= FLECK_ORDER_REGULAR ? names[order] : NULL;
}

void fleck_pattern_clear(fleck_pattern *pattern)
{
    if (pattern == NULL)
        return;
    fleck_free(pattern->r_mm);
    fleck_free(pattern->l_mm);
    fleck_free(pattern->l_lo_mm);
    fleck_free(pattern->l_hi_mm);
    fleck_free(pattern->g);
    fleck_free(pattern->nn_g);
    fleck_free(pattern->empty_f);
    *pattern = (fleck_pattern){ 0 };
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for the pattern of the dots; free some memory");
}

static fleck_status check_call(const fleck_geometry *geometry, const fleck_mask *mask,
                               const fleck_pattern_options *options, fleck_error *err)
{
    if ((options->simulations > 0 && options->simulations < LEAST_SIMULATIONS) ||
        options->window_dots < LEAST_WINDOW_DOTS || options->threads < 1)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%zu simulations of %zu dots on %u threads; give 0 or at least %d "
                          "simulations, %d dots and 1 thread",
                          options->simulations, options->window_dots, options->threads,
                          LEAST_SIMULATIONS, LEAST_WINDOW_DOTS);
    if (mask != NULL && (fleck_mask_width_px(mask) != geometry->width_px ||
                         fleck_mask_height_px(mask) != geometry->height_px))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a mask of %zu x %zu px for a region of %zu x %zu px; give one of the "
                          "region's size",
                          fleck_mask_width_px(mask), fleck_mask_height_px(mask), geometry->width_px,
                          geometry->height_px);
    return FLECK_OK;
}

static bool has_grains(const fleck_disc_model *grains)
{
    return grains->per_mm2 > 0 && grains->median_diameter_mm > 0 && grains->gsd >= 1 &&
           isfinite(grains->per_mm2) && isfinite(grains->median_diameter_mm) &&
           isfinite(grains->gsd);
}

/* Four of the larger discs in a row: a chain of them that reaches farther is rare. */
static size_t margin_px(const fleck_disc_model *grains, const fleck_geometry *geometry)
{
    const double reach_mm = 4 * fleck_disc_model_weighted_mm(grains) * grains->gsd;

    return (size_t)fmin(ceil(reach_mm / fmin(geometry->pixel_x_mm, geometry->pixel_y_mm)),
                        INT32_MAX);
}

/* Gather centroids in the window; NULL: without memory. */
static fleck_point_mm *find_points(const fleck_component *dots, size_t n,
                                   const fleck_geometry *geometry,
                                   const fleck_pattern_window *window, size_t *count)
{
    fleck_point_mm *const points = fleck_alloc_array(n, sizeof *points);

    *count = 0;
    for (size_t i = 0; points != NULL && i < n; i++)
        *count += fleck_pattern_place(window, geometry, &dots[i], 0, 0, &points[*count]);
    return points;
}

static size_t count_in(const fleck_component *dots, size_t n, const fleck_geometry *geometry,
                       const fleck_pattern_box *box)
{
    const fleck_pattern_window window = { *box, *box };
    fleck_point_mm place;
    size_t count = 0;

    for (size_t i = 0; i < n; i++)
        count += fleck_pattern_place(&window, geometry, &dots[i], 0, 0, &place);
    return count;
}

/* Sides of the window over those of the box. */
static double choose_shrink(const fleck_pattern_box *box, const fleck_geometry *geometry,
                            double dots, const fleck_disc_model *grains, size_t window_dots)
{
    const double box_px = (double)box->width_px * (double)box->height_px;
    double shrink = fmin(1, sqrt((double)window_dots / fmax(dots, 1)));

    if (grains != NULL) {
        const double grains_in_box =
            grains->per_mm2 * box_px * geometry->pixel_x_mm * geometry->pixel_y_mm;

        shrink = fmin(shrink, sqrt(MOST_GRAINS / grains_in_box));
        shrink = fmin(shrink, sqrt(MOST_PIXELS / box_px));
    }
    return shrink;
}

static fleck_status fill_functions(const fleck_point_mm *points, size_t n, double dots_per_mm2,
                                   fleck_pattern *out, fleck_error *err)
{
    const double w = out->window_width_mm, h = out->window_height_mm;
    const double longest_mm = fmin(3 / sqrt(dots_per_mm2), fmin(w, h) / 4);
    double **const arrays[] = { &out->r_mm, &out->l_mm, &out->l_lo_mm, &out->l_hi_mm,
                                &out->g,    &out->nn_g, &out->empty_f };
    fleck_status status;

    if (n < 2)
        return FLECK_OK;
    for (size_t i = 0; i < sizeof arrays / sizeof *arrays; i++) {
        *arrays[i] = fleck_alloc_array(STEPS, sizeof **arrays[i]);
        if (*arrays[i] == NULL)
            return no_memory(err);
    }
    out->count = STEPS;
    for (size_t k = 0; k < STEPS; k++) {
        out->r_mm[k] = longest_mm * ((double)k + 1) / STEPS;
        out->l_lo_mm[k] = out->l_hi_mm[k] = out->g[k] = NAN;
    }
    status = fleck_pattern_nearest_g(points, n, w, h, out->r_mm, STEPS, out->nn_g, err);
    if (status == FLECK_OK)
        status = fleck_pattern_empty_f(points, n, w, h, CELLS, out->r_mm, STEPS, out->empty_f, err);
    if (status == FLECK_OK && longest_mm + 0.15 / sqrt((double)n / (w * h)) < fmin(w, h))
        status = fleck_pattern_pair_correlation(points, n, w, h, 0, out->r_mm, STEPS, out->g, err);
    return status;
}

static fleck_status no_verdict(enum reason reason, fleck_pattern *out)
{
    out->why = reasons[reason].code;
    out->why_text = reasons[reason].text;
    return FLECK_OK;
}

/*
 * Distances beyond the dots' own size at which nearly every curve has a pair, L(r) being above 0.
 * Nearer pairs tell how sizes were fitted and how dots merge, not how they lie: the fit takes
 * clusters of equal dots for dots of many sizes, which may come nearer to each other.
 */
static void choose_used(const double *curves, size_t count, const double *r_mm, double least_mm,
                        bool *used)
{
    for (size_t k = 0; k < STEPS; k++) {
        double with_pairs = 0, valid = 0;

        for (size_t i = 0; i < count; i++) {
            valid += !isnan(curves[i * STEPS]);
            with_pairs += curves[i * STEPS + k] + r_mm[k] > 0;
        }
        used[k] = r_mm[k] >= least_mm && with_pairs >= 0.95 * valid;
    }
}

/* The patch's own curve is in l_mm. */
static fleck_status judge(const fleck_pattern_null *null, const fleck_pattern_options *options,
                          fleck_pattern *out, fleck_error *err)
{
    const size_t count = options->simulations + 1;
    double *curves = NULL, *deviations = NULL;
    bool used[STEPS];
    fleck_envelope envelope;
    size_t all;
    fleck_status status = FLECK_OK;

    if (size_mul(count, STEPS, &all))
        curves = fleck_alloc_array(all, sizeof *curves);
    deviations = fleck_alloc_array(count, sizeof *deviations);
    if (curves == NULL || deviations == NULL) {
        status = no_memory(err);
        goto done;
    }
    for (size_t k = 0; k < STEPS; k++)
        curves[k] = out->l_mm[k];
    status = fleck_pattern_draw_curves(null, options->simulations, options->seed, options->threads,
                                       curves + STEPS, err);
    if (status != FLECK_OK)
        goto done;
    choose_used(curves, count, out->r_mm, nearest * fleck_disc_model_weighted_mm(null->grains),
                used);
    if (!fleck_envelope_find(curves, count, STEPS, used, level, deviations, out->l_lo_mm,
                             out->l_hi_mm, &envelope) ||
        envelope.simulations < LEAST_SIMULATIONS) {
        for (size_t k = 0; k < STEPS; k++)
            out->l_lo_mm[k] = out->l_hi_mm[k] = NAN;
        status = no_verdict(FEW_PAIRS, out);
        goto done;
    }
    out->order_p = envelope.p;
    out->simulations = envelope.simulations;
    out->decided_at_mm = out->r_mm[envelope.at];
    out->order = envelope.p > level  ? FLECK_ORDER_RANDOM
                 : envelope.side > 0 ? FLECK_ORDER_CLUSTERED
                                     : FLECK_ORDER_REGULAR;
done:
    fleck_free(curves);
    fleck_free(deviations);
    return status;
}

/* Everything once the window is known. */
static fleck_status look_at(const fleck_pattern_null *null, const fleck_point_mm *points, size_t n,
                            double dots_per_mm2, const fleck_pattern_options *options,
                            fleck_pattern *out, fleck_error *err)
{
    fleck_pattern_null with_distances = *null;
    fleck_status status = fill_functions(points, n, dots_per_mm2, out, err);

    if (status != FLECK_OK || n < 2)
        return status == FLECK_OK ? no_verdict(FEW_DOTS, out) : status;
    with_distances.r_mm = out->r_mm;
    with_distances.count = out->count;
    status = fleck_pattern_curve(&with_distances, points, n, out->l_mm, err);
    if (status != FLECK_OK)
        return status;
    if (n < LEAST_DOTS)
        return no_verdict(FEW_DOTS, out);
    if (options->simulations == 0)
        return no_verdict(NO_SIMULATIONS, out);
    if (null->grains == NULL)
        return no_verdict(NO_GRAINS, out);
    if (!(null->blur_sd_mm < fleck_disc_model_weighted_mm(null->grains) / 4))
        return no_verdict(TOO_SOFT, out);
    return judge(&with_distances, options, out, err);
}

fleck_status fleck_pattern_find(const fleck_component *dots, size_t n,
                                const fleck_geometry *geometry, const fleck_mask *mask,
                                const fleck_disc_model *grains, double blur_sd_mm,
                                const fleck_pattern_options *options, fleck_pattern *out,
                                fleck_error *err)
{
    fleck_pattern_options known = fleck_pattern_options_default();
    fleck_pattern_window window;
    fleck_pattern_null null = { .geometry = geometry,
                                      .window = &window,
                                      .grains = has_grains(grains) ? grains : NULL,
                                      .blur_sd_mm = blur_sd_mm > 0 ? blur_sd_mm : 0,
                                      .least_area_px = 1 };
    const size_t margin = null.grains != NULL ? margin_px(grains, geometry) : 0;
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    fleck_pattern_box box;
    fleck_point_mm *points = NULL;
    double in_box, box_mm2;
    fleck_status status;

    *out = (fleck_pattern){ .window_x_mm = NAN,
                            .window_y_mm = NAN,
                            .window_width_mm = NAN,
                            .window_height_mm = NAN,
                            .order_p = NAN,
                            .decided_at_mm = NAN };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "pattern options", err)) != FLECK_OK)
        return status;
    options = &known;
    null.least_area_px = options->least_area_px;
    if ((status = check_call(geometry, mask, options, err)) != FLECK_OK ||
        (status = fleck_pattern_largest_box(geometry, mask, &box, err)) != FLECK_OK)
        return status;
    in_box = (double)count_in(dots, n, geometry, &box);
    box_mm2 = (double)box.width_px * px * ((double)box.height_px * py);
    if (!fleck_pattern_window_choose(
            geometry, &box,
            choose_shrink(&box, geometry, in_box, null.grains, options->window_dots), margin,
            &window))
        return no_verdict(NO_WINDOW, out);
    out->window_x_mm = (double)window.points.left_px * px;
    out->window_y_mm = (double)window.points.top_px * py;
    out->window_width_mm = (double)window.points.width_px * px;
    out->window_height_mm = (double)window.points.height_px * py;
    points = find_points(dots, n, geometry, &window, &out->dots);
    status = points != NULL ? look_at(&null, points, out->dots, in_box / box_mm2, options, out, err)
                            : no_memory(err);
    fleck_free(points);
    if (status != FLECK_OK)
        fleck_pattern_clear(out);
    return status;
}
