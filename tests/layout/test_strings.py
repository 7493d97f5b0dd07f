"""Panels in series over a year: which are, what it costs, and that mounting and wiring lose in the expected order."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from layout.arrange import arrange
from layout.plan import parse_plan
from layout.result import LayoutResult
from layout.run import run_plan
from layout.strings import longest_string, strings_of
from sites.errors import InputError

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
def year(orientation: str, wiring: str) -> LayoutResult:
    text = PLAN.format(orientation=orientation, wiring=WIRINGS[wiring])
    return run_plan(parse_plan(text, "square.toml", Path())).layouts["rows"]


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


FAULTS = {
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


def test_thin_film_strings_follow_cells_and_need_equal_panels() -> None:
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
    with pytest.raises(InputError, match="equal panels in a string where the type has no bypass diodes"):
        run_plan(parse_plan(text.format(x=-0.9, y=-0.7), "two.toml", Path()))
