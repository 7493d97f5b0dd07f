"""The year's fast method against the curves of its own rule, built point by point."""

import dataclasses
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import layout
from layout.errors import PhysicsError
from layout.panel_type import PanelType
from layout.power.cells import PanelDataError, group_map
from layout.power.diode import translate
from layout.power.diode_fit import peak_power
from layout.power.panel_model import BYPASS_V, PanelModel, even_light_power, panel_model
from layout.power.panel_power import group_light_power, panel_dc_power

LIBRARY = Path(layout.__file__).parent / "library" / "panels"
BUNDLED = ("mono_glass", "bifacial_glass", "thin_film")


def bundled(name: str) -> PanelType:
    values = tomllib.loads((LIBRARY / f"{name}.toml").read_text())
    return PanelType(**(values | {"cells": tuple(values["cells"])}))


def full_cells() -> PanelType:
    return dataclasses.replace(bundled("mono_glass"), name="full cells", cells=(10, 6), half_cut=False)


def strips_with_diodes() -> PanelType:
    """Thin film, low shunt resistance, with four invented diodes."""
    return dataclasses.replace(bundled("thin_film"), name="strips", bypass_groups=4, group_direction="length")


MODELS = {
    "half cells": lambda: panel_model(bundled("mono_glass")),
    "bifacial": lambda: panel_model(bundled("bifacial_glass")),
    "full cells": lambda: panel_model(full_cells()),
    "strips": lambda: panel_model(strips_with_diodes()),
    "no diode": lambda: panel_model(bundled("thin_film")),
}


def rule_power(model: PanelModel, light: np.ndarray, cell_c: float) -> float:
    """Power of one panel from tabulated curves: halves added in current, groups in voltage with their diodes.

    light : (groups, halves) [W/m²]
    """
    top = 34.0 * model.diode.ideality_v
    volts = np.linspace(-3.0, top, 40_001)
    curves = []
    for group in light:
        current = np.zeros_like(volts)
        for half in group:
            state = translate(model.diode.of_one_cell(1, len(group)), float(half), cell_c)
            amps, at = state.at_diode_voltage(np.linspace(-8.0, top, 60_001))
            current += np.interp(volts, at, amps)
        curves.append(current)
    common = np.linspace(0.0, max(c.max() for c in curves), 6001)
    total = np.zeros_like(common)
    for current in curves:
        own = np.interp(common, current[::-1], volts[::-1] / model.groups)
        own = np.where(common > current[0], -1e3, own)
        total += np.maximum(own, -BYPASS_V) if model.diodes else own
    return float((common * total).max())


@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("pattern", ["random", "nearly even", "dark parts"])
def test_fast_method_is_the_rule(name: str, pattern: str) -> None:
    """Within 0.2 % of the tabulated curve (half-cut: two halves joined by one curve), 1e-4 without halves."""
    model, rng = MODELS[name](), np.random.default_rng(20)
    shape = (25, model.groups, model.halves)
    if pattern == "random":
        light = rng.uniform(20.0, 1150.0, shape)
    elif pattern == "nearly even":
        light = rng.uniform(60.0, 1100.0, (25, 1, 1)) * rng.uniform(0.97, 1.03, shape)
    else:
        light = rng.choice([0.0, 120.0, 930.0, 1010.0], shape)
    cell_c = rng.uniform(-10.0, 80.0, 25)
    exact = np.array([rule_power(model, part, t) for part, t in zip(light, cell_c, strict=True)])
    fast = group_light_power(light.reshape(25, -1).T.astype(np.float32), model, cell_c.astype(np.float32))
    assert np.abs(fast - exact).max() < 1e-3 * model.rated_w
    assert np.all(np.abs(fast - exact) <= (2e-3 if model.halves == 2 else 1e-4) * exact + 1e-3)


@pytest.mark.parametrize("name", BUNDLED)
def test_bundled_types_return_their_datasheet(name: str) -> None:
    model, sheet = panel_model(bundled(name)), bundled(name)
    assert model.notes == ()
    assert float(even_light_power(np.array([1000.0]), np.array([25.0]), model)[0]) == pytest.approx(
        sheet.vmp_v * sheet.imp_a, rel=1e-4
    )
    assert sheet.pmax_w == pytest.approx(sheet.vmp_v * sheet.imp_a, rel=2e-3)
    warm = float(even_light_power(np.array([1000.0]), np.array([65.0]), model)[0])
    assert warm / model.rated_w - 1.0 == pytest.approx(0.4 * sheet.gamma_pmax_pct_per_k, rel=2e-3)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(sorted(MODELS)), st.floats(1.0, 4000.0), st.floats(-30.0, 120.0))
