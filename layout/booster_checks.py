"""What is wrong with a booster only once the panels, their pattern and the ground are known."""

import numpy as np

from layout.booster_shapes import (
    OPPOSITE,
    WALL_TURN_DEG,
    RowUnit,
    between_walls,
    row_sheets,
    row_unit,
    tower_sheets,
    tower_unit,
)
from layout.booster_tables import AisleBooster, BetweenBooster, Booster, PostsBooster, StripsBooster, WingsBooster
from layout.geometry.attitude import azimuth_vector
from layout.geometry.hinged import corners, heights
from layout.plan_tables import RowsLayout, TowersLayout, UprightLayout
from sites.conventions import LENGTH_TOLERANCE_M, FloatArray
from sites.errors import Fault

LEAST_M = 0.02
"""Where less than this would be left of a sheet, another key is at fault."""


def row_booster_faults(
    layout: RowsLayout | UprightLayout,
    size: tuple[float, float, float],
    gradient: FloatArray,
    file: str,
    key: str,
) -> list[Fault]:
    """Every fault of a sound row layout's boosters.

    size : extent of a panel along the row, up the slope, of the stack, m;  gradient : (2,) rise of the ground
    """
    unit = row_unit(layout, size, gradient)
    faults = []
    for i, booster in enumerate(layout.booster):
        here = f"{key}.booster[{i}]"
        if isinstance(booster, AisleBooster):
            faults.extend(_aisle_faults(booster, layout, unit, file, here))
        elif isinstance(booster, WingsBooster):
            faults.extend(_repeated(booster.sides, file, f"{here}.sides"))
            faults.extend(_buried(booster, unit, booster.depth_m, file, f"{here}.depth_m"))
        elif isinstance(booster, StripsBooster):
            wide = _too_wide_for_gaps(booster, layout, file, here)
            faults.extend(wide or _buried(booster, unit, booster.width_m, file, f"{here}.width_m"))
    return faults


def tower_booster_faults(layout: TowersLayout, gradient: FloatArray, file: str, key: str) -> list[Fault]:
    """Every fault of a sound tower layout's boosters."""
    faults = []
    for i, booster in enumerate(layout.booster):
        here = f"{key}.booster[{i}]"
        if isinstance(booster, BetweenBooster):
            faults.extend(_between_faults(booster, layout, gradient, file, here))
        elif isinstance(booster, PostsBooster) and booster.width_m > layout.spacing_m + LENGTH_TOLERANCE_M:
            accepted = f"up to spacing_m, {layout.spacing_m:g}"
            faults.append(Fault(file, f"{here}.width_m", f"{booster.width_m:g}", accepted))
    return faults


def _aisle_faults(
    booster: AisleBooster, layout: RowsLayout | UprightLayout, unit: RowUnit, file: str, key: str
) -> list[Fault]:
    front = unit.attitude.front
    free = layout.pitch_m - abs(float(unit.stack[:2] @ front))
    reach = float((corners(row_sheets(booster, unit).sheets)[..., :2] @ front).max()) - booster.gap_m
    return _lane_faults(booster, free, reach, "the free aisle", file, key)


def _lane_faults(
    booster: AisleBooster | BetweenBooster, free: float, reach: float, what: str, file: str, key: str
) -> list[Fault]:
    """A sheet whose gap and reach on the map are more than the free room."""
    if booster.gap_m + reach <= free + LENGTH_TOLERANCE_M:
        return []
    room = free - booster.gap_m
    most = booster.width_m * room / reach if reach > 0 else 0.0
    if room <= 0 or most < LEAST_M:
        return [Fault(file, f"{key}.gap_m", f"{booster.gap_m:g}", f"less than {max(0.0, free):.3f}: {what}")]
    accepted = f"up to {_down(most)}, which with gap_m takes {free:.3f}: {what}"
    return [Fault(file, f"{key}.width_m", f"{booster.width_m:g}", accepted)]


def _buried(booster: Booster, unit: RowUnit, width: float, file: str, key: str) -> list[Fault]:
    """Sheets that lead from the panels' edges into the ground."""
    z = heights(row_sheets(booster, unit).sheets, unit.gradient)
    if z.min() >= -LENGTH_TOLERANCE_M:
        return []
    hinge, far = z[:, :2], z[:, 2:]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(far < 0, np.maximum(0.0, hinge) / (hinge - far), 1.0)
    most = width * float(share.min())
    how = f"up to {_down(most)} at this clearance_m" if most >= LEAST_M else "a larger clearance_m"
    accepted = f"{how}, so that the sheet stays above the ground"
    return [Fault(file, key, f"{width:g}", accepted)]


def _too_wide_for_gaps(booster: StripsBooster, layout: RowsLayout | UprightLayout, file: str, key: str) -> list[Fault]:
    cosine = float(np.cos(np.radians(booster.tilt_deg)))
    if 2.0 * booster.width_m * cosine <= layout.panel_gap_m + LENGTH_TOLERANCE_M:
        return []
    most = _down(0.5 * layout.panel_gap_m / cosine)
    accepted = f"up to {most}: two strips share a panel_gap_m of {layout.panel_gap_m:g}"
    return [Fault(file, f"{key}.width_m", f"{booster.width_m:g}", accepted)]


def _between_faults(
    booster: BetweenBooster, layout: TowersLayout, gradient: FloatArray, file: str, key: str
) -> list[Fault]:
    unit = tower_unit(layout, gradient)
    if not unit.walls:
        found = "'between' of towers with panels on top only"
        return [Fault(file, f"{key}.place", found, "an upright face among the layout's faces")]
    faults = _repeated(booster.faces, file, f"{key}.faces")
    bare = [face for face in booster.faces if face not in unit.walls]
    if bare:
        accepted = "faces with panels: " + ", ".join(repr(wall) for wall in unit.walls)
        faults.append(Fault(file, f"{key}.faces", ", ".join(repr(face) for face in bare), accepted))
    if faults:
        return faults
    walls = between_walls(booster, unit)
    shared = any(OPPOSITE[wall] in walls for wall in walls)
    lane = layout.spacing_m - layout.side_m
    free = 0.5 * lane if shared else lane
    fronts = np.array([azimuth_vector(unit.azimuth_deg + WALL_TURN_DEG[wall]) for wall in walls])
    far = np.einsum("nck,nk->nc", corners(tower_sheets(booster, unit).sheets)[..., :2], fronts).max()
    reach = float(far) - 0.5 * layout.side_m - booster.gap_m
    what = "half the free lane between towers, as two sheets share it" if shared else "the free lane between towers"
    return _lane_faults(booster, free, reach, what, file, key)


def _repeated(names: tuple[str, ...], file: str, key: str) -> list[Fault]:
    if len(set(names)) == len(names):
        return []
    return [Fault(file, key, ", ".join(repr(name) for name in names), "each once")]


def _down(length: float) -> str:
    """A length rounded down to what is still accepted."""
    return f"{int(length * 1000 + 1e-6) / 1000:.3f}"
