"""A small plan, worked out once for all tests of reports and commands."""

from pathlib import Path

import pytest

from layout.plan import read_plan
from layout.result import PlanResult
from layout.run import run_plan

SMALL_PLAN = """\
title = "Orchard corner <two & three>"

[site]
name = "corrawindle"

[plot]
boundary = [[0, 0], [11, -2], [13, 8], [2, 9]]
setback_m = 0.4
slope_deg = 6
slope_azimuth_deg = 330

[[plot.obstacle]]
name = "pump house"
outline = [[9, 4.5], [11, 4.5], [11, 6], [9, 6]]
height_m = 2.6

[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 22
azimuth_deg = 0
pitch_m = 3.4

[[layout]]
name = "upright"
kind = "upright"
azimuth_deg = 85
pitch_m = 5

[[layout]]
name = "towers"
kind = "towers"
side_m = 1.15
height_m = 1.8
base_height_m = 0.4
spacing_m = 5.5
"""


@pytest.fixture(scope="session")
def small_plan_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small plan as a file."""
    path = tmp_path_factory.mktemp("small") / "small.toml"
    path.write_text(SMALL_PLAN, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def small_result(small_plan_path: Path) -> PlanResult:
    """The small plan's year."""
    return run_plan(read_plan(small_plan_path))
