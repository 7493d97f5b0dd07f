"""Rows and upright rows on plots."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from layout.arrange import Arrangement, arrange
from layout.arrange.endless import endless_arrangement
from layout.geometry.rectangles import Rectangles
from layout.plan import Plan, RowsLayout, UprightLayout, parse_plan
from sites.conventions import FloatArray
from sites.errors import InputError
from sites.read import list_sites

RECTANGLE = "[[0, 0], [40, 0], [40, 30], [0, 30]]"


def plan_of(layout: str, site: str = "tannerfold", plot: str = f"boundary = {RECTANGLE}") -> Plan:
    table = f"[plot]\n{plot}\n" if plot else ""
    text = f'[site]\nname = "{site}"\n{table}[panel]\nname = "bifacial_glass"\n[[layout]]\nname = "it"\n{layout}'
    return parse_plan(text, "plan.toml", Path())


def rows(**keys: float | str) -> str:
    values = {"tilt_deg": 25, "azimuth_deg": 180, "pitch_m": 5, **keys}
    lines = [f'{k} = "{v}"' if isinstance(v, str) else f"{k} = {v}" for k, v in values.items()]
    return 'kind = "rows"\n' + "\n".join(lines)


def upright(**keys: float | str) -> str:
    values = {"azimuth_deg": 90, "pitch_m": 6, **keys}
    lines = [f'{k} = "{v}"' if isinstance(v, str) else f"{k} = {v}" for k, v in values.items()]
    return 'kind = "upright"\n' + "\n".join(lines)


def built(plan: Plan) -> Arrangement:
    return arrange(plan, plan.layouts[0])


def corners_of(arrangement: Arrangement) -> FloatArray:
    """(n, 4, 3) corners of the panels, in order round."""
    panels = Rectangles.of(arrangement.scene.panels)
    c, a, u = panels.corner, panels.along, panels.up
    return np.stack([c, c + a, c + a + u, c + u], axis=1)


def heights(plan: Plan, points: FloatArray) -> FloatArray:
    """Heights of points (..., 3) above the ground vertically below them."""
    plot = plan.site.plot
    assert plot is not None
    return points[..., 2] - plot.ground_z(points[..., 0], points[..., 1])


def hulls(arrangement: Arrangement) -> np.ndarray:
    return np.array([shapely.MultiPoint(four[:, :2]).convex_hull for four in corners_of(arrangement)])


def test_rows_of_a_rectangle_counted_by_hand() -> None:
    # Bundled bifacial type 1.80 × 1.12 m, landscape: 22 · 1.80 + 21 · 0.02 = 40.02 is too much for 40 m, so
    # 21; 30 m take rows of depth 1.12 · cos 25° every 5 m: 6.
    arrangement = built(plan_of(rows()))
    assert len(arrangement.scene.panels) == 21 * 6
    assert arrangement.fit[0] == "126 panels fit in 6 rows"
    assert (arrangement.name, arrangement.kind) == ("it", "rows")
    assert arrangement.scene.blockers == ()


def test_portrait_and_stacks_counted_by_hand() -> None:
    # Portrait: 1.12 wide: 35 · 1.12 + 34 · 0.02 = 39.88. Two high: depth (2 · 1.80 + 0.02) · cos 25° = 3.28;
    # 5 · 5 + 3.28 = 28.28: 6 rows.
    arrangement = built(plan_of(rows(orientation="portrait", panels_high=2)))
    assert len(arrangement.scene.panels) == 35 * 6 * 2
    assert arrangement.fit[0] == "420 panels fit in 6 rows, 2 one above the other"
    assert arrangement.orientation.tolist() == [0] * 420
    assert arrangement.scene.panels[0].cells == (22, 6)


def test_landscape_turns_the_cells() -> None:
    arrangement = built(plan_of(rows()))
    assert arrangement.orientation.tolist() == [1] * 126
    assert arrangement.scene.panels[0].cells == (6, 22)
    panel = arrangement.scene.panels[0]
    assert np.linalg.norm(panel.along) == pytest.approx(1.80)
    assert np.linalg.norm(panel.up) == pytest.approx(1.12)


def test_one_string_for_each_row_and_level() -> None:
    arrangement = built(plan_of(rows(panels_high=3)))
    panels = Rectangles.of(arrangement.scene.panels)
    line = np.round(np.column_stack([panels.corner[:, 1], panels.corner[:, 2]]), 6)
    _, expected = np.unique(line, axis=0, return_inverse=True)
    found = arrangement.string
    assert len(np.unique(found)) == len(np.unique(expected)) == 18
    # The same grouping, whatever the numbers.
    assert len(np.unique(np.column_stack([found, expected.reshape(-1)]), axis=0)) == 18


def test_gap_between_panels_and_levels() -> None:
    arrangement = built(plan_of(rows(panels_high=2, panel_gap_m=0.05)))
    panels = Rectangles.of(arrangement.scene.panels)
    level, column = panels.corner[1] - panels.corner[0], panels.corner[2] - panels.corner[0]
    np.testing.assert_allclose(level, panels.up[0] * (1.12 + 0.05) / 1.12, atol=1e-12)
    np.testing.assert_allclose(column, panels.along[0] * (1.80 + 0.05) / 1.80, atol=1e-12)


def test_upright_panels_on_level_ground() -> None:
    plan = plan_of(upright(clearance_m=0.9, panels_high=2))
    arrangement = built(plan)
    panel = arrangement.scene.panels[0]
    np.testing.assert_allclose(panel.normal, [1.0, 0.0, 0.0], atol=1e-12)
    assert panel.bifacial
    z = heights(plan, corners_of(arrangement))
    assert z.min() == pytest.approx(0.9)
    assert z.max() == pytest.approx(0.9 + 2 * 1.12 + 0.02)
    # 30 m take 16 · 1.80 + 15 · 0.02; rows without depth every 6 m across 40 m: 7.
    assert len(arrangement.scene.panels) == 16 * 7 * 2


def test_obstacles_stand_in_the_scene_and_push_panels_away() -> None:
    obstacle = f"boundary = {RECTANGLE}\n[[plot.obstacle]]\noutline = [[10, 10], [16, 10], [16, 15], [10, 15]]\n"
    arrangement = built(plan_of(rows(), plot=obstacle + "height_m = 3"))
    assert len(arrangement.scene.blockers) == 5
    assert len(arrangement.scene.panels) < 126
    assert "on an obstacle" in arrangement.fit[1]
    house = shapely.box(10, 10, 16, 15).buffer(-1e-6)
    assert not shapely.intersects(house, hulls(arrangement)).any()


layouts = st.one_of(
    st.builds(
        rows,
        tilt_deg=st.floats(0, 90),
        azimuth_deg=st.floats(0, 360),
        pitch_m=st.floats(2, 9),
        clearance_m=st.floats(0, 2),
        panels_high=st.integers(1, 3),
        orientation=st.sampled_from(["portrait", "landscape"]),
        panel_gap_m=st.floats(0, 0.3),
    ),
    st.builds(
        upright,
        azimuth_deg=st.floats(0, 360),
        pitch_m=st.floats(2, 9),
        clearance_m=st.floats(0, 2),
        panels_high=st.integers(1, 3),
        orientation=st.sampled_from(["portrait", "landscape"]),
    ),
)


def plan_or_none(layout: str, site: str) -> Plan | None:
    """A plan on a bundled site's own plot; None where rows would overlap or dip into the ground."""
    try:
        return plan_of(layout, site, plot="")
    except InputError as error:
        keys = [fault.key.removeprefix("layout[0].") for fault in error.faults]
    assert set(keys) <= {"tilt_deg", "pitch_m", "clearance_m"}
    return None


