/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rows from a decoder of your own, or from a scanner or camera while it works: own_decoder PPI <PICTURE.pgm
 * (8-bit grey, sRGB). Standard input cannot go back, so that the rows can be had only once.
 */
#include <stdio.h>
#include <stdlib.h>

#include <fleck/fleck.h>

static fleck_status read_row(void *context, size_t y_px, void *row, fleck_error *err)
{
    const fleck_row_source *const source = context;

    if (fread(row, source->width_px, 1, stdin) == 1)
        return FLECK_OK;
    return fleck_fail(err, FLECK_BAD_INPUT, "the picture ends at row %zu; give all of it", y_px);
}

static void print_record(void *context, const fleck_record *record)
{
    (void)context;
    printf("%.0f dots, median size %.4f mm\n", record->dots.counted, record->dots.d50_mm);
}

/* Failures, and what is only worth knowing. */
static void say(void *context, const char *path, const char *message)
{
    (void)context;
    fprintf(stderr, "own_decoder: %s: %s\n", path != NULL ? path : "fleck", message);
}

int main(int count, char **words)
{
    const fleck_measure_options options = fleck_measure_options_default();
    fleck_measure_observer observer = fleck_measure_observer_default();
    fleck_row_source source = fleck_row_source_default(); /* 8-bit grey */
    fleck_measure_summary summary = { 0 };
    fleck_inputs inputs = { 0 };
    fleck_error err = { FLECK_BAD_INPUT, "no picture; give: own_decoder PPI <PICTURE.pgm" };
    fleck_status status = FLECK_BAD_INPUT;

    observer.record = print_record;
    observer.failure = observer.note = say;
    source.context = &source;
    source.read_row = read_row;
    source.srgb = true;
    source.ppi_x = source.ppi_y = count == 2 ? atof(words[1]) : 0;
    if (scanf("P5 %zu %zu 255", &source.width_px, &source.height_px) == 2 && getchar() != EOF)
        status = fleck_inputs_add_rows(&inputs, "picture", &source, &err);
    if (status == FLECK_OK)
        status = fleck_measure(&inputs, &options, NULL, &observer, &summary, &err);
    if (status != FLECK_OK)
        fprintf(stderr, "own_decoder: %s\n", err.message);
    fleck_inputs_clear(&inputs);
    return status != FLECK_OK || summary.failed > 0;
}
