"""The sheets of a booster around one unit: a column of a row, or a tower.

Positions count from the unit's origin, which lies on the ground; the ground is a plane.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from layout.booster_tables import (
    AisleBooster,
    BetweenBooster,
    Booster,
    PostsBooster,
    StripsBooster,
    Wall,
    WingsBooster,
)
from layout.geometry.attitude import RowAttitude, azimuth_vector, row_attitude
from layout.geometry.hinged import corners, ground_normal, hinged, on_plane
from layout.geometry.rectangles import Rectangles
from layout.plan_tables import RowsLayout, TowersLayout, UprightLayout
from sites.conventions import FloatArray, IntArray

LIFT_M = 0.01
"""Sheets on the ground lie this high, so that they and the ground are two things."""

ROW_JOINED_M = 0.1
"""Panels closer than this are one row: wings stand at its ends, not between them. Our choice."""

BACK_TO_BACK_M = 0.01
"""Room between the far edges of two wings in one gap."""

WALL_TURN_DEG: dict[Wall, float] = {"north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}
OPPOSITE: dict[Wall, Wall] = {"north": "south", "south": "north", "east": "west", "west": "east"}


@dataclass(frozen=True, eq=False)
class SheetSet:
    """Sheets (s) of one booster around one unit.

    beside : (s, 2) int, a step on the net of units: the sheet stands where no unit stands there; (0, 0): always
    """

    sheets: Rectangles
    beside: IntArray


def with_sheets(footprint: FloatArray, sets: Sequence[SheetSet]) -> FloatArray | None:
    """A unit's footprint (c, 2) on the map with that of its sheets, (d, 2), convex, in order; None without sheets.

    Sheets that stand at the ends of rows only are left out.
    """
    if not sets:
        return None
    around = [corners(one.sheets)[~one.beside.any(axis=1)].reshape(-1, 3)[:, :2] for one in sets]
    hull = shapely.convex_hull(shapely.multipoints(np.concatenate([footprint, *around])))
    return np.asarray(hull.exterior.coords)[:-1] if hull.geom_type == "Polygon" else footprint


@dataclass(frozen=True, eq=False)
class RowUnit:
    """One column of a row.

    along, up : (3,) float [m] edges of each panel;  corners : (panels_high, 3) [m]
    gap_m : between neighbours, beside and above;  stack : (3,) [m] up the whole stack
    """

    attitude: RowAttitude
    along: FloatArray
    up: FloatArray
    corners: FloatArray
    stack: FloatArray
    gap_m: float
    gradient: FloatArray


def row_unit(layout: RowsLayout | UprightLayout, size: tuple[float, float, float], gradient: FloatArray) -> RowUnit:
    """The column that a layout repeats. size : extent of a panel along the row, up the slope, of the stack, m."""
    tilt = layout.tilt_deg if isinstance(layout, RowsLayout) else 90.0
    attitude = row_attitude(tilt, layout.azimuth_deg, gradient)
    width, height, stack = size
    levels = np.arange(layout.panels_high)[:, None] * (height + layout.panel_gap_m) * attitude.up
    corners = np.array([0.0, 0.0, layout.clearance_m]) + levels
    up, along = height * attitude.up, width * attitude.along
    return RowUnit(attitude, along, up, corners, stack * attitude.up, layout.panel_gap_m, gradient)


def row_sheets(booster: Booster, unit: RowUnit) -> SheetSet:
    """The sheets of a booster around one column. Raises ValueError for a place that rows do not have."""
    if isinstance(booster, AisleBooster):
        return _always(_aisle(booster, unit))
    if isinstance(booster, WingsBooster):
        return _wings(booster, unit)
    if isinstance(booster, StripsBooster):
        edges = [_edges(side, unit, unit.corners) for side in ("lower", "upper", "left", "right")]
        start, end, outward = (np.concatenate(part) for part in zip(*edges, strict=True))
        normal = np.broadcast_to(unit.attitude.normal, outward.shape)
        return _always(hinged(start, end, outward, normal, booster.width_m, booster.tilt_deg))
    raise ValueError(f"place: found {booster.place!r}; accepted: one for rows")


def _always(sheets: Rectangles) -> SheetSet:
    return SheetSet(sheets, np.zeros((len(sheets), 2), dtype=np.int64))


def _aisle(booster: AisleBooster, unit: RowUnit) -> Rectangles:
    front = unit.attitude.front
    start = on_plane(booster.gap_m * front[None], unit.gradient, LIFT_M)
    return _on_ground(start, start + unit.along, front, unit.gradient, booster.width_m, booster.tilt_deg)


def _on_ground(
    start: FloatArray, end: FloatArray, front: FloatArray, gradient: FloatArray, width: float, tilt_deg: float
) -> Rectangles:
    """A sheet with its near edge, start to end (1, 3), on the ground; it leads off toward front (2,) on the map."""
    normal = ground_normal(gradient)
    outward = np.cross(end - start, normal)
    outward *= np.sign(outward[:, :2] @ front)[:, None] / np.linalg.norm(outward, axis=1, keepdims=True)
    return hinged(start, end, outward, normal[None], width, tilt_deg)


def wings_apart(booster: WingsBooster, gap_m: float) -> bool:
    """Whether two sheets fit in the gap between neighbouring panels, so that each panel has its own."""
    reach = booster.depth_m * max(0.0, float(np.cos(np.radians(booster.opening_deg))))
    return gap_m >= max(ROW_JOINED_M, 2.0 * reach + BACK_TO_BACK_M)


def _wings(booster: WingsBooster, unit: RowUnit) -> SheetSet:
    apart = wings_apart(booster, unit.gap_m)
    sets, steps = [], []
    for side in booster.sides:
        corners = unit.corners
        if not apart and side in ("lower", "upper"):
            corners = corners[:1] if side == "lower" else corners[-1:]
        start, end, outward = _edges(side, unit, corners)
        normal = np.broadcast_to(unit.attitude.normal, outward.shape)
        sets.append(hinged(start, end, outward, normal, booster.depth_m, booster.opening_deg))
        step = 0 if apart else {"left": -1, "right": 1}.get(side, 0)
        steps.append(np.tile([step, 0], (len(start), 1)))
    sheets = sets[0]
    for other in sets[1:]:
        sheets = sheets.joined(other)
    return SheetSet(sheets, np.concatenate(steps))


def _edges(side: str, unit: RowUnit, corners: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """An edge of panels with ``corners`` (p, 3): start and end (p, 3), and the direction (p, 3) away from them."""
    along, up = unit.along, unit.up
    begin, edge, outward = {
        "lower": (np.zeros(3), along, -unit.attitude.up),
        "upper": (up, along, unit.attitude.up),
        "left": (np.zeros(3), up, -unit.attitude.along),
        "right": (along, up, unit.attitude.along),
    }[side]
    start = corners + begin
    return start, start + edge, np.tile(outward, (len(corners), 1))


@dataclass(frozen=True, eq=False)
class TowerUnit:
    """One tower from the middle of its base. walls : upright faces with panels."""

    side_m: float
    spacing_m: float
    azimuth_deg: float
    walls: tuple[Wall, ...]
    gradient: FloatArray


def tower_unit(layout: TowersLayout, gradient: FloatArray) -> TowerUnit:
    """The tower that a layout repeats."""
    walls = tuple(wall for wall in WALL_TURN_DEG if wall in layout.faces)
    return TowerUnit(layout.side_m, layout.spacing_m, layout.azimuth_deg, walls, gradient)


def between_walls(booster: BetweenBooster, unit: TowerUnit) -> tuple[Wall, ...]:
    """The faces that have a sheet in front."""
    return booster.faces or unit.walls


def tower_sheets(booster: Booster, unit: TowerUnit) -> SheetSet:
    """The sheets of a booster around one tower. Raises ValueError for a place that towers do not have."""
    if isinstance(booster, BetweenBooster):
        sheets = [_before_wall(booster, wall, unit) for wall in between_walls(booster, unit)]
        joined = sheets[0]
        for other in sheets[1:]:
            joined = joined.joined(other)
        return _always(joined)
    if isinstance(booster, PostsBooster):
        return _always(_post(booster, unit))
    raise ValueError(f"place: found {booster.place!r}; accepted: one for towers")


def _before_wall(booster: BetweenBooster, wall: Wall, unit: TowerUnit) -> Rectangles:
    front = azimuth_vector(unit.azimuth_deg + WALL_TURN_DEG[wall])
    across = np.array([-front[1], front[0]])
    middle = (0.5 * unit.side_m + booster.gap_m) * front
    ends = np.stack([middle - 0.5 * unit.side_m * across, middle + 0.5 * unit.side_m * across])
    start, end = on_plane(ends, unit.gradient, LIFT_M)
    return _on_ground(start[None], end[None], front, unit.gradient, booster.width_m, booster.tilt_deg)


def _post(booster: PostsBooster, unit: TowerUnit) -> Rectangles:
    look = azimuth_vector(booster.azimuth_deg)
    turn = np.radians(booster.azimuth_deg - unit.azimuth_deg)
    away = 0.5 * unit.spacing_m / max(abs(float(np.cos(turn))), abs(float(np.sin(turn))))
    along = np.array([-look[1], look[0]])  # along × up looks along ``look``
    ends = -away * look + 0.5 * booster.width_m * np.array([[-1.0], [1.0]]) * along
    foot = float((ends @ unit.gradient).max()) + LIFT_M
    return Rectangles(
        np.array([[*ends[0], foot]]),
        np.array([[*(booster.width_m * along), 0.0]]),
        np.array([[0.0, 0.0, booster.height_m]]),
    )
