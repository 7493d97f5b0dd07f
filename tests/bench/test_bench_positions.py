"""Positions on a half-hectare irregular plot with two obstacles: proven gaps and time.

Run alone, on a quiet machine: pytest -m bench tests/bench/test_bench_positions.py -s
Targets on 2 cores: rows to a gap of 0.5 % and 60 sites of towers to 2 %, each solved in 60 s.
"""

import time
from pathlib import Path

import numpy as np
import pytest

from layout.conditions import conditions
from layout.optimise.positions_nets import Limit
from layout.optimise.positions_rows import choose_rows, row_candidates
from layout.optimise.positions_towers import choose_sites, site_candidates, site_net
from layout.plan import parse_plan
from layout.run import plan_settings
from sites.weather_files import load_weather

pytestmark = pytest.mark.bench

HALF_HECTARE = """
[site]
name = "tannerfold"
[plot]
boundary = [[0, 0], [62, -6], [84, 18], [78, 60], [40, 71], [-4, 52]]
setback_m = 2
slope_deg = 4
slope_azimuth_deg = 200
[[plot.obstacle]]
name = "barn"
outline = [[20, 30], [30, 32], [29, 38], [19, 36]]
height_m = 5
[[plot.obstacle]]
name = "tree"
outline = [[60, 40], [64, 40], [64, 44], [60, 44]]
height_m = 9
"""

ROWS = '[[layout]]\nname = "rows"\nkind = "rows"\ntilt_deg = 30\nazimuth_deg = 180\npitch_m = 4.6\npanels_high = 2\n'
TOWERS = '[[layout]]\nname = "t"\nkind = "towers"\nside_m = 2.2\nheight_m = 5.3\nbase_height_m = 0.5\nspacing_m = 9\n'


def ready(layout):
    plan = parse_plan(HALF_HECTARE + layout, "half.toml", Path())
    return plan, plan.layouts[0], conditions(plan.site, load_weather(plan.site)), plan_settings(plan)


def show(what, begin, chosen):
    wall, cpu = time.perf_counter() - begin[0], time.process_time() - begin[1]
    print(
        f"\n{what}: {wall:.1f} s, {cpu:.1f} s of computing, {chosen.kwh:,.0f} kWh, proven gap {chosen.gap_fraction:.3%}"
    )


@pytest.mark.parametrize(("most", "net_m"), [(None, 0.2), (1200, 0.2)])
def test_rows(most, net_m):
    plan, layout, year, settings = ready(ROWS)
    begin = time.perf_counter(), time.process_time()
    found = row_candidates(plan, layout, year, settings, net_m, 0.3)
    show_net = f"{len(found.positions_m)} rows, losses {time.perf_counter() - begin[0]:.1f} s"
    limits = [] if most is None else [Limit("panels", "panels", 1.0, most=most)]
    begin = time.perf_counter(), time.process_time()
    chosen = choose_rows(found, limits, 0.3, gap=0.005, time_limit_s=60.0)
    show(f"{show_net}, at most {most} panels", begin, chosen)
    assert chosen.gap_fraction <= 0.005


@pytest.mark.parametrize("most", [None, 12])
def test_sixty_sites(most):
    plan, layout, year, settings = ready(TOWERS)
    sites = site_net(plan, layout, 7.4)
    sites = sites[np.sort(np.random.default_rng(3).permutation(len(sites))[:60])]
    begin = time.perf_counter(), time.process_time()
    found = site_candidates(plan, layout, year, settings, sites, 9.0)
    show_net = f"{len(sites)} sites, losses {time.perf_counter() - begin[0]:.1f} s"
    limits = [] if most is None else [Limit("towers", "towers", site=np.ones(len(sites)), most=most)]
    begin = time.perf_counter(), time.process_time()
    chosen = choose_sites(found, limits, gap=0.01, time_limit_s=60.0)
    show(f"{show_net}, at most {most} towers", begin, chosen)
    assert chosen.gap_fraction <= 0.02
