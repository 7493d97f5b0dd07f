"""The worst hot spots of a layout's year: bounded by the circuit, worse without diodes and in longer strings."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import Conditions, conditions
from layout.evaluate import most_stressed
from layout.field import blocks, build_field
from layout.hot_spot_hours import _bound, _Pairs, _worst_per_light
from layout.panel_types import load_panel_type
from layout.peaks import PEAK_DOME_RAYS, PeakBlock
from layout.plan import parse_plan
from layout.power.cells import group_map
from layout.power.full_curve import cell_power, tracker_power
from layout.power.glass import transmission_ratio
from layout.power.heat import cell_temperature
from layout.power.hot_spot import hot_spot
from layout.power.panel_model import panel_model
from layout.result import HotSpots, LayoutResult
from layout.run import plan_settings
from layout.strings import longest_string
from layout.year import evaluator_of, layout_year
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
    assert bare is None or bare.taken_up_w < 1.0
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


@pytest.mark.parametrize(
    ("panel", "wiring"), [("mono_glass", 'mode = "panel"'), ("mono_glass", STRING), ("thin_film", STRING)]
)
def test_none_worse_in_all_hours_and_panels(panel: str, wiring: str) -> None:
    """Every panel in every hour at the true sun, every cell, against what was chosen from the year's light."""
    text = f'[panel]\nname = "{panel}"\n' + PLAN.format(pole=POLE, wiring=wiring)
    plan = parse_plan(text, "pole.toml", Path())
    arrangement, settings = arrange(plan, plan.layouts[0]), plan_settings(plan)
    some = conditions_there().picked(np.arange(1, len(conditions_there().albedo), 3))
    peak = layout_year(arrangement, some, settings).peaks
    assert peak is not None
    at = some.every_hour()
    at = replace(at, parts=replace(at.parts, dome_rays=PEAK_DOME_RAYS))
    field, evaluator = build_field(arrangement, some, True, False), evaluator_of(arrangement, some, settings)
    in_series = longest_string(arrangement, evaluator.wiring)
    (block,) = blocks(field, at, transmission_ratio)
    light = PeakBlock.of(block, at, evaluator).electric.astype(np.float32)
    for diodes, chosen in ((None, peak.hot_spots.working), (False, peak.hot_spots.failed)):
        every = [
            hot_spot(each, block.family.groups, evaluator.model, at.air_c, at.wind_m_s, in_series, diodes)
            for each in np.moveaxis(light, 1, 0)
        ]
        cell_c = np.array([np.where(e.taken_up_w > 0.0, e.cell_c, -np.inf) for e in every])
        place, hour = np.unravel_index(int(cell_c.argmax()), cell_c.shape)
        assert chosen is not None
        assert chosen.cell_c == pytest.approx(cell_c[place, hour], abs=0.5)
        assert (chosen.panel, chosen.start) == (block.panels[place], at.sky.sun.start[hour])
        assert chosen.taken_up_w == pytest.approx(every[place].taken_up_w[hour], rel=0.03)


def test_the_rest_of_a_string_may_stand_as_one_panel() -> None:
    """Eleven evenly lit panels beside a shaded one, each by itself and as one that stands for them."""
    model = panel_model(load_panel_type("mono_glass"))
    groups = group_map(model.panel_type, "portrait", *model.panel_type.cells).ravel()
    light = np.full((4, groups.size), 900.0, dtype=np.float32)
    light[:, 7] *= np.array([0.1, 0.3, 0.6, 0.9], dtype=np.float32)
    still = np.zeros(4)
    for diodes in (None, False):
        found = hot_spot(light, groups, model, still + 20.0, still, 12, diodes)
        string = np.full((4, 1, 12, groups.size), 900.0, dtype=np.float32)
        string[:, 0, 0] = light
        warm = cell_temperature(light.mean(axis=1), still + 20.0, still, 25.0, 6.84)
        held = tracker_power(string, groups, model, warm[:, None, None], diodes)
        given = cell_power(light, groups, model, warm, held.part_current[:, 0, 0])
        assert found.taken_up_w == pytest.approx(np.maximum(-given.min(axis=1), 0.0), rel=2e-2, abs=0.05)


@pytest.mark.parametrize(("name", "in_series"), [("mono_glass", 1), ("mono_glass", 12), ("bifacial_glass", 1)])
def test_hardly_a_pattern_of_shade_is_hotter_than_the_bound(name: str, in_series: int) -> None:
    """Random shares of each part's cells in shade, with working and with failed diodes: the order in which panel-hours
    are looked at rests on it."""
    model, rng, n = panel_model(load_panel_type(name)), np.random.default_rng(6), 1200
    cells = model.panel_type.cells[0] * model.panel_type.cells[1]
    parts = model.groups * model.halves
    groups = np.repeat(np.arange(parts), cells // parts)
    dark = rng.random((n, cells)) < (rng.random((n, parts)) ** 3 * rng.integers(0, 2, (n, parts)))[:, groups]
    dark[: n // 2, 0] = True  # one dark cell matters most
    beam, rest = rng.uniform(60.0, 1000.0, n), rng.uniform(20.0, 300.0, n)
    share = np.where(dark, 0.0, 1.0).astype(np.float32)
    weather: Any = SimpleNamespace(air_c=rng.uniform(-5.0, 35.0, n), wind_m_s=rng.uniform(0.5, 6.0, n))
    pairs = _Pairs(np.arange(n), np.zeros(n, int), beam, rest, np.zeros(n), np.zeros(n, bool), share)
    light = (rest[:, None] + beam[:, None] * share).astype(np.float32)
    for diodes in (None, False):
        found = hot_spot(light, groups, model, weather.air_c, weather.wind_m_s, in_series, diodes)
        bound = _bound(pairs, _worst_per_light(model, in_series, diodes), model, weather)
        own = dark[np.arange(n), found.cell] & (found.taken_up_w > 0.0)
        assert own.sum() > 100
        assert np.mean(found.cell_c[own] > bound[own] + 2.0) < 0.01
        assert np.all(found.cell_c[own] < bound[own] + 20.0)
        assert (found.taken_up_w[own] > 10.0).any()
