"""Reflectors and see-through sheets in a plan view: hatched, so that they are told from panels without colour."""

from typing import Any

from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from layout.report.figures_style import INK
from layout.report.sheet_shapes import SheetShapes, covered_edges
from sites.conventions import FloatArray

REFLECTOR = "#dbe7ef"
REFLECTOR_EDGE = "#2f5f7f"
REFLECTOR_HATCH = "\\\\\\\\"
SEE_THROUGH_HATCH = "...."
DASHES = (0, (2, 2))
"""Of edges that panels cover."""

MAX_VECTOR_SHEETS = 6000
"""More sheets than this go into a page as a picture, not as lines."""


def draw_sheets(axes: Axes, sheets: SheetShapes, panels: FloatArray, close: bool) -> None:
    """Reflectors below panels, the edges that panels cover dashed on top of them, see-through sheets above panels.

    panels : (m, 4, 2) float [m] outlines of the panels
    close : the closer look, where sheets are large enough for hatches and wider lines
    """
    line = 0.7 if close else 0.3
    many = len(sheets.reflectors) > MAX_VECTOR_SHEETS, len(sheets.see_through) > MAX_VECTOR_SHEETS
    parts: tuple[tuple[FloatArray, float, bool, dict[str, Any]], ...] = (
        (sheets.reflectors, 3.5, many[0], {"facecolors": REFLECTOR, "hatch": REFLECTOR_HATCH if close else None}),
        (sheets.see_through, 4.5, many[1],
         {"facecolors": "none", "edgecolors": INK, "hatch": SEE_THROUGH_HATCH if close else None}),
    )  # fmt: skip
    for outlines, zorder, as_picture, looks in parts:
        every: dict[str, Any] = {"edgecolors": REFLECTOR_EDGE, "linewidths": line, "rasterized": as_picture}
        axes.add_collection(PolyCollection(list(outlines), zorder=zorder, **(every | looks)), autolim=False)
    if not many[0]:
        _draw_covered(axes, covered_edges(sheets.reflectors, panels), 1.3 if close else 0.8)
    width = 3.0 if close else 1.6
    axes.add_collection(
        LineCollection(list(sheets.upright), colors=REFLECTOR_EDGE, linewidths=width, zorder=5.5), autolim=False
    )


def _draw_covered(axes: Axes, edges: list[FloatArray], line: float) -> None:
    """Dark dashes on a white line, which show on light and on dark panels."""
    looks: tuple[dict[str, Any], ...] = ({"colors": "white"}, {"colors": REFLECTOR_EDGE, "linestyles": [DASHES]})
    for zorder, look in zip((4.7, 4.8), looks, strict=True):
        axes.add_collection(LineCollection(edges, linewidths=line, zorder=zorder, **look), autolim=False)


def sheet_handles(sheets: SheetShapes, covered: bool) -> list[Any]:
    """Legend entries for what occurs; covered : some edges lie under panels."""
    handles: list[Any] = []
    if len(sheets.reflectors):
        handles.append(Patch(facecolor=REFLECTOR, edgecolor=REFLECTOR_EDGE, hatch=REFLECTOR_HATCH, label="reflector"))
    if covered:
        label = "reflector under panels, as drawn"
        handles.append(Line2D([], [], color=REFLECTOR_EDGE, linestyle=DASHES, linewidth=1.3, label=label))
    if len(sheets.upright):
        handles.append(Line2D([], [], color=REFLECTOR_EDGE, linewidth=3.0, label="upright reflector"))
    if len(sheets.see_through):
        handles.append(Patch(facecolor="none", edgecolor=INK, hatch=SEE_THROUGH_HATCH, label="see-through sheet"))
    return handles
