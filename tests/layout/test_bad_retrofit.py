"""Wrong [retrofit] tables: each with the one line that tells what is wrong, and no other."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from layout.plan import parse_plan
from sites.errors import InputError

GOOD = """\
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [60, 0], [60, 40], [0, 40]]
[[reflector]]
name = "my sheet"
reflectance = 0.8
[[layout]]
name = "barn"
kind = "roof"
[[layout.plane]]
origin = [5, 5]
height_m = 4
tilt_deg = 20
azimuth_deg = 10
outline = [[0, 0], [8, 0], [8, 5], [0, 5]]
[[layout.plane.grid]]
at = [1, 1]
columns = 3
[[layout]]
name = "shed"
kind = "roof"
[[layout.plane]]
origin = [30, 5]
height_m = 3
tilt_deg = 15
azimuth_deg = 10
outline = [[0, 0], [6, 0], [6, 5], [0, 5]]
[[layout.plane.grid]]
at = [1, 1]
columns = 2
[[layout]]
name = "ground"
kind = "rows"
tilt_deg = 25
azimuth_deg = 0
pitch_m = 4
[retrofit]
layout = "barn"
reflectors = ["mirror", "my sheet"]
strip_widths_m = [0.05, 0.1]
strip_tilts_deg = [50]
sheet_widths_m = [0.4]
sheet_tilts_deg = [20, 45]
clearance_m = 0.01
longest_m = 2.5
objective = "energy"
most_kinds = 2
most_kg_per_m2 = 3
kg_per_m2 = 6
most_sail_m2 = 9
price_per_m2 = 40
price_per_kwh = 0.2
years = 12
discount_pct = 3
degradation_pct = 0.4
max_cell_c = 80
max_light_w_m2 = 1300
[wiring]
mode = "row"
"""


WRONG_PLANS, AT_LEAST = "bad_retrofit.txt", 30

Edit = Callable[[str, list[tuple[str, str]]], str]


def test_the_plan_that_all_are_made_from_is_good() -> None:
    plan = parse_plan(GOOD, "good.toml", Path())
    assert plan.warnings == ()
    assert plan.retrofit is not None
    assert set(type(plan.retrofit).model_fields) - plan.retrofit.model_fields_set == {
        "least_gain_kwh", "most_money", "price_per_part", "currency",
    }  # fmt: skip


def test_wrong_retrofit(wrong: Any, edited: Edit) -> None:
    with pytest.raises(InputError) as error:
        parse_plan(edited(GOOD, wrong.edits), "bad.toml", Path())
    assert str(error.value).splitlines() == wrong.message
