"""Light on the cells of panels at one sun position."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import Normalize
from matplotlib.figure import Figure

from layout.pieces import Panel
from layout.report.figures_style import INK, LIGHT_MAP, SOFT, house_style, new_figure
from sites.conventions import FloatArray, elevation_azimuth

MAX_DRAWN = 12
SAME_W_M2 = 0.5
"""Cells that differ by less read the same in whole W/m²."""

COLUMNS = 4
COLUMN_IN = 1.72
BETWEEN_IN = 0.62
"""Width of a panel in the picture, and the room for words between two lines of them."""


@dataclass(frozen=True)
class Cell:
    """One cell: panel number, row up, column along, light."""

    panel: int
    up: int
    along: int
    w_m2: float


def extreme_cells(light: Sequence[FloatArray]) -> tuple[Cell, Cell]:
    """The dimmest and the brightest cell of all panels; light : per panel (n_up, n_along)."""
    lows = np.array([cells.min() for cells in light])
    highs = np.array([cells.max() for cells in light])
    found = []
    for panel, pick in ((int(lows.argmin()), np.argmin), (int(highs.argmax()), np.argmax)):
        up, along = np.unravel_index(int(pick(light[panel])), light[panel].shape)
        found.append(Cell(panel, int(up), int(along), float(light[panel][up, along])))
    return found[0], found[1]


def all_alike(dim: Cell, bright: Cell) -> bool:
    """Whether the dimmest and the brightest cell read the same."""
    return bright.w_m2 - dim.w_m2 < SAME_W_M2


def panels_to_draw(light: Sequence[FloatArray]) -> list[int]:
    """At most twelve, in built order: those of the dimmest and brightest cell, then the most uneven."""
    dim, bright = extreme_cells(light)
    spread = np.array([cells.max() - cells.min() for cells in light])
    order = dict.fromkeys([dim.panel, bright.panel, *np.argsort(-spread, kind="stable").tolist()])
    return sorted(list(order)[:MAX_DRAWN])


def _faces(panel: Panel) -> str:
    """Tilt and azimuth in words."""
    elevation, azimuth = elevation_azimuth(panel.normal)
    tilt = 90.0 - float(elevation)
    return f"tilt {tilt:.0f}°" + ("" if tilt < 0.5 else f", faces {float(azimuth):.0f}°")


def _place(cell: Cell) -> str:
    return f"panel {cell.panel}, row {cell.up}, column {cell.along}"


def mark_cell(axes: Axes, x: float, y: float, marker: str) -> None:
    """A dark outline on a white one, seen on every colour."""
    for colour, width in (("white", 2.8), (INK, 1.3)):
        axes.plot(
            x, y, marker, markersize=7, markerfacecolor="none", markeredgecolor=colour, markeredgewidth=width,
            clip_on=False,
        )  # fmt: skip


@house_style
def light_figure(panels: Sequence[Panel], light: Sequence[FloatArray], rear: Sequence[bool], title: str) -> Figure:
    """Panels seen from their fronts, cells in the colour of their light.

    The dimmest cell is marked with a square, the brightest with a circle.
    light : per panel (n_up, n_along) W/m²
    rear : per panel, that light is on its rear, drawn as if seen through the front
    """
    drawn = panels_to_draw(light)
    dim, bright = extremes = extreme_cells(light)
    columns = min(COLUMNS, len(drawn))
    lines = -(-len(drawn) // columns)
    shape = max(float(np.linalg.norm(panels[k].up) / np.linalg.norm(panels[k].along)) for k in drawn)
    high = float(np.clip(COLUMN_IN * shape, 0.6, 1.6))
    tall = 1.52 + lines * high + (lines - 1) * BETWEEN_IN
    figure = new_figure(7.6, tall)
    scale = Normalize(0.0, max(bright.w_m2, 1.0))
    grid = figure.subplots(lines, columns, squeeze=False)
    for axes in grid.ravel()[len(drawn) :]:
        axes.set_visible(False)
    image = None
    for axes, k in zip(grid.ravel(), drawn, strict=False):
        wide, high = float(np.linalg.norm(panels[k].along)), float(np.linalg.norm(panels[k].up))
        n_up, n_along = light[k].shape
        image = axes.pcolormesh(
            np.linspace(0, wide, n_along + 1),
            np.linspace(0, high, n_up + 1),
            light[k],
            cmap=LIGHT_MAP,
            norm=scale,
            edgecolors="white",
            linewidth=0.3,
        )
        for cell, word in ((dim, "dimmest"), (bright, "brightest")):
            if cell.panel == k and not all_alike(*extremes):
                x, y = (cell.along + 0.5) * wide / n_along, (cell.up + 0.5) * high / n_up
                mark_cell(axes, x, y, "o" if word == "brightest" else "s")
        axes.set(aspect="equal", xticks=[], yticks=[])
        axes.set_title(f"panel {k}: {light[k].mean():.0f} W/m²", fontsize=8.5, pad=3)
        side = "\nrear, seen through the front" if rear[k] else ""
        axes.set_xlabel(_faces(panels[k]) + side, fontsize=7.5, color=SOFT, labelpad=2)
    figure.subplots_adjust(
        left=0.02, right=0.98, top=1 - 0.62 / tall, bottom=0.90 / tall, hspace=BETWEEN_IN / high, wspace=0.08
    )
    figure.text(0.02, 1 - 0.2 / tall, title, fontsize=10, fontweight="bold", va="center")
    if image is not None:
        bar = figure.add_axes((0.02, 0.44 / tall, 0.45, 0.12 / tall))
        figure.colorbar(image, cax=bar, orientation="horizontal")
        bar.tick_params(labelsize=8, length=2)
        bar.set_xlabel("light on the panel's cells, W/m²", fontsize=8, labelpad=2)
    figure.text(0.52, 0.60 / tall, _words(*extremes, len(drawn), len(panels)), fontsize=8, va="top")
    return figure


def _words(dim: Cell, bright: Cell, drawn: int, panels: int) -> str:
    """What stands beside the colour bar."""
    if all_alike(dim, bright):
        some = f"\n{drawn} of {panels} panels drawn." if drawn < panels else ""
        return f"Every cell gets {bright.w_m2:.0f} W/m².{some}"
    some = f"\n{drawn} of {panels} panels drawn: the most unevenly lit." if drawn < panels else ""
    return (
        f"○ brightest cell: {bright.w_m2:.0f} W/m² ({_place(bright)})\n"
        f"□ dimmest cell: {dim.w_m2:.0f} W/m² ({_place(dim)})\n"
        f"Counted from 0; row 0 lies at the bottom, column 0 at the left.{some}"
    )
