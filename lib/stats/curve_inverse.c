/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/curve_inverse.h"

#include <assert.h>
#include <string.h>

#include "stats/real_roots.h"

_Static_assert(2 * FLECK_CURVE_DEGREE <= FLECK_ROOTS_DEGREE, "the squared curve must fit");

/* Keep pieces joined that rounding has parted, and hold a root that rounding has left outside. */
static void add_piece(fleck_curve_inverse *out, double lo, double hi)
{
    if (out->piece_count > 0 && lo <= out->piece[out->piece_count - 1].hi) {
        out->piece[out->piece_count - 1].hi = hi;
    } else if (out->piece_count < FLECK_CURVE_PIECES) {
        out->piece[out->piece_count].lo = lo;
        out->piece[out->piece_count].hi = hi;
        out->piece_count++;
    }
}

fleck_curve_inverse fleck_curve_invert(const fleck_curve *curve, double wanted, double t)
{
    fleck_curve_inverse out = { 0 };
    double off[FLECK_CURVE_DEGREE + 1], outside[2 * FLECK_CURVE_DEGREE + 1] = { 0 };
    double ends[2 * FLECK_CURVE_DEGREE + FLECK_CURVE_DEGREE + 2];
    const size_t degree = curve->degree;
    size_t count = 0, root = 0, edge_count;
    double edges[2 * FLECK_CURVE_DEGREE];

    assert(degree <= FLECK_CURVE_DEGREE);
    memcpy(off, curve->height, sizeof off);
    off[0] -= wanted;
    for (size_t i = 0; i <= degree; i++) {
        for (size_t k = 0; k <= degree; k++)
            outside[i + k] += off[i] * off[k];
    }
    for (size_t k = 0; k <= 2 * degree; k++)
        outside[k] -= t * t * curve->variance[k];
    out.root_count = fleck_real_roots(off, degree, -1, 1, out.root);
    edge_count = fleck_real_roots(outside, 2 * degree, -1, 1, edges);
    /* cut the range at every edge and every root: a stretch belongs when its middle does */
    ends[count++] = -1;
    for (size_t i = 0; i < edge_count; i++) {
        for (; root < out.root_count && out.root[root] < edges[i]; root++)
            ends[count++] = out.root[root];
        ends[count++] = edges[i];
    }
    for (; root < out.root_count; root++)
        ends[count++] = out.root[root];
    ends[count++] = 1;
    for (size_t i = 0; i + 1 < count; i++) {
        const double middle = ends[i] + (ends[i + 1] - ends[i]) / 2;

        if (ends[i + 1] > ends[i] && fleck_polynomial(outside, 2 * degree, middle) <= 0)
            add_piece(&out, ends[i], ends[i + 1]);
    }
    for (size_t i = 0; i < out.root_count; i++) {
        size_t at = 0;

        while (at < out.piece_count && out.piece[at].hi < out.root[i])
            at++;
        if (at == out.piece_count || out.piece[at].lo > out.root[i]) {
            /* a fit without scatter: the piece is the root alone */
            if (out.piece_count == FLECK_CURVE_PIECES)
                break;
            memmove(out.piece + at + 1, out.piece + at, (out.piece_count - at) * sizeof *out.piece);
            out.piece[at].lo = out.piece[at].hi = out.root[i];
            out.piece_count++;
        }
    }
    return out;
}
