# SPDX-License-Identifier: GPL-3.0-or-later
"""Shapes and their numbers by scikit-image 0.19 and scipy: python3 make_shapes.py > shapes.txt

Perimeter, Euler number and orientation (from its inertia tensor) are scikit-image's. Its feret_diameter_max and solidity are
not of the pixels' corners (the first is measured between the middles of pixel edges, the second
counts the pixels of a filled hull), so that Feret diameters and hull come from scipy's hull (Qhull)
of all corners, the largest diameter by trying all pairs; scikit-image's diameter is given too.
"""
import numpy as np
import skimage
from scipy import ndimage
from scipy.spatial import ConvexHull
from scipy.spatial.distance import pdist
from skimage import measure


def numbers(mask):
    region = measure.regionprops(mask.astype(np.uint8))[0]
    y, x = np.nonzero(mask)
    corners = np.unique(np.concatenate([np.c_[x + i, y + j] for i in (0, 1) for j in (0, 1)]), axis=0)
    hull = ConvexHull(corners)
    points = corners[hull.vertices].astype(float)
    widths = []
    for a, b in zip(points, np.roll(points, -1, axis=0)):
        side = (b - a) / np.hypot(*(b - a))
        away = np.abs((points - a) @ np.array([-side[1], side[0]]))
        widths.append(away.max())
    moments = np.cov(x, y, bias=True)
    isotropic = np.hypot(moments[0, 0] - moments[1, 1], 2 * moments[0, 1]) < 1e-9
    # its orientation has the wrong sign for axes at exactly 45 degrees: from its inertia tensor instead
    (a, b), (_, c) = region.inertia_tensor
    angle = np.nan if isotropic else (90 + np.degrees(0.5 * np.arctan2(-2 * b, c - a))) % 180
    if a != c and not isotropic:
        assert abs((90 + np.degrees(region.orientation) - angle + 90) % 180 - 90) < 1e-6
    return (mask.sum(), measure.perimeter_crofton(np.pad(mask, 1), directions=4),
            measure.euler_number(np.pad(mask, 1), connectivity=2), pdist(points).max(), min(widths),
            mask.sum() / hull.volume, angle, region.feret_diameter_max)


def ellipse(a, b, degrees, size=41):
    y, x = np.mgrid[:size, :size] - (size - 1) / 2.0
    t = np.radians(degrees)
    u, v = x * np.cos(t) - y * np.sin(t), x * np.sin(t) + y * np.cos(t)
    return (u / a) ** 2 + (v / b) ** 2 <= 1


def shapes():
    yield "one-pixel", np.ones((1, 1), bool)
    yield "row-of-7", np.ones((1, 7), bool)
    yield "column-of-5", np.ones((5, 1), bool)
    yield "diagonal-of-6", np.eye(6, dtype=bool)
    yield "other-diagonal-of-6", np.eye(6, dtype=bool)[::-1]
    yield "square-9", np.ones((9, 9), bool)
    yield "disc-10", ellipse(10, 10, 0)
    yield "ring", ellipse(15, 15, 0) & ~ellipse(8, 8, 0)
    yield "two-holes", np.pad(np.array([[1, 0, 1], [1, 1, 1], [1, 0, 1]], bool), 1, constant_values=True)
    yield "corner-to-corner", np.array([[0, 1, 0], [1, 0, 1], [0, 1, 0]], bool)
    for degrees in (0, 20, 45, 70, 100, 155):
        yield "ellipse-%d" % degrees, ellipse(17, 6, degrees)
    random = np.random.RandomState(7)
    for i in range(12):
        field = ndimage.gaussian_filter(random.normal(size=(36, 44)), 1.0 + 0.2 * i)
        labels, _ = ndimage.label(field > 0.3 * field.std(), np.ones((3, 3)))
        yield "field-%d" % i, labels == np.argmax(np.bincount(labels.ravel())[1:]) + 1


print("# scikit-image %s, numpy %s; by make_shapes.py" % (skimage.__version__, np.__version__))
print("# name width height / area_px perimeter_px euler8 feret_max_px feret_min_px solidity orientation_deg skimage_feret_px / rows")
for name, mask in shapes():
    rows, columns = np.any(mask, axis=1), np.any(mask, axis=0)
    mask = mask[rows][:, columns]
    print(name, mask.shape[1], mask.shape[0])
    print(" ".join("%.17g" % value for value in numbers(mask)))
    for row in mask:
        print("".join("#" if value else "." for value in row))
