/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * FFTW behind a fence. Two rows are transformed at once, as real and imaginary part of one: of a
 * real row X(-k) = conj X(k), by which they part again while columns are gathered. Columns are
 * transformed a few at a time and used while they are in the first-level cache; a plan for the
 * whole tile would go through memory once more. All transforms are complex ones of a single stretch
 * of memory, which FFTW_ESTIMATE plans best: of 256 values they take two thirds of the time of real
 * ones. FFTW_ESTIMATE, because plans that are chosen by the clock give other last digits each run.
 */
#include "measure/fourier.h"

#include <assert.h>
#include <fftw3.h>
#include <pthread.h>

#include "core/memory.h"
#include "core/wide.h"

struct fleck_fourier {
    size_t side_px;
    size_t columns;   /* side_px / 2 + 1: the rest follows by symmetry */
    size_t pitch;     /* complex numbers from one transformed pair of rows to the next */
    unsigned workers; /* as many works as are allocated */
    fleck_fourier_work *works;
    const double *window;
    fftw_plan plan; /* of one row or column */
    fleck_width width;
};

/* FFTW's planner works on global tables: planning and destroying must not happen side by side. */
static pthread_mutex_t planner_lock = PTHREAD_MUTEX_INITIALIZER;

static double *aligned_doubles(size_t a, size_t b)
{
    size_t count, bytes;

    if (!size_mul(a, b, &count) || !size_mul(count, sizeof(double), &bytes))
        return NULL;
    return fftw_malloc(bytes);
}

/*
 * FFTW's planner ends the process when it finds no memory. So more than it needs is taken and given
 * back first, where a failure can still be said. Measured with FFTW 3.3.10: at most 0.8 MB for
 * sides up to 4096 pixels; tables of factors grow with the side.
 */
static int planner_has_room(size_t side_px)
{
    void *const room =
        fftw_malloc((1u << 20) + 256 * side_px); /* a compiler may leave out malloc */

    fftw_free(room);
    return room != NULL;
}

static int make_plan(fleck_fourier *fourier)
{
    if (!planner_has_room(fourier->side_px))
        return 0;
    pthread_mutex_lock(&planner_lock);
    fourier->plan =
        fftw_plan_dft_1d((int)fourier->side_px, (fftw_complex *)fourier->works[0].gathered,
                         (fftw_complex *)fourier->works[0].column, FFTW_FORWARD, FFTW_ESTIMATE);
    pthread_mutex_unlock(&planner_lock);
    return fourier->plan != NULL;
}

fleck_fourier_work *fleck_fourier_get_work(const fleck_fourier *fourier, unsigned worker)
{
    assert(worker < fourier->workers);
    return &fourier->works[worker];
}

void fleck_fourier_two_rows(const fleck_fourier *fourier, fleck_fourier_work *work, unsigned half,
                            size_t y)
{
    double *const into = work->halves[half] + 2 * fourier->pitch * (y / 2);

    assert(half < 2 && y % 2 == 0 && y < fourier->side_px / 2);
    for (size_t x = 0; y + 1 == fourier->side_px / 2 && x < fourier->side_px; x++)
        work->two_rows[2 * x + 1] = 0;
    fftw_execute_dft(fourier->plan, (fftw_complex *)work->two_rows, (fftw_complex *)into);
}

/* Of a pair of rows, the transform of each, weighted, from that of both and its mirror image. */
static inline __attribute__((always_inline)) void
part_rows(const double *z, const double *mirror, double weight, double weight_below, double *into)
{
    into[0] = (z[0] + mirror[0]) * weight;
    into[1] = (z[1] - mirror[1]) * weight;
    into[2] = (z[1] + mirror[1]) * weight_below;
    into[3] = (mirror[0] - z[0]) * weight_below;
}

/*
 * A whole block of columns from the pairs of rows of a half tile: column i into
 * gathered + 2 side i.
 *
 * there, mirror    the first column in the first pair of rows, and its mirror image, whose columns
 *                  run the other way
 * rows, weight     how many rows, in pairs, and their weights
 */
FLECK_WIDE_BODY gather_block_body(const double *restrict there, const double *restrict mirror,
                                  size_t pitch, size_t side, size_t rows,
                                  const double *restrict weight, double *restrict gathered)
{
    for (size_t y = 0; y < rows; y += 2) {
        const double of_row = 0.5 * weight[y], of_below = 0.5 * weight[y + 1];

        for (size_t i = 0; i < FLECK_FOURIER_COLUMNS; i++) {
            const double *const z = there + 2 * i, *const m = mirror - 2 * i;

            part_rows(z, m, of_row, of_below, gathered + 2 * (side * i + y));
        }
        there += 2 * pitch;
        mirror += 2 * pitch;
    }
}

FLECK_WIDE(gather_block,
           (const double *restrict there, const double *restrict mirror, size_t pitch, size_t side,
            size_t rows, const double *restrict weight, double *restrict gathered),
           (there, mirror, pitch, side, rows, weight, gathered))

/* Rows of column kx alone, which may be its own mirror image, from the first one on. */
static void gather_column(const fleck_fourier *fourier, const double *half, size_t kx, size_t first,
                          const double *weight, double *gathered)
{
    const size_t rows = fourier->side_px / 2;
    const double *const z = half + 2 * kx;
    const double *const m = half + 2 * ((fourier->side_px - kx) % fourier->side_px);

    for (size_t y = first; y < rows; y += 2) {
        const size_t place = fourier->pitch * y; /* of the pair y / 2, two values each */
        double parted[4];

        part_rows(z + place, m + place, 0.5 * weight[y], y + 1 < rows ? 0.5 * weight[y + 1] : 0,
                  parted);
        for (size_t i = 0; i < 4 && y + i / 2 < rows; i++)
            gathered[2 * y + i] = parted[i];
    }
}

