"""Panels in series over a year: which are, what it costs, and that mounting and wiring lose in the expected order."""

import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import Conditions, conditions
from layout.plan import parse_plan
from layout.result import LayoutResult
from layout.run import plan_settings, run_plan
from layout.strings import longest_string, strings_of, trackers_of
from layout.year import layout_year
from sites.errors import InputError
from sites.weather_files import load_weather

PLAN = """
title = "square panels, rows close together"
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [8.2, 0], [8.2, 6.5], [0, 6.5]]
[panel]
length_m = 1.5
width_m = 1.5
cells = [9, 9]
bypass_groups = 3
group_direction = "length"
pmax_w = 450
vmp_v = 46.0
imp_a = 9.78
voc_v = 55.0
isc_a = 10.35
alpha_isc_pct_per_k = 0.05
beta_voc_pct_per_k = -0.27
gamma_pmax_pct_per_k = -0.34
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 35
azimuth_deg = 0
pitch_m = 2.1
orientation = "{orientation}"
[run]
full_cells = true
[wiring]
{wiring}
"""

WIRINGS = {
    "panel-level": 'mode = "panel"',
    "rows": 'mode = "row"',
    "one long string": 'mode = "list"\n[[wiring.string]]\nlayout = "rows"\npanels = '
    + str([5 * row + column for column in range(5) for row in range(3)]),
}


@cache
def conditions_there() -> Conditions:
    """The weather is the same for all wirings."""
    site = parse_plan(PLAN.format(orientation="landscape", wiring=""), "square.toml", Path()).site
    return conditions(site, load_weather(site))


def wired(orientation: str, wiring: str) -> LayoutResult:
    plan = parse_plan(PLAN.format(orientation=orientation, wiring=wiring), "square.toml", Path())
    return layout_year(arrange(plan, plan.layouts[0]), conditions_there(), plan_settings(plan))


@cache
def year(orientation: str, wiring: str) -> LayoutResult:
    return wired(orientation, WIRINGS[wiring])


def electrical_loss(result: LayoutResult) -> float:
    """Share of the energy of even light that uneven cells and strings cost."""
    return 1.0 - (1.0 - result.uneven_light_loss_fraction) * (1.0 - result.string_mismatch_loss_fraction)


def test_there_are_three_rows_of_five() -> None:
    assert year("landscape", "panel-level").panels == 15


def test_groups_along_the_shadow_lose_less() -> None:
    """A row's shadow lies along the row below. Square panels: the same light either way, only the groups turn."""
    landscape, portrait = year("landscape", "panel-level"), year("portrait", "panel-level")
    assert landscape.irradiation_kwh_per_m2 == pytest.approx(portrait.irradiation_kwh_per_m2, rel=1e-6)
    assert electrical_loss(portrait) > 1.3 * electrical_loss(landscape) > 0.0


@pytest.mark.parametrize("orientation", ["portrait", "landscape"])
def test_order_of_wirings(orientation: str) -> None:
    """The front row is never shaded by others: a string over all rows suffers, one along a row hardly."""
    alone, row, long = (electrical_loss(year(orientation, w)) for w in WIRINGS)
    assert alone < row < long
    assert year(orientation, "panel-level").string_mismatch_loss_fraction == 0.0
    assert row - alone < 0.5 * (long - alone)


@pytest.mark.parametrize("wiring", list(WIRINGS))
def test_ledger_and_panels_add_up(wiring: str) -> None:
    result = year("landscape", wiring)
    factors = {step.label: step.factor for step in result.steps}
    assert factors["Strings in series"] == pytest.approx(1.0 - result.string_mismatch_loss_fraction, rel=1e-12)
    product = np.prod([step.factor for step in result.steps])
    assert product * result.steps[0].kwh == pytest.approx(result.energy_ac_kwh, rel=1e-12)
    assert result.per_panel.energy_dc_kwh.sum() == pytest.approx(result.energy_dc_kwh, rel=1e-6)


def built(wiring: str) -> tuple[list[list[int]], int]:
    plan = parse_plan(PLAN.format(orientation="landscape", wiring=wiring), "square.toml", Path())
    arrangement = arrange(plan, plan.layouts[0])
    return [s.tolist() for s in strings_of(arrangement, plan.wiring)], longest_string(arrangement, plan.wiring)


def test_strings_as_equal_as_can_be() -> None:
    strings, longest = built('mode = "row"\npanels_per_string = 4')
    assert sorted(len(s) for s in strings) == [2, 2, 2, 3, 3, 3]
    assert sorted(panel for string in strings for panel in string) == list(range(15))
    assert longest == 3
    assert built('mode = "row"\npanels_per_string = 1') == ([], 1)
    assert built('mode = "panel"') == ([], 1)


PARALLEL = {
    "a tracker each": 'mode = "list"\n'
    + "".join(f'[[wiring.string]]\nlayout = "rows"\npanels = {[5 * row + c for c in range(5)]}\n' for row in range(3)),
    "on one tracker": 'mode = "row"\nstrings_per_tracker = 3',
    "listed on one tracker": 'mode = "list"\n'
    + "".join(
        f'[[wiring.string]]\nlayout = "rows"\ntracker = 4\npanels = {[5 * row + c for c in range(5)]}\n'
        for row in range(3)
    ),
    "high window": 'mode = "row"\nstrings_per_tracker = 3\ntracker_min_v = 215',
    "low window": 'mode = "row"\nstrings_per_tracker = 3\ntracker_max_v = 210',
}


