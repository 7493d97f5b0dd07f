"""Reflectors and see-through sheets in a plan view: hatched, so that they are told from panels without colour."""

from typing import Any

from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from layout.report.figures_style import INK
from layout.report.sheet_shapes import SheetShapes
from sites.conventions import FloatArray

REFLECTOR = "#dbe7ef"
REFLECTOR_EDGE = "#2f5f7f"
REFLECTOR_HATCH = "\\\\\\\\"
SEE_THROUGH_HATCH = "...."
MAX_VECTOR_SHEETS = 6000
"""More sheets than this go into a page as a picture, not as lines."""


def draw_sheets(axes: Axes, sheets: SheetShapes, close: bool) -> None:
    """Reflectors below panels, with a dashed outline where panels cover them, and see-through sheets above panels.

    close : the closer look, where sheets are large enough for hatches and wider lines
    """
    line = 0.7 if close else 0.3
    many = len(sheets.reflectors) > MAX_VECTOR_SHEETS, len(sheets.see_through) > MAX_VECTOR_SHEETS
    parts: tuple[tuple[FloatArray, float, bool, dict[str, Any]], ...] = (
        (sheets.reflectors, 3.5, many[0], {"facecolors": REFLECTOR, "hatch": REFLECTOR_HATCH if close else None}),
        (sheets.reflectors, 4.7, many[0], {"facecolors": "none", "linestyles": [(0, (3, 3))]}),
        (sheets.see_through, 4.5, many[1],
         {"facecolors": "none", "edgecolors": INK, "hatch": SEE_THROUGH_HATCH if close else None}),
    )  # fmt: skip
    for outlines, zorder, as_picture, looks in parts:
        every: dict[str, Any] = {"edgecolors": REFLECTOR_EDGE, "linewidths": line, "rasterized": as_picture}
        axes.add_collection(PolyCollection(list(outlines), zorder=zorder, **(every | looks)), autolim=False)
    width = 3.0 if close else 1.6
    axes.add_collection(
        LineCollection(list(sheets.upright), colors=REFLECTOR_EDGE, linewidths=width, zorder=5.5), autolim=False
    )


def sheet_handles(sheets: SheetShapes) -> list[Any]:
    """Legend entries for what occurs."""
    handles: list[Any] = []
    if len(sheets.reflectors):
        handles.append(Patch(facecolor=REFLECTOR, edgecolor=REFLECTOR_EDGE, hatch=REFLECTOR_HATCH, label="reflector"))
    if len(sheets.upright):
        handles.append(Line2D([], [], color=REFLECTOR_EDGE, linewidth=3.0, label="upright reflector"))
    if len(sheets.see_through):
        handles.append(Patch(facecolor="none", edgecolor=INK, hatch=SEE_THROUGH_HATCH, label="see-through sheet"))
    return handles
