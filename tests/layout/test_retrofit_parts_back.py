"""The parts list: written, read back, put on a plan's roof; two sheets at one place; wrong lists told."""

import csv
import io
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

from layout.arrange import arrange
from layout.arrange.roof import planes_of
from layout.plan import Plan, RoofLayout, panel_type_of, parse_plan
from layout.report.retrofit_parts import _sheets, facing_words, plane_names
from layout.retrofit.candidates import find_candidates
from layout.retrofit.parts_back import COLUMNS, NEEDED, Sheet, parts_csv, plan_with_parts, read_parts
from layout.retrofit.payback import Payback
from layout.retrofit.places import places_of
from layout.retrofit_table import RetrofitTable
from layout.roof_reflectors import sheet_edges
from layout.roof_shapes import RoofPlane, roof_panels
from sites.errors import InputError

PLAN = """
title = "Shed"
[site]
latitude_deg = 38.2
longitude_deg = 14.9
elevation_m = 60
time_zone = "Etc/GMT-1"
[site.climate]
ghi_kwh_per_m2_day = [2.1, 2.9, 4.2, 5.5, 6.6, 7.3, 7.4, 6.5, 5.0, 3.5, 2.3, 1.8]
air_c = [11, 11, 13, 15, 19, 23, 26, 26, 23, 19, 15, 12]
wind_m_s = [3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3]
[[layout]]
name = "other"
kind = "pieces"
[[layout.panel]]
corner = [30, 0, 1]
along = [1.7, 0, 0]
up = [0, 1, 0]
[[layout]]
name = "shed"
kind = "roof"
[[layout.plane]]
name = "north side"
origin = [0.0, 9.0]
height_m = 3.0
tilt_deg = 15
azimuth_deg = 5
outline = [[0, 0], [5, 0], [5, 4], [0, 4]]
[[layout.plane]]
name = "south side"
origin = [1.0, 2.0]
height_m = 3.0
tilt_deg = 27
azimuth_deg = 185
outline = [[0, 0], [6, 0], [6, 5.5], [0, 5.5]]
[[layout.plane.grid]]
at = [0.9, 0.8]
columns = 3
rows = 2
gap_m = 0.3
row_gap_m = 0.4
[retrofit]
strip_widths_m = [0.12]
strip_tilts_deg = [55]
sheet_widths_m = [0.35]
sheet_tilts_deg = [35]
"""


def shed() -> Plan:
    return parse_plan(PLAN, "shed.toml", Path("/plans"))


def roof(plan: Plan) -> RoofLayout:
    (layout,) = (x for x in plan.layouts if isinstance(x, RoofLayout))
    return layout


def all_sheets(
    plan: Plan,
) -> tuple[list[Sheet], list[tuple[np.ndarray, np.ndarray, np.ndarray]], tuple[RoofPlane, ...]]:
    """Every candidate as if it were chosen: its sheets as told, and corner, along, up of each as traced."""
    layout = roof(plan)
    arrangement, planes = arrange(plan, layout), planes_of(plan, layout)
    panels = roof_panels(layout, planes, panel_type_of(plan, layout))
    places = places_of(arrangement.scene.panels, panels, planes)
    table = plan.retrofit or RetrofitTable()
    found = find_candidates(places, planes, arrangement.scene, table, ("mirror", "matt"))
    told: list[Sheet] = []
    traced: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
    for k, c in enumerate(found.candidates):
        place = places[c.place].name
        towards = facing_words(place, c.facing).split(" and ")
        money = Payback(2.0 * len(c.sheets), 1.0, None, None, None)
        told += _sheets(
            k + 1, place, towards, c, (planes[c.plane], planes[c.plane].table.name), 6.0 * c.area_m2, 1.5, money
        )
        traced += list(zip(c.sheets.corner, c.sheets.along, c.sheets.up, strict=True))
    return told, traced, planes


