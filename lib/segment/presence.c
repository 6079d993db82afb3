/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pixels are averaged into cells of 2, 4, 8 ... pixels, and each cell is compared with the mean of
 * the 7 x 7 cells around it, which takes uneven light away. The moments of these deviations are
 * summed. Cells that lie at the border have no whole window and serve as neighbours only.
 *
 * Where noise has the grain of the dots, only fine values tell two tones, and only a window wider than
 * the dots tells the tone between them. So the windows of some levels are compared with finer values
 * too: along the diagonal of the cell in their middle, which costs little and samples all columns.
 */
#include "segment/presence_parts.h"

#include <string.h>

#include "core/memory.h"

enum {
    SIDE = PRESENCE_SIDE,
    HALF = SIDE / 2,
    BLOCK = PRESENCE_BLOCK,
    LOOKS_PER_ROW = 128, /* about as many cells of a row are compared: more tell little more */
    MOST_ROW_STEP = 4    /* so that a low wide patch still has rows to look at */
};

static int64_t second_difference(int64_t before, int64_t at, int64_t after)
{
    return before - 2 * at + after;
}

/*
 * Compare a value with its window.
 *
 * value       sum over 2^shift pixels; bends are second differences of such sums
 * box         sum over the whole window, which has SIDE^2 2^box_shift pixels
 */
static void look(struct deviations *into, int64_t value, unsigned shift, int64_t box,
                 unsigned box_shift, int64_t bend_x, int64_t bend_y)
{
    const int64_t far = ((value * SIDE * SIDE) << (box_shift - shift)) - box;
    const double levels = (double)far / (double)(SIDE * SIDE * (INT64_C(1) << box_shift));
    const int64_t u = (int64_t)(levels < 0 ? levels - 0.5 : levels + 0.5);
    const uint64_t bx = (uint64_t)(bend_x < 0 ? -bend_x : bend_x) >> shift;
    const uint64_t by = (uint64_t)(bend_y < 0 ? -bend_y : bend_y) >> shift;
    const uint64_t square = (uint64_t)(u * u); /* |u| < 2^16 */

    into->looks++;
    into->sum += u;
    into->squares += square;
    into->cubes += u * (int64_t)square;
    into->fourths += (wide)square * square;
    into->bends += bx * bx + by * by;
}

/* Whether all cells of a window are inside, from its sums over columns. */
static bool is_whole(const uint8_t *column_counts)
{
    unsigned count = 0;

    for (size_t i = 0; i < SIDE; i++)
        count += column_counts[i];
    return count == SIDE * SIDE;
}

/* The row in the middle of the ring. */
static void look_at_row(struct level *level, unsigned depth)
{
    const size_t middle = (level->rows - 1 - HALF) % SIDE;
    const size_t above = (middle + SIDE - 1) % SIDE, below = (middle + 1) % SIDE;
    const size_t step = (level->width + LOOKS_PER_ROW - 1) / LOOKS_PER_ROW;
    const size_t row_step = step < MOST_ROW_STEP ? step : MOST_ROW_STEP;
    const unsigned shift = 2 * depth + 2; /* a cell has 2^shift pixels */
    const uint32_t *const at = level->ring + middle * level->width;
    const uint32_t *const up = level->ring + above * level->width;
    const uint32_t *const down = level->ring + below * level->width;
    const size_t each = level->fine_each, fine_width = level->width * each;
    const uint32_t *const fine = level->fine + middle * fine_width;
    const uint32_t *const fine_up = level->fine + above * fine_width;
    const uint32_t *const fine_down = level->fine + below * fine_width;

    if (level->rows % row_step != 0)
        return;
    for (size_t x = (HALF + step - 1) / step * step; x + HALF < level->width; x += step) {
        int64_t box = 0;

        if (level->measured != NULL && !is_whole(level->column_counts + x - HALF))
            continue;
        for (size_t i = x - HALF; i <= x + HALF; i++)
            box += level->columns[i];
        look(&level->cells, at[x], shift, box, shift,
             second_difference(at[x - 1], at[x], at[x + 1]),
             second_difference(up[x], at[x], down[x]));
        for (size_t i = x * each; i < (x + 1) * each; i++)
            look(&level->finer, fine[i], level->fine_shift, box, shift,
                 second_difference(fine[i - each], fine[i], fine[i + each]),
                 second_difference(fine_up[i], fine[i], fine_down[i]));
    }
}

