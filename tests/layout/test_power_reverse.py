"""Cells under reverse voltage."""

import numpy as np
import pytest
from pvlib.singlediode import bishop88

from layout.power.reverse import STRIP, WAFER, Reverse, bishop_current, reverse_table


@pytest.mark.parametrize("reverse", [WAFER, STRIP])
def test_bishop_formula(reverse: Reverse) -> None:
    """Against pvlib's evaluation of Bishop, Solar Cells 25 (1988) 73-89."""
    volts = np.linspace(0.98 * reverse.breakdown_v, 0.7, 500)
    current = bishop_current(volts, 8.0, 1e-10, 0.2, 0.027, reverse)
    expected, _, _ = bishop88(
        volts, 8.0, 1e-10, 0.0, 1 / 0.2, 0.027,
        breakdown_factor=reverse.factor, breakdown_voltage=reverse.breakdown_v,
        breakdown_exp=reverse.exponent,
    )  # fmt: skip
    assert current == pytest.approx(expected, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("reverse", [WAFER, STRIP])
def test_table_inverts_the_formula(reverse: Reverse) -> None:
    """Current put through the table and back through the formula returns to 1 %, dark, shaded and bright."""
    table, shunt = reverse_table(reverse), 0.3
    for suns in (0.0, 0.1, 0.4, 1.0, 1.7):
        row, share = table.place(np.full(300, suns, dtype=np.float32))
        excess = np.geomspace(0.01, 30.0, 300).astype(np.float32)
        volts = table.volts(excess / (-shunt * reverse.breakdown_v * share), row).astype(np.float64)
        assert np.all(np.diff(volts) < 0)
        assert np.all((volts <= 0) & (volts > reverse.breakdown_v))
        grown = reverse.factor * (1.0 - volts / reverse.breakdown_v) ** -reverse.exponent
        assert -volts * shunt * (max(suns, reverse.dark_shunt) + grown) == pytest.approx(excess, rel=0.03)
