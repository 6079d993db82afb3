/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The search goes over all shifts by whole cells and over turns in steps that move a corner by one cell.
 * Its sums are of 16-bit integers, which the compiler does several at a time and whose order does not matter:
 * for shifts this short that is faster than a Fourier transform. From the best place the search goes on in
 * halves and quarters of a cell, between which the second print is interpolated.
 */
#include "study/registration.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "core/memory.h"

/*
 * Squares of a patch's fifth, 10 to 30 cells. What touches a square's border is part of a dot next door; a rim
 * of 3 cells is left out where the correlation is taken.
 */
enum { SQUARES_ALONG = 5, LEAST_SQUARE = 10, MOST_SQUARE = 30, RIM = 3, FINEST = 2 };

/* Where the second print lies: x' = c + turn(x - c) + shift, in cells. */
typedef struct laid {
    double shift_x, shift_y, turn_rad;
} laid;

typedef struct search {
    const fleck_ink_grid *a, *b;
    size_t square, along_x, along_y; /* side of the squares, and how many there are */
    int reach;                       /* in cells */
    int16_t *colour[2];              /* a with the cells of the other colour at 0 */
    int16_t *turned;                 /* b, turned, with a rim of `reach` cells all round */
    size_t turned_width;
} search;

/* Sums over the cells of one square, or of several. */
typedef struct cell_sums {
    double n, a, b, aa, bb, ab;
} cell_sums;

static size_t square_of(const search *job, size_t x, size_t y)
{
    return y / job->square * job->along_x + x / job->square;
}

static unsigned colour_of(const search *job, size_t x, size_t y)
{
    return (unsigned)((x / job->square + y / job->square) & 1);
}

/* The place in b of a cell of a. */
static void place_in_b(const search *job, const laid *pose, double x, double y, double *bx, double *by)
{
    const double dx = x - ((double)job->a->width - 1) / 2;
    const double dy = y - ((double)job->a->height - 1) / 2;
    const double c = cos(pose->turn_rad), s = sin(pose->turn_rad);

    *bx = ((double)job->b->width - 1) / 2 + c * dx - s * dy + pose->shift_x;
    *by = ((double)job->b->height - 1) / 2 + s * dx + c * dy + pose->shift_y;
}

/* b between four cells; false outside. */
static bool between(const fleck_ink_grid *b, double x, double y, double *value)
{
    const double left = floor(x), top = floor(y), fx = x - left, fy = y - top;
    const int16_t *cell;
    size_t right, below;

    if (!(left >= 0) || !(top >= 0) || left > (double)b->width - 1 || top > (double)b->height - 1 ||
        (fx > 0 && left + 1 > (double)b->width - 1) || (fy > 0 && top + 1 > (double)b->height - 1))
        return false;
    cell = b->cells + (size_t)top * b->width + (size_t)left;
    right = fx > 0 ? 1 : 0;
    below = fy > 0 ? b->width : 0;
    *value = (1 - fy) * ((1 - fx) * cell[0] + fx * cell[right]) +
             fy * ((1 - fx) * cell[below] + fx * cell[below + right]);
    return true;
}

static void fill_turned(search *job, double turn_rad)
{
    const laid pose = { 0, 0, turn_rad };
    const size_t height = job->a->height + 2 * (size_t)job->reach;

    for (size_t y = 0; y < height; y++) {
        int16_t *const row = job->turned + y * job->turned_width;

        for (size_t x = 0; x < job->turned_width; x++) {
            double bx, by, value;

            place_in_b(job, &pose, (double)x - job->reach, (double)y - job->reach, &bx, &by);
            row[x] = (int16_t)(between(job->b, bx, by, &value) ? lround(value) : 0);
        }
    }
}

