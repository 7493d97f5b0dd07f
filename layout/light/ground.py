"""Light by way of the ground: where rays from cells meet it, and how much sky light those places get.

Rays that land close together, as seen from the cell, share one place: places lie on nets whose step grows with
the distance from the cell, so that near shadows keep their shape and far ground costs little.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from layout.geometry.rays import START_OFFSET_M, RayKernel
from layout.light.lattice import cosine_hemisphere, fibonacci_lattice, frame
from layout.light.sky_parts import SkyParts
from layout.pieces import Ground
from sites.conventions import FloatArray, IntArray

STEP_PER_DISTANCE = 0.1
"""Step of the net over the distance from the cell: a tenth of a radian is finer than the rays are apart."""

GROUND_DOME_RAYS = 89


@dataclass(frozen=True, eq=False)
class GroundPlaces:
    """points : (g, 3) [m] just above the ground; of_hit : (r,) int, the place that each ray shares."""

    points: FloatArray
    of_hit: IntArray


def ground_places(ground: Ground, hits: FloatArray, distance: FloatArray, finest_step_m: float) -> GroundPlaces:
    """Gather ray landings into shared places.

    hits : (r, 3) [m] on the ground; distance : (r,) [m] from the cell
    """
    level = np.ceil(np.log2(np.maximum(1.0, distance * STEP_PER_DISTANCE / finest_step_m))).astype(np.int64)
    step = finest_step_m * 2.0**level
    span = 1 << 26
    ix = np.clip(np.floor(hits[:, 0] / step), -(span // 2), span // 2 - 1).astype(np.int64) + span // 2
    iy = np.clip(np.floor(hits[:, 1] / step), -(span // 2), span // 2 - 1).astype(np.int64) + span // 2
    key = (level * span + ix) * span + iy
    # A landing stands for its place, never the place's middle, which may lie inside a building. Which one is
    # left to a fixed shuffle, else the first rays of the lattice would be preferred.
    shuffle = np.random.default_rng(0).permutation(len(key))
    _, first, inverse = np.unique(key[shuffle], return_index=True, return_inverse=True)
    of_hit = np.zeros(len(key), dtype=np.int64)
    of_hit[shuffle] = inverse
    points = hits[shuffle[first]] + START_OFFSET_M * ground.normal
    return GroundPlaces(points, of_hit)


def ground_columns(kernel: RayKernel, ground: Ground, parts: SkyParts, points: FloatArray) -> np.ndarray:
    """Irradiance of ground places from each part of the sky, without bounces.

    points : (g, 3) [m]  ->  (m + 2, g) float32: sun directions, dome, horizon band.
    """
    n = ground.normal
    out = np.zeros((len(parts.sun) + 2, len(points)), dtype=np.float32)
    cosine = parts.sun @ n
    up = np.flatnonzero(cosine > 0)
    out[up] = cosine[up, None] * ~kernel.blocked(points, parts.sun[up])
    directions = cosine_hemisphere(fibonacci_lattice(GROUND_DOME_RAYS, (0.31, 0.77))) @ frame(n)
    directions = directions[parts.above_skyline(directions)]
    free = ~kernel.blocked(points, directions)
    out[-2] = free.sum(axis=0) / GROUND_DOME_RAYS
    weights, _ = parts.ring_weights(n)
    if ground.slope_deg > 0:
        used = weights > 0
        out[-1] = weights[used] @ ~kernel.blocked(points, parts.ring_directions()[used])
    return out


def gather(
    rows: IntArray, weights: FloatArray, places: GroundPlaces, light: np.ndarray, n_rows: int
) -> np.ndarray:
    """Sum the light of places over the rays of each row.

    rows : (r,) int row of each ray; weights : (r,); light : (c, g)  ->  (c, n_rows) float32.
    """
    matrix = csr_array(
        (weights.astype(np.float32), (rows, places.of_hit)), shape=(n_rows, light.shape[1]), dtype=np.float32
    )
    return (matrix @ np.ascontiguousarray(light.T)).T
