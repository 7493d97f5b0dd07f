"""Speed of a year: one hectare of rows, the demo, beam coefficients against tracing every hour, equal surroundings.

Run alone, on a machine that does nothing else: pytest -m bench tests/bench/test_bench_year.py -s
Targets on 2 cores and 2 GB: a hectare in 6 s, the demo in 15 s, beam coefficients 6 times faster than every hour.
"""

import json
import os
import platform
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import conditions
from layout.field import build_field
from layout.light.places import PlaceNet
from layout.light.receive import Receiver
from layout.plan import parse_plan
from sites.weather_files import load_weather

pytestmark = pytest.mark.bench

HECTARE = """
title = "One hectare of rows"
[site]
name = "tannerfold"
[plot]
boundary = [[0, 0], [100, 0], [100, 100], [0, 100]]
setback_m = 5.0
[run]
repetition = {repetition}
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 25
azimuth_deg = 180
pitch_m = 4.6
clearance_m = 0.7
panels_high = 2
orientation = "landscape"
"""

MEASURED = """
import json, resource, sys, time
from pathlib import Path
def cpu_s():
    both = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in both)
def peak_kb():
    status = Path("/proc/self/status")  # ru_maxrss would count the program that began this one
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return int(status.read_text().split("VmHWM:")[1].split()[0])
wall, cpu = time.perf_counter(), cpu_s()
{work}
print(json.dumps({{
    "wall_s": time.perf_counter() - wall, "cpu_s": cpu_s() - cpu, "peak_mb": peak_kb() / 1024, "told": told,
}}))
"""

YEAR = """
from layout.plan import parse_plan
from layout.run import run_plan
r = run_plan(parse_plan({plan!r}, "hectare.toml", Path("."))).layouts["rows"]
told = dict(panels=r.panels, traced=r.traced_panels, hours=len(r.frame), ac_kwh=r.energy_ac_kwh)
"""

COMPARE = """
from layout.cli import main
import contextlib, io, tempfile
with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(io.StringIO()):
    told = main(["compare", "--out", folder])
"""


def hectare(repetition):
    return HECTARE.format(repetition=str(repetition).lower())


def measured(work):
    """Work done in a process of its own: seconds on the clock and of both cores, most memory held."""
    done = subprocess.run(
        [sys.executable, "-c", MEASURED.format(work=work)], capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout.splitlines()[-1])


def show(name, found):
    machine = f"{os.cpu_count()} cores, {platform.machine()}, load {os.getloadavg()[0]:.1f}"
    print(
        f"\n{name}: {found['wall_s']:.1f} s on the clock, {found['cpu_s']:.1f} s of computing, at most "
        f"{found['peak_mb']:.0f} MB ({machine}); {found['told']}"
    )


@pytest.mark.parametrize("repetition", [True, False])
def test_a_hectare_of_rows(benchmark, repetition):
    work = YEAR.format(plan=hectare(repetition))
    found = benchmark.pedantic(measured, args=(work,), rounds=3 if repetition else 1, warmup_rounds=int(repetition))
    show(f"hectare, equal surroundings {'shared' if repetition else 'not shared'}", found)
    assert 1900 < found["told"]["panels"] < 2200
    assert found["told"]["hours"] == 8760
    assert found["peak_mb"] < 2048


BOOSTED = """
title = "One hectare of rows, each panel with a spreader"
[site]
name = "tannerfold"
[plot]
boundary = [[0, 0], [100, 0], [100, 100], [0, 100]]
[run]
repetition = {repetition}
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 30
azimuth_deg = 180
pitch_m = 3.15
clearance_m = 0.5
panel_gap_m = 1.25
orientation = "landscape"
[[layout.booster]]
reflector = "one_way_spreader"
place = "wings"
sides = ["lower"]
depth_m = 1.0
opening_deg = 65
"""


BOOSTED_YEAR = """
from layout.plan import parse_plan
from layout.run import run_plan
r = run_plan(parse_plan({plan!r}, "hectare.toml", Path("."))).layouts["rows"]
told = dict(
    panels=r.panels, traced=r.traced_panels, hours=len(r.frame), ac_kwh=r.energy_ac_kwh,
    gain_pct=100 * r.reflected_gain_fraction, brought=r.boost.brought_kwh_per_m2,
    gap_pct=100 * r.boost.ledger.gap_fraction, light=r.irradiation_kwh_per_m2,
    each=r.per_panel.front_kwh_per_m2.tolist(),
)
"""

