"""Money of retrofit parts: textbook annuities worked out by hand, and what [prices] fills in."""

import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout.optimise_tables import PricesTable
from layout.plan import parse_plan
from layout.retrofit.command import table_of
from layout.retrofit.payback import payback, yearly_share
from layout.retrofit_table import RetrofitTable, with_prices

ROOF = """
[site]
name = "corrawindle"
[[layout]]
name = "r"
kind = "roof"
[[layout.plane]]
origin = [0, 0]
height_m = 3
tilt_deg = 20
azimuth_deg = 10
outline = [[0, 0], [5, 0], [5, 4], [0, 4]]
[[layout.plane.grid]]
at = [1, 1]
columns = 2
"""


def filled(prices: PricesTable | None = None, **given: float) -> RetrofitTable:
    return with_prices(RetrofitTable.model_validate(given), prices)


def test_capital_recovery_as_in_textbooks() -> None:
    """CRF(8 %, 20) 0.101852 and CRF(7 %, 25) 0.085811: textbook annuity formula, arithmetic."""
    assert yearly_share(filled(years=20, discount_pct=8)) == pytest.approx(0.101852, abs=5e-7)
    assert yearly_share(filled(years=25, discount_pct=7)) == pytest.approx(0.085811, abs=5e-7)
    assert yearly_share(filled(years=16)) == pytest.approx(1 / 16)


def test_falling_energy_costs_more_a_kwh() -> None:
    """1000 for 1500 kWh in the first year, 25 years, 7 %, falling by 0.5 % a year: the levelised cost without upkeep is
    0.070142 less 15 a year over the levelised 1439.9 kWh (1000 · 0.085811 + 15 over 0.070142; arithmetic)."""
    energy = (1000 * 0.0858105 + 15) / 0.070142
    money = payback(1000.0, 1500.0, filled(price_per_m2=1, years=25, discount_pct=7, degradation_pct=0.5))
    assert money is not None
    assert money.per_kwh == pytest.approx(1000 * 0.0858105 / energy, rel=2e-5)


def test_simple_payback_and_what_is_left() -> None:
    """120 for 40 kWh a year at 0.25: 10 a year, 12 years; over 15 years without discount 30 are left, over 10 years 20
    are wanting."""
    money = payback(120.0, 40.0, filled(price_per_m2=30, price_per_kwh=0.25))
    assert money is not None
    assert (money.first_year, money.years) == pytest.approx((10.0, 12.0))
    assert money.net == pytest.approx(30.0)
    assert money.per_kwh == pytest.approx(120 / (15 * 40))
    short = payback(120.0, 40.0, filled(price_per_m2=30, price_per_kwh=0.25, years=10))
    assert short is not None
    assert short.net == pytest.approx(-20.0)


def test_no_gain_never_pays_and_no_price_tells_nothing() -> None:
    money = payback(50.0, -1.0, filled(price_per_m2=30, price_per_kwh=0.25))
    assert money is not None
    assert money.years == money.per_kwh == math.inf
    assert money.net is not None
    assert money.net < -50
    assert payback(50.0, 10.0, filled(price_per_kwh=0.25)) is None
    untold = payback(50.0, 10.0, filled(price_per_m2=30))
    assert untold is not None
    assert untold.net is untold.years is untold.first_year is None


@given(cost=st.floats(1, 1e5), gain=st.floats(0.1, 1e4), per_kwh=st.floats(0.01, 3), rate=st.floats(0, 20),
       loss=st.floats(0, 5), years=st.integers(1, 60))  # fmt: skip
def test_nothing_is_left_where_a_kwh_is_worth_what_it_costs(
    cost: float, gain: float, per_kwh: float, rate: float, loss: float, years: int
) -> None:
    """Net worth has the sign of worth less levelised cost, and is none where both are equal."""
    terms: dict[str, Any] = {"price_per_m2": 1.0, "years": years, "discount_pct": rate, "degradation_pct": loss}
    money = payback(cost, gain, filled(**terms, price_per_kwh=per_kwh))
    assert money is not None
    assert money.net is not None
    even = payback(cost, gain, filled(**terms, price_per_kwh=money.per_kwh))
    assert even is not None
    assert even.net == pytest.approx(0.0, abs=1e-6 * cost)
    if abs(per_kwh / money.per_kwh - 1) > 1e-6:
        assert (money.net > 0) == (per_kwh > money.per_kwh)


def test_prices_fill_in_what_the_table_leaves_open() -> None:
    prices = PricesTable(reflector_m2=38.0, discount_pct=4.0, years=22, degradation_pct=0.7)
    table = filled(prices, price_per_part=5.0)
    assert (table.price_per_m2, table.years, table.discount_pct, table.degradation_pct) == (38.0, 22, 4.0, 0.7)
    own = filled(prices, price_per_m2=50.0, years=9, discount_pct=0.0)
    assert (own.price_per_m2, own.years, own.discount_pct, own.degradation_pct) == (50.0, 9, 0.0, 0.7)
    assert not filled(PricesTable(panel=100.0)).priced
    assert filled().years == 15


def test_a_plan_with_prices_alone_is_priced() -> None:
    plan = parse_plan(ROOF + "[prices]\nreflector_m2 = 41\nyears = 12\n", "roof.toml", Path("."))
    assert (table_of(plan).price_per_m2, table_of(plan).years) == (41.0, 12)
    asked = "[retrofit]\nobjective = 'money'\nmost_money = 300\nprice_per_kwh = 0.2\n"
    assert parse_plan(ROOF + "[prices]\nreflector_m2 = 41\n" + asked, "roof.toml", Path(".")).retrofit is not None
