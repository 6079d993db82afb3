/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Measure one scan: measure_scan SCAN. What `fleck measure SCAN` does, in its shortest form. */
#include <stdio.h>

#include <fleck/fleck.h>

static void print_record(void *context, const fleck_record *record)
{
    (void)context;
    printf("%s: coverage %.2f %%, %.0f dots, median size %.3f mm\n", record->id,
           100 * record->ink.coverage, record->dots.counted, record->dots.d50_mm);
    for (size_t i = 0; i < record->warnings.count; i++)
        printf("  %s: %s\n", record->warnings.items[i].code, record->warnings.items[i].message);
}

static void print_failure(void *context, const char *path, const char *message)
{
    (void)context;
    fprintf(stderr, "%s: %s\n", path, message);
}

int main(int count, char **words)
{
    fleck_measure_observer observer = fleck_measure_observer_default();
    const fleck_measure_options options = fleck_measure_options_default();
    fleck_measure_summary summary = { 0 };
    fleck_inputs inputs = { 0 };
    fleck_error err = { 0 };
    fleck_status status;

    if (count != 2) {
        fputs("usage: measure_scan SCAN\n", stderr);
        return 2;
    }
    observer.record = print_record;
    observer.failure = print_failure;
    status = fleck_inputs_gather((const char *const[]){ words[1] }, 1, &inputs, &err);
    if (status == FLECK_OK)
        status = fleck_measure(&inputs, &options, NULL, &observer, &summary, &err);
    if (status != FLECK_OK)
        fprintf(stderr, "%s: %s\n", words[1], err.message);
    fleck_inputs_clear(&inputs);
    return status != FLECK_OK || summary.failed > 0;
}
