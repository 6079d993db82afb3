# SPDX-License-Identifier: GPL-3.0-or-later
"""Shapes, gaps and the random-set numbers of a patch, from their definitions alone."""
import math

import numpy as np
from scipy import ndimage
from scipy.spatial import ConvexHull, cKDTree


def crofton(changes, px, py):
    """changes: ink-bare changes at 0, 90, 45 and 135 degrees; each direction by its line spacing
    and its share of all angles (for square pixels (pi/8) px (c0 + c90 + (c45 + c135) / sqrt 2))."""
    c0, c90, c45, c135 = changes
    slope = math.atan2(py, px)
    # a direction's share is half of the angle between its two neighbours
    along_x = 2 * slope / 2
    along_y = (math.pi - 2 * slope) / 2
    slanted = (math.pi / 2) / 2
    diagonal = px * py / math.hypot(px, py)
    return 0.5 * (along_x * c0 * py + along_y * c90 * px + slanted * (c45 + c135) * diagonal)


def changes_of(phase, inside=None):
    """All changes between neighbours along rows, columns and both diagonals."""
    inside = np.ones(phase.shape, bool) if inside is None else inside

    def count(one, other):
        return int(((phase[one] != phase[other]) & inside[one] & inside[other]).sum())
    head, tail, every = slice(None, -1), slice(1, None), slice(None)
    return (count((every, head), (every, tail)), count((head, every), (tail, every)),
            count((tail, head), (head, tail)), count((head, head), (tail, tail)))


def corners(dot, px, py):
    """Corners of the first and last pixel of each row: the hull has no others."""
    ys = np.arange(dot.shape[0])
    left, right = dot.argmax(1), dot.shape[1] - dot[:, ::-1].argmax(1)
    return np.stack([np.tile(np.concatenate([left, right]), 2) * px,
                     np.concatenate([ys, ys, ys + 1, ys + 1]) * py], 1)


def feret(points):
    """Largest and smallest width, and the area of the hull, by looking at every pair and edge."""
    hull = ConvexHull(points)
    ring = points[hull.vertices]
    apart = ring[:, None] - ring[None]
    largest = np.hypot(apart[..., 0], apart[..., 1]).max()
    sides = np.roll(ring, -1, axis=0) - ring
    sides /= np.hypot(sides[:, 0], sides[:, 1])[:, None]
    away = np.abs(sides[:, :1] * apart[..., 1].T - sides[:, 1:] * apart[..., 0].T)
    return float(largest), float(away.max(axis=1).min()), hull.volume


def shape(dot, eight, px, py):
    """One component alone in its box."""
    wide = np.pad(dot, 1)
    area = int(dot.sum()) * px * py
    perimeter = crofton(changes_of(wide), px, py)
    largest, smallest, hull = feret(corners(dot, px, py))
    holes = ndimage.label(~wide, None if eight else np.ones((3, 3)))[1] - 1
    return {'perimeter_mm': perimeter,
            'circularity': min(1.0, math.sqrt(4 * math.pi * area) / perimeter),
            'feret_max_mm': largest, 'feret_min_mm': smallest, 'aspect': smallest / largest,
            'solidity': area / hull, 'holes': holes}


def gap_of(own, points, which, label, px, py):
    """The shortest bare distance from `own` to the points of others, all sorted by y; of equally short
    ones the least."""
    margin = 16 * max(px, py)
    while True:
        low, high = own.min(0) - margin, own.max(0) + margin
        rows = slice(*np.searchsorted(points[:, 1], (low[1], high[1]), 'left'))
        near = points[rows][(points[rows, 0] >= low[0]) & (points[rows, 0] <= high[0])
                            & (which[rows] != label)]
        if len(near):
            distance, _ = cKDTree(near).query(own)
            if distance.min() <= margin:
                break
        margin *= 2  # what is farther away than the margin may be missing
    shortest = distance.min()
    tree, least = cKDTree(near), math.inf
    for at in own[distance <= shortest * (1 + 1e-9)]:
        for j in tree.query_ball_point(at, shortest * (1 + 1e-9)):
            least = min(least, shortest - shortest / math.hypot(*((near[j] - at) / (px, py))))
    return least


def gaps(labels, chosen, px, py):
    """For each chosen label the bare distance to the nearest pixel of any other chosen one."""
    if len(chosen) < 2:
        return [None] * len(chosen)
    kept = np.isin(labels, chosen)
    inner = ndimage.binary_erosion(kept, np.ones((3, 3)))
    ys, xs = np.nonzero(kept & ~inner)
    which = labels[ys, xs]
    points = np.stack([xs * px, ys * py], 1)
    by_label = np.argsort(which, kind='stable')
    starts, ends = (np.searchsorted(which[by_label], chosen, side) for side in ('left', 'right'))
    return [gap_of(points[by_label[start:end]], points, which, label, px, py)
            for label, start, end in zip(chosen, starts, ends)]


def covariance(ink, lag, axis, inside=None):
    """Share of pairs of pixels, lag apart along an axis and both inside, that are both ink."""
    inside = np.ones(ink.shape, bool) if inside is None else inside
    ink, inside = ((ink & inside, inside) if axis == 1 else ((ink & inside).T, inside.T))
    end = ink.shape[1] - lag
    pairs = int((inside[:, :end] & inside[:, lag:]).sum())
    return int((ink[:, :end] & ink[:, lag:]).sum()) / pairs if pairs else None


def euler(ink, inside=None):
    """Components less holes of 8-connected ink, what lies on the right and lower border not counted:
    vertices less edges plus faces of the pixels, over all 2 x 2 windows that reach up and left."""
    wide = np.pad(ink if inside is None else ink & inside, 1)[:-1, :-1]
    here, left = wide[1:, 1:], wide[1:, :-1]
    up, both = wide[:-1, 1:], wide[:-1, :-1]
    vertices = here | left | up | both
    across, down = here | up, here | left  # the edge above a pixel and the one left of it
    return int(vertices.sum()) - int(across.sum()) - int(down.sum()) + int(here.sum())


__all__ = ['changes_of', 'covariance', 'crofton', 'euler', 'gaps', 'shape']
