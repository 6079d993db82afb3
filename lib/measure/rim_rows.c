/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The nearest pixel of the other kind in each column comes from one sweep down and one up a strip of
 * rows and the rows within reach of it; the nearest in a row from trying all columns within reach,
 * which at reaches of some pixels is faster than any cleverness, as many pixels are tried at once.
 * Of equally near ink that above and to the left is taken.
 *
 * What lies beyond the region or its mask is of neither kind.
 */
#include "measure/rim_rows.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "core/spill.h"
#include "core/wide.h"
#include "segment/mask_words.h"

enum {
    STRIP_PX = 1 << 18, /* pixels of a strip of ordinary width, 9 bytes each */
    LEAST_STRIP_ROWS = 16,
    LEAST_BAND_ROWS = 128, /* a lower one spends its time on the rows within reach of it */
    STEPS_FAR = UINT8_MAX /* beyond any reach: no such pixel in this column */
};

static_assert((int)FLECK_RIM_MOST_PX < (int)STEPS_FAR, "a reach is not far");

enum kind { BARE, INK, OUTSIDE };

/* The largest sum of two squares is below FLECK_RIM_FAR, and twice it fits as well. */
static const int16_t square_far = 16000;

/* A run of a blob, among those of its row. */
struct owned_run {
    uint32_t start_px, end_px;
    int32_t blob;
};

/* Runs of all blobs by row. */
struct sorted_runs {
    struct owned_run *runs;
    size_t *row_runs; /* first of a row; height + 1 of them */
};

struct strip {
    const fleck_dot_tone_input *input;
    const struct sorted_runs *sorted;
    size_t width, reach_x, reach_y;
    int16_t *square_x, *square_y; /* of steps from 0 to the reach */
    bool is_square;               /* the pixel, so that these are squares of whole numbers */
    size_t first_row, rows;       /* in the planes */
    size_t plane_rows;
    uint16_t *q;
    uint8_t *kind;
    uint8_t *to_ink, *to_bare; /* steps to the nearest in the column */
    int32_t *owner;            /* of the nearest ink in the column */
    int16_t *from_ink, *from_bare; /* squares by column of one row, with the reach at both ends */
    int16_t *best, *best_ink, *offset;
    int32_t *row_owner;
};

double fleck_rim_per_mm2(const fleck_geometry *geometry, double reach_mm)
{
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    const double finest = (double)square_far / (reach_mm * reach_mm);
    const double whole = 1 / (px * px);

    /* square pixels: squares are whole numbers of pixels, exactly */
    return px < py || px > py ? fmin(finest, 64 / (px * py)) : whole;
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for the rims of dots; measure a smaller region");
}

/* Counted, then put in place. */
static bool sort_runs(const fleck_dot_tone_input *input, struct sorted_runs *sorted)
{
    const size_t height = input->geometry->height_px;
    size_t count = 0;

    sorted->row_runs = fleck_alloc_zeroed(height + 2, sizeof *sorted->row_runs);
    if (sorted->row_runs == NULL)
        return false;
    for (size_t i = 0; i < input->n; i++) {
        fleck_spill_let_go();
        for (size_t j = 0; j < input->blobs[i].run_count; j++)
            sorted->row_runs[input->blobs[i].runs[j].y_px + 2]++;
        count += input->blobs[i].run_count;
    }
    for (size_t y = 2; y < height + 2; y++)
        sorted->row_runs[y] += sorted->row_runs[y - 1];
    sorted->runs = fleck_alloc_array(count, sizeof *sorted->runs);
    if (sorted->runs == NULL)
        return false;
    for (size_t i = 0; i < input->n; i++) {
        fleck_spill_let_go();
        for (size_t j = 0; j < input->blobs[i].run_count; j++) {
            const fleck_blob_run *const run = &input->blobs[i].runs[j];

            sorted->runs[sorted->row_runs[run->y_px + 1]++] =
                (struct owned_run){ run->start_px, run->end_px, (int32_t)i };
        }
    }
    return true;
}

