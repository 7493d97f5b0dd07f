"""The worst hour of a year: light and temperature of every cell of the panel with the hottest one."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import Normalize
from matplotlib.figure import Figure

from layout.arrange.arrangement import Arrangement
from layout.pieces import Panel
from layout.report.figures_light import mark_cell
from layout.report.figures_style import LIGHT_MAP, house_style, new_figure
from layout.result import LayoutResult, WorstHour
from sites.conventions import FloatArray

HEAT_MAP = "inferno"
"""Lightness rises evenly, like that of the map for light."""

DARK_SHARE = 0.25
"""The scale begins this share of its range below the coolest cell, so that no cell is drawn black."""

WIDTH_IN = 4.6
MAP_WIDTH_IN = 2.05
TALLEST_IN = 2.4


class HasPanels(Protocol):
    """Anything with a name and panels."""

    @property
    def name(self) -> str: ...
    @property
    def arrangement(self) -> Arrangement: ...


@dataclass(frozen=True)
class HeatScales:
    """Colour scales that all layouts of a report share."""

    light: Normalize
    cell_c: Normalize


def heat_scales(layouts: Mapping[str, LayoutResult]) -> HeatScales:
    """Light from 0 to the brightest cell in whole hundreds; heat up to the hottest in whole fives."""
    worst = [r.peaks.worst for r in layouts.values() if r.peaks is not None]
    light = np.concatenate([w.light_w_m2.ravel() for w in worst]) if worst else np.array([1.0])
    heat = np.concatenate([w.cell_c.ravel() for w in worst]) if worst else np.array([0.0, 1.0])
    low = 5 * np.floor((heat.min() - DARK_SHARE * np.ptp(heat)) / 5)
    high = 5 * np.ceil(heat.max() / 5)
    return HeatScales(
        Normalize(0.0, float(100 * np.ceil(max(light.max(), 1.0) / 100))),
        Normalize(float(low), float(max(high, low + 5))),
    )


def _map(axes: Axes, panel: Panel, cells: FloatArray, colours: str, scale: Normalize, marker: str) -> None:
    """The panel's front, its cells in the colour of their values, the highest marked."""
    wide, high = float(np.linalg.norm(panel.along)), float(np.linalg.norm(panel.up))
    n_up, n_along = cells.shape
    image = axes.pcolormesh(
        np.linspace(0, wide, n_along + 1),
        np.linspace(0, high, n_up + 1),
        cells,
        cmap=colours,
        norm=scale,
        edgecolors="white",
        linewidth=0.3,
    )
    up, along = np.unravel_index(int(cells.argmax()), cells.shape)
    mark_cell(axes, (along + 0.5) * wide / n_along, (up + 0.5) * high / n_up, marker)
    axes.set(aspect="equal", xticks=[], yticks=[], anchor="S")
    bar = axes.figure.add_axes((0, 0, 1, 1))
    axes.figure.colorbar(image, cax=bar, orientation="horizontal")
    bar.tick_params(labelsize=7.5, length=2)
    bar.locator_params(nbins=5)


@house_style
def worst_hour_figure(result: HasPanels, worst: WorstHour, scales: HeatScales) -> Figure:
    """Light (left) and temperature (right) of every cell, seen from the panel's front.

    The brightest cell is marked with a circle, the hottest with a diamond.
    """
    panel = result.arrangement.scene.panels[worst.panel]
    shape = float(np.linalg.norm(panel.up) / np.linalg.norm(panel.along))
    high = min(TALLEST_IN, MAP_WIDTH_IN * shape)
    tall = high + 0.98
    figure = new_figure(WIDTH_IN, tall)
    figure.text(0.02, 1 - 0.13 / tall, f"{result.name}: panel {worst.panel}", fontsize=9.5, fontweight="bold",
                va="center")  # fmt: skip
    brightest, hottest = worst.light_w_m2.max(), worst.cell_c.max()
    parts = (
        (
            worst.light_w_m2,
            LIGHT_MAP,
            scales.light,
            "o",
            f"○ brightest {brightest:.0f} W/m²",
            "light on the front, W/m²",
        ),
        (worst.cell_c, HEAT_MAP, scales.cell_c, "D", f"◇ hottest {hottest:.1f} °C", "temperature, °C"),
    )
    for i, (cells, colours, scale, marker, title, unit) in enumerate(parts):
        left = 0.03 + 0.50 * i
        axes = figure.add_axes((left, 0.52 / tall, MAP_WIDTH_IN / WIDTH_IN, high / tall))
        _map(axes, panel, cells, colours, scale, marker)
        axes.set_title(title, fontsize=8.5, fontweight="normal", pad=3)
        bar = figure.axes[-1]
        bar.set_position((left, 0.36 / tall, MAP_WIDTH_IN / WIDTH_IN, 0.10 / tall))
        bar.set_xlabel(unit, fontsize=8, labelpad=1)
    return figure