@cache
def parallel(orientation: str, wiring: str) -> LayoutResult:
    return wired(orientation, PARALLEL[wiring])


@pytest.mark.parametrize("orientation", [pytest.param("portrait", marks=pytest.mark.long), "landscape"])
def test_rows_on_one_tracker_lose_more_than_on_three(orientation: str) -> None:
    """Panels alone give at least what strings give, strings at least what they give in parallel, trackers that hold any
    voltage at least what those with limits give."""
    alone, strings, one = (
        year(orientation, "panel-level"),
        year(orientation, "rows"),
        parallel(orientation, "on one tracker"),
    )
    assert alone.energy_dc_kwh > strings.energy_dc_kwh > one.energy_dc_kwh
    assert 0.0 < one.parallel_mismatch_loss_fraction < 0.05
    assert strings.parallel_mismatch_loss_fraction == 0.0
    assert one.string_mismatch_loss_fraction == pytest.approx(strings.string_mismatch_loss_fraction, abs=1e-5)
    assert one.voltage_window_loss_fraction == 0.0
    for name in ("high window", "low window"):
        held = parallel(orientation, name)
        assert held.energy_dc_kwh < one.energy_dc_kwh
        assert 0.0 < held.voltage_window_loss_fraction < 0.9
        assert held.parallel_mismatch_loss_fraction == pytest.approx(one.parallel_mismatch_loss_fraction, abs=1e-4)


def test_rows_and_lists_wire_alike() -> None:
    by_row, listed = parallel("landscape", "on one tracker"), parallel("landscape", "listed on one tracker")
    assert listed.energy_dc_kwh == pytest.approx(by_row.energy_dc_kwh, rel=1e-9)
    each, rows = parallel("landscape", "a tracker each"), year("landscape", "rows")
    assert each.energy_dc_kwh == pytest.approx(rows.energy_dc_kwh, rel=1e-9)


@pytest.mark.parametrize("wiring", list(PARALLEL))
def test_trackers_in_the_ledger(wiring: str) -> None:
    result = parallel("landscape", wiring)
    factors = {step.label: step.factor for step in result.steps}
    assert (result.frame["dc_kw"] >= 0.0).all()
    assert all(factor <= 1.0 for label, factor in factors.items() if label.startswith(("Strings", "Voltages")))
    lost = 1.0 - factors.get("Strings in parallel on one tracker", 1.0)
    assert lost == pytest.approx(result.parallel_mismatch_loss_fraction, abs=1e-12)
    assert ("Strings in parallel on one tracker" in factors) == (wiring != "a tracker each")
    lost = 1.0 - factors.get("Voltages that trackers hold", 1.0)
    assert lost == pytest.approx(result.voltage_window_loss_fraction, abs=1e-12)
    assert ("Voltages that trackers hold" in factors) == ("window" in wiring)
    product = np.prod([step.factor for step in result.steps])
    assert product * result.steps[0].kwh == pytest.approx(result.energy_ac_kwh, rel=1e-12)
    assert result.per_panel.energy_dc_kwh.sum() == pytest.approx(result.energy_dc_kwh, rel=1e-6)


def test_strings_tell_their_voltage() -> None:
    lines = parallel("landscape", "high window").cautions
    assert any(line.startswith("Strings: 5 panels in series give up to") for line in lines)
    assert any(line.startswith("Trackers:") and "below 215 V" in line for line in lines)
    assert not any(line.startswith(("Strings:", "Trackers:")) for line in year("landscape", "panel-level").cautions)


README_ROWS = {
    "panel-level": "panel-level",
    "along rows": "rows",
    "along rows, all three rows on one tracker": "on one tracker",
    "one long string": "one long string",
}


@pytest.mark.parametrize("orientation", ["portrait", "landscape"])
@pytest.mark.parametrize("words", list(README_ROWS))
def test_the_readme_tells_these_figures(orientation: str, words: str) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    (row,) = re.findall(rf"^\| {orientation}, {words} \| (.*) \|$", readme, flags=re.MULTILINE)
    told = [float(number) for number in re.findall(r"[\d.]+", row)]
    name = README_ROWS[words]
    r = parallel(orientation, name) if name in PARALLEL else year(orientation, name)
    losses = [r.uneven_light_loss_fraction, r.string_mismatch_loss_fraction]
    losses += [r.parallel_mismatch_loss_fraction] * (name in PARALLEL)
    both = 1.0 - np.prod([1.0 - loss for loss in losses])
    assert told == pytest.approx([100 * loss for loss in (*losses, both)], abs=0.06)


def hung(wiring: str) -> list[list[list[int]]]:
    plan = parse_plan(PLAN.format(orientation="landscape", wiring=wiring), "square.toml", Path())
    return [[s.tolist() for s in t] for t in trackers_of(arrange(plan, plan.layouts[0]), plan.wiring)]


