"""Two layouts on one plot: never worse than the better of the two alone, by the model and traced; back into a plan."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import Conditions, conditions
from layout.optimise import pair_losses
from layout.optimise.pair_losses import energies
from layout.optimise.place_mixed import SharedLimit, Task, mix_rows, mix_rows_and_towers
from layout.optimise.place_trace import Placed, place_rows, place_towers
from layout.optimise.positions_nets import Limit
from layout.optimise.positions_towers import site_net
from layout.optimise.write_plan import plain_table, to_toml
from layout.plan import Plan, parse_plan
from layout.run import plan_settings
from sites.weather_files import load_weather

PLOT = """
[site]
latitude_deg = 29.4
longitude_deg = -101.7
elevation_m = 310
time_zone = "Etc/GMT+7"
[site.climate]
ghi_kwh_per_m2_day = [3.5, 4.4, 5.5, 6.2, 6.6, 7.0, 7.1, 6.6, 5.5, 4.7, 3.8, 3.2]
air_c = [9, 12, 16, 20, 24, 28, 29, 29, 26, 20, 14, 10]
wind_m_s = [3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3]
[plot]
boundary = [[0, 0], [8, -1], [9, 8], [9.1, 14], [7.7, 14], [7.6, 8.2], [1, 9]]
[[plot.obstacle]]
outline = [[5, 6], [6, 6], [6, 7], [5, 7]]
height_m = 1.5
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 24
azimuth_deg = 180
pitch_m = 2.6
[[layout]]
name = "bright"
kind = "rows"
tilt_deg = 34
azimuth_deg = 180
pitch_m = 3
[[layout.booster]]
reflector = "mirror"
place = "aisle"
width_m = 0.8
tilt_deg = 8
[[layout]]
name = "towers"
kind = "towers"
side_m = 1.15
height_m = 0.6
base_height_m = 0.3
spacing_m = 3
"""
NET, SITES, AISLE = 1.1, 2.6, 0.3


pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def ready() -> Iterator[tuple[Plan, Conditions]]:
    """The plan and its year; bays of rows that are no longer than the plot, for speed."""
    plan = parse_plan(PLOT, "plan.toml", Path())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pair_losses, "BAY_HALF_M", 6.0)
        yield plan, conditions(plan.site, load_weather(plan.site))


def task(ready: tuple[Plan, Conditions], most: int | None, seconds: float = 60.0) -> Task:
    plan, year = ready
    limits = [] if most is None else [SharedLimit("panels", "panels", (1.0, 1.0), most)]
    return Task(plan, year, plan_settings(plan), limits, 0.0, seconds, AISLE)


def places(plan: Plan) -> np.ndarray:
    """For towers: a net, and two in the tail."""
    return np.concatenate([site_net(plan, plan.layouts[2], SITES), [[8.4, 10.4], [8.4, 12.8]]])  # type: ignore[arg-type]


def alone(made: Task, name: str) -> Placed:
    """One of the layouts by itself, on the same net."""
    layout: Any = next(x for x in made.plan.layouts if x.name == name)
    most = made.limits[0].most if made.limits else None
    if layout.kind == "towers":
        sites = places(made.plan)
        limits = [] if most is None else [Limit("panels", "panels", site=np.full(len(sites), 5.0), most=most)]
        return place_towers(made.plan, layout, made.year, made.settings, sites, 0.0, limits, least_aisle_m=AISLE)
    limits = [] if most is None else [Limit("panels", "panels", 1.0, most=most)]
    return place_rows(made.plan, layout, made.year, made.settings, NET, AISLE, limits)


def mixed(made: Task, first: str, second: str) -> Placed:
    by: dict[str, Any] = {x.name: x for x in made.plan.layouts}
    if second == "towers":
        sites = places(made.plan)
        return mix_rows_and_towers(made, "both", by[first], by["towers"], NET, sites)
    return mix_rows(made, "both", by[first], by[second], NET)


@pytest.mark.parametrize(("second", "most"), [("bright", 14), ("towers", None), ("towers", 14)])
def test_both_together_are_never_worse_than_either_alone(
    ready: tuple[Plan, Conditions], second: str, most: int | None
) -> None:
    made = task(ready, most)
    found = mixed(made, "rows", second)
    first = found.rounds[0]
    print(second, most, found.rounds, found.chosen)
    assert found.chosen.gap_fraction <= 1e-6
    # Before any correction both models know the same energies: those of one layout are among the choices of both.
    for name in ("rows", second):
        assert first.model_kwh >= alone(made, name).rounds[0].model_kwh * (1 - 1e-6)
    if second == "towers" and most is None:  # in the plot's tail, too narrow for a row
        assert len(found.chosen.rows)
        assert len(found.chosen.sites)
    panels = len(found.layout.panel)  # type: ignore[union-attr]
    assert panels == found.chosen.panels.sum() + 5 * len(found.chosen.sites)
    assert most is None or panels <= most
    # What is traced is what the pieces give when they come back from a plan file.
    head = PLOT[: PLOT.index("[[layout]]")]
    again = parse_plan(head + to_toml({"layout": [plain_table(found.layout)]}), "again.toml", Path())
    built = arrange(again, again.layouts[0])
    traced = float(energies(built, made.year, made.settings).sum())
    assert traced == pytest.approx(found.rounds[found.best].traced_kwh, rel=1e-3)
    assert abs(found.rounds[-1].difference_fraction) <= 0.02


def test_without_time_the_answer_is_still_no_worse(ready: tuple[Plan, Conditions]) -> None:
    """The solver begins from a choice found before, so that a second is enough for an answer."""
    made = replace(task(ready, 14), time_limit_s=1.0)
    assert mixed(made, "rows", "towers").rounds[0].model_kwh >= alone(made, "rows").rounds[0].model_kwh * (1 - 1e-6)