def built_or_none(plan: Plan) -> Arrangement | None:
    """The arrangement; None where the pattern is too coarse for the plot."""
    try:
        return built(plan)
    except InputError as error:
        line = str(error)
    assert "no room for a single panel" in line
    return None


@settings(deadline=None, max_examples=25)
@given(layout=layouts, site=st.sampled_from(list_sites()))
def test_panels_stand_as_the_plan_says(layout: str, site: str) -> None:
    plan = plan_or_none(layout, site)
    assume(plan is not None)
    assert plan is not None
    arrangement = built_or_none(plan)
    assume(arrangement is not None)
    assert arrangement is not None
    table, plot = plan.layouts[0], plan.site.plot
    assert isinstance(table, RowsLayout | UprightLayout)
    assert plot is not None
    corners = corners_of(arrangement)
    shapes = hulls(arrangement)
    # Inside the usable part of the plot, above the ground, the lowest edges at the clearance.
    assert shapely.covers(plot.usable.buffer(1e-5), shapes).all()
    assert heights(plan, corners).min() >= -1e-5
    columns = corners.reshape(-1, table.panels_high, 4, 3)
    lower = heights(plan, columns[:, 0, :2])
    np.testing.assert_allclose(lower, table.clearance_m, atol=1e-9)
    # Whole panels at the tilt, of the type's size.
    panels = Rectangles.of(arrangement.scene.panels)
    tilt = table.tilt_deg if isinstance(table, RowsLayout) else 90.0
    np.testing.assert_allclose(panels.normal[:, 2], np.cos(np.radians(tilt)), atol=1e-9)
    np.testing.assert_allclose(panels.area, arrangement.panel_type.area_m2)
    assert arrangement.area_scale.tolist() == [1.0] * len(shapes)
    # No two panels overlap on the map, however they are stacked or shifted.
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    pairs = first < second
    shared = shapely.area(shapely.intersection(shapes[first[pairs]], shapes[second[pairs]], grid_size=1e-7))
    assert shared.max(initial=0.0) < 1e-5
    assert arrangement.fit[0].startswith(f"{len(shapes)} panel")


