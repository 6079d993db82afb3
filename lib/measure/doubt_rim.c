/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The four outermost lines of cells, without their corners, against the lines inside, of equal
 * length. Lines, not cells, are the unit: dots larger than a cell, and stripes of the printing,
 * make neighbouring cells alike, and the scatter of whole lines has that in it.
 */
#include "measure/doubt_rim.h"

#include <math.h>

#include "core/memory.h"

enum { LEAST_CELLS = 6 };

static const double critical_coverage = 0.1; /* docs/doubts.md has the rates of all three */
static const double critical_tone = 0.03;
static const double critical_z = 4;
static const double critical_bare = 0.5, critical_bare_z = 3.5;

bool fleck_doubt_rim_begin(fleck_doubt_rim_sums *sums, const fleck_ink_cells *cells)
{
    *sums = (fleck_doubt_rim_sums){ 0 };
    sums->columns = fleck_alloc_zeroed(cells->across, sizeof *sums->columns);
    return sums->columns != NULL;
}

static void add_cell(fleck_rim_line *line, const fleck_ink_cell *cell, double px)
{
    line->px += px;
    line->ink_px += (double)cell->ink_px;
    line->core_px += (double)cell->core_px;
    line->core_sum += (double)cell->core_sum;
}

static void add_value(fleck_rim_spread *spread, double value)
{
    if (isnan(value))
        return;
    spread->count++;
    spread->sum += value;
    spread->squares += value * value;
}

static double line_coverage(const fleck_rim_line *line)
{
    return line->ink_px / line->px;
}

/* NAN without a core, as 0 / 0 */
static double line_tone(const fleck_rim_line *line)
{
    return line->core_sum / (line->core_px * 65535);
}

void fleck_doubt_rim_add(fleck_doubt_rim_sums *sums, const fleck_ink_cells *cells)
{
    const size_t last = cells->across - 1, row = cells->cell_row;
    fleck_rim_line line = { 0 };

    if (cells->across < LEAST_CELLS || cells->down < LEAST_CELLS)
        return;
    for (size_t i = 1; i < last; i++) {
        const fleck_ink_cell *const cell = &cells->cells[i];
        const double px = (double)fleck_ink_cell_px(cells, i);

        add_cell(&line, cell, px);
        if (row > 0 && row < cells->down - 1) {
            add_cell(&sums->columns[i], cell, px);
            add_cell(&sums->inside, cell, px);
        }
    }
    if (row == 0) {
        sums->sides[0] = line;
    } else if (row == cells->down - 1) {
        sums->sides[1] = line;
    } else {
        add_cell(&sums->sides[2], &cells->cells[0], (double)fleck_ink_cell_px(cells, 0));
        add_cell(&sums->sides[3], &cells->cells[last], (double)fleck_ink_cell_px(cells, last));
        add_value(&sums->coverage, line_coverage(&line));
        add_value(&sums->tone, line_tone(&line));
    }
}

/*
 * Mean of the sides less that of the inside, and its standard error from the lines inside; `around`
 * tells whether three sides or more have at least half of it, as one with a few large dots has not.
 */
static double compare(const fleck_doubt_rim_sums *sums, fleck_rim_spread rows, size_t across,
                      double (*value_of)(const fleck_rim_line *), double direction,
                      double *standard_error, bool *around)
{
    const double inside = value_of(&sums->inside);
    fleck_rim_spread columns = { 0 }, sides = { 0 };
    double freedom, variance, difference;
    unsigned count = 0;

    for (size_t i = 1; i + 1 < across; i++)
        add_value(&columns, value_of(&sums->columns[i]));
    for (size_t i = 0; i < 4; i++)
        add_value(&sides, value_of(&sums->sides[i]));
    freedom = rows.count + columns.count - 2;
    variance = (rows.squares - rows.sum * rows.sum / rows.count + columns.squares -
                columns.sum * columns.sum / columns.count) /
               freedom;
    /* rows and columns share their cells: they are no more lines than one of both directions */
    *standard_error =
        sqrt(fmax(variance, 0) * (1 / sides.count + 2 / (rows.count + columns.count)));
    difference = direction * (sides.sum / sides.count - inside);
    for (size_t i = 0; i < 4; i++)
        count += direction * (value_of(&sums->sides[i]) - inside) >= difference / 2;
    *around = count >= 3;
    return difference;
}

/* Variance of the values of lines. */
static double variance_of(const fleck_rim_spread *lines)
{
    return fmax(0, lines->squares - lines->sum * lines->sum / lines->count) / (lines->count - 1);
}