static void add_measured(struct level *level, const uint8_t *measured)
{
    uint8_t *const row = level->measured + level->rows % SIDE * level->width;

    for (size_t x = 0; x < level->width; x++) {
        level->column_counts[x] = (uint8_t)(level->column_counts[x] + measured[x] - row[x]);
        row[x] = measured[x];
    }
}

/* The row that lies in presence->fresh. */
static void add_row(fleck_presence *presence, unsigned depth)
{
    struct level *const level = &presence->level[depth];
    const size_t width = level->width, slot = level->rows % SIDE;
    const uint32_t *const sums = presence->fresh.sums;
    uint32_t *const row = level->ring + slot * width, *const columns = level->columns;

    for (size_t x = 0; x < width; x++) {
        columns[x] += sums[x] - row[x]; /* wraps and unwraps */
        row[x] = sums[x];
    }
    if (level->measured != NULL)
        add_measured(level, presence->fresh.measured);
    level->rows++;
    if (level->rows >= SIDE)
        look_at_row(level, depth);
}

/* One row of cells from two of half their size, in presence->fresh. */
static void merge_rows(fleck_presence *presence, const struct level *finer, size_t width)
{
    const size_t upper = (finer->rows - 2) % SIDE * finer->width;
    const size_t lower = (finer->rows - 1) % SIDE * finer->width;
    const uint32_t *const a = finer->ring + upper, *const b = finer->ring + lower;

    for (size_t x = 0; x < width; x++)
        presence->fresh.sums[x] = a[2 * x] + a[2 * x + 1] + b[2 * x] + b[2 * x + 1];
    if (finer->measured != NULL) {
        const uint8_t *const c = finer->measured + upper, *const d = finer->measured + lower;

        for (size_t x = 0; x < width; x++)
            presence->fresh.measured[x] = c[2 * x] & c[2 * x + 1] & d[2 * x] & d[2 * x + 1];
    }
}

/* The finer values that the row of smallest cells in presence->fresh holds. */
static void keep_fine(fleck_presence *presence)
{
    for (unsigned depth = 0; depth < presence->levels; depth++) {
        struct level *const level = &presence->level[depth];
        const size_t each = level->fine_each, width = level->width * each;
        uint32_t *const row = level->fine + level->rows % SIDE * width;
        const uint32_t *const from = depth == 0 ? presence->fresh.corners : presence->fresh.sums;

        for (size_t x = each > 0 ? presence->level[0].rows % each : width; x < width; x += each)
            row[x] = from[x];
    }
}

static void keep_whole(fleck_presence *presence)
{
    struct whole *const whole = &presence->whole;
    const size_t width = presence->width_px / 2;

    if (whole->rows < whole->room) {
        memcpy(whole->sums + whole->rows * width, presence->fresh.sums, width * sizeof *whole->sums);
        if (whole->measured != NULL)
            memcpy(whole->measured + whole->rows * width, presence->fresh.measured, width);
    }
    whole->rows++;
}

/* Hand the row in presence->fresh on as far up as it completes cells. */
static void add_cells(fleck_presence *presence)
{
    keep_whole(presence);
    keep_fine(presence);
    for (unsigned i = 0; i < presence->levels; i++) {
        add_row(presence, i);
        if (presence->level[i].rows % 2 != 0 || i + 1 == presence->levels)
            return;
        merge_rows(presence, &presence->level[i], presence->level[i + 1].width);
    }
}

static void add_step(uint16_t one, uint16_t other, uint32_t *sum, uint64_t *squares)
{
    const uint32_t step = one > other ? (uint32_t)one - other : (uint32_t)other - one;

    *sum += step;
    *squares += step * step; /* below 2^32 */
}

