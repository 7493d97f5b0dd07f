"""Places that rays share: landings close together, as seen from where they come from, are worked out once.

They lie on nets whose step grows with the distance, so that near shadows keep their shape and far ones cost little.
"""

from dataclasses import dataclass

import numpy as np

from sites.conventions import FloatArray, IntArray

_SPAN = 1 << 18
"""Net cells along each axis, far more than a scene holds; landings beyond share the last."""


@dataclass(frozen=True)
class PlaceNet:
    """How far apart places lie: at least ``finest_m`` [m], else ``per_distance`` [-] of the distance.

    Experiment behind the values of the year and of the map: tests/reference/test_ground_light.py prints the error.
    """

    finest_m: float
    per_distance: float


@dataclass(frozen=True, eq=False)
class SharedPlaces:
    """representative : (g,) int, the landing that stands for each place; of_hit : (r,) int, each landing's place."""

    representative: IntArray
    of_hit: IntArray


def shared_places(hits: FloatArray, distance: FloatArray, net: PlaceNet) -> SharedPlaces:
    """Gather landings hits (r, 3) [m] at distances (r,) [m] into places."""
    level = np.ceil(np.log2(np.maximum(1.0, distance * net.per_distance / net.finest_m))).astype(np.int64)
    step = net.finest_m * 2.0**level
    cell = np.floor(hits / step[:, None] + _SPAN // 2)
    x, y, z = np.clip(cell, 0, _SPAN - 1).astype(np.int64).T
    key = ((level * _SPAN + x) * _SPAN + y) * _SPAN + z
    # A landing stands for its place, never the place's middle, which may lie inside a building. Which one is
    # left to a fixed shuffle, else the first rays of the lattice would be preferred.
    shuffle = np.random.default_rng(0).permutation(len(key))
    _, first, inverse = np.unique(key[shuffle], return_index=True, return_inverse=True)
    of_hit = np.zeros(len(key), dtype=np.int64)
    of_hit[shuffle] = inverse
    return SharedPlaces(shuffle[first], of_hit)
