"""The plan view shows every panel, to scale, and walls laid flat without covering each other."""

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from layout.pieces import Panel
from layout.report.figures_plot import light_scale, shapes_of
from layout.report.plan_shapes import closer_window, plan_extent, plan_shapes, round_length
from layout.result import PlanResult
from sites.conventions import FloatArray


def flat(x: FloatArray, y: FloatArray) -> FloatArray:
    return np.zeros_like(x)


def areas(outlines: FloatArray) -> FloatArray:
    return np.array([Polygon(q).area for q in outlines])


def tower(x: float, y: float, side: float = 1.0, height: float = 4.0) -> list[Panel]:
    up = (0, 0, height)
    return [
        Panel((x, y, 1), (side, 0, 0), up),
        Panel((x + side, y, 1), (0, side, 0), up),
        Panel((x + side, y + side, 1), (-side, 0, 0), up),
        Panel((x, y + side, 1), (0, -side, 0), up),
        Panel((x, y, 1 + height), (side, 0, 0), (0, side, 0)),
    ]


def test_a_tilted_panel_keeps_its_horizontal_area() -> None:
    tilt = np.radians(35)
    panel = Panel((0, 0, 1), (2, 0, 0), (0, 1.5 * np.cos(tilt), 1.5 * np.sin(tilt)))
    shapes = plan_shapes([panel], np.array([900.0]), np.array([0.0]), flat)
    assert areas(shapes.outlines)[0] == pytest.approx(3.0 * np.cos(tilt))
    assert not len(shapes.feet)


def test_a_lone_wall_is_laid_flat_at_its_height() -> None:
    panel = Panel((0, 0, 0.5), (2, 0, 0), (0, 0, 1.2))  # faces south
    shapes = plan_shapes([panel], np.array([700.0]), np.array([0.0]), flat)
    west, south, east, north = shapely.bounds(Polygon(shapes.outlines[0]))
    assert (west, east, north, south) == pytest.approx((0, 2, -0.5, -1.7))
    assert shapes.height_factor == 1.0
    assert shapes.feet[0] == pytest.approx(np.array([[0, 0], [2, 0]]))


def test_both_faces_of_a_bifacial_wall_are_drawn() -> None:
    panel = Panel((0, 0, 0.5), (2, 0, 0), (0, 0, 1.2), bifacial=True)
    shapes = plan_shapes([panel], np.array([700.0]), np.array([450.0]), flat)
    north = areas(shapes.outlines) * np.sign(shapes.outlines[..., 1].mean(axis=1))
    assert north == pytest.approx([-2.4, 2.4])
    assert shapes.values.tolist() == [700.0, 450.0]


def test_towers_laid_flat_do_not_cover_each_other() -> None:
    panels = [p for x in (0.0, 5.0, 10.0) for y in (0.0, 5.0) for p in tower(x, y)]
    shapes = plan_shapes(panels, np.full(len(panels), 800.0), np.zeros(len(panels)), flat)
    drawn = [Polygon(q) for q in shapes.outlines]
    assert len(drawn) == len(panels)
    assert shapely.union_all(drawn).area == pytest.approx(sum(p.area for p in drawn))
    assert shapes.height_factor < 0.5
    walls = areas(shapes.outlines[6:])
    assert walls == pytest.approx(4.0 * shapes.height_factor)


def test_the_upper_of_two_flat_panels_is_drawn_last() -> None:
    low = Panel((0, 0, 1), (1, 0, 0), (0, 1, 0))
    high = Panel((0, 0, 3), (1, 0, 0), (0, 1, 0))
    shapes = plan_shapes([high, low], np.array([1.0, 2.0]), np.zeros(2), flat)
    assert shapes.values.tolist() == [2.0, 1.0]


def test_every_panel_of_a_result_is_drawn_with_its_light(small_result: PlanResult) -> None:
    plot = small_result.plan.site.plot
    for name, r in small_result.layouts.items():
        shapes = shapes_of(r, plot)
        faces = r.panels * (2 if name == "upright" else 1)
        assert len(shapes.outlines) == len(shapes.values) == faces
        light = [*r.per_panel.front_kwh_per_m2, *(r.per_panel.rear_kwh_per_m2 if name == "upright" else [])]
        assert sorted(shapes.values) == pytest.approx(sorted(light))


def test_one_colour_scale_holds_all_that_is_drawn(small_result: PlanResult) -> None:
    scale = light_scale(list(small_result.layouts.values()))
    plot = small_result.plan.site.plot
    values = np.concatenate([shapes_of(r, plot).values for r in small_result.layouts.values()])
    assert scale.vmin is not None
    assert scale.vmax is not None
    assert scale.vmin <= values.min() <= values.max() <= scale.vmax
    assert scale.vmax - values.max() < 50


def test_window_and_extent(small_result: PlanResult) -> None:
    plot = small_result.plan.site.plot
    assert plot is not None
    for r in small_result.layouts.values():
        shapes = shapes_of(r, plot)
        extent = plan_extent(shapes, plot)
        assert shapely.box(*extent).covers(plot.boundary)
        window = closer_window(shapes, extent)
        assert window[2] - window[0] == pytest.approx(window[3] - window[1])
        inside = (shapes.outlines > window[:2]) & (shapes.outlines < window[2:])
        assert inside.all(axis=(1, 2)).any(), "at least one panel is wholly in the closer look"


def test_the_closer_look_shows_all_sides_of_a_tower() -> None:
    panels = [p for x in (0.0, 9.0) for y in (0.0, 9.0) for p in tower(x, y, height=2.0)]
    shapes = plan_shapes(panels, np.full(len(panels), 800.0), np.zeros(len(panels)), flat)
    window = shapely.box(*closer_window(shapes, plan_extent(shapes, None)))
    assert any(window.covers(shapely.box(x - 2, y - 2, x + 3, y + 3)) for x in (0.0, 9.0) for y in (0.0, 9.0))


def test_nothing_to_draw_is_no_error() -> None:
    shapes = plan_shapes([], np.zeros(0), np.zeros(0), flat)
    extent = plan_extent(shapes, None)
    assert np.isfinite(closer_window(shapes, extent)).all()


@pytest.mark.parametrize(("length", "expected"), [(9.99, 5.0), (10.0, 10.0), (0.21, 0.2), (740.0, 500.0)])
def test_scale_bar_lengths_are_round(length: float, expected: float) -> None:
    assert round_length(length) == pytest.approx(expected)
