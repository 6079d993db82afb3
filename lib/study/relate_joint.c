/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Several targets at once: the setting that is nearest to all of them, each weighted by one over
 * its residual variance. Measures of one patch err together, so the interval takes the correlation
 * of their residuals along (delta method), and whether any setting gives all targets is judged by
 * Hotelling's T squared of what is left over. Sources: Brown (1982), J. R. Statist. Soc. B 44, 287,
 * for several targets; Hotelling (1931).
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_cdf.h>

#include "stats/box_search.h"
#include "stats/noncentral_t.h"
#include "stats/positive_matrix.h"
#include "study/relate_setup.h"
#include "study/relate_words.h"

_Static_assert((int)FLECK_RELATE_SOLVED <= (int)FLECK_BOX_SIDES,
               "the box must have a side for each factor");
_Static_assert((int)FLECK_RELATE_TARGETS <= (int)FLECK_BOX_TARGETS,
               "the box must take all targets");
_Static_assert((int)FLECK_BOX_ANSWERS <= (int)FLECK_RELATE_ANSWERS, "answers must fit");

struct joint {
    const fleck_relate_setup *setup;
    fleck_relate_fit fit[FLECK_RELATE_TARGETS];
    double weight[FLECK_RELATE_TARGETS];
    double correlation[FLECK_RELATE_TARGETS * FLECK_RELATE_TARGETS]; /* of residuals */
};

/* A place of the box looked at closely. */
struct look {
    size_t free_count;
    size_t free_side[FLECK_RELATE_SOLVED]; /* that the box does not hold back */
    double off[FLECK_RELATE_TARGETS];
    double by[FLECK_RELATE_TARGETS * FLECK_RELATE_SOLVED];
    double form; /* variance of the fit there, in residual variances */
    double misfit_p;
    bool flat;                         /* the targets do not change with the factors there */
    double reach[FLECK_RELATE_SOLVED]; /* half the interval in u; 0 for a side held back */
};

static void place(const fleck_relate_setup *setup, const double *u, double *base)
{
    memcpy(base, setup->base, FLECK_RELATE_BASES * sizeof *base);
    for (size_t i = 0; i < setup->solved_count; i++)
        base[setup->solved[i]] = setup->middle[i] + setup->half[i] * u[i];
}

static void offsets(void *context, const double *u, double *off, double *by)
{
    const struct joint *const joint = context;
    const fleck_relate_setup *const setup = joint->setup;
    const size_t bases = setup->data->base_count, sides = setup->solved_count;
    double base[FLECK_RELATE_BASES], row[FLECK_RELATE_TERMS];

    place(setup, u, base);
    fleck_relate_model_row(setup->model, bases, base, row);
    for (size_t k = 0; k < setup->target_count; k++)
        off[k] = (fleck_least_squares_value(&joint->fit[k].fit, row) - setup->wanted[k]) *
                 joint->weight[k];
    for (size_t i = 0; i < sides; i++) {
        fleck_relate_model_slope(setup->model, bases, base, setup->solved[i], row);
        for (size_t k = 0; k < setup->target_count; k++)
            by[k * sides + i] = fleck_least_squares_value(&joint->fit[k].fit, row) *
                                setup->half[i] * joint->weight[k];
    }
}

static void correlate(struct joint *joint)
{
    const size_t count = joint->setup->target_count;

    for (size_t a = 0; a < count; a++) {
        const fleck_least_squares *const one = &joint->fit[a].fit;

        /* a fit without scatter counts as exact to nine digits */
        joint->weight[a] = one->residual_sd > 1e-9 * fabs(one->level)
                               ? 1 / one->residual_sd
                               : 1 / fmax(1e-9 * fabs(one->level), 1e-300);
        for (size_t b = 0; b < count; b++) {
            const fleck_least_squares *const other = &joint->fit[b].fit;
            double sum = 0;

            for (size_t i = 0; i < one->rows; i++)
                sum += one->residual[i] * other->residual[i];
            joint->correlation[a * count + b] = a == b ? 1
                                                : one->rss > 0 && other->rss > 0
                                                    ? sum / sqrt(one->rss * other->rss)
                                                    : 0;
        }
    }
}

/* Each target by itself, for as many tests (Bonferroni): where the correlations cannot be turned
 * round. */
static double single_misfit_p(const struct look *look, size_t count, size_t df)
{
    double p = 1;

    for (size_t k = 0; k < count; k++)
        p = fmin(p, (double)count * fleck_t_two_sided(look->off[k] / sqrt(look->form), (double)df));
    return p;
}

