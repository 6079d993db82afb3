/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One bit a pixel, so that questions about runs are answered 64 pixels at a time.
 */
#include "segment/mask_words.h"

#include <assert.h>
#include <string.h>

#include "core/memory.h"

static const uint64_t all_ones = UINT64_MAX;

/* The bits of a row's word that stand for pixels from start to end - 1; it has at least one. */
static uint64_t bits_of(size_t word, size_t start_px, size_t end_px)
{
    const size_t first = word * FLECK_WORD_PX;
    uint64_t bits = all_ones;

    if (start_px > first)
        bits &= all_ones << (start_px - first);
    if (end_px - first < FLECK_WORD_PX)
        bits &= ~(all_ones << (end_px - first));
    return bits;
}

uint64_t fleck_mask_count(const fleck_mask *mask, size_t y_px, size_t start_px, size_t end_px)
{
    const uint64_t *const row = fleck_mask_row(mask, y_px);
    uint64_t count = 0;

    for (size_t i = start_px / FLECK_WORD_PX; i * FLECK_WORD_PX < end_px; i++)
        count += fleck_word_ones(row[i] & bits_of(i, start_px, end_px));
    return count;
}

bool fleck_mask_covers(const fleck_mask *mask, size_t y_px, size_t start_px, size_t end_px)
{
    const uint64_t *const row = fleck_mask_row(mask, y_px);

    for (size_t i = start_px / FLECK_WORD_PX; i * FLECK_WORD_PX < end_px; i++) {
        if ((~row[i] & bits_of(i, start_px, end_px)) != 0)
            return false;
    }
    return true;
}

bool fleck_mask_is_clear(const fleck_mask *mask, size_t y_px, size_t start_px, size_t end_px)
{
    return y_px > 0 && y_px + 1 < mask->height_px && start_px > 0 && end_px < mask->width_px &&
           fleck_mask_covers_box(mask, start_px - 1, y_px - 1, end_px - start_px + 2, 3);
}

bool fleck_mask_covers_box(const fleck_mask *mask, size_t left_px, size_t top_px, size_t width_px,
                           size_t height_px)
{
    for (size_t y = top_px; y < top_px + height_px; y++) {
        if (!fleck_mask_covers(mask, y, left_px, left_px + width_px))
            return false;
    }
    return true;
}

/* First pixel at or behind x that is inside, or outside; the row's width when there is none. */
static size_t find(const fleck_mask *mask, size_t y_px, size_t x_px, bool inside)
{
    const uint64_t *const row = fleck_mask_row(mask, y_px);
    const uint64_t flip = inside ? 0 : all_ones;

    for (size_t i = x_px / FLECK_WORD_PX; i < mask->row_words; i++) {
        uint64_t word = row[i] ^ flip;

        if (i == x_px / FLECK_WORD_PX)
            word &= all_ones << x_px % FLECK_WORD_PX;
        if (word != 0) {
            const size_t x = i * FLECK_WORD_PX + (size_t)__builtin_ctzll(word);

            return x < mask->width_px ? x : mask->width_px;
        }
    }
    return mask->width_px;
}

bool fleck_mask_next_run(const fleck_mask *mask, size_t y_px, size_t x_px, fleck_run *run)
{
    const size_t start = find(mask, y_px, x_px, true);

    if (start == mask->width_px)
        return false;
    run->start_px = (uint32_t)start;
    run->end_px = (uint32_t)find(mask, y_px, start, false);
    return true;
}

/* Each change between a pixel and that before it begins or ends a run. */
size_t fleck_mask_runs(const fleck_mask *mask, size_t y_px, fleck_run *runs)
{
    const uint64_t *const row = fleck_mask_row(mask, y_px);
    uint64_t before = 0; /* the bit before the word */
    size_t n = 0;

    for (size_t first = 0, i = 0; first < mask->width_px; first += FLECK_WORD_PX, i++) {
        const uint64_t word = row[i];

        for (uint64_t changes = fleck_word_changes(word, &before); changes != 0;
             changes &= changes - 1) {
            const unsigned bit = (unsigned)__builtin_ctzll(changes);

            if ((word >> bit & 1) != 0)
                runs[n].start_px = (uint32_t)(first + bit);
            else
                runs[n++].end_px = (uint32_t)(first + bit);
        }
    }
    if (before != 0)
        runs[n++].end_px = (uint32_t)mask->width_px;
    return n;
}

size_t fleck_mask_clip_runs(const fleck_mask *mask, size_t y_px, const fleck_run *runs,
                            size_t count, fleck_run *inside)
{
    fleck_run clear;
    bool more = fleck_mask_next_run(mask, y_px, 0, &clear);
    size_t n = 0, i = 0;

    while (more && i < count) {
        const uint32_t start =
            runs[i].start_px > clear.start_px ? runs[i].start_px : clear.start_px;
        const uint32_t end = runs[i].end_px < clear.end_px ? runs[i].end_px : clear.end_px;

        if (start < end)
            inside[n++] = (fleck_run){ start, end };
        if (runs[i].end_px <= clear.end_px)
            i++;
        else
            more = fleck_mask_next_run(mask, y_px, clear.end_px, &clear);
    }
    return n;
}

