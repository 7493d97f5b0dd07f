"""Light by way of the ground: how much sky light its places get, and how cells gather it."""

import numpy as np
from scipy.sparse import csr_array

from layout.geometry.rays import RayKernel
from layout.light.lattice import cosine_hemisphere, fibonacci_lattice, frame
from layout.light.sky_parts import SkyParts
from layout.pieces import Ground
from sites.conventions import FloatArray, IntArray

EXACT_RAYS = 10946
"""Rays that settle how much sky open ground sees."""


def ground_columns(kernel: RayKernel, ground: Ground, parts: SkyParts, points: FloatArray) -> np.ndarray:
    """Irradiance of ground places from each part of the sky, without bounces.

    points : (g, 3) [m]  ->  (m + 2, g) float32: sun directions, dome, horizon band.
    """
    n = ground.normal
    out = np.zeros((len(parts.sun) + 2, len(points)), dtype=np.float32)
    cosine = parts.sun @ n
    up = np.flatnonzero(cosine > 0)
    out[up] = cosine[up, None] * ~kernel.blocked(points, parts.sun[up])
    if not parts.ground_rays:
        return out
    directions = cosine_hemisphere(fibonacci_lattice(parts.ground_rays, (0.31, 0.77))) @ frame(n)
    directions = directions[parts.above_skyline(directions)]
    open_sky = parts.above_skyline(cosine_hemisphere(fibonacci_lattice(EXACT_RAYS)) @ frame(n)).mean()
    out[-2] = open_sky * (~kernel.blocked(points, directions)).mean(axis=0) if len(directions) else 0.0
    weights, _ = parts.ring_weights(n)
    if ground.slope_deg > 0:
        used = weights > 0
        out[-1] = weights[used] @ ~kernel.blocked(points, parts.ring_directions()[used])
    return out


def gather(
    rows: IntArray, weights: FloatArray, of_hit: IntArray, light: np.ndarray, n_rows: int
) -> np.ndarray:
    """Sum the light of places over the rays of each row.

    rows, of_hit : (r,) int row and place of each ray; weights : (r,); light : (c, g)  ->  (c, n_rows) float32.
    """
    matrix = csr_array(
        (weights.astype(np.float32), (rows, of_hit)), shape=(n_rows, light.shape[1]), dtype=np.float32
    )
    return (matrix @ np.ascontiguousarray(light.T)).T