/* What is left over of the targets once the free sides have done what they can. */
static double misfit_p(const struct joint *joint, const struct look *look)
{
    const size_t count = joint->setup->target_count, sides = joint->setup->solved_count;
    const size_t df = joint->fit[0].fit.df;
    const size_t left = count > look->free_count ? count - look->free_count : 1;
    double factor[FLECK_RELATE_TARGETS * FLECK_RELATE_TARGETS];
    double off[FLECK_RELATE_TARGETS], bend[FLECK_RELATE_SOLVED * FLECK_RELATE_SOLVED];
    double down[FLECK_RELATE_SOLVED], columns[FLECK_RELATE_SOLVED][FLECK_RELATE_TARGETS];
    double squares = 0;

    for (size_t k = 0; k < count; k++)
        squares += look->off[k] * look->off[k];
    if (squares < 1e-14)
        return count > look->free_count ? 1 : NAN; /* hit exactly */
    memcpy(factor, joint->correlation, sizeof factor);
    if (df < left || !fleck_positive_factor(factor, count))
        return single_misfit_p(look, count, df);
    memcpy(off, look->off, sizeof off);
    squares = fleck_positive_form(factor, count, off); /* off is L^-1 off now */
    for (size_t i = 0; i < look->free_count; i++) {
        for (size_t k = 0; k < count; k++)
            columns[i][k] = look->by[k * sides + look->free_side[i]];
        fleck_positive_form(factor, count, columns[i]);
    }
    for (size_t i = 0; i < look->free_count; i++) {
        down[i] = 0;
        for (size_t k = 0; k < count; k++)
            down[i] += columns[i][k] * off[k];
        for (size_t j = 0; j < look->free_count; j++) {
            bend[i * look->free_count + j] = 0;
            for (size_t k = 0; k < count; k++)
                bend[i * look->free_count + j] += columns[i][k] * columns[j][k];
        }
    }
    if (count > look->free_count && look->free_count > 0 &&
        fleck_positive_factor(bend, look->free_count))
        squares -= fleck_positive_form(bend, look->free_count, down);
    return gsl_cdf_fdist_Q(fmax(squares, 0) / look->form * (double)(df - left + 1) /
                               ((double)df * (double)left),
                           (double)left, (double)(df - left + 1));
}

/* Half intervals of the free sides: t sqrt(G R G' form), G = (A'A)^-1 A'. */
static void find_reach(const struct joint *joint, struct look *look)
{
    const size_t count = joint->setup->target_count, sides = joint->setup->solved_count;
    const size_t n = look->free_count;
    const double t =
        fleck_t_two_sided_quantile(1 - FLECK_RELATE_CONFIDENCE, (double)joint->fit[0].fit.df);
    double bend[FLECK_RELATE_SOLVED * FLECK_RELATE_SOLVED] = { 0 };
    double gain[FLECK_RELATE_TARGETS][FLECK_RELATE_SOLVED];

    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            for (size_t k = 0; k < count; k++)
                bend[i * n + j] += look->by[k * sides + look->free_side[i]] *
                                   look->by[k * sides + look->free_side[j]];
        }
    }
    look->flat = !fleck_positive_factor(bend, n);
    if (look->flat)
        return;
    for (size_t k = 0; k < count; k++) {
        for (size_t i = 0; i < n; i++)
            gain[k][i] = look->by[k * sides + look->free_side[i]];
        fleck_positive_solve(bend, n, gain[k]);
    }
    for (size_t i = 0; i < n; i++) {
        double variance = 0;

        for (size_t a = 0; a < count; a++) {
            for (size_t b = 0; b < count; b++)
                variance += gain[a][i] * gain[b][i] * joint->correlation[a * count + b];
        }
        look->reach[look->free_side[i]] = t * sqrt(fmax(variance, 0) * look->form);
    }
}

static void look_at(struct joint *joint, const fleck_box_answer *found, struct look *look)
{
    const fleck_relate_setup *const setup = joint->setup;
    double base[FLECK_RELATE_BASES], row[FLECK_RELATE_TERMS], work[2 * FLECK_RELATE_TERMS];

    *look = (struct look){ 0 };
    for (size_t i = 0; i < setup->solved_count; i++) {
        if (!found->at_edge[i])
            look->free_side[look->free_count++] = i;
    }
    offsets(joint, found->u, look->off, look->by);
    place(setup, found->u, base);
    fleck_relate_model_row(setup->model, setup->data->base_count, base, row);
    look->form = fleck_least_squares_form(&joint->fit[0].fit, row, row, work);
    look->misfit_p = misfit_p(joint, look);
    find_reach(joint, look);
}

/* An interval that is wider than the range tried settles nothing. */
static bool is_open(const struct look *look, const fleck_relate_setup *setup)
{
    if (look->flat || look->free_count < setup->solved_count)
        return true;
    for (size_t i = 0; i < setup->solved_count; i++) {
        if (!(look->reach[i] < 1))
            return true;
    }
    return false;
}

