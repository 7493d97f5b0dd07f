"""Which flat rectangles run into one another."""

import numpy as np
import shapely

from layout.geometry.hinged import corners
from layout.geometry.rectangles import Rectangles
from sites.conventions import BoolArray, FloatArray, IntArray

TOUCH_M = 1e-3
"""Rectangles that share an edge or a strip this narrow touch; they do not cross."""

LEVEL_M = 1e-6


def crossing_pairs(first: Rectangles, second: Rectangles) -> tuple[IntArray, IntArray]:
    """Indices (k,), (k,) of the pairs that cross, one of each set, in order."""
    if not len(first) or not len(second):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    i, j = shapely.STRtree(_boxes(second)).query(_boxes(first))
    tall = _overlap_in_height(first[i], second[j])
    i, j = i[tall], j[tall]
    met = cross(first[i], second[j])
    order = np.lexsort((j[met], i[met]))
    return i[met][order].astype(np.int64), j[met][order].astype(np.int64)


def _boxes(rectangles: Rectangles) -> np.ndarray:
    points = corners(rectangles)[..., :2]
    low, high = points.min(axis=1), points.max(axis=1)
    return np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))


def _overlap_in_height(a: Rectangles, b: Rectangles) -> BoolArray:
    za, zb = corners(a)[..., 2], corners(b)[..., 2]
    clear = (za.min(axis=1) > zb.max(axis=1) + LEVEL_M) | (zb.min(axis=1) > za.max(axis=1) + LEVEL_M)
    return np.asarray(~clear)


def cross(a: Rectangles, b: Rectangles) -> BoolArray:
    """Whether rectangle i of one set crosses or overlaps rectangle i of the other, (n,) bool.

    Two convex shapes are apart exactly where some axis separates their shadows on it (separating axis theorem); for
    flat rectangles the two normals, the four edges and the edges' cross products are enough.

    >>> one, other = np.zeros((1, 3)), np.array([[0.5, 0.5, -0.5]])
    >>> flat = Rectangles(one, np.eye(3)[:1], np.eye(3)[1:2])
    >>> bool(cross(flat, Rectangles(other, np.eye(3)[:1], np.eye(3)[2:]))[0])
    True
    """
    pa, pb = corners(_shrunk(a)), corners(_shrunk(b))
    edges_a, edges_b = (a.along, a.up), (b.along, b.up)
    axes = [a.normal, b.normal, *edges_a, *edges_b, *(np.cross(u, v) for u in edges_a for v in edges_b)]
    apart = np.zeros(len(a), dtype=bool)
    for axis in axes:
        apart |= _separates(axis, pa, pb)
    return ~apart


def _separates(axis: FloatArray, a: FloatArray, b: FloatArray) -> BoolArray:
    length = np.linalg.norm(axis, axis=1)
    usable = length > 1e-9
    unit = axis / np.where(usable, length, 1.0)[:, None]
    sa, sb = (np.einsum("nck,nk->nc", points, unit) for points in (a, b))
    clear = (sa.min(axis=1) > sb.max(axis=1) + LEVEL_M) | (sb.min(axis=1) > sa.max(axis=1) + LEVEL_M)
    return np.asarray(usable & clear)


def _shrunk(rectangles: Rectangles) -> Rectangles:
    """Moved in by TOUCH_M on every side, by at most a quarter of the edge."""
    parts = []
    corner = rectangles.corner
    for edge in (rectangles.along, rectangles.up):
        length = np.linalg.norm(edge, axis=1, keepdims=True)
        share = np.minimum(0.25, TOUCH_M / length)
        corner = corner + share * edge
        parts.append((1.0 - 2.0 * share) * edge)
    return Rectangles(corner, parts[0], parts[1])
