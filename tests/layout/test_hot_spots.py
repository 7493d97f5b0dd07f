"""The worst hot spots of a layout's year: bounded by the circuit, worse without diodes and in longer strings."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import Conditions, conditions
from layout.evaluate import most_stressed
from layout.panel_types import load_panel_type
from layout.plan import parse_plan
from layout.result import HotSpots, LayoutResult
from layout.run import plan_settings
from layout.year import layout_year
from sites.weather_files import load_weather

PLAN = """
[site]
name = "corrawindle"
[[layout]]
name = "pole"
kind = "pieces"
[[layout.panel]]
corner = [0, 0, 0.5]
along = [-1.1, 0, 0]
up = [0, -1.44, 1.01]
[[layout.panel]]
corner = [1.12, 0, 0.5]
along = [-1.1, 0, 0]
up = [0, -1.44, 1.01]
{pole}
[wiring]
{wiring}
"""
POLE = """
[[layout.blocker]]
corner = [-0.6, 0.35, 0.05]
along = [0.18, 0, 0]
up = [0, 0, 1.4]
"""
STRING = """mode = "list"
[[wiring.string]]
layout = "pole"
panels = [0, 1]
"""


@cache
def conditions_there() -> Conditions:
    site = parse_plan(PLAN.format(pole="", wiring=""), "pole.toml", Path()).site
    return conditions(site, load_weather(site))


@cache
def year(pole: str, wiring: str) -> LayoutResult:
    plan = parse_plan(PLAN.format(pole=pole, wiring=wiring), "pole.toml", Path())
    return layout_year(arrange(plan, plan.layouts[0]), conditions_there(), plan_settings(plan))


def spots(pole: str = POLE, wiring: str = 'mode = "panel"') -> HotSpots:
    peaks = year(pole, wiring).peaks
    assert peaks is not None
    return peaks.hot_spots


def test_a_working_diode_bounds_the_power() -> None:
    """A cell in reverse sees at most the voltage of the other cells of its group and the diode (textbook; here 20
    cells a half group), and at most the half's current at the year's light flows."""
    found, kind = spots(wiring=STRING).working, load_panel_type("mono_glass")
    assert found is not None
    volts = kind.voc_v / 3 * 1.15 + 0.5  # 1.15: cells at -20 °C against 25 °C
    assert 0.0 < found.taken_up_w < volts * 0.5 * kind.isc_a * 1.3


def test_failed_diodes_are_worse_in_a_string() -> None:
    found = spots(wiring=STRING)
    assert found.working is not None
    assert found.failed is not None
    assert found.failed.taken_up_w > found.working.taken_up_w
    assert found.failed.cell_c > found.working.cell_c


def test_an_unshaded_layout_has_next_to_none() -> None:
    bare = spots(pole="").working
    shaded = spots().failed
    assert bare is None or bare.taken_up_w < 0.5
    assert shaded is not None


def test_cautions_and_plain_numbers() -> None:
    result = year(POLE, STRING)
    assert result.peaks is not None
    found = result.peaks.hot_spots
    limit = result.arrangement.panel_type.max_cell_c
    assert found.failed is not None
    assert bool(found.cautions) == (max(h.cell_c for h in (found.working, found.failed) if h) > limit)
    assert set(found.cautions) <= set(result.cautions)
    plain = result.to_dict()["limits"]["hot_spot"]["failed_diode"]
    assert plain["taken_up_w"] == pytest.approx(found.failed.taken_up_w)
    assert plain["start"].endswith("+00:00")


def test_stress_is_highest_at_half_shade() -> None:
    light = np.full((1, 5, 3), 800.0, dtype=np.float32)
    light[0, :, 1] = [800.0, 640.0, 400.0, 160.0, 0.0]
    stress, panel = most_stressed(light)
    assert panel.tolist() == [2]
    assert stress == pytest.approx([160000.0])
