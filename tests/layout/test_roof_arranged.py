"""Roofs: where panels, faces, walls and chimneys stand, worked out by hand; wrong roofs told."""

from pathlib import Path

import numpy as np
import pytest
import shapely

from layout.arrange import arrange
from layout.arrange.arrangement import Arrangement
from layout.arrange.roof import planes_of
from layout.geometry.hinged import corners
from layout.geometry.rectangles import Rectangles
from layout.plan import RoofLayout, parse_plan
from sites.errors import InputError

SITE = """
[site]
latitude_deg = 44.9
longitude_deg = -76.3
elevation_m = 120
time_zone = "Etc/GMT+5"
[site.climate]
ghi_kwh_per_m2_day = [1.7, 2.7, 3.9, 4.8, 5.6, 6.1, 6.1, 5.3, 4.1, 2.7, 1.6, 1.3]
air_c = [-8.1, -6.4, -0.6, 6.9, 13.6, 18.7, 21.3, 20.2, 15.6, 8.9, 2.6, -4.6]
wind_m_s = [3.4, 3.4, 3.5, 3.4, 3.0, 2.7, 2.5, 2.4, 2.6, 3.0, 3.3, 3.3]
"""

ROOF = """
[[layout]]
name = "r"
kind = "roof"
[[layout.plane]]
name = "face"
origin = [2.0, 3.0]
height_m = 4.0
tilt_deg = 30
azimuth_deg = 180
outline = [[0, 0], [8, 0], [8, 5], [0, 5]]
edge_clearance_m = 0.2
"""

GRID = """
[[layout.plane.grid]]
at = [1.0, 0.5]
columns = 3
rows = 2
gap_m = 0.05
row_gap_m = 0.1
standoff_m = 0.1
"""


def built(text: str) -> Arrangement:
    plan = parse_plan(SITE + text, "roof.toml", Path("."))
    return arrange(plan, plan.layouts[0])


