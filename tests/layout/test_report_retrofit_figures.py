"""The drawing of a roof: to scale, numbers inside and apart, however many there are. Roofs are invented, gains drawn by
lot."""

from itertools import combinations
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Polygon as Shape
from matplotlib.text import Text

from layout.arrange import arrange
from layout.arrange.roof import planes_of
from layout.geometry.hinged import corners
from layout.geometry.rectangles import Rectangles
from layout.plan import Plan, RoofLayout, panel_type_of, parse_plan
from layout.report.figures_retrofit import PART, SMALLEST_PT, drawn_planes, gain_scale, month_figure, roof_figure
from layout.report.figures_style import svg
from layout.report.retrofit_parts import PartLine, _sheets, facing_words
from layout.retrofit.command import found_of, roof_of
from layout.roof_shapes import RoofPlane, roof_panels

ROOF = """
[site]
name = "corrawindle"
[[layout]]
name = "r"
kind = "roof"
[[layout.plane]]
name = "loft"
origin = [0, 0]
height_m = 4
tilt_deg = {tilt}
azimuth_deg = 10
outline = [[0, 0], [{wide}, 0], [{wide}, {high}], [0, {high}]]
edge_clearance_m = 0.2
[[layout.plane.grid]]
at = [1.0, 1.0]
columns = {columns}
rows = {rows}
gap_m = {gap}
row_gap_m = {row_gap}
orientation = "landscape"
frame_tilt_deg = {frame}
[[layout.plane.obstacle]]
name = "vent"
outline = [[{left}, {top}], [{right}, {top}], [{right}, {high}], [{left}, {high}]]
height_m = 0.5
[[layout.plane.path]]
name = "way up"
outline = [[{left}, 0.5], [{right}, 0.5], [{right}, 3.5], [{left}, 3.5]]
"""


def plan_of(columns: int, rows: int, gap: float = 0.2, row_gap: float = 0.25, frame: int = 0) -> Plan:
    wide, high = 1.0 + columns * (1.8 + gap) + 2.0, 1.0 + rows * (1.15 + row_gap) + 1.5
    return parse_plan(
        ROOF.format(
            tilt=0 if frame else 25, wide=wide, high=high, columns=columns, rows=rows, gap=gap, row_gap=row_gap,
            frame=frame, left=wide - 1.2, right=wide - 0.5, top=high - 0.8,
        ),
        "roof.toml", Path("."),
    )  # fmt: skip


CROWDS = {
    "one": (1, 1),
    "gaps": (4, 2),
    "frames": (5, 4, 0.02, 1.0, 15),
    "forty": (8, 5, 0.12, 0.3),
    "many": (20, 8, 0.02, 1.2, 15),
}


def filled(plan: Plan) -> tuple[Any, list[PartLine], tuple[RoofPlane, ...], list[int]]:
    """A part at every place that takes one, both sides of gaps where they fit."""
    layout = roof_of(plan)
    found, planes, arrangement = found_of(plan), planes_of(plan, layout), arrange(plan, layout)
    apart = {tuple(pair) for pair in found.conflicts.tolist()}
    chosen: dict[int, int] = {}
    for i, c in enumerate(found.candidates):
        free = not any(tuple(sorted((i, k))) in apart for k in chosen.values())
        if free and (c.place not in chosen or c.facing == "both sides"):
            chosen[c.place] = i
    lines = []
    for k, i in enumerate(chosen.values()):
        c, plane = found.candidates[i], planes[found.candidates[i].plane]
        name = found.places[c.place].name
        looks_to = facing_words(name, c.facing)
        sheets = _sheets(k + 1, name, looks_to.split(" and "), c, (plane, "loft"), 1.0, 1.0, None)
        lines.append(PartLine(k + 1, name, looks_to, c, plane, sheets, 1.0, 1.0, None))
    n = len(arrangement.scene.panels)
    months = np.linspace(20, 60, 12)
    bare = SimpleNamespace(dc_kwh=np.full(n, 400.0), monthly_ac_kwh=months)
    gain = np.random.default_rng(3).uniform(-4e-4, 0.05, n)
    whole = SimpleNamespace(dc_kwh=400.0 * (1 + gain), arrangement=arrangement, monthly_ac_kwh=months * 1.02)
    result = SimpleNamespace(bare=bare, whole=whole, chosen=np.arange(len(lines)), parts=[x.part for x in lines])
    assert isinstance(layout, RoofLayout)
    return result, lines, planes, [p.plane for p in roof_panels(layout, planes, panel_type_of(plan, layout))]


def drawing(plan: Plan) -> tuple[Figure, Any, list[PartLine]]:
    result, lines, planes, of_panel = filled(plan)
    (number,) = drawn_planes(result, planes, of_panel)
    return roof_figure(result, planes[number], "loft", range(len(of_panel)), lines, gain_scale(result)), result, lines


