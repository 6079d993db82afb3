/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whole distributions of dot sizes. Each patch becomes a curve, the share of its dots up to a size;
 * curves are averaged as the measures are, so that a patch with many dots counts no more than
 * another, and whole units are dealt out anew for a p-value. Dots are in memory for as many patches
 * at a time as there are threads.
 */
#include <math.h>
#include <string.h>
#include <unistd.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "stats/permutation.h"
#include "stats/size_curve.h"
#include "study/compare_parts.h"

/*
 * Points of all curves together, 128 MB; areas are whole pixels, so that patches of one resolution
 * share their diameters and stay far below. Steps of all deals of one test; both are common
 * practice, no source.
 */
enum {
    MOST_POINTS = 1 << 24,
    MOST_STEPS = 1000000000,
    FEWEST_GRID_POINTS = 256,
    SHUFFLES = 9999,
    MOST_THREADS = 4
};

struct curves {
    bool *present; /* by row */
    double *weight;
    fleck_size_curve *of_row;
    double *grid;
    size_t points;
    double *of_node; /* node_count x points */
    bool *node_present;
};

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for the dots' sizes; compare fewer patches");
}

static void curves_clear(struct curves *curves, size_t rows)
{
    for (size_t row = 0; curves->of_row != NULL && row < rows; row++)
        fleck_size_curve_clear(&curves->of_row[row]);
    fleck_free(curves->present);
    fleck_free(curves->weight);
    fleck_free(curves->of_row);
    fleck_free(curves->grid);
    fleck_free(curves->of_node);
    fleck_free(curves->node_present);
}

/* Reading many tables of dots at once: each patch has a place of its own for what came of it. */
struct reading {
    const compare_plan *plan;
    struct curves *curves;
    fleck_status *status; /* by place in rows_in_order */
    fleck_error *failed;
};

static void read_one(void *context, unsigned worker, size_t i)
{
    const struct reading *const reading = context;
    const size_t row = reading->plan->rows_in_order[i];
    fleck_size_curve *const curve = &reading->curves->of_row[row];
    fleck_study_dots dots = { 0 };
    fleck_status status;

    (void)worker;
    status = fleck_study_read_dots(reading->plan->study, row, &dots, &reading->failed[i]);
    if (status == FLECK_OK)
        status = fleck_size_curve_of(dots.diameter_mm, dots.weight, dots.count, curve,
                                     &reading->failed[i]);
    reading->curves->present[row] = status == FLECK_OK && curve->count > 0;
    reading->status[i] = status;
    fleck_study_dots_clear(&dots);
}

/* A curve for each patch that has dots. The failure told is that of the first patch that has one.
 */
static fleck_status read_curves(const compare_plan *plan, struct curves *curves, fleck_error *err)
{
    const long cores = sysconf(_SC_NPROCESSORS_ONLN);
    struct reading reading = {
        .plan = plan,
        .curves = curves,
        .status = fleck_alloc_zeroed(plan->row_count, sizeof *reading.status),
        .failed = fleck_alloc_zeroed(plan->row_count, sizeof *reading.failed),
    };
    fleck_status status = FLECK_OK;

    if (reading.status == NULL || reading.failed == NULL) {
        status = no_memory(err);
        goto done;
    }
    fleck_parallel_for(cores < 1              ? 1
                       : cores > MOST_THREADS ? MOST_THREADS
                                              : (unsigned)cores,
                       plan->row_count, read_one, &reading);
    for (size_t i = 0; i < plan->row_count && status == FLECK_OK; i++) {
        status = reading.status[i];
        if (status != FLECK_OK)
            *err = reading.failed[i];
    }
done:
    fleck_free(reading.status);
    fleck_free(reading.failed);
    return status;
}