/* Covariance of the cells of one colour with b shifted by whole cells; a row's sum fits 32 bits. */
static int64_t covariance(const search *job, unsigned colour, int shift_x, int shift_y)
{
    const size_t width = job->a->width;
    int64_t total = 0;

    for (size_t y = 0; y < job->a->height; y++) {
        const int16_t *const a = job->colour[colour] + y * width;
        const int16_t *const b = job->turned +
                                 (y + (size_t)(job->reach + shift_y)) * job->turned_width +
                                 (size_t)(job->reach + shift_x);
        int32_t sum = 0;

        for (size_t x = 0; x < width; x++)
            sum += (int32_t)a[x] * b[x];
        total += sum;
    }
    return total;
}

/* The best pose for each colour, by whole cells. The shift is taken in the frame of a, before the turn. */
static void search_coarsely(search *job, laid best[2])
{
    const double corner = hypot((double)job->a->width, (double)job->a->height) / 2;
    const double reach_rad = FLECK_REGISTER_REACH_DEG * acos(-1) / 180;
    const int turns = (int)ceil(reach_rad * corner);
    int64_t largest[2] = { INT64_MIN, INT64_MIN };

    for (int turn = -turns; turn <= turns; turn++) {
        const double turn_rad = reach_rad * turn / turns;

        fill_turned(job, turn_rad);
        for (int y = -job->reach; y <= job->reach; y++) {
            for (int x = -job->reach; x <= job->reach; x++) {
                for (unsigned colour = 0; colour < 2; colour++) {
                    const int64_t found = covariance(job, colour, x, y);
                    const double c = cos(turn_rad), s = sin(turn_rad);

                    if (found <= largest[colour])
                        continue;
                    largest[colour] = found;
                    best[colour] = (laid){ c * x - s * y, s * x + c * y, turn_rad };
                }
            }
        }
    }
}

static void add_cell(cell_sums *sums, double a, double b)
{
    sums->n += 1;
    sums->a += a;
    sums->b += b;
    sums->aa += a * a;
    sums->bb += b * b;
    sums->ab += a * b;
}

static double correlation_of(const cell_sums *sums)
{
    const double aa = sums->aa - sums->a * sums->a / sums->n;
    const double bb = sums->bb - sums->b * sums->b / sums->n;

    if (!(sums->n >= 2) || !(aa > 0) || !(bb > 0))
        return NAN;
    return (sums->ab - sums->a * sums->b / sums->n) / sqrt(aa * bb);
}

/* Whether a cell is far enough from the border of its square. */
static bool is_inner(const search *job, size_t x, size_t y)
{
    const size_t in_x = x % job->square, in_y = y % job->square;

    return in_x >= RIM && in_y >= RIM && in_x + RIM < job->square && in_y + RIM < job->square;
}

/* Sums of the cells of one colour, for each square (or all in one with squares 0). */
static void gather(const search *job, unsigned colour, const laid *pose, bool inner, cell_sums *out,
                   bool apart)
{
    for (size_t y = 0; y < job->a->height; y++) {
        for (size_t x = 0; x < job->a->width; x++) {
            double bx, by, value;

            if (colour_of(job, x, y) != colour || (inner && !is_inner(job, x, y)))
                continue;
            place_in_b(job, pose, (double)x, (double)y, &bx, &by);
            if (between(job->b, bx, by, &value))
                add_cell(&out[apart ? square_of(job, x, y) : 0],
                         job->a->cells[y * job->a->width + x], value);
        }
    }
}

/* Step about the best pose in ever smaller steps; a step of the turn moves a corner as a shift does. */
static void search_finely(const search *job, unsigned colour, laid *best)
{
    const double corner = hypot((double)job->a->width, (double)job->a->height) / 2;
    double step = 0.5, largest;
    cell_sums here = { 0 };

    gather(job, colour, best, false, &here, false);
    largest = correlation_of(&here);
    for (int fineness = 0; fineness < FINEST; fineness++, step /= 2) {
        const laid from = *best;

        for (int i = 0; i < 27; i++) {
            const laid tried = { from.shift_x + step * (i % 3 - 1), from.shift_y + step * (i / 3 % 3 - 1),
                                 from.turn_rad + step * (i / 9 - 1) / corner };
            cell_sums there = { 0 };
            double found;

            gather(job, colour, &tried, false, &there, false);
            found = correlation_of(&there);
            if (found > largest) {
                largest = found;
                *best = tried;
            }
        }
    }
}

