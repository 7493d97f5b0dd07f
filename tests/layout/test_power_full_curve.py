"""The full solution against curves built cell by cell with thousands of currents."""

import dataclasses
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import layout
from layout.panel_type import PanelType
from layout.power.cells import group_map
from layout.power.diode import translate
from layout.power.full_curve import full_panel_curve, full_panel_power, string_power, tracker_power
from layout.power.panel_model import BYPASS_V, PanelModel, even_light_power, panel_model
from layout.power.reverse import reverse_of

LIBRARY = Path(layout.__file__).parent / "library" / "panels"


def bundled(name: str) -> PanelType:
    values = tomllib.loads((LIBRARY / f"{name}.toml").read_text())
    return PanelType(**(values | {"cells": tuple(values["cells"])}))


def full_cells() -> PanelType:
    return dataclasses.replace(bundled("mono_glass"), name="full cells", cells=(10, 6), half_cut=False)


@cache
def case(name: str) -> tuple[PanelModel, np.ndarray]:
    """Model and the group of each cell."""
    panel = full_cells() if name == "full cells" else bundled(name)
    return panel_model(panel), group_map(panel, "portrait", *panel.cells).ravel()


CASES = ("full cells", "mono_glass", "thin_film")


def cell_curve(model: PanelModel, light: float, cell_c: float) -> tuple[np.ndarray, np.ndarray]:
    """One cell's explicit curve (current falling, volts rising), from deep reverse to far forward."""
    reverse, cell = reverse_of(model.panel_type), model.cell_diode
    state = translate(cell, light, cell_c)
    behind = reverse.breakdown_v * (1.0 - np.geomspace(1e-3, 1.0, 3000))
    leak = max(light / 1000.0, reverse.dark_shunt)
    grown = reverse.factor * (1.0 - behind / reverse.breakdown_v) ** -reverse.exponent
    back = state.light_current_a - behind * cell.shunt_siemens * (leak + grown)
    ahead = np.linspace(0.0, 45.0 * cell.ideality_v, 12_001)[1:]
    current = np.concatenate([back, state.at_diode_voltage(ahead)[0]])
    return current, np.concatenate([behind, ahead]) - current * state.series_ohm


def exact_power(model: PanelModel, groups: np.ndarray, light: np.ndarray, cell_c: float, n: int = 8001) -> float:
    top = 1.2 * light.max() / 1000.0 * model.diode.light_current_a
    share = np.linspace(-0.25 * top, top, n) / model.halves
    parts = []
    for part in range(model.groups * model.halves):
        volts = np.zeros(n)
        for value, count in zip(*np.unique(light[groups == part], return_counts=True), strict=True):
            current, own = cell_curve(model, float(value), cell_c)
            volts += count * np.interp(share, current[::-1], own[::-1])
        parts.append(volts)
    common, total = np.linspace(0.0, top, n), np.zeros(n)
    for group in range(model.groups):
        halves = parts[group * model.halves : (group + 1) * model.halves]
        level = np.linspace(-15.0, max(h.max() for h in halves), 8 * n)
        current = sum(np.interp(level, h[::-1], share[::-1]) for h in halves)
        volts = np.interp(common, np.asarray(current)[::-1], level[::-1])
        total += np.maximum(volts, -BYPASS_V) if model.diodes else volts
    return float((common * total).max())


def patterns(kind: str, n: int, cells: int, seed: int = 8) -> np.ndarray:
    rng = np.random.default_rng(seed)
    light = np.repeat(rng.uniform(100.0, 1050.0, (n, 1)), cells, axis=1)
    if kind == "some shaded":
        light *= np.where(rng.random((n, cells)) < 0.3, rng.uniform(0.05, 1.0, (n, cells)), 1.0)
    elif kind == "random":
        light = rng.uniform(30.0, 1000.0, (n, cells))
    return light.astype(np.float32)


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize(("kind", "within"), [("even", 1e-4), ("some shaded", 1e-3), ("random", 1.5e-3)])
def test_power_is_that_of_the_exact_curve(name: str, kind: str, within: float) -> None:
    """Error over nameplate; the solution lies on the curve, so it is never above."""
    model, groups = case(name)
    light = patterns(kind, 10, groups.size)
    cell_c = np.random.default_rng(1).uniform(0.0, 70.0, 10)
    exact = np.array([exact_power(model, groups, row, t) for row, t in zip(light, cell_c, strict=True)])
    error = (full_panel_power(light, groups, model, cell_c) - exact) / model.rated_w
    assert error.max() < 2e-4
    assert error.min() > -within
    assert abs(error.mean()) < 3e-4


