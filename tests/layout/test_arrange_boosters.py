"""Boosters and covers on plots: each place's corners by hand, and what must hold for all."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from layout.arrange import Arrangement, arrange
from layout.arrange.boosters import LEAST_SHARE, room_share
from layout.arrange.endless import endless_arrangement
from layout.booster_shapes import LIFT_M
from layout.geometry.crossings import crossing_pairs
from layout.geometry.hinged import corners
from layout.geometry.rectangles import Rectangles
from layout.pieces import Rectangle
from layout.plan import Plan, parse_plan
from sites.conventions import LENGTH_TOLERANCE_M
from sites.errors import InputError
from sites.read import list_sites

FIELD = "boundary = [[0, 0], [40, 0], [40, 30], [0, 30]]"
NARROW = "boundary = [[0, 0], [40, 0], [40, 26.02], [0, 26.02]]"
ROWS = 'kind = "rows"\ntilt_deg = 25\nazimuth_deg = 180\npitch_m = 5\nclearance_m = 0.6\n'
TOWERS = 'kind = "towers"\nside_m = 2\nheight_m = 4\nspacing_m = 8\n'


def table(place: str, **keys: object) -> str:
    values = {"reflector": "mirror", "place": place, **keys}
    words = {k: f'"{v}"' if isinstance(v, str) else v for k, v in values.items()}
    return "[[layout.booster]]\n" + "".join(f"{k} = {v}\n" for k, v in words.items())


def plan_of(layout: str, plot: str = FIELD, site: str = "tannerfold") -> Plan:
    plot = f"[plot]\n{plot}\n" if plot else ""
    text = f'[site]\nname = "{site}"\n{plot}[panel]\nname = "bifacial_glass"\n[[layout]]\nname = "it"\n{layout}'
    return parse_plan(text, "plan.toml", Path())


def built(layout: str, plot: str = FIELD) -> Arrangement:
    plan = plan_of(layout, plot)
    return arrange(plan, plan.layouts[0])


def same(pieces: Rectangle, expected: list[tuple[float, float, float]]) -> None:
    """The piece has these four corners, in any order."""
    points = corners(Rectangles.of([pieces]))[0]
    found = np.linalg.norm(points[:, None] - np.array(expected), axis=2) < 1e-9
    assert found.any(axis=1).all(), points
    assert found.any(axis=0).all(), points


def test_aisle_by_hand() -> None:
    # Panels 1.80 × 1.12 m facing south: the first has its lower edge from (0, 0.?) eastward.
    arrangement = built(ROWS + table("aisle", width_m=2, gap_m=0.5, tilt_deg=30))
    x, y, z = arrangement.scene.panels[21].corner  # first of the second row
    sheets = Rectangles.of(arrangement.scene.reflectors)
    assert z == pytest.approx(0.6)
    near, far, top = y - 0.5, y - 0.5 - 2 * np.cos(np.pi / 6), LIFT_M + 1.0
    mine = int(np.argmin(np.abs(sheets.corner - [x + 1.8, near, LIFT_M]).sum(axis=1)))
    same(
        arrangement.scene.reflectors[mine],
        [(x, near, LIFT_M), (x + 1.8, near, LIFT_M), (x, far, top), (x + 1.8, far, top)],
    )
    # The mirror side looks up and back north, to its own row.
    np.testing.assert_allclose(sheets.normal, np.tile([0, 0.5, np.cos(np.pi / 6)], (len(sheets), 1)), atol=1e-12)
    # 6 rows of 21, moved north so that the first has its strip, too.
    assert len(sheets) == 6 * 21
    assert arrangement.fit[-1] == "booster 1: 126 sheets of mirror in the aisles, 453.6 m²"
    assert arrangement.reflector_area_m2 == pytest.approx(126 * 2 * 1.8)


def test_aisle_lies_on_a_slope() -> None:
    plot = FIELD + "\nslope_deg = 10\nslope_azimuth_deg = 180"
    arrangement = built(ROWS + table("aisle", width_m=1.5), plot)
    sheets = Rectangles.of(arrangement.scene.reflectors)
    assert arrangement.scene.ground is not None
    points = corners(sheets)
    height = points[..., 2] - arrangement.scene.ground.z(points[..., 0], points[..., 1])
    np.testing.assert_allclose(height, LIFT_M, atol=1e-9)
    np.testing.assert_allclose(sheets.normal[0], [0, -np.sin(np.radians(10)), np.cos(np.radians(10))], atol=1e-9)


def test_strips_are_shortened_at_a_keep_out() -> None:
    # 5 pitches and a row's depth of 1.12 · cos 25° = 1.015 fill 26.02 m: the rows begin at 0, 5, 10 ... m.
    track = "\n[[plot.keep_out]]\noutline = [[0, 3.2], [40, 3.2], [40, 3.4], [0, 3.4]]"
    arrangement = built(
        ROWS + table("aisle", width_m=2.5), "boundary = [[0, 0], [40, 0], [40, 26.02], [0, 26.02]]" + track
    )
    assert arrangement.scene.panels[21].corner[1] == pytest.approx(5.0, abs=0.005)
    depth = np.round(Rectangles.of(arrangement.scene.reflectors).area / 1.8, 2)
    # The second row's strip ends at the track, 1.6 m in front; the first has no ground in front.
    assert depth.tolist() == [1.6] * 21 + [2.5] * 4 * 21
    assert arrangement.fit[-1].endswith(
        "; 21 of them shortened at the edge of the usable ground; 21 left out beyond the edge of the usable ground"
    )


def test_strips_that_would_be_too_narrow_are_left_out() -> None:
    track = "\n[[plot.keep_out]]\noutline = [[0, 4.4], [40, 4.4], [40, 4.5], [0, 4.5]]"
    arrangement = built(
        ROWS + table("aisle", width_m=2.5), "boundary = [[0, 0], [40, 0], [40, 26.02], [0, 26.02]]" + track
    )
    assert LEAST_SHARE > 0.5 / 2.5
    assert len(arrangement.scene.reflectors) == 4 * 21


def test_equal_rows_are_moved_to_where_all_have_their_strip() -> None:
    # 30 m have room for 6 rows at several places; those 1.5 m off the southern boundary all have a strip in front.
    arrangement = built(ROWS + table("aisle", width_m=1.5))
    assert len(arrangement.scene.panels) == 6 * 21
    assert len(arrangement.scene.reflectors) == 6 * 21


def test_wings_at_the_ends_of_rows_by_hand() -> None:
    layout = ROWS.replace("tilt_deg = 25", "tilt_deg = 0")
    arrangement = built(layout + table("wings", sides=["left", "right"], depth_m=0.5, opening_deg=90))
    # 0.02 m between neighbours: sheets at the two ends of each row only.
    assert len(arrangement.scene.reflectors) == 2 * 6
    first = arrangement.scene.panels[0].corner
    x, y, z = first
    # Seen from the front of a panel that looks up, its head to the north, left is west.
    same(arrangement.scene.reflectors[0], [(x, y, z), (x, y + 1.12, z), (x, y, z + 0.5), (x, y + 1.12, z + 0.5)])
    np.testing.assert_allclose(arrangement.scene.reflectors[0].normal, [1, 0, 0], atol=1e-12)
    np.testing.assert_allclose(arrangement.scene.reflectors[1].normal, [-1, 0, 0], atol=1e-12)


def test_wings_along_a_row_by_hand() -> None:
    layout = ROWS.replace("tilt_deg = 25", "tilt_deg = 0")
    arrangement = built(layout + table("wings", sides=["lower", "upper"], depth_m=0.5, opening_deg=60))
    sine, cosine = 0.5 * np.sin(np.pi / 3), 0.25
    x, y, z = arrangement.scene.panels[21].corner
    sheets = [s for s in arrangement.scene.reflectors if abs(s.centre[0] - x - 0.9) < 1e-6 and abs(s.centre[1] - y) < 3]
    lower, upper = sorted(sheets, key=lambda s: float(s.centre[1]))
    same(lower, [(x, y, z), (x + 1.8, y, z), (x, y - cosine, z + sine), (x + 1.8, y - cosine, z + sine)])
    y += 1.12
    same(upper, [(x, y, z), (x + 1.8, y, z), (x, y + cosine, z + sine), (x + 1.8, y + cosine, z + sine)])
    np.testing.assert_allclose(lower.normal, [0, np.sin(np.pi / 3), 0.5], atol=1e-12)
    np.testing.assert_allclose(upper.normal, [0, -np.sin(np.pi / 3), 0.5], atol=1e-12)


def test_panels_that_stand_apart_have_wings_of_their_own() -> None:
    layout = ROWS + "panel_gap_m = 0.8\n"
    arrangement = built(layout + table("wings", depth_m=0.5, opening_deg=60))
    assert len(arrangement.scene.reflectors) == 4 * len(arrangement.scene.panels)


def test_strips_in_the_gaps_by_hand() -> None:
    layout = ROWS.replace("tilt_deg = 25", "tilt_deg = 0") + "panel_gap_m = 0.3\npanels_high = 2\n"
    arrangement = built(layout + table("strips", width_m=0.15))
    x, y, z = arrangement.scene.panels[0].corner
    # All in the panels' plane; the two strips of one gap meet in its middle.
    sheets = Rectangles.of(arrangement.scene.reflectors)
    np.testing.assert_allclose(corners(sheets)[..., 2], z)
    np.testing.assert_allclose(sheets.normal, np.tile([0, 0, 1], (len(sheets), 1)), atol=1e-12)
    middle = np.abs(corners(sheets)[..., 0] - (x + 1.8 + 0.15)) < 1e-9
    beside = np.abs(sheets.corner[:, 1] - y) < 1.13
    assert (middle.sum(axis=1)[beside] == 2).sum() == 2
    np.testing.assert_allclose(np.unique(np.round(sheets.area, 6)), [0.168, 0.27], atol=1e-6)


def test_sheets_between_towers_by_hand() -> None:
    arrangement = built(TOWERS + table("between", width_m=2, tilt_deg=30, gap_m=0.4))
    assert len(arrangement.scene.panels) % 20 == 0 or len(arrangement.scene.panels) > 0
    tops = [p for p in arrangement.scene.panels if p.normal[2] > 0.9]
    x, y = np.mean([p.centre[:2] for p in tops if np.linalg.norm(p.centre[:2] - tops[0].centre[:2]) < 3], axis=0)
    out, top = 1.4 + 2 * np.cos(np.pi / 6), LIFT_M + 1.0
    east = [s for s in arrangement.scene.reflectors if s.centre[0] - x > 1 and np.hypot(*(s.centre[:2] - [x, y])) < 3]
    (sheet,) = [s for s in east if abs(s.centre[1] - y) < 0.1]
    same(sheet, [(x + 1.4, y - 1, LIFT_M), (x + 1.4, y + 1, LIFT_M), (x + out, y - 1, top), (x + out, y + 1, top)])
    # It looks up and back west, to its tower.
    np.testing.assert_allclose(sheet.normal, [-0.5, 0, np.cos(np.pi / 6)], atol=1e-12)


def test_posts_by_hand() -> None:
    arrangement = built(TOWERS + table("posts", width_m=3, height_m=5, azimuth_deg=180))
    tops = [p for p in arrangement.scene.panels if p.normal[2] > 0.9]
    x, y = np.mean([p.centre[:2] for p in tops if np.linalg.norm(p.centre[:2] - tops[0].centre[:2]) < 3], axis=0)
    # It looks south to its tower, so it stands north of it, half way to the next one 8 m on.
    (post,) = [s for s in arrangement.scene.reflectors if np.hypot(*(s.centre[:2] - [x, y + 4])) < 0.1]
    same(post, [(x + a, y + 4, z) for a in (-1.5, 1.5) for z in (LIFT_M, LIFT_M + 5)])
    np.testing.assert_allclose(post.normal, [0, -1, 0], atol=1e-12)


def test_posts_of_diagonal_azimuths_stand_between_four_towers() -> None:
    arrangement = built(TOWERS + table("posts", width_m=1, height_m=2, azimuth_deg=225))
    tops = [p for p in arrangement.scene.panels if p.normal[2] > 0.9]
    x, y = np.mean([p.centre[:2] for p in tops if np.linalg.norm(p.centre[:2] - tops[0].centre[:2]) < 3], axis=0)
    assert min(np.hypot(*(s.centre[:2] - [x + 4, y + 4])) for s in arrangement.scene.reflectors) < 1e-9


def test_an_obstacle_shortens_and_removes_sheets() -> None:
    plot = FIELD + "\n[[plot.obstacle]]\noutline = [[10, 10], [16, 10], [16, 12], [10, 12]]\nheight_m = 1"
    arrangement = built(ROWS + table("aisle", width_m=2), plot)
    hulls = shapely.convex_hull(shapely.multipoints(corners(Rectangles.of(arrangement.scene.reflectors))[..., :2]))
    house = shapely.box(10, 10, 16, 12).buffer(-1e-5)
    assert not shapely.intersects(house, hulls).any()
    assert "; 4 left out beyond the edge of the usable ground" in arrangement.fit[-1]


def test_later_sheets_make_room_for_earlier_ones() -> None:
    one = table("aisle", width_m=2)
    arrangement = built(ROWS + one + one.replace("mirror", "matt").replace("width_m = 2", "width_m = 1\ngap_m = 2"))
    assert len(arrangement.scene.reflectors) == 2 * 126
    with pytest.raises(InputError) as error:
        built(ROWS + one + one)
    assert "126 left out where they would run into panels, the ground or other sheets" in str(error.value)


def test_cover_over_each_panel() -> None:
    layout = ROWS + table("aisle", width_m=2) + '[layout.cover]\ndiffuser = "satin_spreader"\ngap_m = 0.08\n'
    arrangement = built(layout)
    panels, covers = Rectangles.of(arrangement.scene.panels), Rectangles.of(arrangement.scene.diffusers)
    np.testing.assert_allclose(covers.corner - panels.corner, 0.08 * panels.normal, atol=1e-12)
    np.testing.assert_allclose(covers.along, panels.along)
    np.testing.assert_allclose(covers.up, panels.up)
    assert arrangement.cover is not None
    assert (arrangement.cover.kind.name, arrangement.cover.gap_m) == ("satin_spreader", 0.08)
    assert arrangement.cover_area_m2 == pytest.approx(126 * 1.80 * 1.12)
    assert arrangement.scene.diffusers[0].spread_rms == (9.0, 9.0)
    bare = arrangement.without_reflectors()
    assert (bare.scene.reflectors, bare.scene.diffusers, bare.cover) == ((), (), None)
    assert bare.scene.panels is arrangement.scene.panels
    assert bare.reflector_area_m2 == bare.cover_area_m2 == 0


def test_sheets_are_as_aged_and_soiled_as_their_type() -> None:
    arrangement = built(ROWS + table("aisle", width_m=2, reflector="rod_array"))
    sheet = arrangement.scene.reflectors[0]
    assert sheet.reflectance == pytest.approx(0.88 * 0.97 * 0.95)
    assert (sheet.slope_rms, sheet.diffuse) == ((25.0, 2.0), 0.05)
    # The first slope goes along the row.
    np.testing.assert_allclose(np.abs(sheet.along), [1.8, 0, 0], atol=1e-12)


def test_pieces_of_a_plan_without_a_plot() -> None:
    layout = """kind = "pieces"