def labels(figure: Figure) -> list[Text]:
    """Every text that shows something; ticks beyond an axis' ends are there but not drawn."""
    beyond: set[Any] = set()
    for axis in (a for axes in figure.axes for a in (axes.xaxis, axes.yaxis)):
        low, high = sorted(axis.get_view_interval())
        outside = [t for t in axis.get_major_ticks() if not low - 1e-9 <= t.get_loc() <= high + 1e-9]
        beyond |= {label for tick in outside for label in (tick.label1, tick.label2)}
    found = [t for t in figure.findobj(Text) if isinstance(t, Text) and t not in beyond]
    return [t for t in found if t.get_text().strip() and t.get_visible()]


@pytest.mark.parametrize("name", list(CROWDS))
def test_texts_lie_inside_and_apart(name: str) -> None:
    figure, result, lines = drawing(plan_of(*CROWDS[name]))
    figure.draw_without_rendering()
    boxes = [(t.get_text(), t.get_window_extent()) for t in labels(figure)]
    assert [(a, b) for (a, p), (b, q) in combinations(boxes, 2) if p.overlaps(q)] == []
    for words, box in boxes:
        assert box.x0 >= -1, words
        assert box.y0 >= -1, words
        assert box.x1 <= figure.bbox.x1 + 1, words
        assert box.y1 <= figure.bbox.y1 + 1, words
    told = [words for words, _ in boxes]
    for line in lines:
        assert f"{line.number}" in told
    panels = [words for words in told if words.split("\n")[0] == f"{len(result.bare.dc_kwh) - 1}"]
    assert panels, "the last panel has no number"
    assert all(t.get_fontsize() >= 0.8 * SMALLEST_PT for t in labels(figure))


@pytest.mark.parametrize("name", ["gaps", "frames"])
def test_parts_are_drawn_where_the_list_puts_them(name: str) -> None:
    """Corners of the drawn shapes, in the drawing's metres, against those of the list; both ways to one scale."""
    figure, _, lines = drawing(plan_of(*CROWDS[name]))
    axes = figure.axes[0]
    shapes = [p for p in axes.patches if isinstance(p, Shape) and same_colour(p, PART)]
    sheets = [s for line in lines for s in line.sheets]
    assert len(shapes) == len(sheets)
    for shape, sheet in zip(shapes, sheets, strict=True):
        drawn = np.asarray(shape.get_xy())[:4]
        ends = [*(np.array(e[:2]) for e in (sheet.table.near_from, sheet.table.near_to)), *sheet.far[::-1, :2]]
        assert np.abs(drawn - np.array(ends)).max() < 0.001
    one = axes.transData.transform([[0, 0], [1, 0], [0, 1]])
    assert np.linalg.norm(one[1] - one[0]) == pytest.approx(np.linalg.norm(one[2] - one[0]), rel=1e-6)
    for line in lines:
        (number,) = (t for t in axes.texts if t.get_text() == f"{line.number}" and t.get_fontweight() == "bold")
        flat = line.plane.flat(corners(line.part.sheets)).reshape(-1, 2)
        assert (flat.min(axis=0) - 1e-6 <= number.get_position()).all()
        assert (flat.max(axis=0) + 1e-6 >= number.get_position()).all()


def same_colour(shape: Shape, colour: str) -> bool:
    from matplotlib.colors import to_rgb

    return bool(np.allclose(shape.get_edgecolor()[:3], to_rgb(colour)))


def test_panels_carry_their_own_gain() -> None:
    figure, result, lines = drawing(plan_of(*CROWDS["gaps"]))
    rectangles = Rectangles.of(list(result.whole.arrangement.scene.panels))
    middles = lines[0].plane.flat(corners(rectangles)).mean(axis=1)
    gain = 100 * (result.whole.dc_kwh / result.bare.dc_kwh - 1)
    for k, middle in enumerate(middles):
        (text,) = (t for t in figure.axes[0].texts if t.get_text().startswith(f"{k}\n"))
        assert text.get_position() == pytest.approx(tuple(middle))
        assert float(text.get_text().split("\n")[1].replace("−", "-").rstrip(" %")) == pytest.approx(gain[k], abs=0.051)


def test_a_roof_without_parts_shows_numbers_alone() -> None:
    result, _, planes, of_panel = filled(plan_of(*CROWDS["gaps"]))
    result = SimpleNamespace(bare=result.bare, whole=result.bare, chosen=np.zeros(0, dtype=int), parts=[])
    result.whole.arrangement = arrange(plan_of(*CROWDS["gaps"]), plan_of(*CROWDS["gaps"]).layouts[0])
    figure = roof_figure(result, planes[0], "loft", range(len(of_panel)), [], gain_scale(result))  # type: ignore[arg-type]
    assert len(figure.axes) == 1
    assert not any("%" in t.get_text() for t in labels(figure))


def test_the_same_result_gives_the_same_bytes() -> None:
    once, again = (svg(drawing(plan_of(*CROWDS["gaps"]))[0]) for _ in range(2))
    assert once == again


def test_months_show_what_is_told() -> None:
    result, *_ = filled(plan_of(*CROWDS["one"]))
    bars = month_figure(result).axes[0].containers[0]
    extra = result.whole.monthly_ac_kwh - result.bare.monthly_ac_kwh
    assert [bar.get_height() for bar in bars] == pytest.approx(list(extra))