def test_a_gap_with_two_sheets_has_two_lines() -> None:
    sheets, _, planes = all_sheets(shed())
    panels = roof_panels(roof(shed()), planes, panel_type_of(shed(), roof(shed())))
    both = {s.table.name[:-1] for s in sheets if s.table.name.endswith("b")}
    assert both
    for number in both:
        a, b = (next(s for s in sheets if s.table.name == f"{number}{letter}") for letter in "ab")
        first, second = a.place.removeprefix("gap between ").split(" and ")
        assert (a.looks_to, b.looks_to) == (first, second)
        panel = panels[int(re.findall(r"\d+", first)[0])]
        middle = planes[1].flat(panel.corner + 0.5 * (panel.along + panel.up))
        near_a, near_b = (np.mean([x.table.near_from[:2], x.table.near_to[:2]], axis=0) for x in (a, b))
        assert np.linalg.norm(near_a - middle) < np.linalg.norm(near_b - middle)
        assert (a.gain_kwh, b.gain_kwh) == (1.5, None)
        assert (a.price, b.price) == (2.0, 2.0)
        assert a.pieces == b.pieces


def test_the_list_alone_gives_every_corner_back() -> None:
    """From the CSV by a builder's arithmetic: near edge measured out in right, up and above, far edge likewise."""
    sheets, traced, planes = all_sheets(shed())
    assert len(sheets) > 40
    assert {s.place.split()[0] for s in sheets} >= {"gap", "below", "above", "left", "right"}
    rows = list(csv.DictReader(io.StringIO(parts_csv(sheets, "shells"))))
    assert len(rows) == len(sheets)
    for row, (corner, along, up) in zip(rows, traced, strict=True):
        plane = planes[int(row["plane"])]
        corners = [
            plane.origin
            + float(row[f"{end}_right_m"]) * plane.right
            + float(row[f"{end}_up_m"]) * plane.up
            + float(row[f"{end}_above_m"]) * plane.normal
            for end in ("near_from", "near_to", "far_from", "far_to")
        ]
        expected = [corner, corner + along, corner + up, corner + along + up]
        assert np.abs(np.array(corners) - expected).max() < 0.0015
        assert float(row["width_mm"]) / 1000 == pytest.approx(np.linalg.norm(up), abs=5e-5)
        whole = float(row["piece_length_mm"]) * int(row["pieces"]) / 1000
        assert np.linalg.norm(along) - 0.001 * int(row["pieces"]) <= whole <= np.linalg.norm(along) + 1e-9
        assert row["currency"] == "shells"


def test_planes_of_one_name_are_told_apart() -> None:
    _, _, planes = all_sheets(shed())
    assert plane_names(planes) == ("north side", "south side")
    assert plane_names((planes[1], planes[0], planes[1])) == ("south side (0)", "north side", "south side (2)")


def test_read_back_it_is_the_same_list() -> None:
    sheets, traced, planes = all_sheets(shed())
    back = read_parts("\ufeff" + parts_csv(sheets), "list.csv", len(planes))
    assert [(plane, table) for plane, table in back] == [(s.plane, s.table) for s in sheets]
    for (plane, table), (corner, along, up) in zip(back, traced, strict=True):
        c, a, u = sheet_edges(planes[plane], table)
        assert np.abs(c - corner).max() < 0.001
        assert np.abs(a - along).max() < 0.001
        assert np.abs(u - up).max() < 0.001