def test_trackers_take_strings_of_one_length_as_evenly_as_can_be() -> None:
    trackers = hung('mode = "row"\npanels_per_string = 3\nstrings_per_tracker = 2')
    assert [sorted({len(s) for s in t}) for t in trackers] == [[3], [3], [2], [2]]
    assert sorted(len(t) for t in trackers) == [1, 1, 2, 2]
    assert sorted(p for t in trackers for s in t for p in s) == list(range(15))


def test_unequal_strings_on_one_tracker_are_a_warning() -> None:
    text = '[[wiring.string]]\nlayout = "rows"\ntracker = 0\npanels = '
    wiring = f'mode = "list"\n{text}[0, 1]\n{text}[2, 3, 4]'
    plan = parse_plan(PLAN.format(orientation="landscape", wiring=wiring), "square.toml", Path())
    assert plan.warnings[-1].startswith("wiring: tracker 0 of 'rows' has strings of 2 to 3 panels in parallel")
    assert hung(wiring) == [[[0, 1], [2, 3, 4]]]


FAULTS = {
    'mode = "list"\nstrings_per_tracker = 2\n[[wiring.string]]\nlayout = "rows"\npanels = [0, 1]': "wiring."
    "strings_per_tracker: found 2 with mode 'list'; accepted: 1, or mode 'row'; mode 'list' takes tracker = NUMBER in "
    "each [[wiring.string]]",
    'mode = "row"\nstrings_per_tracker = 41': "wiring.strings_per_tracker: found 41; accepted: a whole number from 1 to 40",
    'mode = "panel"\ntracker_min_v = 150': "wiring.tracker_min_v: found 150 with mode 'panel'; accepted: only with mode "
    "'row' or 'list'",
    'mode = "row"\ntracker_min_v = 500\ntracker_max_v = 400': "wiring.tracker_min_v: found 500; accepted: a number below "
    "tracker_max_v, 400",
    'mode = "row"\ntracker_max_v = 0': "wiring.tracker_max_v: found 0; accepted: a number above 0 to 2000",
    'mode = "list"\n[[wiring.string]]\nlayout = "rows"\ntracker = -1\npanels = [0, 1]': "wiring.string[0].tracker: found "
    "-1; accepted: a whole number from 0 to 9999",
    'mode = "rows"': "wiring.mode: found 'rows'; accepted: 'panel', 'row' or 'list'",
    'mode = "list"': "wiring.mode: found 'list' with 0 [[wiring.string]]; accepted: 'list' with at least one "
    "[[wiring.string]], or none",
    'mode = "row"\npanels_per_string = 0': "wiring.panels_per_string: found 0; accepted: a whole number from 1 to 60",
    'mode = "list"\n[[wiring.string]]\nlayout = "row"\npanels = [0, 1]': "wiring.string[0].layout: found 'row'; "
    "accepted: 'rows' (nearest known)",
    'mode = "list"\n[[wiring.string]]\nlayout = "rows"\npanels = [0, -1]': "wiring.string[0].panels[1]: found -1; "
    "accepted: 1 to 60 whole numbers from 0",
    'mode = "list"\n[[wiring.string]]\nlayout = "rows"\npanels = [0, 15]': "wiring.string[0].panels: found panel 15; "
    "accepted: 0 to 14, the panels of 'rows'",
    'mode = "list"\n[[wiring.string]]\nlayout = "rows"\npanels = [0, 1]\n[[wiring.string]]\nlayout = "rows"\n'
    "panels = [1, 2]": "wiring.string[1].panels: found panel 1 a second time; accepted: each panel once",
}


@pytest.mark.parametrize("wiring", list(FAULTS))
def test_faults(wiring: str) -> None:
    with pytest.raises(InputError) as error:
        built(wiring)
    assert FAULTS[wiring] in str(error.value)


def test_panels_of_unequal_size_in_series() -> None:
    text = """
[site]
name = "corrawindle"
[panel]
name = "thin_film"
[[layout]]
name = "two"
kind = "pieces"
[[layout.panel]]
corner = [0, 0, 0.5]
along = [-1.2, 0, 0]
up = [0, -0.5, 0.33]
[[layout.panel]]
corner = [0, {y}, 0.5]
along = [{x}, 0, 0]
up = [0, -0.5, 0.33]
[wiring]
mode = "list"
[[wiring.string]]
layout = "two"
panels = [0, 1]
"""
    result = run_plan(parse_plan(text.format(x=-1.2, y=-0.7), "two.toml", Path())).layouts["two"]
    assert 0.0 < result.string_mismatch_loss_fraction < 0.2
    mixed = run_plan(parse_plan(text.format(x=-0.9, y=-0.7), "two.toml", Path())).layouts["two"]
    # three quarters of the current of the larger panel, at most Voc/Vmp higher voltage: 1.5 · 1.2 of 1.75 or less
    assert 0.02 < mixed.string_mismatch_loss_fraction < 0.25
    assert mixed.string_mismatch_loss_fraction > result.string_mismatch_loss_fraction
