"""Light by way of the ground: how much sky light its places get, kept for all cells that look at them."""

import numpy as np
from scipy.sparse import csr_array

from layout.geometry.rays import START_OFFSET_M, RayKernel
from layout.light.lattice import cosine_hemisphere, fibonacci_lattice, frame
from layout.light.places import PlaceNet, distinct, net_keys, representatives
from layout.light.sky_parts import SkyParts
from layout.pieces import Ground
from sites.conventions import FloatArray, IntArray

EXACT_RAYS = 10946
"""Rays that settle how much sky open ground sees."""

PLACES_AT_ONCE = 8192
"""Places traced together: bounds the memory of their shadows."""


class GroundLight:
    """Sky light on places of the ground, traced when first asked for and kept.

    Not frozen: it grows. One tracer uses it at a time.
    """

    def __init__(self, kernel: RayKernel, ground: Ground, parts: SkyParts, net: PlaceNet) -> None:
        self.kernel, self.ground, self.net = kernel, ground, net
        self.cosine = parts.sun @ ground.normal
        self.up = np.flatnonzero(self.cosine > 0)
        self.sun = parts.sun[self.up]
        weights, _ = parts.ring_weights(ground.normal)
        used = weights > 0 if ground.slope_deg > 0 else np.zeros(len(weights), dtype=bool)
        self.ring, self.ring_weights = parts.ring_directions()[used], weights[used]
        dome = cosine_hemisphere(fibonacci_lattice(max(1, parts.ground_rays), (0.31, 0.77))) @ frame(ground.normal)
        self.dome = dome[parts.above_skyline(dome) & (parts.ground_rays > 0)]
        fine = cosine_hemisphere(fibonacci_lattice(EXACT_RAYS)) @ frame(ground.normal)
        self.open_sky = float(parts.above_skyline(fine).mean())
        self._keys = np.zeros(0, dtype=np.int64)  # rising
        self._place_of_key = np.zeros(0, dtype=np.int64)
        self._light = np.zeros((0, len(self.cosine) + 2), dtype=np.float32)  # grows ahead of the places

    def at(self, hits: FloatArray, distance: FloatArray) -> tuple[IntArray, np.ndarray]:
        """Light of the places that rays meet.

        hits : (r, 3) [m] on the ground; distance : (r,) [m] from where they come
        Returns the place of each ray (r,) and the light of the g places known so far, (g, m + 2) float32: sun
        directions, dome, horizon band.
        """
        of_hit, keys = distinct(net_keys(hits, distance, self.net))
        where = np.searchsorted(self._keys, keys)
        known = where < len(self._keys)
        known[known] = self._keys[where[known]] == keys[known]
        place = np.zeros(len(keys), dtype=np.int64)
        place[known] = self._place_of_key[where[known]]
        new, count = np.flatnonzero(~known), len(self._keys)
        if len(new):
            place[new] = count + np.arange(len(new))
            rays = np.flatnonzero(~known[of_hit])
            chosen = rays[representatives(place[of_hit[rays]] - count, len(new))]
            self._grow(count + len(new))
            self._trace(hits[chosen] + START_OFFSET_M * self.ground.normal, self._light[count : count + len(new)])
            order = np.argsort(keys[new])
            before = where[new][order]
            self._keys = np.insert(self._keys, before, keys[new][order])
            self._place_of_key = np.insert(self._place_of_key, before, place[new][order])
        return place[of_hit], self._light[: count + len(new)]

    def _grow(self, count: int) -> None:
        """Room for so many places; each growth is by half, so that copying stays cheap."""
        if count > len(self._light):
            room = np.zeros((max(count, len(self._light) * 3 // 2), self._light.shape[1]), dtype=np.float32)
            room[: len(self._light)] = self._light
            self._light = room

    def _trace(self, points: FloatArray, out: np.ndarray) -> None:
        """Fill the rows ``out`` of places at ``points``."""
        m = len(self.cosine)
        for start in range(0, len(points), PLACES_AT_ONCE):
            part = slice(start, start + PLACES_AT_ONCE)
            lit = ~self.kernel.blocked(points[part], self.sun)
            out[part, self.up] = (lit * self.cosine[self.up, None].astype(np.float32)).T
            if len(self.dome):
                out[part, m] = self.open_sky * (~self.kernel.blocked(points[part], self.dome)).mean(axis=0)
            if len(self.ring):
                out[part, m + 1] = self.ring_weights @ ~self.kernel.blocked(points[part], self.ring)


def gather(rows: IntArray, weights: FloatArray, of_hit: IntArray, light: np.ndarray, n_rows: int) -> np.ndarray:
    """Sum the light of places over the rays of each row.

    rows, of_hit : (r,) int row and place of each ray; weights : (r,); light : (g, c)  ->  (c, n_rows) float32.
    """
    return gather_each(rows, weights[None], of_hit, light, n_rows)[0]


def gather_each(rows: IntArray, weights: FloatArray, of_hit: IntArray, light: np.ndarray, n_rows: int) -> np.ndarray:
    """`gather` for several weights (w, r) of the same rays: (w, c, n_rows) float32.

    A row's sums follow each other in memory, so that the light it needs is at hand for all of them.
    """
    count, flat = len(weights), weights.astype(np.float32)
    if (rows[1:] < rows[:-1]).any():
        order = np.argsort(rows, kind="stable")
        rows, of_hit, flat = rows[order], of_hit[order], flat[:, order]
    each = np.bincount(rows, minlength=n_rows)
    starts = np.concatenate([[0], np.repeat(each, count).cumsum()])
    ray = np.arange(len(rows))
    data = np.zeros(count * len(rows), dtype=np.float32)
    index = np.zeros(count * len(rows), dtype=np.int32)
    ahead = np.concatenate([[0], each.cumsum()])[rows] * (count - 1) + ray
    for w in range(count):
        place = ahead + w * each[rows]
        data[place], index[place] = flat[w], of_hit
    matrix = csr_array((data, index, starts.astype(np.int32)), shape=(n_rows * count, len(light)))
    return (matrix @ light).reshape(n_rows, count, -1).transpose(1, 2, 0)
