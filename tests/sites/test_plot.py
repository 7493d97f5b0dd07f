"""Plots: areas, usable ground, the sloping plane, outlines that cannot be."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from sites.errors import Fault
from sites.plot import Obstacle, Plot, outline_polygon, plot_faults


def field(**parts: object) -> Plot:
    return Plot(boundary=box(0, 0, 40, 30), **parts)  # type: ignore[arg-type]


def test_area_counts_setback_and_keep_outs_in_and_holes_out() -> None:
    hole = Polygon(box(0, 0, 40, 30).exterior, [box(10, 10, 15, 14).exterior])
    assert field(setback_m=3.0, keep_outs=(box(5, 5, 9, 9),)).area_m2 == 1200.0
    assert Plot(hole, setback_m=3.0).area_m2 == 1180.0


def test_usable_area_of_a_rectangle() -> None:
    plot = field(
        setback_m=2.0,
        keep_outs=(box(0, 10, 6, 14),),
        obstacles=(Obstacle(box(20, 20, 25, 26), 4.0),),
    )
    assert plot.usable.area == pytest.approx(36 * 26 - 4 * 4 - 5 * 6)
    assert plot.inset.area == pytest.approx(36 * 26)


def test_overlapping_keep_outs_count_once() -> None:
    plot = field(keep_outs=(box(5, 5, 10, 10), box(8, 8, 12, 12)))
    assert plot.usable.area == pytest.approx(1200 - (25 + 16 - 4))


def test_setback_is_a_distance_from_every_edge_and_hole() -> None:
    plot = Plot(Polygon(box(0, 0, 40, 30).exterior, [box(15, 10, 20, 15).exterior]), setback_m=2.0)
    assert plot.boundary.exterior.distance(plot.usable) == pytest.approx(2.0)
    # Round the hole's corners chords stand for the arc: closer by 1 - cos(90° / 32) = 0.12 % at most.
    assert plot.boundary.interiors[0].distance(plot.usable) == pytest.approx(2.0, abs=2.0 * 0.00121)


@given(
    slope=st.floats(0, 45),
    downhill=st.floats(0, 360),
    distance=st.floats(0.1, 100),
)
def test_ground_falls_by_the_slope_toward_its_azimuth(slope: float, downhill: float, distance: float) -> None:
    plot = field(slope_deg=slope, slope_azimuth_deg=downhill)
    x, y = distance * np.sin(np.radians(downhill)), distance * np.cos(np.radians(downhill))
    assert float(plot.ground_z(x, y)) == pytest.approx(-distance * np.tan(np.radians(slope)), abs=1e-9)
    assert float(plot.ground_z(-y, x)) == pytest.approx(0.0, abs=1e-9)
    assert float(plot.ground_z(0.0, 0.0)) == 0.0


@given(st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=3, max_size=8))
def test_an_outline_is_a_valid_polygon_or_one_fault(points: list[tuple[int, int]]) -> None:
    faults: list[Fault] = []
    polygon = outline_polygon(points, "plan", "outline", faults)
    if polygon is None:
        assert len(faults) == 1
    else:
        assert not faults
        assert polygon.is_valid
        assert polygon.area > 0
        assert polygon.exterior.is_ccw
        assert shapely.Polygon(points).area == pytest.approx(polygon.area)


@pytest.mark.parametrize(
    ("points", "found"),
    [
        ([(0, 0), (4, 0), (0, 3), (4, 3)], "an outline that crosses or touches itself near (2, 1.5)"),
        ([(0, 0), (4, 4), (8, 8)], "an outline without area"),
        ([(0, 0), (4, 0), (0, 0), (4, 0)], "2 different corners"),
        ([(0, 0), (4, 0), (4, 30000)], "a corner 30,000 m from the origin"),
    ],
)
def test_outlines_that_cannot_be(points: list[tuple[float, float]], found: str) -> None:
    faults: list[Fault] = []
    assert outline_polygon(points, "plan", "outline", faults) is None
    assert [fault.found for fault in faults] == [found]


def test_closed_and_clockwise_outlines_are_the_same() -> None:
    square = [(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)]
    faults: list[Fault] = []
    a = outline_polygon(square, "plan", "outline", faults)
    b = outline_polygon([*square[::-1], square[-1]], "plan", "outline", faults)
    assert not faults
    assert a is not None
    assert a.equals(b)


def test_largest_setback_is_named() -> None:
    faults = plot_faults(field(setback_m=20.0), "plan")
    assert [fault.line() for fault in faults] == [
        "plan: plot.setback_m: found 20; accepted: less than 15, or no room is left"
    ]


def test_outlines_that_only_touch_the_plot_are_outside() -> None:
    faults = plot_faults(field(keep_outs=(box(40, 0, 50, 10),), obstacles=(Obstacle(box(0, 30, 5, 35), 3.0),)), "p")
    assert [fault.key for fault in faults] == ["plot.keep_out[0].outline", "plot.obstacle[0].outline"]