@settings(deadline=None, max_examples=25)
@given(layout=layouts, site=st.sampled_from(list_sites()))
def test_the_pattern_without_end_is_the_one_on_the_plot(layout: str, site: str) -> None:
    plan = plan_or_none(layout, site)
    assume(plan is not None)
    assert plan is not None
    endless, unit, area = endless_arrangement(plan, plan.layouts[0], 15.0)
    table = plan.layouts[0]
    assert isinstance(table, RowsLayout | UprightLayout)
    assert len(unit) == table.panels_high
    assert endless.scene.blockers == ()
    panels = Rectangles.of(endless.scene.panels)
    np.testing.assert_allclose(panels.corner[unit[0], :2], 0.0, atol=1e-12)
    # Every neighbour by one step of `repeat` is there, on the same plane.
    assert endless.repeat is not None
    step, row = endless.repeat
    assert area == pytest.approx(abs(step[0] * row[1] - step[1] * row[0]))
    assert np.linalg.norm(row) == pytest.approx(table.pitch_m)
    for move in (step, -step, row, -row, step + row):
        target = np.array([*move, float(plan.site.plot.ground_z(*move)) + table.clearance_m])  # type: ignore[union-attr]
        assert np.linalg.norm(panels.corner - target, axis=1).min() < 1e-9
    assert np.hypot(*panels.corner[:: table.panels_high, :2].T).max() <= 15.0 + 1e-9
    # The same panels as on the plot, moved.
    arrangement = built_or_none(plan)
    assume(arrangement is not None)
    assert arrangement is not None
    on_plot = Rectangles.of(arrangement.scene.panels)
    np.testing.assert_allclose(on_plot.along[0], panels.along[0], atol=1e-12)
    np.testing.assert_allclose(on_plot.up[0], panels.up[0], atol=1e-12)


def test_the_same_plan_gives_the_same_panels() -> None:
    plan = plan_of(rows(azimuth_deg=200, pitch_m=3.7), plot="")
    first, second = corners_of(built(plan)), corners_of(built(plan))
    np.testing.assert_array_equal(first, second)


@settings(deadline=None, max_examples=25)
@given(azimuth=st.floats(0, 360), turn=st.floats(0, 360))
def test_turning_plot_and_rows_together_changes_nothing(azimuth: float, turn: float) -> None:
    def turned(by: float) -> int:
        c, s = np.cos(np.radians(by)), np.sin(np.radians(by))
        points = [[0, 0], [37, -5], [56, 3], [61, 34], [20, 30]]
        boundary = [[float(x * c + y * s), float(-x * s + y * c)] for x, y in points]
        plan = plan_of(rows(azimuth_deg=(azimuth + by) % 360), plot=f"boundary = {boundary}\nsetback_m = 1")
        return len(built(plan).scene.panels)

    # Rounding may tip a panel that fits to the last micrometre.
    assert abs(turned(turn) - turned(0.0)) <= 2