bool fleck_mask_has(const fleck_mask *mask, size_t x_px, size_t y_px)
{
    return x_px < mask->width_px && y_px < mask->height_px &&
           (fleck_mask_row(mask, y_px)[x_px / FLECK_WORD_PX] >> x_px % FLECK_WORD_PX & 1) != 0;
}

size_t fleck_mask_width_px(const fleck_mask *mask)
{
    return mask->width_px;
}

size_t fleck_mask_height_px(const fleck_mask *mask)
{
    return mask->height_px;
}

uint64_t fleck_mask_area_px(const fleck_mask *mask)
{
    return mask->area_px;
}

const fleck_mask *fleck_mask_unless_full(const fleck_mask *mask)
{
    if (mask == NULL || mask->area_px == (uint64_t)mask->width_px * mask->height_px)
        return NULL;
    return mask;
}

void fleck_mask_add_run(fleck_mask *mask, size_t y_px, size_t start_px, size_t end_px)
{
    uint64_t *const row = mask->words + y_px * mask->row_words;

    assert(y_px < mask->height_px && start_px <= end_px && end_px <= mask->width_px);
    for (size_t i = start_px / FLECK_WORD_PX; i * FLECK_WORD_PX < end_px; i++) {
        const uint64_t bits = bits_of(i, start_px, end_px);

        mask->area_px += fleck_word_ones(bits & ~row[i]);
        row[i] |= bits;
    }
}

fleck_status fleck_mask_new(size_t width_px, size_t height_px, fleck_mask **out, fleck_error *err)
{
    const size_t row_words = width_px / FLECK_WORD_PX + (width_px % FLECK_WORD_PX != 0);
    fleck_mask *mask = NULL;
    size_t count;

    *out = NULL;
    if (width_px == 0 || height_px == 0 || width_px > INT32_MAX || height_px > INT32_MAX)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a mask of %zu x %zu pixels cannot be made; give 1 to 2147483647",
                          width_px, height_px);
    mask = fleck_alloc_zeroed(1, sizeof *mask);
    if (mask != NULL && size_mul(row_words, height_px, &count))
        mask->words = fleck_alloc_zeroed(count, sizeof *mask->words);
    if (mask == NULL || mask->words == NULL) {
        fleck_mask_free(mask);
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for a mask of %zu x %zu pixels; measure a smaller region",
                          width_px, height_px);
    }
    mask->width_px = width_px;
    mask->height_px = height_px;
    mask->row_words = row_words;
    *out = mask;
    return FLECK_OK;
}

void fleck_mask_free(fleck_mask *mask)
{
    if (mask == NULL)
        return;
    fleck_free(mask->words);
    fleck_free(mask);
}

fleck_status fleck_mask_crop(const fleck_mask *mask, size_t left_px, size_t top_px, size_t width_px,
                             size_t height_px, fleck_mask **out, fleck_error *err)
{
    const size_t past_px = left_px + width_px;
    fleck_status status = fleck_mask_new(width_px, height_px, out, err);

    assert(past_px <= mask->width_px && top_px + height_px <= mask->height_px);
    if (status != FLECK_OK)
        return status;
    for (size_t y = 0; y < height_px; y++) {
        fleck_run run;

        for (size_t x = left_px;
             fleck_mask_next_run(mask, top_px + y, x, &run) && run.start_px < past_px;
             x = run.end_px)
            fleck_mask_add_run(*out, y, run.start_px - left_px,
                               (run.end_px < past_px ? run.end_px : past_px) - left_px);
    }
    return FLECK_OK;
}

static void recount(fleck_mask *mask)
{
    mask->area_px = 0;
    for (size_t i = 0; i < mask->row_words * mask->height_px; i++)
        mask->area_px += fleck_word_ones(mask->words[i]);
}

void fleck_mask_keep(fleck_mask *mask, const fleck_mask *other)
{
    assert(mask->width_px == other->width_px && mask->height_px == other->height_px);
    for (size_t i = 0; i < mask->row_words * mask->height_px; i++)
        mask->words[i] &= other->words[i];
    recount(mask);
}

bool fleck_mask_extent(const fleck_mask *mask, size_t *left_px, size_t *top_px, size_t *width_px,
                       size_t *height_px)
{
    size_t left = mask->width_px, right = 0, top = 0, bottom = 0;

    for (size_t y = 0; y < mask->height_px; y++) {
        fleck_run run;
        size_t x = 0;

        while (fleck_mask_next_run(mask, y, x, &run)) {
            if (right == 0)
                top = y;
            bottom = y + 1;
            left = run.start_px < left ? run.start_px : left;
            right = run.end_px > right ? run.end_px : right;
            x = run.end_px;
        }
    }
    if (right == 0)
        return false;
    *left_px = left;
    *top_px = top;
    *width_px = right - left;
    *height_px = bottom - top;
    return true;
}

void fleck_mask_erode_rows(fleck_mask *mask, size_t *rows, size_t wanted)
{
    const size_t count = mask->row_words * mask->height_px;

    /* columns of a height overlap with those further down to columns of up to twice that height */
    while (*rows < wanted) {
        const size_t step = wanted - *rows < *rows ? wanted - *rows : *rows;
        const size_t shift = step < mask->height_px ? step * mask->row_words : count;

        for (size_t i = 0; i + shift < count; i++)
            mask->words[i] &= mask->words[i + shift];
        memset(mask->words + (count - shift), 0, shift * sizeof *mask->words);
        *rows += step;
    }
    recount(mask);
}
