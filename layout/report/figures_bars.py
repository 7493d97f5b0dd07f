"""Bars that compare layouts."""

import textwrap
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from layout.report.figures_style import HAIR, INK, LayoutStyle, house_style, layout_styles, new_figure
from layout.report.numbers import NOTHING, number
from layout.result import LayoutResult

WIDTH_IN = 7.6
NAME_LETTERS = 24
LEGEND_LETTERS = 110
"""Letters, spaces for the keys included, that fit into a line of the legend."""

YARDSTICKS = (
    ("kwh_per_m2_plot", "per m² of plot", "kWh/m² a year"),
    ("kwh_per_m2_panel", "per m² of panel", "kWh/m² a year"),
    ("kwh_per_kw", "per kW of rated power", "kWh/kW a year"),
)
"""Result key, what it is per, unit."""

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _finite(value: float) -> float:
    return value if np.isfinite(value) else 0.0


def _label_bars(axes: Axes, values: Sequence[float], positions: Sequence[float]) -> None:
    """The number at the end of each horizontal bar."""
    room = max([_finite(v) for v in values] + [1e-9])
    for value, at in zip(values, positions, strict=True):
        text = number(value) if np.isfinite(value) else NOTHING
        axes.text(_finite(value) + 0.02 * room, at, text, va="center", fontsize=8.5)
    axes.set_xlim(0, 1.22 * room)


def _draw(axes: Axes, values: Sequence[float], styles: Sequence[LayoutStyle], height: float = 0.68) -> None:
    for i, (value, style) in enumerate(zip(values, styles, strict=True)):
        axes.barh(i, _finite(value), height, color=style.colour, hatch=style.hatch, edgecolor=INK, linewidth=0.7)
    _label_bars(axes, values, range(len(values)))
    axes.set_ylim(len(values) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=HAIR, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.locator_params(axis="x", nbins=4)


@house_style
def yardstick_figure(layouts: Mapping[str, LayoutResult]) -> Figure:
    """Energy of a year per m² of plot, per m² of panel and per kW, one bar per layout."""
    names = list(layouts)
    styles = list(layout_styles(names).values())
    tall = 0.85 + 0.34 * len(names)
    figure = new_figure(WIDTH_IN, tall)
    axes = figure.subplots(1, 3, sharey=True)
    for place, (key, title, unit) in zip(axes, YARDSTICKS, strict=True):
        _draw(place, [getattr(layouts[name], key) for name in names], styles)
        place.set_title(title, fontsize=9.5)
        place.set_xlabel(unit, fontsize=8.5)
    axes[0].set_yticks(range(len(names)), _wrapped(names), fontsize=8.5)
    figure.subplots_adjust(left=_name_room(names), right=0.975, top=1 - 0.32 / tall, bottom=0.50 / tall, wspace=0.10)
    return figure


def _wrapped(names: Sequence[str]) -> list[str]:
    """Layout names in lines that are not too long."""
    return [textwrap.fill(name, NAME_LETTERS) for name in names]


def _name_room(names: Sequence[str]) -> float:
    """Share of the width that layout names need at the left."""
    longest = max((len(line) for name in _wrapped(names) for line in name.splitlines()), default=1)
    return 0.03 + 0.0105 * longest


@house_style
def endless_figure(layouts: Mapping[str, LayoutResult]) -> Figure:
    """Per m² of plot: standing alone on this plot (filled) beside the same pattern without end (outlined)."""
    names = list(layouts)
    styles = layout_styles(names)
    tall = 0.95 + 0.52 * len(names)
    figure = new_figure(WIDTH_IN, tall)
    axes = figure.add_axes((_name_room(names), 0.46 / tall, 0.985 - _name_room(names), 1 - 0.78 / tall))
    values: list[float] = []
    positions: list[float] = []
    for i, name in enumerate(names):
        result, style = layouts[name], styles[name]
        pair = (result.kwh_per_m2_plot, result.kwh_per_m2_plot_endless)
        axes.barh(i - 0.2, _finite(pair[0]), 0.36, color=style.colour, hatch=style.hatch, edgecolor=INK, lw=0.7)
        axes.barh(i + 0.2, _finite(pair[1]), 0.36, color="white", edgecolor=style.colour, lw=1.6)
        values += pair
        positions += [i - 0.2, i + 0.2]
    _label_bars(axes, values, positions)
    axes.set_yticks(range(len(names)), _wrapped(names))
    axes.set_ylim(len(names) - 0.45, -0.55)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=HAIR, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.set_xlabel("kWh per m² of plot a year", fontsize=8.5)
    axes.set_title("filled: alone on this plot   ·   outlined: the same pattern going on all round", fontsize=9)
    return figure


@house_style
def monthly_figure(layouts: Mapping[str, LayoutResult]) -> Figure:
    """AC energy by month of the site's clock, one bar per layout and month."""
    names = list(layouts)
    styles = layout_styles(names)
    monthly = {name: layouts[name].monthly()["energy_ac_kwh"].to_numpy() for name in names}
    most = max([float(v.max(initial=0.0)) for v in monthly.values()] + [1e-9])
    factor, unit = (1e-3, "MWh") if most >= 3000 else (1.0, "kWh")
    columns = max(1, min(len(names), LEGEND_LETTERS // (max(map(len, names), default=1) + 8)))
    foot = 0.36 + 0.19 * -(-len(names) // columns)
    figure = new_figure(WIDTH_IN, 2.35 + foot)
    axes = figure.add_axes((0.085, foot / (2.35 + foot), 0.905, 2.15 / (2.35 + foot)))
    width = 0.84 / max(len(names), 1)
    for i, name in enumerate(names):
        style = styles[name]
        axes.bar(
            np.arange(12) - 0.42 + (i + 0.5) * width,
            monthly[name] * factor,
            width,
            color=style.colour,
            hatch=style.hatch,
            edgecolor=INK,
            linewidth=0.5,
            label=name,
        )
    axes.set_xticks(range(12), MONTHS)
    axes.tick_params(axis="x", length=0)
    axes.set_xlim(-0.6, 11.6)
    axes.set_ylabel(f"AC energy, {unit} a month")
    axes.grid(axis="y", color=HAIR, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.09), ncols=columns, handlelength=2.2)
    return figure
