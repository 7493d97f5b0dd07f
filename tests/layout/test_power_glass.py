"""Angular loss of the glass."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pvlib.iam import physical

from layout.power.glass import transmission_ratio


@pytest.mark.parametrize("index", [1.526, 1.3])
def test_table_follows_the_formula(index: float) -> None:
    """Within 2e-6 at float64 against pvlib's evaluation of De Soto et al. (2006), section 3."""
    cosines = np.linspace(1e-4, 1.0, 30011)
    exact = physical(np.degrees(np.arccos(cosines)), n=index)
    assert np.abs(transmission_ratio(cosines, index) - exact).max() < 2e-6


def test_single_precision_keeps_shape_and_kind() -> None:
    cosines = np.linspace(-1.0, 1.0, 60, dtype=np.float32).reshape(3, 4, 5)
    ratio = transmission_ratio(cosines)
    assert ratio.dtype == np.float32
    assert ratio.shape == (3, 4, 5)
    assert np.all(ratio[cosines <= 0] == 0.0)


@given(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0))
def test_rises_with_the_cosine_and_stays_a_share(first: float, second: float) -> None:
    low, high = transmission_ratio(np.array(sorted([first, second])))
    assert 0.0 <= low <= high + 1e-7
    assert high <= 1.0 + 1e-7


def test_surface_reflection_at_60_degrees() -> None:
    """r(0) = 0.0434, r(60°) = 0.093 at n = 1.526: Duffie & Beckman, Solar Engineering of Thermal Processes,
    ex. 5.1.1 (from memory). Absorption 4 /m over 2 mm is added by Snell's and Bouguer's laws."""
    path = 1.0 / np.sqrt(1.0 - (np.sin(np.radians(60.0)) / 1.526) ** 2)
    expected = (1.0 - 0.093) / (1.0 - 0.0434) * np.exp(-4.0 * 0.002 * (path - 1.0))
    assert float(transmission_ratio(np.array([0.5]))[0]) == pytest.approx(expected, abs=1e-3)
