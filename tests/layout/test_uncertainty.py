"""P50, P90 and differences between layouts from sampling, against closed forms."""

import math
from pathlib import Path

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import conditions
from layout.plan import parse_plan
from layout.result import PlanResult
from layout.run import plan_settings
from layout.uncertainty import REFLECTANCE_FACTORS, RESPONSE_FACTORS, Estimate, Response, energy_draws, uncertainty
from layout.uncertainty_table import UncertaintyTable
from layout.year import layout_year
from sites.errors import InputError
from sites.weather_files import load_weather

Z90 = 1.2815515655446004
"""90 % quantile of the standard normal distribution (Abramowitz & Stegun, table 26.5)."""


def log_width(*pct: float) -> float:
    """Standard deviation of ln of a product of log-normal factors."""
    return math.sqrt(sum(math.log(1.0 + (p / 100.0) ** 2) for p in pct))


def test_p90_of_a_product_of_log_normals() -> None:
    # the product of independent log-normals is log-normal, the variances of the logarithms add (textbook)
    found = uncertainty([Estimate("a", 1000.0, 1000.0, "x")], UncertaintyTable()).layouts["a"]
    assert found.p50_kwh == pytest.approx(1000.0, rel=0.002)
    assert found.p90_kwh == pytest.approx(1000.0 * math.exp(-Z90 * log_width(5, 1, 2, 1)), rel=0.002)
    assert found.wins_fraction == 1.0


def test_one_cause_alone_is_exact() -> None:
    table = UncertaintyTable(light_pct=0.0, panel_pct=0.0, soiling_pct=0.0, reflectance_pct=0.0)
    found = uncertainty([Estimate("a", 500.0, 500.0, "x")], table).layouts["a"]
    assert found.p90_kwh == pytest.approx(500.0 * math.exp(-Z90 * log_width(5)), rel=2e-5)


def test_reflectance_acts_on_the_gain_only() -> None:
    table = UncertaintyTable(weather_pct=0.0, light_pct=0.0, panel_pct=0.0, soiling_pct=0.0, reflectance_pct=10.0)
    found = uncertainty([Estimate("a", 1300.0, 1000.0, "x"), Estimate("b", 1000.0, 1000.0, "x")], table)
    assert found.layouts["a"].p90_kwh == pytest.approx(1000.0 + 300.0 * math.exp(-Z90 * log_width(10)), rel=1e-5)
    assert found.layouts["b"].p90_kwh == 1000.0


def test_what_is_common_cancels_out_of_a_difference() -> None:
    pair = [Estimate("a", 1040.0, 1040.0, "x"), Estimate("b", 1000.0, 1000.0, "x")]
    found = uncertainty(pair, UncertaintyTable())
    width = log_width(1, 1)  # only the light of either layout is left
    (d,) = found.differences
    assert d.p90_fraction == pytest.approx(1.04 * math.exp(-Z90 * width) - 1.0, abs=5e-4)
    assert d.p50_fraction == pytest.approx(0.04, abs=5e-4)
    assert d.p10_fraction == pytest.approx(1.04 * math.exp(Z90 * width) - 1.0, abs=5e-4)
    wins = 0.5 * (1.0 + math.erf(math.log(1.04) / width / math.sqrt(2.0)))
    assert found.layouts["a"].wins_fraction == pytest.approx(wins, abs=0.005)
    assert found.layouts["a"].wins_fraction + found.layouts["b"].wins_fraction == pytest.approx(1.0)


def limited(share_clipped: float) -> Response:
    """A plant whose hours either lie far below its limit or at 1.5 times it; kWh per unit of each."""
    return Response(
        (1.0 - share_clipped) * 1000.0 * RESPONSE_FACTORS[None]
        + share_clipped * 1000.0 * np.minimum(1.0, 1.5 * RESPONSE_FACTORS)[None]
    )


def test_a_limit_keeps_bright_years_down() -> None:
    """Hours at the limit stay there in all but very dull draws, the others follow the light: with a share s of the
    energy at the limit, P90 is s + (1 - s) times that without a limit, exactly as long as 1.5 · P90 is above 1."""
    table = UncertaintyTable()
    z = math.exp(-Z90 * log_width(5, 1, 2, 1))
    for share in (0.0, 0.3, 1.0):
        found = uncertainty([Estimate("a", 1000.0, 1000.0, "x", limited(share))], table).layouts["a"]
        assert found.p50_kwh == pytest.approx(1000.0, rel=0.002)
        assert found.p90_kwh == pytest.approx(1000.0 * (share + (1.0 - share) * z), rel=0.002)
    pair = [Estimate("a", 1000.0, 1000.0, "x", limited(1.0)), Estimate("b", 1000.0, 1000.0, "x")]
    wins = uncertainty(pair, table).layouts["a"].wins_fraction
    assert wins == pytest.approx(0.5, abs=0.01)  # whenever the year is duller than the median


