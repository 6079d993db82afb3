/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Each dot is cut into compact pieces of a few runs, so that a box around them says where its ink
 * is even when the dot spans the patch. The pieces of all dots, in the order of a Z curve (Morton
 * 1966), are the leaves of a tree of boxes; a search from a piece enters only boxes that may hold
 * something nearer than what its dot has found, and none that holds nothing but its own dot.
 */
#include "fleck/shape.h"

#include <math.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "core/sort.h"
#include "core/spill.h"

/* Common practice; from 8 to 32 the time hardly changes */
enum { MOST_RUNS = 16 };

/* A search starts with so many neighbours on the curve, which are near as a rule. */
enum { FIRST_LOOKS = 3 };

enum { BLOBS_AT_A_TIME = 512 };

static const uint32_t many = UINT32_MAX;

struct box {
    uint32_t left, right; /* columns, inclusive */
    uint32_t top, bottom;
};

struct piece {
    struct box box;
    uint32_t blob;
    size_t first, count; /* of the runs */
    uint64_t place;      /* on the curve */
};

/* Node i has the halves 2 i + 1 and 2 i + 2, and stretches are halved as well. */
struct node {
    struct box box;
    uint32_t blob; /* of all its pieces, or many */
};

struct index {
    fleck_blob_run *runs; /* of all blobs, piece by piece */
    struct piece *pieces;
    size_t piece_count, piece_capacity;
    size_t *by_blob;     /* pieces, blob after blob */
    size_t *blob_pieces; /* first of a blob in by_blob; n + 1 of them */
    struct node *nodes;
    unsigned levels;
    double px, py;
};

struct search {
    const struct index *index;
    size_t n;
    double *gap_mm;
};

/* The shortest way found from a blob, and the least that it leaves bare. */
struct nearest {
    double mm2;
    double as_short_mm2; /* up to which a way is as short: of oblong pixels rounding parts equals */
    double gap_mm;
};

static const double as_short = 1 + 1e-12;

static struct box box_of_runs(const fleck_blob_run *runs, size_t count)
{
    struct box box = { UINT32_MAX, 0, UINT32_MAX, 0 };

    for (size_t i = 0; i < count; i++) {
        box.left = runs[i].start_px < box.left ? runs[i].start_px : box.left;
        box.right = runs[i].end_px - 1 > box.right ? runs[i].end_px - 1 : box.right;
        box.top = runs[i].y_px < box.top ? runs[i].y_px : box.top;
        box.bottom = runs[i].y_px > box.bottom ? runs[i].y_px : box.bottom;
    }
    return box;
}

static struct box box_around(const struct box *a, const struct box *b)
{
    return (struct box){ a->left < b->left ? a->left : b->left,
                         a->right > b->right ? a->right : b->right,
                         a->top < b->top ? a->top : b->top,
                         a->bottom > b->bottom ? a->bottom : b->bottom };
}

/* Every other bit of the result is one of the value. */
static uint64_t spread(uint64_t value)
{
    value = (value | value << 16) & UINT64_C(0x0000ffff0000ffff);
    value = (value | value << 8) & UINT64_C(0x00ff00ff00ff00ff);
    value = (value | value << 4) & UINT64_C(0x0f0f0f0f0f0f0f0f);
    value = (value | value << 2) & UINT64_C(0x3333333333333333);
    return (value | value << 1) & UINT64_C(0x5555555555555555);
}

/* Runs whose middle lies in the upper or left half of the box come first. Returns their number. */
static size_t partition(fleck_blob_run *runs, size_t count, const struct box *box, bool by_row)
{
    const uint64_t doubled_middle =
        by_row ? (uint64_t)box->top + box->bottom : (uint64_t)box->left + box->right;
    size_t low = 0;

    for (size_t i = 0; i < count; i++) {
        const fleck_blob_run run = runs[i];
        const uint64_t doubled =
            by_row ? 2 * (uint64_t)run.y_px : (uint64_t)run.start_px + run.end_px - 1;

        if (doubled <= doubled_middle) {
            runs[i] = runs[low];
            runs[low++] = run;
        }
    }
    return low;
}

static bool add_pieces(struct index *index, uint32_t blob, size_t first, size_t count)
{
    const struct box box = box_of_runs(index->runs + first, count);
    const bool tall = (box.bottom - box.top) * index->py > (box.right - box.left) * index->px;
    struct piece *pieces;
    size_t low = count;

    if (count > MOST_RUNS) {
        low = partition(index->runs + first, count, &box, tall);
        if (low == 0 || low == count) /* all in the middle */
            low = partition(index->runs + first, count, &box, !tall);
        if (low == 0 || low == count)
            low = count / 2;
        return add_pieces(index, blob, first, low) &&
               add_pieces(index, blob, first + low, count - low);
    }
    pieces = fleck_grow(index->pieces, &index->piece_capacity, index->piece_count, sizeof *pieces);
    if (pieces == NULL)
        return false;
    index->pieces = pieces;
    pieces[index->piece_count++] = (struct piece){
        .box = box,
        .blob = blob,
        .first = first,
        .count = count,
        .place = spread(((uint64_t)box.left + box.right) / 2) |
                 spread(((uint64_t)box.top + box.bottom) / 2) << 1,
    };
    return true;
}

