/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pairs are counted 64 at a time: a row and a row shifted are combined word by word and the bits
 * set are summed in bytes side by side (Warren, Hacker's Delight, section 5-1), up to 31 words
 * before the bytes are added up. Compilers turn the loops into vector code. In a region without a
 * mask one such sum is enough: |a xor b| = |a| + |b| - 2 |a and b|, and |a|, |b| come from the
 * counts kept with each row.
 */
#include "measure/bit_rows.h"

#include <assert.h>
#include <string.h>

#include "core/memory.h"
#include "core/wide.h"
#include "segment/mask_words.h"

enum {
    WORD_BITS = 64,
    BLOCK_WORDS = 31 /* 31 words of at most 8 bits a byte: 248 fits a byte */
};

fleck_status fleck_bit_rows_init(fleck_bit_rows *rows, size_t width_px, size_t count,
                                 size_t reach_px, fleck_error *err)
{
    size_t all, bytes;

    *rows = (fleck_bit_rows){ .width_px = width_px, .rows = count };
    rows->words = width_px / WORD_BITS + (width_px % WORD_BITS != 0);
    if (size_add(rows->words, reach_px / WORD_BITS + 2, &rows->pitch) &&
        size_mul(rows->pitch, count, &all) && size_mul(all, sizeof *rows->bits, &bytes)) {
        rows->bits = fleck_alloc_zeroed(all, sizeof *rows->bits);
        rows->before = fleck_alloc_zeroed(all, sizeof *rows->before);
    }
    if (rows->bits != NULL && rows->before != NULL)
        return FLECK_OK;
    fleck_bit_rows_clear(rows);
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for %zu rows of %zu px; give a smaller --region", count, width_px);
}

void fleck_bit_rows_clear(fleck_bit_rows *rows)
{
    fleck_free(rows->bits);
    fleck_free(rows->before);
    *rows = (fleck_bit_rows){ 0 };
}

static uint64_t low_bits(size_t count)
{
    return count >= WORD_BITS ? UINT64_MAX : (UINT64_C(1) << count) - 1;
}

void fleck_bit_row_fill(uint64_t *row, size_t start_px, size_t end_px)
{
    const size_t first = start_px / WORD_BITS;
    const uint64_t from = UINT64_MAX << start_px % WORD_BITS;
    size_t last;
    uint64_t to;

    if (start_px >= end_px)
        return;
    last = (end_px - 1) / WORD_BITS;
    to = low_bits((end_px - 1) % WORD_BITS + 1);
    if (first == last) {
        row[first] |= from & to;
        return;
    }
    row[first] |= from;
    for (size_t i = first + 1; i < last; i++)
        row[i] = UINT64_MAX;
    row[last] |= to;
}

/* Number of bits set in each byte. */
static inline uint64_t in_bytes(uint64_t word)
{
    word -= word >> 1 & UINT64_C(0x5555555555555555);
    word = (word & UINT64_C(0x3333333333333333)) + (word >> 2 & UINT64_C(0x3333333333333333));
    return (word + (word >> 4)) & UINT64_C(0x0f0f0f0f0f0f0f0f);
}

/* Sum of the bytes, at most 8 * 255. */
static inline uint64_t add_bytes(uint64_t word)
{
    word = (word & UINT64_C(0x00ff00ff00ff00ff)) + (word >> 8 & UINT64_C(0x00ff00ff00ff00ff));
    return word * UINT64_C(0x0001000100010001) >> 48;
}

void fleck_bit_rows_recount(fleck_bit_rows *rows, size_t y)
{
    const uint64_t *const row = fleck_bit_row(rows, y);
    uint64_t *const before = rows->before + y % rows->rows * rows->pitch;
    uint64_t sum = 0;

    for (size_t i = 0; i < rows->words; i++) {
        before[i] = sum;
        sum += fleck_word_ones(row[i]);
    }
    before[rows->words] = sum;
}

void fleck_bit_rows_set(fleck_bit_rows *rows, size_t y, const fleck_run *runs, size_t count)
{
    uint64_t *const row = fleck_bit_row(rows, y);

    memset(row, 0, rows->words * sizeof *row);
    for (size_t i = 0; i < count; i++) {
        assert(runs[i].start_px < runs[i].end_px && runs[i].end_px <= rows->width_px);
        fleck_bit_row_fill(row, runs[i].start_px, runs[i].end_px);
    }
    fleck_bit_rows_recount(rows, y);
}

uint64_t fleck_bit_rows_set_before(const fleck_bit_rows *rows, size_t y, size_t count_px)
{
    const size_t word = count_px / WORD_BITS;

    return rows->before[y % rows->rows * rows->pitch + word] +
           fleck_word_ones(fleck_bit_row(rows, y)[word] & low_bits(count_px % WORD_BITS));
}

/* Word i of a row that is read from pixel word_shift * 64 + bit_shift on. */
static inline uint64_t shifted(const uint64_t *row, size_t i, unsigned bit_shift)
{
    /* two shifts, because one by 64 is undefined */
    return row[i] >> bit_shift | row[i + 1] << 1 << (WORD_BITS - 1 - bit_shift);
}

/* Bits set among the first words of a and, shifted, of b. */
FLECK_WIDE_BODY count_words_body(const uint64_t *a, const uint64_t *b, unsigned bit_shift,
                                 size_t words, uint64_t *sum)
{
    for (size_t from = 0; from < words; from += BLOCK_WORDS) {
        const size_t to = words - from < BLOCK_WORDS ? words : from + BLOCK_WORDS;
        uint64_t bytes = 0;

        for (size_t i = from; i < to; i++)
            bytes += in_bytes(a[i] & shifted(b, i, bit_shift));
        *sum += add_bytes(bytes);
    }
}

FLECK_WIDE(count_words,
           (const uint64_t *a, const uint64_t *b, unsigned bit_shift, size_t words, uint64_t *sum),
           (a, b, bit_shift, words, sum))

/* Pixels among the first count_px set in a and, shift_px further right, in b. */
static uint64_t count_both(const uint64_t *a, const uint64_t *b, size_t shift_px, size_t count_px)
{
    const unsigned bit_shift = (unsigned)(shift_px % WORD_BITS);
    const size_t whole = count_px / WORD_BITS;
    uint64_t sum = 0;

    b += shift_px / WORD_BITS;
    count_words_at(fleck_widest())(a, b, bit_shift, whole, &sum);
    if (count_px % WORD_BITS != 0)
        sum +=
            fleck_word_ones(a[whole] & shifted(b, whole, bit_shift) & low_bits(count_px % WORD_BITS));
    return sum;
}

/* The same in a region with a mask. Bits behind count_px are outside, b having none there. */
static void count_inside(fleck_pairs *pairs, const uint64_t *a, const uint64_t *b,
                         const uint64_t *a_inside, const uint64_t *b_inside, size_t shift_px,
                         size_t count_px)
{
    const unsigned bit_shift = (unsigned)(shift_px % WORD_BITS);
    const size_t words = count_px / WORD_BITS + (count_px % WORD_BITS != 0);

    b += shift_px / WORD_BITS;
    b_inside += shift_px / WORD_BITS;
    for (size_t from = 0; from < words; from += BLOCK_WORDS) {
        const size_t to = words - from < BLOCK_WORDS ? words : from + BLOCK_WORDS;
        uint64_t both = 0, differ = 0, inside = 0;

        for (size_t i = from; i < to; i++) {
            const uint64_t second = shifted(b, i, bit_shift);
            const uint64_t valid = a_inside[i] & shifted(b_inside, i, bit_shift);

            both += in_bytes(a[i] & second);
            differ += in_bytes((a[i] ^ second) & valid);
            inside += in_bytes(valid);
        }
        pairs->both += add_bytes(both);
        pairs->differ += add_bytes(differ);
        pairs->pairs += add_bytes(inside);
    }
}

void fleck_pairs_add_row(fleck_pairs *pairs, fleck_step step, const fleck_bit_rows *ink,
                         const fleck_bit_rows *inside, size_t y)
{
    const size_t shift_px = (size_t)(step.dx_px < 0 ? -(int64_t)step.dx_px : step.dx_px);
    size_t left_y, right_y, count_px;

    if (y < (size_t)step.dy_px || shift_px >= ink->width_px)
        return;
    /* the pixel on the left is read in place, the one on the right shifted towards it */
    left_y = step.dx_px < 0 ? y : y - (size_t)step.dy_px;
    right_y = step.dx_px < 0 ? y - (size_t)step.dy_px : y;
    count_px = ink->width_px - shift_px;
    if (inside == NULL) {
        const uint64_t both =
            count_both(fleck_bit_row(ink, left_y), fleck_bit_row(ink, right_y), shift_px, count_px);
        const uint64_t left = fleck_bit_rows_set_before(ink, left_y, count_px);
        const uint64_t right = fleck_bit_rows_set_before(ink, right_y, ink->width_px) -
                               fleck_bit_rows_set_before(ink, right_y, shift_px);

        pairs->pairs += count_px;
        pairs->both += both;
        pairs->differ += left + right - 2 * both;
    } else {
        count_inside(pairs, fleck_bit_row(ink, left_y), fleck_bit_row(ink, right_y),
                     fleck_bit_row(inside, left_y), fleck_bit_row(inside, right_y), shift_px,
                     count_px);
    }
}
