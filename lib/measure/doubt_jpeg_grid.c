/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * JPEG codes blocks of 8 x 8 pixels apart, and where two blocks meet, tone jumps a little. The
 * roughness of the line between two columns is the sum over all rows of |a - 3 b + 3 c - d| of the
 * four pixels across it, each capped so that printed edges do not drown the rest. Of each line the
 * mean of its seven nearest neighbours is taken off; what is left is folded by place modulo 8, for
 * columns and for rows. In a picture that never was a JPEG no phase stands out. Where the blocks
 * begin is not known, as the region is a cut of the scan: all 64 pairs of phases are tried.
 */
#include "measure/doubt_jpeg_grid.h"

#include <math.h>

#include "core/memory.h"

enum {
    LEAST_PX = 64,
    CAP_MOST = 2047, /* FLUSH_ROWS of it fit into 16 bits */
    FLUSH_ROWS = 32,
    STRETCH_PX = 65536
};

static const double cap_share = 0.05; /* of the contrast */
static const double critical = 5;     /* both directions together; docs/doubts.md has the rates */
static const double critical_each = 2.5; /* a grid shows in both directions */

bool fleck_doubt_jpeg_grid_begin(fleck_doubt_jpeg_grid_sums *sums, size_t width_px, double contrast)
{
    const double cap = cap_share * contrast * 8191;
    bool ok;

    *sums = (fleck_doubt_jpeg_grid_sums){ .width_px = width_px };
    sums->cap = (int16_t)(!(cap > 16) ? 16 : cap > CAP_MOST ? CAP_MOST : cap);
    sums->columns = fleck_alloc_zeroed(width_px, sizeof *sums->columns);
    sums->pending = fleck_alloc_zeroed(width_px, sizeof *sums->pending);
    ok = sums->columns != NULL && sums->pending != NULL;
    for (size_t i = 0; i < 4; i++) {
        sums->rows[i] = fleck_alloc_zeroed(width_px, sizeof *sums->rows[i]);
        ok = ok && sums->rows[i] != NULL;
    }
    return ok;
}

/* Of q / 8 it fits into 16 bits, of which processors take twice as many at a time as of 32. */
static inline int16_t roughness(int16_t a, int16_t b, int16_t c, int16_t d, int16_t cap)
{
    const int16_t rise = (int16_t)(a - d + 3 * (c - b));
    const int16_t fall = (int16_t)-rise;
    const int16_t size = rise > fall ? rise : fall;

    return size < cap ? size : cap;
}

static void flush(fleck_doubt_jpeg_grid_sums *sums)
{
    for (size_t x = 0; x < sums->width_px; x++) {
        sums->columns[x] += sums->pending[x];
        sums->pending[x] = 0;
    }
    sums->pending_rows = 0;
}

/* Next line: its roughness enters the ring; the line four before has all its neighbours then. */
static void fold_line(fleck_grid_fold *fold, double value)
{
    const size_t ring = 2 * FLECK_GRID_PX, half = FLECK_GRID_PX / 2;
    const size_t line = fold->lines++;
    size_t middle, phase;
    double others = 0, excess;

    fold->recent[line % ring] = value;
    fold->total += value;
    if (line < 2 * half)
        return;
    middle = line - half;
    /* three on one side, four on the other: one of each phase */
    for (size_t i = middle - half + 1; i <= middle + half; i++)
        others += i == middle ? 0 : fold->recent[i % ring];
    excess = fold->recent[middle % ring] - others / (FLECK_GRID_PX - 1);
    phase = middle % FLECK_GRID_PX;
    fold->count[phase]++;
    fold->sum[phase] += excess;
    fold->squares[phase] += excess * excess;
}

