"""Compiled voltages of cells and of strings of cells, against the explicit formulas."""

import numpy as np
import pytest

from layout.panel_types import load_panel_type
from layout.power.cell_kernel import LANES
from layout.power.cell_volts import Cells, diode_volts, part_volts, prepare_cells
from layout.power.diode import translate
from layout.power.panel_model import panel_model
from layout.power.reverse import bishop_current, reverse_of, reverse_table


def some_cells(name: str, n: int) -> tuple[Cells, np.ndarray, np.ndarray, np.ndarray]:
    """Three points of two parts in n hours, a point of the second part filled up; light, temperature, currents."""
    model, rng = panel_model(load_panel_type(name)), np.random.default_rng(5)
    light = rng.uniform(0.5, 1200.0, (3, 2, n)).astype(np.float32)
    cell_c = rng.uniform(-20.0, 90.0, (2, n)).astype(np.float32)
    weight = np.array([[1.0, 2.0], [3.0, 0.5], [1.5, 0.0]], dtype=np.float32)
    cells = prepare_cells(light, cell_c, weight, model.cell_diode, reverse_table(reverse_of(model.panel_type)))
    current = (rng.uniform(-0.3, 1.1, (4, 2, n)) * model.cell_diode.light_current_a).astype(np.float32)
    return cells, light, cell_c, current


@pytest.mark.parametrize("name", ["mono_glass", "thin_film"])
def test_current_returns_from_the_formulas(name: str) -> None:
    """De Soto et al., Solar Energy 80 (2006) 78-88, ahead; Bishop, Solar Cells 25 (1988) 73-89, behind."""
    cells, light, cell_c, current = some_cells(name, 300)
    model = panel_model(load_panel_type(name))
    diode, reverse = model.cell_diode, reverse_of(model.panel_type)
    state = translate(diode, np.asarray(light, dtype=np.float64), np.asarray(cell_c, dtype=np.float64))
    for through in current:
        volts = diode_volts(cells, through).astype(np.float64)
        ahead = through <= cells.full
        found = state.at_diode_voltage(volts)[0]
        size = diode.light_current_a
        assert np.abs(found - through)[ahead].max() < 2e-4 * size
        leak = np.maximum(light / 1000.0, reverse.dark_shunt) * diode.shunt_siemens
        # the factor goes with the shunt at 1000 W/m²
        grown = reverse.factor * (1.0 - volts / reverse.breakdown_v) ** -reverse.exponent * diode.shunt_siemens
        behind = state.light_current_a - volts * (leak + grown)
        assert (behind - state.light_current_a)[~ahead] == pytest.approx((through - cells.full)[~ahead], rel=0.03)
        assert 0.1 < ahead.mean() < 0.9


def test_behind_is_bishops_curve_at_full_light() -> None:
    """At 1000 W/m² the table's row is that of the published formula itself."""
    model = panel_model(load_panel_type("mono_glass"))
    diode, reverse = model.cell_diode, reverse_of(model.panel_type)
    n = 50
    one = np.ones((1, 1), dtype=np.float32)
    cells = prepare_cells(
        np.full((1, 1, n), 1000.0, dtype=np.float32), np.full((1, n), 25.0), one, diode, reverse_table(reverse)
    )
    through = (diode.light_current_a * np.linspace(1.02, 1.5, n)).astype(np.float32)[None]
    volts = diode_volts(cells, through)[0, 0].astype(np.float64)
    back = bishop_current(
        volts, diode.light_current_a, diode.saturation_current_a, diode.shunt_siemens, diode.ideality_v, reverse
    )
    assert back == pytest.approx(through[0], rel=2e-3)


@pytest.mark.parametrize("n", [1, LANES - 1, LANES, LANES + 1])
def test_parts_are_their_cells_summed(n: int) -> None:
    """Whatever number of hours is worked on at once; filled-up points count for nothing."""
    cells, _, _, current = some_cells("mono_glass", n)
    found = part_volts(cells, current)
    for through, volts in zip(current, found, strict=True):
        each = diode_volts(cells, through).astype(np.float64) - cells.series * through
        expected = (each * cells.weight[:, :, None]).sum(axis=0)
        assert volts == pytest.approx(expected, rel=1e-5, abs=1e-4)