/* Columns from kx on of one half, whose weights begin there. */
static void gather_half(const fleck_fourier *fourier, const double *half, size_t kx, size_t count,
                        const double *weight, double *gathered)
{
    const size_t side = fourier->side_px;
    size_t done = 0;

    if (kx > 0 && count == FLECK_FOURIER_COLUMNS) {
        done = side / 2 / 2 * 2;
        gather_block_at(fourier->width)(half + 2 * kx, half + 2 * (side - kx), fourier->pitch, side,
                                        done, weight, gathered);
    }
    for (size_t i = 0; i < count && done < side / 2; i++)
        gather_column(fourier, half, kx + i, done, weight, gathered + 2 * side * i);
}

/*
 * Take the level off, behind the transform along rows: there, the window of a row is side / 2 at 0,
 * -side / 4 at 1 and -1, and 0 elsewhere.
 */
static void take_off_level(const fleck_fourier *fourier, double level, double *gathered)
{
    const size_t side = fourier->side_px;
    const double at_0 = level * (double)side / 2, at_1 = -level * (double)side / 4;

    for (size_t y = 0; y < side; y++) {
        gathered[2 * y] -= at_0 * fourier->window[y];
        gathered[2 * (side + y)] -= at_1 * fourier->window[y];
    }
}

FLECK_WIDE_BODY square_body(const double *restrict column, size_t side, double *restrict power)
{
    for (size_t k = 0; k < side; k++)
        power[k] = column[2 * k] * column[2 * k] + column[2 * k + 1] * column[2 * k + 1];
}

FLECK_WIDE(square, (const double *restrict column, size_t side, double *restrict power),
           (column, side, power))

size_t fleck_fourier_columns(const fleck_fourier *fourier, fleck_fourier_work *work, unsigned upper,
                             double level, size_t kx)
{
    const size_t side = fourier->side_px, left = fourier->columns - kx;
    const size_t count = left < FLECK_FOURIER_COLUMNS ? left : FLECK_FOURIER_COLUMNS;

    assert(upper < 2 && (level == 0 || side > 2));
    gather_half(fourier, work->halves[upper], kx, count, fourier->window, work->gathered);
    gather_half(fourier, work->halves[1 - upper], kx, count, fourier->window + side / 2,
                work->gathered + side);
    if (kx == 0 && level != 0)
        take_off_level(fourier, level, work->gathered);
    for (size_t i = 0; i < count; i++) {
        fftw_execute_dft(fourier->plan, (fftw_complex *)(work->gathered + 2 * side * i),
                         (fftw_complex *)work->column);
        square_at(fourier->width)(work->column, side, work->power + side * i);
    }
    return count;
}

void fleck_fourier_free(fleck_fourier *fourier)
{
    if (fourier == NULL)
        return;
    pthread_mutex_lock(&planner_lock);
    fftw_destroy_plan(fourier->plan);
    pthread_mutex_unlock(&planner_lock);
    for (unsigned i = 0; i < fourier->workers; i++) {
        fftw_free(fourier->works[i].two_rows);
        fftw_free(fourier->works[i].halves[0]);
        fftw_free(fourier->works[i].halves[1]);
        fftw_free(fourier->works[i].gathered);
        fftw_free(fourier->works[i].column);
        fftw_free(fourier->works[i].power);
    }
    fleck_free(fourier->works);
    fleck_free(fourier);
}

fleck_status fleck_fourier_new(size_t side_px, const double *window, unsigned workers,
                               fleck_fourier **out, fleck_error *err)
{
    const size_t half_pairs = (side_px / 2 + 1) / 2;
    fleck_fourier *fourier;
    int complete;

    assert(side_px >= 2 && side_px % 2 == 0 && side_px <= FLECK_FOURIER_MAX_SIDE_PX);
    assert(workers >= 1);
    *out = NULL;
    fourier = fleck_alloc_zeroed(1, sizeof *fourier);
    if (fourier == NULL)
        goto no_memory;
    fourier->side_px = side_px;
    fourier->window = window;
    fourier->width = fleck_widest();
    fourier->columns = side_px / 2 + 1;
    /* odd: rows a power of two apart would all fall on the same few lines of the cache */
    fourier->pitch = side_px + 1;
    fourier->works = fleck_alloc_zeroed(workers, sizeof *fourier->works);
    complete = fourier->works != NULL;
    while (complete && fourier->workers < workers) {
        fleck_fourier_work *work = &fourier->works[fourier->workers++];

        work->two_rows = aligned_doubles(side_px, 2);
        work->halves[0] = aligned_doubles(half_pairs, 2 * fourier->pitch);
        work->halves[1] = aligned_doubles(half_pairs, 2 * fourier->pitch);
        work->gathered = aligned_doubles(side_px, 2 * FLECK_FOURIER_COLUMNS);
        work->column = aligned_doubles(side_px, 2);
        work->power = aligned_doubles(side_px, FLECK_FOURIER_COLUMNS);
        complete = work->two_rows != NULL && work->halves[0] != NULL && work->halves[1] != NULL &&
                   work->gathered != NULL && work->column != NULL && work->power != NULL;
    }
    if (complete && make_plan(fourier)) {
        *out = fourier;
        return FLECK_OK;
    }
no_memory:
    fleck_fourier_free(fourier);
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory to transform tiles of %zu px; choose smaller tiles", side_px);
}