def test_table_follows_the_diode(name: str, light: float, cell_c: float) -> None:
    model = MODELS[name]()
    exact = peak_power(model.diode, light, cell_c)
    assert float(even_light_power(np.array([light]), np.array([cell_c]), model)[0]) == pytest.approx(
        exact, rel=1e-3, abs=2e-4 * model.rated_w
    )


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(sorted(MODELS)),
    st.lists(st.floats(0.0, 2500.0), min_size=8, max_size=8),
    st.floats(-30.0, 110.0),
)
def test_between_nothing_and_the_groups_own_maxima(name: str, values: list[float], cell_c: float) -> None:
    """Never negative; never above the sum of what each group part gives alone."""
    model = MODELS[name]()
    parts = model.groups * model.halves
    light = np.array(values[:parts], dtype=np.float32)[:, None]
    power = float(group_light_power(light, model, np.array([cell_c], dtype=np.float32))[0])
    alone = even_light_power(light[:, 0], np.full(parts, cell_c, dtype=np.float32), model).sum() / parts
    # The curve of unequal halves is good to about a ten-thousandth of the rated power in the weakest light.
    assert 0.0 <= power <= float(alone) * (1.0 + 1e-5) + 1e-4 * model.panel_type.pmax_w


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.0, 1500.0), min_size=6, max_size=6), st.integers(0, 5), st.floats(0.0, 200.0))
def test_more_light_on_the_weakest_cell_never_hurts(values: list[float], which: int, more: float) -> None:
    model = MODELS["full cells"]()
    groups = group_map(full_cells(), "portrait", 1, 6).ravel()
    light = np.array([values, values], dtype=np.float32)
    light[1, which] += more
    before, after = panel_dc_power(light, groups, model, np.array([40.0, 40.0]))
    assert after >= before * (1.0 - 1.5e-3) - 1e-3


def test_points_are_reduced_to_the_weakest_of_each_group() -> None:
    model = MODELS["full cells"]()
    groups = group_map(full_cells(), "landscape", 6, 4).ravel()
    rng = np.random.default_rng(5)
    light = rng.uniform(100.0, 900.0, (40_000, 24)).astype(np.float32)
    cell_c = rng.uniform(0.0, 60.0, 40_000)
    weakest = np.stack([light[:, groups == g].min(axis=1) for g in range(3)])
    expected = group_light_power(weakest, model, cell_c.astype(np.float32))
    assert panel_dc_power(light, groups, model, cell_c) == pytest.approx(expected)


def test_one_dark_group_costs_its_third_and_a_diode() -> None:
    """2/3 of the power, less half a volt at the current of the maximum; below 1 W/m² there is nothing."""
    model = MODELS["full cells"]()
    light = np.array([[1000.0, 0.5], [1000.0, 0.5], [0.0, 0.5]], dtype=np.float32)
    power = group_light_power(light, model, np.array([25.0, 25.0], dtype=np.float32))
    sheet = full_cells()
    assert power[0] == pytest.approx(sheet.imp_a * (sheet.vmp_v * 2 / 3 - BYPASS_V), rel=1e-3)
    assert power[1] == 0.0


def test_light_and_heat_out_of_reason_are_refused() -> None:
    model = MODELS["full cells"]()
    groups = np.array([0, 1, 2])
    with pytest.raises(PhysicsError, match="light on cells"):
        panel_dc_power(np.full((2, 3), -5.0, dtype=np.float32), groups, model, np.array([20.0, 20.0]))
    with pytest.raises(PhysicsError, match="cell temperature"):
        panel_dc_power(np.full((2, 3), 500.0, dtype=np.float32), groups, model, np.array([20.0, 900.0]))


def test_nameplate_that_contradicts_its_point_is_refused() -> None:
    with pytest.raises(PanelDataError, match="pmax_w: found 500"):
        panel_model(dataclasses.replace(full_cells(), pmax_w=500.0))
