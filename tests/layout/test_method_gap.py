"""How far the year's electrical method is from the full solution, as told of a layout."""

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import conditions
from layout.method_gap import HOURS_EACH, PANELS, TRACKER_PANELS, _gap, _part
from layout.plan import parse_plan
from layout.report.gap_rows import gap_rows
from layout.result import PlanResult
from layout.run import plan_settings
from layout.year import layout_year
from sites.weather_files import load_weather


def test_both_kinds_of_hours_are_told(small_result: PlanResult) -> None:
    for name, r in small_result.layouts.items():
        assert r.method_gap is not None
        told = r.to_dict()["method_gap"]
        assert told["panels"] == min(PANELS, r.traced_panels)
        for which in ("worst", "median"):
            gap = told[which]
            assert gap["hours"] == HOURS_EACH
            assert abs(gap["energy_fraction"]) <= abs(gap["furthest_fraction"]) + 1e-9
        assert abs(told["worst"]["energy_fraction"]) < 0.01, name
        assert abs(told["median"]["energy_fraction"]) < 0.004


WIRED = """
title = "short rows"
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [6, 0], [6, 5], [0, 5]]
[panel]
name = "{panel}"
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 30
azimuth_deg = 0
pitch_m = 1.7
[wiring]
mode = "row"
panels_per_string = 3
strings_per_tracker = 2
tracker_min_v = {least}
"""


@pytest.mark.parametrize(("panel", "least", "most"), [("mono_glass", 60, 0.004), ("thin_film", 20, 0.004)])
def test_strings_are_told_by_the_years_own_path(panel: str, least: float, most: float) -> None:
    """Within a few tenths of a per cent of the energy, as the 0.2 % of the mean that the 10,000 patterns ask for; both
    methods see each panel's own light."""
    plan = parse_plan(WIRED.format(panel=panel, least=least), "rows.toml", Path())
    arrangement, found = arrange(plan, plan.layouts[0]), conditions(plan.site, load_weather(plan.site))
    year = found.picked(np.arange(0, len(found.albedo), 61))
    gap = layout_year(arrangement, year, plan_settings(plan)).method_gap
    assert gap is not None
    assert gap.strings is not None
    assert (gap.strings.trackers, gap.strings.in_part) == (2, 0)
    assert 4 <= gap.strings.panels <= 12
    for hours in (gap.strings.worst, gap.strings.median):
        assert hours.hours == HOURS_EACH
        assert -most < hours.energy_fraction < 0.002
        assert abs(hours.energy_fraction) <= abs(hours.furthest_fraction) + 1e-9
    assert gap.strings.worst.energy_fraction != gap.worst.energy_fraction
    table = gap_rows({"rows": SimpleNamespace(method_gap=gap)}).rows  # type: ignore[dict-item]
    assert table[1][:2] == ("", f"the same, {gap.strings.panels} panels on 2 trackers")


PIECES = """
title = "pieces in a list"
[site]
name = "corrawindle"
[panel]
name = "mono_glass"
[[layout]]
name = "pieces"
kind = "pieces"
{panels}
[[layout.blocker]]
corner = [1.1, 1.9, 0.05]
along = [0.2, 0, 0]
up = [0, 0, 1.6]
[wiring]
mode = "list"
[[wiring.string]]
layout = "pieces"
panels = [0, 1, 2]
tracker = 1
[[wiring.string]]
layout = "pieces"
panels = [3, 4]
tracker = 1
"""
PIECE = """
[[layout.panel]]
corner = [{x}, 0, 0.5]
along = [{along}, 0, 0]
up = [0, {up[0]}, {up[1]}]
"""


def test_unequal_panels_and_strings_are_looked_at_too() -> None:
    """Strings of three and of two panels on one tracker, one panel half as large, one lying on its side."""
    upright, lying, half = (1.1, (1.5, 0.92)), (1.76, (0.94, 0.57)), (1.1, (0.75, 0.46))
    shapes = (upright, half, upright, lying, upright)
    pieces = "".join(PIECE.format(x=1.9 * i, along=a, up=up) for i, (a, up) in enumerate(shapes))
    plan = parse_plan(PIECES.format(panels=pieces), "pieces.toml", Path())
    arrangement, found = arrange(plan, plan.layouts[0]), conditions(plan.site, load_weather(plan.site))
    assert len(np.unique(arrangement.area_scale.round(3))) > 1
    year = found.picked(np.arange(0, len(found.albedo), 61))
    gap = layout_year(arrangement, year, plan_settings(plan)).method_gap
    assert gap is not None
    assert gap.strings is not None
    assert (gap.strings.trackers, gap.strings.panels, gap.strings.in_part) == (1, 5, 0)
    for hours in (gap.strings.worst, gap.strings.median):
        assert abs(hours.energy_fraction) < 0.004


def test_of_a_tracker_with_very_many_panels_some_strings_are_looked_at() -> None:
    tracker = tuple(np.arange(12 * k, 12 * k + 12) for k in range(40))
    field: Any = SimpleNamespace(of_panel=np.arange(480))
    part = _part(tracker, field)
    assert len(part) == TRACKER_PANELS // 12
    assert [s[0] for s in (part[0], part[-1])] == [0, 468]
    assert _part(tracker, SimpleNamespace(of_panel=np.arange(480) % 60)) == tracker  # type: ignore[arg-type]
    long: Any = SimpleNamespace(of_panel=np.arange(400))
    assert len(_part((np.arange(200), np.arange(200, 400)), long)) == 1


def test_one_line_a_layout(small_result: PlanResult) -> None:
    rows = gap_rows(small_result.layouts).rows
    assert [row[0] for row in rows] == list(small_result.layouts)
    assert all(row[2].endswith(" %") for row in rows)


def test_hours_without_power_have_no_gap() -> None:
    assert math.isnan(_gap(np.zeros(3), np.zeros(3)).energy_fraction)
    found = _gap(np.array([99.0, 50.0, 0.0]), np.array([100.0, 52.0, 0.0]))
    assert found.energy_fraction == pytest.approx(149 / 152 - 1)
    assert found.furthest_fraction == pytest.approx(50 / 52 - 1)
