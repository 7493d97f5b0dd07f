"""Heat off the panels: collector form, the store's balance, what it does to the panels."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout.arrange import arrange
from layout.conditions import Conditions, conditions
from layout.hot_water import WATER_J_KG_K, collector_heat, store_year
from layout.hot_water_table import HotWaterTable
from layout.plan import parse_plan
from layout.report.outputs import hourly_csv
from layout.result import LayoutResult
from layout.run import plan_settings
from layout.year import layout_year
from sites.errors import InputError
from sites.weather_files import load_weather

TABLE = {"eta0": 0.5, "a1": 8.0, "a2": 0.02, "store_litres": 800.0, "draw_litres_per_day": 400.0}

PLAN = """
title = "A field that heats water"
[site]
name = "tannerfold"
[plot]
boundary = [[0, 0], [9, 0], [9, 6], [0, 6]]
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 30
azimuth_deg = 180
pitch_m = 2.6
"""


def table(**more: float) -> HotWaterTable:
    return HotWaterTable(**(TABLE | more))


@pytest.mark.parametrize(
    ("eta0", "a1", "a2", "light", "warmer", "efficiency"),
    # ISO 9806 / EN 12975 form; numbers are arithmetic: eta0 - a1 x - a2 G x², x = warmer/light.
    [(0.8, 3.5, 0.015, 800.0, 40.0, 0.595), (0.78, 3.5, 0.015, 1000.0, 50.0, 0.5675)],
)
def test_collector_form(eta0: float, a1: float, a2: float, light: float, warmer: float, efficiency: float) -> None:
    kind = table(eta0=eta0, a1=a1, a2=a2)
    assert collector_heat(light, warmer, kind) / light == pytest.approx(efficiency, abs=1e-12)


def test_a_store_that_is_heated_through() -> None:
    """100 kg of water from 10 to 60 °C take 20.93 MJ (c = 4.186 kJ/kgK), 5.814 kWh."""
    needed = 100.0 * WATER_J_KG_K * 50.0
    assert needed == pytest.approx(20.93e6)
    kind = table(eta0=1.0, a1=0.0, a2=0.0, store_litres=100.0, cold_c=10.0, store_loss_w_per_k=0.0)
    hours = 20.93e6 / 3600.0 / 1000.0  # at 1 kW
    light = np.full(8, 500.0)
    _, heat, left = store_year(light, np.zeros(8), np.full(8, 10.0), np.zeros(8), 2.0, kind, hours / 8)
    assert left[0] / 3.6e6 == pytest.approx(5.814, abs=0.001)
    assert heat[:, 0].sum() == pytest.approx(left[0], rel=1e-6)


@given(
    st.floats(1.0, 2000.0), st.floats(5.0, 50_000.0), st.floats(0.0, 20_000.0), st.floats(0.0, 20.0),
    st.floats(20.0, 80.0), st.integers(0, 2**31),
)  # fmt: skip
def test_the_balance_closes_for_any_field_and_store(
    area: float, litres: float, draw: float, loss: float, wanted: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    kind = table(store_litres=litres, draw_litres_per_day=draw, store_loss_w_per_k=loss, set_c=wanted)
    light = np.maximum(0.0, rng.uniform(-600, 1000, 72))
    air = rng.uniform(-15, 35, 72)
    store_c, heat, left = store_year(light, np.full(72, loss), air, np.full(72, draw / 24), area, kind, 1.0)
    collected, drawn, lost = heat.sum(axis=0)
    assert collected - drawn - lost == pytest.approx(left[0], abs=1e-3 * max(collected, drawn, 1e5))
    assert store_c.max() <= kind.most_c + 1e-6
    assert (heat[:, :2] >= 0).all()
    assert (heat[:, 0] <= kind.eta0 * light * area * 3600.0 + kind.a1 * 60.0 * area * 3600.0).all()


@cache
def conditions_there() -> Conditions:
    """A seventh of the hours have light, those between are dark; water is drawn in all."""
    site = parse_plan(PLAN, "dry.toml", Path()).site
    found = conditions(site, load_weather(site))
    return found.picked(np.arange(0, len(found.albedo), 7))


def year(**more: float) -> LayoutResult:
    words = "".join(f"{key} = {value}\n" for key, value in (TABLE | more).items())
    return worked_out("[hot_water]\n" + words)


def worked_out(water: str) -> LayoutResult:
    plan = parse_plan(PLAN + water, "water.toml", Path())
    return layout_year(arrange(plan, plan.layouts[0]), conditions_there(), plan_settings(plan))


@pytest.fixture(scope="module")
def wet() -> LayoutResult:
    """So much is drawn that the store stays cool."""
    return year(draw_litres_per_day=3000.0, set_c=40.0)


def test_a_year_closes_and_cools(wet: LayoutResult) -> None:
    water = wet.hot_water
    assert water is not None
    balance = water.hot_water_kwh + water.store_loss_kwh + water.stored_kwh
    assert balance == pytest.approx(water.collected_kwh, rel=1e-3)
    assert 0.0 < water.hot_water_kwh < water.asked_kwh
    assert water.asked_kwh == pytest.approx(365 * 3000 * WATER_J_KG_K * 28.0 / 3.6e6)
    dry = worked_out("")
    assert dry.hot_water is None
    assert water.dry_energy_ac_kwh == pytest.approx(dry.energy_ac_kwh)
    assert wet.energy_ac_kwh == pytest.approx(water.energy_ac_kwh)
    assert 1.0 < wet.energy_ac_kwh / dry.energy_ac_kwh < 1.1
    assert wet.uneven_light_loss_fraction == pytest.approx(dry.uneven_light_loss_fraction)
    assert np.prod([s.factor for s in wet.steps]) * wet.steps[0].kwh == pytest.approx(wet.energy_ac_kwh)
    assert wet.per_panel.energy_dc_kwh.sum() == pytest.approx(wet.energy_dc_kwh)
    for column, kwh in (("heat_collected_kw", water.collected_kwh), ("heat_drawn_kw", water.hot_water_kwh)):
        assert (wet.frame[column] * wet.frame["hours"]).sum() == pytest.approx(kwh)
        assert column not in dry.frame
    assert "store_c,heat_collected_kw,heat_drawn_kw" in hourly_csv(wet).splitlines()[0]
    assert (wet.frame["store_c"] >= 40.0 - 1e-6).sum() == water.hours_at_set_temperature
    told = wet.to_dict()["hot_water"]
    assert told["electricity_change_kwh"] == pytest.approx(wet.energy_ac_kwh - dry.energy_ac_kwh)
    assert any(line.startswith("Hot water") for line in wet.cautions)


def test_half_the_panels_give_less_heat(wet: LayoutResult) -> None:
    half = year(draw_litres_per_day=3000.0, set_c=40.0, panels_share=0.5).hot_water
    assert half is not None
    assert wet.hot_water is not None
    assert half.hot_water_kwh < wet.hot_water.hot_water_kwh
    assert half.hours_at_set_temperature <= wet.hot_water.hours_at_set_temperature


def test_open_panels_give_no_more_than_their_losses_leave() -> None:
    """Coefficients of a covered collector on panels that lose 25 W/m²K: at 30 K above the air 800 W/m² leave 50."""
    kind = table(eta0=0.8, a1=3.0, a2=0.0, draw_litres_per_day=0.0, store_litres=1e6, cold_c=36.0, set_c=40.0)
    hours = np.ones(3)
    _, heat, _ = store_year(800.0 * hours, 25.0 * hours, 10.0 * hours, 0.0 * hours, 1.0, kind, 1.0)
    assert heat[:, 0] / 3600.0 == pytest.approx(50.0, abs=0.1)
    plan = parse_plan(
        PLAN + "[hot_water]\neta0 = 0.8\na1 = 3\nstore_litres = 500\ndraw_litres_per_day = 100\n", "w", Path()
    )
    assert any("hot_water.a1: 3 W/m²K" in line for line in plan.warnings)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("set_c = 10", "hot_water.set_c: found 10"),
        ("cold_c = 39\nset_c = 30", "hot_water.set_c: found 30; accepted: a temperature above cold_c, 39"),
        ("most_c = 50\nset_c = 60", "hot_water.most_c: found 50; accepted: at least set_c, 60"),
        ("etao = 0.7", "eta0"),
        ("panels_share = 1.2", "hot_water.panels_share: found 1.2"),
    ],
)
def test_wrong_tables_are_one_line(line: str, words: str) -> None:
    text = PLAN + "[hot_water]\neta0 = 0.5\na1 = 8.0\nstore_litres = 500\ndraw_litres_per_day = 100\n" + line + "\n"
    with pytest.raises(InputError) as caught:
        parse_plan(text, "water.toml", Path())
    assert len(caught.value.faults) == 1
    assert words in str(caught.value)