static bool reserve(struct strip *strip)
{
    const size_t padded = strip->width + 2 * strip->reach_x;
    size_t pixels;

    if (!size_mul(strip->width, strip->plane_rows, &pixels))
        return false;
    strip->square_x = fleck_alloc_array(strip->reach_x + 1, sizeof *strip->square_x);
    strip->square_y = fleck_alloc_array(strip->reach_y + 1, sizeof *strip->square_y);
    strip->q = fleck_alloc_array(pixels, sizeof *strip->q);
    strip->kind = fleck_alloc_array(pixels, sizeof *strip->kind);
    strip->to_ink = fleck_alloc_array(pixels, sizeof *strip->to_ink);
    strip->to_bare = fleck_alloc_array(pixels, sizeof *strip->to_bare);
    strip->owner = fleck_alloc_array(pixels, sizeof *strip->owner);
    strip->from_ink = fleck_alloc_array(padded, sizeof *strip->from_ink);
    strip->from_bare = fleck_alloc_array(padded, sizeof *strip->from_bare);
    strip->best = fleck_alloc_array(strip->width, sizeof *strip->best);
    strip->best_ink = fleck_alloc_array(strip->width, sizeof *strip->best_ink);
    strip->offset = fleck_alloc_array(strip->width, sizeof *strip->offset);
    strip->row_owner = fleck_alloc_array(strip->width, sizeof *strip->row_owner);
    return strip->square_x != NULL && strip->square_y != NULL && strip->q != NULL &&
           strip->kind != NULL && strip->to_ink != NULL && strip->to_bare != NULL && strip->owner != NULL && strip->from_ink != NULL &&
           strip->from_bare != NULL && strip->best != NULL && strip->best_ink != NULL &&
           strip->offset != NULL && strip->row_owner != NULL;
}

static void strip_clear(struct strip *strip)
{
    fleck_free(strip->square_x);
    fleck_free(strip->square_y);
    fleck_free(strip->q);
    fleck_free(strip->kind);
    fleck_free(strip->to_ink);
    fleck_free(strip->to_bare);
    fleck_free(strip->owner);
    fleck_free(strip->from_ink);
    fleck_free(strip->from_bare);
    fleck_free(strip->best);
    fleck_free(strip->best_ink);
    fleck_free(strip->offset);
    fleck_free(strip->row_owner);
}

static void fill_squares(int16_t *square, size_t reach, double pixel_mm, double per_mm2)
{
    for (size_t i = 0; i <= reach; i++) {
        const double mm = (double)i * pixel_mm;

        square[i] = (int16_t)fmin(square_far, floor(mm * mm * per_mm2 + 0.5));
    }
}

static bool are_squares(const int16_t *square, size_t reach)
{
    bool are = true;

    for (size_t i = 0; i <= reach; i++)
        are = are && (size_t)square[i] == i * i;
    return are;
}

/* Planes from first_row on; rows that are there already move up. */
static fleck_status load(struct strip *strip, size_t first_row, size_t rows, fleck_error *err)
{
    const size_t last_end = strip->first_row + strip->rows;
    size_t kept = 0;

    if (first_row < last_end) {
        kept = last_end - first_row;
        memmove(strip->q, strip->q + (first_row - strip->first_row) * strip->width,
                kept * strip->width * sizeof *strip->q);
    }
    strip->first_row = first_row;
    strip->rows = rows;
    for (size_t i = kept; i < rows; i++) {
        const fleck_status status = strip->input->read(strip->input->context, first_row + i,
                                                       strip->q + i * strip->width, err);

        if (status != FLECK_OK)
            return status;
    }
    return FLECK_OK;
}

/* Ink or bare, and so far nobody's. */
FLECK_WIDE_BODY find_kinds_body(const uint16_t *restrict q, size_t width, unsigned k,
                                bool ink_is_low, uint8_t *restrict kind, int32_t *restrict owner)
{
    const uint16_t level = (uint16_t)k;

    for (size_t x = 0; x < width; x++)
        kind[x] = (q[x] <= level) == ink_is_low ? INK : BARE;
    for (size_t x = 0; x < width; x++)
        owner[x] = FLECK_OWNER_NOBODY;
}

FLECK_WIDE(find_kinds,
           (const uint16_t *restrict q, size_t width, unsigned k, bool ink_is_low,
            uint8_t *restrict kind, int32_t *restrict owner),
           (q, width, k, ink_is_low, kind, owner))

/* Kinds of a row's pixels, and owners of its own ink. */
static void look_at_row(struct strip *strip, size_t row)
{
    const fleck_dot_tone_input *const input = strip->input;
    const uint16_t *const q = strip->q + row * strip->width;
    uint8_t *const kind = strip->kind + row * strip->width;
    int32_t *const owner = strip->owner + row * strip->width;
    const size_t y = strip->first_row + row;
    const size_t width = strip->width;
    fleck_run inside = { 0, 0 };

    find_kinds_at(fleck_widest())(q, width, input->cut.k, fleck_rim_is_ink(input, 0), kind, owner);
    for (size_t i = strip->sorted->row_runs[y]; i < strip->sorted->row_runs[y + 1]; i++) {
        const struct owned_run *const run = &strip->sorted->runs[i];

        for (size_t x = run->start_px; x < run->end_px; x++)
            owner[x] = run->blob;
    }
    if (input->mask == NULL)
        return;
    for (size_t x = 0; x < width; x = inside.end_px) {
        const size_t gap = x;

        if (!fleck_mask_next_run(input->mask, y, x, &inside))
            inside = (fleck_run){ (uint32_t)width, (uint32_t)width };
        memset(kind + gap, OUTSIDE, inside.start_px - gap);
    }
}

