"""The roof as on a drawing of it: panels with their gain, numbered parts, obstacles, paths, a scale."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Polygon as Shape
from matplotlib.ticker import MaxNLocator

from layout.geometry.hinged import corners
from layout.geometry.rectangles import Rectangles
from layout.report.figures_style import HAIR, INK, LAND, LIGHT_MAP, OBSTACLE, SOFT, house_style, new_figure
from layout.report.numbers import percent, signed_percent
from layout.report.retrofit_parts import PartLine
from layout.retrofit.refine import Retrofit
from layout.roof_shapes import RoofPlane
from sites.conventions import FloatArray

WIDTH_IN = 7.6
PART = "#D55E00"
MARGIN_M = 0.5
PANEL_PT, SMALLEST_PT = 7.0, 3.5
"""Type on panels where there is room, and the smallest that can be read; with less room less is written."""

NUMBER_PT, PLENTY_IN = 7.5, 0.28
"""Type of the parts' numbers, and inches of paper a metre below which it shrinks."""

NAME_M = 0.4
"""Room that a name above an obstacle takes."""

NAMED = {0.0: ", north", 90.0: ", east", 180.0: ", south", 270.0: ", west"}


def drawn_planes(result: Retrofit, planes: Sequence[RoofPlane], of_panel: Sequence[int]) -> list[int]:
    """Planes with panels or parts."""
    return sorted({*of_panel, *(p.plane for p in result.parts)})


@house_style
def roof_figure(
    result: Retrofit, plane: RoofPlane, name: str, panels: Sequence[int], lines: Sequence[PartLine], scale: Normalize
) -> Figure:
    """One plane to scale, as seen at right angles from outside; panels : numbers of those on it."""
    low, high = _extent(plane)
    wide, tall = high - low
    height_in = float(np.clip((WIDTH_IN - 1.6) * tall / wide, 1.6, 9.0))
    figure = new_figure(WIDTH_IN, height_in + 1.1)
    total = height_in + 1.1
    axes = figure.add_axes((0.08, 0.55 / total, (WIDTH_IN - 1.6) / WIDTH_IN, height_in / total))
    _ground(axes, plane)
    inch = (WIDTH_IN - 1.6) / wide  # a metre of the roof on paper
    _panels(axes, result, plane, panels, scale, inch)
    for line in lines:
        _part(axes, line, min(NUMBER_PT, NUMBER_PT * inch / PLENTY_IN))
    axes.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]), aspect="equal", xlabel="right from the origin, m",
             ylabel="up from the origin, m")  # fmt: skip
    axes.set_title(_title(plane, name))
    if len(result.chosen):
        bar = figure.add_axes(((WIDTH_IN - 0.75) / WIDTH_IN, 0.75 / total, 0.13 / WIDTH_IN, 0.6 * height_in / total))
        marks = MaxNLocator(6, steps=[1, 2, 5, 10])  # steps of 0.25 % would be told to a tenth
        figure.colorbar(ScalarMappable(scale, LIGHT_MAP), cax=bar, ticks=marks, format=lambda v, _: percent(v))
        bar.set_title("DC gain\nof a year", fontsize=7.5, fontweight="normal", loc="center")
        bar.tick_params(labelsize=7)
    return figure


def _panels(
    axes: Axes, result: Retrofit, plane: RoofPlane, panels: Sequence[int], scale: Normalize, inch: float
) -> None:
    """Panels in the colour of their gain, with their numbers and what they gain, as far as there is room."""
    gain = result.whole.dc_kwh / result.bare.dc_kwh - 1.0
    rectangles = Rectangles.of([result.whole.arrangement.scene.panels[i] for i in panels])
    colours = colormaps[LIGHT_MAP]
    for number, points in zip(panels, plane.flat(corners(rectangles)), strict=True):
        ring = points[[0, 1, 3, 2]]
        axes.add_patch(Shape(ring, facecolor=colours(scale(gain[number])), edgecolor="white", linewidth=0.8))
        words = [f"{number}", signed_percent(gain[number])] if len(result.chosen) else [f"{number}"]
        size = np.ptp(ring, axis=0) * inch * 72.0
        while words and (points_ := _fitting(words, size)) < SMALLEST_PT:
            words.pop()
        if words:
            middle, light = ring.mean(axis=0), INK if scale(gain[number]) >= 0.6 else "white"
            axes.text(
                middle[0], middle[1], "\n".join(words), ha="center", va="center", fontsize=points_, color=light,
                linespacing=1.1,
            )  # fmt: skip


def _fitting(words: Sequence[str], size: FloatArray) -> float:
    """Type size [pt] at which lines fit into a panel of ``size`` (2,) pt, at most PANEL_PT."""
    longest = max(len(word) for word in words)
    return float(min(PANEL_PT, 0.8 * size[0] / (0.64 * longest), 0.9 * size[1] / (1.25 * len(words))))