/* Sums of steps between neighbours and of their squares, by place in a block of 8 columns. */
static void add_steps(fleck_presence *presence, const uint16_t *q, const fleck_run *inside)
{
    enum { STRETCH_PX = 1 << 15 }; /* 2^12 steps of a place stay below 2^32 */

    for (size_t from = (size_t)inside->start_px + 1; from < inside->end_px;) {
        const size_t stretch = (from / STRETCH_PX + 1) * STRETCH_PX;
        const size_t end = inside->end_px < stretch ? inside->end_px : stretch;
        uint32_t sums[BLOCK] = { 0 };
        uint64_t squares[BLOCK] = { 0 };
        size_t x = from;

        for (; x < end && x % BLOCK != 0; x++)
            add_step(q[x], q[x - 1], &sums[x % BLOCK], &squares[x % BLOCK]);
        for (; x + BLOCK <= end; x += BLOCK) {
            for (size_t i = 0; i < BLOCK; i++)
                add_step(q[x + i], q[x + i - 1], &sums[i], &squares[i]);
        }
        for (; x < end; x++)
            add_step(q[x], q[x - 1], &sums[x % BLOCK], &squares[x % BLOCK]);
        for (size_t i = 0; i < BLOCK; i++) {
            presence->steps[i] += sums[i];
            presence->step_squares[i] += squares[i];
            /* columns of place i in from to end - 1 */
            presence->step_count[i] +=
                (end + BLOCK - 1 - i) / BLOCK - (from + BLOCK - 1 - i) / BLOCK;
        }
        from = end;
    }
}

static void mark(uint8_t *marks, size_t width_px, const fleck_run *inside, size_t count)
{
    memset(marks, 0, width_px);
    for (size_t i = 0; i < count; i++)
        memset(marks + inside[i].start_px, 1, inside[i].end_px - inside[i].start_px);
}

void fleck_presence_row(fleck_presence *presence, const uint16_t *q, const fleck_run *inside,
                        size_t inside_count)
{
    const fleck_run whole = { 0, (uint32_t)presence->width_px };
    const bool masked = presence->marks != NULL;
    const uint16_t *const upper = presence->upper;
    const uint8_t *const above = presence->upper_marks, *const marks = presence->marks;

    presence->rows++;
    if (presence->rows % 2 != 0) {
        memcpy(presence->upper, q, presence->width_px * sizeof *q);
        if (masked)
            mark(presence->upper_marks, presence->width_px, inside, inside_count);
        for (size_t i = 0; i < (masked ? inside_count : 1); i++)
            add_steps(presence, q, masked ? &inside[i] : &whole);
        return;
    }
    for (size_t x = 0; x < presence->width_px / 2; x++) {
        presence->fresh.sums[x] =
            (uint32_t)upper[2 * x] + upper[2 * x + 1] + q[2 * x] + q[2 * x + 1];
        presence->fresh.corners[x] = upper[2 * x];
    }
    if (masked) {
        mark(presence->marks, presence->width_px, inside, inside_count);
        for (size_t x = 0; x < presence->width_px / 2; x++)
            presence->fresh.measured[x] =
                above[2 * x] & above[2 * x + 1] & marks[2 * x] & marks[2 * x + 1];
    }
    add_cells(presence);
}

static bool new_level(struct level *level, size_t width, unsigned depth, bool masked)
{
    /* pixels against windows of 14 of them, cells of 2 pixels against windows of 56 and 112 */
    static const struct {
        unsigned each, shift;
    } fine[PRESENCE_LEVELS] = { [0] = { 1, 0 }, [2] = { 4, 2 }, [3] = { 8, 2 } };
    size_t count, fine_count;

    if (!size_mul(width, SIDE, &count) || !size_mul(count, fine[depth].each, &fine_count))
        return false;
    level->width = width;
    level->fine_each = fine[depth].each;
    level->fine_shift = fine[depth].shift;
    level->ring = fleck_alloc_zeroed(count, sizeof *level->ring);
    level->columns = fleck_alloc_zeroed(width, sizeof *level->columns);
    level->fine = fleck_alloc_zeroed(fine_count, sizeof *level->fine);
    if (masked) {
        level->measured = fleck_alloc_zeroed(count, sizeof *level->measured);
        level->column_counts = fleck_alloc_zeroed(width, sizeof *level->column_counts);
    }
    return level->ring != NULL && level->columns != NULL && level->fine != NULL &&
           ((level->measured != NULL && level->column_counts != NULL) || !masked);
}

