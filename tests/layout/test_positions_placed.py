"""Rows placed on a small plot by the model, traced whole, and put back into a plan."""

from pathlib import Path

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import conditions
from layout.optimise.pair_losses import energies
from layout.optimise.place_trace import place_rows, place_towers
from layout.optimise.positions_nets import Limit
from layout.optimise.positions_towers import site_net
from layout.plan import Plan, parse_plan
from layout.run import plan_settings
from sites.weather_files import load_weather

PLOT = """
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [11, -2], [13, 8], [2, 12]]
setback_m = 0.4
[[plot.obstacle]]
outline = [[9, 4.5], [11, 4.5], [11, 6], [9, 6]]
height_m = 2.6
[[layout]]
name = "it"
"""
ROWS = 'kind = "rows"\ntilt_deg = 22\nazimuth_deg = 0\npitch_m = 3.4\n'
TOWERS = 'kind = "towers"\nside_m = 1.15\nheight_m = 0.6\nbase_height_m = 0.4\nspacing_m = 3\n'


def plan_of(layout: str) -> Plan:
    return parse_plan(PLOT + layout, "plan.toml", Path())


@pytest.mark.parametrize("most", [None, 20])
def test_rows_traced_whole_agree_and_go_back_into_a_plan(most: int | None) -> None:
    plan = plan_of(ROWS)
    year, settings = conditions(plan.site, load_weather(plan.site)), plan_settings(plan)
    limits = [] if most is None else [Limit("panels", "panels", 1.0, most=most)]
    placed = place_rows(plan, plan.layouts[0], year, settings, 0.4, 0.4, limits)
    last, best = placed.rounds[-1], placed.rounds[placed.best]
    assert best.traced_kwh == max(r.traced_kwh for r in placed.rounds)
    print(placed.rounds, [r.difference_fraction for r in placed.rounds])
    assert abs(last.difference_fraction) <= 0.01
    assert placed.chosen.gap_fraction <= 1e-6
    regular = arrange(plan, plan.layouts[0])
    keys = [
        f"{k} = {list(getattr(placed.layout, k))}" for k in ("positions_m", "row_columns") if getattr(placed.layout, k)
    ]
    again = plan_of(ROWS.replace("3.4", f"{placed.layout.pitch_m}") + "\n".join(keys))
    built = arrange(again, again.layouts[0])
    assert len(built.scene.panels) == placed.chosen.panels.sum()
    assert float(energies(built, year, settings).sum()) == pytest.approx(best.traced_kwh, rel=1e-9)
    if most is None:
        assert best.traced_kwh > float(energies(regular, year, settings).sum())
    else:
        assert len(built.scene.panels) == most


def test_towers_traced_whole_agree() -> None:
    plan = plan_of(TOWERS)
    year, settings = conditions(plan.site, load_weather(plan.site)), plan_settings(plan)
    sites = site_net(plan, plan.layouts[0], 2.3)
    placed = place_towers(plan, plan.layouts[0], year, settings, sites, 3.0)
    print(len(sites), placed.rounds, [r.difference_fraction for r in placed.rounds])
    assert abs(placed.rounds[-1].difference_fraction) <= 0.01
    at = np.array(placed.layout.sites)
    away = np.linalg.norm(at[:, None] - at, axis=2) + np.diag(np.full(len(at), np.inf))
    assert away.min() >= 3.0 - 1e-6
    assert len(arrange(plan, placed.layout).scene.panels) == placed.chosen.sites.size * len(
        arrange(plan, placed.layout.model_copy(update={"sites": placed.layout.sites[:1]})).scene.panels
    )
