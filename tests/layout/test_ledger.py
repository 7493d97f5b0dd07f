"""The steps from sunlight to socket and the inverter in the year: they multiply out, and what is cut off is told."""

from pathlib import Path

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import conditions
from layout.ledger import electricity
from layout.plan import parse_plan
from layout.plan_tables import InverterTable, LossTable
from layout.report.boost_rows import boost_rows
from layout.report.electric_rows import inverter_rows
from layout.report.numbers import NOTHING
from layout.report.sentences_boost import boost_sentences
from layout.report.water_rows import water_rows
from layout.result import LayoutResult, PlanResult
from layout.run import plan_settings, run_plan
from layout.uncertainty import RESPONSE_FACTORS
from layout.year import layout_year
from sites.weather_files import load_weather

PLAN = """
title = "three panels"
[site]
name = "corrawindle"
[inverter]
ac_limit_kw = 0.8
start_kw = 0.06
[losses]
soiling_pct = 3
[[layout]]
name = "three"
kind = "pieces"
[[layout.panel]]
corner = [0, 0, 0.5]
along = [-1.76, 0, 0]
up = [0, -1.0, 0.45]
[[layout.panel]]
corner = [0, -1.6, 0.5]
along = [-1.76, 0, 0]
up = [0, -1.0, 0.45]
[[layout.panel]]
corner = [4, 0, 0.5]
along = [-1.76, 0, 0]
up = [0, -1.0, 0.45]
"""


@pytest.fixture(scope="module")
def three() -> LayoutResult:
    return run_plan(parse_plan(PLAN, "three.toml", Path())).layouts["three"]


def test_steps_multiply_out(three: LayoutResult) -> None:
    product = np.prod([step.factor for step in three.steps])
    assert product * three.steps[0].kwh == pytest.approx(three.energy_ac_kwh, rel=1e-12)
    for before, after in zip(three.steps[:-1], three.steps[1:], strict=True):
        assert after.kwh == pytest.approx(before.kwh * after.factor, rel=1e-12)


def test_clipped_energy_and_ratio(three: LayoutResult) -> None:
    steps = {step.label: step.kwh for step in three.steps}
    assert three.clipped_kwh > 0.0
    assert three.clipped_kwh == pytest.approx(steps["Inverter"] - steps["AC limit"], rel=1e-9)
    assert (three.frame["clipped_kw"] * three.frame["hours"]).sum() == pytest.approx(three.clipped_kwh)
    assert three.dc_ac_ratio == pytest.approx(three.dc_capacity_kw / 0.8)
    assert three.frame["ac_kw"].max() == pytest.approx(0.8 * 0.995)


def test_response_is_that_of_the_inverter(three: LayoutResult) -> None:
    """More DC power brings ever less AC energy where there is a limit."""
    assert three.response is not None
    assert three.response.at(np.ones(1), np.ones(1))[0] == pytest.approx(three.energy_ac_kwh)
    (energies,) = three.response.kwh  # there are no reflectors
    per_step = np.diff(energies) / np.diff(RESPONSE_FACTORS)
    assert (per_step >= 0.0).all()
    assert per_step[-1] < 0.05 * per_step[2]
    assert energies[-1] < 0.8 * 0.995 * (three.frame["dc_kw"] > 0).sum() * three.frame["hours"].iloc[0]
    assert "response" not in three.to_dict()


def test_nothing_below_the_start(three: LayoutResult) -> None:
    off = three.frame["dc_kw"] < 0.06
    assert three.frame["dc_kw"][off].sum() > 0.0
    assert (three.frame["ac_kw"][off] == 0.0).all()
    assert (three.frame["ac_kw"][~off] > 0.0).all()
    lost = 1.0 - {s.label: s.factor for s in three.steps}["Inverter off below its start"]
    hours = three.frame["hours"]
    assert lost == pytest.approx((three.frame["dc_kw"] * hours)[off].sum() / three.energy_dc_kwh, rel=1e-9)


def test_an_inverter_that_never_starts() -> None:
    """All is nought, nothing is divided by it: reflectors, sheets, hot water and draws included."""
    text = PLAN.replace("ac_limit_kw = 0.8\nstart_kw = 0.06", "start_kw = 500") + (
        '[[layout.reflector]]\ncorner = [-1.76, -1.7, 0.4]\nalong = [1.76, 0, 0]\nup = [0, -0.5, 0.1]\ntype = "mirror"\n'
        "[hot_water]\neta0 = 0.5\na1 = 15\nstore_litres = 300\ndraw_litres_per_day = 0\n"
    )
    plan = parse_plan(text, "never.toml", Path())
    weather = load_weather(plan.site)
    year = conditions(plan.site, weather)
    year = year.picked(np.arange(0, len(year.albedo), 61))
    result = layout_year(arrange(plan, plan.layouts[0]), year, plan_settings(plan))
    assert result.energy_ac_kwh == 0.0
    assert result.start_loss_kwh == pytest.approx(result.energy_dc_kwh)
    assert result.reflected_gain_fraction == 0.0
    assert result.boost is not None
    assert np.isnan(result.boost.break_even_fraction)
    layouts = {"three": result}
    assert water_rows(layouts).rows[0][-1] == NOTHING
    assert "bring nothing to speak of" in boost_sentences(layouts)[0]
    assert boost_rows(layouts).rows[0][2] == "0.0 %"
    whole = PlanResult(plan, layouts, (), ())
    assert whole.uncertainty.layouts["three"].p90_kwh == 0.0
    assert len(inverter_rows(whole).rows) == 1


def test_without_limit_and_start_nothing_is_cut() -> None:
    dc_w = np.linspace(0.0, 5000.0, 11)
    power = electricity(dc_w, 4.0, InverterTable(), LossTable(wiring_pct=0.0, availability_pct=0.0))
    assert np.array_equal(power.started_kw, dc_w / 1000.0)
    assert not power.clipped_kw.any()
    assert (power.ac_kw <= power.dc_kw).all()
