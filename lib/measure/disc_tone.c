/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A disc of radius R and one tone, blurred by a Gaussian of sd s, has three sums that pixels give
 * without loss as long as they are not much wider than the blur (each is an integral of something
 * smooth): all its depth, the spread of it, and the depth near its centre. They make three equations
 * for the contrast, R and s. With the first two eliminated, the third crosses zero once between R = 0
 * and the R of a disc without blur, where it is found by halving. That is no straight function of the
 * sums: noise, and where the pixels happen to lie, would pull it to one side. So sums are first added
 * up over groups of dots of about one size.
 */
#include "measure/disc_tone.h"

#include <math.h>
#include <stdlib.h>

#include "core/memory.h"
#include "measure/rim_rows.h"

enum {
    MOST_DOTS = 800, /* as good as it needs to be */
    LEAST_DOTS = 10,
    GROUP = 20,
    MOST_SIDE_PX = 96, /* of a box with its rim; larger dots have cores */
    HALVINGS = 60
};

static const double pi = 3.14159265358979323846;

/* Sums over the area of one dot or of several. */
struct disc_sums {
    uint64_t area_px; /* by the threshold */
    size_t blob;
    double depth, depth_squares, peak;
};

/* A dot's surroundings. */
struct window {
    size_t left, top, width, height;
    uint16_t q[MOST_SIDE_PX * MOST_SIDE_PX];
};

/* How much the depth at the centre lies above that of a disc with this square of a radius. */
static double excess(double radius_mm2, double sum_mm2, double square_mm2, double peak,
                     double weight_mm)
{
    const double blur_mm2 = (square_mm2 - radius_mm2 / 2) / 2;
    const double spread_mm2 = 2 * (blur_mm2 + weight_mm * weight_mm);

    return peak * radius_mm2 + sum_mm2 / pi * expm1(-radius_mm2 / spread_mm2);
}

fleck_disc fleck_disc_from_sums(double sum_mm2, double square_mm2, double peak, double weight_mm)
{
    double low_mm2 = 1e-3 * square_mm2, high_mm2 = 2 * square_mm2;

    if (!(sum_mm2 > 0) || !(square_mm2 > 0) || !(peak > 0) ||
        excess(low_mm2, sum_mm2, square_mm2, peak, weight_mm) >= 0 ||
        excess(high_mm2, sum_mm2, square_mm2, peak, weight_mm) <= 0)
        return (fleck_disc){ NAN, NAN };
    for (int i = 0; i < HALVINGS; i++) {
        const double middle_mm2 = 0.5 * (low_mm2 + high_mm2);

        if (excess(middle_mm2, sum_mm2, square_mm2, peak, weight_mm) < 0)
            low_mm2 = middle_mm2;
        else
            high_mm2 = middle_mm2;
    }
    return (fleck_disc){ sum_mm2 / (pi * high_mm2), sqrt((square_mm2 - high_mm2 / 2) / 2) };
}

/* A box that could be a disc's, not at the edge. */
static bool is_candidate(const fleck_blob *blob, double bare_q, const fleck_geometry *geometry)
{
    const fleck_component *const component = &blob->component;
    const double width_mm =
        (double)(component->max_x_px - component->min_x_px + 1) * geometry->pixel_x_mm;
    const double height_mm =
        (double)(component->max_y_px - component->min_y_px + 1) * geometry->pixel_y_mm;
    const double area_mm2 = (double)component->area_px * geometry->pixel_x_mm * geometry->pixel_y_mm;

    return !component->at_edge && !isnan(bare_q) && component->area_px >= 3 &&
           fmin(width_mm, height_mm) > 0.6 * fmax(width_mm, height_mm) &&
           area_mm2 > 0.55 * width_mm * height_mm;
}

