"""How far the year's electrical method is from the full solution, as told of a layout."""

import math

import numpy as np
import pytest

from layout.method_gap import HOURS_EACH, PANELS, _gap
from layout.report.gap_rows import gap_rows
from layout.result import PlanResult


def test_both_kinds_of_hours_are_told(small_result: PlanResult) -> None:
    for name, r in small_result.layouts.items():
        assert r.method_gap is not None
        told = r.to_dict()["method_gap"]
        assert told["panels"] == min(PANELS, r.traced_panels)
        for which in ("worst", "median"):
            gap = told[which]
            assert gap["hours"] == HOURS_EACH
            assert abs(gap["energy_fraction"]) <= abs(gap["furthest_fraction"]) + 1e-9
        # the weakest-cell rule overstates what shade costs: below 0 but for a few last digits
        assert -0.06 < told["worst"]["energy_fraction"] < 0.002, name
        assert told["median"]["energy_fraction"] < 0.002


def test_one_line_a_layout(small_result: PlanResult) -> None:
    rows = gap_rows(small_result.layouts).rows
    assert [row[0] for row in rows] == list(small_result.layouts)
    assert all(row[2].endswith(" %") for row in rows)


def test_hours_without_power_have_no_gap() -> None:
    assert math.isnan(_gap(np.zeros(3), np.zeros(3)).energy_fraction)
    found = _gap(np.array([99.0, 50.0, 0.0]), np.array([100.0, 52.0, 0.0]))
    assert found.energy_fraction == pytest.approx(149 / 152 - 1)
    assert found.furthest_fraction == pytest.approx(50 / 52 - 1)
