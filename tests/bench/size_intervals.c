/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often the 95 % intervals of a size distribution hold the truth, how often the test of a
 * lognormal law rejects one, and what both cost: size_intervals [RUNS [PPI]]
 *
 * The truth is what all runs give together, from discs counted by their centre.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "fleck/size_distribution.h"
#include "fleck/texture.h"
#include "measure/disc_field.h"

enum { FIGURES = 6 };

static const char *const names[FIGURES] = { "d10", "d50", "d90", "area d50", "mean d", "per cm2" };

static double seconds(void)
{
    struct timespec now;

    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static int by_number(const void *left, const void *right)
{
    const uint64_t a = *(const uint64_t *)left, b = *(const uint64_t *)right;

    return (a > b) - (a < b);
}

struct pool {
    uint64_t *areas_px;
    size_t count, capacity;
};

static void pool_add(struct pool *pool, const disc_field *field)
{
    for (size_t i = 0; i < field->centred; i++) {
        if (pool->count == pool->capacity) {
            pool->capacity = 2 * pool->capacity + 1024;
            pool->areas_px = realloc(pool->areas_px, pool->capacity * sizeof *pool->areas_px);
            if (pool->areas_px == NULL)
                exit(1);
        }
        pool->areas_px[pool->count++] = field->centred_px[i];
    }
}

static double diameter_mm(const fleck_geometry *geometry, uint64_t area_px)
{
    return fleck_equivalent_diameter_mm(fleck_area_mm2(geometry, area_px));
}

static void find_truth(struct pool *pool, const disc_law *law, int runs, double truth[FIGURES])
{
    const fleck_geometry geometry = { 1, 1, law->pixel_mm, law->pixel_mm };
    const size_t n = pool->count;
    double area = 0, reached = 0, diameters = 0;
    size_t i = 0;

    qsort(pool->areas_px, n, sizeof *pool->areas_px, by_number);
    for (size_t j = 0; j < n; j++) {
        area += (double)pool->areas_px[j];
        diameters += diameter_mm(&geometry, pool->areas_px[j]);
    }
    truth[0] = diameter_mm(&geometry, pool->areas_px[n / 10]);
    truth[1] = diameter_mm(&geometry, pool->areas_px[n / 2]);
    truth[2] = diameter_mm(&geometry, pool->areas_px[n / 10 * 9]);
    while ((reached += (double)pool->areas_px[i]) < area / 2)
        i++;
    truth[3] = diameter_mm(&geometry, pool->areas_px[i]);
    truth[4] = diameters / (double)n;
    truth[5] = (double)n / runs / (law->side_mm * law->side_mm) * 100;
}

static void run_case(const char *name, const disc_law *law, int runs)
{
    struct pool pool = { 0 };
    fleck_size_distribution *all = calloc((size_t)runs, sizeof *all);
    fleck_size_options options = fleck_size_options_default();
    const fleck_geometry *geometry;
    double truth[FIGURES], discs = 0, time_s = 0;
    int given = 0, held[FIGURES] = { 0 }, above[FIGURES] = { 0 }, rejected = 0, tested = 0;
    uint64_t random = 17;
    disc_field field;

    if (all == NULL)
        exit(1);
    for (int r = 0; r < runs; r++) {
        double start;

        if (!disc_field_draw(law, &random, &field))
            exit(1);
        geometry = &field.geometry;
        pool_add(&pool, &field);
        discs += (double)field.count / runs;
        options.seed = (uint64_t)r;
        start = seconds();
        if (fleck_size_distribution_fill(field.counted, NULL, field.count, geometry, NULL,
                                         law->cutoff_mm, &options, &all[r], NULL) != FLECK_OK)
            exit(1);
        time_s += seconds() - start;
        disc_field_clear(&field);
    }
    find_truth(&pool, law, runs, truth);
    for (int r = 0; r < runs; r++) {
        const fleck_size_intervals *const is = &all[r].intervals;
        const fleck_interval intervals[FIGURES] = { is->d10_mm,           is->d50_mm,
                                                    is->d90_mm,           is->area_d50_mm,
                                                    is->mean_diameter_mm, is->per_cm2 };

        given += is->tiles > 0;
        for (int f = 0; f < FIGURES; f++) {
            held[f] += intervals[f].lo <= truth[f] + 1e-12 && truth[f] <= intervals[f].hi + 1e-12;
            above[f] += intervals[f].lo > truth[f] + 1e-12;
        }
        tested += !isnan(all[r].lognormal.p);
        rejected += all[r].lognormal.p <= 0.05;
        fleck_size_distribution_clear(&all[r]);
    }
    printf("%-28s %6.0f", name, discs);
    for (int f = 0; f < FIGURES; f++)
        printf(" %5.1f (%4.1f)", 100.0 * held[f] / fmax(1, given),
               100.0 * above[f] / fmax(1, given));
    printf("  %5.1f of %3.0f  %6.1f ms\n", 100.0 * rejected / fmax(1, tested),
           100.0 * tested / runs, 1000 * time_s / runs);
    free(pool.areas_px);
    free(all);
}

int main(int argc, char **argv)
{
    const int runs = argc > 1 ? atoi(argv[1]) : 400;
    const double ppi = argc > 2 ? atof(argv[2]) : 1200;
    static const double counts[] = { 100, 300, 1000, 2000 };
    const disc_law base = {
        .side_mm = 20, .pixel_mm = 25.4 / ppi, .median_mm = 0.2, .gsd = 1.5, .cutoff_mm = 0.1
    };
    disc_law page = base;

    printf("%% of %d runs whose interval holds the truth (lies wholly above it)\n%-28s %6s", runs,
           "", "dots");
    for (int f = 0; f < FIGURES; f++)
        printf(" %12s", names[f]);
    printf("  p <= 5 %%      time\n");
    for (size_t i = 0; i < sizeof counts / sizeof *counts; i++) {
        disc_law law = base;

        law.per_mm2 = counts[i] / 400;
        run_case("discs that may overlap", &law, runs);
        law.apart = true;
        run_case("discs kept apart", &law, runs);
        law.apart = false;
        law.cluster_size = 5;
        law.cluster_sd_mm = 0.5;
        run_case("clusters of 5, sd 0.5 mm", &law, runs);
    }
    page.side_mm = 250;
    page.per_mm2 = 150000.0 / (250 * 250);
    run_case("a page", &page, 2);
    return 0;
}
