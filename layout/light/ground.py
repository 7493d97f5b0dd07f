"""Light by way of the ground: how much sky light its places get, kept for all cells that look at them."""

import numpy as np
import pandas as pd
from scipy.sparse import csr_array

from layout.geometry.rays import START_OFFSET_M, RayKernel
from layout.light.lattice import cosine_hemisphere, fibonacci_lattice, frame
from layout.light.places import PlaceNet, net_keys, representatives
from layout.light.sky_parts import SkyParts
from layout.pieces import Ground
from sites.conventions import FloatArray, IntArray

EXACT_RAYS = 10946
"""Rays that settle how much sky open ground sees."""


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
        self._keys = pd.Index(np.zeros(0, dtype=np.int64))
        self._lit = np.zeros((0, len(self.up)), dtype=bool)
        self._sky = np.zeros((0, 2), dtype=np.float32)

    def at(self, hits: FloatArray, distance: FloatArray) -> tuple[IntArray, np.ndarray]:
        """Light of the places that rays meet.

        hits : (r, 3) [m] on the ground; distance : (r,) [m] from where they come
        Returns the place of each ray (r,) and the light of the g places, (g, m + 2) float32: sun directions, dome,
        horizon band.
        """
        of_hit, keys = pd.factorize(net_keys(hits, distance, self.net))
        known = self._keys.get_indexer(pd.Index(keys))
        new = np.flatnonzero(known < 0)
        if len(new):
            chosen = representatives(of_hit, len(keys))[new]
            known[new] = len(self._keys) + np.arange(len(new))
            self._trace(pd.Index(keys[new]), hits[chosen] + START_OFFSET_M * self.ground.normal)
        light = np.zeros((len(keys), len(self.cosine) + 2), dtype=np.float32)
        light[:, self.up] = self._lit[known] * self.cosine[self.up].astype(np.float32)
        light[:, -2:] = self._sky[known]
        return of_hit, light

    def _trace(self, keys: pd.Index, points: FloatArray) -> None:
        lit = ~self.kernel.blocked(points, self.sun)
        sky = np.zeros((len(points), 2), dtype=np.float32)
        if len(self.dome):
            sky[:, 0] = self.open_sky * (~self.kernel.blocked(points, self.dome)).mean(axis=0)
        if len(self.ring):
            sky[:, 1] = self.ring_weights @ ~self.kernel.blocked(points, self.ring)
        self._keys = self._keys.append(keys)
        self._lit = np.concatenate([self._lit, lit.T])
        self._sky = np.concatenate([self._sky, sky])


def gather(rows: IntArray, weights: FloatArray, of_hit: IntArray, light: np.ndarray, n_rows: int) -> np.ndarray:
    """Sum the light of places over the rays of each row.

    rows, of_hit : (r,) int row and place of each ray; weights : (r,); light : (g, c)  ->  (c, n_rows) float32.
    """
    matrix = csr_array((weights.astype(np.float32), (rows, of_hit)), shape=(n_rows, len(light)), dtype=np.float32)
    return (matrix @ light).T