/* The curves of the nodes, on one grid of sizes. */
static fleck_status average_curves(const compare_plan *plan, struct curves *curves,
                                   fleck_error *err)
{
    const size_t rows = fleck_study_row_count(plan->study);
    const size_t most = MOST_POINTS / plan->node_count;
    size_t cells;
    fleck_status status = fleck_size_grid(curves->of_row, rows, most < 1 ? 1 : most, &curves->grid,
                                          &curves->points, err);

    if (status == FLECK_OK)
        status = compare_plan_weights(plan, curves->present, curves->weight, err);
    if (status != FLECK_OK)
        return status;
    if (!size_mul(plan->node_count, curves->points, &cells) ||
        (curves->of_node = fleck_alloc_zeroed(cells, sizeof *curves->of_node)) == NULL)
        return no_memory(err);
    for (size_t i = 0; i < plan->row_count; i++) {
        const size_t row = plan->rows_in_order[i], node = compare_plan_node(plan, row);

        if (!curves->present[row])
            continue;
        curves->node_present[node] = true;
        fleck_size_curve_add(&curves->of_row[row], curves->grid, curves->points,
                             curves->weight[row], curves->of_node + node * curves->points);
    }
    return FLECK_OK;
}

/*
 * Nodes of the two groups in a row, those of a first; paired: of a, each with its partner at the
 * same place among those of b.
 */
static void list_nodes(const compare_plan *plan, const struct curves *curves,
                       const fleck_size_comparison *pair, size_t *a, size_t *b, size_t *n_a,
                       size_t *n_b)
{
    *n_a = *n_b = 0;
    for (size_t i = 0; i < plan->nodes_used; i++) {
        const size_t node = plan->nodes_in_order[i], group = plan->group_of_node[node];

        if (!curves->node_present[node])
            continue;
        if (plan->pairs > 0) {
            const size_t partner = node - group + pair->group_b;

            if (group == pair->group_a && curves->node_present[partner]) {
                a[(*n_a)++] = node;
                b[(*n_b)++] = partner;
            }
        } else if (group == pair->group_a) {
            a[(*n_a)++] = node;
        } else if (group == pair->group_b) {
            b[(*n_b)++] = node;
        }
    }
}

/* Take every so many points of the grid, so that going through all deals takes a second or so. */
static size_t stride_for(size_t deals, size_t chosen, size_t points)
{
    const double steps = (double)deals * (double)chosen * (double)points;
    const size_t most = points / FEWEST_GRID_POINTS;
    const double wanted = ceil(steps / MOST_STEPS);

    if (!(wanted > 1) || most < 2)
        return 1;
    return wanted < (double)most ? (size_t)wanted : most;
}

/* p-values by dealing the units' curves out anew. */
static fleck_status deal_out(const struct curves *curves, const size_t *a, const size_t *b,
                             bool paired, uint64_t seed, fleck_size_comparison *out,
                             fleck_error *err)
{
    const size_t n = paired ? out->n_a : out->n_a + out->n_b;
    const size_t chosen = paired || out->n_a < out->n_b ? out->n_a : out->n_b;
    fleck_permutation_options options = { .exact_limit = 200000,
                                          .shuffles = SHUFFLES,
                                          .seed = seed };
    const size_t all = fleck_permutation_deals(out->n_a, paired ? 0 : out->n_b);
    const size_t deals = all <= options.exact_limit ? all : options.shuffles;
    const size_t stride = stride_for(deals, chosen, curves->points);
    const size_t points = (curves->points + stride - 1) / stride;
    double *const rows = fleck_alloc_array(n * points, sizeof *rows);
    double *const widths = fleck_alloc_zeroed(points, sizeof *widths);
    fleck_permutation largest, area;
    fleck_status status;

    if (rows == NULL || widths == NULL) {
        status = no_memory(err);
        goto done;
    }
    for (size_t k = 0; k + 1 < points; k++)
        widths[k] = curves->grid[(k + 1) * stride] - curves->grid[k * stride];
    for (size_t i = 0; i < n; i++) {
        const double *const one =
            curves->of_node + (i < out->n_a ? a[i] : b[i - out->n_a]) * curves->points;
        const double *const partner = paired ? curves->of_node + b[i] * curves->points : NULL;

        for (size_t k = 0; k < points; k++)
            rows[i * points + k] = (paired ? partner[k * stride] : 0) - one[k * stride];
    }
    status = fleck_permute_curves(rows, out->n_a, paired ? 0 : out->n_b, points, widths, &options,
                                  &largest, &area, err);
    out->p_ks = largest.p;
    out->p_permutation = area.p;
done:
    fleck_free(rows);
    fleck_free(widths);
    return status;
}

