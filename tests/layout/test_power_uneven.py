"""The year's method, which follows every cell, against the full solution."""

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
from layout.power.full_curve import full_panel_power, string_power
from layout.power.panel_model import PanelModel, even_light_power, panel_model
from layout.power.uneven import cells_dc_power, series_dc_power

LIBRARY = Path(layout.__file__).parent / "library" / "panels"
CASES = ("full cells", "mono_glass", "thin_film")


@cache
def case(name: str) -> tuple[PanelModel, np.ndarray, tuple[int, int]]:
    file = name if name == "thin_film" else "mono_glass"
    values = tomllib.loads((LIBRARY / f"{file}.toml").read_text())
    panel = PanelType(**(values | {"cells": tuple(values["cells"])}))
    if name == "full cells":
        panel = dataclasses.replace(panel, name=name, cells=(10, 6), half_cut=False)
    if name == "without diodes":
        panel = dataclasses.replace(panel, name=name, bypass_groups=0)
    return panel_model(panel), group_map(panel, "portrait", *panel.cells).ravel(), panel.cells


def patterns(kind: str, n: int, shape: tuple[int, int], seed: int) -> np.ndarray:
    """Light on the cells, (n, cells): edges of shadows at any angle, scattered shade, or gradients."""
    rng = np.random.default_rng(seed)
    up, along = np.meshgrid(*((np.arange(k) + 0.5) / k for k in shape), indexing="ij")
    if kind == "edges":
        angle = np.where(rng.random(n) < 0.5, 0.0, rng.uniform(0.0, np.pi, n))[:, None, None]
        across = up * np.cos(angle) + along * np.sin(angle) - np.minimum(np.cos(angle), 0.0)
        across /= np.abs(np.cos(angle)) + np.abs(np.sin(angle))
        lit = np.clip((across - rng.uniform(-0.1, 1.1, (n, 1, 1))) / 0.03 + 0.5, 0.0, 1.0)
        light = rng.uniform(50.0, 900.0, (n, 1, 1)) * lit + rng.uniform(20.0, 250.0, (n, 1, 1))
    elif kind == "gradients":
        slope = 0.06 * rng.normal(size=(n, 2, 1, 1))
        light = 1.0 + slope[:, 0] * (up - 0.5) + slope[:, 1] * (along - 0.5)
        light = light * rng.uniform(50.0, 1000.0, (n, 1, 1))
    else:
        shaded = rng.random((n, *shape)) < 0.4 * rng.random((n, 1, 1))
        light = rng.uniform(100.0, 1000.0, (n, 1, 1)) * np.where(shaded, rng.uniform(0.05, 1.0, shaded.shape), 1.0)
    return light.reshape(n, -1).astype(np.float32)


def check(n: int, name: str, kind: str, seed: int) -> None:
    model, groups, shape = case(name)
    light = patterns(kind, n, shape, seed)
    cell_c = np.random.default_rng(seed).uniform(-5.0, 75.0, n)
    fast, full = (f(light, groups, model, cell_c) for f in (cells_dc_power, full_panel_power))
    error = (fast - full) / model.rated_w
    assert np.percentile(np.abs(error), 99) < 0.01
    assert abs(error.mean()) < 0.002


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("kind", ["edges", "scattered", "gradients"])
def test_fast_follows_full(name: str, kind: str) -> None:
    """Within 1 % of nameplate at the 99th percentile, 0.2 % in the mean."""
    check(400, name, kind, seed=14)


@pytest.mark.long
@pytest.mark.parametrize("name", [*CASES, "without diodes"])
@pytest.mark.parametrize("panels", [1, 12])
def test_fast_follows_full_on_random_patterns(name: str, panels: int) -> None:
    """The random half of the 10,000 patterns, 5,000 a type of panel, on panels and on strings of 12."""
    found = np.concatenate([string_errors(kind, 2500, name, panels, 15) for kind in ("edges", "scattered")])
    worst = np.percentile(np.abs(found), 99)
    print(f"\n{name}, {panels} in series: {len(found)} patterns, mean {found.mean():+.5f}, 99th percentile {worst:.5f}")
    assert worst < 0.01
    assert abs(found.mean()) < 0.002


@pytest.mark.parametrize("name", CASES)
def test_strings_of_twelve(name: str) -> None:
    error = np.concatenate([string_errors(kind, 20, name, 12, 3) for kind in ("edges", "scattered")])
    assert np.percentile(np.abs(error), 99) < 0.01
    assert abs(error.mean()) < 0.002


def string_errors(kind: str, n: int, name: str, panels: int, seed: int) -> np.ndarray:
    """Fast less full power over rated power, of n strings of panels under one sky, each in its own pattern of light."""
    model, groups, shape = case(name)
    light = patterns(kind, n * panels, shape, seed).reshape(n, panels, -1)
    rng = np.random.default_rng(seed)
    light *= rng.uniform(60.0, 1000.0, (n, 1, 1)).astype(np.float32) / light.max(axis=2, keepdims=True)
    cell_c = np.repeat(rng.uniform(-5.0, 75.0, (n, 1)), panels, axis=1)
    fast, full = (f(light, groups, model, cell_c) for f in (series_dc_power, string_power))
    return (fast - full) / (panels * model.rated_w)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(CASES), st.floats(5.0, 3000.0), st.floats(-20.0, 90.0))
def test_even_light_is_the_table(name: str, light: float, cell_c: float) -> None:
    model, groups, _ = case(name)
    even = np.full((1, groups.size), light, dtype=np.float32)
    expected = even_light_power(np.array([light]), np.array([cell_c]), model)
    assert cells_dc_power(even, groups, model, np.array([cell_c])) == pytest.approx(expected, rel=1e-4)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(CASES), st.integers(0, 2**31), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_between_nothing_and_the_cells_own_maxima(name: str, seed: int, share: float, depth: float) -> None:
    model, groups, _ = case(name)
    rng = np.random.default_rng(seed)
    light = 900.0 * np.where(rng.random(groups.size) < share, 1.0 - depth * rng.random(groups.size), 1.0)
    light = light.astype(np.float32)
    power = float(cells_dc_power(light[None], groups, model, np.array([45.0]))[0])
    alone = even_light_power(light, np.full(light.shape, 45.0), model).sum() / groups.size
    assert 0.0 <= power <= alone * (1.0 + 1e-3) + 1e-3


def test_no_jump_where_the_method_changes() -> None:
    """One row of cells slides into shade through the limit of the variance formula."""
    model, groups, shape = case("mono_glass")
    light = np.full((200, *shape), 800.0, dtype=np.float32)
    light[:, :2] *= np.linspace(1.0, 0.9, 200, dtype=np.float32)[:, None, None]
    power = cells_dc_power(light.reshape(200, -1), groups, model, np.full(200, 40.0))
    assert np.abs(np.diff(power)).max() < 0.004 * model.rated_w