/* One step more. */
static inline uint8_t step_on(uint8_t steps)
{
    return (uint8_t)(steps + (steps < STEPS_FAR));
}

/* Steps to the nearest of each kind in a row from those in the row above, or STEPS_FAR. */
FLECK_WIDE_BODY step_down_body(const uint8_t *restrict kind, const uint8_t *above_ink,
                               const uint8_t *above_bare, const int32_t *above_owner, size_t width,
                               uint8_t *to_ink, uint8_t *to_bare, int32_t *owner)
{
    for (size_t x = 0; x < width; x++) {
        const uint8_t ink = step_on(above_ink[x]), bare = step_on(above_bare[x]);

        to_ink[x] = kind[x] == INK ? 0 : ink;
        to_bare[x] = kind[x] == BARE ? 0 : bare;
    }
    for (size_t x = 0; x < width; x++)
        owner[x] = kind[x] == INK ? owner[x] : above_owner[x];
}

FLECK_WIDE(step_down,
           (const uint8_t *restrict kind, const uint8_t *above_ink, const uint8_t *above_bare,
            const int32_t *above_owner, size_t width, uint8_t *to_ink, uint8_t *to_bare,
            int32_t *owner),
           (kind, above_ink, above_bare, above_owner, width, to_ink, to_bare, owner))

static void sweep_down(struct strip *strip)
{
    step_down_function *const step_down = step_down_at(fleck_widest());
    const size_t w = strip->width;

    for (size_t row = 0; row < strip->rows; row++) {
        const uint8_t *const kind = strip->kind + row * w;
        uint8_t *const to_ink = strip->to_ink + row * w, *const to_bare = strip->to_bare + row * w;
        int32_t *const owner = strip->owner + row * w;

        look_at_row(strip, row);
        if (row > 0) {
            step_down(kind, to_ink - w, to_bare - w, owner - w, w, to_ink, to_bare, owner);
            continue;
        }
        for (size_t x = 0; x < w; x++) {
            to_ink[x] = kind[x] == INK ? 0 : STEPS_FAR;
            to_bare[x] = kind[x] == BARE ? 0 : STEPS_FAR;
        }
    }
}

/* What lies below counts where it is nearer. */
FLECK_WIDE_BODY step_up_body(const uint8_t *below_ink, const uint8_t *below_bare,
                             const int32_t *below_owner, size_t width, uint8_t *to_ink,
                             uint8_t *to_bare, int32_t *owner)
{
    for (size_t x = 0; x < width; x++)
        owner[x] = below_ink[x] + 1 < to_ink[x] ? below_owner[x] : owner[x];
    for (size_t x = 0; x < width; x++) {
        const uint8_t ink = step_on(below_ink[x]), bare = step_on(below_bare[x]);

        to_ink[x] = ink < to_ink[x] ? ink : to_ink[x];
        to_bare[x] = bare < to_bare[x] ? bare : to_bare[x];
    }
}

FLECK_WIDE(step_up,
           (const uint8_t *below_ink, const uint8_t *below_bare, const int32_t *below_owner,
            size_t width, uint8_t *to_ink, uint8_t *to_bare, int32_t *owner),
           (below_ink, below_bare, below_owner, width, to_ink, to_bare, owner))

static void sweep_up(struct strip *strip)
{
    step_up_function *const step_up = step_up_at(fleck_widest());
    const size_t w = strip->width;

    for (size_t row = strip->rows - 1; row-- > 0;) {
        uint8_t *const to_ink = strip->to_ink + row * w, *const to_bare = strip->to_bare + row * w;
        int32_t *const owner = strip->owner + row * w;

        step_up(to_ink + w, to_bare + w, owner + w, w, to_ink, to_bare, owner);
    }
}

