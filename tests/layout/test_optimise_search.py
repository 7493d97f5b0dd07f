"""Shape search: the grid's best, known truths, what a stopped search keeps, limits that cannot be met."""

import itertools
import json
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from layout.conditions import Conditions, conditions
from layout.optimise.judge import Judge
from layout.optimise.search import Point, Variables, search
from layout.optimise.store import Store, problem_key
from layout.optimise.study import Study, store_path, study
from layout.optimise.write_plan import plan_with, to_toml
from layout.optimise_tables import VaryTable
from layout.plan import Plan, parse_plan
from sites.errors import InputError
from sites.sun import sun_grid
from sites.weather_files import load_weather

PLAN = """
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [26, 0], [26, 24], [0, 24]]
setback_m = 1
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 20
azimuth_deg = 0
pitch_m = 4
panels_high = 2
{booster}
[optimise]
evaluations = {budget}
[[optimise.vary]]
layout = "rows"
key = "pitch_m"
low = {low}
high = 9
step = 0.1
[[optimise.vary]]
layout = "rows"
key = "tilt_deg"
low = 0
high = 50
step = 2
{more}
"""
BOOSTER = """[[layout.booster]]
reflector = "mirror"
place = "aisle"
width_m = 1.0
tilt_deg = 20
gap_m = 0.2
"""
ANGLE = """[[optimise.vary]]
layout = "rows"
key = "booster[0].tilt_deg"
low = 0
high = 48
step = 4
"""


def plan_text(budget: int = 30, more: str = "", booster: str = "", low: float = 2.5) -> str:
    return PLAN.format(budget=budget, more=more, booster=booster, low=low)


def parsed(text: str) -> Plan:
    return parse_plan(text, "plan.toml", Path())


@pytest.fixture(scope="module")
def year() -> Conditions:
    """One hour in seven on a coarse net of the sun's positions: what is best hardly depends on either."""
    site = parsed(plan_text()).site
    whole = conditions(site, load_weather(site))
    few = whole.picked(np.arange(0, len(whole.albedo), 7))
    sun = few.sky.sun
    grid = sun_grid(site.location.latitude_deg, sun.elevation_deg, sun.azimuth_deg, 10.0, 6)
    return replace(few, weights=grid.weights, parts=replace(few.parts, sun=grid.vectors))


def run(text: str, year: Conditions, folder: Path) -> Study:
    plan = parsed(text)
    store = Store(store_path(folder), problem_key(tomllib.loads(text), year))
    return study(plan, plan.layouts[0], year, store)


def searched(text: str, year: Conditions, folder: Path) -> tuple[Point, Judge]:
    plan = parsed(text)
    assert plan.optimise is not None
    store = Store(store_path(folder), problem_key(tomllib.loads(text), year))
    judge = Judge(plan, plan.optimise, plan.layouts[0], year, store, lambda _: None)  # type: ignore[arg-type]
    return search(plan.optimise.vary, judge, plan.optimise.evaluations)[0], judge


def test_search_finds_the_top_of_a_hill_with_two_summits() -> None:
    vary = [VaryTable(layout="a", key=k, low=0.0, high=1.0, step=0.01) for k in "xy"]

    def judge(values: dict[str, float]) -> Point:
        x, y = values["x"], values["y"]
        return Point(values, 1 - (x - 0.83) ** 2 - (y - 0.31) ** 2 + 0.3 * (abs(x - 0.1) < 0.08), 0.0)

    best, points = search(vary, judge, 120)
    assert best.values == {"x": 0.83, "y": 0.31}
    assert len(points) <= 120


def test_area_alone_wants_close_flat_rows_and_panels_alone_wide_steep_ones(year: Conditions, tmp_path: Path) -> None:
    """Known truths of the trade: ground is best used by close rows at low tilt, dear panels by wide and steep ones."""
    free, free_judge = searched(plan_text(), year, tmp_path / "free")
    limited, judge = searched(plan_text(more="[optimise.limits]\npanels = 100"), year, tmp_path / "limited")
    assert free.values["pitch_m"] < 3.0 < limited.values["pitch_m"]
    assert free.values["tilt_deg"] < limited.values["tilt_deg"] - 5.0
    there, everywhere = judge.figures(limited.values), free_judge.figures(free.values)
    assert there is not None
    assert everywhere is not None
    assert there["panels"] <= 100
    assert there["kwh_per_m2_panel"] > everywhere["kwh_per_m2_panel"]


