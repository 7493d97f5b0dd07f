"""The plot: boundary, setback, keep-outs, obstacles and the plane that it lies in."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from sites.conventions import LENGTH_TOLERANCE_M, FloatArray
from sites.errors import Fault

SETBACK_QUAD_SEGS = 16
"""Chords of a quarter circle round an inward corner; they cut the setback short there by at most 0.12 %."""

GRID_M = 1e-7
"""Outlines are kept on this grid and cut on it. Without a grid GEOS (3.14) may lose whole polygons where
edges nearly coincide."""

GRID_DECIMALS = 7

FARTHEST_M = 20_000.0
"""Coordinates beyond this are no plot's in metres; some other map's numbers, mostly."""


@dataclass(frozen=True, eq=False)
class Obstacle:
    """Something on the plot that throws a shadow: its outline on the map and its height above the ground, m.

    The height counts from the highest ground under the outline.
    """

    outline: Polygon
    height_m: float
    name: str = "obstacle"


@dataclass(frozen=True, eq=False)
class Plot:
    """A piece of ground; all outlines in metres on the map, x east, y north.

    boundary : polygon, may have holes
    setback_m : [m] strip along the boundary (and round its holes) where nothing may stand
    slope_deg, slope_azimuth_deg : [deg] of the plane through (0, 0); the azimuth looks downhill
    """

    boundary: Polygon
    setback_m: float = 0.0
    keep_outs: tuple[Polygon, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    slope_deg: float = 0.0
    slope_azimuth_deg: float = 180.0

    @property
    def area_m2(self) -> float:
        """Horizontal area inside the boundary, m²; holes out, setback and keep-outs in."""
        return float(self.boundary.area)

    @cached_property
    def inset(self) -> BaseGeometry:
        """The boundary moved in by the setback."""
        if self.setback_m == 0.0:
            return self.boundary
        return self.boundary.buffer(-self.setback_m, quad_segs=SETBACK_QUAD_SEGS)

    @cached_property
    def usable(self) -> BaseGeometry:
        """Where panels may stand: the inset boundary without keep-outs and obstacle outlines."""
        taken = [*self.keep_outs, *(o.outline for o in self.obstacles)]
        if not taken:
            return self.inset
        return self.inset.difference(shapely.union_all(taken, grid_size=GRID_M), grid_size=GRID_M)

    @property
    def gradient(self) -> FloatArray:
        """(2,) float [-] rise of the ground per metre east and per metre north."""
        slope, azimuth = np.radians(self.slope_deg), np.radians(self.slope_azimuth_deg)
        return -np.tan(slope) * np.array([np.sin(azimuth), np.cos(azimuth)])

    def ground_z(self, x: FloatArray | float, y: FloatArray | float) -> FloatArray:
        """Height of the ground at (x, y), m; any shape. The plane goes through (0, 0, 0)."""
        gx, gy = self.gradient
        return gx * np.asarray(x, dtype=np.float64) + gy * np.asarray(y, dtype=np.float64)


def outline_polygon(
    points: Sequence[tuple[float, float]],
    file: str,
    key: str,
    faults: list[Fault],
    holes: Sequence[Sequence[tuple[float, float]]] = (),
) -> Polygon | None:
    """A polygon from its corners in metres, closed or not, either way round; None and a fault if invalid."""
    size = max((abs(c) for p in points for c in p), default=0.0)
    if size > FARTHEST_M:
        accepted = f"metres, up to {FARTHEST_M:,.0f} from the origin"
        faults.append(Fault(file, key, f"a corner {size:,.0f} m from the origin", accepted))
        return None
    corners = np.round(np.array(points, dtype=np.float64), GRID_DECIMALS) + 0.0
    different = len(np.unique(corners, axis=0))
    if different < 3:
        faults.append(Fault(file, key, f"{different} different corners", "at least 3"))
        return None
    polygon = Polygon(corners, [np.round(np.array(hole, dtype=np.float64), GRID_DECIMALS) for hole in holes])
    if polygon.convex_hull.area <= LENGTH_TOLERANCE_M:
        faults.append(Fault(file, key, "an outline without area", "corners in order around an area"))
        return None
    if not polygon.is_valid:
        reason = shapely.is_valid_reason(polygon)
        where = reason[reason.find("[") + 1 : -1].split() if "[" in reason else []
        place = " near ({:g}, {:g})".format(*(round(float(c), 2) + 0.0 for c in where)) if len(where) == 2 else ""
        accepted = "corners in order, lines that neither cross nor touch"
        faults.append(Fault(file, key, f"an outline that crosses or touches itself{place}", accepted))
        return None
    return orient(polygon)


def plot_faults(plot: Plot, file: str, setback_key: str = "plot.setback_m") -> list[Fault]:
    """What is wrong with the parts of a plot together: outlines wholly outside, no room left."""
    faults = []
    for i, keep_out in enumerate(plot.keep_outs):
        if not _overlap(keep_out, plot.boundary):
            key = f"plot.keep_out[{i}].outline"
            faults.append(Fault(file, key, "an outline wholly outside the boundary", "one that overlaps the plot"))
    for i, obstacle in enumerate(plot.obstacles):
        if not _overlap(obstacle.outline, plot.boundary):
            key = f"plot.obstacle[{i}].outline"
            faults.append(Fault(file, key, "an outline wholly outside the boundary", "one that overlaps the plot"))
    if plot.inset.area <= LENGTH_TOLERANCE_M:
        accepted = f"less than {shapely.maximum_inscribed_circle(plot.boundary).length:.4g}, or no room is left"
        faults.append(Fault(file, setback_key, f"{plot.setback_m:g}", accepted))
    elif plot.usable.area <= LENGTH_TOLERANCE_M:
        faults.append(Fault(file, "plot", "keep-outs and obstacles over all of it", "a plot with room left"))
    return faults


def _overlap(a: BaseGeometry, b: BaseGeometry) -> bool:
    return bool(a.intersection(b, grid_size=GRID_M).area > LENGTH_TOLERANCE_M)