def test_columns_may_change_places_and_be_fewer() -> None:
    sheets, _, planes = all_sheets(shed())
    rows = list(csv.DictReader(io.StringIO(parts_csv(sheets))))
    text = io.StringIO()
    writer = csv.DictWriter(text, tuple(reversed(NEEDED)), extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    again = read_parts(text.getvalue() + "\n,,,,\n", "list.csv", len(planes))
    assert again == read_parts(parts_csv(sheets), "list.csv", len(planes))


def test_a_plan_takes_them_on_its_roof() -> None:
    plan = shed()
    sheets, traced, _ = all_sheets(plan)
    some = [2, 7, len(sheets) - 1]
    made = plan_with_parts(tomllib.loads(PLAN), plan.folder, "shed", [(sheets[i].plane, sheets[i].table) for i in some])
    again = parse_plan(made, "made.toml", Path("/elsewhere"))
    assert again.retrofit == plan.retrofit
    assert [x.name for x in again.layouts] == ["other", "shed"]
    assert not again.run.repetition
    before, after = arrange(plan, roof(plan)), arrange(again, roof(again))
    assert after.panel_type == before.panel_type
    assert np.array_equal(after.string, before.string)
    assert len(after.scene.reflectors) == 3
    for piece, i in zip(after.scene.reflectors, some, strict=True):
        corner, along, up = traced[i]
        assert np.abs(np.concatenate([piece.corner - corner, piece.along - along, piece.up - up])).max() < 0.001
        assert piece.normal == pytest.approx(np.cross(along, up) / np.linalg.norm(np.cross(along, up)), abs=1e-2)
        assert piece.reflectance == plan.sheets.reflector(sheets[i].table.type).facet_reflectance


def test_files_keep_their_place_when_the_plan_moves() -> None:
    data = tomllib.loads(PLAN)
    data["site"] |= {"weather": "years/one.csv", "skyline": "hills.csv"}
    data["plot"] = {"boundary_file": "/maps/plot.geojson"}
    made = tomllib.loads(plan_with_parts(data, Path("/plans"), "shed", []))
    assert made["site"]["weather"] == str(Path("/plans/years/one.csv").resolve())
    assert made["site"]["skyline"] == str(Path("/plans/hills.csv").resolve())
    assert made["plot"]["boundary_file"] == str(Path("/maps/plot.geojson").resolve())
    data["site"] |= {"weather": "pvlib:12839.tm2", "skyline": [[0, 3.0], [180, 2.0]]}
    made = tomllib.loads(plan_with_parts(data, Path("/plans"), "shed", []))
    assert made["site"]["weather"] == "pvlib:12839.tm2"
    assert made["site"]["skyline"] == [[0, 3.0], [180, 2.0]]


def test_more_parts_join_those_that_stand_there() -> None:
    plan = shed()
    sheets, _, _ = all_sheets(plan)
    once = plan_with_parts(tomllib.loads(PLAN), plan.folder, "shed", [(1, sheets[2].table)])
    twice = plan_with_parts(tomllib.loads(once), plan.folder, "shed", [(1, sheets[-1].table)])
    names = [t["name"] for t in tomllib.loads(twice)["layout"][1]["plane"][1]["reflector"]]
    assert names == [sheets[2].table.name, sheets[-1].table.name]


LIST = parts_csv(all_sheets(shed())[0][:2])
"""Head and two lines."""


def edited(column: str, value: str, line: int = 2) -> str:
    rows = list(csv.reader(io.StringIO(LIST)))
    rows[line - 1][COLUMNS.index(column)] = value
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("", [f"line 1: found no column {c!r}; accepted: a parts list as retrofit writes it" for c in NEEDED]),
        (LIST.replace("width_mm", "width"),
         ["line 1: found no column 'width_mm'; accepted: a parts list as retrofit writes it"]),
        (LIST.splitlines()[0], ["file: found 0 parts; accepted: 1 to 5,000"]),
        (edited("width_mm", "12O"), ["line 2, width_mm: found '12O'; accepted: a number, point as decimal sign"]),
        (edited("tilt_deg", "12,5", 3), ["line 3, tilt_deg: found '12,5'; accepted: a number, point as decimal sign"]),
        (edited("near_to_up_m", ""),
         ["line 2, near_to_up_m: found nothing; accepted: a number, point as decimal sign"]),
        (edited("plane", "2"), ["line 2, plane: found 2; accepted: a whole number from 0 to 1, the roof's planes in "
                                "order"]),
        (edited("plane", "0.5"), ["line 2, plane: found 0.5; accepted: a whole number from 0 to 1, the roof's planes "
                                  "in order"]),
        (edited("reflector", ""), ["line 2, reflector: found nothing; accepted: text"]),
        (edited("width_mm", "0"), ["line 2.width_m: found 0.0; accepted: a number from 0.005 to 10"]),
        (edited("near_from_above_m", "nan"),
         ["line 2.near_from[2]: found nan; accepted: [right, up, above] in metres, above from 0 to 20"]),
        (edited("tilt_deg", "500").replace("\n2", "\n"),
         ["line 2.tilt_deg: found 500.0; accepted: a number from -180 to 180",
          "line 3, number: found nothing; accepted: text"]),
    ],
)  # fmt: skip
def test_wrong_lists_are_told(text: str, lines: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        read_parts(text, "list.csv", 2)
    assert str(caught.value).splitlines() == [f"list.csv: {line}" for line in lines]
