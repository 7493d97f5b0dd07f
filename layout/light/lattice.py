"""Evenly spread sample points on the unit square and on the hemisphere."""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from sites.conventions import FloatArray, IntArray

_FIBONACCI = (
    1,
    2,
    3,
    5,
    8,
    13,
    21,
    34,
    55,
    89,
    144,
    233,
    377,
    610,
    987,
    1597,
    2584,
    4181,
    6765,
    10946,
    17711,
)


_SHIFTS = (0.754877666246693, 0.569840290998053)
"""Steps of `additive_sequence` in two dimensions. A step of the golden ratio would leave Fibonacci lattices where they
are: their numbers times it are nearly whole."""

LATER_WEIGHT = 0.3
"""How much each dimension of a lattice counts in the choice of its generators; 0.05 to 1 do about as well."""


def fibonacci_lattice(least: int, shift: tuple[float, float] = (0.0, 0.0)) -> FloatArray:
    """The two-dimensional Fibonacci lattice with at least ``least`` points (the next Fibonacci number), moved by
    ``shift`` and wrapped. (n, 2) float in [0, 1).

    Source: Sloan & Joe, Lattice Methods for Multiple Integration (1994), ch. 3 (title from memory).
    """
    k = next(i for i, f in enumerate(_FIBONACCI) if f >= least)
    n, generator = _FIBONACCI[k], _FIBONACCI[max(k - 1, 0)]
    i = np.arange(n)
    points = np.stack([(i + 0.5) / n, (i * generator % n + 0.5) / n], axis=1)
    return (points + np.asarray(shift)) % 1.0


def rank_one_lattice(n: int, dimensions: int) -> FloatArray:
    """A lattice of n points in any number of dimensions; (n, dimensions) in [0, 1).

    Its generators are found one by one, each to make the worst error of smooth periodic functions least: component
    by component construction (Sloan & Reztsov, Math. Comp. 71 (2002) 263-273; title from memory).
    """
    return (np.arange(n)[:, None] * np.array(_generators(n, dimensions)) % n + 0.5) / n


@lru_cache(maxsize=16)
def _generators(n: int, dimensions: int) -> tuple[int, ...]:
    i, x = np.arange(n), np.arange(n) / n
    kernel = 1.0 + LATER_WEIGHT * 2.0 * np.pi**2 * (x * x - x + 1.0 / 6.0)
    candidates = np.flatnonzero(np.gcd(i, n) == 1)[: max(1, n // 2)]
    found, product = [1], kernel.copy()
    for _ in range(dimensions - 1):
        error = np.array([kernel[c * i % n] @ product for c in candidates])
        found.append(int(candidates[error.argmin()]))
        product *= kernel[found[-1] * i % n]
    return tuple(found)


def additive_sequence(numbers: IntArray, dimensions: int) -> FloatArray:
    """Evenly spread points of the unit cube by their numbers (...,); (..., dimensions) in [0, 1).

    Each step is the last one plus the powers of 1/φ, φ^(dimensions + 1) = φ + 1, and wrapped (Roberts' generalised
    golden ratio; common practice, from memory).
    """
    phi = 1.0
    for _ in range(60):
        phi = (1.0 + phi) ** (1.0 / (dimensions + 1))
    return (0.5 + np.asarray(numbers)[..., None] * phi ** -np.arange(1.0, dimensions + 1.0)) % 1.0


def draw_points(sources: int, draws: int, rough: Sequence[bool], number: int = 0) -> FloatArray:
    """Points of the unit square that draw the facets of the sheets on a path, by source and draw.

    rough : for each sheet of the path, whether its facets differ; a path without rough sheets needs one draw
    number : chooses among sets of draws that are moved against each other
    Returns (sources, count, sheets, 2) in [0, 1), count at least ``draws``. The draws of one path's sheets are
    independent of each other; each source's are moved, so that a year does not repeat one draw's error.
    """
    which = np.flatnonzero(rough)
    lattice = fibonacci_lattice(draws if len(which) else 1, (0.37, 0.61))
    count, i = len(lattice), np.arange(sources) + number * sources
    out = np.full((sources, count, len(rough), 2), 0.5)
    if len(which) == 1:
        out[:, :, which[0]] = (lattice + i[:, None, None] * np.array(_SHIFTS)) % 1.0
    elif len(which):
        # The same lattice for each sheet would tie their facets together.
        d = 2 * len(which)
        moved = rank_one_lattice(count, d) + additive_sequence(i, d)[:, None]
        out[:, :, which] = (moved % 1.0).reshape(sources, count, len(which), 2)
    return out


def grid_lattice(n_first: int, n_second: int) -> FloatArray:
    """Centres of an n_first × n_second grid; (n, 2) float."""
    first = (np.arange(n_first) + 0.5) / n_first
    second = (np.arange(n_second) + 0.5) / n_second
    return np.stack(np.meshgrid(first, second, indexing="ij"), axis=-1).reshape(-1, 2)


def cosine_hemisphere(points: FloatArray) -> FloatArray:
    """Directions about +z with a density of cosθ/π, from points of the unit square.

    points : (n, 2) float in [0, 1)  ->  (n, 3) float unit vectors.
    Equal-area map of the square to the disc, lifted to the hemisphere (Shirley & Chiu, J. Graphics Tools 2(3)
    (1997) 45-52).

    >>> float(cosine_hemisphere(fibonacci_lattice(987))[:, 2].mean().round(3))  # 2/3
    0.667
    """
    a, b = 2.0 * points[:, 0] - 1.0, 2.0 * points[:, 1] - 1.0
    first = np.abs(a) > np.abs(b)
    radius = np.where(first, a, b)
    with np.errstate(divide="ignore", invalid="ignore"):
        angle = np.where(first, np.pi / 4 * (b / a), np.pi / 2 - np.pi / 4 * (a / b))
    angle = np.where(radius == 0.0, 0.0, angle)
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    return np.stack([x, y, np.sqrt(np.maximum(0.0, 1.0 - radius**2))], axis=1)


def frame(normals: FloatArray) -> FloatArray:
    """Right-handed frames with the given third axis: (..., 3) -> (..., 3, 3), rows = axes.

    The first axis is horizontal (east for a level surface), so that equal tilts at equal azimuths share it.
    """
    n = np.asarray(normals, dtype=np.float64)
    level = np.hypot(n[..., 0], n[..., 1]) < 1e-9
    first = np.stack([-n[..., 1], n[..., 0], np.zeros(n.shape[:-1])], axis=-1)
    first = np.where(level[..., None], np.array([1.0, 0.0, 0.0]), first)
    first = first / np.linalg.norm(first, axis=-1, keepdims=True)
    return np.stack([first, np.cross(n, first), n], axis=-2)
