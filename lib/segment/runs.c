/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A row as runs of ink. The ends of runs, start and end in turn, are the places where the phase
 * changes. A first loop marks the changes of a stretch, which compilers turn into vector code; then 64
 * marks at a time become the bits of a word, whose ones are listed. They are listed some at a time
 * without asking whether so many are left, as no processor foresees how many changes speckle has.
 */
#include "fleck/segment.h"

#include <assert.h>
#include <stdbool.h>
#include <stddef.h>
#include <string.h>

#include "core/wide.h"
#include "segment/mask_words.h"

enum {
    STRETCH_PX = 512, /* short enough to stay in the nearest cache, long enough for vectors */
    AT_ONCE = 8
};

/* Place of the lowest one of a word; any number when there is none. */
static inline __attribute__((always_inline)) uint32_t lowest_one(uint64_t word)
{
    return (uint32_t)__builtin_ctzll(word | UINT64_C(1) << 63);
}

/* Eight marks of 0 or 1, of which byte i becomes bit i. */
static inline __attribute__((always_inline)) uint64_t bits_of_marks(const uint8_t *marks)
{
    uint64_t eight;

    memcpy(&eight, marks, sizeof eight);
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
    eight = __builtin_bswap64(eight);
#endif
    return eight * UINT64_C(0x0102040810204080) >> 56;
}

/*
 * Append the places of the stretch's pixels that are of another phase than the one left of them.
 * With room for AT_ONCE places more than there can be changes up to its end, places behind the list
 * are overwritten.
 */
FLECK_WIDE_BODY list_changes_body(const uint16_t *restrict q, uint32_t first_px, size_t length,
                                  uint16_t level, bool has_room, uint32_t *restrict changes,
                                  size_t *count)
{
    uint8_t marks[STRETCH_PX];
    const uint16_t *const stretch = q + first_px;
    size_t n = *count;

    for (size_t i = 0; i < length; i++)
        marks[i] = (stretch[i] <= level) != (stretch[(ptrdiff_t)i - 1] <= level);
    if (length % FLECK_WORD_PX != 0)
        memset(marks + length, 0, FLECK_WORD_PX - length % FLECK_WORD_PX);
    for (size_t at = 0; at < length; at += FLECK_WORD_PX) {
        const uint32_t word_px = first_px + (uint32_t)at;
        uint64_t word = 0;

        for (unsigned i = 0; i < FLECK_WORD_PX / 8; i++)
            word |= bits_of_marks(marks + at + 8 * i) << (8 * i);
        if (has_room) {
            const size_t end = n + fleck_word_ones(word);

            for (; n < end; n += AT_ONCE) {
                for (unsigned i = 0; i < AT_ONCE; i++) {
                    changes[n + i] = word_px + lowest_one(word);
                    word &= word - 1;
                }
            }
            n = end;
        } else {
            for (; word != 0; word &= word - 1)
                changes[n++] = word_px + lowest_one(word);
        }
    }
    *count = n;
}

FLECK_WIDE(list_changes,
           (const uint16_t *restrict q, uint32_t first_px, size_t length, uint16_t level,
            bool has_room, uint32_t *restrict changes, size_t *count),
           (q, first_px, length, level, has_room, changes, count))

size_t fleck_runs_from_row(const uint16_t *q, size_t count, unsigned k, fleck_ink ink,
                           fleck_run *runs)
{
    static_assert(sizeof(fleck_run) == 2 * sizeof(uint32_t), "runs are a list of changes");
    uint32_t *const changes = (uint32_t *)runs;
    const uint16_t level = (uint16_t)(k < UINT16_MAX ? k : UINT16_MAX);
    list_changes_function *const list_changes = list_changes_at(fleck_widest());
    size_t n = 0;

    assert(count <= UINT32_MAX);
    if (count == 0)
        return 0;
    changes[0] = 0; /* the row starts with bare paper of no length, or with ink */
    n = (q[0] <= level) == (ink == FLECK_INK_DARK);
    for (size_t from = 1; from < count; from += STRETCH_PX) {
        const size_t length = count - from < STRETCH_PX ? count - from : STRETCH_PX;

        /* there is room for `count` changes, and up to the stretch's end there are at most that many */
        list_changes(q, (uint32_t)from, length, level, from + length + AT_ONCE <= count, changes,
                     &n);
    }
    if (n % 2 != 0)
        changes[n++] = (uint32_t)count;
    return n / 2;
}
