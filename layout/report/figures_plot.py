"""The plot drawn to scale, each layout's panels coloured by the light of a year."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, PathPatch, Rectangle
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke
from shapely.geometry import MultiPolygon, Polygon

from layout.report.figures_sheets import draw_sheets, sheet_handles
from layout.report.figures_style import (
    INK,
    LAND,
    LIGHT_MAP,
    OBSTACLE,
    SOFT,
    hide_frame,
    house_style,
    new_figure,
)
from layout.report.plan_shapes import (
    PlanShapes,
    closer_window,
    is_wall,
    plan_extent,
    plan_shapes,
    round_length,
)
from layout.report.sheet_shapes import SheetShapes, covered_edges, sheet_shapes
from layout.result import LayoutResult
from sites.conventions import FloatArray
from sites.plot import Plot

WIDTH_IN = 7.6
PLAN_SHARE = 0.63
HATCHED_SHARE = 0.04
"""Sheets at least as wide as this share of the plan are hatched in it, narrower ones in the closer look only."""

TITLE_IN, CLOSE_IN, BAR_IN, LEGEND_IN, NOTE_IN = 0.38, 2.05, 0.92, 0.195, 0.14
"""Heights of the title, the closer look, the colour bar with its words, a line of the legend, a line of the note."""

MAX_VECTOR_SHAPES = 6000
"""More shapes than this go into a page as a picture, not as lines."""


def light_scale(layouts: Sequence[LayoutResult]) -> Normalize:
    """One colour scale for all layouts: yearly light of every face that gets drawn, in whole fifties."""
    drawn = [np.zeros(0)]
    for result in layouts:
        panels = result.arrangement.scene.panels
        both = is_wall(panels) & np.array([p.bifacial for p in panels], dtype=bool)
        drawn += [result.per_panel.front_kwh_per_m2, result.per_panel.rear_kwh_per_m2[both]]
    values = np.concatenate(drawn)
    if values.size == 0:
        return Normalize(0.0, 1.0)
    low, high = 50 * np.floor(values.min() / 50), 50 * np.ceil(values.max() / 50)
    return Normalize(float(low), float(max(high, low + 50)))


def _level(x: FloatArray, y: FloatArray) -> FloatArray:
    return np.zeros_like(x)


def shapes_of(result: LayoutResult, plot: Plot | None) -> PlanShapes:
    """What the plan view of a layout draws."""
    yearly = result.per_panel
    ground = plot.ground_z if plot is not None else _level
    return plan_shapes(result.arrangement.scene.panels, yearly.front_kwh_per_m2, yearly.rear_kwh_per_m2, ground)


def _polygons(geometry: Any) -> list[Polygon]:
    """The non-empty polygons of a geometry of any kind."""
    parts = geometry.geoms if hasattr(geometry, "geoms") else [geometry]
    return [part for part in parts if isinstance(part, Polygon) and not part.is_empty]


def _outline(polygon: Polygon) -> Outline:
    rings = [polygon.exterior, *polygon.interiors]
    return Outline.make_compound_path(*(Outline(np.asarray(r.coords)[:, :2], closed=True) for r in rings))


def draw_ground(axes: Axes, plot: Plot, names: bool = True) -> None:
    """Boundary, setback, keep-outs and obstacles."""
    for polygon in _polygons(plot.boundary):
        axes.add_patch(PathPatch(_outline(polygon), facecolor=LAND, edgecolor=INK, linewidth=1.3, zorder=1))
    if plot.setback_m > 0:
        for polygon in _polygons(plot.inset):
            axes.add_patch(
                PathPatch(_outline(polygon), facecolor="none", edgecolor=SOFT, linestyle=(0, (4, 3)), zorder=1.5)
            )
    for polygon in _polygons(MultiPolygon(plot.keep_outs)):
        axes.add_patch(
            PathPatch(_outline(polygon), facecolor="white", edgecolor=SOFT, hatch="////", linewidth=0.7, zorder=2)
        )
    for obstacle in plot.obstacles:
        axes.add_patch(
            PathPatch(_outline(obstacle.outline), facecolor=OBSTACLE, edgecolor=INK, linewidth=0.7, zorder=6)
        )
        if names:
            spot = obstacle.outline.representative_point()
            axes.annotate(
                f"{obstacle.name}\n{obstacle.height_m:g} m",
                (spot.x, spot.y),
                ha="center",
                va="center",
                fontsize=7.5,
                zorder=8,
                annotation_clip=True,
                path_effects=[withStroke(linewidth=2.2, foreground="white")],
            )


def draw_panels(axes: Axes, shapes: PlanShapes, scale: Normalize, edge: float) -> PolyCollection:
    """Panels in the colour of their light; feet of walls as dark lines."""
    collection = PolyCollection(
        list(shapes.outlines),
        array=shapes.values,
        cmap=LIGHT_MAP,
        norm=scale,
        edgecolors="white" if edge > 0 else "face",
        linewidths=edge if edge > 0 else 0.25,
        zorder=4,
        rasterized=len(shapes.outlines) > MAX_VECTOR_SHAPES,
    )
    axes.add_collection(collection, autolim=False)
    axes.add_collection(
        LineCollection(list(shapes.feet), colors=INK, linewidths=0.5 if edge == 0 else 1.0, zorder=5),
        autolim=False,
    )
    return collection


def _scale_bar(axes: Axes, west: float, south: float, width_m: float) -> None:
    """A bar of round length, its left end at (west, south); heights go with the width of the view."""
    length, thick = round_length(0.25 * width_m), 0.010 * width_m
    for i, colour in enumerate((INK, "white")):
        axes.add_patch(
            Rectangle(
                (west + i * length / 2, south),
                length / 2,
                thick,
                facecolor=colour,
                edgecolor=INK,
                linewidth=0.7,
                zorder=9,
            )
        )
    for x, text in ((west, "0"), (west + length, f"{length:g} m")):
        axes.text(x, south - 0.4 * thick, text, ha="center", va="top", fontsize=8)


def _arrow(axes: Axes, middle: FloatArray, way: FloatArray, colour: str) -> None:
    axes.annotate(
        "",
        xy=tuple(middle + way),
        xytext=tuple(middle - way),
        arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 1.3, "shrinkA": 0, "shrinkB": 0},
        zorder=9,
    )


def _compass(axes: Axes, plot: Plot | None, east: float, south: float, strip: float) -> None:
    """In the strip below the plan: north, and on a slope which way the ground falls and how steeply."""
    middle = np.array([east - 0.5 * strip, south - 0.55 * strip])
    _arrow(axes, middle, np.array([0.0, 0.36 * strip]), INK)
    axes.text(middle[0] - 0.25 * strip, middle[1], "N", ha="right", va="center", fontsize=10, fontweight="bold")
    if plot is not None and plot.slope_deg > 0:
        turn = np.radians(plot.slope_azimuth_deg)
        middle = middle - np.array([1.9 * strip, 0.0])
        _arrow(axes, middle, 0.33 * strip * np.array([np.sin(turn), np.cos(turn)]), SOFT)
        text = f"falls {plot.slope_deg:g}° this way"
        axes.text(middle[0] - 0.5 * strip, middle[1], text, ha="right", va="center", fontsize=8, color=SOFT)


def _handles(plot: Plot | None, sheets: SheetShapes, shapes: PlanShapes) -> list[Any]:
    """What the lines mean, for those that occur."""
    handles: list[Any] = []
    if plot is not None:
        handles.append(Patch(facecolor=LAND, edgecolor=INK, label="plot and its boundary"))
        if plot.setback_m > 0:
            label = f"setback {plot.setback_m:g} m"
            handles.append(Line2D([], [], color=SOFT, linestyle=(0, (4, 3)), label=label))
        if plot.keep_outs:
            handles.append(Patch(facecolor="white", edgecolor=SOFT, hatch="////", label="kept free"))
        if plot.obstacles:
            handles.append(Patch(facecolor=OBSTACLE, edgecolor=INK, label="obstacle, with its height"))
    return handles + sheet_handles(sheets, bool(covered_edges(sheets.reflectors, shapes.outlines)))


def _notes(result: LayoutResult, shapes: PlanShapes) -> str:
    """How to read the walls of this drawing; empty where there are none."""
    if not len(shapes.feet):
        return ""
    scale = "" if shapes.height_factor > 0.995 else f" at {shapes.height_factor:.2f} of their height"
    return f"Upright faces are laid flat toward\nthe side they look to{scale}."


@house_style
def plot_figure(result: LayoutResult, plot: Plot | None, scale: Normalize) -> Figure:
    """One layout on the plot: the whole to scale at the left, a closer look at some panels at the right."""
    shapes, sheets = shapes_of(result, plot), sheet_shapes(result.arrangement.scene)
    west, south, east, north = extent = plan_extent(shapes, plot, sheets.points)
    width, height = east - west, north - south
    strip = 0.1 * width
    handles, note = _handles(plot, sheets, shapes), _notes(result, shapes)
    plan_in = WIDTH_IN * PLAN_SHARE
    words_in = LEGEND_IN * len(handles) + NOTE_IN * len(note.splitlines())
    tall = float(np.clip(plan_in * (height + strip) / width, 4.15, 9.0)) + 0.4
    tall = max(tall, TITLE_IN + CLOSE_IN + BAR_IN + 0.2 + words_in)
    figure = new_figure(WIDTH_IN, tall)
    figure.text(0.012, 1 - 0.20 / tall, f"{result.name}", fontsize=11, fontweight="bold", va="center")
    plan = figure.add_axes((0.01, 0.0, PLAN_SHARE - 0.01, 1 - TITLE_IN / tall))
    hide_frame(plan)
    plan.set(xlim=(west, east), ylim=(south - strip, north), aspect="equal", anchor="NW")
    if plot is not None:
        draw_ground(plan, plot)
    light = draw_panels(plan, shapes, scale, 0.0)
    draw_sheets(plan, sheets, shapes.outlines, close=sheets.width_m > HATCHED_SHARE * width)
    _scale_bar(plan, west + 0.04 * width, south - 0.45 * strip, width)
    _compass(plan, plot, east, south, strip)
    window = closer_window(shapes, extent)
    frame = Rectangle(
        (window[0], window[1]), *(window[2:] - window[:2]), facecolor="none", edgecolor=INK, lw=1.1, zorder=7
    )
    plan.add_patch(frame)
    _closer_look(_beside(figure, TITLE_IN, CLOSE_IN), shapes, sheets, plot, scale, window)
    bar = _beside(figure, TITLE_IN + CLOSE_IN + 0.29, 0.13)
    figure.colorbar(light, cax=bar, orientation="horizontal").outline.set_linewidth(0.4)
    bar.tick_params(labelsize=8, length=2)
    bar.set_xlabel("sunlight on the panel in a year, kWh/m²", fontsize=8)
    _words(_beside(figure, TITLE_IN + CLOSE_IN + BAR_IN, words_in + 0.2), words_in + 0.2, handles, note)
    return figure


def _beside(figure: Figure, down_in: float, high_in: float) -> Axes:
    """Axes beside the plan, so many inches from the top and so high."""
    tall = figure.get_figheight()
    place = (PLAN_SHARE + 0.03, 1 - (down_in + high_in) / tall, CLOSE_IN / WIDTH_IN, high_in / tall)
    return figure.add_axes(place)


def _words(axes: Axes, high_in: float, handles: list[Any], note: str) -> None:
    """Legend, and below it how to read the drawing, in axes so high."""
    hide_frame(axes)
    axes.patch.set_visible(False)
    axes.legend(handles=handles, loc="upper left", bbox_to_anchor=(-0.04, 1.0), handlelength=1.6)
    down = (0.12 + LEGEND_IN * len(handles)) / high_in
    axes.text(0.0, 1 - down, note, transform=axes.transAxes, va="top", fontsize=8)


def _closer_look(
    axes: Axes, shapes: PlanShapes, sheets: SheetShapes, plot: Plot | None, scale: Normalize, window: FloatArray
) -> None:
    """The part of the plan inside ``window``, larger."""
    inside = np.all((shapes.outlines.max(axis=1) > window[:2]) & (shapes.outlines.min(axis=1) < window[2:]), axis=1)
    near = np.all((shapes.feet.max(axis=1) >= window[:2]) & (shapes.feet.min(axis=1) <= window[2:]), axis=1)
    part = PlanShapes(shapes.outlines[inside], shapes.values[inside], shapes.feet[near], shapes.height_factor)
    axes.set(xlim=(window[0], window[2]), ylim=(window[1], window[3]), aspect="equal")
    axes.set_xticks([])
    axes.set_yticks([])
    for spine in axes.spines.values():
        spine.set_visible(True)
        spine.set_color(INK)
        spine.set_linewidth(1.1)
    axes.set_facecolor(LAND)
    if plot is not None:
        axes.set_facecolor("white")
        draw_ground(axes, plot, names=False)
    draw_panels(axes, part, scale, 0.5)
    draw_sheets(axes, sheets.within(window), part.outlines, close=True)
    axes.set_title(f"closer: {window[2] - window[0]:.0f} m across", fontsize=8.5, fontweight="normal", pad=3)