@pytest.mark.parametrize("bare_kw", [0.5, 1.0, 2.0])
def test_reflectors_add_before_the_limit(bare_kw: float) -> None:
    """Hours of ``bare_kw`` to which reflectors add 0.6 kW, of which the inverter passes 1.2 kW. Reflectance alone
    uncertain, by 30 %: each draw gives min(1.2, bare + 0.6 · factor), so that P90 is that of the factor's tenth
    percentile. From AC energies the reflectors would add 0.4 kW at most."""
    table = UncertaintyTable(weather_pct=0.0, light_pct=0.0, panel_pct=0.0, soiling_pct=0.0, reflectance_pct=30.0)
    hourly = bare_kw + 0.6 * REFLECTANCE_FACTORS[:, None]
    response = Response(1000.0 * np.minimum(1.2, hourly * RESPONSE_FACTORS))
    whole, bare = (1000.0 * min(1.2, kw) for kw in (bare_kw + 0.6, bare_kw))
    found = uncertainty([Estimate("a", whole, bare, "x", response)], table).layouts["a"]
    tenth = math.exp(-Z90 * log_width(30))
    assert found.p90_kwh == pytest.approx(1000.0 * min(1.2, bare_kw + 0.6 * tenth), rel=0.003)
    assert found.p50_kwh == pytest.approx(whole, rel=0.003)


def test_a_years_response_is_its_inverters() -> None:
    """One hour's power each way through the plan's own inverter: as it is, and without what reflectors add."""
    plan = parse_plan(BOOSTED, "p.toml", Path())
    found = conditions(plan.site, load_weather(plan.site)).picked(np.arange(0, 4300, 97))
    result = layout_year(arrange(plan, plan.layouts[0]), found, plan_settings(plan))
    assert result.response is not None
    assert result.boost is not None
    assert result.clipped_kwh > 0.0
    assert result.energy_ac_kwh > 1.01 * result.boost.bare_energy_ac_kwh
    one = np.ones(1)
    assert result.response.at(one, one)[0] == pytest.approx(result.energy_ac_kwh, rel=1e-6)
    assert result.response.at(0.0 * one, one)[0] == pytest.approx(result.boost.bare_energy_ac_kwh, rel=1e-6)


BOOSTED = """
[site]
name = "corrawindle"
[inverter]
ac_limit_kw = 0.35
[[layout]]
name = "one"
kind = "pieces"
[[layout.panel]]
corner = [0, 0, 0.5]
along = [-1.1, 0, 0]
up = [0, -1.44, 1.01]
[[layout.reflector]]
type = "mirror"
corner = [-2.1, 0.05, 0.4]
along = [3.1, 0, 0]
up = [0, 2.5, 0.5]
"""


def test_other_panels_differ_by_their_own_draws() -> None:
    same = uncertainty([Estimate("a", 1.0, 1.0, "x"), Estimate("b", 1.0, 1.0, "x")], UncertaintyTable()).differences[0]
    other = uncertainty([Estimate("a", 1.0, 1.0, "x"), Estimate("b", 1.0, 1.0, "y")], UncertaintyTable()).differences[0]
    assert other.p10_fraction == pytest.approx(math.exp(Z90 * log_width(1, 1, 2, 2)) - 1.0, abs=8e-4)
    assert other.p10_fraction > 2.0 * same.p10_fraction


def test_draws_do_not_depend_on_the_other_layouts() -> None:
    a, b = Estimate("a", 900.0, 800.0, "x"), Estimate("b", 700.0, 700.0, "y")
    table = UncertaintyTable(draws=500, seed=7)
    assert np.array_equal(energy_draws([a, b], table)[1], energy_draws([b], table)[0])
    assert not np.array_equal(energy_draws([a], table), energy_draws([a], UncertaintyTable(draws=500, seed=8)))


def test_a_layout_without_panels_has_no_ratio() -> None:
    found = uncertainty([Estimate("a", 10.0, 10.0, "x"), Estimate("none", 0.0, 0.0, "x")], UncertaintyTable(draws=100))
    assert math.isnan(found.differences[0].p50_fraction)
    assert uncertainty([], UncertaintyTable(draws=100)).layouts == {}


def test_a_plans_result(small_result: PlanResult) -> None:
    found = small_result.to_dict()["uncertainty"]
    assert set(found["layouts"]) == set(small_result.layouts)
    for name, values in found["layouts"].items():
        assert values["p50_kwh"] == pytest.approx(small_result.layouts[name].energy_ac_kwh, rel=0.003)
        assert 0.9 < values["p90_kwh"] / values["p50_kwh"] < 0.95
    assert len(found["differences"]) == 3
    assert sum(v["wins_fraction"] for v in found["layouts"].values()) == pytest.approx(1.0)


def test_faults_of_the_table() -> None:
    text = "[uncertainty]\nweather_pct = 51\nlight_pct = -1\ndraws = 10\nseed = -1\nwether_pct = 2\n"
    with pytest.raises(InputError) as error:
        parse_plan(text, "p.toml", Path())
    lines = str(error.value)
    for key in ("weather_pct: found 51", "light_pct: found -1", "draws: found 10", "seed: found -1", "wether_pct: "):
        assert f"uncertainty.{key}" in lines
