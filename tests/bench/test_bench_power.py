"""Panel-hours a minute of the electrical methods, in as many threads as there are cores, by the clock and by processor
time, which a machine busy with other work lengthens less.

Run alone: pytest -m bench tests/bench/test_bench_power.py -s
"""

import os
import time
import tomllib
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import layout
from layout.panel_type import PanelType
from layout.plan import read_plan
from layout.power import uneven
from layout.power.cells import group_map
from layout.power.full_curve import full_panel_power
from layout.power.panel_model import PanelModel, panel_model
from layout.power.uneven import cells_dc_power
from layout.report.demo import DEMO_PLAN
from layout.run import run_plan

LIBRARY = Path(layout.__file__).parent / "library" / "panels"
Method = Callable[[np.ndarray, np.ndarray, PanelModel, np.ndarray], np.ndarray]


def light(kind: str, n: int, shape: tuple[int, int]) -> np.ndarray:
    rng = np.random.default_rng(0)
    up = (np.arange(shape[0]) + 0.5)[None, :, None] / shape[0]
    base = rng.uniform(50.0, 1000.0, (n, 1, 1))
    if kind == "even":
        values = np.broadcast_to(base, (n, *shape))
    elif kind == "sloping light":
        values = base * (1.0 + rng.uniform(-0.06, 0.06, (n, 1, 1)) * (up - 0.5)) + np.zeros((n, *shape))
    elif kind.startswith("slanting"):
        across, turn = np.meshgrid(*((np.arange(k) + 0.5) / k - 0.5 for k in shape)), rng.uniform(0.0, 6.3, (n, 1, 1))
        dark = np.cos(turn) * across[0].T + np.sin(turn) * across[1].T < rng.uniform(-0.5, 0.5, (n, 1, 1))
        values = base * np.where(dark, rng.uniform(0.1, 0.5, (n, 1, 1)), 1.0)
        if kind.endswith("scattered light"):
            values = values * rng.uniform(0.9, 1.1, values.shape)
    else:
        values = base * (0.15 + 0.85 * (up > rng.random((n, 1, 1)))) + np.zeros((n, *shape))
    return values.reshape(n, -1).astype(np.float32)


@pytest.mark.bench
@pytest.mark.parametrize(
    ("method", "kind", "n"),
    [
        (cells_dc_power, "even", 1_000_000),
        (cells_dc_power, "sloping light", 1_000_000),
        (cells_dc_power, "shadow edge", 400_000),
        (cells_dc_power, "slanting shadow edge", 400_000),
        (cells_dc_power, "slanting shadow edge and scattered light", 200_000),
        (full_panel_power, "shadow edge", 20_000),
    ],
)
def test_panel_hours_a_minute(method: Method, kind: str, n: int) -> None:
    """The year's method on 6 × 6 points of a half-cut panel, the full solution on its 120 cells."""
    values = tomllib.loads((LIBRARY / "mono_glass.toml").read_text())
    panel = PanelType(**(values | {"cells": tuple(values["cells"])}))
    model, cores = panel_model(panel), os.cpu_count() or 1
    shape = panel.cells if method is full_panel_power else (6, 6)
    groups = group_map(panel, "portrait", *shape).ravel()
    rows, cell_c = light(kind, n, shape), np.full(n, 40.0, dtype=np.float32)
    parts = np.array_split(np.arange(n), 4 * cores)
    method(rows[:100], groups, model, cell_c[:100])  # compiled and tabulated once
    assert rate(f"{method.__name__}, {kind}", n, lambda i: method(rows[i], groups, model, cell_c[i]), parts) > 0.0


def rate(what: str, n: int, work: Callable[[Any], Any], parts: Sequence[Any]) -> float:
    """Million panel-hours a minute by the clock of ``n`` in parts, in as many threads as there are cores; printed."""
    cores = os.cpu_count() or 1
    with ThreadPoolExecutor(cores) as pool:
        start, used = time.perf_counter(), time.process_time()
        list(pool.map(work, parts))
        seconds, used = time.perf_counter() - start, time.process_time() - used
    clock, processor = (60e-6 * n / s for s in (seconds, used / cores))
    print(
        f"\n{what}: {clock:.1f} million panel-hours a minute on {cores} cores by the clock, "
        f"{processor:.1f} by processor time"
    )
    return clock


@pytest.mark.bench
def test_panel_hours_a_minute_in_the_demos_light(monkeypatch: pytest.MonkeyPatch) -> None:
    """Light as it is traced in the demo's layouts: all of it, and where cells differ by a tenth and by a third of the
    mean."""
    kept: list[tuple[Any, ...]] = []
    rng, followed = np.random.default_rng(0), uneven.followed_power

    def keep(light_w_m2: np.ndarray, panels: Any, model: PanelModel, cell_c: np.ndarray) -> Any:
        mean = light_w_m2.mean(axis=1)
        lit = np.flatnonzero(mean > 5.0)
        some = rng.choice(lit, min(len(lit), 4000), replace=False)
        kept.append(
            (light_w_m2[some], panels, model, np.asarray(cell_c)[some], np.ptp(light_w_m2[some], axis=1) / mean[some])
        )
        return followed(light_w_m2, panels, model, cell_c)

    monkeypatch.setattr(uneven, "followed_power", keep)
    run_plan(read_plan(DEMO_PLAN), processes=1)
    for least in (0.0, 0.1, 1.0 / 3.0):
        parts, n = [], 0
        for light_w_m2, panels, model, cell_c, apart in kept:
            rows = np.flatnonzero(apart >= least)
            if len(rows):
                rows = rng.permutation(np.resize(rows, 20_000))
                parts.append((light_w_m2[rows], panels, model, cell_c[rows]))
                n += len(rows)
        assert rate(f"the demo's light, cells at least {least:.0%} apart", n, lambda part: followed(*part), parts) > 0.0
