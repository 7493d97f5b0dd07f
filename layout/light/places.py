"""Places that rays share: landings close together, as seen from where they come from, are worked out once.

They lie on nets whose step grows with the distance, so that near shadows keep their shape and far ones cost little.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sites.conventions import FloatArray, IntArray

_SPAN = 1 << 18
"""Net cells along each axis, far more than a scene holds; landings beyond share the last."""


@dataclass(frozen=True)
class PlaceNet:
    """How far apart places lie: at least ``finest_m`` [m], else ``per_distance`` [-] of the distance.

    Experiments behind the values: tests/reference/test_infinite_sheds.py prints the error of the year,
    tests/reference/test_view_factors.py that of the map.
    """

    finest_m: float
    per_distance: float


def net_keys(hits: FloatArray, distance: FloatArray, net: PlaceNet) -> IntArray:
    """Number of the net cell that each landing hits (r, 3) [m] at distance (r,) [m] falls in, (r,) int."""
    level = np.ceil(np.log2(np.maximum(1.0, distance * (net.per_distance / net.finest_m)))).astype(np.int64)
    step = net.finest_m * 2.0**level
    cell = np.floor(hits / step[:, None] + _SPAN // 2)
    x, y, z = np.clip(cell, 0, _SPAN - 1).astype(np.int64).T
    return ((level * _SPAN + x) * _SPAN + y) * _SPAN + z


def representatives(of_hit: IntArray, n: int) -> IntArray:
    """A landing for each of n places, (n,) int.

    A landing stands for its place, never the place's middle, which may lie inside a building. Which one is left to
    a fixed shuffle, else the first rays of the lattice would be preferred.
    """
    shuffle = np.random.default_rng(0).permutation(len(of_hit))
    chosen = np.zeros(n, dtype=np.int64)
    chosen[of_hit[shuffle]] = shuffle
    return chosen


def distinct(keys: IntArray) -> tuple[IntArray, IntArray]:
    """Number of each key among the distinct ones, in the order they first appear, and those; keys (r,) int."""
    of_key, found = pd.factorize(keys)
    return of_key, np.asarray(found)
