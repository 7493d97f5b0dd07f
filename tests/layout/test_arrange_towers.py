"""Towers: closed boxes of panels on a square grid."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from layout.arrange import Arrangement, arrange
from layout.arrange.endless import endless_arrangement
from layout.geometry.rectangles import Rectangles
from layout.pieces import Blocker, Panel
from layout.plan import Plan, TowersLayout, parse_plan
from sites.conventions import FloatArray, IntArray, unit_vector
from sites.errors import InputError
from sites.read import list_sites

FACES = ("north", "east", "south", "west", "top")


def towers(faces: list[str] | None = None, **keys: float) -> str:
    values = {"side_m": 2.2, "height_m": 5.3, "spacing_m": 8, **keys}
    lines = [f"{k} = {v}" for k, v in values.items()]
    if faces is not None:
        lines.append(f"faces = {faces}".replace("'", '"'))
    return "\n".join(lines)


def plan_of(layout: str, plot: str = "boundary = [[0, 0], [40, 0], [40, 30], [0, 30]]", site: str = "") -> Plan:
    table = f"[plot]\n{plot}\n" if plot else ""
    text = f'[site]\nname = "{site or "tannerfold"}"\n{table}[[layout]]\nname = "it"\nkind = "towers"\n{layout}'
    return parse_plan(text, "plan.toml", Path())


def table_of(plan: Plan) -> TowersLayout:
    table = plan.layouts[0]
    assert isinstance(table, TowersLayout)
    return table


def built(plan: Plan) -> Arrangement:
    return arrange(plan, plan.layouts[0])


def tower_of_panels(arrangement: Arrangement) -> IntArray:
    return arrangement.string // 5


def test_towers_of_a_rectangle_counted_by_hand() -> None:
    # Spacing 8 from centre to centre, side 2.2: 4 · 8 + 2.2 = 34.2 of 40 m, 3 · 8 + 2.2 = 26.2 of 30 m:
    # 5 × 4 towers.
    # Mono type 1.76 × 1.10 on 2.2 × 5.3: 2 × 3 portrait (1.10 × 1.767); on the top of 2.2 × 2.2: 2 × 1.
    arrangement = built(plan_of(towers()))
    assert arrangement.fit[0] == "20 towers fit, 26 panels each"
    assert len(arrangement.scene.panels) == 520
    assert arrangement.scene.blockers == ()  # on level ground the box rests on it
    sides = arrangement.area_scale.reshape(20, 26)[0]
    np.testing.assert_allclose(sides[:24], 5.3 / 3 / 1.76)
    np.testing.assert_allclose(sides[24:], 2.2 / 1.76)
    assert arrangement.orientation.tolist() == [0] * 520
    assert arrangement.scene.panels[0].cells == (20, 6)
    assert arrangement.fit[-1] == "panels are stretched to fill the faces, their area and power by up to +25 %"


def test_least_stretch_chooses_the_orientation() -> None:
    # 1.76 wide and 2.2 high: one landscape panel across, two up, not stretched at all.
    arrangement = built(plan_of(towers(["south"], side_m=1.76, height_m=2.2, spacing_m=6)))
    assert set(arrangement.orientation) == {1}
    assert arrangement.scene.panels[0].cells == (6, 20)
    np.testing.assert_allclose(arrangement.area_scale, 1.0)
    assert len(arrangement.fit) == 1 or "stretched" not in arrangement.fit[-1]


@pytest.mark.parametrize(("face", "azimuth"), [("north", 0), ("east", 90), ("south", 180), ("west", 270)])
@pytest.mark.parametrize("turn", [0, 25, 300])
def test_faces_look_where_they_say(face: str, azimuth: float, turn: float) -> None:
    arrangement = built(plan_of(towers([face], azimuth_deg=turn)))
    expected = unit_vector(0.0, float(azimuth + turn))
    for panel in arrangement.scene.panels:
        np.testing.assert_allclose(panel.normal, expected, atol=1e-12)
    assert len(arrangement.scene.blockers) == 4 * len(np.unique(tower_of_panels(arrangement)))


def closed_box(pieces: list[Panel | Blocker], side: float, height: float) -> None:
    """Outward rectangles close a box: areas add up, area vectors cancel, the volume is that of the box."""
    parts = Rectangles.of(pieces)
    area = parts.normal * parts.area[:, None]
    assert parts.area.sum() == pytest.approx(4 * side * height + 2 * side**2)
    np.testing.assert_allclose(area.sum(axis=0), 0.0, atol=1e-9)
    # Gauss: the flux of x / 3 through a closed surface is its volume.
    centre = parts.corner + 0.5 * (parts.along + parts.up)
    assert float((centre * area).sum()) / 3.0 == pytest.approx(side**2 * height)


layouts = st.builds(
    towers,
    faces=st.lists(st.sampled_from(FACES), min_size=1, unique=True),
    side_m=st.floats(0.5, 4),
    height_m=st.floats(0.5, 8),
    base_height_m=st.floats(0.01, 2),
    spacing_m=st.floats(4, 15),
    azimuth_deg=st.floats(0, 360),
)


@settings(deadline=None, max_examples=40)
@given(layout=layouts, site=st.sampled_from(list_sites()))
def test_every_tower_is_a_closed_box_on_the_plot(layout: str, site: str) -> None:
    plan = plan_of(layout, plot="", site=site)
    table, plot = table_of(plan), plan.site.plot
    assert plot is not None
    arrangement = built(plan)
    panels, walls = arrangement.scene.panels, arrangement.scene.blockers
    numbers = np.unique(tower_of_panels(arrangement))
    per_tower = 6 - len(table.faces)
    own = walls[: len(numbers) * per_tower]
    for n, number in enumerate(numbers[:3]):
        mine = [p for p, t in zip(panels, tower_of_panels(arrangement), strict=True) if t == number]
        closed_box([*mine, *own[n * per_tower : (n + 1) * per_tower]], table.side_m, table.height_m)
    boxes = [
        shapely.MultiPoint(points_of([p for p, t in zip(panels, tower_of_panels(arrangement), strict=True) if t == n]))
        for n in numbers
    ]
    shapes = np.array([box.convex_hull for box in boxes])
    grown = plot.usable.buffer(1e-5)
    assert shapely.covers(grown, shapes).all()
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    shared = shapely.area(shapely.intersection(shapes[first], shapes[second], grid_size=1e-7))
    assert shared[first < second].max(initial=0.0) < 1e-5
    assert not any(panel.bifacial for panel in panels)
    assert len(arrangement.area_scale) == len(panels)
    assert arrangement.panel_type.area_m2 * arrangement.area_scale.sum() == pytest.approx(
        sum(panel.area_m2 for panel in panels)
    )


def points_of(panels: list[Panel]) -> FloatArray:
    parts = Rectangles.of(panels)
    return np.concatenate(
        [
            parts.corner,
            parts.corner + parts.along,
            parts.corner + parts.up,
            parts.corner + parts.along + parts.up,
        ]
    )[:, :2]


def test_base_lies_above_the_highest_ground_under_the_tower() -> None:
    slope = "boundary = [[0, 0], [40, 0], [40, 30], [0, 30]]\nslope_deg = 20\nslope_azimuth_deg = 90"
    plan = plan_of(towers(base_height_m=0.4, side_m=2.0), slope)
    arrangement = built(plan)
    panels = Rectangles.of(arrangement.scene.panels)
    corners = np.concatenate([panels.corner, panels.corner + panels.along])
    above = corners[:, 2] - plan.site.plot.ground_z(corners[:, 0], corners[:, 1])  # type: ignore[union-attr]
    assert above.min() == pytest.approx(0.4)
    # On the downhill side, the east, the same level base is higher: by the side times the slope.
    first = arrangement.scene.panels[int(np.flatnonzero(arrangement.string % 5 == 1)[0])].corner
    ground = float(plan.site.plot.ground_z(first[0], first[1]))  # type: ignore[union-attr]
    assert first[2] - ground == pytest.approx(0.4 + 2.0 * np.tan(np.radians(20.0)))


def test_box_that_rests_on_the_ground_has_no_bottom_and_one_in_the_air_has() -> None:
    count = len(np.unique(tower_of_panels(built(plan_of(towers())))))
    assert len(built(plan_of(towers(base_height_m=0.3))).scene.blockers) == count
    slope = "boundary = [[0, 0], [40, 0], [40, 30], [0, 30]]\nslope_deg = 3"
    arrangement = built(plan_of(towers(), slope))
    bottoms = [b for b in arrangement.scene.blockers if abs(b.normal[2]) > 0.99]
    assert len(bottoms) == len(np.unique(tower_of_panels(arrangement)))
    assert all(b.normal[2] < 0 for b in bottoms)


def test_strings_are_tower_faces() -> None:
    arrangement = built(plan_of(towers(["east", "top"])))
    panels = Rectangles.of(arrangement.scene.panels)
    for number in np.unique(arrangement.string):
        normals = panels.normal[arrangement.string == number]
        np.testing.assert_allclose(normals, normals[:1].repeat(len(normals), axis=0), atol=1e-12)


@settings(deadline=None, max_examples=30)
@given(layout=layouts, site=st.sampled_from(list_sites()))
def test_the_pattern_without_end(layout: str, site: str) -> None:
    plan = plan_of(layout, plot="", site=site)
    table = table_of(plan)
    endless, unit, area = endless_arrangement(plan, table, 20.0)
    assert area == pytest.approx(table.spacing_m**2)
    assert endless.repeat is not None
    assert [np.linalg.norm(step) for step in endless.repeat] == pytest.approx([table.spacing_m] * 2)
    each = len(unit)
    panels = Rectangles.of(endless.scene.panels)
    count = len(panels) // each
    assert len(endless.scene.blockers) == count * (6 - len(table.faces))
    # The unit stands round the origin; all others are the unit, moved along the plane.
    middle = points_of([endless.scene.panels[i] for i in unit])
    if {"north", "south"} <= set(table.faces):
        np.testing.assert_allclose(0.5 * (middle.min(axis=0) + middle.max(axis=0)), 0.0, atol=1e-9)
    corners = panels.corner.reshape(count, each, 3)
    moves = corners - panels.corner[unit]
    np.testing.assert_allclose(moves, moves[:, :1].repeat(each, axis=1), atol=1e-9)
    np.testing.assert_allclose(
        moves[:, 0, 2],
        plan.site.plot.ground_z(moves[:, 0, 0], moves[:, 0, 1]),  # type: ignore[union-attr]
        atol=1e-9,
    )
    steps = moves[:, 0, :2] @ np.linalg.inv(np.stack(endless.repeat))
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)
    assert len(np.unique(np.round(steps), axis=0)) == count
    assert np.hypot(*moves[:, 0, :2].T).max() <= 20.0 + 1e-9


@settings(deadline=None, max_examples=25)
@given(spacing=st.floats(2.5, 20))
def test_spacing_counts_from_centre_to_centre(spacing: float) -> None:
    try:
        arrangement = built(plan_of(towers(["top"], side_m=2.2, spacing_m=spacing)))
    except InputError:
        assume(False)
    corners = Rectangles.of(arrangement.scene.panels).corner
    x = np.unique(np.round(corners[:, 0], 6))
    gaps = np.diff(x)
    assert gaps[gaps > 1.2].min(initial=spacing) <= spacing + 1e-5
    assert np.ptp(corners[:, 0]) <= 40.0
