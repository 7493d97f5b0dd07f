"""Two small plans, one with reflectors, each worked out once for all tests of reports and commands."""

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

BOOSTED_PLAN = """\
title = "Yard with reflectors"

[site]
name = "corrawindle"

[plot]
boundary = [[0, 0], [6, 0], [6, 5], [0, 5]]

[[layout]]
name = "mirrored"
kind = "rows"
tilt_deg = 40
azimuth_deg = 0
pitch_m = 3.4

[[layout.booster]]
reflector = "mirror"
place = "aisle"
width_m = 1.2
tilt_deg = 10
adjust = "monthly"

[[layout]]
name = "winged"
kind = "rows"
tilt_deg = 22
azimuth_deg = 0
pitch_m = 3.4
panel_gap_m = 0.9

[[layout.booster]]
reflector = "one_way_spreader"
place = "wings"
sides = ["left", "right"]
depth_m = 0.6
opening_deg = 60

[[layout]]
name = "towers"
kind = "towers"
side_m = 1.1
height_m = 1.8
base_height_m = 0.4
spacing_m = 3.4

[[layout.booster]]
reflector = "matt"
place = "between"
width_m = 1.0
tilt_deg = 10
faces = ["north", "east"]

[[layout.booster]]
reflector = "mirror"
place = "posts"
width_m = 1.0
height_m = 1.0
azimuth_deg = 0

[[layout]]
name = "covered"
kind = "rows"
tilt_deg = 22
azimuth_deg = 0
pitch_m = 3.4

[layout.cover]
diffuser = "satin_spreader"
gap_m = 0.04
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


@pytest.fixture(scope="session")
def boosted_plan_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small plan with reflectors and covers as a file."""
    path = tmp_path_factory.mktemp("boosted") / "boosted.toml"
    path.write_text(BOOSTED_PLAN, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def boosted_result(boosted_plan_path: Path) -> PlanResult:
    """Its year."""
    return run_plan(read_plan(boosted_plan_path), processes=2)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests that need the boosted year stay in one process, where tests are shared out to several."""
    for item in items:
        if "boosted_result" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.xdist_group("boosted"))
