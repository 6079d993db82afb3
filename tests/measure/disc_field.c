/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/disc_field.h"

#include <math.h>
#include <stdlib.h>

#include "core/random.h"
#include "fleck/texture.h"

static const double pi = 3.14159265358979323846;
static const double margin_mm = 3; /* around the patch; discs are at most so large */

enum { CELL_PER_MM = 2 };

struct disc {
    double x_mm, y_mm, d_mm;
    size_t next; /* in the same cell, plus 1 */
};

struct arrivals {
    double side_mm; /* with both margins */
    size_t cells;   /* along a side */
    size_t *first;  /* of each cell, plus 1 */
    struct disc *discs;
    size_t count;
};

static double area_px(const disc_law *law, double d_mm)
{
    return floor(pi / 4 * d_mm * d_mm / (law->pixel_mm * law->pixel_mm) + 0.5);
}

static size_t poisson(double mean, uint64_t *random)
{
    double sum = 0;
    size_t n = 0;

    for (;;) {
        sum -= log(fleck_random_uniform(random));
        if (sum > mean)
            return n;
        n++;
    }
}

static size_t cell_at(const struct arrivals *all, double mm)
{
    const double cell = floor(mm * CELL_PER_MM);

    return (size_t)fmin(fmax(cell, 0), (double)all->cells - 1);
}

static bool is_free(const struct arrivals *all, const struct disc *one)
{
    const double reach_mm = one->d_mm / 2 + margin_mm / 2;
    const size_t right = cell_at(all, one->x_mm + reach_mm),
                 low = cell_at(all, one->y_mm + reach_mm);

    for (size_t j = cell_at(all, one->y_mm - reach_mm); j <= low; j++) {
        for (size_t i = cell_at(all, one->x_mm - reach_mm); i <= right; i++) {
            for (size_t k = all->first[j * all->cells + i]; k > 0; k = all->discs[k - 1].next) {
                const struct disc *const other = &all->discs[k - 1];

                if (hypot(one->x_mm - other->x_mm, one->y_mm - other->y_mm) <
                    (one->d_mm + other->d_mm) / 2)
                    return false;
            }
        }
    }
    return true;
}

static void arrive(const disc_law *law, struct arrivals *all, double x_mm, double y_mm,
                   uint64_t *random)
{
    double normal[2];
    struct disc one = { .x_mm = x_mm, .y_mm = y_mm };
    size_t *cell;

    fleck_random_normal_pair(random, normal);
    one.d_mm = fmin(law->median_mm * pow(law->gsd, normal[0]), margin_mm);
    if (x_mm < 0 || y_mm < 0 || x_mm >= all->side_mm || y_mm >= all->side_mm ||
        (law->apart && !is_free(all, &one)))
        return;
    cell = &all->first[cell_at(all, y_mm) * all->cells + cell_at(all, x_mm)];
    one.next = *cell;
    all->discs[all->count++] = one;
    *cell = all->count;
}

/* What the patch shows of a disc; false when that is nothing or too small. */
static bool see(const disc_law *law, const fleck_geometry *geometry, const struct disc *disc,
                size_t number, fleck_component *seen)
{
    const double limit_px = (double)geometry->width_px;
    const double left = floor((disc->x_mm - margin_mm - disc->d_mm / 2) / law->pixel_mm + 0.5);
    const double top = floor((disc->y_mm - margin_mm - disc->d_mm / 2) / law->pixel_mm + 0.5);
    const double wide = fmax(1, floor(disc->d_mm / law->pixel_mm + 0.5));
    const double area = area_px(law, disc->d_mm);

    if (left + wide <= 0 || top + wide <= 0 || left >= limit_px || top >= limit_px ||
        area < (double)fleck_cutoff_area_px(geometry, law->cutoff_mm))
        return false;
    *seen = (fleck_component){
        .area_px = (uint64_t)area,
        .at_edge = left <= 0 || top <= 0 || left + wide >= limit_px || top + wide >= limit_px,
        .min_x_px = (uint32_t)fmax(left, 0),
        .min_y_px = (uint32_t)fmax(top, 0),
        .max_x_px = (uint32_t)fmin(left + wide, limit_px) - 1,
        .max_y_px = (uint32_t)fmin(top + wide, limit_px) - 1,
    };
    seen->first_y_px = seen->min_y_px;
    /* within the box, and no two alike where overlapping discs are listed apart */
    seen->first_x_px = seen->min_x_px + (uint32_t)(number % (size_t)wide);
    if (seen->first_x_px > seen->max_x_px)
        seen->first_x_px = seen->max_x_px;
    return true;
}

