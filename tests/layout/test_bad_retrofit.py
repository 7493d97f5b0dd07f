"""Wrong [retrofit] tables: each with the one line that tells what is wrong, and no other."""

from pathlib import Path

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


def wrong_plans() -> list[tuple[str, list[tuple[str, str]], list[str]]]:
    """The cases of bad_retrofit.txt: name, edits (old, new), the lines of the message."""
    cases = []
    text = (Path(__file__).parent / "bad_retrofit.txt").read_text(encoding="utf-8")
    for case in text.split("== ")[1:]:
        name, *lines = [line for line in case.splitlines() if line]
        blocks: list[tuple[str, list[str]]] = []
        for line in lines:
            if not blocks or blocks[-1][0] != line[0]:
                blocks.append((line[0], []))
            blocks[-1][1].append(line[2:])
        parts = ["\n".join(lines) for mark, lines in blocks if mark in "-+"]
        cases.append((name, list(zip(parts[::2], parts[1::2], strict=True)), blocks[-1][1]))
    return cases


WRONG = wrong_plans()


def edited(edits: list[tuple[str, str]]) -> str:
    plan = GOOD
    for old, new in edits:
        assert plan.count(f"{old}\n") >= 1, old
        plan = plan.replace(f"{old}\n", f"{new}\n" if new else "", 1)
    return plan


def test_the_plan_that_all_are_made_from_is_good() -> None:
    plan = parse_plan(GOOD, "good.toml", Path())
    assert plan.warnings == ()
    assert plan.retrofit is not None
    assert set(type(plan.retrofit).model_fields) - plan.retrofit.model_fields_set == {
        "least_gain_kwh", "most_money", "price_per_part", "currency",
    }  # fmt: skip


def test_there_are_many() -> None:
    assert len({name for name, _, _ in WRONG}) == len(WRONG) >= 30


@pytest.mark.parametrize(("edits", "message"), [w[1:] for w in WRONG], ids=[w[0] for w in WRONG])
def test_wrong_retrofit(edits: list[tuple[str, str]], message: list[str]) -> None:
    with pytest.raises(InputError) as error:
        parse_plan(edited(edits), "bad.toml", Path())
    assert str(error.value).splitlines() == message