static int by_curve(const void *left, const void *right)
{
    const struct piece *const a = left, *const b = right;

    if (a->place != b->place)
        return a->place < b->place ? -1 : 1;
    return (a->first > b->first) - (a->first < b->first);
}

static void grow(struct index *index, size_t node, unsigned level, size_t first, size_t end)
{
    struct node *const here = &index->nodes[node];
    const size_t middle = first + (end - first) / 2;

    if (level == index->levels) {
        fleck_spill_let_go();
        here->box = index->pieces[first].box;
        here->blob = index->pieces[first].blob;
        for (size_t i = first + 1; i < end; i++) {
            here->box = box_around(&here->box, &index->pieces[i].box);
            if (index->pieces[i].blob != here->blob)
                here->blob = many;
        }
    } else {
        const struct node *const a = &index->nodes[2 * node + 1], *const b = a + 1;

        grow(index, 2 * node + 1, level + 1, first, middle);
        grow(index, 2 * node + 2, level + 1, middle, end);
        here->box = box_around(&a->box, &b->box);
        here->blob = a->blob == b->blob ? a->blob : many;
    }
}

/* Steps between two stretches of pixels, 0 when they lie over each other. */
static double steps_between(uint32_t a_first, uint32_t a_last, uint32_t b_first, uint32_t b_last)
{
    return b_first > a_last   ? (double)(b_first - a_last)
           : a_first > b_last ? (double)(a_first - b_last)
                              : 0;
}

static double boxes_mm2(const struct index *index, const struct box *a, const struct box *b)
{
    const double x = steps_between(a->left, a->right, b->left, b->right) * index->px;
    const double y = steps_between(a->top, a->bottom, b->top, b->bottom) * index->py;

    return x * x + y * y;
}

static void compare_pieces(const struct index *index, const struct piece *from,
                           const struct piece *to, struct nearest *nearest)
{
    for (size_t i = from->first; i < from->first + from->count; i++) {
        const fleck_blob_run *const a = &index->runs[i];
        const struct box box = { a->start_px, a->end_px - 1, a->y_px, a->y_px };

        if (boxes_mm2(index, &box, &to->box) > nearest->as_short_mm2)
            continue;
        for (size_t j = to->first; j < to->first + to->count; j++) {
            const fleck_blob_run *const b = &index->runs[j];
            const double steps_x =
                steps_between(a->start_px, a->end_px - 1, b->start_px, b->end_px - 1);
            const double steps_y = fabs((double)a->y_px - (double)b->y_px);
            const double x = steps_x * index->px, y = steps_y * index->py;
            const double mm2 = x * x + y * y;

            if (mm2 <= nearest->as_short_mm2) {
                const double mm = sqrt(mm2);
                const double gap_mm = mm - mm / hypot(steps_x, steps_y);

                if (mm2 * as_short < nearest->mm2)
                    nearest->gap_mm = gap_mm;
                else
                    nearest->gap_mm = fmin(nearest->gap_mm, gap_mm);
                nearest->mm2 = fmin(nearest->mm2, mm2);
                nearest->as_short_mm2 = nearest->mm2 * as_short;
            }
        }
    }
}

static void look_in(const struct index *index, const struct piece *from, size_t node,
                    unsigned level, size_t first, size_t end, struct nearest *nearest)
{
    const size_t middle = first + (end - first) / 2;
    const struct node *const halves = &index->nodes[2 * node + 1];
    double mm2[2];

    if (level == index->levels) {
        for (size_t i = first; i < end; i++) {
            const struct piece *const to = &index->pieces[i];

            if (to->blob != from->blob &&
                boxes_mm2(index, &from->box, &to->box) <= nearest->as_short_mm2)
                compare_pieces(index, from, to, nearest);
        }
        return;
    }
    for (int i = 0; i < 2; i++)
        mm2[i] =
            halves[i].blob == from->blob ? INFINITY : boxes_mm2(index, &from->box, &halves[i].box);
    if (mm2[0] <= mm2[1] && mm2[0] <= nearest->as_short_mm2 && mm2[0] < INFINITY)
        look_in(index, from, 2 * node + 1, level + 1, first, middle, nearest);
    if (mm2[1] <= nearest->as_short_mm2 && mm2[1] < INFINITY)
        look_in(index, from, 2 * node + 2, level + 1, middle, end, nearest);
    if (mm2[0] > mm2[1] && mm2[0] <= nearest->as_short_mm2 && mm2[0] < INFINITY)
        look_in(index, from, 2 * node + 1, level + 1, first, middle, nearest);
}

