"""Cell temperature."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout.power.heat import cell_temperature, wind_ratio


def test_wind_slows_toward_the_ground() -> None:
    heights = [0.5, 1.0, 2.0, 5.0, 10.0]
    ratios = [wind_ratio(h) for h in heights]
    assert ratios == sorted(ratios)
    assert ratios[-1] == 1.0
    assert wind_ratio(2.0) == pytest.approx(0.2 ** (1 / 7))


def test_shapes_broadcast() -> None:
    light = np.full((4, 3), 800.0)
    cell = cell_temperature(light, np.arange(4.0)[:, None], np.array([0.0, 2.0, 4.0]))
    assert cell.shape == (4, 3)
    assert np.all(np.diff(cell, axis=1) < 0)
    assert np.all(np.diff(cell, axis=0) == pytest.approx(1.0))


@given(st.floats(0, 3000), st.floats(-40, 50), st.floats(0, 30), st.floats(5, 40), st.floats(0, 10))
def test_never_below_the_air(light: float, air: float, wind: float, u0: float, u1: float) -> None:
    cell = float(cell_temperature(light, air, wind, u0, u1))
    assert cell >= air
    assert cell <= float(cell_temperature(light, air, 0.0, u0, u1))
