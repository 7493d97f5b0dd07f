"""What a plan view draws of reflectors and see-through sheets: their outlines, or lines where they stand upright."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from layout.pieces import Rectangle, Scene
from layout.report.plan_shapes import corners, is_wall
from sites.conventions import FloatArray


@dataclass(frozen=True, eq=False)
class SheetShapes:
    """reflectors, see_through : (r, 4, 2), (d, 4, 2) float [m] outlines from above, the lowest first
    upright : (u, 2, 2) float [m] feet of reflectors that stand upright
    """

    reflectors: FloatArray
    upright: FloatArray
    see_through: FloatArray

    @property
    def points(self) -> FloatArray:
        """(n, 2) float [m] every point that is drawn."""
        parts = (self.reflectors, self.upright, self.see_through)
        return np.concatenate([part.reshape(-1, 2) for part in parts])

    @property
    def width_m(self) -> float:
        """Median of the outlines' shorter edges, m; 0 where there are none."""
        both = np.concatenate([self.reflectors, self.see_through])
        edges = np.linalg.norm(np.diff(both, axis=1), axis=-1)
        return float(np.median(edges.min(axis=1))) if len(both) else 0.0

    def within(self, window: FloatArray) -> "SheetShapes":
        """Only what may show in a window (4,) of west, south, east and north."""
        return SheetShapes(*(_near(part, window) for part in (self.reflectors, self.upright, self.see_through)))


def sheet_shapes(scene: Scene) -> SheetShapes:
    """Shapes of a scene's reflectors and see-through sheets as seen from above."""
    flat, feet = _from_above(scene.reflectors)
    see_through, lines = _from_above(scene.diffusers)
    on_edge = np.stack([lines[:, 0], lines[:, 1], lines[:, 1], lines[:, 0]], axis=1)
    return SheetShapes(flat, feet, np.concatenate([see_through, on_edge]))


def covered_edges(sheets: FloatArray, panels: FloatArray) -> list[FloatArray]:
    """The parts of the sheets' edges that panels drawn above them cover: lines (k, 2) float [m].

    sheets : (r, 4, 2), panels : (m, 4, 2) float [m] outlines
    """
    if not len(sheets) or not len(panels):
        return []
    edges = shapely.union_all(shapely.linearrings(sheets))
    shapely.prepare(edges)
    above = shapely.polygons(panels)
    hidden = shapely.intersection(edges, shapely.union_all(above[shapely.intersects(edges, above)]))
    lines = shapely.get_parts(shapely.line_merge(hidden))
    return [shapely.get_coordinates(line) for line in lines if line.length > 0]


def _from_above(sheets: Sequence[Rectangle]) -> tuple[FloatArray, FloatArray]:
    """Outlines (f, 4, 2) of tilted sheets, the lowest first, and feet (u, 2, 2) of upright ones."""
    points, upright = corners(sheets), is_wall(sheets)
    flat = points[~upright]
    order = np.argsort(flat[..., 2].mean(axis=1), kind="stable")
    low = np.argsort(points[upright][..., 2], axis=1, kind="stable")[:, :2]
    feet = np.take_along_axis(points[upright][..., :2], low[..., None], axis=1)
    return flat[order][..., :2], feet


def _near(part: FloatArray, window: FloatArray) -> FloatArray:
    """The shapes (s, c, 2) whose boxes meet the window."""
    low, high = part.min(axis=1), part.max(axis=1)
    return part[np.all((high >= window[:2]) & (low <= window[2:]), axis=1)]
