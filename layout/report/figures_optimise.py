"""Pictures of a search: the trade-off between plot, panels and money, and how flat the best is."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from layout.report.figures_style import HAIR, INK, OKABE_ITO, SOFT, house_style, new_figure
from layout.report.optimise_names import axis_words
from sites.conventions import BoolArray, FloatArray

WIDTH_IN = 7.6
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "h")
"""Second cue beside a layout's colour."""

NAME_LETTERS = 26
FLAT_SHOWN = 0.12
"""Scores farther below the best are not drawn."""

GOOD, RULE, BROKEN = "#56B4E9", "#D55E00", "#8d8577"


@dataclass(frozen=True, eq=False)
class Cloud:
    """Shapes of one layout that were looked at, n of them, and the one chosen.

    per_panel, per_plot : (n,) kWh/m² a year;  cost : (n,) money a kWh, None without prices
    kept : (n,) bool, keeps every limit;  front : those of them that no other beats in both, ordered
    chosen : (3,) its energy per m² of panel and of plot, its cost (NaN without prices), traced whole; None where no
        shape was chosen
    """

    name: str
    per_panel: FloatArray
    per_plot: FloatArray
    cost: FloatArray | None
    kept: BoolArray
    front: Sequence[int]
    cost_front: Sequence[int]
    chosen: tuple[float, float, float] | None


