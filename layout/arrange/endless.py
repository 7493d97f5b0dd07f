"""The same pattern without boundary: what a layout would be if the neighbours built the same all round."""

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.arrange.pattern import Pattern, Places
from layout.arrange.rows import build_rows, column_of
from layout.arrange.towers import build_towers, tower_of
from layout.plan import Layout, PiecesLayout, Plan, RoofLayout, TowersLayout
from sites.conventions import IntArray


def endless_arrangement(plan: Plan, layout: Layout, reach_m: float) -> tuple[Arrangement, IntArray, float]:
    """A layout's pattern around one unit, on the plot's plane, without boundary, keep-outs or obstacles.

    reach_m : [m] units whose origins lie within this distance on the map from the central one's are built
    Returns the arrangement, the indices (u,) of the central unit's panels (one column of a row, one tower),
    and the ground that belongs to it on the map, m². Raises ValueError for pieces, which have no pattern.
    """
    if isinstance(layout, PiecesLayout | RoofLayout):
        raise ValueError("pieces and roofs have no pattern that could go on")
    fit = (f"the pattern without end, built to {reach_m:g} m around one unit",)
    if isinstance(layout, TowersLayout):
        tower = tower_of(plan, layout)
        places, centre = _around(tower.pattern, reach_m)
        each, pattern = len(tower.corner), tower.pattern
        arrangement = build_towers(plan, layout, tower, places, fit, on_plot=False)
    else:
        column = column_of(plan, layout)
        places, centre = _around(column.pattern, reach_m)
        each, pattern = layout.panels_high, column.pattern
        arrangement = build_rows(plan, layout, column, places, fit, on_plot=False)
    return arrangement, centre * each + np.arange(each), pattern.unit_area_m2


def _around(pattern: Pattern, reach_m: float) -> tuple[Places, int]:
    """Units within reach of the one at (0, 0), and that one's number."""
    n = [int(reach_m // np.linalg.norm(step)) for step in (pattern.first, pattern.second)]
    second, first = np.meshgrid(np.arange(-n[1], n[1] + 1), np.arange(-n[0], n[0] + 1), indexing="ij")
    index = np.stack([first.ravel(), second.ravel()], axis=1)
    origins = pattern.origins(index)
    near = np.hypot(origins[:, 0], origins[:, 1]) <= reach_m
    index, origins = index[near], origins[near]
    centre = int(np.flatnonzero(~index.any(axis=1))[0])
    return Places(origins, index, {}), centre
