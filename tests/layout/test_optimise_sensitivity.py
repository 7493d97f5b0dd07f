"""Assumptions moved one at a time: the same energies as plans that assume so from the start."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import Conditions, conditions
from layout.optimise.moves import AIR_K, ALBEDO, GAMMA_PCT_PER_K, REFLECTANCE, clearer, sunnier
from layout.optimise.sensitivity import Moved, Rival, Sensitivity, sensitivity
from layout.optimise.whole import whole_figures
from layout.plan import Plan, parse_plan
from layout.run import plan_settings, run_plan
from layout.year import hourly_ac_kw
from sites.weather_files import load_weather

SITE = """
[site]
latitude_deg = -31.5
longitude_deg = 152.3
elevation_m = 120
time_zone = "Etc/GMT-10"
albedo = {albedo}
[site.climate]
ghi_kwh_per_m2_day = [6.4, 5.7, 5.0, 4.0, 3.1, 2.6, 2.9, 3.8, 4.8, 5.7, 6.2, 6.6]
air_c = [24, 24, 22, 19, 15, 13, 12, 13, 16, 19, 21, 23]
wind_m_s = [3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3]
[plot]
boundary = [[0, 0], [7, 0], [8, 6], [0, 5]]
[losses]
soiling_pct = {soiling}
[[reflector]]
name = "sheet"
reflectance = {reflectance}
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 24
azimuth_deg = 0
pitch_m = 2.2
panel = "{panel}"
[[layout]]
name = "mirrored"
kind = "rows"
tilt_deg = 36
azimuth_deg = 0
pitch_m = 2.9
[[layout.booster]]
reflector = "sheet"
place = "aisle"
width_m = 0.9
tilt_deg = 12
"""
SEARCH = """
[optimise]
{aim}
[[optimise.vary]]
layout = "rows"
key = "pitch_m"
low = 2
high = 4
"""
PRICES = """
[prices]
panel = 90
support_rows = 40
reflector_m2 = 25
discount_pct = 4
"""


def parsed(
    albedo: float = 0.24,
    soiling: float = 3.0,
    reflectance: float = 0.85,
    panel: str = "mono_glass",
    aim: str = 'objective = "energy_ac_kwh"',
    prices: str = "",
) -> Plan:
    text = SITE.format(albedo=albedo, soiling=soiling, reflectance=reflectance, panel=panel)
    return parse_plan(text + SEARCH.format(aim=aim) + prices, "plan.toml", Path())


def year_of(plan: Plan) -> Conditions:
    return conditions(plan.site, load_weather(plan.site))


def told(plan: Plan) -> Sensitivity:
    return sensitivity(plan, [Rival(layout.name, layout) for layout in plan.layouts], year_of(plan))


def energies(plan: Plan) -> list[float]:
    year = year_of(plan)
    hourly = (hourly_ac_kw(arrange(plan, layout), year, plan_settings(plan)) for layout in plan.layouts)
    return [float(kw.sum()) for kw in hourly]


@pytest.fixture(scope="module")
def found() -> Sensitivity:
    return told(parsed())


def of(found: Sensitivity, key: str) -> Moved:
    return next(m for m in found.moved if m.move.key == key)


def test_as_assumed_it_is_what_compare_gives(found: Sensitivity) -> None:
    compared = [r.energy_ac_kwh for r in run_plan(parsed()).layouts.values()]
    assert found.energies_kwh == pytest.approx(compared, rel=1e-9)
    first, second = found.scores
    assert found.lead == pytest.approx(first / second - 1.0)


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [
        ("albedo", {"albedo": 0.24 - ALBEDO}, {"albedo": 0.24 + ALBEDO}),
        ("soiling", {"soiling": 2.0}, {"soiling": 4.0}),
        ("reflectance", {"reflectance": 0.85 - REFLECTANCE}, {"reflectance": 0.85 + REFLECTANCE}),
    ],
)
def test_each_end_is_what_a_plan_gives_that_assumes_it(
    found: Sensitivity, key: str, low: dict[str, float], high: dict[str, float]
) -> None:
    moved = of(found, key)
    for i, values in enumerate((low, high)):
        rows, mirrored = energies(parsed(**values))  # type: ignore[arg-type]
        assert rows / found.energies_kwh[0] - 1.0 == pytest.approx(moved.change[i], abs=1e-9)
        assert rows / mirrored - 1.0 == pytest.approx(moved.leads[i], abs=1e-9)


def test_the_panels_power_is_proportional_and_leaves_the_lead(found: Sensitivity) -> None:
    """Every current 2 % larger is a panel with 2 % larger cells at the same light: power per rated power stays."""
    moved = of(found, "panel_power")
    assert moved.change == pytest.approx((-0.02, 0.02), abs=1e-4)
    assert moved.leads == pytest.approx((found.lead, found.lead), abs=1e-4)


def test_a_steeper_coefficient_loses_by_the_cells_warmth(found: Sensitivity) -> None:
    """Change = shift · (mean cell temperature by energy − 25 °C): between 5 and 25 K in this climate, which has 12 to
    24 °C air in the mean of its months."""
    low, high = of(found, "gamma").change
    for change, sign in ((low, -1), (high, 1)):
        assert 5.0 < sign * change / (GAMMA_PCT_PER_K / 100) < 25.0


def test_more_light_gives_more_energy_but_less_than_in_proportion(found: Sensitivity) -> None:
    """Warmer cells take back some of it."""
    low, high = of(found, "weather").change
    assert 0.04 < high < 0.05
    assert -0.05 < low < -0.04


def test_the_largest_change_stands_first(found: Sensitivity) -> None:
    sizes = [max(abs(c) for c in m.change) for m in found.moved]
    assert sizes == sorted(sizes, reverse=True)
    assert len({m.move.key for m in found.moved}) == len(found.moved)


def test_clearer_skies_bring_the_level_plane_the_same_light() -> None:
    year = year_of(parsed())
    height = np.sin(np.radians(np.maximum(year.sky.sun.elevation_deg, 0.0)))
    for share in (-0.1, 0.1):
        moved = clearer(year, share).sky
        assert moved.beam * height + moved.dome == pytest.approx(year.sky.beam * height + year.sky.dome)
        assert moved.dome.min() >= 0.0
        assert np.sign(share) * (moved.beam - year.sky.beam).min() >= 0.0
    assert sunnier(year, 0.1).sky.beam == pytest.approx(1.1 * year.sky.beam)


def test_prices_move_the_cost_by_formula_and_not_the_energy() -> None:
    found = told(parsed(aim='objective = "cost_per_kwh"', prices=PRICES))
    assert found.energies_kwh == pytest.approx(energies(parsed()), rel=1e-9)
    # Without upkeep all cost is paid at the beginning, so a kWh's cost goes with it: 90 of 130 a panel, rows only.
    changes = of(found, "panel").change
    assert changes == pytest.approx((1 / (1 - 0.2 * 90 / 130) - 1, 1 / (1 + 0.2 * 90 / 130) - 1), rel=1e-9)
    keys = {m.move.key for m in found.moved}
    assert {"panel", "support_rows", "reflector_m2", "discount_pct"} <= keys
    assert not keys & {"land_m2", "support_towers", "upkeep_kw_year"}
    sheets = of(found, "reflector_m2")
    assert sheets.change == pytest.approx((0.0, 0.0))
    assert sheets.leads[0] < found.lead < sheets.leads[1]


def test_another_winner_is_named() -> None:
    """Sheets at just the price at which both layouts cost the same: cheaper ones make the mirrored rows best."""
    plan = parsed(aim='objective = "cost_per_kwh"', prices=PRICES)
    rows, mirrored = (arrange(plan, layout) for layout in plan.layouts)
    rows_kwh, mirrored_kwh = energies(plan)
    assert plan.prices is not None
    per_kwh = 130.0 * len(rows.scene.panels) / rows_kwh
    even = (per_kwh * mirrored_kwh - 130.0 * len(mirrored.scene.panels)) / mirrored.reflector_area_m2
    assert even > 0
    plan = replace(plan, prices=plan.prices.model_copy(update={"reflector_m2": 1.05 * even}))
    moved = of(told(plan), "reflector_m2")
    assert moved.winners == (1, 0)
    assert moved.overturns
    assert moved.leads[0] < 0.0 < moved.leads[1]


def test_two_faces_move_with_their_bifaciality_and_one_alone_has_no_lead() -> None:
    plan = parsed(panel="bifacial_glass")
    alone = sensitivity(plan, [Rival("rows", plan.layouts[0])], year_of(plan))
    low, high = of(alone, "bifaciality").change
    assert low < 0.0 < high
    assert np.isnan(alone.lead)
    assert not any(m.overturns for m in alone.moved)
    assert "reflectance" not in {m.move.key for m in alone.moved}


def limited(hottest_c: float, reflectance: float = 0.85) -> Plan:
    aim = f'objective = "energy_ac_kwh"\nlimits = {{ hottest_cell_c = {hottest_c}, peak_cell_ratio = 50, money = 1e6 }}'
    return parsed(reflectance=reflectance, aim=aim, prices=PRICES)


def mirrored_alone(plan: Plan) -> Sensitivity:
    return sensitivity(plan, [Rival("mirrored", plan.layouts[1])], year_of(plan))


@pytest.mark.long
def test_limits_of_the_best_one_are_tested_again_at_every_end() -> None:
    """The air 2 K warmer makes every cell 2 K warmer (Faiman's model is linear in it); a sheet that reflects more, as
    a plan that says so from the start."""
    whole = whole_figures(limited(90), limited(90).layouts[1], year_of(limited(90)), with_peaks=True)
    plan = limited(whole["hottest_cell_c"] + 1.0)
    found = mirrored_alone(plan)
    assert found.tested == ("hottest_cell_c", "peak_cell_ratio", "money")
    cold, warm = of(found, "air").figures
    assert cold["hottest_cell_c"] == pytest.approx(whole["hottest_cell_c"] - AIR_K, abs=1e-6)
    assert warm["hottest_cell_c"] == pytest.approx(whole["hottest_cell_c"] + AIR_K, abs=1e-6)
    assert warm["peak_cell_ratio"] == pytest.approx(whole["peak_cell_ratio"], rel=1e-9)
    assert of(found, "air").breaks == ((), ("hottest_cell_c",))
    assert of(found, "gamma").breaks == ((), ())
    brighter = limited(90, 0.85 + REFLECTANCE)
    there = whole_figures(brighter, brighter.layouts[1], year_of(brighter), with_peaks=True)
    high = of(found, "reflectance").figures[1]
    assert high["hottest_cell_c"] == pytest.approx(there["hottest_cell_c"], abs=0.05)
    assert high["peak_cell_ratio"] == pytest.approx(there["peak_cell_ratio"], rel=0.01)
    assert of(found, "reflectance").breaks[0] == ()
