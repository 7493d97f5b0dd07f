"""The compiled kernel that follows cells: its parts against other libraries and against the full solution's."""

import dataclasses
import os
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import wrightomega

from layout.panel_types import load_panel_type
from layout.power.cells import group_map
from layout.power.follow import PanelGroup, followed_power
from layout.power.follow_cells import log_omega
from layout.power.follow_types import drop_older, omega_table
from layout.power.full_curve import full_panel_curve, string_power
from layout.power.panel_model import PanelModel, panel_model

KINDS = ("mono_glass", "full cells", "no diodes", "thin_film")


@cache
def case(name: str) -> tuple[PanelModel, np.ndarray]:
    kind = load_panel_type("thin_film" if name == "thin_film" else "mono_glass")
    if name in ("full cells", "no diodes"):
        kind = dataclasses.replace(
            kind,
            name=name,
            cells=(10, 6),
            half_cut=False,
            bypass_groups=0 if name == "no diodes" else kind.bypass_groups,
        )
    return panel_model(kind), group_map(kind, "portrait", *kind.cells).ravel()


@given(st.one_of(st.floats(-70.0, 9000.0), st.floats(9000.0, 1e6)))
def test_log_omega_against_scipy(z: float) -> None:
    """scipy.special.wrightomega; below -20 ln ω is z to 2e-9."""
    found, slope = log_omega.py_func(z, omega_table())
    omega = float(wrightomega(z))
    assert found == pytest.approx(np.log(omega), abs=6e-4)
    assert slope == pytest.approx(1.0 / (1.0 + omega), rel=0.05, abs=0.01)


def shaded(model: PanelModel, points: int, panels: int, n: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    light = np.repeat(rng.uniform(60.0, 1000.0, n), panels * points).reshape(n, panels, points)
    edge = rng.integers(0, points + 1, (n, panels, 1))
    light *= np.where(np.arange(points) < edge, rng.uniform(0.03, 1.0, (n, panels, 1)), 1.0)
    light *= rng.uniform(0.97, 1.0, light.shape)
    return light.astype(np.float32), rng.uniform(-10.0, 70.0, (n, 1)) + np.zeros((n, panels))


def in_series(
    light: np.ndarray, groups: np.ndarray, model: PanelModel, cell_c: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """`followed_power` of equal panels: light (n, panels, points), cell_c (n, panels)."""
    n, panels, _ = light.shape
    return followed_power(light.reshape(n, -1), [PanelGroup(groups)] * panels, model, cell_c)


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("panels", [1, 3])
def test_against_the_full_solution(name: str, panels: int) -> None:
    model, groups = case(name)
    light, cell_c = shaded(model, len(groups), panels, 240, 5)
    fast = in_series(light, groups, model, cell_c)[0]
    error = (fast - string_power(light, groups, model, cell_c)) / (panels * model.rated_w)
    assert np.percentile(np.abs(error), 99) < 0.006
    assert abs(error.mean()) < 0.0006


@pytest.mark.parametrize("name", KINDS)
def test_the_point_lies_on_the_curve(name: str) -> None:
    """At the current of the power found, the full solution's curve has the voltage found."""
    model, groups = case(name)
    light, cell_c = shaded(model, len(groups), 1, 60, 6)
    power, volts = in_series(light, groups, model, cell_c)
    current = power / np.maximum(volts, 1e-6)
    steps = np.linspace(0.0, 1.2, 400, dtype=np.float32) * current[:, None]
    curve = full_panel_curve(light[:, 0], groups, model, cell_c[:, 0], steps)
    there = [float(np.interp(i, step, v)) for i, step, v in zip(current, steps, curve, strict=True)]
    assert np.median(np.abs(there - volts) / volts) < 0.002
    assert np.quantile(np.abs(there - volts) / volts, 0.9) < 0.01


def test_one_group_dark_leaves_two_thirds_less_the_diode() -> None:
    """Case 56 of the solved ones: with ideal diodes two thirds of the even panel; here one diode's half volt is lost."""
    model, groups = case("full cells")
    light = np.full((2, 1, len(groups)), 1000.0, dtype=np.float32)
    light[1, 0, groups == 0] = 0.0
    power, volts = in_series(light, groups, model, np.full((2, 1), 25.0))
    assert power[0] == pytest.approx(model.rated_w, rel=2e-3)
    lost = 0.5 * power[1] / volts[1]
    assert power[1] == pytest.approx(2.0 / 3.0 * power[0] - lost, rel=5e-3)


@settings(max_examples=50, deadline=None)
@given(st.sampled_from(KINDS), st.integers(0, 2**31), st.integers(1, 4))
def test_more_light_on_all_cells_never_gives_less(name: str, seed: int, panels: int) -> None:
    model, groups = case(name)
    light, cell_c = shaded(model, len(groups), panels, 6, seed)
    less, more = (in_series(light * np.float32(f), groups, model, cell_c)[0] for f in (1.0, 1.1))
    assert (less >= 0.0).all()
    assert (more >= less - 0.006 * panels * model.rated_w).all()


@pytest.mark.parametrize("name", KINDS)
def test_groups_lit_alike_are_followed_once_to_the_same_effect(name: str) -> None:
    """Panels that differ by a hundredth of a percent are followed each by itself or together: twelve times one."""
    model, groups = case(name)
    light, cell_c = shaded(model, len(groups), 1, 60, 7)
    jitter = np.random.default_rng(8).uniform(0.9999, 1.0001, (60, 12, 1))
    alone = in_series(light, groups, model, cell_c)[0]
    twelve = in_series((light * jitter).astype(np.float32), groups, model, np.repeat(cell_c, 12, axis=1))[0]
    assert twelve == pytest.approx(12.0 * alone, rel=2e-3, abs=2e-3 * model.rated_w)


def test_a_group_lit_otherwise_is_not_taken_for_its_neighbour() -> None:
    """One panel of twelve with a twentieth less light holds the string back by what the full solution says."""
    model, groups = case("full cells")
    light = np.full((2, 12, len(groups)), 800.0, dtype=np.float32)
    light[:, :, groups == 0] *= 0.6
    light[1, 5] *= 0.95
    cell_c = np.full((2, 12), 40.0)
    fast, full = in_series(light, groups, model, cell_c)[0], string_power(light, groups, model, cell_c)
    assert fast[0] - fast[1] == pytest.approx(float(full[0] - full[1]), rel=0.15)
    assert fast[1] < fast[0] * 0.99


def test_compiled_code_older_than_a_source_is_dropped(tmp_path: Path) -> None:
    kept, other = tmp_path / "follow_kernel.follow-1.nbi", tmp_path / "follow_kernel.other-1.nbi"
    for changed, stays in ((1.0, False), (4e9, True)):
        for file in (kept, other):
            file.touch()
            os.utime(file, (changed, changed))
        drop_older(tmp_path, "follow_kernel.follow-*.nbi")
        assert kept.exists() is stays
        assert other.exists()


def test_dark_hours_give_nothing() -> None:
    model, groups = case("mono_glass")
    power, _ = in_series(np.zeros((3, 1, len(groups)), dtype=np.float32), groups, model, np.full((3, 1), 10.0))
    assert (power < 2e-4 * model.rated_w).all()  # cells count as lit by 0.1 W/m² at least