/* Squares of steps where pixels are square. */
FLECK_WIDE_BODY square_steps_body(const uint8_t *restrict steps, size_t width, int16_t most,
                                  int16_t *restrict square)
{
    for (size_t x = 0; x < width; x++) {
        const int16_t product = (int16_t)((uint16_t)steps[x] * (uint16_t)steps[x]);

        square[x] = steps[x] <= most ? product : square_far;
    }
}

FLECK_WIDE(square_steps,
           (const uint8_t *restrict steps, size_t width, int16_t most, int16_t *restrict square),
           (steps, width, most, square))

/* Squares in each column, of a row, to the nearest of a kind. */
static void square_columns(const struct strip *strip, const uint8_t *steps, int16_t *square)
{
    const size_t reach = strip->reach_x;
    const int16_t most = (int16_t)strip->reach_y;

    for (size_t x = 0; x < reach; x++)
        square[x] = square[reach + strip->width + x] = square_far;
    if (strip->is_square) {
        square_steps_at(fleck_widest())(steps, strip->width, most, square + reach);
        return;
    }
    for (size_t x = 0; x < strip->width; x++)
        square[reach + x] = steps[x] <= most ? strip->square_y[steps[x]] : square_far;
}

/* What the columns have to offer that lie `at` to the right, given squares from there on. */
FLECK_WIDE_BODY try_columns_body(const int16_t *restrict from_ink, const int16_t *restrict from_bare,
                                 size_t width, int16_t square, int16_t at,
                                 int16_t *restrict best_ink, int16_t *restrict best,
                                 int16_t *restrict offset)
{
    for (size_t x = 0; x < width; x++) {
        const int16_t ink = (int16_t)(from_ink[x] + square);
        const int16_t bare = (int16_t)(from_bare[x] + square);

        offset[x] = ink < best_ink[x] ? at : offset[x];
        best_ink[x] = ink < best_ink[x] ? ink : best_ink[x];
        best[x] = bare < best[x] ? bare : best[x];
    }
}

FLECK_WIDE(try_columns,
           (const int16_t *restrict from_ink, const int16_t *restrict from_bare, size_t width,
            int16_t square, int16_t at, int16_t *restrict best_ink, int16_t *restrict best,
            int16_t *restrict offset),
           (from_ink, from_bare, width, square, at, best_ink, best, offset))

static void try_all_columns(struct strip *strip)
{
    try_columns_function *const try_columns = try_columns_at(fleck_widest());
    const int16_t *const ink = strip->from_ink + strip->reach_x;
    const int16_t *const bare = strip->from_bare + strip->reach_x;

    for (size_t steps = 0; steps <= strip->reach_x; steps++) {
        const int16_t square = strip->square_x[steps], at = (int16_t)steps;

        try_columns(ink - steps, bare - steps, strip->width, square, (int16_t)-at, strip->best_ink,
                    strip->best, strip->offset);
        if (steps > 0)
            try_columns(ink + steps, bare + steps, strip->width, square, at, strip->best_ink,
                        strip->best, strip->offset);
    }
}

/* From the columns to the row: squares and owners of its pixels. */
static void finish_row(struct strip *strip, size_t row, int16_t reach_square)
{
    const uint8_t *const kind = strip->kind + row * strip->width;
    const int32_t *const owner = strip->owner + row * strip->width;

    square_columns(strip, strip->to_ink + row * strip->width, strip->from_ink);
    square_columns(strip, strip->to_bare + row * strip->width, strip->from_bare);
    for (size_t x = 0; x < strip->width; x++) {
        strip->best[x] = strip->best_ink[x] = FLECK_RIM_FAR;
        strip->offset[x] = 0;
    }
    try_all_columns(strip);
    for (size_t x = 0; x < strip->width; x++) {
        const int16_t square = kind[x] == INK ? strip->best[x] : strip->best_ink[x];
        const bool far = square > reach_square;

        strip->best[x] = far ? FLECK_RIM_FAR : square;
        if (kind[x] == OUTSIDE)
            strip->row_owner[x] = FLECK_OWNER_MASKED;
        else if (kind[x] == INK)
            strip->row_owner[x] = owner[x];
        else
            strip->row_owner[x] =
                far ? FLECK_OWNER_NONE : owner[(ptrdiff_t)x + strip->offset[x]];
    }
}

size_t fleck_rim_bands(const fleck_geometry *geometry, unsigned threads)
{
    const size_t most = geometry->height_px / LEAST_BAND_ROWS;
    const size_t wanted = threads < FLECK_RIM_MOST_BANDS ? threads : FLECK_RIM_MOST_BANDS;
    const size_t bands = wanted < most ? wanted : most;

    return bands > 1 ? bands : 1;
}