/* The side with least ink, against the lines inside that run along it. */
static void look_for_bare_side(const fleck_doubt_rim_sums *sums, size_t across, fleck_doubt_rim *rim)
{
    static const char *const names[4] = { "top", "bottom", "left", "right" };
    const double inside = line_coverage(&sums->inside);
    fleck_rim_spread columns = { 0 };

    for (size_t i = 1; i + 1 < across; i++)
        add_value(&columns, line_coverage(&sums->columns[i]));
    for (size_t i = 0; i < 4; i++) {
        const fleck_rim_spread *const lines = i < 2 ? &sums->coverage : &columns;
        const double less = (inside - line_coverage(&sums->sides[i])) / inside;

        /* NAN at first */
        if (!(less <= rim->bare.statistic)) {
            rim->bare.statistic = less;
            rim->bare_z = less * inside / sqrt(variance_of(lines) * (1 + 1 / lines->count));
            rim->bare_side = names[i];
        }
    }
    rim->bare.exceeded = rim->bare.statistic >= critical_bare && rim->bare_z >= critical_bare_z;
}

/* All sides together show it sooner. */
static void look_for_bare_rim(const fleck_doubt_rim_sums *sums, size_t across, fleck_doubt_rim *rim)
{
    double difference, standard_error;
    bool around;

    look_for_bare_side(sums, across, rim);
    difference = compare(sums, sums->coverage, across, line_coverage, -1, &standard_error, &around);
    if (around && difference >= critical_bare * line_coverage(&sums->inside) &&
        difference >= critical_z * standard_error) {
        rim->bare = (fleck_doubt){ difference / line_coverage(&sums->inside), critical_bare, true };
        rim->bare_z = difference / standard_error;
        rim->bare_side = "whole";
    }
}

fleck_doubt_rim fleck_doubt_rim_finish(const fleck_doubt_rim_sums *sums,
                                       const fleck_ink_cells *cells, double ink_reflectance,
                                       double bare_reflectance)
{
    fleck_doubt_rim rim = { .coverage = { .statistic = NAN, .critical = critical_coverage },
                            .tone = { .statistic = NAN, .critical = critical_tone },
                            .coverage_z = NAN,
                            .tone_z = NAN,
                            .bare = { .statistic = NAN, .critical = critical_bare },
                            .bare_z = NAN,
                            .bare_side = "top" };
    const double contrast = bare_reflectance - ink_reflectance; /* negative for light ink */
    double difference, standard_error;
    bool around;

    if (cells->across < LEAST_CELLS || cells->down < LEAST_CELLS)
        return rim;
    difference =
        compare(sums, sums->coverage, cells->across, line_coverage, 1, &standard_error, &around);
    rim.coverage.statistic = difference / line_coverage(&sums->inside);
    rim.coverage_z = difference / standard_error;
    rim.coverage.exceeded =
        rim.coverage.statistic >= critical_coverage && rim.coverage_z >= critical_z && around;
    difference = compare(sums, sums->tone, cells->across, line_tone, contrast < 0 ? 1 : -1,
                         &standard_error, &around);
    rim.tone.statistic = difference / fabs(contrast);
    rim.tone_z = difference / standard_error;
    rim.tone.exceeded = rim.tone.statistic >= critical_tone && rim.tone_z >= critical_z && around;
    look_for_bare_rim(sums, cells->across, &rim);
    return rim;
}

void fleck_doubt_rim_end(fleck_doubt_rim_sums *sums)
{
    fleck_free(sums->columns);
    *sums = (fleck_doubt_rim_sums){ 0 };
}

fleck_status fleck_doubt_rim_warn(const fleck_doubt_rim *rim, fleck_warnings *warnings,
                                  fleck_error *err)
{
    if (rim->coverage.exceeded)
        return fleck_warnings_add(warnings, err, "ink-rim",
                                  "within 1 mm of the region's edge coverage is higher than inside "
                                  "by %.0f %% of itself: ink has piled up at the patch's edge; "
                                  "measure the inside with --margin 1 or more",
                                  100 * rim->coverage.statistic);
    if (rim->tone.exceeded)
        return fleck_warnings_add(warnings, err, "ink-rim",
                                  "within 1 mm of the region's edge ink is stronger than inside by "
                                  "%.1f %% of the contrast: ink has piled up at the patch's edge; "
                                  "measure the inside with --margin 1 or more",
                                  100 * rim->tone.statistic);
    if (rim->bare.exceeded)
        return fleck_warnings_add(warnings, err, "bare-rim",
                                  "within 1 mm of the region's %s edge there is %.0f %% less ink than inside: "
                                  "bare paper beside the print counts as part of it and lowers the coverage; "
                                  "measure the print alone with --region or --margin",
                                  rim->bare_side, 100 * rim->bare.statistic);
    return FLECK_OK;
}