bool disc_field_draw(const disc_law *law, uint64_t *random, disc_field *field)
{
    const size_t side_px = (size_t)floor(law->side_mm / law->pixel_mm + 0.5);
    struct arrivals all = { .side_mm = law->side_mm + 2 * margin_mm };
    const double mean = law->per_mm2 * all.side_mm * all.side_mm;
    const size_t most = (size_t)(3 * mean + 1000);
    bool drawn = false;

    *field = (disc_field){ .geometry = { side_px, side_px, law->pixel_mm, law->pixel_mm } };
    all.cells = (size_t)(all.side_mm * CELL_PER_MM) + 1;
    all.first = calloc(all.cells * all.cells, sizeof *all.first);
    all.discs = calloc(most, sizeof *all.discs);
    field->counted = calloc(most, sizeof *field->counted);
    field->centred_px = calloc(most, sizeof *field->centred_px);
    if (all.first == NULL || all.discs == NULL || field->counted == NULL ||
        field->centred_px == NULL)
        goto done;
    if (law->cluster_size > 0) {
        for (size_t n = poisson(mean / law->cluster_size, random); n > 0; n--) {
            const double x = fleck_random_uniform(random) * all.side_mm;
            const double y = fleck_random_uniform(random) * all.side_mm;

            for (size_t m = poisson(law->cluster_size, random); m > 0 && all.count < most; m--) {
                double off[2];

                fleck_random_normal_pair(random, off);
                /* beyond one side it comes in at the other: no margin is large enough else */
                arrive(law, &all, fmod(x + off[0] * law->cluster_sd_mm + all.side_mm, all.side_mm),
                       fmod(y + off[1] * law->cluster_sd_mm + all.side_mm, all.side_mm), random);
            }
        }
    } else {
        for (size_t n = poisson(mean, random); n > 0 && all.count < most; n--) {
            const double x = fleck_random_uniform(random) * all.side_mm;

            arrive(law, &all, x, fleck_random_uniform(random) * all.side_mm, random);
        }
    }
    for (size_t i = 0; i < all.count; i++) {
        const double x = all.discs[i].x_mm - margin_mm, y = all.discs[i].y_mm - margin_mm;

        if (!see(law, &field->geometry, &all.discs[i], i, &field->counted[field->count]))
            continue;
        if (x >= 0 && y >= 0 && x < law->side_mm && y < law->side_mm)
            field->centred_px[field->centred++] = field->counted[field->count].area_px;
        field->count++;
    }
    drawn = true;
done:
    free(all.first);
    free(all.discs);
    if (!drawn)
        disc_field_clear(field);
    return drawn;
}

void disc_field_clear(disc_field *field)
{
    free(field->counted);
    free(field->centred_px);
    *field = (disc_field){ 0 };
}

/* Share of the law whose rounded area is below so many pixels. */
static double share_below(const disc_law *law, double pixels)
{
    const double d_mm = 2 * law->pixel_mm * sqrt((pixels - 0.5) / pi);

    return 0.5 * erfc(-log(d_mm / law->median_mm) / log(law->gsd) / sqrt(2));
}

static double cutoff_px(const disc_law *law)
{
    const fleck_geometry geometry = { 1, 1, law->pixel_mm, law->pixel_mm };

    return (double)fleck_cutoff_area_px(&geometry, law->cutoff_mm);
}

uint64_t disc_law_quantile_px(const disc_law *law, double p)
{
    double pixels = cutoff_px(law);
    const double below = share_below(law, pixels);

    while (share_below(law, pixels + 1) < below + p * (1 - below))
        pixels++;
    return (uint64_t)pixels;
}

double disc_law_counted_per_mm2(const disc_law *law)
{
    return law->per_mm2 * (1 - share_below(law, cutoff_px(law)));
}
