"""Words that vary: a booster's place with its depth and angle, sides, faces of towers; into the layout and the plan."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from layout.optimise.search import Point
from layout.optimise.study import _flat
from layout.optimise.write_plan import plan_with, to_toml
from layout.optimise_tables import VaryTable, with_values
from layout.plan import Plan, parse_plan

TEXT = """
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [36, 0], [36, 27], [0, 27]]
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 24
azimuth_deg = 0
pitch_m = 5
[[layout.booster]]
reflector = "mirror"
place = "aisle"
width_m = 0.9
tilt_deg = 15
gap_m = 0.1
[[layout]]
name = "towers"
kind = "towers"
side_m = 1.5
height_m = 2.5
spacing_m = 6
[[layout.booster]]
reflector = "matt"
place = "between"
width_m = 0.8
"""


def plan_of(text: str) -> Plan:
    return parse_plan(text, "plan.toml", Path())


def booster(plan: Plan, number: int, values: dict[str, Any]) -> dict[str, Any]:
    layout: Any = with_values(plan.layouts[number], values)
    return dict(layout.booster[0].model_dump())


def test_a_booster_that_changes_its_place_keeps_its_depth_and_angle() -> None:
    plan = plan_of(TEXT)
    wings = booster(plan, 0, {"booster[0].place": "wings"})
    assert {k: wings[k] for k in ("place", "depth_m", "opening_deg", "reflector")} == {
        "place": "wings", "depth_m": 0.9, "opening_deg": 15.0, "reflector": "mirror",
    }  # fmt: skip
    strips = booster(plan, 0, {"booster[0].width_m": 0.2, "booster[0].place": "strips"})
    assert (strips["place"], strips["width_m"], strips["tilt_deg"]) == ("strips", 0.2, 15.0)
    # What varies under the name of the plan's place goes by the name of the place chosen.
    both = booster(plan, 0, {"booster[0].tilt_deg": 40.0, "booster[0].gap_m": 0.4, "booster[0].place": "wings"})
    assert both["opening_deg"] == 40.0
    assert "gap_m" not in both


def test_words_in_lists() -> None:
    plan = plan_of(TEXT)
    towers: Any = with_values(plan.layouts[1], {"faces": "east, west", "booster[0].faces": "east"})
    assert towers.faces == ("east", "west")
    assert towers.booster[0].faces == ("east",)


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("rows", {"booster[0].place": "wings", "booster[0].width_m": 0.5, "tilt_deg": 30.0}),
        ("rows", {"booster[0].place": "strips", "booster[0].width_m": 0.01, "booster[0].tilt_deg": 20.0}),
        ("towers", {"faces": "south, top", "spacing_m": 7.5}),
    ],
)
def test_the_plan_written_holds_the_layout_that_was_judged(name: str, values: dict[str, Any]) -> None:
    plan = plan_of(TEXT)
    judged = with_values(next(x for x in plan.layouts if x.name == name), values)
    again = plan_of(to_toml(plan_with(tomllib.loads(TEXT), Path(), {name: values})))
    assert next(x for x in again.layouts if x.name == name) == judged


def test_the_best_word_is_told_even_where_it_misses_a_limit_that_places_keep() -> None:
    vary = VaryTable(layout="towers", key="faces", choices=("east", "west"))
    judge: Any = lambda values: Point(values, 1.0, 0.5)  # noqa: E731
    assert _flat(judge, vary, Point({"faces": "west"}, 1.0, 0.5)) == ("west",)