void fleck_doubt_jpeg_grid_add_row(fleck_doubt_jpeg_grid_sums *sums, const uint16_t *q)
{
    const int16_t cap = sums->cap;
    const size_t width_px = sums->width_px;
    int16_t *const row = sums->rows[sums->row % 4];
    uint16_t *const pending = sums->pending;

    for (size_t x = 0; x < width_px; x++)
        row[x] = (int16_t)(q[x] >> 3);
    for (size_t x = 2; x + 1 < width_px; x++)
        pending[x] =
            (uint16_t)(pending[x] + roughness(row[x - 2], row[x - 1], row[x], row[x + 1], cap));
    if (++sums->pending_rows == FLUSH_ROWS)
        flush(sums);
    /* the line between the second and the first row above, now that the row below is known */
    if (sums->row >= 3) {
        const int16_t *const a = sums->rows[(sums->row + 1) % 4];
        const int16_t *const b = sums->rows[(sums->row + 2) % 4];
        const int16_t *const c = sums->rows[(sums->row + 3) % 4];
        uint64_t line = 0;

        for (size_t from = 0; from < width_px; from += STRETCH_PX) {
            const size_t end = from + STRETCH_PX < width_px ? from + STRETCH_PX : width_px;
            int32_t part = 0;

            for (size_t x = from; x < end; x++)
                part += roughness(a[x], b[x], c[x], row[x], cap);
            line += (uint64_t)part;
        }
        fold_line(&sums->lines, (double)line);
    }
    sums->row++;
}

static double phase_mean(const fleck_grid_fold *fold, size_t phase)
{
    return fold->sum[phase] / fold->count[phase];
}

/* Square of the standard error of a phase's mean. */
static double phase_error(const fleck_grid_fold *fold, size_t phase)
{
    const double n = fold->count[phase], mean = phase_mean(fold, phase);
    const double variance = (fold->squares[phase] - n * mean * mean) / (n - 1);
    /* without any scatter, what rounding of a millionth of a line leaves */
    const double least = 1e-6 * fold->total / (double)fold->lines;

    return (fmax(variance, 0) + least * least) / n;
}

/*
 * How far the highest phase stands above the phases 2, 4 and 6 further on, in standard errors. The
 * phases beside it are raised a little by the same jump; an enlarged picture repeats every 2 or 4
 * pixels, and its phases do not stand above one another.
 */
static double highest_phase(const fleck_grid_fold *fold, size_t *phase)
{
    double least = INFINITY;

    *phase = 0;
    for (size_t i = 1; i < FLECK_GRID_PX; i++) {
        if (phase_mean(fold, i) > phase_mean(fold, *phase))
            *phase = i;
    }
    for (size_t step = 2; step < FLECK_GRID_PX; step += 2) {
        const size_t other = (*phase + step) % FLECK_GRID_PX;
        const double above = phase_mean(fold, *phase) - phase_mean(fold, other);

        least = fmin(least, above / sqrt(phase_error(fold, *phase) + phase_error(fold, other)));
    }
    return least;
}

fleck_doubt_jpeg_grid fleck_doubt_jpeg_grid_finish(fleck_doubt_jpeg_grid_sums *sums)
{
    fleck_doubt_jpeg_grid grid = { .doubt = { .statistic = NAN, .critical = critical } };
    fleck_grid_fold columns = { 0 };
    double x, y;
    size_t phase_x, phase_y;

    flush(sums);
    if (sums->width_px < LEAST_PX || sums->row < LEAST_PX)
        return grid;
    for (size_t i = 2; i + 1 < sums->width_px; i++)
        fold_line(&columns, (double)sums->columns[i]);
    if (!(columns.total > 0) || !(sums->lines.total > 0))
        return grid;
    x = highest_phase(&columns, &phase_x);
    y = highest_phase(&sums->lines, &phase_y);
    /* the first line of either fold lies between places 1 and 2 */
    grid.phase_x_px = (unsigned)((phase_x + 2) % FLECK_GRID_PX);
    grid.phase_y_px = (unsigned)((phase_y + 2) % FLECK_GRID_PX);
    grid.doubt.statistic = (x + y) / sqrt(2);
    grid.doubt.exceeded =
        grid.doubt.statistic >= critical && x >= critical_each && y >= critical_each;
    return grid;
}

void fleck_doubt_jpeg_grid_end(fleck_doubt_jpeg_grid_sums *sums)
{
    for (size_t i = 0; i < 4; i++)
        fleck_free(sums->rows[i]);
    fleck_free(sums->columns);
    fleck_free(sums->pending);
    *sums = (fleck_doubt_jpeg_grid_sums){ 0 };
}

fleck_status fleck_doubt_jpeg_grid_warn(const fleck_doubt_jpeg_grid *grid, fleck_warnings *warnings,
                                        fleck_error *err)
{
    if (!grid->doubt.exceeded)
        return FLECK_OK;
    return fleck_warnings_add(warnings, err, "former-jpeg",
                              "a grid of 8 pixels runs through the scan: it was a JPEG before, "
                              "which blurs edges and makes specks beside them, and saving it in "
                              "another format has not undone that; scan again to TIFF or PNG");
}
