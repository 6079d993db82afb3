/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often the intervals of a comparison hold the true difference, and how often its tests cry at
 * nothing, by seeded simulation: what is called 95 % should be near 95 %, what is called 5 % should
 * not be above it.
 *
 *     interval_rates [RUNS [SEED]]    default 10000 runs; prints a line for each way to draw two
 * groups
 *
 * cover: shares of Welch's and of Hedges' intervals that hold the truth. size: shares of p <= 0.05
 * under no difference, of Welch's, the permutation and the rank test, and of p <= 0.05 of the
 * equivalence test when the true difference lies at the margin. A share of 0.05 from 10000 runs has
 * a standard error of 0.0022.
 */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "core/random.h"
#include "stats/effect_size.h"
#include "stats/permutation.h"
#include "stats/ranks.h"
#include "stats/t_tests.h"

enum { MOST = 30 };

typedef enum law { NORMAL, LOGNORMAL, WHOLE } law;

static const struct {
    const char *name;
    size_t n_a, n_b;
    double sd_a, sd_b;
    law drawn;
} ways[] = {
    { "3 + 3 normal", 3, 3, 1, 1, NORMAL },
    { "6 + 6 normal", 6, 6, 1, 1, NORMAL },
    { "6 + 6 normal, sd 1 and 3", 6, 6, 1, 3, NORMAL },
    { "5 + 10 normal, sd 3 and 1", 5, 10, 3, 1, NORMAL },
    { "6 + 6 lognormal", 6, 6, 1, 1, LOGNORMAL },
    { "6 + 6 rounded, many ties", 6, 6, 1, 1, WHOLE },
    { "25 + 25 normal", 25, 25, 1, 1, NORMAL },
};

/* Values with mean 0 and the given standard deviation. */
static void draw(size_t n, double sd, law drawn, uint64_t *state, double *values)
{
    for (size_t i = 0; i < n; i++) {
        double pair[2];

        fleck_random_normal_pair(state, pair);
        if (drawn == LOGNORMAL) /* of ln sd 0.5: skewed as sizes are */
            values[i] = sd * (exp(0.5 * pair[0]) - exp(0.125)) / sqrt(exp(0.5) - exp(0.25));
        else if (drawn == WHOLE)
            values[i] = sd * round(pair[0]);
        else
            values[i] = sd * pair[0];
    }
}

int main(int count, char **words)
{
    const long runs = count > 1 ? strtol(words[1], NULL, 10) : 10000;
    uint64_t state = count > 2 ? strtoull(words[2], NULL, 10) : 1;
    fleck_permutation_options options = fleck_permutation_options_default();

    options.shuffles = 999; /* enough for a rate; drawn for 25 + 25 alone */
    printf("%-28s %7s %7s   %7s %7s %7s %7s\n", "", "cover", "cover g", "Welch", "permut.", "rank",
           "equiv.");
    for (size_t way = 0; way < sizeof ways / sizeof *ways; way++) {
        long cover = 0, cover_g = 0, welch = 0, permutation = 0, rank = 0, equivalent = 0;

        for (long run = 0; run < runs; run++) {
            double a[MOST], b[MOST], p;
            fleck_moments moments_a, moments_b;
            fleck_t_test test;
            fleck_effect_size effect;
            fleck_permutation deals;

            draw(ways[way].n_a, ways[way].sd_a, ways[way].drawn, &state, a);
            draw(ways[way].n_b, ways[way].sd_b, ways[way].drawn, &state, b);
            moments_a = fleck_moments_of(a, ways[way].n_a);
            moments_b = fleck_moments_of(b, ways[way].n_b);
            test = fleck_welch(&moments_a, &moments_b, 0.95);
            cover += test.ci_lo <= 0 && test.ci_hi >= 0;
            welch += test.p <= 0.05;
            /* the same draw, shifted to the margin: alike is found wrongly then */
            test.difference += 1;
            equivalent += fleck_equivalence_p(&test, 1) <= 0.05;
            if (run % 10 == 0) { /* slower */
                effect = fleck_hedges_g(&moments_a, &moments_b, 0.95);
                cover_g += effect.lo <= 0 && effect.hi >= 0;
            }
            options.seed = (uint64_t)run + 1;
            if (fleck_permute_means(a, ways[way].n_a, b, ways[way].n_b, &options, &deals, NULL) !=
                    FLECK_OK ||
                fleck_mann_whitney(a, ways[way].n_a, b, ways[way].n_b, NULL, &p, NULL) != FLECK_OK)
                return 3;
            permutation += deals.p <= 0.05;
            rank += p <= 0.05;
        }
        printf("%-28s %7.4f %7.3f   %7.4f %7.4f %7.4f %7.4f\n", ways[way].name,
               (double)cover / (double)runs, (double)cover_g * 10 / (double)runs,
               (double)welch / (double)runs, (double)permutation / (double)runs,
               (double)rank / (double)runs, (double)equivalent / (double)runs);
    }
    return 0;
}
