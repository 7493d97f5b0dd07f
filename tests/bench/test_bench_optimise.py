"""The shape search: one year of a bay, the demo from the plan to the report, the search against a whole grid.

Run alone, on a quiet machine: pytest -m bench tests/bench/test_bench_optimise.py -s
Targets on 2 cores: 50 ms a year of a boosted bay, electricity included; the demo in 2 minutes. Printed are times by the
clock and of computing, of all processes, since only the latter says something on a machine that others use too.
"""

import itertools
import os
import time
import tomllib
from pathlib import Path

import pytest

from layout.conditions import conditions
from layout.optimise.bay import build_bay
from layout.optimise.bay_year import bay_sky, bay_year
from layout.optimise.command import optimise_command
from layout.optimise.judge import Judge
from layout.optimise.search import Variables, search
from layout.optimise.store import Store, problem_key
from layout.optimise.study import store_path
from layout.optimise_tables import with_values
from layout.plan import parse_plan, read_plan
from layout.report.demo import DEMO_PLAN, OPTIMISE_DEMO
from layout.run import plan_settings
from sites.weather_files import load_weather

pytestmark = pytest.mark.bench

REPEATS = 10

VARIED = {"rows": "pitch_m", "upright": "pitch_m", "boosted rows": "pitch_m"}
"""Repeats look at a slightly different shape each, as a search does."""


def computing_s():
    """Processor time of this process and of those it started and that have ended."""
    t = os.times()
    return t.user + t.system + t.children_user + t.children_system


def show(what, begin, each=1):
    wall, cpu = time.perf_counter() - begin[0], computing_s() - begin[1]
    print(f"\n{what}: {wall / each * 1000:,.0f} ms by the clock, {cpu / each * 1000:,.0f} ms of computing")


def now():
    return time.perf_counter(), computing_s()


@pytest.mark.parametrize("name", ["rows", "boosted rows", "upright", "towers", "boosted towers"])
def test_year_of_a_bay(name):
    plan = read_plan(DEMO_PLAN)
    (layout,) = (x for x in plan.layouts if x.name == name)
    settings, sky = plan_settings(plan), bay_sky(conditions(plan.site, load_weather(plan.site)))
    key = VARIED.get(name, "spacing_m")
    made = [with_values(layout, {key: getattr(layout, key) + 0.05 * i}) for i in range(REPEATS + 1)]
    bay_year(plan, build_bay(plan, made[-1]), sky, settings)
    begin = now()
    bays = [build_bay(plan, m) for m in made[:-1]]
    show(f"{name}: a bay built", begin, REPEATS)
    begin = now()
    for bay in bays:
        assert bay_year(plan, bay, sky, settings)["energy_ac_kwh"] > 0
    show(f"{name}: its year", begin, REPEATS)


def test_demo(tmp_path):
    begin = now()
    found = optimise_command(read_plan(OPTIMISE_DEMO), OPTIMISE_DEMO.read_text(encoding="utf-8"), tmp_path)
    show("demo with report and assumptions moved", begin)
    assert "optimise.html" in found.files


def test_search_against_a_grid(tmp_path):
    """Pitch × tilt × angle of the demo's boosted rows on a coarser net, by a tenth of its evaluations."""
    text = (
        OPTIMISE_DEMO.read_text(encoding="utf-8")
        .replace("step = 0.05", "step = 0.5")
        .replace("step = 1\n", "step = 5\n")
    )
    plan = parse_plan(text, "plan.toml", Path())
    year = conditions(plan.site, load_weather(plan.site))
    vary = [v for v in plan.optimise.vary if v.layout == "boosted rows"]
    store = Store(store_path(tmp_path), problem_key(tomllib.loads(text), year))
    judge = Judge(plan, plan.optimise, plan.layouts[1], year, store, lambda _: None)
    net = Variables(vary)
    places = list(itertools.product(*(range(int(c) + 1) for c in net.counts)))
    begin = now()
    best, points = search(vary, judge, len(places) // 10)
    show(f"search, {judge.new} years", begin)
    begin = now()
    top = max((p for p in (judge(net.values(i)) for i in places) if p.violation <= 0), key=lambda p: p.score)
    show(f"grid, {len(places)} shapes", begin)
    print(
        f"best by {len(points)} of {len(places)}: {best.score:.4f}, {best.values}; grid: {top.score:.4f}, {top.values}"
    )
    assert best.score >= 0.999 * top.score
