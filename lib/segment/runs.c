/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A row as runs of ink. The ends of runs, start and end in turn, are the places where the phase
 * changes. A first loop marks the changes of a stretch, which compilers turn into vector code; in a
 * second one each pixel writes its place, and the list grows by it only when it was a change. No
 * branch depends on the picture, so speckle costs no more than plain paper.
 */
#include "fleck/segment.h"

#include <assert.h>

enum { STRETCH_PX = 512 }; /* short enough to stay in the nearest cache, long enough for vectors */

size_t fleck_runs_from_row(const uint16_t *q, size_t count, unsigned k, fleck_ink ink,
                           fleck_run *runs)
{
    static_assert(sizeof(fleck_run) == 2 * sizeof(uint32_t), "runs are a list of changes");
    uint32_t *const changes = (uint32_t *)runs;
    const uint16_t level = (uint16_t)(k < UINT16_MAX ? k : UINT16_MAX);
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

        for (size_t i = 0; i < length; i++)
            changed[i] = (stretch[i] <= level) != (stretch[i - 1] <= level);
        for (size_t i = 0; i < length; i++) {
            changes[n] = (uint32_t)(from + i); /* n <= from + i: within (count + 1) / 2 runs */
            n += changed[i];
        }
    }
    if (n % 2 != 0)
        changes[n++] = (uint32_t)count;
    return n / 2;
}
