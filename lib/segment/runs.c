/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A row as runs of ink. The ends of runs, start and end in turn, are the places where the phase
 * changes. 64 pixels at a time become the bits of a word, 1 at or below the level; the changes are
 * the ones of it and itself moved by a pixel, exclusive or. They are listed some at a time without
 * asking whether so many are left, as no processor foresees how many changes speckle has.
 *
 * How pixels become bits and ones become places is written for each width; the plain way is that of
 * all other machines, and the one the others are tested against.
 */
#include "fleck/segment.h"

#include <assert.h>
#include <stddef.h>
#include <string.h>

#include "core/wide.h"
#include "segment/mask_words.h"

#if FLECK_HAS_WIDTHS
#include <immintrin.h>
#endif

enum { WORD_PX = FLECK_WORD_PX, ROOM = 16 }; /* places that may be written behind the list */

/* Of `words` times 64 pixels from q[first_px] on, first_px > 0, list the places of changes behind
 * n. */
typedef size_t word_lister(const uint16_t *q, size_t first_px, size_t words, uint16_t level,
                           uint32_t *changes, size_t n);

/* Pixels at or below the level: pixel i is bit i. */
static inline uint64_t bits_plain(const uint16_t *q, uint16_t level)
{
    uint8_t marks[WORD_PX];
    uint64_t bits = 0;

    for (size_t i = 0; i < WORD_PX; i++)
        marks[i] = q[i] <= level;
    for (unsigned i = 0; i < WORD_PX; i += 8) {
        uint64_t eight; /* marks of 0 or 1, of which byte i is to become bit i */

        memcpy(&eight, marks + i, sizeof eight);
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
        eight = __builtin_bswap64(eight);
#endif
        bits |= (eight * UINT64_C(0x0102040810204080) >> 56) << i;
    }
    return bits;
}

static inline __attribute__((always_inline)) size_t list_ones(uint64_t word, uint32_t first_px,
                                                              uint32_t *changes, size_t n)
{
    const size_t end = n + fleck_word_ones(word);

    for (; n < end; n += 8) {
        for (unsigned i = 0; i < 8; i++) {
            /* once no one is left, any place */
            changes[n + i] = first_px + (uint32_t)__builtin_ctzll(word | UINT64_C(1) << 63);
            word &= word - 1;
        }
    }
    return end;
}

static size_t list_words_plain(const uint16_t *q, size_t first_px, size_t words, uint16_t level,
                               uint32_t *changes, size_t n)
{
    uint64_t last = q[first_px - 1] <= level;

    for (size_t i = 0; i < words; i++, first_px += WORD_PX)
        n = list_ones(fleck_word_changes(bits_plain(q + first_px, level), &last),
                      (uint32_t)first_px, changes, n);
    return n;
}

#if FLECK_HAS_WIDTHS
__attribute__((target("avx2,bmi"))) static inline __m256i at_or_below_256(const uint16_t *q,
                                                                          __m256i level)
{
    const __m256i values = _mm256_loadu_si256((const __m256i *)(const void *)q);

    return _mm256_cmpeq_epi16(_mm256_max_epu16(values, level), level);
}

__attribute__((target("avx2,bmi"))) static inline uint64_t bits_256(const uint16_t *q,
                                                                    __m256i level)
{
    uint64_t bits = 0;

    for (unsigned i = 0; i < WORD_PX; i += 32) {
        /* packing goes by halves: 0 2 1 3 */
        const __m256i bytes = _mm256_permute4x64_epi64(
            _mm256_packs_epi16(at_or_below_256(q + i, level), at_or_below_256(q + i + 16, level)),
            0xd8);

        bits |= (uint64_t)(uint32_t)_mm256_movemask_epi8(bytes) << i;
    }
    return bits;
}

__attribute__((target("avx2,bmi"))) static size_t list_words_256(const uint16_t *q, size_t first_px,
                                                                 size_t words, uint16_t level,
                                                                 uint32_t *changes, size_t n)
{
    const __m256i levels = _mm256_set1_epi16((short)level);
    uint64_t last = q[first_px - 1] <= level;

    for (size_t i = 0; i < words; i++, first_px += WORD_PX)
        n = list_ones(fleck_word_changes(bits_256(q + first_px, levels), &last), (uint32_t)first_px,
                      changes, n);
    return n;
}

__attribute__((target("avx512f,avx512bw,bmi,popcnt"))) static inline uint64_t
bits_512(const uint16_t *q, __m512i level)
{
    const __mmask32 left = _mm512_cmple_epu16_mask(_mm512_loadu_si512(q), level);
    const __mmask32 right = _mm512_cmple_epu16_mask(_mm512_loadu_si512(q + 32), level);

    return (uint64_t)left | (uint64_t)right << 32;
}

__attribute__((target("avx512f,avx512bw,bmi,popcnt"))) static size_t
list_words_512(const uint16_t *q, size_t first_px, size_t words, uint16_t level, uint32_t *changes,
               size_t n)
{
    const __m512i levels = _mm512_set1_epi16((short)level), sixteen = _mm512_set1_epi32(16);
    __m512i places =
        _mm512_add_epi32(_mm512_set1_epi32((int)first_px),
                         _mm512_setr_epi32(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15));
    uint64_t last = q[first_px - 1] <= level;

    for (size_t i = 0; i < words; i++, first_px += WORD_PX) {
        uint64_t word = fleck_word_changes(bits_512(q + first_px, levels), &last);

        for (unsigned part = 0; part < WORD_PX / 16; part++) {
            _mm512_storeu_si512(changes + n, _mm512_maskz_compress_epi32((__mmask16)word, places));
            n += (size_t)__builtin_popcountll(word & 0xffff);
            places = _mm512_add_epi32(places, sixteen);
            word >>= 16;
        }
    }
    return n;
}
#endif

static word_lister *lister_at(fleck_width width)
{
#if FLECK_HAS_WIDTHS
    if (width == FLECK_WIDTH_512)
        return list_words_512;
    if (width == FLECK_WIDTH_256)
        return list_words_256;
#endif
    (void)width;
    return list_words_plain;
}

size_t fleck_runs_from_row(const uint16_t *q, size_t count, unsigned k, fleck_ink ink,
                           fleck_run *runs)
{
    static_assert(sizeof(fleck_run) == 2 * sizeof(uint32_t), "runs are a list of changes");
    uint32_t *const changes = (uint32_t *)runs;
    const uint16_t level = (uint16_t)(k < UINT16_MAX ? k : UINT16_MAX);
    size_t n = 0, x = 1;

    assert(count <= UINT32_MAX);
    if (count == 0)
        return 0;
    changes[0] = 0; /* the row starts with bare paper of no length, or with ink */
    n = (q[0] <= level) == (ink == FLECK_INK_DARK);
    /* there is room for `count` changes, and left of x there are at most x */
    if (count > x + ROOM) {
        const size_t words = (count - x - ROOM) / WORD_PX;

        n = lister_at(fleck_widest())(q, x, words, level, changes, n);
        x += words * WORD_PX;
    }
    for (; x < count; x++) {
        changes[n] = (uint32_t)x; /* n <= x */
        n += (q[x] <= level) != (q[x - 1] <= level);
    }
    if (n % 2 != 0)
        changes[n++] = (uint32_t)count;
    return n / 2;
}