SHARED_AC, SHARED_LIGHT, SHARED_PANEL, SHARED_BROUGHT = 0.003, 0.001, 0.005, 0.005
"""What sharing may change on the boosted hectare: AC energy, the field's light, any panel's light, light brought. The
README tells what it does change."""


def test_a_boosted_hectare(benchmark):
    """Both ways in one run, held against each other. Wanted on two cores: 20 s where panels with equal surroundings
    share a tracing, 90 s where none do."""
    runs = {}
    for shared in (True, False):
        work = BOOSTED_YEAR.format(plan=BOOSTED.format(repetition=str(shared).lower()))
        found = benchmark.pedantic(measured, args=(work,), rounds=1) if shared else measured(work)
        each = np.array(found["told"].pop("each"))
        show(f"boosted hectare, equal surroundings {'shared' if shared else 'not shared'}", found)
        assert 950 < found["told"]["panels"] == len(each) < 1100
        assert found["told"]["hours"] == 8760
        assert found["peak_mb"] < 2048
        runs[shared] = found["told"], each
    (told, each), (exact, alone) = runs[True], runs[False]
    ac, light, brought = (told[key] / exact[key] - 1.0 for key in ("ac_kwh", "light", "brought"))
    panel = float(np.abs(each / alone - 1.0).max())
    print(f"sharing is off by {ac:+.2%} in AC, {light:+.2%} in light, {brought:+.2%} in light brought, any panel's "
          f"light at most {panel:.2%}")  # fmt: skip
    assert exact["traced"] == exact["panels"] > told["traced"]
    assert abs(ac) < SHARED_AC
    assert abs(light) < SHARED_LIGHT
    assert panel < SHARED_PANEL
    assert abs(brought) < SHARED_BROUGHT


def test_the_demo(benchmark):
    found = benchmark.pedantic(measured, args=(COMPARE,), rounds=1, warmup_rounds=1)
    show("demo compare, report written", found)
    assert found["told"] == 0
    assert found["peak_mb"] < 2048


def test_beam_coefficients_against_every_hour(benchmark):
    """Straight beam on the same points, every panel traced itself: grid of sun directions, and each sun-up hour."""
    plan = parse_plan(hectare(False), "hectare.toml", Path("."))
    arrangement = arrange(plan, plan.layouts[0])
    year = conditions(plan.site, load_weather(plan.site))
    field = build_field(arrangement, year, full_cells=False, repetition=False)
    (family,) = field.families
    assert len(family.traced) == len(field.rectangles)
    some = field.rectangles[np.arange(0, len(field.rectangles), 8)]
    points, normal = family.net.place(some), some.normal[0]

    def beam(c):
        nothing = PlaceNet(1.0, 1.0)
        return Receiver(field.engine, c.parts, points, normal, (np.ones_like,), nothing, None).straight()

    beam(year)
    both = []
    for c in (year, year.every_hour()):
        cpu, wall = time.process_time(), time.perf_counter()
        light = beam(c)
        both.append((time.process_time() - cpu, time.perf_counter() - wall, len(c.parts.sun), light))
    (cpu, wall, suns, grid), (cpu_all, wall_all, hours, each) = both
    benchmark.extra_info["times"] = cpu_all / cpu
    benchmark.pedantic(beam, args=(year,), rounds=3)
    print(
        f"\nbeam from {len(points)} points: {suns} directions {wall:.2f} s ({cpu:.2f} s of computing), {hours} hours "
        f"{wall_all:.2f} s ({cpu_all:.2f} s): {wall_all / wall:.1f} times ({cpu_all / cpu:.1f}); "
        f"at most {hours / suns:.1f}"
    )
    year_beam = year.sky.beam.astype(np.float32)
    by_grid = (np.asarray(year.weights.T @ year.sky.beam)).astype(np.float32) @ grid
    assert by_grid.mean() == pytest.approx((year_beam @ each).mean(), rel=2e-3)
