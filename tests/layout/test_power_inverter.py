"""Inverter."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout.power.inverter import LOADS, ac_power, efficiency

CURVE = (0.935, 0.958, 0.971, 0.974, 0.976, 0.979, 0.978, 0.974)


def test_efficiency_is_the_curve_at_its_loads() -> None:
    assert efficiency(np.array(LOADS), CURVE) == pytest.approx(CURVE)
    assert float(efficiency(np.array(1.4), CURVE)) == CURVE[-1]


def test_no_limit_no_clipping() -> None:
    dc = np.linspace(0.0, 12.0, 50)
    ac, clipped = ac_power(dc, 10.0, None, CURVE)
    assert np.all(clipped == 0.0)
    assert ac[-1] == pytest.approx(12.0 * CURVE[-1])


@given(st.lists(st.floats(0, 50), min_size=1, max_size=20), st.floats(1, 30))
def test_limit_splits_what_arrives(dc: list[float], limit: float) -> None:
    """AC plus clipped is what an unlimited inverter of the same rating gives; AC stays within the limit and
    DC."""
    power = np.array(dc)
    ac, clipped = ac_power(power, limit, limit, CURVE)
    free, _ = ac_power(power, limit, None, CURVE)
    assert np.all((ac >= 0) & (ac <= limit) & (ac <= power))
    assert np.all(clipped >= 0)
    assert ac + clipped == pytest.approx(free)


def test_output_rises_with_input_without_a_jump() -> None:
    ac, _ = ac_power(np.linspace(0.0, 12.0, 120_001), 10.0, None, CURVE)
    assert np.all(np.diff(ac) >= 0)
    assert np.diff(ac).max() < 1.5e-4


def test_inverter_stays_off_below_its_start() -> None:
    ac, _ = ac_power(np.array([0.05, 0.2]), 10.0, None, CURVE, start_kw=0.1)
    assert ac[0] == 0.0
    assert ac[1] > 0.0