static fleck_status compare_curves(const compare_plan *plan, const struct curves *curves,
                                   uint64_t seed, fleck_size_comparison *out, fleck_error *err)
{
    size_t *const a = fleck_alloc_array(plan->node_count, sizeof *a);
    size_t *const b = fleck_alloc_array(plan->node_count, sizeof *b);
    double *const mean_a = fleck_alloc_zeroed(curves->points, sizeof *mean_a);
    double *const mean_b = fleck_alloc_zeroed(curves->points, sizeof *mean_b);
    fleck_status status = FLECK_OK;

    if (a == NULL || b == NULL || mean_a == NULL || mean_b == NULL) {
        status = no_memory(err);
        goto done;
    }
    list_nodes(plan, curves, out, a, b, &out->n_a, &out->n_b);
    if (out->n_a == 0 || out->n_b == 0)
        goto done;
    for (size_t k = 0; k < curves->points; k++) {
        for (size_t i = 0; i < out->n_a; i++)
            mean_a[k] += curves->of_node[a[i] * curves->points + k];
        for (size_t i = 0; i < out->n_b; i++)
            mean_b[k] += curves->of_node[b[i] * curves->points + k];
        mean_a[k] /= (double)out->n_a;
        mean_b[k] /= (double)out->n_b;
    }
    fleck_size_distance(mean_a, mean_b, curves->grid, curves->points, &out->ks_d,
                        &out->wasserstein_mm);
    if (out->n_a > 1 && out->n_b > 1)
        status = deal_out(curves, a, b, plan->pairs > 0, seed, out, err);
done:
    fleck_free(a);
    fleck_free(b);
    fleck_free(mean_a);
    fleck_free(mean_b);
    return status;
}

fleck_status compare_sizes(const compare_plan *plan, const fleck_compare_options *options,
                           fleck_compare *result, fleck_error *err)
{
    const size_t rows = fleck_study_row_count(plan->study);
    const size_t pairs = plan->groups * (plan->groups - 1) / 2;
    struct curves curves = { 0 };
    fleck_error inner = { 0 };
    fleck_status status = FLECK_OK;

    result->sizes = fleck_alloc_zeroed(pairs, sizeof *result->sizes);
    curves.present = fleck_alloc_zeroed(rows, sizeof *curves.present);
    curves.weight = fleck_alloc_zeroed(rows, sizeof *curves.weight);
    curves.of_row = fleck_alloc_zeroed(rows, sizeof *curves.of_row);
    curves.node_present = fleck_alloc_zeroed(plan->node_count, sizeof *curves.node_present);
    if (result->sizes == NULL || curves.present == NULL || curves.weight == NULL ||
        curves.of_row == NULL || curves.node_present == NULL) {
        status = no_memory(err);
        goto done;
    }
    for (size_t a = 0; a < plan->groups; a++)
        for (size_t b = a + 1; b < plan->groups; b++)
            result->sizes[result->size_count++] = (fleck_size_comparison){
                a, b, 0, 0, NAN, NAN, NAN, NAN,
            };
    status = read_curves(plan, &curves, &inner);
    if (status == FLECK_BAD_INPUT) {
        /* measures do not need the dots; what is wrong with them is told, not hidden */
        status = fleck_warnings_add(&result->warnings, err, "sizes-missing",
                                    "the distributions of dot sizes are not compared: %s",
                                    inner.message);
        goto done;
    }
    if (status != FLECK_OK) {
        fleck_fail(err, status, "%s", inner.message);
        goto done;
    }
    status = average_curves(plan, &curves, err);
    for (size_t i = 0; status == FLECK_OK && i < result->size_count; i++)
        status = compare_curves(plan, &curves, options->seed, &result->sizes[i], err);
done:
    curves_clear(&curves, rows);
    return status;
}
