"""Panel models: their datasheets, their tables, and bounds of the power that cells give by them."""

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
from layout.power.diode_fit import peak_power
from layout.power.follow import PanelGroup, followed_power
from layout.power.panel_model import PanelModel, even_light_power, panel_model

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


def power_of(light: np.ndarray, groups: np.ndarray, model: PanelModel, cell_c: float) -> np.ndarray:
    """Power of one panel whose points lie in ``groups``; light (n, points)."""
    return followed_power(light.astype(np.float32), [PanelGroup(groups)], model, np.full((len(light), 1), cell_c))[0]


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
    light = np.array([values[:parts]], dtype=np.float32)
    power = power_of(light, np.arange(parts), model, cell_c)[0]
    alone = even_light_power(light[0], np.full(parts, cell_c, dtype=np.float32), model).sum() / parts
    assert 0.0 <= power <= float(alone) * (1.0 + 2e-3) + 5e-4 * model.panel_type.pmax_w


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.0, 1500.0), min_size=6, max_size=6), st.integers(0, 5), st.floats(0.0, 200.0))
def test_more_light_on_the_weakest_cell_never_hurts(values: list[float], which: int, more: float) -> None:
    model = MODELS["full cells"]()
    groups = group_map(full_cells(), "portrait", 1, 6).ravel()
    light = np.array([values, values], dtype=np.float32)
    light[1, which] += more
    before, after = power_of(light, groups, model, 40.0)
    assert after >= before - 2e-3 * model.rated_w


def test_light_and_heat_out_of_reason_are_refused() -> None:
    model = MODELS["full cells"]()
    groups = np.array([0, 1, 2])
    with pytest.raises(PhysicsError, match="light on cells"):
        power_of(np.full((2, 3), -5.0), groups, model, 20.0)
    with pytest.raises(PhysicsError, match="cell temperature"):
        power_of(np.full((2, 3), 500.0), groups, model, 900.0)


def test_nameplate_that_contradicts_its_point_is_refused() -> None:
    with pytest.raises(PanelDataError, match="pmax_w: found 500"):
        panel_model(dataclasses.replace(full_cells(), pmax_w=500.0))