static void add_answer(const struct joint *joint, const fleck_box_answer *found,
                       const struct look *look, fleck_relate_recipe *recipe)
{
    const fleck_relate_setup *const setup = joint->setup;
    fleck_relate_answer *const answer = &recipe->answer[recipe->answer_count++];

    for (size_t i = 0; i < setup->solved_count; i++) {
        const double value = fleck_relate_setup_at(setup, recipe, i, found->u[i]);
        const double reach = setup->half[i] * look->reach[i];

        answer->setting[i] = (fleck_relate_interval){ value, value - reach, value + reach };
    }
    for (size_t k = 0; k < setup->target_count; k++)
        answer->expected[k] = fleck_relate_setup_expect(setup, &joint->fit[k], found->u);
}

/* Corners of the box may lie far from every patch although each factor is within its range. */
static bool is_beyond_all(const struct joint *joint, const struct look *look)
{
    double most = 0;

    for (size_t i = 0; i < joint->fit[0].fit.rows; i++)
        most = fmax(most, joint->fit[0].fit.leverage[i]);
    return look->form > most * (1 + 1e-9);
}

static fleck_status warn(const fleck_relate_recipe *recipe, bool beyond, bool cut,
                         fleck_relate *result, fleck_error *err)
{
    switch (recipe->verdict) {
    case FLECK_RELATE_NO_SETTING:
        return fleck_warnings_add(
            &result->warnings, err, "outside-tried-range",
            "no setting within what was tried gives all targets: they contradict each "
            "other, or lie outside");
    case FLECK_RELATE_UNSURE_SETTING:
        return fleck_warnings_add(
            &result->warnings, err, "recipe-open",
            "the fits do not single out a setting within what was tried: none is "
            "named");
    default:
        break;
    }
    if (beyond)
        return fleck_warnings_add(
            &result->warnings, err, "outside-tried-range",
            "each factor of the recipe lies within what was tried, but not their "
            "combination: print it to see");
    if (cut)
        return fleck_warnings_add(
            &result->warnings, err, "outside-tried-range",
            "the 95 %% interval of a factor of the recipe reaches beyond what was "
            "tried");
    return FLECK_OK;
}

static fleck_status answer_joint(struct joint *joint, fleck_relate *result, fleck_error *err)
{
    const fleck_relate_setup *const setup = joint->setup;
    fleck_relate_recipe *const recipe = &result->recipe;
    fleck_box_answer found[FLECK_BOX_ANSWERS];
    const size_t count =
        fleck_box_search(offsets, joint, setup->solved_count, setup->target_count, found);
    size_t agreeing = 0, open = 0;
    bool beyond = false, cut = false;

    for (size_t i = 0; i < count; i++) {
        struct look look;

        look_at(joint, &found[i], &look);
        if (i == 0)
            recipe->misfit_p = look.misfit_p;
        if (look.misfit_p < FLECK_RELATE_LEVEL)
            continue;
        agreeing++;
        if (is_open(&look, setup)) {
            open++;
            continue;
        }
        add_answer(joint, &found[i], &look, recipe);
        beyond = beyond || is_beyond_all(joint, &look);
        for (size_t k = 0; k < setup->solved_count; k++)
            cut = cut || fabs(found[i].u[k]) + look.reach[k] > 1;
    }
    if (agreeing == 0)
        recipe->verdict = FLECK_RELATE_NO_SETTING;
    else if (open > 0)
        recipe->verdict = FLECK_RELATE_UNSURE_SETTING;
    else
        recipe->verdict = agreeing == 1 ? FLECK_RELATE_ONE_SETTING : FLECK_RELATE_SEVERAL_SETTINGS;
    if (open > 0 || agreeing == 0) {
        memset(recipe->answer, 0, sizeof recipe->answer);
        recipe->answer_count = 0;
    }
    return warn(recipe, beyond, cut, result, err);
}

fleck_status fleck_relate_solve_joint(const fleck_relate_setup *setup, fleck_relate *result,
                                      fleck_error *err)
{
    struct joint joint = { .setup = setup };
    fleck_status status = FLECK_OK;

    for (size_t k = 0; k < setup->target_count && status == FLECK_OK; k++) {
        size_t with[FLECK_RELATE_TARGETS];
        fleck_least_squares_fault fault;

        memcpy(with, setup->target, sizeof with);
        with[0] = setup->target[k];
        with[k] = setup->target[0];
        status = fleck_relate_fit_make(setup->data, setup->model, with, setup->target_count, &fault,
                                       &joint.fit[k], err);
        if (status == FLECK_BAD_INPUT)
            status = fleck_fail(
                err, FLECK_BAD_INPUT,
                "the targets are there together in too few patches; measure more, or give "
                "fewer targets");
    }
    if (status == FLECK_OK) {
        result->recipe.n = joint.fit[0].rows;
        correlate(&joint);
        status = answer_joint(&joint, result, err);
    }
    for (size_t k = 0; k < setup->target_count; k++)
        fleck_relate_fit_clear(&joint.fit[k]);
    return status;
}
