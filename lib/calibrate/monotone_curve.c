/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A cubic between each two points whose slopes are bounded so that it never leaves the range of the
 * two: no overshoot, whatever the points. The square root of reflectance is what is interpolated:
 * it makes the curves of scanners (powers from 1 to 2.6) nearly straight, so that few steps
 * suffice. Source: Steffen (1990), Astronomy and Astrophysics 239, 443-450.
 */
#include <assert.h>
#include <math.h>

#include "fleck/calibration.h"

static double root_slope(const fleck_tone_curve *curve, size_t i)
{
    return (sqrt(curve->reflectance[i + 1]) - sqrt(curve->reflectance[i])) /
           (curve->code[i + 1] - curve->code[i]);
}

/* Slope at a point: that of a parabola through it and its neighbours, bounded by theirs. */
static double slope_at(const fleck_tone_curve *curve, size_t i)
{
    double before, after, width_before, width_after, parabola;

    if (i == 0)
        return root_slope(curve, 0);
    if (i + 1 == curve->count)
        return root_slope(curve, i - 1);
    before = root_slope(curve, i - 1);
    after = root_slope(curve, i);
    width_before = curve->code[i] - curve->code[i - 1];
    width_after = curve->code[i + 1] - curve->code[i];
    parabola = (before * width_after + after * width_before) / (width_before + width_after);
    return fmin(2 * fmin(before, after), parabola); /* all above 0, since both rise */
}

double fleck_tone_curve_at(const fleck_tone_curve *curve, double code)
{
    size_t low = 0, high = curve->count - 1;
    double root, slope, slope_low, slope_high, width, at, square, cube;

    assert(curve->count >= 2);
    if (!(code > curve->code[0]))
        return curve->reflectance[0];
    if (code >= curve->code[high])
        return curve->reflectance[high];
    while (high - low > 1) {
        const size_t middle = low + (high - low) / 2;

        if (curve->code[middle] <= code)
            low = middle;
        else
            high = middle;
    }
    slope = root_slope(curve, low);
    slope_low = slope_at(curve, low);
    slope_high = slope_at(curve, low + 1);
    width = curve->code[low + 1] - curve->code[low];
    at = code - curve->code[low];
    square = (3 * slope - 2 * slope_low - slope_high) / width;
    cube = (slope_low + slope_high - 2 * slope) / (width * width);
    root = ((cube * at + square) * at + slope_low) * at + sqrt(curve->reflectance[low]);
    /* the cubic keeps within its two points but for rounding */
    return fmin(fmax(root * root, curve->reflectance[low]), curve->reflectance[low + 1]);
}
