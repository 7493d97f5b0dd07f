"""Power taken up by shaded cells."""

import dataclasses
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import layout
from layout.panel_type import PanelType
from layout.power.cells import group_map
from layout.power.full_curve import cell_power, tracker_power
from layout.power.hot_spot import HotSpot, hot_spot, hot_spot_cautions
from layout.power.panel_model import BYPASS_V, PanelModel, panel_model

LIBRARY = Path(layout.__file__).parent / "library" / "panels"


@cache
def case(name: str) -> tuple[PanelModel, np.ndarray]:
    file = "mono_glass" if name == "full cells" else name
    values = tomllib.loads((LIBRARY / f"{file}.toml").read_text())
    panel = PanelType(**(values | {"cells": tuple(values["cells"])}))
    if name == "full cells":
        panel = dataclasses.replace(panel, name=name, cells=(10, 6), half_cut=False)
    return panel_model(panel), group_map(panel, "portrait", *panel.cells).ravel()


def spots(name: str, lit: np.ndarray, diodes: bool | None, panels: int = 12) -> HotSpot:
    """One cell at a share ``lit`` of 1000 W/m², air at 25 °C, no wind."""
    model, groups = case(name)
    light = np.full((len(lit), groups.size), 1000.0, dtype=np.float32)
    light[:, 3] *= lit.astype(np.float32)
    still = np.zeros(len(lit))
    return hot_spot(light, groups, model, still + 25.0, still, panels, diodes)


def test_even_light_takes_up_nothing() -> None:
    found = spots("full cells", np.ones(1), None)
    assert found.taken_up_w[0] == 0.0
    assert found.cell_c[0] == pytest.approx(25.0 + 1000.0 / 25.0, abs=0.01)


def test_diode_bounds_the_power_taken_up() -> None:
    """With a diode the cell stands at no more reverse voltage than its group's other cells give plus the
    diode's drop, at no more than the current of the brightest cell: the usual reason for diodes."""
    model, _ = case("full cells")
    found = spots("full cells", np.linspace(0.0, 0.95, 20), None)
    panel = model.panel_type
    most = (panel.voc_v / 3 * 19 / 20 + BYPASS_V) * panel.isc_a
    assert np.all(found.taken_up_w < most)
    assert np.all(found.cell[found.taken_up_w > 0] == 3)
    assert found.taken_up_w.max() > 10.0


def test_failed_diode_is_worse_in_a_string() -> None:
    lit = np.array([0.1, 0.3, 0.5])
    working, failed = spots("full cells", lit, None), spots("full cells", lit, False)
    assert np.all(failed.taken_up_w > 1.3 * working.taken_up_w)
    assert np.all(failed.cell_c > working.cell_c)


def test_cells_balance_the_panel() -> None:
    """What all cells give, less what the bypass diodes take, is the panel's power."""
    model, groups = case("mono_glass")
    rng = np.random.default_rng(2)
    light = np.where(rng.random((8, groups.size)) < 0.1, 200.0, 900.0).astype(np.float32)
    held = tracker_power(light[:, None, None], groups, model, np.full((8, 1, 1), 40.0))
    given = cell_power(light, groups, model, np.full(8, 40.0), held.part_current[:, 0, 0])
    through_diodes = held.current - held.part_current[:, 0, 0].sum(axis=2)
    lost = BYPASS_V * np.maximum(through_diodes, 0.0).sum(axis=1)
    assert given.sum(axis=1) - lost == pytest.approx(held.power, rel=5e-3)


def test_cautions_name_power_temperature_and_limit() -> None:
    model, _ = case("full cells")
    lit = np.array([0.1, 0.5])
    working, failed = spots("full cells", lit, None), spots("full cells", lit, False)
    lines = hot_spot_cautions(working, failed, model)
    assert any("bypass diode have failed open" in line for line in lines)
    assert all("limit is 85 °C" in line and "licensed" in line for line in lines)
    even = spots("full cells", np.ones(1), None)
    assert hot_spot_cautions(even, even, model) == ()
