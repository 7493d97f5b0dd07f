"""Strings of unequal panels, and strings in parallel on one tracker within its voltages: the year's method against the
full solution and against panels alone."""

import dataclasses
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.panel_types import load_panel_type
from layout.power.follow import PanelGroup, followed_power, tracker_followed_power
from layout.power.full_curve import full_panel_curve, string_power, tracker_power
from layout.power.panel_model import ANY_VOLTAGE, PanelModel, even_light_power, panel_model
from layout.power.uneven import parallel_dc_power, series_dc_power

Window = tuple[float, float]


@cache
def model_of(name: str) -> PanelModel:
    kind = load_panel_type(name if name == "thin_film" else "mono_glass")
    if name == "full cells":
        kind = dataclasses.replace(kind, name=name, cells=(10, 6), half_cut=False)
    if name == "no diodes":
        kind = dataclasses.replace(kind, name=name, bypass_groups=0)
    return panel_model(kind)


def parts_of(model: PanelModel, points: int = 1) -> np.ndarray:
    """Groups of a panel of so many points a part."""
    return np.repeat(np.arange(model.groups * model.halves), points)


def hours(model: PanelModel, strings: int, panels: int, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Light of parts (n, strings, panels, parts), cell temperatures (n, strings, panels): one string in shade or facing
    elsewhere, some panels in shade, scattered shade, small differences."""
    rng = np.random.default_rng(10 * strings + panels)
    parts = model.groups * model.halves
    light = np.repeat(rng.uniform(30.0, 1000.0, n), strings * panels * parts).reshape(n, strings, panels, parts)
    for i, hour in enumerate(light):
        if i % 4 == 0:
            hour[rng.integers(strings)] *= rng.uniform(0.05, 0.95)
        elif i % 4 == 1:
            hour[rng.integers(strings), : rng.integers(1, panels + 1)] *= rng.uniform(0.05, 0.95)
        else:
            hour *= rng.uniform(0.5 if i % 4 == 2 else 0.96, 1.0, hour.shape)
    cell_c = rng.uniform(0.0, 60.0, (n, 1, 1)) + rng.uniform(-4.0, 4.0, (n, strings, 1)) + np.zeros((1, 1, panels))
    return light.astype(np.float32), cell_c.astype(np.float32)


def windows(model: PanelModel, panels: int) -> dict[str, Window]:
    """Over the rated voltage of the string: none, one that cuts hot hours off, one that cuts cold ones off."""
    rated = panels * model.panel_type.vmp_v
    return {"any": ANY_VOLTAGE, "low": (0.98 * rated, np.inf), "high": (0.5 * rated, 0.92 * rated)}


@pytest.mark.parametrize("window", ["any", "low", "high"])
@pytest.mark.parametrize("name", ["full cells", "mono_glass", "thin_film", "no diodes"])
def test_trackers_against_the_full_solution(name: str, window: str) -> None:
    model = model_of(name)
    light, cell_c = hours(model, 2, 3, 160)
    light = np.repeat(light, 8, axis=3)
    light[:, 0, 0, :3] *= 0.7
    groups = parts_of(model, 8)
    held = windows(model, 3)[window]
    alone, free, power = parallel_dc_power(light, groups, model, cell_c, held)
    full = tracker_power(light, groups, model, cell_c, window_v=held).power
    error = (power - full) / (2 * 3 * model.rated_w)
    print(f"\n{name}, {window}: mean {error.mean():+.5f}, 99th percentile {np.quantile(np.abs(error), 0.99):.5f}")
    assert abs(error.mean()) < 0.002
    assert np.quantile(np.abs(error), 0.99) < 0.01
    assert (power <= free).all()
    assert (free <= alone).all()


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 4), st.floats(0.0, 300.0), st.floats(1.0, 300.0))
def test_never_below_zero_and_each_step_takes(seed: int, strings: int, low: float, wide: float) -> None:
    model = model_of("mono_glass")
    rng = np.random.default_rng(seed)
    shape = (8, strings, 3, model.groups * model.halves)
    spread = rng.uniform(0.0, 1.0, shape) ** rng.choice([0.01, 0.3, 2.0])
    light = (900.0 * rng.random((8, 1, 1, 1)) * spread).astype(np.float32)
    cell_c = rng.uniform(-20.0, 70.0, shape[:3]).astype(np.float32)
    alone, free, held = parallel_dc_power(light, parts_of(model), model, cell_c, (low, low + wide))
    assert (held >= 0.0).all()
    assert (held <= free).all()
    assert (free <= alone).all()


def test_a_window_above_the_open_circuit_gives_nothing_and_a_wide_one_all() -> None:
    model = model_of("mono_glass")
    args = hours(model, 2, 4, 60)
    light, cell_c = args
    groups = parts_of(model)
    above = (4 * 1.3 * model.panel_type.voc_v, np.inf)
    assert not parallel_dc_power(light, groups, model, cell_c, above)[2].any()
    _, free, held = parallel_dc_power(light, groups, model, cell_c, (1.0, 2000.0))
    assert np.array_equal(free, held)


def test_equal_strings_do_not_hold_each_other_back() -> None:
    model = model_of("mono_glass")
    light, cell_c = hours(model, 1, 6, 120)
    row, one = light.reshape(120, -1), [PanelGroup(parts_of(model))] * 6
    alone, free, _ = tracker_followed_power(row, [(one, 3.0)], model, cell_c[:, 0])
    assert np.array_equal(alone, free)
    spelt = tracker_followed_power(np.tile(row, 3), [(one, 1.0)] * 3, model, np.tile(cell_c[:, 0], 3))[1]
    assert spelt == pytest.approx(free, rel=1e-5)


def test_a_shorter_string_costs_what_its_voltage_says() -> None:
    """Strings of 5 and 6 in even light, against the curve of one panel scaled by hand."""
    model = model_of("full cells")
    groups = parts_of(model)
    light = np.full((1, 2 * len(groups)), 700.0, dtype=np.float32)
    strings = [([PanelGroup(groups, count)], 1.0) for count in (6.0, 5.0)]
    alone, free, _ = tracker_followed_power(light, strings, model, np.full((1, 2), 40.0))
    current = np.linspace(0.0, 0.705 * model.panel_type.isc_a, 2000, dtype=np.float32)[None]
    volts = full_panel_curve(light[:, : len(groups)], groups, model, np.array([40.0]), current)[0]
    v = np.linspace(0.5, 1.0, 3000) * 6 * volts[0]
    total = sum(np.where(v / k <= volts[0], np.interp(-v / k, -volts, current[0]), 0.0) for k in (6, 5))
    assert float(free[0]) == pytest.approx((v * total).max(), rel=2e-3)
    assert 0.01 < 1.0 - float(free[0] / alone[0]) < 0.15


@pytest.mark.parametrize("name", ["full cells", "mono_glass"])
def test_equal_panels_may_be_counted(name: str) -> None:
    model = model_of(name)
    light, cell_c = hours(model, 1, 2, 200)
    light, cell_c, groups = light[:, 0], cell_c[:, 0], parts_of(model)
    counted = followed_power(light.reshape(200, -1), [PanelGroup(groups, 3), PanelGroup(groups, 2)], model, cell_c)[0]
    which = [0, 0, 0, 1, 1]
    spelt = series_dc_power(np.ascontiguousarray(light[:, which]), groups, model, cell_c[:, which])
    assert counted == pytest.approx(spelt, rel=2e-4, abs=0.01)
    full = string_power(np.ascontiguousarray(light[:, which]), groups, model, cell_c[:, which])
    assert np.quantile(np.abs(spelt - full), 0.99) < 0.005 * 5 * model.rated_w


def test_a_smaller_panel_holds_the_string_to_its_current() -> None:
    # in even light a panel of 0.6 of the area gives 0.6 of the current: 0.6 · 2 of power against 1.6 alone
    model = model_of("full cells")
    groups = parts_of(model)
    light = np.full((1, 2 * len(groups)), 800.0, dtype=np.float32)
    alone = float(even_light_power(np.array([800.0]), np.array([40.0]), model)[0])
    panels = [PanelGroup(groups), PanelGroup(groups, scale=0.6)]
    found = float(followed_power(light, panels, model, np.full((1, 2), 40.0))[0][0])
    # the larger panel works at a higher voltage than at its own best point, by at most Voc/Vmp
    assert 1.2 * alone < found < 1.2 * alone * 1.12


def test_never_above_the_panels_own_maxima() -> None:
    model = model_of("mono_glass")
    light, cell_c = hours(model, 1, 8, 240)
    light, cell_c, groups = light[:, 0], cell_c[:, 0], parts_of(model)
    string = series_dc_power(light, groups, model, cell_c)
    alone = np.sum([series_dc_power(light[:, [p]], groups, model, cell_c[:, [p]]) for p in range(8)], axis=0)
    assert (string <= alone + 0.002 * 8 * model.rated_w).all()
    assert (string >= 0.0).all()
    assert string.sum() < 0.98 * alone.sum()