[[layout.panel]]
corner = [0, 0, 1]
along = [1.8, 0, 0]
up = [0, 0.9, 0.5]
[[layout.reflector]]
corner = [0, -2, 0.1]
along = [1.8, 0, 0]
up = [0, 2, 0]
reflectance = 0.9
slope_rms_deg = [4, 2]
ageing_factor = 0.9
[[layout.reflector]]
corner = [0, 0.3, 0.5]
along = [1.8, 0, 0]
up = [0, 0, 2]
type = "matt"
[[layout.diffuser]]
corner = [0, 0, 3]
along = [1.8, 0, 0]
up = [0, 1, 0]
transmittance = 0.8
"""
    text = '[site]\nname = "tannerfold"\n[[layout]]\nname = "it"\n' + layout
    plan = parse_plan(text, "plan.toml", Path())
    arrangement = arrange(plan, plan.layouts[0])
    first, second = arrangement.scene.reflectors
    assert (first.reflectance, first.slope_rms) == (pytest.approx(0.81), (4.0, 2.0))
    assert second.diffuse == 1.0
    assert arrangement.scene.diffusers[0].heat_transmittance == 0.8
    assert arrangement.fit[-1] == "1 sheet runs into panels"


kinds = st.sampled_from(["mirror", "matt", "one_way_spreader"])
aisles = st.builds(
    table,
    st.just("aisle"),
    reflector=kinds,
    width_m=st.floats(0.1, 3),
    tilt_deg=st.floats(0, 90),
    gap_m=st.floats(0, 2),
)
sides = st.lists(st.sampled_from(["lower", "upper", "left", "right"]), min_size=1, unique=True)
wings = st.builds(
    table,
    st.just("wings"),
    reflector=kinds,
    sides=sides,
    depth_m=st.floats(0.05, 1.5),
    opening_deg=st.floats(0, 135),
)
strips = st.builds(table, st.just("strips"), width_m=st.floats(0.01, 0.4), tilt_deg=st.floats(0, 80))
row_layouts = st.builds(
    lambda tilt, azimuth, pitch, high, gap, clearance, boosters: (
        f'kind = "rows"\ntilt_deg = {tilt}\nazimuth_deg = {azimuth}\npitch_m = {pitch}\npanels_high = {high}\n'
        f"panel_gap_m = {gap}\nclearance_m = {clearance}\n" + "".join(boosters)
    ),
    st.floats(0, 90),
    st.floats(0, 360),
    st.floats(3, 9),
    st.integers(1, 2),
    st.floats(0, 0.9),
    st.floats(0, 1.5),
    st.lists(st.one_of(aisles, wings, strips), min_size=1, max_size=2),
)
betweens = st.builds(
    table, st.just("between"), width_m=st.floats(0.1, 3), tilt_deg=st.floats(0, 90), gap_m=st.floats(0, 1)
)
posts = st.builds(
    table, st.just("posts"), width_m=st.floats(0.1, 5), height_m=st.floats(0.1, 9), azimuth_deg=st.floats(0, 360)
)
tower_layouts = st.builds(
    lambda side, spacing, turn, boosters: (
        f'kind = "towers"\nside_m = {side}\nheight_m = 4\nspacing_m = {side + spacing}\nazimuth_deg = {turn}\n'
        + "".join(boosters)
    ),
    st.floats(1, 3),
    st.floats(2, 8),
    st.floats(0, 360),
    st.lists(st.one_of(betweens, posts), min_size=1, max_size=2),
)


def built_or_none(plan: Plan) -> Arrangement | None:
    """The arrangement; None where nothing of a booster fits on the plot."""
    try:
        return arrange(plan, plan.layouts[0])
    except InputError as error:
        line = str(error)
    assert "no room for a single" in line
    return None


def plan_or_none(layout: str, site: str) -> Plan | None:
    """A plan on a bundled site's own plot; None where rows or sheets would overlap or dip into the ground."""
    try:
        return plan_of(layout, plot="", site=site)
    except InputError as error:
        keys = [fault.key.split(".")[-1] for fault in error.faults]
    assert set(keys) <= {"tilt_deg", "pitch_m", "clearance_m", "width_m", "depth_m", "gap_m"}
    return None


