"""One-diode curves and De Soto's translation against published values."""

import numpy as np
import pytest
from scipy.optimize import brentq

from layout.power.diode import BOLTZMANN_EV_K, DiodeParameters, translate
from layout.power.diode_fit import Datasheet, fit_datasheet, peak_power
from layout.power.peak import best_power, warmth

STANDARD_C = 25.0


def parameters(light: float, saturation: float, rs: float, rsh: float, n: float, cells: int) -> DiodeParameters:
    ideality = n * cells * BOLTZMANN_EV_K * 298.15
    return DiodeParameters(light, saturation, rs, 1.0 / rsh, ideality, 0.0)


def short_circuit_current(p: DiodeParameters) -> float:
    state = translate(p, 1000.0, STANDARD_C)
    diode_v = brentq(lambda v: float(state.at_diode_voltage(np.asarray(v))[1]), -1.0, 20.0, xtol=1e-14)
    return float(state.at_diode_voltage(np.asarray(diode_v))[0])


def open_circuit_voltage(p: DiodeParameters) -> float:
    state = translate(p, 1000.0, STANDARD_C)
    return float(brentq(lambda v: float(state.at_diode_voltage(np.asarray(v))[0]), 1.0, 80.0, xtol=1e-13))


# High-precision solutions published by the pvlib project (tests/data/precise_iv_curves1 of its source
# distribution; mpmath), cases with 72 cells at 298.15 K: Isc, Voc, Pmp.
PRECISE = [
    ((1.0, 5e-10, 0.1, 300.0, 1.01, 72), 0.99966677771328115, 39.748107379869733, 28.714816045639921),
    ((8.0, 5e-10, 0.1, 3000.0, 1.3, 72), 7.999733342024601, 56.49776016428886, 368.1329826858493),
    ((8.0, 3e-8, 1.0, 300.0, 1.3, 72), None, None, 241.0111393255531),
]


@pytest.mark.parametrize(("values", "isc", "voc", "pmp"), PRECISE)
def test_high_precision_single_diode(
    values: tuple[float, ...], isc: float | None, voc: float | None, pmp: float
) -> None:
    p = parameters(*values)  # type: ignore[arg-type]
    assert peak_power(p, 1000.0, STANDARD_C) == pytest.approx(pmp, rel=1e-9)
    fast = best_power(np.ones((1, 1)), warmth(p, np.array([STANDARD_C])), 1, 0.0, steps=30)
    assert float(fast[0]) == pytest.approx(pmp, rel=1e-8)
    if isc is not None and voc is not None:
        assert short_circuit_current(p) == pytest.approx(isc, rel=1e-10)
        assert open_circuit_voltage(p) == pytest.approx(voc, rel=1e-10)


def test_high_precision_maximum() -> None:
    """Current and voltage of the first case's maximum, same source."""
    imp, vmp = 0.84612386091448, 33.936894315455552
    p = parameters(1.0, 5e-10, 0.1, 300.0, 1.01, 72)
    state = translate(p, 1000.0, STANDARD_C)
    current, voltage = (float(x) for x in state.at_diode_voltage(np.asarray(vmp + imp * p.series_ohm)))
    assert (current, voltage) == pytest.approx((imp, vmp), rel=1e-9)
    assert imp * vmp == pytest.approx(peak_power(p, 1000.0, STANDARD_C), rel=1e-9)


def test_villalva_module() -> None:
    """Villalva, Gazoli & Filho, IEEE Trans. Power Electron. 24 (2009) 1198, Table II; the power, 200.143 W,
    from memory. 54 cells, a = 1.3."""
    p = parameters(8.214, 9.825e-8, 0.221, 415.405, 1.3, 54)
    assert peak_power(p, 1000.0, STANDARD_C) == pytest.approx(200.143, rel=1e-3)
    assert open_circuit_voltage(p) == pytest.approx(32.9, rel=1e-3)
    assert short_circuit_current(p) == pytest.approx(8.21, rel=1e-3)


def test_de_soto_fit_and_translation() -> None:
    """De Soto, Klein & Beckman, Solar Energy 80 (2006) 78-88: the parameters of this datasheet as
    transcribed in pvlib's tests; powers elsewhere worked out with independent code."""
    sheet = Datasheet(9.43, 38.3, 8.71, 31.0, 0.005658, -0.13788, 60)
    p = fit_datasheet(sheet).parameters
    assert p.light_current_a == pytest.approx(9.45232, rel=1e-5)
    assert p.saturation_current_a == pytest.approx(3.2246e-10, rel=1e-4)
    assert p.ideality_v == pytest.approx(1.59128, rel=1e-5)
    assert 1.0 / p.shunt_siemens == pytest.approx(125.798, rel=1e-5)
    assert p.series_ohm == pytest.approx(0.297814, rel=1e-5)
    assert short_circuit_current(p) == pytest.approx(9.43, rel=1e-7)
    assert open_circuit_voltage(p) == pytest.approx(38.3, rel=1e-7)
    assert peak_power(p, 1000.0, 25.0) == pytest.approx(8.71 * 31.0, rel=1e-7)
    for light, cell_c, power in [(800.0, 47.0, 196.506), (200.0, 25.0, 53.2812), (1000.0, 50.0, 240.770)]:
        assert peak_power(p, light, cell_c) == pytest.approx(power, rel=1e-5)
