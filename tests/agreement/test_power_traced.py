"""Fast electricity against the full solution on light traced from the demo's layouts: every cell, true sun.

The random half of the patterns is in tests/layout/test_power_uneven.py.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from layout.arrange import arrange
from layout.conditions import conditions
from layout.field import blocks, build_field
from layout.panel_type import PanelType
from layout.panel_types import load_panel_type
from layout.peaks import PeakBlock
from layout.plan import read_plan
from layout.power.cells import group_map
from layout.power.full_curve import full_panel_power, string_power
from layout.power.glass import transmission_ratio
from layout.power.panel_model import panel_model
from layout.power.uneven import cells_dc_power, series_dc_power
from layout.report.demo import DEMO_PLAN
from layout.run import plan_settings
from layout.year import evaluator_of
from sites.weather_files import load_weather

TYPES = ("mono_glass", "bifacial_glass", "thin_film")
HOURS, PANELS = 160, 14

pytestmark = pytest.mark.long


def groups_of(kind: PanelType, lies: int, n_up: int, n_along: int) -> np.ndarray:
    return group_map(kind, "landscape" if lies else "portrait", n_up, n_along).ravel()


@cache
def traced(name: str) -> tuple[tuple[np.ndarray, np.ndarray, tuple[int, int, int]], ...]:
    """Of each demo layout without sheets built of a type: light (panels, hours, cells) that cells use, their mean
    temperature (panels, hours), and how they lie (1: landscape) with cells up and along."""
    plan = read_plan(DEMO_PLAN)
    year = conditions(plan.site, load_weather(plan.site))
    rng = np.random.default_rng(8)
    at = year.at_hours(np.sort(rng.choice(len(year.albedo), HOURS, replace=False)))
    found = []
    for layout in plan.layouts:
        built = arrange(plan, layout.model_copy(update={"panel": name}))
        if built.scene.reflectors or built.scene.diffusers:
            continue
        field, evaluator = build_field(built, at, True, True), evaluator_of(built, at, plan_settings(plan))
        some = np.concatenate([f.traced for f in field.families])
        some = np.sort(rng.choice(some, min(PANELS, len(some)), replace=False))
        for block in blocks(field.with_full_cells(some), at, transmission_ratio):
            seen = PeakBlock.of(block, at, evaluator)
            net, lies = block.family.net, int(built.orientation[block.panels[0]])
            assert np.array_equal(groups_of(built.panel_type, lies, net.n_up, net.n_along), block.family.groups)
            light, cell_c = np.moveaxis(seen.electric, 1, 0), seen.cell_c.mean(axis=2).T
            found.append((light.astype(np.float32), cell_c, (lies, net.n_up, net.n_along)))
    return tuple(found)


def errors(name: str, diodes: bool, panels: int) -> np.ndarray:
    """Fast less full power over rated power; ``panels`` of one layout in the same hour in series."""
    kind = load_panel_type(name)
    if not diodes:
        kind = replace(kind, name=f"{name} without diodes", bypass_groups=0)
    model, found = panel_model(kind), []
    for light, cell_c, net in traced(name):
        groups = groups_of(kind, *net)
        strings = np.resize(np.arange(len(light)), (-(-len(light) // panels), panels))
        lit = light[strings].transpose(0, 2, 1, 3).reshape(-1, panels, light.shape[2])
        warm = cell_c[strings].transpose(0, 2, 1).reshape(-1, panels)
        if panels == 1:
            fast, full = (f(lit[:, 0], groups, model, warm[:, 0]) for f in (cells_dc_power, full_panel_power))
        else:
            fast, full = (f(lit, groups, model, warm) for f in (series_dc_power, string_power))
        found.append((fast - full) / (panels * model.rated_w))
    return np.concatenate(found)


@pytest.mark.parametrize("panels", [1, 12])
@pytest.mark.parametrize(
    ("name", "diodes"), [(n, True) for n in TYPES] + [("mono_glass", False), ("bifacial_glass", False)]
)
def test_fast_follows_full_on_traced_light(name: str, diodes: bool, panels: int) -> None:
    """Within 1 % of nameplate at the 99th percentile, 0.2 % in the mean."""
    error = errors(name, diodes, panels)
    worst = float(np.percentile(np.abs(error), 99))
    wired = "its own diodes, if any" if diodes else "no diodes"
    print(
        f"\n{name}, {wired}, {panels} in series: {len(error)} patterns, mean {error.mean():+.5f}, "
        f"99th percentile {worst:.5f}, largest {np.abs(error).max():.5f} of nameplate"
    )
    assert len(error) >= (5000 if panels == 1 else 900)
    assert worst < 0.01
    assert abs(error.mean()) < 0.002
