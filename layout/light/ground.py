"""Light by way of the ground: how much sky light its places get, kept for all cells that look at them."""

from copy import copy

import numpy as np
from scipy.sparse import csr_array

from layout.geometry.rays import START_OFFSET_M, RayKernel
from layout.light.kept import KeptPlaces, Trace
from layout.light.lattice import cosine_hemisphere, fibonacci_lattice, frame
from layout.light.places import PlaceNet
from layout.light.sky_parts import SkyParts
from layout.pieces import Ground
from sites.conventions import FloatArray, IntArray

EXACT_RAYS = 10946
"""Rays that settle how much sky open ground sees."""


class SheetPlaces:
    """What places on matt sheets pass on, kept for all that look at them: filled by the receivers that meet them, by
    sheet, side and what light may still meet. Not frozen: it grows. One tracer uses it at a time."""

    def __init__(self, net: PlaceNet) -> None:
        self.net = net
        self.sheets: dict[tuple[int, float, int, int], KeptPlaces] = {}


class GroundLight(SheetPlaces):
    """Sky light on places of the ground, traced when first asked for and kept.

    by_sheets : fills in the light of places in a scene with sheets, whose beam and sky light falls on the ground, too;
        None: only straight light
    """

    def __init__(
        self, kernel: RayKernel, ground: Ground, parts: SkyParts, net: PlaceNet, by_sheets: Trace | None = None
    ) -> None:
        super().__init__(net)
        self.kernel, self.ground, self._by_sheets = kernel, ground, by_sheets
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
        self._places = KeptPlaces(len(self.cosine) + 2)

    def for_other_sheets(self) -> "GroundLight":
        """The same ground, its places kept on in common, for a scene with other sheets."""
        other = copy(self)
        other.sheets = {}
        return other

    def at(self, hits: FloatArray, distance: FloatArray) -> tuple[IntArray, np.ndarray]:
        """Light of the places that rays meet.

        hits : (r, 3) [m] on the ground; distance : (r,) [m] from where they come
        Returns the place of each ray (r,) and the light of the g places known so far, (g, m + 2) float32: sun
        directions, dome, horizon band.
        """
        return self._places.at(hits, distance, self.net, self._by_sheets or self._trace)

    def _trace(self, hits: FloatArray, out: np.ndarray) -> None:
        m, points = len(self.cosine), hits + START_OFFSET_M * self.ground.normal
        lit = ~self.kernel.blocked(points, self.sun)
        out[:, self.up] = (lit * self.cosine[self.up, None].astype(np.float32)).T
        if len(self.dome):
            out[:, m] = self.open_sky * (~self.kernel.blocked(points, self.dome)).mean(axis=0)
        if len(self.ring):
            out[:, m + 1] = self.ring_weights @ ~self.kernel.blocked(points, self.ring)


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