static void add_sums(cell_sums *to, const cell_sums *more, double sign)
{
    to->n += sign * more->n;
    to->a += sign * more->a;
    to->b += sign * more->b;
    to->aa += sign * more->aa;
    to->bb += sign * more->bb;
    to->ab += sign * more->ab;
}

/* The correlation of all squares, and how it changes when one of them is left out. */
static void judge(const cell_sums *squares, size_t count, fleck_registration *out)
{
    double mean = 0, square = 0;
    cell_sums all = { 0 };

    for (size_t i = 0; i < count; i++) {
        add_sums(&all, &squares[i], 1);
        out->tiles += squares[i].n > 0;
    }
    out->correlation = correlation_of(&all);
    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i < count; i++) {
            cell_sums rest = all;
            double without;

            if (!(squares[i].n > 0))
                continue;
            add_sums(&rest, &squares[i], -1);
            without = correlation_of(&rest);
            if (pass == 0)
                mean += without / (double)out->tiles;
            else
                square += (without - mean) * (without - mean);
        }
    }
    if (out->tiles > 1)
        out->se = sqrt(square * (double)(out->tiles - 1) / (double)out->tiles);
    if (out->tiles < 2 || isnan(out->se))
        out->correlation = out->se = NAN;
}

static bool make_room(search *job, cell_sums **squares)
{
    const size_t cells = job->a->width * job->a->height;
    const size_t height = job->a->height + 2 * (size_t)job->reach;

    for (unsigned colour = 0; colour < 2; colour++)
        job->colour[colour] = fleck_alloc_zeroed(cells, sizeof *job->colour[colour]);
    job->turned_width = job->a->width + 2 * (size_t)job->reach;
    job->turned = fleck_alloc_array(job->turned_width * height, sizeof *job->turned);
    *squares = fleck_alloc_zeroed(job->along_x * job->along_y, sizeof **squares);
    return job->colour[0] != NULL && job->colour[1] != NULL && job->turned != NULL && *squares != NULL;
}

fleck_status fleck_register(const fleck_ink_grid *a, const fleck_ink_grid *b,
                            fleck_registration *out, fleck_error *err)
{
    const size_t shorter = a->width < a->height ? a->width : a->height;
    search job = { .a = a, .b = b, .reach = (int)ceil(FLECK_REGISTER_REACH_MM / a->cell_mm) };
    cell_sums *squares = NULL;
    laid best[2] = { { 0, 0, 0 }, { 0, 0, 0 } };
    fleck_status status = FLECK_OK;

    *out = (fleck_registration){ .correlation = NAN, .se = NAN };
    job.square = shorter / SQUARES_ALONG;
    if (job.square < LEAST_SQUARE)
        job.square = LEAST_SQUARE;
    if (job.square > MOST_SQUARE)
        job.square = MOST_SQUARE;
    job.along_x = a->width / job.square + 1;
    job.along_y = a->height / job.square + 1;
    if (!make_room(&job, &squares)) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to register prints; free some memory");
        goto done;
    }
    for (size_t y = 0; y < a->height; y++) {
        for (size_t x = 0; x < a->width; x++)
            job.colour[colour_of(&job, x, y)][y * a->width + x] = a->cells[y * a->width + x];
    }
    search_coarsely(&job, best);
    for (unsigned colour = 0; colour < 2; colour++) {
        search_finely(&job, colour, &best[colour]);
        gather(&job, 1 - colour, &best[colour], true, squares, true);
    }
    judge(squares, job.along_x * job.along_y, out);
    out->shift_x_mm = (best[0].shift_x + best[1].shift_x) / 2 * a->cell_mm;
    out->shift_y_mm = (best[0].shift_y + best[1].shift_y) / 2 * a->cell_mm;
    out->turn_deg = (best[0].turn_rad + best[1].turn_rad) / 2 * 180 / acos(-1);
done:
    fleck_free(job.colour[0]);
    fleck_free(job.colour[1]);
    fleck_free(job.turned);
    fleck_free(squares);
    return status;
}
