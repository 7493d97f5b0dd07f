"""The pattern without end as a plant: its strings, trackers, inverter and store against the same on a large plot."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from layout.arrange.endless import endless_arrangement
from layout.conditions import Conditions, conditions
from layout.endless import EndlessPattern, endless_trackers
from layout.plan import Plan, parse_plan
from layout.run import plan_settings
from layout.strings import trackers_of
from layout.wiring_tables import WiringTable
from layout.year import endless_kwh_per_m2, endless_settings
from sites.conventions import IntArray
from sites.weather_files import load_weather

ROWS = 'kind = "rows"\ntilt_deg = 25\nazimuth_deg = 180\npitch_m = 3.1\npanels_high = 2\norientation = "landscape"'
TOWERS = 'kind = "towers"\nside_m = 1.15\nheight_m = 3.6\nbase_height_m = 0.2\nspacing_m = 4\nfaces = ["east", "south", "west"]'
REACH_M = 9.0


def plan_of(layout: str, more: str = "") -> Plan:
    text = (
        'title = "without end"\n[site]\nname = "tannerfold"\n[plot]\nboundary = [[0, 0], [30, 0], [30, 20], [0, 20]]\n'
    )
    return parse_plan(f'{text}[[layout]]\nname = "x"\n{layout}\n{more}', "endless.toml", Path())


def pattern_of(plan: Plan, reach_m: float = REACH_M) -> EndlessPattern:
    return EndlessPattern(*endless_arrangement(plan, plan.layouts[0], reach_m))


@pytest.fixture(scope="module")
def year() -> Conditions:
    """One hour in eleven."""
    plan = plan_of(ROWS)
    found = conditions(plan.site, load_weather(plan.site))
    return found.picked(np.arange(0, len(found.albedo), 11))


Kind = tuple[tuple[int, ...], ...]


@pytest.mark.parametrize("layout", [ROWS, TOWERS], ids=["rows", "towers"])
@pytest.mark.parametrize("each", [1, 4, 5])
@pytest.mark.parametrize("many", [1, 2, 3])
@pytest.mark.parametrize("least_v", [0.0, 50.0])
def test_trackers_are_those_of_a_large_plant(layout: str, each: int, many: int, least_v: float) -> None:
    """So many units side by side that strings and trackers come out even: each kind of tracker is there as often as
    the pattern without end has it."""
    wiring = WiringTable(mode="row", panels_per_string=each, strings_per_tracker=many, tracker_min_v=least_v)
    pattern, count = pattern_of(plan_of(layout), 5.0), 120
    built, unit = pattern.arrangement, len(pattern.unit)
    lines = built.string[pattern.unit] - built.string[pattern.unit].min()
    plant = replace(
        built,
        string=np.tile(lines, count) + (np.arange(count).repeat(unit) * 1000 if layout is TOWERS else 0),
        scene=replace(built.scene, panels=tuple(built.scene.panels[i] for i in pattern.unit) * count),
        area_scale=np.tile(built.area_scale[pattern.unit], count),
        orientation=np.tile(built.orientation[pattern.unit], count),
    )

    def kind(tracker: tuple[IntArray, ...]) -> Kind:
        return tuple(sorted(tuple(sorted((s % unit).tolist())) for s in tracker))

    on_plot = Counter(kind(t) for t in trackers_of(plant, wiring))
    endless, found = endless_trackers(pattern, wiring), Counter[Kind]()
    for tracker, times in zip(endless.trackers, endless.per_unit, strict=True):
        found[kind(tuple(s - pattern.unit[0] for s in tracker))] += times * count
    if layout is ROWS and not least_v:
        assert not found  # strings of equal panels lose nothing where trackers hold any voltage
        assert all(len(set(sum(k, ()))) == 1 for k in on_plot)
        return
    assert set(found) == set(on_plot)
    assert [found[k] for k in on_plot] == pytest.approx(list(on_plot.values()))


def energy(year: Conditions, layout: str, more: str = "", plot_kw: float | None = None) -> float:
    plan = plan_of(layout, more)
    pattern = pattern_of(plan)
    return endless_kwh_per_m2(pattern, year, plan_settings(plan), plot_kw or 50.0)


def test_rows_lose_by_the_window_only(year: Conditions) -> None:
    alone = energy(year, ROWS)
    row = '[wiring]\nmode = "row"\npanels_per_string = 6\n'
    assert energy(year, ROWS, row + "strings_per_tracker = 3") == alone
    # Six panels of some 31 V each work at 140 to 200 V.
    assert energy(year, ROWS, row + "tracker_min_v = 20\ntracker_max_v = 400") == pytest.approx(alone, rel=2e-3)
    assert energy(year, ROWS, row + "tracker_min_v = 170") < 0.99 * alone
    assert energy(year, ROWS, row + "tracker_min_v = 300") == 0.0


def test_towers_lose_in_series_and_in_parallel(year: Conditions) -> None:
    wiring = '[wiring]\nmode = "row"\nstrings_per_tracker = {}'
    alone, series, parallel = (energy(year, TOWERS, w) for w in ("", wiring.format(1), wiring.format(3)))
    assert parallel < 0.999 * series < series < alone
    assert parallel > 0.5 * alone
    listed = '[wiring]\nmode = "list"\n[[wiring.string]]\nlayout = "x"\npanels = [0, 1]'
    assert energy(year, TOWERS, listed) == alone


def test_neighbours_have_what_the_plot_has(year: Conditions) -> None:
    """AC limit, start and store go by the rated power, so that a plot twice as large with twice as much of each gives
    the same per m²."""
    water = "[hot_water]\neta0 = 0.5\na1 = 9.0\nset_c = 40\nstore_loss_w_per_k = {}\nstore_litres = {}\n"
    more = water + "draw_litres_per_day = {}\n[inverter]\nac_limit_kw = {}\nstart_kw = {}\n"
    sizes = np.array([10.0, 5000.0, 20000.0, 25.0, 0.5])
    one, two = (energy(year, ROWS, more.format(*k * sizes), k * 50.0) for k in (1.0, 2.0))
    assert one == pytest.approx(two, rel=1e-6)
    dry, clipped = energy(year, ROWS), energy(year, ROWS, "[inverter]\nac_limit_kw = 25")
    assert clipped < 0.99 * dry
    assert energy(year, ROWS, "[inverter]\nac_limit_kw = 70") == pytest.approx(dry, rel=0.01)
    cooled = energy(year, ROWS, water.format(10.0, 5000.0) + "draw_litres_per_day = 20000")
    assert 1.0 < cooled / dry < 1.08
    assert energy(year, ROWS, "[inverter]\nstart_kw = 1") < dry


def test_settings_of_a_unit() -> None:
    plan = plan_of(ROWS, "[inverter]\nac_limit_kw = 40\nstart_kw = 2")
    found = endless_settings(plan_settings(plan), 0.01).inverter
    assert (found.ac_limit_kw, found.start_kw) == (pytest.approx(0.4), pytest.approx(0.02))
