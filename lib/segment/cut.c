/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Cutting a histogram in two, from exact integer sums.
 *
 * With n0 and n1 pixels in the classes and s0 and s1 the sums of their levels, the between-class
 * variance is D^2 / (n0 n1 N^2) with D = s1 n0 - s0 n1. N is the same for every k, so Otsu's k is
 * the one with the largest D^2 / (n0 n1). Fractions of integers are compared by cross
 * multiplication, without rounding: a tie is a tie on every machine.
 */
#include "fleck/segment.h"

#include <math.h>
#include <string.h>

__extension__ typedef unsigned __int128 wide;

static const uint64_t most_pixels = UINT64_C(1) << 40;

/* A histogram split after some level. */
struct split {
    uint64_t n0, n1; /* pixels, at most 2^40 */
    uint64_t s0, s1; /* sums of levels, below 2^56 */
};

/* D of the head comment, below 2^96; never negative, class 1 being the lighter one. */
static wide distance(const struct split *split)
{
    return (wide)split->s1 * split->n0 - (wide)split->s0 * split->n1;
}

enum { LIMBS = 5 }; /* of 64 bits: D^2 n0 n1 stays below 2^(2 * 96 + 78) */

static void multiply(uint64_t number[LIMBS], wide factor)
{
    const uint64_t parts[2] = { (uint64_t)factor, (uint64_t)(factor >> 64) };
    uint64_t product[LIMBS] = { 0 };

    for (size_t j = 0; j < 2; j++) {
        uint64_t carry = 0;

        for (size_t i = 0; i + j < LIMBS; i++) {
            const wide sum = (wide)number[i] * parts[j] + product[i + j] + carry;

            product[i + j] = (uint64_t)sum;
            carry = (uint64_t)(sum >> 64);
        }
    }
    memcpy(number, product, sizeof product);
}

/* Whether a parts the classes further than b: Da^2 / (n0a n1a) > Db^2 / (n0b n1b), exactly. */
static bool is_better(const struct split *a, const struct split *b)
{
    uint64_t left[LIMBS] = { 1 }, right[LIMBS] = { 1 };

    multiply(left, distance(a));
    multiply(left, distance(a));
    multiply(left, (wide)b->n0 * b->n1);
    multiply(right, distance(b));
    multiply(right, distance(b));
    multiply(right, (wide)a->n0 * a->n1);
    for (size_t i = LIMBS; i-- > 0;) {
        if (left[i] != right[i])
            return left[i] > right[i];
    }
    return false;
}

/* Sum of all counts and levels, as the split that has everything in class 1. */
static fleck_status gather(const uint64_t *counts, struct split *all, fleck_error *err)
{
    *all = (struct split){ 0 };
    for (size_t level = 0; level < FLECK_LEVELS; level++) {
        if (counts[level] > most_pixels - all->n1)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "a histogram of more than 2^40 pixels; measure a smaller region");
        all->n1 += counts[level];
        all->s1 += counts[level] * level;
    }
    if (all->n1 == 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a histogram without pixels; measure a larger region");
    return FLECK_OK;
}

static void move_level(struct split *split, size_t level, uint64_t count)
{
    split->n0 += count;
    split->n1 -= count;
    split->s0 += count * level;
    split->s1 -= count * level;
}

/* Sum over n pixels as a mean reflectance; NAN without pixels. */
static double mean_of(uint64_t sum, uint64_t n)
{
    return n > 0 ? (double)((long double)sum / ((long double)n * 65535.0L)) : NAN;
}

double fleck_cut_threshold_reflectance(unsigned k)
{
    return ((double)k + 0.5) / 65535.0;
}

fleck_status fleck_cut_at(const uint64_t *counts, unsigned k, fleck_ink ink, fleck_cut *cut,
                          fleck_error *err)
{
    struct split split;
    fleck_status status;
    wide squares = 0, spread, d;
    uint64_t n, s;
    double mean0, mean1;

    if (k >= FLECK_LEVELS)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "threshold level %u is above the lightest level; give one of at most %d", k,
                          FLECK_LEVELS - 1);
    if ((status = gather(counts, &split, err)) != FLECK_OK)
        return status;
    n = split.n1;
    s = split.s1;
    for (size_t level = 0; level < FLECK_LEVELS; level++)
        squares += (wide)counts[level] * (level * level);
    for (size_t level = 0; level <= k; level++)
        move_level(&split, level, counts[level]);
    spread = squares * n - (wide)s * s; /* total variance times N^2 */
    d = distance(&split);
    mean0 = mean_of(split.s0, split.n0);
    mean1 = mean_of(split.s1, split.n1);

    *cut = (fleck_cut){ .k = k, .separability = NAN };
    cut->mean_reflectance = mean_of(s, n);
    cut->sd_reflectance = (double)(sqrtl((long double)spread) / ((long double)n * 65535.0L));
    cut->ink_reflectance = ink == FLECK_INK_DARK ? mean0 : mean1;
    cut->bare_reflectance = ink == FLECK_INK_DARK ? mean1 : mean0;
    if (split.n0 > 0 && split.n1 > 0) {
        const long double between =
            (long double)d / (long double)((wide)split.n0 * split.n1) * (long double)d;
        const long double scale = (long double)n * 65535.0L;

        cut->between_variance = (double)(between / (scale * scale));
        cut->separability = (double)(between / (long double)spread);
    } else if (spread > 0) {
        cut->separability = 0.0;
    }
    return FLECK_OK;
}

fleck_status fleck_cut_otsu(const uint64_t *counts, fleck_ink ink, fleck_cut *cut, fleck_error *err)
{
    struct split split, best = { 0 };
    double best_value = -1.0;
    fleck_status status;
    unsigned low = 0, high;

    if ((status = gather(counts, &split, err)) != FLECK_OK)
        return status;
    for (unsigned k = 0; k < FLECK_LEVELS; k++) {
        double value;

        if (counts[k] == 0) /* the same split as one level below */
            continue;
        move_level(&split, k, counts[k]);
        if (split.n1 == 0)
            break;
        value = (double)distance(&split) / ((double)split.n0 * (double)split.n1) *
                (double)distance(&split);
        /* rounding costs the value some 1e-15 of itself: what is far below needs no exact look */
        if (value < best_value * (1.0 - 1e-12))
            continue;
        if (best_value < 0.0 || is_better(&split, &best)) {
            best = split;
            best_value = value;
            low = k;
        }
    }
    if (best_value < 0.0)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "one tone only, nothing to tell ink from bare paper by; measure a region "
                          "that holds both, or give a fixed threshold");
    for (high = low; counts[high + 1] == 0;)
        high++;
    return fleck_cut_at(counts, (low + high) / 2, ink, cut, err);
}
