"""Strings in series by the weakest-cell rule: against the full solution and against panels alone."""

import dataclasses

import numpy as np
import pytest

from layout.panel_types import load_panel_type
from layout.power.full_curve import string_power
from layout.power.panel_model import PanelModel
from layout.power.panel_power import group_light_power, panel_model
from layout.power.string_rule import string_rule_power


def model_of(name: str) -> PanelModel:
    if name == "full cells":
        kind = dataclasses.replace(load_panel_type("mono_glass"), name=name, cells=(10, 6), half_cut=False)
        return panel_model(kind)
    return panel_model(load_panel_type(name))


def hours(model: PanelModel, panels: int, n: int = 800) -> tuple[np.ndarray, np.ndarray]:
    """Light of the groups' weakest cells (parts, panels, n) and cell temperatures (panels, n): some panels shaded, one
    half or group of all shaded, scattered shade, small differences."""
    rng = np.random.default_rng(panels)
    parts = model.groups * model.halves
    light = np.repeat(rng.uniform(30.0, 1000.0, n), parts * panels).reshape(n, parts, panels)
    for i, hour in enumerate(light):
        if i % 4 == 0:
            hour[:, : rng.integers(1, panels + 1)] *= rng.uniform(0.05, 0.95)
        elif i % 4 == 1:
            hour[:: rng.integers(2, 4)] *= rng.uniform(0.05, 0.95)
        else:
            hour *= rng.uniform(0.5 if i % 4 == 2 else 0.95, 1.0, (parts, panels))
    cell_c = rng.uniform(0.0, 70.0, (panels, n)).astype(np.float32)
    return np.ascontiguousarray(np.moveaxis(light, 0, -1), dtype=np.float32), cell_c


def ones(panels: int) -> tuple[np.ndarray, np.ndarray]:
    return np.ones(panels, dtype=np.int64), np.ones(panels)


@pytest.mark.parametrize("name", ["full cells", "mono_glass", "bifacial_glass"])
@pytest.mark.parametrize("panels", [4, 12])
def test_against_the_full_solution(name: str, panels: int) -> None:
    model = model_of(name)
    light, cell_c = hours(model, panels)
    fast = string_rule_power(light, model, cell_c, *ones(panels))
    groups = np.arange(model.groups * model.halves)  # one point a part: the rule and the cells then agree
    full = string_power(np.ascontiguousarray(light.transpose(2, 1, 0)), groups, model, np.ascontiguousarray(cell_c.T))
    error = np.abs(fast - full) / (panels * model.rated_w)
    assert np.quantile(error, 0.99) < 0.002
    assert error.mean() < 0.0003
    assert error.max() < 0.01


@pytest.mark.parametrize("name", ["full cells", "mono_glass"])
def test_a_string_of_one_is_the_panel(name: str) -> None:
    model = model_of(name)
    light, cell_c = hours(model, 1)
    one = string_rule_power(light, model, cell_c, *ones(1))
    assert np.abs(one - group_light_power(light[:, 0], model, cell_c[0])).max() < 2e-3 * model.rated_w


def test_never_above_the_panels_own_maxima() -> None:
    model = model_of("mono_glass")
    light, cell_c = hours(model, 8)
    string = string_rule_power(light, model, cell_c, *ones(8))
    alone = np.sum([group_light_power(np.ascontiguousarray(light[:, p]), model, cell_c[p]) for p in range(8)], axis=0)
    assert (string <= alone * (1.0 + 1e-3)).all()
    assert (string >= 0.0).all()
    assert string.sum() < 0.98 * alone.sum()


def test_equal_panels_may_be_counted() -> None:
    model = model_of("mono_glass")
    light, cell_c = hours(model, 2)
    counted = string_rule_power(light, model, cell_c, np.array([3, 2]), np.ones(2))
    which = [0, 0, 0, 1, 1]
    spelt = string_rule_power(np.ascontiguousarray(light[:, which]), model, cell_c[which], *ones(5))
    assert counted == pytest.approx(spelt, rel=2e-4, abs=0.01)


def test_a_smaller_panel_holds_the_string_to_its_current() -> None:
    # in even light a panel of 0.6 of the area gives 0.6 of the current: 0.6 · 2 of power against 1.6 alone
    model = model_of("full cells")
    light = np.full((3, 2, 1), 800.0, dtype=np.float32)
    cell_c = np.full((2, 1), 40.0, dtype=np.float32)
    alone = float(group_light_power(light[:, 0], model, cell_c[0])[0])
    found = float(string_rule_power(light, model, cell_c, np.ones(2, dtype=np.int64), np.array([1.0, 0.6]))[0])
    # the larger panel works at a higher voltage than at its own best point, by at most Voc/Vmp
    assert 1.2 * alone < found < 1.2 * alone * 1.12


def test_dark_gives_nothing() -> None:
    model = model_of("mono_glass")
    assert not string_rule_power(
        np.zeros((6, 3, 4), np.float32), model, np.full((3, 4), 10.0, np.float32), *ones(3)
    ).any()