def cloud_styles(names: Sequence[str]) -> dict[str, tuple[str, str]]:
    """Colour and marker of each layout."""
    return {n: (OKABE_ITO[i % len(OKABE_ITO)], MARKERS[(i + i // 8) % len(MARKERS)]) for i, n in enumerate(names)}


@house_style
def tradeoff_figure(clouds: Sequence[Cloud], best: str) -> Figure:
    """Energy per m² of plot against energy per m² of panel, and against the cost of a kWh where prices are known."""
    priced = all(c.cost is not None for c in clouds) and bool(clouds)
    names = [textwrap.fill(c.name, NAME_LETTERS) for c in clouds]
    across = 3
    lines = sum(max(n.count("\n") + 1 for n in names[i : i + across]) for i in range(0, len(names), across))
    below = 0.62 + 0.17 * (lines + 2)
    tall = 2.9 + below
    figure = new_figure(WIDTH_IN, tall)
    places = figure.subplots(1, 2 if priced else 1, sharey=True, squeeze=False)[0]
    styles = cloud_styles([c.name for c in clouds])
    for cloud in clouds:
        style = styles[cloud.name]
        _cloud(places[0], cloud, cloud.per_panel, cloud.front, style)
        if priced and cloud.cost is not None:
            _cloud(places[1], cloud, cloud.cost, cloud.cost_front, style)
    for cloud in sorted(clouds, key=lambda c: c.name == best):
        if cloud.chosen is None:
            continue
        for axes, x in zip(places, (cloud.chosen[0], cloud.chosen[2]), strict=False):
            _star(axes, x, cloud.chosen[1], styles[cloud.name][0], cloud.name == best)
    places[0].set_ylabel("kWh per m² of plot a year")
    places[0].set_xlabel("kWh per m² of panel a year")
    if priced:
        places[1].set_xlabel("money per kWh (less is better)")
    for axes in places:
        axes.grid(color=HAIR, linewidth=0.5)
        axes.set_axisbelow(True)
        axes.locator_params(axis="x", nbins=6)
    _fit(places[0], clouds, [c.per_panel for c in clouds], 0)
    if priced:
        _fit(places[1], clouds, [c.cost for c in clouds if c.cost is not None], 2)
    left, right = (0.085, 0.985) if priced else (0.12, 0.93)
    figure.subplots_adjust(left=left, right=right, top=1 - 0.12 / tall, bottom=below / tall, wspace=0.08)
    _tradeoff_legend(figure, [(n, *styles[c.name]) for n, c in zip(names, clouds, strict=True)], across)
    return figure


def _fit(axes: Axes, clouds: Sequence[Cloud], x: Sequence[FloatArray], which: int) -> None:
    """Room for all that keeps its limits and a little beside it; what lies farther off is not shown."""
    for side, of, chosen in (("x", x, which), ("y", [c.per_plot for c in clouds], 1)):
        kept = [v[c.kept & np.isfinite(v)] for v, c in zip(of, clouds, strict=True)]
        stars = [c.chosen[chosen] for c in clouds if c.chosen is not None]
        values = np.concatenate([*kept, stars])
        low, high = float(values.min()), float(values.max())
        room = max(0.12 * (high - low), 1e-3 * abs(high))
        (axes.set_xlim if side == "x" else axes.set_ylim)(low - room, high + 1.5 * room)


def _cloud(axes: Axes, cloud: Cloud, x: FloatArray, front: Sequence[int], style: tuple[str, str]) -> None:
    colour, marker = style
    off = ~cloud.kept & np.isfinite(x)
    axes.scatter(x[off], cloud.per_plot[off], s=13, marker=marker, facecolor="none", edgecolor=HAIR, lw=0.8, zorder=2)
    axes.scatter(
        x[cloud.kept],
        cloud.per_plot[cloud.kept],
        s=17,
        marker=marker,
        color=colour,
        edgecolor="white",
        lw=0.3,
        zorder=3,
    )
    index = np.asarray(front, dtype=np.int64)
    axes.plot(x[index], cloud.per_plot[index], color=colour, linewidth=1.6, alpha=0.85, zorder=2.5)


def _star(axes: Axes, x: float, y: float, colour: str, best: bool) -> None:
    axes.scatter([x], [y], s=230 if best else 110, marker="*", color=colour, edgecolor=INK, lw=1.1, zorder=6)


def _tradeoff_legend(figure: Figure, rows: Sequence[tuple[str, str, str]], across: int) -> None:
    handles = [
        Line2D([], [], color=colour, marker=marker, markersize=5, linewidth=1.6, label=name)
        for name, colour, marker in rows
    ]
    signs = [
        Line2D([], [], color="none", marker="*", markersize=13, markerfacecolor="white", markeredgecolor=INK,
               label="chosen, traced whole; the large one is the best"),
        Line2D([], [], color="none", marker="o", markersize=4.5, markerfacecolor="none", markeredgecolor=SOFT,
               label="breaks a limit"),
    ]  # fmt: skip
    low = 0.05 / figure.get_figheight()
    first = figure.legend(handles=signs, loc="lower left", bbox_to_anchor=(0.06, low), ncols=2, columnspacing=1.4)
    figure.add_artist(first)
    figure.legend(
        handles=handles, loc="lower left", bbox_to_anchor=(0.06, low + 0.22 / figure.get_figheight()),
        ncols=min(across, len(handles)), columnspacing=1.4, handlelength=2.2,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Axis:
    """One thing that varied: values looked at, and the cut through the best with all others held.

    at, score, kept : (n,) the cut: value (of words their places), share of the best score minus 1 (NaN: cannot be
        built), whether it keeps every limit
    points_at, points_score, points_kept : (m,) the same of all shapes looked at
    words : the values' names where they are words
    flat : smallest and largest value within 1 % of the best;  best : its value;  low, high : its bounds
    rule : the pitch of the rule without shade at midwinter, None where it says nothing
    """

    key: str
    at: FloatArray
    score: FloatArray
    kept: BoolArray
    points_at: FloatArray
    points_score: FloatArray
    points_kept: BoolArray
    words: tuple[str, ...]
    flat: tuple[float, float]
    best: float
    low: float
    high: float
    rule: float | None = None


@house_style
def flat_figure(axes_: Sequence[Axis]) -> Figure:
    """The score over each thing that varied: how much is lost beside the best, and where limits end it."""
    across = min(3, len(axes_))
    rows = -(-len(axes_) // across)
    tall = 0.62 + 2.35 * rows
    figure = new_figure(WIDTH_IN, tall)
    places = figure.subplots(rows, across, sharey=True, squeeze=False)
    top = 100 * min(max(0.012, 1.08 * max(float(np.nanmax(a.score)) for a in axes_)), 1.5 * FLAT_SHOWN)
    for place, axis in zip(places.flat, axes_, strict=False):
        _flat(place, axis)
        place.set_ylim(-100 * FLAT_SHOWN, top)
    for place in places.flat[len(axes_) :]:
        place.set_visible(False)
    for row in places:
        row[0].set_ylabel("change against the best, %", fontsize=8.5)
    figure.subplots_adjust(left=0.095, right=0.985, top=1 - 0.1 / tall, bottom=0.92 / tall, wspace=0.08, hspace=0.45)
    _flat_legend(figure, tall, any(a.rule is not None for a in axes_))
    return figure


def _flat_legend(figure: Figure, tall: float, ruled: bool) -> None:
    handles = [
        Line2D([], [], color=INK, linewidth=1.6, label="through the best"),
        Line2D([], [], color=BROKEN, linewidth=1.2, linestyle=(0, (1, 1.2)), label="breaks a limit"),
        Line2D([], [], color="none", marker="o", markersize=3.5, markerfacecolor=SOFT, markeredgecolor="none",
               label="looked at"),
        Patch(facecolor=GOOD, alpha=0.45, label="within 1 %"),
    ]  # fmt: skip
    if ruled:
        handles.append(Line2D([], [], color=RULE, linestyle=(0, (4, 2)), linewidth=1.3, label="no-shade rule"))
    figure.legend(handles=handles, loc="lower center", bbox_to_anchor=(0.5, 0.02 / tall), ncols=5, columnspacing=1.3,
                  handletextpad=0.5)  # fmt: skip


def _flat(axes: Axes, axis: Axis) -> None:
    axes.axhspan(-1.0, 0.0, color=GOOD, alpha=0.18, linewidth=0, zorder=1)
    wide = 0.012 * (axis.high - axis.low)
    axes.axvspan(axis.flat[0] - wide, axis.flat[1] + wide, color=GOOD, alpha=0.35, linewidth=0, zorder=1)
    axes.axhline(0.0, color=SOFT, linewidth=0.7, zorder=2)
    on = axis.points_kept & np.isfinite(axis.points_score)
    axes.scatter(axis.points_at[on], 100 * axis.points_score[on], s=9, color=SOFT, alpha=0.7, lw=0, zorder=3)
    for part, kept in [] if axis.words else _stretches(axis.kept & np.isfinite(axis.score)):
        (line,) = axes.plot(axis.at[part], 100 * axis.score[part], color=INK, linewidth=1.6, zorder=4)
        if not kept:
            line.set(color=BROKEN, linewidth=1.2, linestyle=(0, (1, 1.2)), zorder=3.5)
    axes.scatter([axis.best], [0.0], s=42, marker="*", color=INK, zorder=5)
    room = 0.04 * (axis.high - axis.low)
    low, high = axis.low - room, axis.high + room
    if axis.rule is not None:
        axes.axvline(axis.rule, color=RULE, linestyle=(0, (4, 2)), linewidth=1.3, zorder=2.6)
        low, high = min(low, axis.rule - room), max(high, axis.rule + room)
    axes.set_xlim(low, high)
    axes.set_xlabel(axis_words(axis.key), fontsize=8.5)
    if axis.words:
        colours = [INK if kept else "white" for kept in axis.kept]
        axes.scatter(axis.at, 100 * axis.score, s=34, marker="D", color=colours, edgecolor=INK, lw=1.0, zorder=4)
        axes.set_xlim(-0.5, len(axis.words) - 0.5)
        axes.set_xticks(
            range(len(axis.words)), [textwrap.fill(w.replace("_", " "), 11) for w in axis.words], fontsize=7
        )
    else:
        axes.locator_params(axis="x", nbins=6)


def _stretches(kept: BoolArray) -> list[tuple[slice, bool]]:
    """Runs of kept values, and between and beside them the others with one kept value at each end."""
    edges = [0, *(np.flatnonzero(np.diff(kept.astype(int))) + 1), len(kept)]
    found = []
    for start, end in pairwise(edges):
        good = bool(kept[start])
        found.append((slice(start, end) if good else slice(max(0, start - 1), min(len(kept), end + 1)), good))
    return found
