/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the library itself asks of a mask, 64 pixels at a time. */
#ifndef FLECK_SEGMENT_MASK_WORDS_H
#define FLECK_SEGMENT_MASK_WORDS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/segment.h"

enum { FLECK_WORD_PX = 64 };

struct fleck_mask {
    size_t width_px, height_px;
    size_t row_words;
    uint64_t area_px;
    uint64_t
        *words; /* pixel x of a row is bit x % 64 of its word x / 64; bits beyond the row are 0 */
};

/* The words of a row. */
static inline const uint64_t *fleck_mask_row(const fleck_mask *mask, size_t y_px)
{
    return mask->words + y_px * mask->row_words;
}

/*
 * Bits set in a word, summed in fields side by side (Warren, Hacker's Delight, section 5-1): without
 * leave to use the machine's own instruction a compiler would call a function for each word.
 */
static inline unsigned fleck_word_ones(uint64_t word)
{
    word -= word >> 1 & UINT64_C(0x5555555555555555);
    word = (word & UINT64_C(0x3333333333333333)) + (word >> 2 & UINT64_C(0x3333333333333333));
    word = (word + (word >> 4)) & UINT64_C(0x0f0f0f0f0f0f0f0f);
    return (unsigned)(word * UINT64_C(0x0101010101010101) >> 56);
}

/* Where a word's bits differ from those before them; *last is the bit before it, then its own last. */
static inline uint64_t fleck_word_changes(uint64_t word, uint64_t *last)
{
    const uint64_t changes = word ^ (word << 1 | *last);

    *last = word >> (FLECK_WORD_PX - 1);
    return changes;
}

/* NULL for a mask that covers its whole bounding box: then the formulas for rectangles hold. */
const fleck_mask *fleck_mask_unless_full(const fleck_mask *mask);

/* The first run of inside pixels of a row at or behind x_px; false when there is none. */
bool fleck_mask_next_run(const fleck_mask *mask, size_t y_px, size_t x_px, fleck_run *run);

/* Inside pixels among those from start_px to end_px - 1 of a row. */
uint64_t fleck_mask_count(const fleck_mask *mask, size_t y_px, size_t start_px, size_t end_px);

/* Whether all of them are inside; true for none. */
bool fleck_mask_covers(const fleck_mask *mask, size_t y_px, size_t start_px, size_t end_px);

/* Whether a run lies so that the 8 neighbours of each of its pixels are inside. */
bool fleck_mask_is_clear(const fleck_mask *mask, size_t y_px, size_t start_px, size_t end_px);

/* Whether all pixels of a box, which lies in the bounding box, are inside. */
bool fleck_mask_covers_box(const fleck_mask *mask, size_t left_px, size_t top_px, size_t width_px,
                           size_t height_px);

/*
 * The part of a mask in a box of its bounding box, as a mask of its own.
 * Errors: FLECK_BAD_CALL (empty box), FLECK_NO_RESOURCE.
 */
fleck_status fleck_mask_crop(const fleck_mask *mask, size_t left_px, size_t top_px, size_t width_px,
                             size_t height_px, fleck_mask **out, fleck_error *err);

/* Keep what lies inside another mask of the same size too. */
void fleck_mask_keep(fleck_mask *mask, const fleck_mask *other);

/*
 * The smallest box that holds all inside pixels; false when there is none.
 */
bool fleck_mask_extent(const fleck_mask *mask, size_t *left_px, size_t *top_px, size_t *width_px,
                       size_t *height_px);

/*
 * Of a mask whose pixels stand for `*rows` pixels from there downward, *rows being 1 at first: let
 * them stand for `wanted` of them, wanted >= *rows. A pixel then is inside when the whole column of
 * that height is.
 */
void fleck_mask_erode_rows(fleck_mask *mask, size_t *rows, size_t wanted);

#endif
