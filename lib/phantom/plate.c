/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The part of a plate in a pixel row is a convex polygon; pixels at its slanted ends get the exact
 * area of the polygon's part in them, pixels between are covered whole.
 */
#include "phantom/plate.h"

#include <math.h>

fleck_plate fleck_plate_at(double x, double y, double width, double height, double tilt_deg)
{
    const double tilt = tilt_deg * 3.14159265358979323846 / 180;

    return (fleck_plate){ x, y, width, height, cos(tilt), sin(tilt) };
}

void fleck_plate_point(const fleck_plate *plate, double along, double down, double *x, double *y)
{
    *x = plate->x + along * plate->cosine + down * plate->sine;
    *y = plate->y - along * plate->sine + down * plate->cosine;
}

void fleck_plate_local(const fleck_plate *plate, double x, double y, double *along, double *down)
{
    const double dx = x - plate->x, dy = y - plate->y;

    *along = dx * plate->cosine - dy * plate->sine;
    *down = dx * plate->sine + dy * plate->cosine;
}

bool fleck_plate_holds(const fleck_plate *plate, double x, double y)
{
    double along, down;

    fleck_plate_local(plate, x, y, &along, &down);
    return along > -plate->width / 2 && along <= plate->width / 2 && down > -plate->height / 2 &&
           down <= plate->height / 2;
}

void fleck_plate_corners(const fleck_plate *plate, double x[4], double y[4])
{
    static const double sides[4][2] = { { -0.5, -0.5 }, { 0.5, -0.5 }, { 0.5, 0.5 }, { -0.5, 0.5 } };

    for (int i = 0; i < 4; i++)
        fleck_plate_point(plate, sides[i][0] * plate->width, sides[i][1] * plate->height, &x[i],
                          &y[i]);
}

/* Whether b lies wholly beyond one of a's sides. */
static bool parted(const fleck_plate *a, const fleck_plate *b)
{
    double x[4], y[4];
    double left = INFINITY, right = -INFINITY, top = INFINITY, bottom = -INFINITY;

    fleck_plate_corners(b, x, y);
    for (int i = 0; i < 4; i++) {
        double along, down;

        fleck_plate_local(a, x[i], y[i], &along, &down);
        left = fmin(left, along);
        right = fmax(right, along);
        top = fmin(top, down);
        bottom = fmax(bottom, down);
    }
    return right <= -a->width / 2 || left >= a->width / 2 || bottom <= -a->height / 2 ||
           top >= a->height / 2;
}

bool fleck_plates_overlap(const fleck_plate *a, const fleck_plate *b)
{
    return !parted(a, b) && !parted(b, a);
}

bool fleck_plate_is_within(const fleck_plate *plate, double width, double height)
{
    double x[4], y[4];
    bool within = true;

    fleck_plate_corners(plate, x, y);
    for (int i = 0; i < 4; i++)
        within = within && x[i] >= 0 && x[i] <= width && y[i] >= 0 && y[i] <= height;
    return within;
}

/* A rectangle cut by up to four lines has at most eight corners. */
struct polygon {
    size_t count;
    double x[8], y[8];
};

/* Keep what lies at or beyond `at` along x or y; with sign -1 what lies at or before it. */
static void cut(struct polygon *polygon, bool along_x, double at, double sign)
{
    struct polygon kept = { 0 };

    for (size_t i = 0; i < polygon->count; i++) {
        const size_t j = i + 1 < polygon->count ? i + 1 : 0;
        const double here = sign * ((along_x ? polygon->x[i] : polygon->y[i]) - at);
        const double there = sign * ((along_x ? polygon->x[j] : polygon->y[j]) - at);

        if (here >= 0 && kept.count < 8) {
            kept.x[kept.count] = polygon->x[i];
            kept.y[kept.count++] = polygon->y[i];
        }
        if ((here > 0) != (there > 0) && here != 0 && there != 0 && kept.count < 8) {
            const double share = here / (here - there);

            kept.x[kept.count] =
                along_x ? at : polygon->x[i] + share * (polygon->x[j] - polygon->x[i]);
            kept.y[kept.count++] =
                along_x ? polygon->y[i] + share * (polygon->y[j] - polygon->y[i]) : at;
        }
    }
    *polygon = kept;
}