def test_following_the_spacing_rule_blindly_costs_energy(year: Conditions, tmp_path: Path) -> None:
    found = run(plan_text(budget=8), year, tmp_path)
    assert found.winter is not None
    pitch, cost, broken = found.winter
    assert pitch > found.best.values["pitch_m"]
    assert cost > 0.05
    assert broken == ()


def test_limits_that_cannot_be_met_are_named_with_what_is_missing(year: Conditions, tmp_path: Path) -> None:
    more = "[optimise.limits]\naisle_m = 9.5"
    with pytest.raises(InputError) as told:
        run(plan_text(more=more, budget=12), year, tmp_path)
    line = str(told.value)
    assert line.startswith("plan.toml: optimise.limits.aisle_m: found 9.5, and at best ")
    assert "too little; no shape looked at meets it" in line


def test_limits_that_few_shapes_keep_are_met(year: Conditions, tmp_path: Path) -> None:
    """Wide aisles between low rows: only a tilt of 8 or 10 degrees at the widest pitch keeps both, of 66 × 26 shapes."""
    more = "[optimise.limits]\naisle_m = 6.75\nheight_m = 1.0"
    best, judge = searched(plan_text(more=more, budget=25), year, tmp_path)
    assert best.violation <= 0
    assert judge.new <= 25
    assert best.values["pitch_m"] == 9.0
    assert best.values["tilt_deg"] in (8.0, 10.0)


def test_the_best_goes_back_into_a_plan(year: Conditions, tmp_path: Path) -> None:
    text = plan_text(booster=BOOSTER, more=ANGLE, low=4.0)
    found = {"pitch_m": 5.5, "tilt_deg": 32.0, "booster[0].tilt_deg": 24.0}
    again = parsed(to_toml(plan_with(tomllib.loads(text), Path(), {"rows": found})))
    (layout,) = again.layouts
    assert (layout.pitch_m, layout.tilt_deg, layout.booster[0].tilt_deg) == (5.5, 32.0, 24.0)  # type: ignore[union-attr]
    assert again.optimise is None


def test_a_search_goes_on_from_what_is_on_disk(year: Conditions, tmp_path: Path) -> None:
    """As after a process that was killed: some evaluations, the last one half written."""
    text = plan_text(budget=8)
    whole = run(text, year, tmp_path / "whole")
    lines = store_path(tmp_path / "whole").read_text().splitlines(keepends=True)
    kept = len(lines) - 9
    path = store_path(tmp_path / "killed")
    path.parent.mkdir()
    path.write_text("".join(lines[:kept]) + lines[kept][: len(lines[kept]) // 2])
    again = run(text, year, tmp_path / "killed")
    assert again.best == whole.best
    assert again.best_figures == whole.best_figures
    assert again.new == whole.new - kept
    finished = [line for line in path.read_text().splitlines() if line.endswith("}")]
    assert len(finished) == len(lines)
    assert all(json.loads(line)["figures"] for line in finished)


@pytest.mark.long
def test_a_tenth_of_the_grid_is_enough(year: Conditions, tmp_path: Path) -> None:
    """Pitch × tilt × angle of the mirror: within 0.1 % of the best of the whole grid by at most a tenth of its
    evaluations."""
    more = ANGLE + "[optimise.limits]\ndc_capacity_kw = 40"
    text = (
        plan_text(booster=BOOSTER, more=more, low=4.0)
        .replace("step = 0.1", "step = 0.5")
        .replace("step = 2", "step = 5")
        .replace("step = 4", "step = 8")
    )
    plan = parsed(text)
    assert plan.optimise is not None
    variables = Variables(plan.optimise.vary)
    places = list(itertools.product(*(range(int(c) + 1) for c in variables.counts)))
    text = text.replace("evaluations = 30", f"evaluations = {len(places) // 10}")
    best, judge = searched(text, year, tmp_path)
    by_search = judge.new
    points = [judge(variables.values(i)) for i in places]
    kept = [p for p in points if p.violation <= 0]
    top = max(p.score for p in kept)
    print(f"\n{by_search} of {len(places)} evaluations: {best.score:.4f}, the grid's best {top:.4f}")
    assert by_search <= len(places) // 10
    assert 0 < len(kept) < len(points)
    assert best.violation <= 0
    assert best.score >= 0.999 * top
