"""``run_plan``: every layout of a plan on its one plot."""

from collections.abc import Collection
from dataclasses import replace

import numpy as np

from layout.adjust import monthly, wants_adjusting
from layout.arrange import arrange
from layout.arrange.endless import endless_arrangement
from layout.conditions import Conditions, conditions
from layout.endless import EndlessPattern
from layout.panel_types import load_panel_type
from layout.plan import Layout, Plan
from layout.power.panel_model import panel_model
from layout.power.uneven import cells_dc_power
from layout.result import LayoutResult, PlanResult
from layout.workers import work_through
from layout.year import Progress, layout_year
from layout.year_figures import Settings
from sites.conventions import FloatArray
from sites.weather_files import load_weather

ENDLESS_STEPS = 15
ENDLESS_REACH_M = (60.0, 240.0)
"""How far the endless pattern goes on around the unit that is looked at: so many of its longer steps, within these
limits. Towers in line leave aisles that see far; experiment: tests/layout/test_fair.py prints the error."""


def run_plan(
    plan: Plan, progress: Progress | None = None, only: Collection[str] | None = None, processes: int = 1
) -> PlanResult:
    """Work out a year for the layouts of a plan.

    progress : told (label, done, total) as panels are finished
    only : names of the layouts wanted (default all)
    processes : so many layouts at once, each in a process of its own. Above 1 the calling program's own file must
        not run work when it is imported (``if __name__ == "__main__":``), where systems start processes anew

    Raises sites.errors.InputError where the weather cannot be used or a layout has no panel that fits.
    """
    weather = load_weather(plan.site)
    year = conditions(plan.site, weather, plan.run.bounces)
    layouts = [layout for layout in plan.layouts if only is None or layout.name in only]
    if processes > 1:
        _make_ready()
    found = work_through(_one, (plan, year), layouts, progress, processes)
    results = {layout.name: result for layout, result in zip(layouts, found, strict=True)}
    return PlanResult(plan, results, weather.notes, plan.warnings)


def _make_ready() -> None:
    """Load the electricity's kernel, compiled where it has not been: once, before work is shared out to processes."""
    model = panel_model(load_panel_type("mono_glass"))
    parts = np.arange(model.groups * model.halves)
    cells_dc_power(np.zeros((1, len(parts)), dtype=np.float32), parts, model, np.zeros(1))


def plan_settings(plan: Plan) -> Settings:
    """The plan's losses, inverter and ways of working."""
    return Settings(plan.inverter, plan.losses, plan.run.full_cells, plan.run.repetition, plan.wiring, plan.hot_water)


def endless_reach_m(first: FloatArray, second: FloatArray) -> float:
    """How far a pattern with these steps (2,) [m] is built where it has no end."""
    step = max(float(np.linalg.norm(first)), float(np.linalg.norm(second)))
    return float(np.clip(ENDLESS_STEPS * step, *ENDLESS_REACH_M))


def _one(common: tuple[Plan, Conditions], layout: Layout, progress: Progress | None) -> LayoutResult:
    plan, year = common
    arrangement = arrange(plan, layout)
    endless = None
    if arrangement.repeat is not None:
        pattern, unit, area = endless_arrangement(plan, layout, endless_reach_m(*arrangement.repeat))
        endless = EndlessPattern(pattern, unit, area)
    result = layout_year(arrangement, year, plan_settings(plan), endless, progress)
    if result.boost is None or not wants_adjusting(layout):
        return result
    adjusted = monthly(plan, layout, year, plan_settings(plan))
    return replace(result, boost=replace(result.boost, adjusted=adjusted))
