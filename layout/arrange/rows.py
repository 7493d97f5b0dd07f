"""Rows of panels: the same unit, one column of a row, repeated along the row and from row to row.

A column stands whole or not at all. Columns of all rows lie on one net, so that what stands around the inner
ones is the same everywhere.
"""

from dataclasses import dataclass

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.arrange.boosters import add_boosters, add_cover
from layout.arrange.ground import plan_ground
from layout.arrange.obstacles import obstacle_blockers
from layout.arrange.pattern import Pattern, Places, best_places, left_out_words, row_places
from layout.booster_shapes import SheetSet, row_sheets, row_unit, with_sheets
from layout.geometry.attitude import row_attitude
from layout.panel_type import PanelType
from layout.pieces import Panel, Scene
from layout.plan import Plan, RowsLayout, UprightLayout, panel_type_of
from layout.plan_checks import row_tilt, stack_size
from sites.conventions import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Column:
    """One column of a row, from the lower corner at its beginning.

    along : (3,) float [m] panel's edge along the row;  up : (3,) [m] edge up the slope
    offsets : (panels_high, 3) float [m] corners of its panels
    pattern : how columns go on
    sheets : those of each booster around it
    """

    along: FloatArray
    up: FloatArray
    offsets: FloatArray
    pattern: Pattern
    panel: PanelType
    cells: tuple[int, int]
    orientation: int
    sheets: tuple[SheetSet, ...]


def column_of(plan: Plan, layout: RowsLayout | UprightLayout) -> Column:
    """The column that a layout repeats, on the plan's slope."""
    panel = panel_type_of(plan, layout)
    gradient = plan.site.plot.gradient if plan.site.plot is not None else np.zeros(2)
    attitude = row_attitude(row_tilt(layout), layout.azimuth_deg, gradient)
    width, height, stack = stack_size(layout, panel)
    along, up = width * attitude.along, height * attitude.up
    offsets = np.arange(layout.panels_high)[:, None] * (height + layout.panel_gap_m) * attitude.up
    across, depth = along[:2], stack * attitude.up[:2]
    unit = row_unit(layout, stack_size(layout, panel), gradient)
    sheets = tuple(row_sheets(booster, unit) for booster in layout.booster)
    footprint = np.array([np.zeros(2), across, across + depth, depth])
    pattern = Pattern(
        footprint=footprint,
        roomy=with_sheets(footprint, sheets),
        first=(width + layout.panel_gap_m) * attitude.along[:2],
        second=-layout.pitch_m * attitude.front,
    )
    portrait = layout.orientation == "portrait"
    cells = panel.cells if portrait else (panel.cells[1], panel.cells[0])
    return Column(along, up, offsets, pattern, panel, cells, 0 if portrait else 1, sheets)


def arrange_rows(plan: Plan, layout: RowsLayout | UprightLayout) -> Arrangement:
    """The rows of a layout on the plan's plot."""
    plot = plan.site.plot
    if plot is None:
        raise ValueError("rows need a plot")
    column = column_of(plan, layout)
    if layout.positions_m:
        places = row_places(column.pattern, plot, layout.positions_m, layout.row_columns)
    else:
        places = best_places(column.pattern, plot)
    return build_rows(plan, layout, column, places, _fit(layout, places), on_plot=True)


def build_rows(
    plan: Plan,
    layout: RowsLayout | UprightLayout,
    column: Column,
    places: Places,
    fit: tuple[str, ...],
    on_plot: bool,
) -> Arrangement:
    """Panels of the columns at ``places``; with the plot's obstacles where ``on_plot``."""
    ground = plan_ground(plan)
    origins = places.origins
    z = ground.z(origins[:, 0], origins[:, 1]) + layout.clearance_m
    corners = np.column_stack([origins, z])[:, None] + column.offsets
    obstacles = obstacle_blockers(plan.site.plot) if on_plot else ()
    two_faces = column.panel.bifaciality > 0.0
    panels = [Panel(corner, column.along, column.up, column.cells, two_faces) for corner in corners.reshape(-1, 3)]
    bare = Arrangement(
        name=layout.name,
        kind=layout.kind,
        scene=Scene(panels, blockers=obstacles, ground=ground),
        panel_type=column.panel,
        area_scale=np.ones(len(panels)),
        orientation=np.full(len(panels), column.orientation),
        string=_strings(places.index[:, 1], layout.panels_high),
        fit=fit,
        repeat=(column.pattern.first, column.pattern.second),
    )
    return add_cover(plan, layout, add_boosters(plan, layout, bare, column.sheets, places, on_plot))


def _strings(row: IntArray, levels: int) -> IntArray:
    """One number for each row and level."""
    _, number = np.unique(row, return_inverse=True)
    return (number.reshape(-1, 1) * levels + np.arange(levels)).reshape(-1).astype(np.int64)


def _fit(layout: RowsLayout | UprightLayout, places: Places) -> tuple[str, ...]:
    high = layout.panels_high
    rows = len(np.unique(places.index[:, 1]))
    stacked = f", {high} one above the other" if high > 1 else ""
    count = len(places.origins) * high
    fit = "panel fits" if count == 1 else "panels fit"
    line = f"{count} {fit} in {rows} {'row' if rows == 1 else 'rows'}{stacked}"
    empty = len(layout.positions_m) - rows
    if empty > 0:
        line += f"; {empty} of the rows asked for {'has' if empty == 1 else 'have'} no room"
    return (line, *left_out_words(places.left_out, "panel", high))