/* Pieces that lie beside this one on the curve. */
static void look_beside(const struct index *index, size_t i, struct nearest *nearest)
{
    const struct piece *const from = &index->pieces[i];
    const size_t first = i > FIRST_LOOKS ? i - FIRST_LOOKS : 0;

    for (size_t j = first; j < index->piece_count && j <= i + FIRST_LOOKS; j++) {
        const struct piece *const to = &index->pieces[j];

        if (to->blob != from->blob &&
            boxes_mm2(index, &from->box, &to->box) <= nearest->as_short_mm2)
            compare_pieces(index, from, to, nearest);
    }
}

static void search_blobs(void *context, unsigned worker, size_t i)
{
    const struct search *const search = context;
    const struct index *const index = search->index;
    const size_t first = i * BLOBS_AT_A_TIME, left = search->n - first;
    const size_t end = first + (left < BLOBS_AT_A_TIME ? left : BLOBS_AT_A_TIME);

    (void)worker;
    for (size_t blob = first; blob < end; blob++) {
        const size_t *const pieces = index->by_blob + index->blob_pieces[blob];
        const size_t count = index->blob_pieces[blob + 1] - index->blob_pieces[blob];
        struct nearest nearest = { INFINITY, INFINITY, NAN };

        fleck_spill_let_go();
        for (size_t j = 0; j < count; j++)
            look_beside(index, pieces[j], &nearest);
        for (size_t j = 0; j < count; j++)
            look_in(index, &index->pieces[pieces[j]], 0, 0, 0, index->piece_count, &nearest);
        search->gap_mm[blob] = nearest.gap_mm;
    }
}

/* Which pieces are a blob's, in the order of the curve. */
static bool sort_by_blob(struct index *index, size_t n)
{
    index->by_blob = fleck_alloc_array(index->piece_count, sizeof *index->by_blob);
    index->blob_pieces = fleck_alloc_zeroed(n + 2, sizeof *index->blob_pieces);
    if (index->by_blob == NULL || index->blob_pieces == NULL)
        return false;
    for (size_t i = 0; i < index->piece_count; i++) {
        fleck_spill_let_go();
        index->blob_pieces[index->pieces[i].blob + 2]++;
    }
    for (size_t blob = 2; blob < n + 2; blob++)
        index->blob_pieces[blob] += index->blob_pieces[blob - 1];
    for (size_t i = 0; i < index->piece_count; i++) {
        fleck_spill_let_go();
        index->by_blob[index->blob_pieces[index->pieces[i].blob + 1]++] = i;
    }
    return true;
}

static bool build(struct index *index, const fleck_blob *blobs, size_t n)
{
    size_t run_count = 0, first = 0;

    for (size_t i = 0; i < n; i++) {
        fleck_spill_let_go();
        run_count += blobs[i].run_count;
    }
    index->runs = fleck_alloc_array(run_count, sizeof *index->runs);
    if (index->runs == NULL)
        return false;
    for (size_t i = 0; i < n; i++) {
        fleck_spill_let_go();
        for (size_t j = 0; j < blobs[i].run_count; j++)
            index->runs[first + j] = blobs[i].runs[j];
        if (blobs[i].run_count > 0 && !add_pieces(index, (uint32_t)i, first, blobs[i].run_count))
            return false;
        first += blobs[i].run_count;
    }
    if (!fleck_sort(index->pieces, index->piece_count, sizeof *index->pieces, by_curve) ||
        !sort_by_blob(index, n))
        return false;
    if (index->piece_count == 0)
        return true;
    while (index->piece_count >> index->levels > 2)
        index->levels++;
    index->nodes = fleck_alloc_array((size_t)2 << index->levels, sizeof *index->nodes);
    if (index->nodes == NULL)
        return false;
    grow(index, 0, 0, 0, index->piece_count);
    return true;
}

fleck_status fleck_gaps(const fleck_blob *blobs, size_t n, const fleck_geometry *geometry,
                        unsigned threads, double *gap_mm, fleck_error *err)
{
    struct index index = { .px = geometry->pixel_x_mm, .py = geometry->pixel_y_mm };
    struct search search = { .index = &index, .n = n, .gap_mm = gap_mm };
    fleck_status status = FLECK_OK;

    if (threads == 0)
        return fleck_fail(err, FLECK_BAD_CALL, "no thread to work with; give at least 1");
    if (n >= many || !build(&index, blobs, n))
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for the gaps between %zu dots; measure a smaller region", n);
    else if (index.piece_count > 0)
        fleck_parallel_for(threads, (n + BLOBS_AT_A_TIME - 1) / BLOBS_AT_A_TIME, search_blobs,
                           &search);
    for (size_t i = 0; status == FLECK_OK && index.piece_count == 0 && i < n; i++)
        gap_mm[i] = NAN;
    fleck_free(index.runs);
    fleck_free(index.pieces);
    fleck_free(index.by_blob);
    fleck_free(index.blob_pieces);
    fleck_free(index.nodes);
    return status;
}