/* Its window in pixels, or false when it would leave the region or is too large. */
static bool place_window(const fleck_component *component, const fleck_geometry *geometry,
                         double rim_mm, struct window *window)
{
    const size_t x = (size_t)ceil(rim_mm / geometry->pixel_x_mm) + 1;
    const size_t y = (size_t)ceil(rim_mm / geometry->pixel_y_mm) + 1;

    if (component->min_x_px < x || component->min_y_px < y ||
        component->max_x_px + x >= geometry->width_px ||
        component->max_y_px + y >= geometry->height_px)
        return false;
    window->left = component->min_x_px - x;
    window->top = component->min_y_px - y;
    window->width = component->max_x_px - component->min_x_px + 1 + 2 * x;
    window->height = component->max_y_px - component->min_y_px + 1 + 2 * y;
    return window->width <= MOST_SIDE_PX && window->height <= MOST_SIDE_PX;
}

static bool is_alone(const fleck_dot_tone_input *input, const struct window *window,
                     uint64_t area_px)
{
    uint64_t ink_px = 0;

    for (size_t y = 0; y < window->height; y++)
        for (size_t x = 0; x < window->width; x++) {
            if (input->mask != NULL &&
                !fleck_mask_has(input->mask, window->left + x, window->top + y))
                return false;
            ink_px += fleck_rim_is_ink(input, window->q[y * MOST_SIDE_PX + x]);
        }
    return ink_px == area_px;
}

/*
 * Sd of the weight of the peak: so wide that pixels lose little of it, and else a third of the blur, so
 * that it takes in many pixels. Tried on phantoms: wider ones lose the peak, narrower ones add noise.
 */
static double weight_of_mm(const fleck_geometry *geometry, double rim_mm)
{
    return fmax(0.6 * fmax(geometry->pixel_x_mm, geometry->pixel_y_mm), rim_mm / 8);
}

static struct disc_sums sums_of(const fleck_dot_tone_input *input, const struct window *window,
                                const fleck_component *component, double bare_q, double rim_mm)
{
    const double px = input->geometry->pixel_x_mm, py = input->geometry->pixel_y_mm;
    const double area_px = (double)component->area_px;
    const double reach_mm = sqrt(area_px * px * py / pi) + rim_mm;
    const double weight_mm = weight_of_mm(input->geometry, rim_mm);
    const double sign = fleck_rim_is_ink(input, 0) ? 1 : -1;
    double centre_x = ((double)component->sum_x_px / area_px - (double)window->left) * px;
    double centre_y = ((double)component->sum_y_px / area_px - (double)window->top) * py;
    double sum = 0, sum_x = 0, sum_y = 0, squares = 0, peak = 0;

    /* once to find the centre, once about it */
    for (int round = 0; round < 2; round++) {
        sum = sum_x = sum_y = squares = peak = 0;
        for (size_t y = 0; y < window->height; y++)
            for (size_t x = 0; x < window->width; x++) {
                const double u = (double)x * px - centre_x, v = (double)y * py - centre_y;
                const double mm2 = u * u + v * v;
                const double depth =
                    sign * (bare_q - (double)window->q[y * MOST_SIDE_PX + x]);

                if (mm2 > reach_mm * reach_mm)
                    continue;
                sum += depth;
                sum_x += depth * u;
                sum_y += depth * v;
                squares += depth * mm2;
                if (round == 1)
                    peak += depth * exp(-mm2 / (2 * weight_mm * weight_mm));
            }
        if (!(sum > 0))
            return (struct disc_sums){ .depth = NAN };
        if (round == 0) {
            centre_x += sum_x / sum;
            centre_y += sum_y / sum;
        }
    }
    return (struct disc_sums){ .area_px = component->area_px,
                               .depth = sum * px * py,
                               .depth_squares = squares * px * py,
                               .peak = peak * px * py / (2 * pi * weight_mm * weight_mm) };
}

/* By pixels, not by depth, so that no group gathers those that noise has made deep. */
static int by_area(const void *left, const void *right)
{
    const struct disc_sums *const a = left, *const b = right;

    if (a->area_px != b->area_px)
        return a->area_px < b->area_px ? -1 : 1;
    return (a->blob > b->blob) - (a->blob < b->blob);
}

static int by_value(const void *left, const void *right)
{
    const double a = *(const double *)left, b = *(const double *)right;

    return (a > b) - (a < b);
}

static double median(double *values, size_t count)
{
    if (count == 0)
        return NAN;
    qsort(values, count, sizeof *values, by_value);
    return 0.5 * (values[(count - 1) / 2] + values[count / 2]);
}