static double area_of(const struct polygon *polygon)
{
    double twice = 0;

    /* from the first corner, so that large coordinates do not cost digits */
    for (size_t i = 1; i + 1 < polygon->count; i++)
        twice += (polygon->x[i] - polygon->x[0]) * (polygon->y[i + 1] - polygon->y[0]) -
                 (polygon->x[i + 1] - polygon->x[0]) * (polygon->y[i] - polygon->y[0]);
    return fabs(twice) / 2;
}

/* Where the polygon lies along x. */
static void extent(const struct polygon *polygon, double *left, double *right)
{
    *left = INFINITY;
    *right = -INFINITY;
    for (size_t i = 0; i < polygon->count; i++) {
        *left = fmin(*left, polygon->x[i]);
        *right = fmax(*right, polygon->x[i]);
    }
}

/* The stretch in which the row's whole height is inside: false when there is none. */
static bool whole_stretch(const struct polygon *band, double top, double *left, double *right)
{
    double above_left = INFINITY, above_right = -INFINITY;
    double below_left = INFINITY, below_right = -INFINITY;

    /* a convex band reaches both lines of the row in one corner or two, made by the cut */
    for (size_t i = 0; i < band->count; i++) {
        if (band->y[i] <= top) {
            above_left = fmin(above_left, band->x[i]);
            above_right = fmax(above_right, band->x[i]);
        }
        if (band->y[i] >= top + 1) {
            below_left = fmin(below_left, band->x[i]);
            below_right = fmax(below_right, band->x[i]);
        }
    }
    *left = fmax(above_left, below_left);
    *right = fmin(above_right, below_right);
    return *left < *right;
}

static fleck_stretch smooth_row(const fleck_plate *plate, size_t y, size_t width_px, double *share)
{
    const double top = (double)y;
    struct polygon band = { .count = 4 };
    double left, right, whole_left, whole_right;
    fleck_stretch stretch = { 0, 0 };
    bool has_whole;

    fleck_plate_corners(plate, band.x, band.y);
    cut(&band, false, top, 1);
    cut(&band, false, top + 1, -1);
    extent(&band, &left, &right);
    if (band.count < 3 || right <= 0 || left >= (double)width_px)
        return stretch;
    stretch.first = (size_t)fmax(floor(left), 0);
    stretch.end = (size_t)fmin(ceil(right), (double)width_px);
    has_whole = whole_stretch(&band, top, &whole_left, &whole_right);
    for (size_t x = stretch.first; x < stretch.end; x++) {
        struct polygon pixel = band;

        if (has_whole && (double)x >= whole_left && (double)x + 1 <= whole_right) {
            share[x] = 1;
            continue;
        }
        cut(&pixel, true, (double)x, 1);
        cut(&pixel, true, (double)x + 1, -1);
        share[x] = fmin(area_of(&pixel), 1);
    }
    return stretch;
}

fleck_stretch fleck_plate_row(const fleck_plate *plate, size_t y, size_t width_px, bool antialias,
                              double *share)
{
    double corner_x[4], corner_y[4];
    double left = INFINITY, right = -INFINITY, top = INFINITY, bottom = -INFINITY;
    fleck_stretch stretch = { 0, 0 };

    fleck_plate_corners(plate, corner_x, corner_y);
    for (int i = 0; i < 4; i++) {
        left = fmin(left, corner_x[i]);
        right = fmax(right, corner_x[i]);
        top = fmin(top, corner_y[i]);
        bottom = fmax(bottom, corner_y[i]);
    }
    if (bottom <= (double)y || top >= (double)(y + 1))
        return stretch;
    if (antialias)
        return smooth_row(plate, y, width_px, share);
    if (right <= 0 || left >= (double)width_px)
        return stretch;
    stretch.first = (size_t)fmax(floor(left), 0);
    stretch.end = (size_t)fmin(ceil(right), (double)width_px);
    for (size_t x = stretch.first; x < stretch.end; x++)
        share[x] = fleck_plate_holds(plate, (double)x + 0.5, (double)y + 0.5) ? 1 : 0;
    return stretch;
}