static bool new_whole(struct whole *whole, size_t width, bool masked)
{
    const size_t count = width > 0 ? PRESENCE_WHOLE / width * width : 0;

    if (count == 0)
        return true;
    whole->room = count / width;
    whole->sums = fleck_alloc_array(count, sizeof *whole->sums);
    whole->rest = fleck_alloc_array(count, sizeof *whole->rest);
    if (masked)
        whole->measured = fleck_alloc_array(count, sizeof *whole->measured);
    return whole->sums != NULL && whole->rest != NULL && (whole->measured != NULL || !masked);
}

static bool new_rows(fleck_presence *presence, bool masked)
{
    const size_t width_px = presence->width_px, cells = width_px / 2 + 1;

    presence->upper = fleck_alloc_array(width_px, sizeof *presence->upper);
    presence->fresh.sums = fleck_alloc_array(cells, sizeof *presence->fresh.sums);
    presence->fresh.corners = fleck_alloc_array(cells, sizeof *presence->fresh.corners);
    if (masked) {
        presence->upper_marks = fleck_alloc_array(width_px, sizeof *presence->upper_marks);
        presence->marks = fleck_alloc_array(width_px, sizeof *presence->marks);
        presence->fresh.measured = fleck_alloc_array(cells, sizeof *presence->fresh.measured);
    }
    return presence->upper != NULL && presence->fresh.sums != NULL &&
           presence->fresh.corners != NULL &&
           ((presence->upper_marks != NULL && presence->marks != NULL &&
             presence->fresh.measured != NULL) ||
            !masked);
}

fleck_status fleck_presence_new(size_t width_px, bool masked, fleck_presence **out,
                                fleck_error *err)
{
    fleck_presence *presence;
    fleck_status status = FLECK_OK;
    bool whole;

    *out = NULL;
    if (width_px < 1 || width_px > INT32_MAX)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "rows of %zu pixels cannot be looked at; give a region of 1 to 2^31 - 1",
                          width_px);
    presence = fleck_alloc_zeroed(1, sizeof *presence);
    if (presence != NULL)
        presence->width_px = width_px;
    whole = presence != NULL && new_rows(presence, masked) &&
            new_whole(&presence->whole, width_px / 2, masked);
    for (size_t width = width_px / 2; whole && width >= SIDE && presence->levels < PRESENCE_LEVELS;
         width /= 2) {
        whole = new_level(&presence->level[presence->levels], width, (unsigned)presence->levels, masked);
        presence->levels++;
    }
    if (whole) {
        *out = presence;
        presence = NULL;
    } else {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory to measure this patch; give a smaller --region");
    }
    fleck_presence_free(presence);
    return status;
}

void fleck_presence_free(fleck_presence *presence)
{
    if (presence == NULL)
        return;
    for (size_t i = 0; i < PRESENCE_LEVELS; i++) {
        struct level *const level = &presence->level[i];

        fleck_free(level->ring);
        fleck_free(level->columns);
        fleck_free(level->fine);
        fleck_free(level->measured);
        fleck_free(level->column_counts);
    }
    fleck_free(presence->whole.sums);
    fleck_free(presence->whole.measured);
    fleck_free(presence->whole.rest);
    fleck_free(presence->upper);
    fleck_free(presence->upper_marks);
    fleck_free(presence->marks);
    fleck_free(presence->fresh.sums);
    fleck_free(presence->fresh.corners);
    fleck_free(presence->fresh.measured);
    fleck_free(presence);
}