size_t fleck_rim_band_row(const fleck_geometry *geometry, size_t bands, size_t band)
{
    return geometry->height_px / bands * band + geometry->height_px % bands * band / bands;
}

/* A band of rows as a task. */
struct band {
    const fleck_dot_tone_input *input;
    const struct sorted_runs *sorted;
    double reach_mm;
    size_t number, first_row, end_row;
    void (*visit)(void *context, size_t band, const fleck_rim_row *row);
    void *context;
};

static size_t choose_strip_rows(const struct strip *strip, size_t band_rows)
{
    size_t rows = STRIP_PX / strip->width;

    if (rows < LEAST_STRIP_ROWS)
        rows = LEAST_STRIP_ROWS;
    if (rows < 2 * strip->reach_y)
        rows = 2 * strip->reach_y;
    return rows < band_rows ? rows : band_rows;
}

static fleck_status visit_band(void *context, fleck_error *err)
{
    const struct band *const band = context;
    const fleck_geometry *const geometry = band->input->geometry;
    const size_t height = geometry->height_px;
    const double per_mm2 = fleck_rim_per_mm2(geometry, band->reach_mm);
    const int16_t reach_square =
        (int16_t)fmin(square_far - 1, floor(band->reach_mm * band->reach_mm * per_mm2 + 0.5));
    struct strip strip = { .input = band->input,
                           .sorted = band->sorted,
                           .width = geometry->width_px };
    size_t strip_rows;
    fleck_status status = FLECK_OK;

    strip.reach_x = (size_t)fmin(FLECK_RIM_MOST_PX, floor(band->reach_mm / geometry->pixel_x_mm));
    strip.reach_y = (size_t)fmin(FLECK_RIM_MOST_PX, floor(band->reach_mm / geometry->pixel_y_mm));
    strip_rows = choose_strip_rows(&strip, band->end_row - band->first_row);
    strip.plane_rows = strip_rows + 2 * strip.reach_y;
    if (!reserve(&strip)) {
        status = no_memory(err);
        goto done;
    }
    fill_squares(strip.square_x, strip.reach_x, geometry->pixel_x_mm, per_mm2);
    fill_squares(strip.square_y, strip.reach_y, geometry->pixel_y_mm, per_mm2);
    strip.is_square = are_squares(strip.square_y, strip.reach_y);
    for (size_t y = band->first_row; y < band->end_row && status == FLECK_OK; y += strip_rows) {
        const size_t first = y > strip.reach_y ? y - strip.reach_y : 0;
        const size_t strip_end = band->end_row - y > strip_rows ? y + strip_rows : band->end_row;
        const size_t end = height - strip_end > strip.reach_y ? strip_end + strip.reach_y : height;

        status = load(&strip, first, end - first, err);
        if (status != FLECK_OK)
            break;
        sweep_down(&strip);
        sweep_up(&strip);
        for (size_t row = y; row < strip_end; row++) {
            const fleck_rim_row out = { row, strip.q + (row - first) * strip.width,
                                        strip.row_owner, strip.best };

            fleck_spill_let_go();
            finish_row(&strip, row - first, reach_square);
            band->visit(band->context, band->number, &out);
        }
    }
done:
    strip_clear(&strip);
    return status;
}

fleck_status fleck_rim_rows(const fleck_dot_tone_input *input, double reach_mm, size_t bands,
                            void (*visit)(void *context, size_t band, const fleck_rim_row *row),
                            void *context, fleck_error *err)
{
    struct sorted_runs sorted = { NULL, NULL };
    struct band band[FLECK_RIM_MOST_BANDS];
    fleck_task tasks[FLECK_RIM_MOST_BANDS];
    fleck_status status;

    assert(bands >= 1 && bands <= FLECK_RIM_MOST_BANDS);
    for (size_t i = 0; i < bands; i++) {
        band[i] = (struct band){ .input = input,
                                 .sorted = &sorted,
                                 .reach_mm = reach_mm,
                                 .number = i,
                                 .first_row = fleck_rim_band_row(input->geometry, bands, i),
                                 .end_row = fleck_rim_band_row(input->geometry, bands, i + 1),
                                 .visit = visit,
                                 .context = context };
        tasks[i] = (fleck_task){ .run = visit_band, .context = &band[i] };
    }
    status = sort_runs(input, &sorted) ? fleck_tasks_run(tasks, bands, (unsigned)bands, err)
                                       : no_memory(err);
    fleck_free(sorted.runs);
    fleck_free(sorted.row_runs);
    return status;
}
