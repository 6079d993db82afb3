/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Compare two runs that `fleck measure -o` has made: compare_folders RUN RUN. */
#include <stdio.h>

#include <fleck/fleck.h>

int main(int count, char **words)
{
    static const char *const measures[] = { "ink.coverage", "dots.d50_mm" };
    fleck_compare_options options = fleck_compare_options_default();
    fleck_study *study = NULL;
    fleck_compare compare = { 0 };
    fleck_error err = { 0 };
    fleck_status status;

    if (count != 3) {
        fputs("usage: compare_folders RUN RUN\n", stderr);
        return 2;
    }
    options.measures = measures;
    options.measure_count = 2;
    status = fleck_study_read((const char *const[]){ words[1], words[2] }, 2, &study, &err);
    if (status == FLECK_OK)
        status = fleck_compare_study(study, &options, &compare, &err);
    if (status != FLECK_OK)
        fprintf(stderr, "%s\n", err.message);
    for (size_t i = 0; i < compare.comparison_count; i++) {
        const fleck_comparison *const c = &compare.comparisons[i];
        const fleck_compared_measure *const measure = &compare.measures[c->measure];

        printf("%s: %.4g against %.4g %s (%zu and %zu): %s\n", measure->measure, c->mean_a, c->mean_b,
               measure->unit, c->n_a, c->n_b, fleck_verdict_name(c->verdict));
    }
    fleck_compare_clear(&compare);
    fleck_study_free(study);
    return status != FLECK_OK;
}
