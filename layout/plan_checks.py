"""What is wrong with a layout only once its panels and its ground are known: overlaps, buried edges, size."""

import numpy as np

from layout.booster_checks import row_booster_faults, tower_booster_faults
from layout.geometry.attitude import azimuth_vector, rise_along_row_deg, row_attitude
from layout.panel_type import PanelType
from layout.pieces import SQUARE_TOLERANCE
from layout.plan_tables import (
    Layout,
    PiecesLayout,
    PieceTable,
    RowsLayout,
    TowersLayout,
    UprightLayout,
)
from layout.roof_checks import roof_faults
from layout.roof_tables import RoofLayout
from sites.conventions import LENGTH_TOLERANCE_M, FloatArray
from sites.errors import Fault
from sites.plot import FARTHEST_M, Plot

MOST_PANELS = 100_000
"""Room for more than this on a plot is refused: some fifty hectares, or a unit mixed up."""


def layout_faults(layout: Layout, panel: PanelType, plot: Plot | None, file: str, key: str) -> list[Fault]:
    """Every fault of a layout of ``panel`` on ``plot``; ``key`` is its dotted path."""
    if isinstance(layout, PiecesLayout):
        return _pieces_faults(layout, panel, plot, file, key)
    if isinstance(layout, RoofLayout):
        return roof_faults(layout, panel, plot, file, key)
    if plot is None:
        return []  # told once for the whole plan
    if isinstance(layout, TowersLayout):
        return _tower_faults(layout, panel, plot, file, key)
    return _row_faults(layout, panel, plot, file, key)


def stack_size(layout: RowsLayout | UprightLayout, panel: PanelType) -> tuple[float, float, float]:
    """Extent of one panel along the row and up the slope, and of the whole stack with its gaps, m."""
    landscape = layout.orientation == "landscape"
    along, up = (panel.length_m, panel.width_m) if landscape else (panel.width_m, panel.length_m)
    return along, up, layout.panels_high * up + (layout.panels_high - 1) * layout.panel_gap_m


def row_tilt(layout: RowsLayout | UprightLayout) -> float:
    """Tilt of a row's panels, degrees."""
    return layout.tilt_deg if isinstance(layout, RowsLayout) else 90.0


def _row_faults(layout: RowsLayout | UprightLayout, panel: PanelType, plot: Plot, file: str, key: str) -> list[Fault]:
    rise = rise_along_row_deg(layout.azimuth_deg, plot.gradient)
    tilt = row_tilt(layout)
    if tilt < rise - 1e-9:
        accepted = f"at least {rise:.2f}, the slope of the ground along the rows"
        return [Fault(file, f"{key}.tilt_deg", f"{tilt:g}", accepted)]
    attitude = row_attitude(tilt, layout.azimuth_deg, plot.gradient)
    width, _, stack = stack_size(layout, panel)
    up = stack * attitude.up
    faults = []
    depth = abs(float(up[:2] @ attitude.front))
    if layout.pitch_m < depth - LENGTH_TOLERANCE_M:
        accepted = f"at least {depth:.3f}, the depth of a row on the map"
        faults.append(Fault(file, f"{key}.pitch_m", f"{layout.pitch_m:g}", accepted))
    buried = float(plot.gradient @ up[:2]) - up[2]
    if layout.clearance_m < buried - LENGTH_TOLERANCE_M:
        accepted = f"at least {buried:.3f}, so that the upper edge stays above the sloping ground"
        faults.append(Fault(file, f"{key}.clearance_m", f"{layout.clearance_m:g}", accepted))
    faults.extend(_position_faults(layout.positions_m, depth, file, key))
    if layout.row_columns and len(layout.row_columns) != len(layout.positions_m):
        found = f"{len(layout.row_columns)} numbers for {len(layout.positions_m)} rows"
        faults.append(Fault(file, f"{key}.row_columns", found, "one for each of positions_m, or none"))
    if not faults:
        step = (width + layout.panel_gap_m) * layout.pitch_m / layout.panels_high
        faults.extend(_size_fault(plot.area_m2 / step, file, key))
        faults.extend(row_booster_faults(layout, stack_size(layout, panel), plot.gradient, file, key))
    return faults


def _position_faults(positions_m: tuple[float, ...], depth: float, file: str, key: str) -> list[Fault]:
    """Rows out of order, or one standing in another."""
    at = np.array(positions_m)
    if not len(at):
        return []
    if np.abs(at).max() > FARTHEST_M:
        found = f"a row {np.abs(at).max():,.0f} m from the origin"
        return [Fault(file, f"{key}.positions_m", found, f"up to {FARTHEST_M:,.0f} m")]
    steps = np.diff(at)
    if not len(steps) or steps.min() >= depth - LENGTH_TOLERANCE_M:
        return []
    first = int(steps.argmin())
    found = f"rows {first + 1} and {first + 2}, {steps[first]:g} m apart"
    return [Fault(file, f"{key}.positions_m", found, f"rising, at least {depth:.3f} apart, the depth of a row")]


