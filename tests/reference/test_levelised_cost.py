"""Levelised cost by the textbook annuity formula, CRF = i / (1 − (1 + i)^−n); numbers worked out by hand."""

import pytest

from layout.optimise.cost import capital_recovery, levelised_cost


@pytest.mark.parametrize(("rate", "years", "expected"), [(0.08, 20, 0.101852), (0.07, 25, 0.085811)])
def test_capital_recovery(rate: float, years: int, expected: float) -> None:
    assert capital_recovery(rate, years) == pytest.approx(expected, abs=5e-7)


@pytest.mark.parametrize(("degradation", "expected"), [(0.0, 0.067207), (0.005, 0.070142)])
def test_levelised_cost(degradation: float, expected: float) -> None:
    """1000 per kW, 15 a year, 1500 kWh in the first year, 7 %, 25 years."""
    assert levelised_cost(1000, 15, 1500, 0.07, 25, degradation) == pytest.approx(expected, abs=5e-7)


def test_without_interest_the_cost_is_money_over_energy() -> None:
    assert levelised_cost(1000, 10, 1000, 0.0, 20) == pytest.approx((1000 + 200) / 20_000)
