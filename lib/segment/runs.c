/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A row as runs of ink. The ends of runs, start and end in turn, are the places where the phase
 * changes. A first loop marks the changes of a stretch, which compilers turn into vector code; in a
 * second one each pixel writes its place, and the list grows by it only when it was a change. No
 * branch depends on the picture, so speckle costs no more than plain paper.
 */
#include "fleck/segment.h"

#include <assert.h>
#include <stddef.h>

#include "core/wide.h"

enum { STRETCH_PX = 512 }; /* short enough to stay in the nearest cache, long enough for vectors */

/* Whether a pixel is of another phase than the one left of it. */
FLECK_WIDE_BODY mark_body(const uint16_t *restrict q, size_t count, uint16_t level,
                          uint8_t *restrict changed)
{
    for (size_t i = 0; i < count; i++)
        changed[i] = (q[i] <= level) != (q[(ptrdiff_t)i - 1] <= level);
}

FLECK_WIDE(mark,
           (const uint16_t *restrict q, size_t count, uint16_t level, uint8_t *restrict changed),
           (q, count, level, changed))

size_t fleck_runs_from_row(const uint16_t *q, size_t count, unsigned k, fleck_ink ink,
                           fleck_run *runs)
{
    static_assert(sizeof(fleck_run) == 2 * sizeof(uint32_t), "runs are a list of changes");
    uint32_t *const changes = (uint32_t *)runs;
    const uint16_t level = (uint16_t)(k < UINT16_MAX ? k : UINT16_MAX);
    mark_function *const mark = mark_at(fleck_widest());
    uint8_t changed[STRETCH_PX];
    size_t n = 0;

    assert(count <= UINT32_MAX);
    if (count == 0)
        return 0;
    changes[0] = 0; /* the row starts with bare paper of no length, or with ink */
    n = (q[0] <= level) == (ink == FLECK_INK_DARK);
    for (size_t from = 1; from < count; from += STRETCH_PX) {
        const uint16_t *const stretch = q + from;
        const size_t length = count - from < STRETCH_PX ? count - from : STRETCH_PX;

        mark(stretch, length, level, changed);
        for (size_t i = 0; i < length; i++) {
            changes[n] = (uint32_t)(from + i); /* n <= from + i: within (count + 1) / 2 runs */
            n += changed[i];
        }
    }
    if (n % 2 != 0)
        changes[n++] = (uint32_t)count;
    return n / 2;
}
