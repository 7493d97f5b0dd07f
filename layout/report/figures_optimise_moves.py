"""Bars of what each assumption does to the best layout, and what it leaves of its lead."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from layout.report.figures_style import HAIR, INK, SOFT, house_style, new_figure
from layout.report.numbers import signed_percent

WIDTH_IN = 7.6
LETTERS = 30
LESS, MORE = "#E69F00", "#0072B2"
MOST_BARS = 12
"""More do not fit on a page."""


@dataclass(frozen=True)
class Bar:
    """One assumption at its lower and upper end.

    change : of the best one's score, shares;  leads : its lead over the next, shares, NaN where it is alone
    """

    what: str
    by: str
    change: tuple[float, float]
    leads: tuple[float, float]


@house_style
def moves_figure(bars: Sequence[Bar], lead: float, aim: str) -> Figure:
    """Left: change of the score; right, where there are rivals: the lead that is left. lead : as assumed."""
    paired = bool(np.isfinite(lead))
    labels = ["\n".join([*textwrap.wrap(bar.what, LETTERS), bar.by]) for bar in bars]
    room = [0.13 * (label.count("\n") + 1) + 0.16 for label in labels]
    at = -(np.cumsum([0.0, *room[:-1]]) + 0.5 * np.array(room))
    tall = sum(room) + 1.05
    figure = new_figure(WIDTH_IN, tall)
    left = 0.305
    wide = (0.66 - 0.06) / 2 if paired else 0.66
    span = (left, 0.62 / tall, wide, sum(room) / tall)
    axes = figure.add_axes(span)
    _changes(axes, bars, at)
    axes.set_yticks(at, labels, fontsize=8)
    axes.set_title(textwrap.fill(f"change of {aim}, %", 44), fontsize=9, fontweight="normal")
    places = [axes]
    if paired:
        other = figure.add_axes((left + wide + 0.05, *span[1:]))
        _leads(other, bars, at, lead)
        other.set_yticks([])
        other.set_title("its lead over the next best, %", fontsize=9, fontweight="normal")
        places.append(other)
    for place in places:
        place.set_ylim(-sum(room), 0.0)
        place.grid(axis="x", color=HAIR, linewidth=0.5)
        place.set_axisbelow(True)
        place.tick_params(axis="y", length=0)
        place.locator_params(axis="x", nbins=5)
        place.spines["left"].set_visible(False)
    _legend(figure, paired, tall)
    return figure


def _changes(axes: Axes, bars: Sequence[Bar], at: np.ndarray) -> None:
    ends = 100 * np.array([bar.change for bar in bars])
    most = max(float(np.abs(ends).max(initial=0.0)), 0.05)
    for i, (colour, hatch, words) in enumerate(((LESS, "///", "less"), (MORE, "", "more"))):
        lift = 0.065 if i == 0 else -0.065
        axes.barh(at + lift, ends[:, i], 0.13, color=colour, hatch=hatch, edgecolor=INK, lw=0.5, label=words)
        for y, value, bar in zip(at + lift, ends[:, i], bars, strict=True):
            side = 1 if value > 0 or (value == 0 and i == 1) else -1
            text = signed_percent(bar.change[i], 1 if abs(value) >= 0.95 else 2).removesuffix(" %")
            axes.text(
                value + side * 0.03 * most, y, text, va="center", ha="left" if side > 0 else "right", fontsize=6.5
            )
    axes.axvline(0.0, color=SOFT, linewidth=0.8)
    axes.set_xlim(-1.3 * most, 1.3 * most)


def _leads(axes: Axes, bars: Sequence[Bar], at: np.ndarray, lead: float) -> None:
    ends = 100 * np.array([bar.leads for bar in bars])
    low, high = min(0.0, float(ends.min()), 100 * lead), max(0.0, float(ends.max()), 100 * lead)
    room = max(0.1 * (high - low), 0.02)
    axes.axvspan(low - 2 * room, 0.0, facecolor="none", edgecolor=HAIR, hatch="////", linewidth=0, zorder=0)
    axes.axvline(0.0, color=SOFT, linewidth=1.1)
    axes.axvline(100 * lead, color=INK, linewidth=0.9, linestyle=(0, (2, 2)))
    axes.hlines(at, ends.min(axis=1), ends.max(axis=1), color=INK, linewidth=1.1, zorder=3)
    axes.scatter(ends[:, 0], at, s=36, marker="o", facecolor=LESS, edgecolor=INK, lw=0.8, zorder=4)
    axes.scatter(ends[:, 1], at, s=36, marker="D", facecolor=MORE, edgecolor=INK, lw=0.8, zorder=5)
    axes.set_xlim(low - room, high + room)


def _legend(figure: Figure, paired: bool, tall: float) -> None:
    handles: list[Patch | Line2D] = [
        Patch(facecolor=LESS, hatch="///", edgecolor=INK, lw=0.5, label="less of it"),
        Patch(facecolor=MORE, edgecolor=INK, lw=0.5, label="more of it"),
    ]
    if paired:
        handles = [
            Line2D([], [], color="none", marker="o", markerfacecolor=LESS, markeredgecolor=INK, label="less of it"),
            Line2D([], [], color="none", marker="D", markerfacecolor=MORE, markeredgecolor=INK, label="more of it"),
            Line2D([], [], color=INK, linewidth=0.9, linestyle=(0, (2, 2)), label="lead as assumed"),
            Patch(facecolor="none", edgecolor=HAIR, hatch="////", label="another is best"),
        ]
    figure.legend(handles=handles, loc="lower center", bbox_to_anchor=(0.5, 0.02 / tall), ncols=4, columnspacing=1.4)