def faults(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        built(text)
    return str(caught.value).splitlines()


def test_panels_lie_on_the_pitched_face() -> None:
    a = built(ROOF + GRID)
    c, s = np.cos(np.radians(30)), np.sin(np.radians(30))
    first, second, upper = (a.scene.panels[k] for k in (0, 1, 3))
    # Half a metre up the slope, then 0.1 m off it.
    assert first.corner == pytest.approx([3.0, 3.0 + 0.5 * c - 0.1 * s, 4.0 + 0.5 * s + 0.1 * c])
    assert first.along == pytest.approx([1.10, 0.0, 0.0])
    assert first.up == pytest.approx([0.0, 1.76 * c, 1.76 * s])
    assert first.normal == pytest.approx([0.0, -s, c])
    assert second.corner - first.corner == pytest.approx([1.15, 0.0, 0.0])
    assert upper.corner - first.corner == pytest.approx([0.0, 1.86 * c, 1.86 * s])
    assert a.string.tolist() == [0, 0, 0, 1, 1, 1]


@pytest.mark.parametrize("azimuth", [0.0, 75.0, 165.0, 250.0])
def test_panels_face_as_their_plane_does(azimuth: float) -> None:
    a = built(ROOF.replace("azimuth_deg = 180", f"azimuth_deg = {azimuth}") + GRID)
    way, tilt = np.radians(azimuth), np.radians(30)
    expected = [np.sin(way) * np.sin(tilt), np.cos(way) * np.sin(tilt), np.cos(tilt)]
    assert np.array([p.normal for p in a.scene.panels]) == pytest.approx(np.tile(expected, (6, 1)))


def test_frames_on_a_flat_roof() -> None:
    flat = ROOF.replace("tilt_deg = 30", "tilt_deg = 0")
    a = built(flat + GRID.replace("row_gap_m = 0.1", "row_gap_m = 0.8") + "frame_tilt_deg = 20\n")
    c, s = np.cos(np.radians(20)), np.sin(np.radians(20))
    first, behind = a.scene.panels[0], a.scene.panels[3]
    assert first.up == pytest.approx([0.0, 1.76 * c, 1.76 * s])
    assert behind.corner - first.corner == pytest.approx([0.0, 1.76 * c + 0.8, 0.0])
    assert a.panel_type.u0_w_m2_k == 25.0  # air passes both faces


def test_turned_frames_face_another_way() -> None:
    flat = ROOF.replace("tilt_deg = 30", "tilt_deg = 0")
    single = "[[layout.plane.panel]]\nat = [4, 3]\nframe_tilt_deg = 20\nturn_deg = 90\n"
    panel = built(flat + single).scene.panels[0]
    # A quarter turn clockwise from south, seen from above, is west.
    assert panel.normal == pytest.approx([-np.sin(np.radians(20)), 0.0, np.cos(np.radians(20))])


def test_heat_and_power_of_panels_close_to_the_roof() -> None:
    a = built(ROOF + GRID + "[[layout.plane.panel]]\nat = [5.2, 0.5]\nsize_m = [0.8, 1.1]\n")
    assert a.panel_type.u0_w_m2_k == pytest.approx(0.75 * 25.0)
    assert a.area_scale == pytest.approx([1.0] * 6 + [0.88 / 1.936])


def test_faces_walls_and_chimneys_shade() -> None:
    chimney = "[[layout.plane.obstacle]]\noutline = [[6, 3], [7, 3], [7, 4], [6, 4]]\nheight_m = 1.0\n"
    bare, with_chimney = built(ROOF + GRID), built(ROOF + GRID + chimney)
    c, s = np.cos(np.radians(30)), np.sin(np.radians(30))
    points = corners(Rectangles.of(bare.scene.blockers))
    face = points[0]
    assert face.min(axis=0) == pytest.approx([2.0, 3.0, 4.0])
    assert face.max(axis=0) == pytest.approx([10.0, 3.0 + 5 * c, 4.0 + 5 * s])
    # South wall to the eave, north wall to the ridge, gables in ten steps of 0.25 m up to the face.
    steps = [4.0 + 0.25 * k for k in range(10) for _ in range(2)]
    assert sorted(p[:, 2].max() for p in points[1:]) == pytest.approx(sorted([4.0, 4.0 + 5 * s, *steps]))
    assert (points[1:, :, 2].min(axis=1) == 0.0).all()
    box = corners(Rectangles.of(with_chimney.scene.blockers[len(bare.scene.blockers) :]))
    assert box[..., 2].max() == pytest.approx(4.0 + 4 * s + 1.0)
    assert box[..., 2].min() == pytest.approx(4.0 + 3 * s)
    assert box[..., 1].min() == pytest.approx(3.0 + 3 * c)


@pytest.mark.parametrize(
    ("outline", "left_open", "words"),
    [
        ("[[0, 0], [8, 0], [8, 3], [5, 3], [5, 5], [0, 5]]", 0.0, 0),  # an L: strips cut at its corners fill it
        ("[[0, 0], [8, 0], [4, 5]]", 1 / 24, 1),
        ("[[0, 0], [8, 0], [6, 5], [2, 5]]", 1 / 24 * 10 / 30, 1),
    ],
)
def test_faces_that_are_no_rectangle(outline: str, left_open: float, words: int) -> None:
    """Strips inside the outline, walls up to it and no farther: nothing of the house stands out of it."""
    text = ROOF.replace("[[0, 0], [8, 0], [8, 5], [0, 5]]", outline)
    a = built(text + "[[layout.plane.panel]]\nat = [3, 0.4]\n")
    plan = parse_plan(SITE + text + "[[layout.plane.panel]]\nat = [3, 0.4]\n", "roof.toml", Path("."))
    (layout,) = plan.layouts
    assert isinstance(layout, RoofLayout)
    (plane,) = planes_of(plan, layout)
    shapes = Rectangles.of(a.scene.blockers)
    points = corners(shapes)
    in_face = np.abs((points - plane.origin) @ plane.normal).max(axis=1) < 1e-6
    made = shapes.area[in_face].sum()
    assert made == pytest.approx((1.0 - left_open) * plane.outline.area, rel=0.015)
    for rectangle in points[in_face]:
        assert plane.outline.buffer(1e-3).covers(shapely.MultiPoint(plane.flat(rectangle)))
    walls = points[~in_face]
    assert ((walls - plane.origin) @ plane.normal).max() < 1e-6  # under the face
    top = walls[..., 2].max()
    assert top == pytest.approx(4.0 + 2.5, abs=0.26)
    assert len([line for line in a.fit if "slanting" in line]) == words


def test_wrong_roofs_are_told() -> None:
    assert "0 panels" in faults(ROOF)[0]
    assert "reaches beyond the roof" in faults(ROOF + GRID.replace("columns = 3", "columns = 8"))[0]
    chimney = "[[layout.plane.obstacle]]\noutline = [[1, 1], [2, 1], [2, 2], [1, 2]]\nheight_m = 1.0\n"
    assert "stands in an obstacle" in faults(ROOF + GRID + chimney)[0]
    assert "runs into panel" in faults(ROOF + GRID + "[[layout.plane.panel]]\nat = [1.2, 0.7]\nstandoff_m = 0.1\n")[0]
    assert (
        "below ground"
        in faults(ROOF.replace("height_m = 4.0", "height_m = 0.0").replace("[0, 0], [8, 0]", "[0, -1], [8, 0]") + GRID)[
            0
        ]
    )
    path = "[[layout.plane.path]]\noutline = [[20, 1], [22, 1], [22, 2], [20, 2]]\n"
    assert "wholly off the roof" in faults(ROOF + GRID + path)[0]
    both = faults(ROOF.replace("azimuth_deg = 180", "azimut_deg = 180") + GRID.replace("columns = 3", "columns = 0"))
    assert len(both) == 2
    assert "roof.toml: layout[0].plane[0]" in both[0]


def test_a_roof_needs_no_boosters() -> None:
    lines = faults(
        ROOF.replace(
            'kind = "roof"', 'kind = "roof"\nbooster = [{reflector = "mirror", place = "strips", width_m = 0.1}]'
        )
        + GRID
    )
    assert "retrofit" in lines[0]
