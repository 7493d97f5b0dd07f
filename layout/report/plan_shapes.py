"""What a plan view draws of panels: tilted ones from above, upright ones folded outward.

A wall seen from above is a line. It is drawn as if it were let down onto the ground toward the side it
faces, its height multiplied by a factor so that walls that face each other do not overlap:

    ======   front, coloured by front light
    ------   foot of the wall
    ======   rear of a bifacial wall, coloured by rear light
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from layout.pieces import Panel, Rectangle
from sites.conventions import BoolArray, FloatArray
from sites.plot import Plot

WALL_TILT_DEG = 75.0
"""From this tilt on a panel is drawn as a wall."""

SHARE_OF_AISLE = 0.42
"""Largest share of the clear distance between two facing walls that either may cover when folded outward."""

MAX_SAMPLED_WALLS = 400


@dataclass(frozen=True, eq=False)
class PlanShapes:
    """Quadrilaterals to draw, the lowest first.

    outlines : (m, 4, 2) float [m]
    values : (m,) float, the light of each
    feet : (w, 2, 2) float [m] lines on which walls stand
    height_factor : drawn height of walls over true height; 1 where there are no walls
    """

    outlines: FloatArray
    values: FloatArray
    feet: FloatArray
    height_factor: float


def corners(panels: Sequence[Rectangle]) -> FloatArray:
    """(n, 4, 3) float [m] corners of each panel, in order around it."""
    c, a, u = (np.array([getattr(p, name) for p in panels]).reshape(-1, 3) for name in ("corner", "along", "up"))
    return np.stack([c, c + a, c + a + u, c + u], axis=1)


def is_wall(panels: Sequence[Rectangle]) -> BoolArray:
    """(n,) bool: stands upright or nearly so."""
    normals = np.array([p.normal for p in panels]).reshape(-1, 3)
    return np.abs(normals[:, 2]) < np.cos(np.radians(WALL_TILT_DEG))


def clear_distance(centres: FloatArray, outward: FloatArray, half_width: FloatArray) -> float:
    """Smallest horizontal distance from a wall to the next one in front of it, m; infinite where none is.

    centres, outward : (n, 2) float; half_width : (n,) float [m] of each wall
    """
    step = -(-len(centres) // MAX_SAMPLED_WALLS)
    between = centres[None, :, :] - centres[::step, None, :]
    ahead = np.einsum("ijk,ik->ij", between, outward[::step])
    side = np.stack([-outward[::step, 1], outward[::step, 0]], axis=-1)
    aside = np.abs(np.einsum("ijk,ik->ij", between, side))
    facing = (ahead > 0.05) & (aside < half_width[::step, None] + half_width[None, :])
    return float(np.min(ahead, where=facing, initial=np.inf))


def _height_factor(points: FloatArray, outward: FloatArray, height: FloatArray) -> float:
    """Factor for the heights of walls with corners ``points`` (w, 4, 3), so that they keep to their aisle."""
    plan = points[..., :2]
    side = np.stack([-outward[:, 1], outward[:, 0]], axis=-1)
    half_width = 0.5 * np.ptp(np.einsum("wck,wk->wc", plan, side), axis=1)
    room = clear_distance(plan.mean(axis=1), outward, half_width)
    tallest = float(height.max(initial=0.0))
    return 1.0 if tallest <= 0 else min(1.0, SHARE_OF_AISLE * room / tallest)


def plan_shapes(
    panels: Sequence[Panel],
    front: FloatArray,
    rear: FloatArray,
    ground_z: Callable[[FloatArray, FloatArray], FloatArray],
) -> PlanShapes:
    """Shapes of a layout as seen from above.

    front, rear : (n,) float, light per panel; the rear is drawn for bifacial walls only
    ground_z : height of the ground at plan positions, m
    """
    points, wall = corners(panels), is_wall(panels)
    normals = np.array([p.normal for p in panels]).reshape(-1, 3)
    flat = points[~wall]
    order = np.argsort(flat[..., 2].mean(axis=1), kind="stable")
    outlines, values = [flat[order][..., :2]], [np.asarray(front)[~wall][order]]
    feet = np.zeros((0, 2, 2))
    factor = 1.0
    if wall.any():
        stand = points[wall]
        outward = normals[wall, :2] / np.linalg.norm(normals[wall, :2], axis=1, keepdims=True)
        middle = stand.mean(axis=1)
        height = stand[..., 2] - ground_z(middle[:, 0], middle[:, 1])[:, None]
        factor = _height_factor(stand, outward, height)
        fold = factor * height[..., None] * outward[:, None, :]
        both = np.array([p.bifacial for p in panels])[wall]
        outlines += [stand[..., :2] + fold, stand[both][..., :2] - fold[both]]
        values += [np.asarray(front)[wall], np.asarray(rear)[wall][both]]
        low = np.argsort(stand[..., 2], axis=1, kind="stable")[:, :2]
        feet = np.take_along_axis(stand[..., :2], low[..., None], axis=1)
    return PlanShapes(np.concatenate(outlines), np.concatenate(values), feet, factor)


def plan_extent(
    shapes: PlanShapes, plot: Plot | None, others: FloatArray | None = None
) -> tuple[float, float, float, float]:
    """West, south, east, north of all that is drawn, with a margin, m. others : (n, 2) float [m] more points"""
    points = [shapes.outlines.reshape(-1, 2)] + ([] if others is None else [others])
    if plot is not None:
        for geometry in (plot.boundary, *(o.outline for o in plot.obstacles)):
            points.append(np.array(geometry.bounds).reshape(2, 2))
    both = np.concatenate(points)
    if len(both) == 0:
        return (-1.0, -1.0, 1.0, 1.0)
    low, high = both.min(axis=0), both.max(axis=0)
    margin = 0.03 * float(np.max(high - low)) + 0.2
    return (low[0] - margin, low[1] - margin, high[0] + margin, high[1] + margin)


def closer_window(shapes: PlanShapes, extent: tuple[float, float, float, float]) -> FloatArray:
    """(4,) west, south, east, north of a square near the middle that shows single panels, m.

    Where panels stand upright it is the foot of one that lies in its middle, so that all sides of a tower are seen.
    """
    whole = max(extent[2] - extent[0], extent[3] - extent[1])
    if not len(shapes.outlines):
        middle = np.array([extent[0] + extent[2], extent[1] + extent[3]]) / 2
        return np.concatenate([middle - whole / 6, middle + whole / 6])
    centres = shapes.outlines.mean(axis=1)
    edges = np.linalg.norm(np.diff(shapes.outlines, axis=1), axis=-1)
    side = min(whole, max(6.0 * float(np.median(edges.max(axis=1))), whole / 5.5))
    spots = shapes.feet.mean(axis=1) if len(shapes.feet) else centres
    middle = np.median(spots, axis=0)
    nearest = spots[np.argmin(np.sum((spots - middle) ** 2, axis=1))]
    return np.concatenate([nearest - side / 2, nearest + side / 2])


def round_length(length: float) -> float:
    """The largest 1, 2 or 5 times a power of ten that is not above ``length``.

    >>> round_length(37.0), round_length(0.5), round_length(199.0)
    (20.0, 0.5, 100.0)
    """
    power = 10.0 ** np.floor(np.log10(length * 1.0001))
    return float(power * max(step for step in (1, 2, 5) if step * power <= length * 1.0001))
