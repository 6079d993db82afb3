/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often coverage +- 1.96 coverage_se holds the coverage that a texture has on average, by seeded
 * phantoms at 600 ppi: it should be near 95 %.
 *
 *     coverage_intervals [PHANTOMS [SEED]]    default 400 of each kind
 *
 * held: that share, with its standard error (0.011 of 400). ratio: root mean square of coverage_se
 * over the standard deviation that coverage has between these phantoms; scatter: standard deviation
 * of coverage_se over its mean. beyond: shares of intervals that lie wholly below, and above, the truth.
 *
 * 800 of each: 0.93 to 0.945 in patches of 20 mm, 0.94 to 0.96 in patches of 40 mm; ratio 0.94 to 1.06. What is
 * missing comes from the scatter: an estimate that scatters by a tenth to a fifth, as that of 50 to 14 degrees of
 * freedom does, makes 1.96 of it hold 94.4 to 93 %.
 */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "fleck/phantom.h"
#include "fleck/sampling.h"

static const struct {
    const char *name;
    fleck_phantom_kind kind;
    double coverage, size_mm, gsd; /* median diameter, or correlation length */
} textures[] = {
    { "discs of 0.4 mm", FLECK_PHANTOM_DISCS, 0.1, 0.4, 1 },
    { "discs of 0.4 mm", FLECK_PHANTOM_DISCS, 0.3, 0.4, 1 },
    { "discs of 0.4 mm", FLECK_PHANTOM_DISCS, 0.5, 0.4, 1 },
    { "discs of 0.3 mm, gsd 1.5", FLECK_PHANTOM_DISCS, 0.3, 0.3, 1.5 },
    { "field of 0.4 mm", FLECK_PHANTOM_FIELD, 0.1, 0.4, 1 },
    { "field of 0.4 mm", FLECK_PHANTOM_FIELD, 0.3, 0.4, 1 },
    { "field of 0.4 mm", FLECK_PHANTOM_FIELD, 0.5, 0.4, 1 },
};

static const double sides_mm[] = { 20, 40 };

/* Coverage and coverage_se of one phantom; false with a message on stderr. */
static bool measure(const fleck_phantom_options *options, double *coverage, fleck_sampling *sampling)
{
    fleck_geometry geometry = { .pixel_x_mm = 25.4 / options->ppi, .pixel_y_mm = 25.4 / options->ppi };
    fleck_error err = { FLECK_OK, "" };
    fleck_phantom *phantom = NULL;
    fleck_cell_counts *counts = NULL;
    fleck_run *runs = NULL;
    uint16_t *q = NULL;
    const float *values;
    uint64_t ink_px = 0;
    fleck_status status = fleck_phantom_new(options, &phantom, &err);

    if (status != FLECK_OK)
        goto done;
    values = fleck_phantom_reflectance(phantom, &geometry.width_px, &geometry.height_px);
    runs = calloc(geometry.width_px / 2 + 1, sizeof *runs);
    q = calloc(geometry.width_px, sizeof *q);
    if (runs == NULL || q == NULL) {
        status = FLECK_NO_RESOURCE;
        goto done;
    }
    status = fleck_cell_counts_new(&geometry, NULL, 0, &counts, &err);
    for (size_t y = 0; status == FLECK_OK && y < geometry.height_px; y++) {
        size_t run_count;

        for (size_t x = 0; x < geometry.width_px; x++)
            q[x] = values[y * geometry.width_px + x] < 0.5F ? 0 : 65535;
        run_count = fleck_runs_from_row(q, geometry.width_px, 1, FLECK_INK_DARK, runs);
        for (size_t i = 0; i < run_count; i++)
            ink_px += runs[i].end_px - runs[i].start_px;
        status = fleck_cell_counts_row(counts, runs, run_count, &err);
    }
    if (status == FLECK_OK)
        status = fleck_cell_counts_finish(counts, sampling, &err);
    *coverage = (double)ink_px / ((double)geometry.width_px * (double)geometry.height_px);
done:
    if (status != FLECK_OK)
        fprintf(stderr, "%s\n", err.message);
    fleck_cell_counts_free(counts);
    fleck_phantom_free(phantom);
    free(runs);
    free(q);
    return status == FLECK_OK;
}

static bool count_held(size_t texture, double side_mm, size_t phantoms, uint64_t first_seed)
{
    fleck_phantom_options options = fleck_phantom_options_default();
    const double truth = textures[texture].coverage;
    double held = 0, below = 0, above = 0, off_sum = 0, off_squares = 0, se_sum = 0, se_squares = 0;
    const double n = (double)phantoms;
    double share, off_mean, se_mean;

    options.kind = textures[texture].kind;
    options.width_mm = options.height_mm = side_mm;
    options.ppi = 600;
    options.coverage = truth;
    options.sizes = textures[texture].gsd > 1 ? FLECK_PHANTOM_LOGNORMAL : FLECK_PHANTOM_FIXED;
    options.gsd = textures[texture].gsd > 1 ? textures[texture].gsd : options.gsd;
    options.diameter_mm = options.correlation_mm = textures[texture].size_mm;
    options.antialias = false;
    options.softness_mm = options.noise = options.fibre = 0;
    options.ink_reflectance = 0;
    options.paper_reflectance = 1;
    for (size_t i = 0; i < phantoms; i++) {
        fleck_sampling sampling;
        double coverage = NAN, off;

        options.seed = first_seed + i;
        if (!measure(&options, &coverage, &sampling))
            return false;
        off = coverage - truth;
        held += fabs(off) < 1.96 * sampling.coverage_se;
        below += off <= -1.96 * sampling.coverage_se;
        above += off >= 1.96 * sampling.coverage_se;
        off_sum += off;
        off_squares += off * off;
        se_sum += sampling.coverage_se;
        se_squares += sampling.coverage_se * sampling.coverage_se;
    }
    share = held / n;
    off_mean = off_sum / n;
    se_mean = se_sum / n;
    printf("%-26s %4.1f  %2.0f mm  held %.3f +- %.3f  ratio %.3f  scatter %.3f  beyond %.3f %.3f\n",
           textures[texture].name, truth, side_mm, share, sqrt(share * (1 - share) / n),
           sqrt(se_squares / n / (off_squares / n - off_mean * off_mean)),
           sqrt(fmax(0, se_squares / n - se_mean * se_mean)) / se_mean, below / n, above / n);
    fflush(stdout);
    return true;
}

int main(int argc, char **argv)
{
    const size_t phantoms = argc > 1 ? strtoul(argv[1], NULL, 10) : 400;
    uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;

    if (phantoms < 2)
        return EXIT_FAILURE;
    for (size_t s = 0; s < sizeof sides_mm / sizeof *sides_mm; s++)
        for (size_t i = 0; i < sizeof textures / sizeof *textures; i++) {
            if (!count_held(i, sides_mm[s], phantoms, seed))
                return EXIT_FAILURE;
            seed += phantoms; /* fields of one seed are alike, whatever their coverage */
        }
    return EXIT_SUCCESS;
}