/* Medians over groups of about one size. */
static fleck_disc median_disc(struct disc_sums *dots, size_t count, double weight_mm)
{
    const size_t groups = count / GROUP > 0 ? count / GROUP : 1;
    double contrast[MOST_DOTS / GROUP], blur_mm[MOST_DOTS / GROUP];
    size_t used = 0;

    qsort(dots, count, sizeof *dots, by_area);
    for (size_t group = 0; group < groups; group++) {
        const size_t first = group * count / groups, end = (group + 1) * count / groups;
        const double size = (double)(end - first);
        struct disc_sums sum = { 0 };
        fleck_disc disc;

        for (size_t i = first; i < end; i++) {
            sum.depth += dots[i].depth;
            sum.depth_squares += dots[i].depth_squares;
            sum.peak += dots[i].peak;
        }
        disc = fleck_disc_from_sums(sum.depth / size, sum.depth_squares / sum.depth,
                                    sum.peak / size, weight_mm);
        /* a disc hardly larger than its blur looks like any other */
        if (isnan(disc.contrast) || sum.depth_squares / sum.depth < 3 * disc.blur_mm * disc.blur_mm)
            continue;
        contrast[used] = disc.contrast;
        blur_mm[used++] = disc.blur_mm;
    }
    return (fleck_disc){ median(contrast, used), median(blur_mm, used) };
}

/* The dots to look at, by their top row, so that rows are asked for from top to bottom. */
struct candidate {
    size_t blob;
    uint32_t top;
};

static int by_top(const void *left, const void *right)
{
    const struct candidate *const a = left, *const b = right;

    if (a->top != b->top)
        return a->top < b->top ? -1 : 1;
    return (a->blob > b->blob) - (a->blob < b->blob);
}

fleck_status fleck_disc_tone(const fleck_dot_tone_input *input, const double *bare_q,
                             double rim_mm, fleck_disc *disc, fleck_error *err)
{
    const fleck_geometry *const geometry = input->geometry;
    struct candidate *candidates = fleck_alloc_array(input->n, sizeof *candidates);
    struct window *window = fleck_alloc_array(1, sizeof *window);
    uint16_t *row = fleck_alloc_array(geometry->width_px, sizeof *row);
    struct disc_sums *found = fleck_alloc_array(MOST_DOTS, sizeof *found);
    size_t count = 0, used = 0, step;
    fleck_status status = FLECK_OK;

    *disc = (fleck_disc){ NAN, NAN };
    if (candidates == NULL || window == NULL || row == NULL || found == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory to look at small dots; measure a smaller region");
        goto done;
    }
    for (size_t i = 0; i < input->n; i++)
        if (is_candidate(&input->blobs[i], bare_q[i], geometry) &&
            place_window(&input->blobs[i].component, geometry, rim_mm, window))
            candidates[count++] =
                (struct candidate){ i, input->blobs[i].component.min_y_px };
    qsort(candidates, count, sizeof *candidates, by_top);
    /* a third of them may turn out to have neighbours */
    step = count / (MOST_DOTS + MOST_DOTS / 2) + 1;
    for (size_t i = 0; i < count && used < MOST_DOTS; i += step) {
        const size_t blob = candidates[i].blob;
        const fleck_component *const component = &input->blobs[blob].component;

        place_window(component, geometry, rim_mm, window);
        for (size_t y = 0; y < window->height && status == FLECK_OK; y++) {
            status = input->read(input->context, window->top + y, row, err);
            for (size_t x = 0; status == FLECK_OK && x < window->width; x++)
                window->q[y * MOST_SIDE_PX + x] = row[window->left + x];
        }
        if (status != FLECK_OK)
            goto done;
        if (!is_alone(input, window, component->area_px))
            continue;
        found[used] = sums_of(input, window, component, bare_q[blob], rim_mm);
        found[used].blob = blob;
        if (!isnan(found[used].depth))
            used++;
    }
    if (used >= LEAST_DOTS)
        *disc = median_disc(found, used, weight_of_mm(geometry, rim_mm));
done:
    fleck_free(found);
    fleck_free(candidates);
    fleck_free(window);
    fleck_free(row);
    return status;
}
