"""Bypass groups on the panel's face."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout.panel_type import PanelType
from layout.power.cells import PanelDataError, cells_in_series, group_map


def panel_type(**changes: object) -> PanelType:
    values: dict[str, object] = {
        "name": "trial", "length_m": 1.7, "width_m": 1.0, "cells": (10, 6), "half_cut": False,
        "bypass_groups": 3, "group_direction": "length", "pmax_w": 270.0, "vmp_v": 31.0, "imp_a": 8.71,
        "voc_v": 38.3, "isc_a": 9.43, "alpha_isc_pct_per_k": 0.06, "beta_voc_pct_per_k": -0.36,
        "gamma_pmax_pct_per_k": -0.45,
    }  # fmt: skip
    return PanelType(**(values | changes))  # type: ignore[arg-type]


def test_portrait_strips_stand_upright() -> None:
    assert group_map(panel_type(), "portrait", 2, 6).tolist() == [[0, 0, 1, 1, 2, 2]] * 2


def test_landscape_strips_lie() -> None:
    """A shadow from below on a landscape panel meets one group first, on a portrait panel all three."""
    landscape = group_map(panel_type(), "landscape", 6, 10)
    assert landscape[:2].tolist() == [[0] * 10] * 2
    assert set(landscape[0]) == {0}
    assert set(group_map(panel_type(), "portrait", 10, 6)[0]) == {0, 1, 2}


def test_half_cut_lower_and_upper_half() -> None:
    found = group_map(panel_type(half_cut=True, cells=(20, 6)), "portrait", 4, 6)
    assert found.tolist() == [[0, 0, 2, 2, 4, 4]] * 2 + [[1, 1, 3, 3, 5, 5]] * 2
    assert cells_in_series(panel_type(half_cut=True, cells=(20, 6))) == 60


def test_groups_across_the_panel() -> None:
    found = group_map(panel_type(cells=(12, 6), group_direction="width"), "portrait", 6, 4)
    assert found[:, 0].tolist() == [0, 0, 1, 1, 2, 2]


def test_no_diode_is_one_group() -> None:
    assert set(group_map(panel_type(bypass_groups=0), "portrait", 4, 4).ravel()) == {0}


def test_coarse_net_that_misses_a_group_is_refused() -> None:
    with pytest.raises(PanelDataError, match="net of 4 × 2 points"):
        group_map(panel_type(), "portrait", 4, 2)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"cells": (10, 5)}, "bypass_groups: found 3; accepted: a number that divides the 5 cells"),
        ({"cells": (9, 6), "half_cut": True}, r"cells\[0\]: found 9; accepted: an even number"),
        ({"group_direction": "across"}, 'group_direction: found "across"'),
    ],
)
def test_cells_that_cannot_be_dealt_out(changes: dict[str, object], words: str) -> None:
    with pytest.raises(PanelDataError, match=words):
        group_map(panel_type(**changes), "portrait", 6, 6)


@given(
    st.integers(1, 4),
    st.booleans(),
    st.sampled_from(["length", "width"]),
    st.sampled_from(["portrait", "landscape"]),
    st.integers(1, 3),
)
def test_every_part_gets_the_same_share(
    groups: int, half_cut: bool, direction: str, orientation: str, fine: int
) -> None:
    panel = panel_type(cells=(24, 12), bypass_groups=groups, half_cut=half_cut, group_direction=direction)
    shape = (24 * fine, 12 * fine) if orientation == "portrait" else (12 * fine, 24 * fine)
    found = group_map(panel, orientation, *shape)  # type: ignore[arg-type]
    assert found.shape == shape
    assert len(set(np.bincount(found.ravel()).tolist())) == 1
    assert len(np.unique(found)) == groups * (2 if half_cut else 1)
