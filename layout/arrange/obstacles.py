"""Obstacles on the plot as opaque boxes.

Walls stand along every edge of the outline, from the ground to a level top at the obstacle's height above the
highest ground under it. Where the ground falls along a wall its foot goes down in steps, so that nothing is
buried and no gap under it is higher than a step. A rectangular outline has its exact top. Any other top is
made of strips that lie inside the outline: what they leave open along the rim can only be looked into from
above, and no shadow falls from outside the outline. Trees are opaque in every season.
"""

from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from layout.pieces import Blocker
from sites.conventions import LENGTH_TOLERANCE_M, FloatArray
from sites.plot import GRID_DECIMALS, GRID_M, Obstacle, Plot

STEP_M = 0.1
"""Height of the steps at the foot of a wall on a slope."""

MOST_STEPS = 60

STRIPS = 8
"""Least number of strips of a top that is no rectangle."""


def obstacle_blockers(plot: Plot | None) -> tuple[Blocker, ...]:
    """Walls and tops of all obstacles of a plot, at their true heights on its plane."""
    if plot is None:
        return ()
    return tuple(blocker for obstacle in plot.obstacles for blocker in _box(obstacle, plot))


def _box(obstacle: Obstacle, plot: Plot) -> list[Blocker]:
    outline = shapely.remove_repeated_points(obstacle.outline.simplify(LENGTH_TOLERANCE_M), LENGTH_TOLERANCE_M)
    ring = np.asarray(outline.exterior.coords)
    top = float(plot.ground_z(ring[:, 0], ring[:, 1]).max()) + obstacle.height_m
    walls = [part for a, b in pairwise(ring) for part in _wall(a, b, top, plot)]
    tops = [
        Blocker(np.array([*corner, top]), np.array([*along, 0.0]), np.array([*across, 0.0]))
        for corner, along, across in top_rectangles(outline)
    ]
    return walls + tops


def _wall(a: FloatArray, b: FloatArray, top: float, plot: Plot) -> list[Blocker]:
    """A wall from a to b (2,) on the map, in pieces that each stand on their highest ground."""
    rise = abs(float(plot.gradient @ (b - a)))
    n = min(MOST_STEPS, max(1, int(np.ceil(rise / STEP_M))))
    points = a + np.linspace(0.0, 1.0, n + 1)[:, None] * (b - a)
    ground = plot.ground_z(points[:, 0], points[:, 1])
    foot = np.maximum(ground[:-1], ground[1:])
    along = np.array([*(b - a) / n, 0.0])
    return [
        Blocker(np.array([*p, z]), along, np.array([0.0, 0.0, top - z])) for p, z in zip(points[:-1], foot, strict=True)
    ]


def top_rectangles(outline: Polygon, least: int = STRIPS) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
    """Rectangles (corner, along, across), each (2,) [m], inside an outline.

    One where the outline is a rectangle itself, else at least so many strips, cut at every corner.
    """
    frame = np.asarray(shapely.minimum_rotated_rectangle(outline).exterior.coords)
    along, across = frame[1] - frame[0], frame[3] - frame[0]
    u, v = along / np.linalg.norm(along), across / np.linalg.norm(across)
    axes = np.stack([u, v])
    size = np.array([np.linalg.norm(along), np.linalg.norm(across)])
    if outline.area > (1.0 - 1e-6) * size.prod():
        return [(frame[0], along, across)]
    local = Polygon((np.asarray(outline.exterior.coords) - frame[0]) @ axes.T)
    every = np.concatenate([np.asarray(local.exterior.coords)[:, 1], _even(size[1], least)])
    cuts = np.unique(np.round(every, GRID_DECIMALS))
    spans = [
        (left, low, right, high)
        for low, high in pairwise(cuts)
        for left, right in _inner_spans(local, low, high, size[0])
    ]
    return [(frame[0] + left * u + low * v, (right - left) * u, (high - low) * v) for left, low, right, high in spans]


def _even(length: float, strips: int) -> FloatArray:
    return np.linspace(0.0, length, strips + 1)


def _inner_spans(local: Polygon, low: float, high: float, width: float) -> list[tuple[float, float]]:
    """Spans (left, right) over which the outline fills a strip without corners from edge to edge."""
    strip = local.intersection(box(-1.0, low, width + 1.0, high), grid_size=GRID_M)
    spans = []
    for part in getattr(strip, "geoms", [strip]):
        if part.geom_type != "Polygon" or part.area <= LENGTH_TOLERANCE_M:
            continue
        points = np.asarray(part.exterior.coords)
        middle = 0.5 * (low + high)
        at_low, at_high = points[points[:, 1] < middle, 0], points[points[:, 1] >= middle, 0]
        left, right = max(at_low.min(), at_high.min()), min(at_low.max(), at_high.max())
        if right - left > 0.01:
            spans.append((float(left), float(right)))
    return spans
