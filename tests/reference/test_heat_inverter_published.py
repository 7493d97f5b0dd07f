"""Cell temperature and weighted inverter efficiency against published values."""

import numpy as np
import pytest

from layout.power.heat import cell_temperature
from layout.power.inverter import CALIFORNIA_WEIGHTS, EURO_WEIGHTS, LOADS, weighted_efficiency


@pytest.mark.parametrize(("light", "air", "wind", "expected"), [(800.0, 20.0, 1.0, 45.1256), (1000.0, 25.0, 0.0, 65.0)])
def test_faiman(light: float, air: float, wind: float, expected: float) -> None:
    """Faiman, Prog. Photovolt. 16 (2008) 307-315, U0 = 25, U1 = 6.84, wind as felt by the panel."""
    cell = cell_temperature(light, air, wind, u0=25.0, u1=6.84, height_m=10.0)
    assert float(cell) == pytest.approx(expected, abs=1e-4)


def test_european_weighting() -> None:
    """Weights of EN 50530 (5, 10, 20, 30, 50, 100 %) on .90 .94 .96 .965 .97 .96 give 0.9623."""
    given = {0.05: 0.90, 0.10: 0.94, 0.20: 0.96, 0.25: 0.0, 0.30: 0.965, 0.50: 0.97, 0.75: 0.0, 1.00: 0.96}
    curve = tuple(given[load] for load in LOADS)
    assert weighted_efficiency(curve, EURO_WEIGHTS) == pytest.approx(0.9623, abs=5e-5)


def test_weights_of_the_standard() -> None:
    """European and Californian weights of EN 50530, as transcribed by others; each load's weight is what a curve of 1
    at that load and 0 at the others gives."""
    published = {
        "european": (EURO_WEIGHTS, {0.05: 0.03, 0.1: 0.06, 0.2: 0.13, 0.3: 0.10, 0.5: 0.48, 1.0: 0.20}),
        "californian": (CALIFORNIA_WEIGHTS, {0.1: 0.04, 0.2: 0.05, 0.3: 0.12, 0.5: 0.21, 0.75: 0.53, 1.0: 0.05}),
    }
    for ours, theirs in published.values():
        single = [weighted_efficiency(np.eye(len(LOADS))[i], ours) for i in range(len(LOADS))]
        assert single == pytest.approx([theirs.get(load, 0.0) for load in LOADS])


def test_weights_sum_to_one() -> None:
    assert sum(EURO_WEIGHTS.values()) == pytest.approx(1.0)
    assert sum(CALIFORNIA_WEIGHTS.values()) == pytest.approx(1.0)