@settings(deadline=None, max_examples=30)
@given(layout=st.one_of(row_layouts, tower_layouts), site=st.sampled_from(list_sites()))
def test_sheets_stand_clear_and_face_what_they_serve(layout: str, site: str) -> None:
    plan = plan_or_none(layout, site)
    assume(plan is not None)
    assert plan is not None
    arrangement = built_or_none(plan)
    assume(arrangement is not None)
    assert arrangement is not None
    scene, plot = arrangement.scene, plan.site.plot
    assert plot is not None
    sheets, panels = Rectangles.of(scene.reflectors), Rectangles.of(scene.panels)
    points = corners(sheets)
    # Above the ground and inside the usable ground.
    assert (points[..., 2] - plot.ground_z(points[..., 0], points[..., 1])).min() >= -1e-5
    hulls = shapely.convex_hull(shapely.multipoints(points[..., :2]))
    assert shapely.covers(plot.usable.buffer(1e-5), hulls).all()
    # Clear of panels, obstacles and one another.
    others = Rectangles.of([*scene.panels, *scene.blockers])
    assert len(crossing_pairs(sheets, others)[0]) == 0
    first, second = crossing_pairs(sheets, sheets)
    assert (first == second).all()
    # Seen from the middle of the mirror side, some panel of the unit lies in front of it, or level with it.
    middle = sheets.corner + 0.5 * (sheets.along + sheets.up)
    targets = panels.corner + 0.5 * (panels.along + panels.up)
    toward = targets[None] - middle[:, None]
    reach = 12.0 if arrangement.kind == "towers" else 5.0
    near = np.linalg.norm(toward, axis=2) < reach
    ahead = np.einsum("ijk,ik->ij", toward, sheets.normal) > -LIFT_M - 1e-9
    assert (near & ahead).any(axis=1).all()


