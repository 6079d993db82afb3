/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * FFTW behind a fence. Rows are transformed one by one out of the first-level cache, columns in
 * small blocks that are used while they are still there; a plan for the whole tile would go through
 * memory once more. FFTW_ESTIMATE, because plans that are chosen by the clock give other last
 * digits each run.
 */
#include "measure/fourier.h"

#include <assert.h>
#include <fftw3.h>
#include <pthread.h>

#include "core/memory.h"

struct fleck_fourier {
    size_t side_px;
    size_t columns;   /* side_px / 2 + 1: the rest follows by symmetry */
    size_t pitch;     /* pairs from one transformed row to the next */
    unsigned workers; /* as many works as are allocated */
    fleck_fourier_work *works;
    fftw_plan row_plan;
    fftw_plan block_plan; /* NULL when there are fewer columns than a block */
    fftw_plan rest_plan;  /* the last, incomplete block; NULL when there is none */
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

static fftw_plan plan_columns(const fleck_fourier *fourier, size_t count)
{
    const int side = (int)fourier->side_px;

    return fftw_plan_many_dft(1, &side, (int)count, (fftw_complex *)fourier->works[0].rows, NULL,
                              (int)fourier->pitch, 1, (fftw_complex *)fourier->works[0].column,
                              NULL, 1, side, FFTW_FORWARD, FFTW_ESTIMATE);
}

/*
 * FFTW's planner ends the process when it finds no memory. So more than it needs is taken and given
 * back first, where a failure can still be said. Measured with FFTW 3.3.10: at most 0.8 MB for sides
 * up to 4096 pixels; tables of factors grow with the side.
 */
static int planner_has_room(size_t side_px)
{
    void *const room = fftw_malloc((1u << 20) + 256 * side_px); /* a compiler may leave out malloc */

    fftw_free(room);
    return room != NULL;
}

static int make_plans(fleck_fourier *fourier)
{
    const size_t rest = fourier->columns % FLECK_FOURIER_COLUMNS;
    const int has_block = fourier->columns >= FLECK_FOURIER_COLUMNS;

    if (!planner_has_room(fourier->side_px))
        return 0;
    pthread_mutex_lock(&planner_lock);
    fourier->row_plan = fftw_plan_dft_r2c_1d((int)fourier->side_px, fourier->works[0].row,
                                             (fftw_complex *)fourier->works[0].rows, FFTW_ESTIMATE);
    if (has_block)
        fourier->block_plan = plan_columns(fourier, FLECK_FOURIER_COLUMNS);
    if (rest > 0)
        fourier->rest_plan = plan_columns(fourier, rest);
    pthread_mutex_unlock(&planner_lock);
    return fourier->row_plan != NULL && (!has_block || fourier->block_plan != NULL) &&
           (rest == 0 || fourier->rest_plan != NULL);
}

fleck_fourier_work *fleck_fourier_get_work(const fleck_fourier *fourier, unsigned worker)
{
    assert(worker < fourier->workers);
    return &fourier->works[worker];
}

void fleck_fourier_row(const fleck_fourier *fourier, fleck_fourier_work *work, size_t y)
{
    fftw_execute_dft_r2c(fourier->row_plan, work->row,
                         (fftw_complex *)(work->rows + 2 * fourier->pitch * y));
}

size_t fleck_fourier_columns(const fleck_fourier *fourier, fleck_fourier_work *work, size_t kx)
{
    const size_t left = fourier->columns - kx;
    const int whole = left >= FLECK_FOURIER_COLUMNS;

    fftw_execute_dft(whole ? fourier->block_plan : fourier->rest_plan,
                     (fftw_complex *)(work->rows + 2 * kx), (fftw_complex *)work->column);
    return whole ? FLECK_FOURIER_COLUMNS : left;
}

void fleck_fourier_free(fleck_fourier *fourier)
{
    if (fourier == NULL)
        return;
    pthread_mutex_lock(&planner_lock);
    fftw_destroy_plan(fourier->row_plan);
    fftw_destroy_plan(fourier->block_plan);
    fftw_destroy_plan(fourier->rest_plan);
    pthread_mutex_unlock(&planner_lock);
    for (unsigned i = 0; i < fourier->workers; i++) {
        fftw_free(fourier->works[i].row);
        fftw_free(fourier->works[i].rows);
        fftw_free(fourier->works[i].column);
    }
    fleck_free(fourier->works);
    fleck_free(fourier);
}

fleck_status fleck_fourier_new(size_t side_px, unsigned workers, fleck_fourier **out,
                               fleck_error *err)
{
    fleck_fourier *fourier;
    int complete;

    assert(side_px >= 2 && side_px % 2 == 0 && side_px <= FLECK_FOURIER_MAX_SIDE_PX);
    assert(workers >= 1);
    *out = NULL;
    fourier = fleck_alloc_zeroed(1, sizeof *fourier);
    if (fourier == NULL)
        goto no_memory;
    fourier->side_px = side_px;
    fourier->columns = side_px / 2 + 1;
    /* odd: rows a power of two apart would all fall on the same few lines of the cache */
    fourier->pitch = fourier->columns | 1;
    fourier->works = fleck_alloc_zeroed(workers, sizeof *fourier->works);
    complete = fourier->works != NULL;
    while (complete && fourier->workers < workers) {
        fleck_fourier_work *work = &fourier->works[fourier->workers++];

        work->row = aligned_doubles(side_px, 1);
        work->rows = aligned_doubles(side_px, 2 * fourier->pitch);
        work->column = aligned_doubles(side_px, 2 * FLECK_FOURIER_COLUMNS);
        complete = work->row != NULL && work->rows != NULL && work->column != NULL;
    }
    if (complete && make_plans(fourier)) {
        *out = fourier;
        return FLECK_OK;
    }
no_memory:
    fleck_fourier_free(fourier);
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory to transform tiles of %zu px; choose smaller tiles", side_px);
}
