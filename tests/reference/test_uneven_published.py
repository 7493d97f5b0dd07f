"""Uneven light and reverse voltage against solved cases."""

import numpy as np
import pytest

from layout.power.diode import BOLTZMANN_EV_K, DiodeParameters, translate
from layout.power.diode_fit import peak_power
from layout.power.peak import best_power, warmth
from layout.power.reverse import Reverse, bishop_current

# Module of Villalva, Gazoli & Filho, IEEE Trans. Power Electron. 24 (2009) 1198, Table II.
MODULE = DiodeParameters(8.214, 9.825e-8, 0.221, 1 / 415.405, 1.3 * 54 * BOLTZMANN_EV_K * 298.15, 0.0)


def maxima(suns: tuple[float, ...], drop: float) -> list[tuple[float, float]]:
    """(current, power) of every maximum of three substrings in series, shunt resistance independent of
    light."""
    common = np.linspace(0.0, 8.3, 40_001)
    total = np.zeros_like(common)
    for g in suns:
        state = translate(MODULE, 1000.0, 25.0)
        diode_v = np.linspace(60.0, -60.0, 60_001)
        current, _ = state.at_diode_voltage(diode_v)
        current = current - state.light_current_a * (1.0 - g)
        volts = diode_v - current * state.series_ohm
        keep = current > -1.0
        total += np.maximum(np.interp(common, current[keep], volts[keep] / 3.0), -drop)
    power = common * total
    peaks = np.flatnonzero((power[1:-1] > power[:-2]) & (power[1:-1] >= power[2:])) + 1
    return [(float(common[i]), float(power[i])) for i in peaks if power[i] > 1.0]


def test_one_dark_substring() -> None:
    """Worked out with independent code: 2/3 exactly with ideal diodes, 0.6477 with 0.5 V."""
    full = peak_power(MODULE, 1000.0, 25.0)
    warm = warmth(MODULE, np.array([25.0]))
    for drop, ratio in ((0.0, 2.0 / 3.0), (0.5, 0.6477)):
        assert max(p for _, p in maxima((1.0, 1.0, 0.0), drop)) / full == pytest.approx(ratio, abs=5e-5)
        fast = float(best_power(np.ones((2, 1)), warm, 3, drop)[0])
        assert fast / full == pytest.approx(ratio, abs=5e-5)


def test_substrings_at_different_light() -> None:
    """Worked out with independent code, ideal diodes."""
    full = peak_power(MODULE, 1000.0, 25.0)
    low, high = maxima((1.0, 1.0, 0.8), 0.0)
    assert low == pytest.approx((6.338, 173.34), rel=3e-4)
    assert high[0] == pytest.approx(7.596, rel=1e-3)
    assert low[1] / full == pytest.approx(0.8661, abs=1e-4)
    three = [power for _, power in maxima((1.0, 0.5, 0.2), 0.0)]
    assert three == pytest.approx([44.13, 72.30, 66.71], rel=2e-4)
    assert max(three) / full == pytest.approx(0.3613, abs=1e-4)


def test_bishop_cell() -> None:
    """Formula of Bishop, Solar Cells 25 (1988) 73-89; numbers from independent code, parameters
    illustrative."""
    reverse = Reverse(breakdown_v=-21.29, factor=0.002, exponent=3.0, dark_shunt=1.0)
    current = float(bishop_current(-4.0, 0.0, 0.0, 1 / 20.0, 0.026, reverse))
    assert current == pytest.approx(0.200746797, rel=1e-8)
    assert -4.0 - 0.005 * current == pytest.approx(-4.001003734, rel=1e-9)