@pytest.mark.parametrize("name", CASES)
def test_curve_of_even_light_is_the_panels(name: str) -> None:
    model, groups = case(name)
    state = translate(model.diode, 640.0, 41.0)
    current, volts = state.at_diode_voltage(np.linspace(0.7, 1.02, 200) * model.panel_type.voc_v)
    keep = current > 0.0
    light = np.full((1, groups.size), 640.0, dtype=np.float32)
    found = full_panel_curve(light, groups, model, np.array([41.0]), current[None, keep].astype(np.float32))
    assert found[0] == pytest.approx(volts[keep], abs=2e-3 * model.panel_type.voc_v)


@pytest.mark.parametrize("shade", [0.0, 0.25, 0.5, 0.75, 1.0])
def test_one_cell_shaded(shade: float) -> None:
    """With diodes at most a third of the power and one diode's drop go; without them the panel
    follows the cell down. Textbook behaviour (e.g. Quaschning & Hanitsch, Solar Energy 56 (1996) 513-520:
    from memory)."""
    model, groups = case("full cells")
    light = np.full((1, 1, 1, groups.size), 1000.0, dtype=np.float32)
    light[..., 0] *= 1.0 - shade
    with_diodes, without = (float(tracker_power(light, groups, model, 25.0, diodes=d).power[0]) for d in (True, False))
    panel = model.panel_type
    bypassed = panel.imp_a * (panel.vmp_v * 2 / 3 - BYPASS_V)
    assert without <= with_diodes * (1.0 + 5e-4)
    assert with_diodes >= 0.998 * bypassed
    if shade == 0.0:
        assert with_diodes == pytest.approx(model.rated_w, rel=1e-4)
        assert without == pytest.approx(model.rated_w, rel=1e-4)
    if shade >= 0.75:
        assert with_diodes == pytest.approx(bypassed, rel=2e-3)
        assert without < 0.75 * with_diodes


def test_power_falls_as_the_shade_deepens() -> None:
    model, groups = case("mono_glass")
    light = np.full((21, groups.size), 900.0, dtype=np.float32)
    light[:, :3] *= np.linspace(1.0, 0.0, 21, dtype=np.float32)[:, None]
    power = full_panel_power(light, groups, model, np.full(21, 30.0))
    assert np.all(np.diff(power) < 2e-4 * model.rated_w)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(CASES), st.integers(0, 2**31), st.floats(0.0, 1.0), st.booleans())
def test_between_nothing_and_the_cells_own_maxima(name: str, seed: int, share: float, diodes: bool) -> None:
    model, groups = case(name)
    rng = np.random.default_rng(seed)
    light = np.where(rng.random(groups.size) < share, rng.uniform(0.0, 2000.0, groups.size), 700.0)
    light = light.astype(np.float32)
    found = tracker_power(light[None, None, None], groups, model, 45.0, diodes=diodes and model.diodes)
    alone = even_light_power(light, np.full(light.shape, 45.0), model).sum() / groups.size
    assert 0.0 <= found.power[0] <= alone * (1.0 + 1e-4) + 1e-3


def test_string_of_equal_panels_is_their_sum() -> None:
    model, groups = case("mono_glass")
    one = patterns("some shaded", 3, groups.size)
    string = np.repeat(one[:, None], 5, axis=1)
    single = full_panel_power(one, groups, model, np.full(3, 35.0))
    assert string_power(string, groups, model, np.full((3, 1), 35.0)) == pytest.approx(5 * single, rel=2e-3)


def test_parallel_strings() -> None:
    """Equal strings double; a shaded string costs no more than it gives alone, and trackers of their own are
    best."""
    model, groups = case("full cells")
    light = np.full((2, 2, 3, groups.size), 800.0, dtype=np.float32)
    light[1, 1, 0] *= 0.3
    found = tracker_power(light, groups, model, 35.0)
    alone = string_power(light.reshape(4, 3, -1), groups, model, np.full((4, 1), 35.0)).reshape(2, 2)
    assert found.power[0] == pytest.approx(alone[0].sum(), rel=1e-3)
    assert alone[1, 0] < found.power[1] <= alone[1].sum() * (1.0 + 1e-4)
    assert found.current.sum(axis=1) * found.volts == pytest.approx(found.power, rel=2e-3)


def test_series_string_loses_more_than_panels_on_their_own() -> None:
    model, groups = case("mono_glass")
    light = patterns("some shaded", 12, groups.size).reshape(1, 12, -1)
    cell_c = np.full((1, 12), 30.0)
    together = float(string_power(light, groups, model, cell_c)[0])
    apart = float(full_panel_power(light[0], groups, model, cell_c[0]).sum())
    assert 0.3 * apart < together < apart * (1.0 + 1e-4)