def gain_scale(result: Retrofit) -> Normalize:
    """From the least to the largest gain of any panel, whole per cents."""
    gain = result.whole.dc_kwh / result.bare.dc_kwh - 1.0
    low, high = np.floor(100 * min(0.0, gain.min() + 5e-4)) / 100, np.ceil(100 * max(0.01, gain.max())) / 100
    return Normalize(float(low), float(high))


def _title(plane: RoofPlane, name: str) -> str:
    table = plane.table
    if table.tilt_deg < 1.0:
        up = (table.azimuth_deg + 180.0) % 360.0
        return f"{name}, level; up on this drawing is azimuth {up:.0f}°{NAMED.get(up, '')}"
    return f"{name}, tilt {table.tilt_deg:g}°, faces {table.azimuth_deg:g}°"


def _extent(plane: RoofPlane) -> tuple[FloatArray, FloatArray]:
    points = np.array(plane.outline.exterior.coords)
    return points.min(axis=0) - MARGIN_M, points.max(axis=0) + MARGIN_M


def _ground(axes: Axes, plane: RoofPlane) -> None:
    table = plane.table
    axes.add_patch(Shape(np.array(table.outline), facecolor=LAND, edgecolor=INK, linewidth=1.0))
    if table.edge_clearance_m > 0:
        inner = plane.outline.buffer(-table.edge_clearance_m, join_style="mitre")
        for part in getattr(inner, "geoms", [inner]):
            if not part.is_empty:
                ring = np.array(part.exterior.coords)
                axes.add_patch(Shape(ring, fill=False, edgecolor=SOFT, linewidth=0.7, linestyle="--"))
    for path in table.path:
        axes.add_patch(Shape(np.array(path.outline), facecolor="none", edgecolor=HAIR, hatch="///", linewidth=0.0))
        _label_inside(axes, np.array(path.outline), path.name)
    for obstacle in table.obstacle:
        axes.add_patch(Shape(np.array(obstacle.outline), facecolor=OBSTACLE, edgecolor=INK, linewidth=0.6))
        _label_beside(axes, np.array(obstacle.outline), obstacle.name, plane)


def _label_inside(axes: Axes, outline: FloatArray, words: str) -> None:
    """A name in the middle, along the longer way."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    turn = 90 if high[1] - low[1] > high[0] - low[0] else 0
    _name(axes, 0.5 * (low + high), words, ha="center", va="center", rotation=turn)


def _label_beside(axes: Axes, outline: FloatArray, words: str, plane: RoofPlane) -> None:
    """A name above, or below where the roof ends above."""
    low, high = outline.min(axis=0), outline.max(axis=0)
    above = high[1] + NAME_M < plane.outline.bounds[3]
    at = np.array([0.5 * (low[0] + high[0]), high[1] + 0.08 if above else low[1] - 0.08])
    _name(axes, at, words, ha="center", va="bottom" if above else "top")


def _name(axes: Axes, at: FloatArray, words: str, **how: Any) -> None:
    box = {"facecolor": LAND, "edgecolor": "none", "pad": 1.0}
    axes.text(at[0], at[1], words, fontsize=7, color=INK, bbox=box, **how)


def _part(axes: Axes, line: PartLine, size_pt: float) -> None:
    """The part's shadow on the plane, its near edge thick, its number in a ring at one end."""
    for points in line.plane.flat(corners(line.part.sheets)):
        ring = points[[0, 1, 3, 2]]
        axes.add_patch(Shape(ring, facecolor=PART, alpha=0.55, edgecolor=PART, linewidth=0.8))
        axes.plot(points[:2, 0], points[:2, 1], color=PART, linewidth=1.8, solid_capstyle="butt")
    middle = np.mean(line.plane.flat(corners(line.part.sheets)), axis=(0, 1))
    axes.text(
        middle[0], middle[1], f"{line.number}", fontsize=size_pt, fontweight="bold", ha="center", va="center",
        color=INK, bbox={"boxstyle": "circle,pad=0.2", "facecolor": "white", "edgecolor": PART, "linewidth": 1.0},
    )  # fmt: skip


@house_style
def month_figure(result: Retrofit) -> Figure:
    """Extra AC energy by month."""
    figure = new_figure(6.4, 2.3)
    axes = figure.add_axes((0.1, 0.16, 0.87, 0.7))
    extra = result.whole.monthly_ac_kwh - result.bare.monthly_ac_kwh
    axes.bar(np.arange(12), extra, color=PART, width=0.65)
    axes.axhline(0.0, color=SOFT, linewidth=0.7)
    axes.set_xticks(np.arange(12), ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"])
    axes.set_title("Extra AC energy by month, kWh")
    return figure
