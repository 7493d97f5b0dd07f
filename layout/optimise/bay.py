"""One bay of a layout: a block of its pattern, a unit deep inside it and those at its ends.

The plot's size enters by how many places a pattern finds on it, averaged over all shifts of the pattern:
the area of the starts at which a footprint fits, over the ground of a unit. A place has no neighbour on one side where
the start moved to that side fits no longer. Both are smooth in pitch and tilt, unlike the count of any one shift.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from layout.arrange.arrangement import Arrangement
from layout.arrange.pattern import Pattern, Places, most_units, start_region
from layout.arrange.rows import build_rows, column_of
from layout.arrange.towers import build_towers, tower_of
from layout.optimise.whole import highest_m
from layout.plan import Plan, RowsLayout, TowersLayout, UprightLayout
from sites.conventions import LENGTH_TOLERANCE_M, FloatArray, IntArray

ROWS_EACH_WAY = 3
"""Rows built before and behind. On ten shapes each of the demo's rows, boosted and upright rows the energy differs by
0.03 % or less from 4; 4 differ by 0.04 % from rows out to 75 m."""

HALF_LENGTH_M = 10.0
"""Rows are built so far to both sides; with 7 m upright rows get 0.6 % too much on the same shapes."""

TOWERS_EACH_WAY = 3
"""Towers built to each side: within 0.2 % of 4 on five shapes each of the demo's towers; 2 are off by 0.8 %."""

BayLayout = RowsLayout | UprightLayout | TowersLayout


@dataclass(frozen=True, eq=False)
class Bay:
    """A block of the pattern: its units by class (middle and the four sides), and how many of each the plot holds.

    units : (5, p) int, panels of each class's unit;  counts : (5,) float, of the plot, mean over all shifts
    places : units on the plot at the pattern's best shift;  rows : units stand close beside each other
    unit_kw, unit_reflector_m2 : of one unit
    """

    arrangement: Arrangement
    units: IntArray
    counts: FloatArray
    places: int
    panels_each: int
    unit_kw: float
    unit_reflector_m2: float
    height_m: float
    aisle_m: float
    rows: bool


def build_bay(plan: Plan, layout: BayLayout, ends: bool = True) -> Bay:
    """ends : count the plot's ends; without them every unit is one of the middle."""
    plot = plan.site.plot
    if plot is None:
        raise ValueError("a bay needs a plot")
    fit = ("a block of the pattern",)
    if isinstance(layout, TowersLayout):
        tower = tower_of(plan, layout)
        pattern, each, reach = tower.pattern, len(tower.corner), (TOWERS_EACH_WAY, TOWERS_EACH_WAY)
        places = _block(pattern, reach)
        arrangement = build_towers(plan, layout, tower, places, fit, on_plot=False)
        aisle = layout.spacing_m - layout.side_m
    else:
        column = column_of(plan, layout)
        pattern, each = column.pattern, layout.panels_high
        columns = max(3, int(np.ceil(HALF_LENGTH_M / np.linalg.norm(pattern.first))))
        reach = (columns, ROWS_EACH_WAY)
        places = _block(pattern, reach)
        arrangement = build_rows(plan, layout, column, places, fit, on_plot=False)
        aisle = layout.pitch_m - float(np.ptp(pattern.footprint @ (pattern.second / np.linalg.norm(pattern.second))))
    wide = 2 * reach[0] + 1
    centre = reach[1] * wide + reach[0]
    # Rows are numbered from the front: second points away from where they look.
    of_class = np.array([centre, reach[0], 2 * reach[1] * wide + reach[0], centre - reach[0], centre + reach[0]])
    units = of_class[:, None] * each + np.arange(each)
    allowed = start_region(plot.usable.buffer(LENGTH_TOLERANCE_M, join_style="mitre"), pattern.footprint)
    counts = _counts(pattern, allowed, ends)
    unit_kw = float(arrangement.panel_type.pmax_w * arrangement.area_scale[units[0]].sum()) / 1000.0
    sheets = arrangement.reflector_area_m2 / len(places.origins)
    pieces = [*arrangement.scene.panels[centre * each : (centre + 1) * each], *arrangement.scene.reflectors]
    fits, rows = most_units(pattern, plot, allowed), not isinstance(layout, TowersLayout)
    return Bay(arrangement, units, counts, fits, each, unit_kw, sheets, highest_m(plot, pieces), aisle, rows)


def _block(pattern: Pattern, reach: tuple[int, int]) -> Places:
    second, first = np.meshgrid(np.arange(-reach[1], reach[1] + 1), np.arange(-reach[0], reach[0] + 1), indexing="ij")
    index = np.stack([first.ravel(), second.ravel()], axis=1)
    return Places(pattern.origins(index), index, {})


def _counts(pattern: Pattern, allowed: BaseGeometry, ends: bool) -> FloatArray:
    """Units of each class on the plot, mean over all shifts, (5,). allowed : where units may begin"""
    total = float(allowed.area) / pattern.unit_area_m2
    if not ends or total <= 0:
        return np.array([total, 0.0, 0.0, 0.0, 0.0])
    steps = (-pattern.second, pattern.second, -pattern.first, pattern.first)
    alone = np.array(
        [
            float(allowed.difference(shapely.affinity.translate(allowed, -s[0], -s[1])).area) / pattern.unit_area_m2
            for s in steps
        ]
    )
    # A corner unit has two sides free: halves of both. No more ends than units.
    alone *= min(1.0, total / max(alone.sum(), 1e-12))
    return np.concatenate([[total - alone.sum()], alone])
