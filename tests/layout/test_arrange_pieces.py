"""Pieces that a plan gives one by one."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout.arrange import Arrangement, arrange
from layout.arrange.endless import endless_arrangement
from layout.plan import Plan, parse_plan, read_plan

ROOT = Path(__file__).parents[2]
SLOPE = "[plot]\nboundary = [[0, 0], [20, 0], [20, 20], [0, 20]]\nslope_deg = 15\nslope_azimuth_deg = 270\n"


def plan_of(pieces: str, head: str = "") -> Plan:
    text = f'[site]\nname = "tannerfold"\n{head}[[layout]]\nname = "own"\nkind = "pieces"\n{pieces}'
    return parse_plan(text, "plan.toml", Path())


def panel(corner: object, along: object, up: object, more: str = "") -> str:
    return f"[[layout.panel]]\ncorner = {corner}\nalong = {along}\nup = {up}\n{more}"


def built(plan: Plan) -> Arrangement:
    return arrange(plan, plan.layouts[0])


def test_power_goes_with_area_and_cells_with_the_longer_edge() -> None:
    plan = plan_of(panel([5, 5, 1], [3.52, 0, 0], [0, 1.1, 0]) + panel([5, 8, 1], [1, 0, 0], [0, 0, 1.76]))
    arrangement = built(plan)
    assert arrangement.area_scale.tolist() == pytest.approx([2.0, 1.76 / (1.76 * 1.1)])
    assert arrangement.orientation.tolist() == [1, 0]
    assert [p.cells for p in arrangement.scene.panels] == [(6, 20), (20, 6)]
    assert arrangement.string.tolist() == [0, 1]
    assert arrangement.repeat is None


@given(
    x=st.floats(0, 20),
    y=st.floats(0, 20),
    z=st.floats(0, 5),
)
def test_z_counts_from_the_ground_below_the_corner(x: float, y: float, z: float) -> None:
    plan = plan_of(panel([x, y, z], [0, 1, 0], [0, 0, 1]), SLOPE)
    corner = built(plan).scene.panels[0].corner
    # The ground falls toward the west: it rises by tan 15° per metre east.
    np.testing.assert_allclose(corner, [x, y, z + x * np.tan(np.radians(15.0))], atol=1e-9)


def test_one_bifacial_piece_makes_the_type_bifacial() -> None:
    plan = plan_of(panel([1, 1, 1], [1, 0, 0], [0, 1, 0]) + panel([3, 1, 1], [1, 0, 0], [0, 0, 1], "bifacial = true\n"))
    arrangement = built(plan)
    assert arrangement.panel_type.name == "bifacial_glass"
    assert [p.bifacial for p in arrangement.scene.panels] == [False, True]


def test_blockers_and_obstacles_stand_too() -> None:
    blocker = "[[layout.blocker]]\ncorner = [2, 2, 0]\nalong = [1, 0, 0]\nup = [0, 0, 2]\n"
    plan = plan_of(panel([10, 10, 0.5], [1, 0, 0], [0, 1, 0]) + blocker)
    arrangement = built(plan)
    obstacles = len(built(plan_of(panel([10, 10, 0.5], [1, 0, 0], [0, 1, 0]))).scene.blockers)
    assert obstacles >= 10
    assert len(arrangement.scene.blockers) == obstacles + 1
    np.testing.assert_allclose(arrangement.scene.blockers[0].corner, [2, 2, 0])


def test_pieces_off_the_plot_are_told() -> None:
    inside, outside = panel([10, 10, 1], [1, 0, 0], [0, 1, 0]), panel([70, 10, 1], [1, 0, 0], [0, 1, 0])
    assert built(plan_of(inside)).fit == ("1 panel, each where the plan puts it",)
    assert built(plan_of(inside + outside)).fit == (
        "2 panels, each where the plan puts it",
        "1 of them reach beyond the usable part of the plot",
    )


def test_without_a_plot_the_ground_is_level() -> None:
    plan = read_plan(ROOT / "examples" / "car_port.toml")
    arrangement = built(plan)
    assert arrangement.scene.ground is not None
    assert arrangement.scene.ground.slope_deg == 0.0
    assert arrangement.scene.ground.albedo == pytest.approx(0.25)
    # The roofs look up and apart, the wall south.
    west, east, wall = (p.normal for p in arrangement.scene.panels)
    assert west[0] < 0 < west[2]
    assert east[0] > 0 < east[2]
    np.testing.assert_allclose(wall, [0, -1, 0], atol=1e-12)


def test_pieces_have_no_pattern() -> None:
    plan = plan_of(panel([10, 10, 1], [1, 0, 0], [0, 1, 0]))
    with pytest.raises(ValueError, match="no pattern"):
        endless_arrangement(plan, plan.layouts[0], 10.0)