def _site_faults(layout: TowersLayout, file: str, key: str) -> list[Fault]:
    """Towers that stand in one another."""
    at = np.array(layout.sites).reshape(-1, 2)
    if len(at) and np.abs(at).max() > FARTHEST_M:
        found = f"a tower {np.abs(at).max():,.0f} m from the origin"
        return [Fault(file, f"{key}.sites", found, f"up to {FARTHEST_M:,.0f} m")]
    if len(at) < 2:
        return []
    axes = np.stack([azimuth_vector(layout.azimuth_deg + 90.0), azimuth_vector(layout.azimuth_deg)])
    turned = at @ axes.T
    apart = np.abs(turned[:, None] - turned).max(axis=2) + np.diag(np.full(len(at), np.inf))
    if apart.min() >= layout.side_m - LENGTH_TOLERANCE_M:
        return []
    first, second = sorted(int(i) for i in np.unravel_index(apart.argmin(), apart.shape))
    found = f"sites {first + 1} and {second + 1}, towers that stand in one another"
    return [Fault(file, f"{key}.sites", found, f"towers at least side_m, {layout.side_m:g}, apart")]


def _tower_faults(layout: TowersLayout, panel: PanelType, plot: Plot, file: str, key: str) -> list[Fault]:
    faults = []
    if layout.spacing_m < layout.side_m - LENGTH_TOLERANCE_M:
        accepted = f"at least side_m, {layout.side_m:g}; it counts from centre to centre"
        faults.append(Fault(file, f"{key}.spacing_m", f"{layout.spacing_m:g}", accepted))
    if len(set(layout.faces)) < len(layout.faces):
        found = ", ".join(repr(f) for f in layout.faces)
        faults.append(Fault(file, f"{key}.faces", found, "each face once"))
    faults.extend(_site_faults(layout, file, key))
    if not faults:
        walls = sum(face != "top" for face in layout.faces) * layout.side_m * layout.height_m
        box = walls + layout.side_m**2
        count = plot.area_m2 / layout.spacing_m**2 * max(5.0, 2.0 * box / panel.area_m2)
        faults.extend(_size_fault(count, file, key))
        faults.extend(tower_booster_faults(layout, plot.gradient, file, key))
    return faults


def _size_fault(count: float, file: str, key: str) -> list[Fault]:
    if count <= MOST_PANELS:
        return []
    accepted = f"up to {MOST_PANELS:,}: a smaller plot or wider spacing"
    return [Fault(file, key, f"room for about {count:,.0f} panels", accepted)]


def _pieces_faults(layout: PiecesLayout, panel: PanelType, plot: Plot | None, file: str, key: str) -> list[Fault]:
    faults = []
    gradient = plot.gradient if plot is not None else np.zeros(2)
    for i, piece in enumerate(layout.panel):
        here = f"{key}.panel[{i}]"
        found = _rectangle_faults(piece, file, here)
        faults.extend(found or _buried(piece, gradient, file, here))
        if piece.bifacial and panel.bifaciality == 0.0:
            accepted = "a panel type with bifaciality above 0, or no [panel]"
            faults.append(Fault(file, f"{here}.bifacial", "true with a one-faced panel type", accepted))
    for name in ("blocker", "reflector", "diffuser"):
        for i, other in enumerate(getattr(layout, name)):
            here = f"{key}.{name}[{i}]"
            faults.extend(_rectangle_faults(other, file, here) or _buried(other, gradient, file, here))
    return faults


def _rectangle_faults(piece: PieceTable, file: str, key: str) -> list[Fault]:
    """Edges without length, edges not at right angles, coordinates out of reach."""
    along, up = np.array(piece.along), np.array(piece.up)
    faults = []
    for name, vector in (("corner", np.array(piece.corner)), ("along", along), ("up", up)):
        if np.abs(vector).max() > FARTHEST_M:
            found = f"a coordinate of {np.abs(vector).max():,.0f}"
            faults.append(Fault(file, f"{key}.{name}", found, f"up to {FARTHEST_M:,.0f} m"))
        elif name != "corner" and np.linalg.norm(vector) < 1e-3:
            faults.append(Fault(file, f"{key}.{name}", "an edge without length", "at least 1 mm"))
    if faults:
        return faults
    cosine = abs(float(along @ up)) / float(np.linalg.norm(along) * np.linalg.norm(up))
    if cosine > SQUARE_TOLERANCE:
        angle = np.degrees(np.arccos(min(1.0, cosine)))
        accepted = "an edge at right angles to along (to 0.2 seconds of arc)"
        faults.append(Fault(file, f"{key}.up", f"an edge at {angle:.4g}° to along", accepted))
    return faults


def _buried(piece: PieceTable, gradient: FloatArray, file: str, key: str) -> list[Fault]:
    """A piece that dips into the ground."""
    edges = np.array([np.zeros(3), piece.along, piece.up, np.add(piece.along, piece.up)])
    lowest = float((piece.corner[2] + edges[:, 2] - edges[:, :2] @ gradient).min())
    if lowest >= -LENGTH_TOLERANCE_M:
        return []
    found = f"a piece that reaches {-lowest:.3g} m into the ground"
    return [Fault(file, f"{key}.corner", found, "all four corners at or above the ground")]
