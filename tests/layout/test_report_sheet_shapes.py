"""The plan view shows every sheet, to scale, and upright ones as lines."""

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from layout.pieces import Diffuser, Panel, Reflector, Scene
from layout.report.figures_plot import light_scale, plot_figure
from layout.report.sheet_shapes import covered_edges, sheet_shapes
from layout.result import PlanResult


def test_a_tilted_sheet_keeps_its_horizontal_area() -> None:
    tilt = np.radians(50)
    up = (0, 1.5 * np.cos(tilt), 1.5 * np.sin(tilt))
    shapes = sheet_shapes(Scene(reflectors=[Reflector((3, 4, 0.1), (2, 0, 0), up)]))
    assert Polygon(shapes.reflectors[0]).area == pytest.approx(3.0 * np.cos(tilt))
    assert shapes.width_m == pytest.approx(1.5 * np.cos(tilt))
    assert not len(shapes.upright)


def test_an_upright_sheet_is_a_line_at_its_foot() -> None:
    shapes = sheet_shapes(Scene(reflectors=[Reflector((1, 2, 0.5), (0, 3, 0), (0, 0, 1.2))]))
    assert not len(shapes.reflectors)
    assert sorted(map(tuple, shapes.upright[0])) == [(1.0, 2.0), (1.0, 5.0)]


def test_see_through_sheets_are_kept_apart_and_lower_ones_come_first() -> None:
    covers = [Diffuser((0, 0, z), (1, 0, 0), (0, 1, 0)) for z in (2.0, 1.0)]
    high = Diffuser((4, 0, 2), (1, 0, 0), (0, 1, 0))
    shapes = sheet_shapes(Scene([Panel((0, 0, 0.5), (1, 0, 0), (0, 1, 0))], diffusers=[high, *covers]))
    assert len(shapes.see_through) == 3
    assert shapes.see_through[0].min() == 0.0
    assert len(shapes.points) == 12
    assert not len(shapes.reflectors)


def test_a_window_holds_what_reaches_into_it() -> None:
    sheets = [Reflector((x, 0, 0.1), (1, 0, 0), (0, 1, 0)) for x in (0.0, 2.5, 6.0)]
    inside = sheet_shapes(Scene(reflectors=sheets)).within(np.array([0.5, 0.0, 3.0, 2.0]))
    assert inside.reflectors[:, :, 0].min(axis=1).tolist() == [0.0, 2.5]


def test_edges_under_panels_are_found_and_no_others() -> None:
    def square(x: float, y: float, side: float) -> list[list[float]]:
        return [[x, y], [x + side, y], [x + side, y + side], [x, y + side]]

    sheet, panels = np.array([square(0, 0, 2)]), np.array([square(1, -1, 2), square(5, 5, 1), square(0.5, 0.5, 0.2)])
    (line,) = covered_edges(sheet, panels)
    assert LineString(line).length == pytest.approx(1.0 + 1.0)  # of the lower and of the right edge
    assert line.min(axis=0).tolist() == [1.0, 0.0]
    assert line.max(axis=0).tolist() == [2.0, 1.0]
    assert covered_edges(sheet, panels[1:]) == []
    assert covered_edges(np.zeros((0, 4, 2)), panels) == []


def test_no_sheets_no_shapes() -> None:
    shapes = sheet_shapes(Scene())
    assert shapes.points.shape == (0, 2)
    assert shapes.width_m == 0.0


def test_legends_name_what_is_drawn(small_result: PlanResult, boosted_result: PlanResult) -> None:
    def legend(result: PlanResult, name: str) -> set[str]:
        scale = light_scale(list(result.layouts.values()))
        figure = plot_figure(result.layouts[name], result.plan.site.plot, scale)
        return {t.get_text() for axes in figure.axes if (found := axes.get_legend()) for t in found.get_texts()}

    assert {"reflector", "upright reflector"} <= legend(boosted_result, "towers")
    assert "reflector" in legend(boosted_result, "mirrored")
    assert "see-through sheet" in legend(boosted_result, "covered")
    assert not {"reflector", "upright reflector", "see-through sheet"} & legend(small_result, "rows")
