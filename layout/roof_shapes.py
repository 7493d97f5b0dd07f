"""Roof planes and the panels on them as geometry: from the plan's tables to places in space."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from layout.panel_type import PanelType
from layout.roof_tables import RoofGridTable, RoofLayout, RoofPanelTable, RoofPlaneTable
from sites.conventions import FloatArray

CLOSE_M = 0.3
"""Panels this near to the roof count as close to it. Common practice, no source."""

ALONG_ROOF_DEG = 5.0
"""Panels tilted less than this against the roof lie along it."""


@dataclass(frozen=True, eq=False)
class RoofPlane:
    """A plane in space.

    origin : (3,) float [m]; right, up, normal : (3,) unit, normal = right × up outward
    outline, room : polygons on the plane [m]; room is what edges, paths and obstacles leave for parts
    """

    table: RoofPlaneTable
    origin: FloatArray
    right: FloatArray
    up: FloatArray
    normal: FloatArray
    outline: Polygon
    room: BaseGeometry

    def points(self, flat: FloatArray, lift: FloatArray | float = 0.0) -> FloatArray:
        """Places (..., 2) on the plane in space, (..., 3) m, ``lift`` metres off it."""
        flat = np.asarray(flat, dtype=np.float64)
        off = np.asarray(lift, dtype=np.float64)[..., None] * self.normal
        return self.origin + flat[..., :1] * self.right + flat[..., 1:] * self.up + off

    def flat(self, points: FloatArray) -> FloatArray:
        """Places in space (..., 3) as places (..., 2) on the plane, at right angles to it."""
        away = np.asarray(points) - self.origin
        return np.stack([away @ self.right, away @ self.up], axis=-1)


@dataclass(frozen=True, eq=False)
class RoofPanel:
    """A panel on a plane: corner, along, up (3,) [m]; key : the table that tells of it."""

    plane: int
    row: int
    corner: FloatArray
    along: FloatArray
    up: FloatArray
    landscape: bool
    close: bool
    key: str


def roof_planes(layout: RoofLayout, ground: tuple[float, float] = (0.0, 0.0)) -> tuple[RoofPlane, ...]:
    """The planes of a roof. ground : rise of the ground per metre east and north."""
    return tuple(_plane(table, ground) for table in layout.plane)


def _plane(table: RoofPlaneTable, ground: tuple[float, float]) -> RoofPlane:
    tilt, azimuth = np.radians(table.tilt_deg), np.radians(table.azimuth_deg)
    x, y = table.origin
    right = np.array([-np.cos(azimuth), np.sin(azimuth), 0.0])
    up = np.array([-np.sin(azimuth) * np.cos(tilt), -np.cos(azimuth) * np.cos(tilt), np.sin(tilt)])
    outline = shapely.make_valid(Polygon(table.outline))
    room = outline.buffer(-table.edge_clearance_m, join_style="mitre")
    taken = [Polygon(outline) for outline in (*(p.outline for p in table.path), *(o.outline for o in table.obstacle))]
    if taken:
        room = room.difference(shapely.union_all([shapely.make_valid(part) for part in taken]))
    origin = np.array([x, y, table.height_m + ground[0] * x + ground[1] * y])
    return RoofPlane(table, origin, right, up, np.cross(right, up), outline, room)


def panel_size(table: RoofPanelTable | RoofGridTable, kind: PanelType) -> tuple[float, float]:
    """Edges along and up, m."""
    if table.size_m is not None:
        return table.size_m
    landscape = table.orientation == "landscape"
    return (kind.length_m, kind.width_m) if landscape else (kind.width_m, kind.length_m)


def roof_panels(layout: RoofLayout, planes: tuple[RoofPlane, ...], kind: PanelType) -> tuple[RoofPanel, ...]:
    """Every panel in the order built: plane by plane, its grids row by row, then its single panels."""
    found: list[RoofPanel] = []
    row = 0
    for number, plane in enumerate(planes):
        for index, grid in enumerate(plane.table.grid):
            along, up = panel_size(grid, kind)
            step = up * np.cos(np.radians(grid.frame_tilt_deg)) + grid.row_gap_m
            for r in range(grid.rows):
                for c in range(grid.columns):
                    place = (c * (along + grid.gap_m), r * step)
                    found.append(_panel(plane, number, row, grid, place, kind, f"plane[{number}].grid[{index}]"))
                row += 1
        singles = plane.table.panel
        for index, one in enumerate(singles):
            found.append(_panel(plane, number, row, one, (0.0, 0.0), kind, f"plane[{number}].panel[{index}]"))
        row += bool(singles)
    return tuple(found)


def _panel(
    plane: RoofPlane,
    number: int,
    row: int,
    table: RoofPanelTable | RoofGridTable,
    place: tuple[float, float],
    kind: PanelType,
    key: str,
) -> RoofPanel:
    turn, tilt = np.radians(table.turn_deg), np.radians(table.frame_tilt_deg)
    right = np.array([np.cos(turn), -np.sin(turn)])
    ahead = np.array([np.sin(turn), np.cos(turn)])
    flat = np.array(table.at) + place[0] * right + place[1] * ahead
    along, up = panel_size(table, kind)
    r, a = (d[0] * plane.right + d[1] * plane.up for d in (right, ahead))
    edge = np.cos(tilt) * a + np.sin(tilt) * plane.normal
    close = table.frame_tilt_deg < ALONG_ROOF_DEG and table.standoff_m < CLOSE_M
    corner = plane.points(flat, table.standoff_m)
    return RoofPanel(number, row, corner, along * r, up * edge, table.orientation == "landscape", close, key)
