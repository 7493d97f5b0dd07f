"""Bundled panel types and what a datasheet is warned of. Wrong datasheets: test_bad_plans."""

from typing import Any

import numpy as np
import pytest
from pvlib.spectrum import get_reference_spectra

from layout.panel_type import PanelType
from layout.panel_types import (
    BIFACIAL,
    CURRENT_LIMIT_A_M2,
    MONO,
    list_panel_types,
    load_panel_type,
    panel_from_datasheet,
)
from layout.power.cells import check_cells, group_count
from sites.errors import Fault, InputError

SHEET: dict[str, Any] = {
    "length_m": 1.8,
    "width_m": 1.1,
    "cells": [20, 6],
    "half_cut": True,
    "pmax_w": 420,
    "vmp_v": 32.3,
    "imp_a": 13.0,
    "voc_v": 38.6,
    "isc_a": 13.75,
    "alpha_isc_pct_per_k": 0.05,
    "beta_voc_pct_per_k": -0.26,
    "gamma_pmax_pct_per_k": -0.34,
}


def panel_of(**keys: Any) -> tuple[PanelType, list[str]]:
    faults: list[Fault] = []
    warnings: list[str] = []
    panel = panel_from_datasheet("own", {**SHEET, **keys}, "plan", "panel", faults, warnings)
    assert not faults
    assert panel is not None
    return panel, warnings


@pytest.mark.parametrize("name", list_panel_types())
def test_bundled_types(name: str) -> None:
    panel = load_panel_type(name)
    assert panel.name == name
    assert "nvented" in panel.note
    assert panel.limits_stated
    check_cells(panel)
    again: list[str] = []
    keys = {f: getattr(panel, f) for f in SHEET} | {"bypass_groups": panel.bypass_groups}
    panel_from_datasheet("again", keys | {"group_direction": panel.group_direction}, "p", "", [], again)
    assert again == []


def test_names_and_faces() -> None:
    assert {MONO, BIFACIAL} < set(list_panel_types())
    assert load_panel_type(MONO).bifaciality == 0.0
    assert load_panel_type(BIFACIAL).bifaciality > 0.5


def test_datasheet_and_defaults() -> None:
    panel, warnings = panel_of()
    assert warnings == []
    assert (panel.name, panel.cells, panel.bypass_groups, panel.group_direction) == (
        "own",
        (20, 6),
        3,
        "length",
    )
    assert (panel.max_cell_c, panel.max_light_w_m2, panel.limits_stated) == (85.0, 1250.0, False)
    assert (panel.u0_w_m2_k, panel.u1_w_s_m3_k) == (25.0, 6.84)
    assert panel.area_m2 == pytest.approx(1.98)
    one = panel_of(max_cell_c=90)[0]
    assert (one.max_cell_stated, one.max_light_stated, one.limits_stated) == (True, False, False)
    assert panel_of(max_cell_c=90)[0].max_cell_c == 90.0


def test_groups_follow_the_rule_of_the_electrical_model() -> None:
    for groups in range(12):
        for direction in ("length", "width"):
            keys = {"bypass_groups": groups, "group_direction": direction}
            faults: list[Fault] = []
            panel = panel_from_datasheet("own", {**SHEET, **keys}, "plan", "panel", faults, [])
            across = 6 if direction == "length" else 10
            assert (panel is not None) == (groups < 2 or across % groups == 0)
            if panel is not None:
                check_cells(panel)
                assert group_count(panel) == max(1, groups)


@pytest.mark.parametrize(
    ("keys", "warning"),
    [
        (
            {"length_m": 1.1, "width_m": 1.0},
            "panel.pmax_w: 38.2 % of the sunlight is above what one junction can give (33.7 %)",
        ),
        (
            {"half_cut": False},
            "panel.isc_a: 13.75 A is more than silicon cells of this size can give; look at cells and half_cut",
        ),
        ({"width_m": 1.9}, "panel.width_m: longer than length_m; portrait and landscape may be mixed up"),
        (
            {"cells": [16, 3], "isc_a": 13.2},
            "panel.voc_v: 1.61 V a cell is unusual; look at cells and half_cut",
        ),
        (
            {"voc_v": 60.0, "isc_a": 15.0},
            "panel.pmax_w: a fill factor of 0.47 is unusual",
        ),
        (
            {"gamma_pmax_pct_per_k": 0.1},
            "panel.gamma_pmax_pct_per_k: a panel that gains power with heat is unusual",
        ),
        (
            {"beta_voc_pct_per_k": -0.0027},
            "panel.beta_voc_pct_per_k: -0.0027 is unusual, -0.1 to -0.6 common; percent per K, not V or W",
        ),
    ],
)
def test_what_looks_wrong_is_warned_of(keys: dict[str, Any], warning: str) -> None:
    assert warning in panel_of(**keys)[1]


def test_current_limit_is_that_of_the_standard_spectrum() -> None:
    # ASTM G173-03 global through pvlib's table of the standard; up to 280-4000 nm it sums to the printed
    # 1000.37 W/m². Photons above 1.12 eV (h, c, e exact since 2019), one electron each.
    table = get_reference_spectra()["global"]
    nm = table.index.to_numpy(np.float64)
    power = table.to_numpy(np.float64)
    assert np.trapezoid(power, nm) == pytest.approx(1000.37, abs=0.01)
    photon_ev = 6.62607015e-34 * 299792458.0 / 1.602176634e-19 / (nm * 1e-9)
    current = np.trapezoid(np.where(photon_ev >= 1.12, power / photon_ev, 0.0), nm)
    assert pytest.approx(current, rel=1e-3) == CURRENT_LIMIT_A_M2


def test_unknown_type_names_the_nearest() -> None:
    with pytest.raises(InputError) as error:
        load_panel_type("thinfilm")
    assert (
        str(error.value) == "panel: name: found no bundled panel type 'thinfilm'; accepted: 'thin_film' (nearest known)"
    )
