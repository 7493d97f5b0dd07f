"""Shape search: the grid's best, known truths, what a stopped search keeps, limits that cannot be met."""

import itertools
import json
import os
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

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
from sites.weather_files import load_weather

PLAN = """
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [38, 0], [38, 31], [0, 31]]
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
    site = parsed(plan_text()).site
    return conditions(site, load_weather(site))


def run(text: str, year: Conditions, folder: Path) -> Study:
    plan = parsed(text)
    store = Store(store_path(folder), problem_key(tomllib.loads(text), year))
    return study(plan, plan.layouts[0], year, store)


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
    free = run(plan_text(), year, tmp_path)
    limited = run(plan_text(more="[optimise.limits]\npanels = 200"), year, tmp_path)
    assert free.best.values["pitch_m"] < 3.0 < limited.best.values["pitch_m"]
    assert free.best.values["tilt_deg"] < limited.best.values["tilt_deg"]
    assert limited.best_figures["panels"] <= 200
    assert limited.best_figures["kwh_per_m2_panel"] > free.best_figures["kwh_per_m2_panel"]
    assert free.winter is not None
    assert free.winter[1] > 0.05


def test_limits_that_cannot_be_met_are_named_with_what_is_missing(year: Conditions, tmp_path: Path) -> None:
    more = "[optimise.limits]\naisle_m = 9.5"
    with pytest.raises(InputError) as told:
        run(plan_text(more=more, budget=12), year, tmp_path)
    line = str(told.value)
    assert line.startswith("plan.toml: optimise.limits.aisle_m: found 9.5, and at best ")
    assert "too little; no shape looked at meets it" in line


def test_the_best_goes_back_into_a_plan(year: Conditions, tmp_path: Path) -> None:
    text = plan_text(booster=BOOSTER, more=ANGLE, low=4.0)
    found = {"pitch_m": 5.5, "tilt_deg": 32.0, "booster[0].tilt_deg": 24.0}
    again = parsed(to_toml(plan_with(tomllib.loads(text), Path(), {"rows": found})))
    (layout,) = again.layouts
    assert (layout.pitch_m, layout.tilt_deg, layout.booster[0].tilt_deg) == (5.5, 32.0, 24.0)  # type: ignore[union-attr]
    assert again.optimise is None


SCRIPT = """
import sys, tomllib
from pathlib import Path
from layout.conditions import conditions
from layout.optimise.store import Store, problem_key
from layout.optimise.study import store_path, study
from layout.plan import parse_plan
from sites.weather_files import load_weather
text, folder = Path(sys.argv[1]).read_text(), Path(sys.argv[2])
plan = parse_plan(text, "plan.toml", Path())
year = conditions(plan.site, load_weather(plan.site))
study(plan, plan.layouts[0], year, Store(store_path(folder), problem_key(tomllib.loads(text), year)))
"""


def test_a_killed_search_goes_on(year: Conditions, tmp_path: Path) -> None:
    text = plan_text(budget=30)
    whole = run(text, year, tmp_path / "whole")
    (tmp_path / "plan.toml").write_text(text)
    folder = tmp_path / "killed"
    child = subprocess.Popen([sys.executable, "-c", SCRIPT, str(tmp_path / "plan.toml"), str(folder)])
    path, deadline = store_path(folder), time.monotonic() + 120
    while time.monotonic() < deadline and (not path.exists() or path.read_bytes().count(b"\n") < 6):
        time.sleep(0.02)
    os.kill(child.pid, signal.SIGKILL)
    child.wait()
    kept = len(path.read_text().splitlines())
    assert kept >= 6
    with path.open("a") as file:
        file.write('{"key": "cut of')
    again = run(text, year, folder)
    assert again.best == whole.best
    assert again.new <= whole.new - 6
    assert all(json.loads(line)["figures"] for line in path.read_text().splitlines() if line.endswith("}"))


@pytest.mark.long
def test_a_tenth_of_the_grid_is_enough(year: Conditions, tmp_path: Path) -> None:
    """Pitch × tilt × angle of the mirror: within 0.1 % of the best of the whole grid by at most a tenth of its
    evaluations."""
    more = ANGLE + "[optimise.limits]\ndc_capacity_kw = 80"
    text = (
        plan_text(booster=BOOSTER, more=more, low=4.0)
        .replace("step = 0.1", "step = 0.5")
        .replace("step = 2", "step = 5")
        .replace("step = 4", "step = 8")
    )
    plan = parsed(text)
    assert plan.optimise is not None
    variables = Variables(plan.optimise.vary)
    store = Store(store_path(tmp_path / "grid"), problem_key(tomllib.loads(text), year))
    judge = Judge(plan, plan.optimise, plan.layouts[0], year, store, lambda _: None)  # type: ignore[arg-type]
    places = list(itertools.product(*(range(int(c) + 1) for c in variables.counts)))
    top = max(p.score for p in (judge(variables.values(i)) for i in places) if p.violation <= 0)
    best, points = search(plan.optimise.vary, judge, len(places) // 10)
    print(f"\n{len(points)} of {len(places)} evaluations: {best.score:.4f}, the grid's best {top:.4f}")
    assert best.violation <= 0
    assert best.score >= 0.999 * top