@settings(deadline=None, max_examples=20)
@given(layout=st.one_of(row_layouts, tower_layouts), site=st.sampled_from(list_sites()))
def test_the_pattern_without_end_carries_the_same_sheets(layout: str, site: str) -> None:
    plan = plan_or_none(layout, site)
    assume(plan is not None)
    assert plan is not None
    on_plot = built_or_none(plan)
    assume(on_plot is not None)
    assert on_plot is not None
    assert on_plot.repeat is not None
    steps = np.stack(on_plot.repeat)
    endless, _, _ = endless_arrangement(plan, plan.layouts[0], 4.5 * float(np.linalg.norm(steps, axis=1).max()))
    sheets, panels = Rectangles.of(endless.scene.reflectors), Rectangles.of(endless.scene.panels)
    assert not len(crossing_pairs(sheets, panels)[0])
    # The same sheets in every cell of the net around the middle.
    middle = (sheets.corner + 0.5 * (sheets.along + sheets.up))[:, :2] @ np.linalg.inv(steps)
    cell = np.floor(middle + 1e-6).astype(np.int64)
    # Moved by an odd amount, since plain numbers often lie where rounding tips over.
    inside = np.round(np.column_stack([middle - cell, sheets.normal]) + 3.1416e-5, 4)
    around = np.array([[0, 0], [1, 0], [0, 1], [-1, 0], [0, -1]])
    seen = [{tuple(row) for row in inside[(cell == one).all(axis=1)]} for one in around]
    assert all(one == seen[0] for one in seen)
    kinds_on_plot = {tuple(np.round(r.normal, 6) + 0.0) for r in on_plot.scene.reflectors}
    kinds_endless = {tuple(np.round(r.normal, 6) + 0.0) for r in endless.scene.reflectors}
    # Where a first booster's sheet has no room at the rim of the plot, a second one's may stand.
    if "wings" not in layout and layout.count("[[layout.booster]]") == 1:
        assert kinds_on_plot <= kinds_endless


