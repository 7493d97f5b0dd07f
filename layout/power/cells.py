"""Which bypass group each part of a panel belongs to.

A portrait panel with ``group_direction = "length"``, three groups, seen from the front:

    up = length          half-cut: each group has an upper and a lower half, in parallel
    | 0 0 | 1 1 | 2 2 |          | 1 1 | 3 3 | 5 5 |
    | 0 0 | 1 1 | 2 2 |          | 1 1 | 3 3 | 5 5 |
    | 0 0 | 1 1 | 2 2 |          | 0 0 | 2 2 | 4 4 |
    +------------------> along = width
"""

from typing import Literal

import numpy as np

from layout.errors import BrightacreError
from layout.panel_type import PanelType
from sites.conventions import IntArray


class PanelDataError(BrightacreError, ValueError):
    """Panel data that cannot be used, with the reason."""


def group_count(panel_type: PanelType) -> int:
    """Groups of cells that set their own current: the bypass groups, or 1 where there is no bypass diode."""
    return max(1, panel_type.bypass_groups)


def halves(panel_type: PanelType) -> int:
    """Strings of cells in parallel in each group: 2 where cells are cut in half, else 1."""
    return 2 if panel_type.half_cut else 1


def cells_in_series(panel_type: PanelType) -> int:
    """Cells that the panel's current flows through one after the other."""
    return panel_type.cells[0] * panel_type.cells[1] // halves(panel_type)


def check_cells(panel_type: PanelType) -> None:
    """Raises PanelDataError where the cells cannot be dealt out evenly to groups and halves."""
    name, (length, width), groups = panel_type.name, panel_type.cells, group_count(panel_type)
    if panel_type.group_direction not in ("length", "width"):
        found = panel_type.group_direction
        raise PanelDataError(f'{name}: group_direction: found "{found}"; accepted: "length", "width"')
    if panel_type.half_cut and length % 2:
        raise PanelDataError(f"{name}: cells[0]: found {length}; accepted: an even number in a half-cut panel")
    across = width if panel_type.group_direction == "length" else length // halves(panel_type)
    if groups > across or across % groups:
        raise PanelDataError(
            f"{name}: bypass_groups: found {groups}; accepted: a number that divides "
            f"the {across} cells across the groups"
        )


def group_map(
    panel_type: PanelType, orientation: Literal["portrait", "landscape"], n_up: int, n_along: int
) -> IntArray:
    """Group of each point of a net of n_up × n_along points, each at the centre of its part of the panel.

    orientation : "portrait" where the panel's length lies along ``up``, "landscape" where along ``along``
    Returns (n_up, n_along) int: group × halves + half; see `halves`.
    Raises PanelDataError where the net is so coarse that a group gets no point.
    """
    check_cells(panel_type)
    n_length, n_width = (n_up, n_along) if orientation == "portrait" else (n_along, n_up)
    along_length = (np.arange(n_length) + 0.5) / n_length
    along_width = (np.arange(n_width) + 0.5) / n_width
    count, parts = group_count(panel_type), halves(panel_type)
    half = np.floor(along_length * parts).astype(np.int64)
    if panel_type.group_direction == "length":
        group = np.broadcast_to(np.floor(along_width * count).astype(np.int64), (n_length, n_width))
    else:
        # strips across the panel; with half cells each half holds all groups one after the other
        strip = np.floor((along_length * parts % 1.0) * count).astype(np.int64)
        group = np.broadcast_to(strip[:, None], (n_length, n_width))
    found = group * parts + half[:, None]
    missing = sorted(set(range(count * parts)) - set(np.unique(found).tolist()))
    if missing:
        raise PanelDataError(
            f"{panel_type.name}: found a net of {n_up} × {n_along} points, which leaves group parts "
            f"{missing} without a point; accepted: a finer net"
        )
    return found if orientation == "portrait" else found.T
