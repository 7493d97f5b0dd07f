"""Wrong reflectors, diffusers, boosters and covers: each with the one line that tells what is wrong, and no other."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from layout.arrange import arrange
from layout.plan import parse_plan
from sites.errors import InputError

GOOD = """\
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [30, 0], [30, 24], [0, 24]]
[[reflector]]
name = "my sheet"
total_reflectance = 0.8
slope_rms_deg = [20, 20]
soiling_factor = 0.95
[[diffuser]]
name = "my cover"
transmittance = 0.9
heat_transmittance = 0.6
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 30
azimuth_deg = 0
pitch_m = 5
clearance_m = 0.5
panel_gap_m = 0.3
[[layout.booster]]
reflector = "my sheet"
place = "aisle"
width_m = 2
tilt_deg = 10
gap_m = 0.5
[[layout.booster]]
reflector = "mirror"
place = "wings"
sides = ["lower", "left"]
depth_m = 0.4
opening_deg = 75
[[layout.booster]]
reflector = "matt"
place = "strips"
width_m = 0.15
tilt_deg = 20
[layout.cover]
diffuser = "my cover"
gap_m = 0.05
[[layout]]
name = "towers"
kind = "towers"
side_m = 2
height_m = 4
spacing_m = 8
faces = ["north", "west", "south"]
[[layout.booster]]
reflector = "one_way_spreader"
place = "between"
width_m = 2.2
gap_m = 0.3
[[layout.booster]]
reflector = "rod_array"
place = "posts"
width_m = 3
height_m = 5
azimuth_deg = 90
[[layout]]
name = "own"
kind = "pieces"
[[layout.panel]]
corner = [1, 1, 0.5]
along = [1, 0, 0]
up = [0, 0.8, 0.6]
[[layout.reflector]]
type = "my sheet"
corner = [1, 4, 0.1]
along = [1, 0, 0]
up = [0, 0, 1]
[[layout.diffuser]]
corner = [1, 1, 2]
along = [1, 0, 0]
up = [0, 1, 0]
transmittance = 0.9
"""


WRONG_PLANS, AT_LEAST = "bad_boosters.txt", 40

Edit = Callable[[str, list[tuple[str, str]]], str]


def test_the_plan_that_all_are_made_from_is_good() -> None:
    plan = parse_plan(GOOD, "good.toml", Path())
    assert plan.warnings == ()
    for layout in plan.layouts:
        arrange(plan, layout)


def test_wrong_booster(wrong: Any, edited: Edit) -> None:
    with pytest.raises(InputError) as error:
        parse_plan(edited(GOOD, wrong.edits), "bad.toml", Path())
    assert str(error.value).splitlines() == wrong.message


def test_suspicious_sheets_are_told(edited: Edit) -> None:
    plan = parse_plan(
        edited(GOOD, [("total_reflectance = 0.8\nslope_rms_deg = [20, 20]", "reflectance = 0.98")]).replace(
            "transmittance = 0.9\nheat_transmittance = 0.6\n", "transmittance = 0.98\n", 1
        ),
        "odd.toml",
        Path(),
    )
    assert plan.warnings == (
        "reflector[0]: facets that reflect 0.98 of the sunlight are brighter than new silvered mirrors",
        "diffuser[0]: a sheet that passes 0.98 of the sunlight is clearer than coated glass",
    )


@pytest.mark.parametrize(
    ("edits", "line"),
    [
        # A plot as deep as a row: nothing in front of it is left for the aisle.
        (
            [
                ("boundary = [[0, 0], [30, 0], [30, 24], [0, 24]]", "boundary = [[0, 0], [4, 0], [4, 1], [0, 1]]"),
                ("pitch_m = 5", "pitch_m = 3.5"),
                ("width_m = 2", "width_m = 1"),
            ],
            "bad.toml: layout[0].booster[0]: found no room for a single sheet; booster 1: 0 sheets of my sheet in the "
            "aisles; 2 left out beyond the edge of the usable ground; accepted: a booster of which some sheet fits on "
            "the plot",
        ),
        # Sheets that lean over the panels cut through the covers close above them.
        (
            [("opening_deg = 75", "opening_deg = 110")],
            "bad.toml: layout[0].cover.gap_m: found 0.05, with 70 covers that run into other pieces; accepted: a gap "
            "at which no cover does",
        ),
    ],
)
def test_no_room(edits: list[tuple[str, str]], line: str, edited: Edit) -> None:
    plan = parse_plan(edited(GOOD, edits), "bad.toml", Path())
    with pytest.raises(InputError) as error:
        arrange(plan, plan.layouts[0])
    assert str(error.value) == line