@settings(deadline=None, max_examples=200)
@given(
    x=st.floats(-1, 9),
    y=st.floats(-1, 9),
    turn=st.floats(0, 360),
    width=st.floats(0.5, 4),
    lean=st.floats(0, 85),
)
def test_room_of_a_sheet(x: float, y: float, turn: float, width: float, lean: float) -> None:
    area = shapely.Polygon([(0, 0), (8, 0), (8, 3), (5, 3), (5, 5), (8, 5), (8, 8), (0, 8)])
    a, b = np.radians(turn), np.radians(lean)
    along = np.array([[np.cos(a), np.sin(a), 0.0]])
    up = width * np.array([[-np.sin(a) * np.cos(b), np.cos(a) * np.cos(b), np.sin(b)]])
    sheet = Rectangles(np.array([[x, y, 0.0]]), along, up)
    share = float(room_share(sheet, area)[0])

    def fits(part: float, tolerance: float) -> bool:
        cut = corners(Rectangles(sheet.corner, along, part * up))[0, :, :2]
        return bool(area.buffer(tolerance, join_style="mitre").covers(shapely.MultiPoint(cut).convex_hull))

    if share > 1e-6:
        assert fits(share * (1 - 1e-6), 2 * LENGTH_TOLERANCE_M)
    if share < 1:
        assert not fits(share + 1e-3, LENGTH_TOLERANCE_M)


def test_sheets_that_cross_their_like_stand_nowhere() -> None:
    # Wings that lean over their panel cross at its corner: the side named first keeps its sheets, everywhere.
    layout = ROWS + "panel_gap_m = 0.8\n" + table("wings", sides=["lower", "left"], depth_m=0.5, opening_deg=120)
    arrangement = built(layout)
    count = len(arrangement.scene.panels)
    assert len(arrangement.scene.reflectors) == count
    assert f"{count} left out where they would run into panels, the ground or other sheets" in arrangement.fit[-1]
    lower = Rectangles.of(arrangement.scene.reflectors)
    np.testing.assert_allclose(np.abs(lower.along[:, 0]), 1.8)
