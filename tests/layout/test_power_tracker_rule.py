"""Strings in parallel on one tracker, within its voltages: the year's fast ways against the full solution."""

import dataclasses
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.panel_types import load_panel_type
from layout.power.full_curve import tracker_power
from layout.power.panel_model import ANY_VOLTAGE, PanelModel, panel_model
from layout.power.string_rule import StringCurve
from layout.power.tracker_rule import StringHours, tracker_rule_power
from layout.power.uneven import parallel_dc_power

Window = tuple[float, float]


@cache
def model_of(name: str) -> PanelModel:
    if name == "full cells":
        kind = dataclasses.replace(load_panel_type("mono_glass"), name=name, cells=(10, 6), half_cut=False)
        return panel_model(kind)
    return panel_model(load_panel_type(name))


def hours(model: PanelModel, strings: int, panels: int, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Light of the groups' weakest cells (n, strings, panels, parts), cell temperatures (n, strings, panels): one
    string in shade or facing elsewhere, some panels in shade, scattered shade, small differences."""
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


def string_hours(light: np.ndarray, cell_c: np.ndarray) -> list[StringHours]:
    """(n, strings, panels, parts) as the rule takes it."""
    ones = np.ones(light.shape[2])
    return [
        StringHours(
            np.ascontiguousarray(light[:, s].transpose(2, 1, 0)),
            np.ascontiguousarray(cell_c[:, s].T),
            ones.astype(np.int64),
            ones,
        )
        for s in range(light.shape[1])
    ]


def windows(model: PanelModel, panels: int) -> dict[str, Window]:
    """Over the rated voltage of the string: none, one that cuts hot hours off, one that cuts cold ones off."""
    rated = panels * model.panel_type.vmp_v
    return {"any": ANY_VOLTAGE, "low": (0.98 * rated, np.inf), "high": (0.5 * rated, 0.92 * rated)}


@pytest.mark.parametrize("window", ["any", "low", "high"])
@pytest.mark.parametrize(("name", "strings", "panels"), [("full cells", 2, 6), ("mono_glass", 3, 4)])
def test_rule_against_the_full_solution(name: str, strings: int, panels: int, window: str) -> None:
    """One point a part, so that rule and cells mean the same."""
    model = model_of(name)
    light, cell_c = hours(model, strings, panels, 320)
    held = windows(model, panels)[window]
    fast = tracker_rule_power(string_hours(light, cell_c), model, held)[2]
    groups = np.arange(model.groups * model.halves)
    full = tracker_power(light, groups, model, cell_c, window_v=held).power
    error = (fast - full) / (strings * panels * model.rated_w)
    print(f"\n{name}, {window}: mean {error.mean():+.5f}, 99th percentile {np.quantile(np.abs(error), 0.99):.5f}")
    assert abs(error.mean()) < 0.0003
    assert np.quantile(np.abs(error), 0.99) < 0.003


@pytest.mark.parametrize("name", ["full cells", "mono_glass"])
def test_rule_against_many_voltages(name: str) -> None:
    """The same curves read at 400 voltages from 2,000 currents."""
    model = model_of(name)
    light, cell_c = hours(model, 2, 5, 200)
    strings = string_hours(light, cell_c)
    low, high = windows(model, 5)["high"]
    _, free, held = tracker_rule_power(strings, model, (low, high))
    curves = [StringCurve.of(s.weakest, model, s.cell_c, s.counts, s.scale) for s in strings]
    shares = np.linspace(0.0, 1.0, 2000, dtype=np.float32)[:, None]
    tables = [
        (shares * c.full.max(axis=0), np.stack([c.volts(i) for i in shares * c.full.max(axis=0)])) for c in curves
    ]
    rated = 2 * 5 * model.rated_w
    for hour in range(len(light)):
        volts = np.append(np.linspace(0.1, 1.0, 400) * max(v[0, hour] for _, v in tables), [low, high])
        current = sum(np.where(volts <= v[0, hour], np.interp(-volts, -v[:, hour], i[:, hour]), 0.0) for i, v in tables)
        inside = (volts >= low) & (volts <= high)
        assert free[hour] == pytest.approx(float((volts * current).max()), abs=0.005 * rated)
        assert held[hour] == pytest.approx(float((volts * current)[inside].max()), abs=0.005 * rated)


@pytest.mark.parametrize("window", ["any", "low", "high"])
@pytest.mark.parametrize("name", ["thin_film", "no diodes"])
def test_cells_against_the_full_solution(name: str, window: str) -> None:
    kind = load_panel_type("thin_film" if name == "thin_film" else "mono_glass")
    model = panel_model(kind if name == "thin_film" else dataclasses.replace(kind, name=name, bypass_groups=0))
    light, cell_c = hours(model, 2, 3, 160)
    light = np.repeat(light, 8, axis=3)
    light[:, 0, 0, :3] *= 0.7
    groups = np.repeat(np.arange(model.groups * model.halves), 8)
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
    light = (900.0 * rng.random((8, 1, 1, 1)) * rng.uniform(0.0, 1.0, shape) ** rng.choice([0.01, 0.3, 2.0])).astype(
        np.float32
    )
    cell_c = rng.uniform(-20.0, 70.0, shape[:3]).astype(np.float32)
    alone, free, held = tracker_rule_power(string_hours(light, cell_c), model, (low, low + wide))
    assert (held >= 0.0).all()
    assert (held <= free).all()
    assert (free <= alone).all()


def test_a_window_above_the_open_circuit_gives_nothing_and_a_wide_one_all() -> None:
    model = model_of("mono_glass")
    light, cell_c = hours(model, 2, 4, 60)
    strings = string_hours(light, cell_c)
    assert not tracker_rule_power(strings, model, (4 * 1.3 * model.panel_type.voc_v, np.inf))[2].any()
    _, free, held = tracker_rule_power(strings, model, (1.0, 2000.0))
    assert np.array_equal(free, held)


def test_equal_strings_do_not_hold_each_other_back() -> None:
    model = model_of("mono_glass")
    light, cell_c = hours(model, 1, 6, 120)
    one = string_hours(light, cell_c)[0]
    alone, free, _ = tracker_rule_power([dataclasses.replace(one, times=3)], model)
    assert np.array_equal(alone, free)
    spelt = tracker_rule_power([one, one, one], model)[1]
    assert spelt == pytest.approx(free, rel=2e-3, abs=0.002 * 6 * model.rated_w)


def test_a_shorter_string_costs_what_its_voltage_says() -> None:
    """Strings of 5 and 6 in even light, against the curves of one panel scaled by hand."""
    model = model_of("full cells")
    light = np.full((model.groups, 1, 1), 700.0, dtype=np.float32)
    cell_c = np.full((1, 1), 40.0, dtype=np.float32)
    long, short = (StringHours(light, cell_c, np.array([k]), np.ones(1)) for k in (6, 5))
    alone, free, _ = tracker_rule_power([long, short], model)
    curve = StringCurve.of(light, model, cell_c, np.ones(1, dtype=np.int64), np.ones(1))
    current = np.linspace(0.0, 1.0, 4000, dtype=np.float32) * curve.full.max()
    volts = np.array([float(curve.volts(np.array([i]))[0]) for i in current])
    v = np.linspace(0.5, 1.0, 3000) * 6 * volts[0]
    total = np.interp(-v / 6, -volts, current) + np.where(v / 5 <= volts[0], np.interp(-v / 5, -volts, current), 0.0)
    assert float(free[0]) == pytest.approx((v * total).max(), rel=1e-3)
    assert 0.01 < 1.0 - float(free[0] / alone[0]) < 0.15
