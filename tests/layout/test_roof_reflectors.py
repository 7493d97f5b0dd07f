"""Reflectors on roof planes: told and placed, worked out by hand; wrong ones told."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout.arrange import arrange
from layout.arrange.roof import planes_of
from layout.plan import Plan, RoofLayout, parse_plan
from layout.roof_reflectors import far_edge, sheet_edges, sheet_told
from layout.roof_shapes import roof_planes
from layout.roof_tables import RoofPlaneTable, RoofReflectorTable
from sites.errors import InputError

ROOF = """
[site]
latitude_deg = 39.6
longitude_deg = 2.9
elevation_m = 40
time_zone = "Etc/GMT-1"
[site.climate]
ghi_kwh_per_m2_day = [2.1, 2.9, 4.2, 5.4, 6.4, 7.0, 7.1, 6.3, 4.9, 3.4, 2.3, 1.8]
air_c = [10, 10, 12, 14, 18, 22, 25, 25, 22, 18, 14, 11]
wind_m_s = [3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3]
[[layout]]
name = "r"
kind = "roof"
[[layout.plane]]
origin = [1.0, 2.0]
height_m = 3.0
tilt_deg = 30
azimuth_deg = 180
outline = [[0, 0], [6, 0], [6, 5], [0, 5]]
[[layout.plane.grid]]
at = [1.0, 1.0]
columns = 2
standoff_m = 0.1
"""

SHEET = """
[[layout.plane.reflector]]
type = "mirror"
near_from = [1.0, 2.8, 0.1]
near_to = [3.2, 2.8, 0.1]
width_m = 0.4
tilt_deg = 40
"""


def plan_of(text: str) -> Plan:
    return parse_plan(text, "roof.toml", Path("."))


def faults(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        plan_of(text)
    return str(caught.value).splitlines()


def test_a_sheet_above_a_row_stands_where_the_plan_says() -> None:
    """A roof of 30° to the south; a sheet turned 40° up from it rises 70° from the horizontal and looks south."""
    a = arrange(plan_of(ROOF + SHEET), plan_of(ROOF + SHEET).layouts[0])
    (sheet,) = a.scene.reflectors
    c30, s30 = np.cos(np.radians(30)), np.sin(np.radians(30))
    assert sheet.corner == pytest.approx([2.0, 2.0 + 2.8 * c30 - 0.1 * s30, 3.0 + 2.8 * s30 + 0.1 * c30])
    assert sheet.along == pytest.approx([2.2, 0.0, 0.0])
    assert sheet.up == pytest.approx([0.0, 0.4 * np.cos(np.radians(70)), 0.4 * np.sin(np.radians(70))])
    assert sheet.normal == pytest.approx([0.0, -np.sin(np.radians(70)), np.cos(np.radians(70))])
    assert sheet.reflectance == plan_of(ROOF).sheets.reflector("mirror").facet_reflectance
    assert any("1 reflector" in line for line in a.fit)
    plan = plan_of(ROOF + SHEET)
    layout = plan.layouts[0]
    assert isinstance(layout, RoofLayout)
    plane = planes_of(plan, layout)[0]
    rise, depth = 0.4 * np.sin(np.radians(40)), 0.4 * np.cos(np.radians(40))
    far = far_edge(plane.table.reflector[0], plane)
    assert far == pytest.approx(np.array([[1.0, 2.8 + depth, 0.1 + rise], [3.2, 2.8 + depth, 0.1 + rise]]))


def test_the_other_way_round_it_leads_down() -> None:
    turned = SHEET.replace("[1.0, 2.8, 0.1]", "[3.2, 0.9, 0.1]").replace("[3.2, 2.8, 0.1]", "[1.0, 0.9, 0.1]")
    plan = plan_of(ROOF + turned.replace("tilt_deg = 40", "tilt_deg = 0"))
    (sheet,) = arrange(plan, plan.layouts[0]).scene.reflectors
    assert sheet.up == pytest.approx([0.0, -0.4 * np.cos(np.radians(30)), -0.4 * np.sin(np.radians(30))])
    assert sheet.normal[2] > 0


PLANE = RoofPlaneTable(
    origin=(0.5, -1.0), height_m=4.0, tilt_deg=23.0, azimuth_deg=205.0, outline=((0, 0), (9, 0), (9, 9), (0, 9))
)


@given(
    near=st.tuples(st.floats(0, 8), st.floats(0, 8), st.floats(0, 1)),
    way=st.floats(0, 360),
    rise=st.floats(-0.15, 0.4),
    length=st.floats(0.3, 3.0),
    width=st.floats(0.02, 1.5),
    tilt=st.floats(-179.0, 179.0),
)
def test_told_and_placed_are_inverse(
    near: tuple[float, float, float], way: float, rise: float, length: float, width: float, tilt: float
) -> None:
    """To the millimetre and the hundredth of a degree that are told."""
    (plane,) = roof_planes(RoofLayout.model_construct(plane=(PLANE,)))
    end = (near[0] + length * np.cos(way), near[1] + length * np.sin(way), near[2] + 0.5 + rise * length)
    first = RoofReflectorTable(
        type="mirror", near_from=(near[0], near[1], near[2] + 0.5), near_to=end, width_m=width, tilt_deg=tilt
    )
    edges = sheet_edges(plane, first)
    again = sheet_edges(plane, sheet_told(plane, edges, "1", "mirror"))
    for a, b in zip(edges, again, strict=True):
        assert np.abs(a - b).max() < 0.0015 + 0.004 * width / length
    assert np.abs(np.cross(edges[1], edges[2]) / np.linalg.norm(np.cross(edges[1], edges[2])) @ edges[1]) < 1e-9


def test_an_edge_upright_on_the_roof_turns_from_the_right() -> None:
    (plane,) = roof_planes(RoofLayout.model_construct(plane=(PLANE,)))
    table = RoofReflectorTable(type="mirror", near_from=(2, 2, 0), near_to=(2, 2, 1.5), width_m=0.5, tilt_deg=0)
    corner, along, up = sheet_edges(plane, table)
    assert up == pytest.approx(0.5 * plane.right)
    assert sheet_told(plane, (corner, along, up), "reflector", "mirror") == table


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("width_m = 0.4", "width_m = 0", "reflector[0].width_m: found 0; accepted: a number from 0.005 to 10"),
        ('"mirror"', '"miror"', "reflector[0].type: found no reflector type 'miror'; accepted: 'mirror' (nearest known)"),
        ("[3.2, 2.8, 0.1]", "[1.0, 2.8, 0.1]",
         "reflector[0].near_to: found no length between the ends of the near edge; accepted: a place at least 0.005 m "
         "from near_from"),
        ("[3.2, 2.8, 0.1]", "[3.2, 2.8]", "reflector[0].near_to: found [3.2, 2.8]; accepted: [right, up, above] in "
         "metres, above from 0 to 20"),
        ("[3.2, 2.8, 0.1]", "[3.2, 2.8, -0.1]", "reflector[0].near_to[2]: found -0.1; accepted: [right, up, above] in "
         "metres, above from 0 to 20"),
        ("tilt_deg = 40", "tilt_deg = -40", "reflector[0]: found a sheet that reaches 0.157 m below the roof; accepted: "
         "a sheet above its plane"),
        ("2.8, 0.1", "2.8, 0.3", "reflector[0]: found a sheet that runs into panel 0; panels counted from 0 as built; "
         "accepted: a sheet clear of all panels"),
        ("tilt_deg = 40", "tild_deg = 40", "reflector[0].tild_deg: found an unknown key; accepted: 'tilt_deg' (nearest "
         "known)"),
    ],
)  # fmt: skip
def test_wrong_sheets_are_told_in_one_line(old: str, new: str, line: str) -> None:
    text = SHEET.replace(old, new)
    if "0.3" in new:  # from above the panels down through them
        text = text.replace("tilt_deg = 40", "tilt_deg = -150").replace("width_m = 0.4", "width_m = 0.5")
    assert faults(ROOF + text) == [f"roof.toml: layout[0].plane[0].{line}"]
