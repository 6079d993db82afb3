/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Counting where all four pixels around a vertex are known is the same as counting, with bare paper
 * around the region, everything but what lies on two of its borders: along a border's row or column
 * the vertices, edges and faces left out there cancel. Over a tiling by such half-open regions the
 * numbers add up to that of the whole.
 */
#include "measure/euler.h"

#include "segment/mask_words.h"

int64_t fleck_euler_of_row(const fleck_bit_rows *ink, const fleck_bit_rows *inside, size_t y)
{
    const uint64_t *row, *above;
    uint64_t row_carry = 0, above_carry = 0, inside_carry = 0;
    int64_t sum = 0;

    if (y == 0)
        return 0;
    row = fleck_bit_row(ink, y);
    above = fleck_bit_row(ink, y - 1);
    for (size_t i = 0; i < ink->words; i++) {
        const uint64_t left = row[i] << 1 | row_carry;
        const uint64_t above_left = above[i] << 1 | above_carry;
        uint64_t known;

        if (inside != NULL) {
            const uint64_t both = fleck_bit_row(inside, y)[i] & fleck_bit_row(inside, y - 1)[i];

            known = both & (both << 1 | inside_carry);
            inside_carry = both >> 63;
        } else {
            const size_t left_px = ink->width_px - 64 * i;

            /* the first column needs no mask: with bare paper beside it what it adds cancels */
            known = left_px >= 64 ? UINT64_MAX : (UINT64_C(1) << left_px) - 1;
        }
        sum += fleck_word_ones((row[i] | left | above[i] | above_left) & known);
        sum -= fleck_word_ones((row[i] | left) & known);
        sum -= fleck_word_ones((row[i] | above[i]) & known);
        sum += fleck_word_ones(row[i] & known);
        row_carry = row[i] >> 63;
        above_carry = above[i] >> 63;
    }
    return sum;
}