def test_points_stand_for_several_cells() -> None:
    """A net that halves the cells each way gives the same as cells lit in blocks."""
    panel = full_cells()
    model, groups = case("full cells")
    coarse = np.random.default_rng(3).uniform(200.0, 900.0, (6, 5, 6)).astype(np.float32)
    fine = np.repeat(coarse, 2, axis=1).reshape(6, -1)
    net = group_map(panel, "portrait", 5, 6).ravel()
    cell_c = np.full(6, 25.0)
    assert full_panel_power(coarse.reshape(6, -1), net, model, cell_c) == pytest.approx(
        full_panel_power(fine, groups, model, cell_c), rel=2e-3
    )


def test_nothing_in_nothing_out() -> None:
    model, groups = case("full cells")
    assert full_panel_power(np.zeros((0, groups.size), np.float32), groups, model, np.zeros(0)).shape == (0,)
    assert full_panel_power(np.zeros((1, groups.size), np.float32), groups, model, np.zeros(1)).max() < 0.05


def test_tracker_window() -> None:
    """A window that holds the maximum changes nothing; one below it costs power; one out of reach leaves
    none."""
    model, groups = case("full cells")
    light = np.repeat(patterns("some shaded", 6, groups.size)[:, None, None], 4, axis=2)
    cell_c = np.full((6, 1, 1), 35.0)
    free = tracker_power(light, groups, model, cell_c)
    low = float(free.volts.min())
    same = tracker_power(light, groups, model, cell_c, window_v=(0.9 * low, 200.0))
    assert same.power == pytest.approx(free.power, rel=1e-3)
    below = tracker_power(light, groups, model, cell_c, window_v=(0.3 * low, 0.8 * low))
    assert np.all((below.power > 0.0) & (below.power < free.power))
    assert np.all(below.volts <= 0.8 * low * 1.006)
    assert np.all(tracker_power(light, groups, model, cell_c, window_v=(400.0, 800.0)).power == 0.0)


def test_size_scales_the_power() -> None:
    """Larger panels are as many small ones in parallel as they are larger."""
    model, groups = case("mono_glass")
    light = np.repeat(patterns("some shaded", 5, groups.size)[:, None, None], 3, axis=2)
    one = tracker_power(light, groups, model, 30.0)
    large = tracker_power(light, groups, model, 30.0, size=np.full((1, 3), 2.5))
    assert large.power == pytest.approx(2.5 * one.power, rel=1e-4)
    assert large.volts == pytest.approx(one.volts, rel=2e-3)


@pytest.mark.parametrize("name", CASES)
def test_strings_of_unequal_length_and_panels_of_unequal_size(name: str) -> None:
    """Against the panels' own curves: in series they add at a current, strings in parallel at a voltage."""
    model, groups = case(name)
    light = patterns("some shaded", 5, groups.size)
    size = np.array([[1.0, 0.6, 1.0], [1.2, 1.0, 0.0]])
    on_tracker = np.zeros((1, 2, 3, groups.size), dtype=np.float32)
    on_tracker[0, 0], on_tracker[0, 1, :2] = light[:3], light[3:]
    current = np.linspace(0.0, 1.3 * model.panel_type.isc_a, 2001)
    strings = []
    for panels in ((0, 1, 2), (3, 4)):
        volts = np.zeros(len(current))
        for k in panels:
            own = (current / size[0 if k < 3 else 1, k % 3])[None].astype(np.float32)
            volts += full_panel_curve(light[k : k + 1], groups, model, np.array([35.0]), own)[0]
        strings.append(volts)
    level = np.linspace(0.0, max(v.max() for v in strings), 4001)
    total = sum(np.interp(-level, -v, current, right=0.0) for v in strings)
    found = tracker_power(on_tracker, groups, model, 35.0, size=size)
    assert float(found.power[0]) == pytest.approx((level * total).max(), rel=3e-3)


@pytest.mark.parametrize("name", CASES)
def test_a_panel_may_stand_for_several_in_series(name: str) -> None:
    model, groups = case(name)
    light = patterns("some shaded", 10, groups.size).reshape(5, 1, 2, -1)
    repeated = np.repeat(light, [2, 3], axis=2)
    each = tracker_power(repeated, groups, model, 30.0)
    found = tracker_power(light, groups, model, 30.0, count=np.array([[2.0, 3.0]]))
    assert found.power == pytest.approx(each.power, rel=1e-4)
    assert found.part_current[:, 0, 0] == pytest.approx(each.part_current[:, 0, 0], rel=2e-2, abs=1e-3)
