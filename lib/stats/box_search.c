/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/box_search.h"

#include <assert.h>
#include <float.h>
#include <math.h>
#include <string.h>

#include "stats/positive_matrix.h"

/* Starts a side: a square has two arms, a cubic three; common practice, no source. */
enum { STARTS = 5, MOST_STEPS = 200 };

/* Places nearer than this, of a box of 2, are one. */
static const double SAME_PLACE = 1e-4;

struct search {
    fleck_box_offsets offsets;
    void *context;
    size_t sides, targets;
};

struct slope {
    double misfit;
    double down[FLECK_BOX_SIDES];                   /* half the gradient, turned round */
    double bend[FLECK_BOX_SIDES * FLECK_BOX_SIDES]; /* J'J */
};

static struct slope slope_at(const struct search *search, const double *u)
{
    double off[FLECK_BOX_TARGETS], by[FLECK_BOX_TARGETS * FLECK_BOX_SIDES];
    struct slope slope = { 0 };
    const size_t sides = search->sides;

    search->offsets(search->context, u, off, by);
    for (size_t k = 0; k < search->targets; k++) {
        slope.misfit += off[k] * off[k];
        for (size_t i = 0; i < sides; i++) {
            slope.down[i] -= by[k * sides + i] * off[k];
            for (size_t j = 0; j < sides; j++)
                slope.bend[i * sides + j] += by[k * sides + i] * by[k * sides + j];
        }
    }
    return slope;
}

static bool held_back(const struct slope *slope, const double *u, size_t i)
{
    return (u[i] <= -1 && slope->down[i] < 0) || (u[i] >= 1 && slope->down[i] > 0);
}

/* A step over the sides that are free; false when there is none to take. */
static bool step_from(const struct slope *slope, const double *u, size_t sides, double damping,
                      double *step)
{
    size_t at[FLECK_BOX_SIDES], free_count = 0;
    double bend[FLECK_BOX_SIDES * FLECK_BOX_SIDES], down[FLECK_BOX_SIDES], largest = 0;

    for (size_t i = 0; i < sides; i++) {
        step[i] = 0;
        if (!held_back(slope, u, i))
            at[free_count++] = i;
    }
    for (size_t i = 0; i < free_count; i++)
        largest = fmax(largest, slope->bend[at[i] * sides + at[i]]);
    if (free_count == 0 || !(largest > 0))
        return false;
    for (size_t i = 0; i < free_count; i++) {
        down[i] = slope->down[at[i]];
        for (size_t j = 0; j < free_count; j++)
            bend[i * free_count + j] = slope->bend[at[i] * sides + at[j]];
        bend[i * free_count + i] += largest * damping;
    }
    if (!fleck_positive_factor(bend, free_count))
        return false;
    fleck_positive_solve(bend, free_count, down);
    for (size_t i = 0; i < free_count; i++)
        step[at[i]] = down[i];
    return true;
}

static void descend(const struct search *search, double *u, fleck_box_answer *answer)
{
    struct slope slope = slope_at(search, u);
    double damping = 1e-3;

    for (int steps = 0; steps < MOST_STEPS && damping < 1e12; steps++) {
        double step[FLECK_BOX_SIDES], next[FLECK_BOX_SIDES], moved = 0;
        struct slope there;

        if (!step_from(&slope, u, search->sides, damping, step)) {
            if (damping > 1)
                break;
            damping = fmax(damping * 100, 1e-12);
            continue;
        }
        for (size_t i = 0; i < search->sides; i++) {
            next[i] = fmin(1, fmax(-1, u[i] + step[i]));
            moved = fmax(moved, fabs(next[i] - u[i]));
        }
        there = slope_at(search, next);
        if (there.misfit <= slope.misfit) {
            memcpy(u, next, search->sides * sizeof *u);
            slope = there;
            damping = fmax(damping / 10, 1e-15);
            if (moved < 1e-14)
                break;
        } else {
            damping *= 10;
        }
    }
    *answer = (fleck_box_answer){ .misfit = slope.misfit };
    for (size_t i = 0; i < search->sides; i++) {
        answer->u[i] = u[i];
        answer->at_edge[i] = held_back(&slope, u, i);
    }
}

static bool same_place(const fleck_box_answer *a, const fleck_box_answer *b, size_t sides)
{
    for (size_t i = 0; i < sides; i++) {
        if (fabs(a->u[i] - b->u[i]) > SAME_PLACE)
            return false;
    }
    return true;
}

/* Keep the lowest, in order of misfit and, where two are alike, of the place. */
static size_t keep(fleck_box_answer *answers, size_t count, const fleck_box_answer *found,
                   size_t sides)
{
    size_t at;

    for (size_t i = 0; i < count; i++) {
        if (!same_place(&answers[i], found, sides))
            continue;
        if (found->misfit >= answers[i].misfit)
            return count;
        count--;
        memmove(answers + i, answers + i + 1, (count - i) * sizeof *answers);
        break;
    }
    for (at = count; at > 0 && answers[at - 1].misfit > found->misfit; at--)
        ;
    if (at == FLECK_BOX_ANSWERS)
        return count;
    if (count == FLECK_BOX_ANSWERS)
        count--;
    memmove(answers + at + 1, answers + at, (count - at) * sizeof *answers);
    answers[at] = *found;
    return count + 1;
}

size_t fleck_box_search(fleck_box_offsets offsets, void *context, size_t sides, size_t targets,
                        fleck_box_answer answers[FLECK_BOX_ANSWERS])
{
    const struct search search = { offsets, context, sides, targets };
    size_t starts = 1, count = 0;

    assert(sides >= 1 && sides <= FLECK_BOX_SIDES && targets >= 1 && targets <= FLECK_BOX_TARGETS);
    for (size_t i = 0; i < sides; i++)
        starts *= STARTS;
    for (size_t start = 0; start < starts; start++) {
        double u[FLECK_BOX_SIDES];
        fleck_box_answer found;
        size_t rest = start;

        for (size_t i = 0; i < sides; i++) {
            u[i] = -0.8 + 1.6 * (double)(rest % STARTS) / (STARTS - 1);
            rest /= STARTS;
        }
        descend(&search, u, &found);
        count = keep(answers, count, &found, sides);
    }
    return count;
}
