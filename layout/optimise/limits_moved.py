"""Limits tested again where assumptions move: the hottest cell, the brightest-cell ratio, the money.

The hours and panels that decide as assumed are traced once and lit by each case's sky; other hours hardly come first
within the few per cent that assumptions move. Limits on what stands there hang on no assumption.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.evaluate import evaluate
from layout.field import blocks, build_field
from layout.optimise.cost import money
from layout.optimise.judge import excess
from layout.optimise.moves import Case, reflecting
from layout.optimise.whole import arranged_figures
from layout.peaks import PEAK_DOME_RAYS, PEAK_DRAWS, PeakBlock, peak_hours
from layout.plan import Plan
from layout.power.glass import transmission_ratio
from layout.year import evaluator_of

BY_LIGHT = ("hottest_cell_c", "peak_cell_ratio")

TESTED = (*BY_LIGHT, "money")
"""Limits that are tested again."""


def limit_figures(plan: Plan, arrangement: Arrangement, cases: Sequence[Case]) -> list[dict[str, float]]:
    """Figures that given limits of ``TESTED`` hold against, for each case."""
    assert plan.optimise is not None
    limits = plan.optimise.limits
    found: list[dict[str, float]] = [{} for _ in cases]
    if any(getattr(limits, key) is not None for key in BY_LIGHT):
        found = _peaks(arrangement, cases)
    figures = arranged_figures(plan, arrangement)
    for told, case in zip(found, cases, strict=True):
        if limits.money is not None and case.prices is not None:
            told["money"] = money(case.prices, arrangement.kind, figures)
    return found


def broken(plan: Plan, figures: dict[str, float]) -> tuple[str, ...]:
    """Limits that these figures miss; others are not looked at."""
    assert plan.optimise is not None
    limits = plan.optimise.limits
    others = {k: None for k, _ in limits if k not in figures}
    return tuple(excess(limits.model_copy(update=others), figures))


def _peaks(arrangement: Arrangement, cases: Sequence[Case]) -> list[dict[str, float]]:
    """Hottest cell and brightest-cell ratio in each case; the first one is as assumed."""
    shifts = np.array([case.reflectance_shift if arrangement.scene.reflectors else 0.0 for case in cases])
    found: list[dict[str, float]] = [{} for _ in cases]
    for shift in np.unique(shifts):
        index = np.flatnonzero(shifts == shift)
        told = _peaks_of(reflecting(arrangement, float(shift)), cases[0], [cases[int(i)] for i in index])
        for i, figures in zip(index, told, strict=True):
            found[int(i)] = figures
    return found


def _peaks_of(arrangement: Arrangement, base: Case, cases: Sequence[Case]) -> list[dict[str, float]]:
    evaluator = evaluator_of(arrangement, base.year, base.settings)
    field = build_field(arrangement, base.year, base.settings.full_cells, base.settings.repetition)
    year = evaluate(field, evaluator, transmission_ratio, lambda _: None)
    hours, panels = peak_hours(year, field, evaluator)
    at = base.year.at_hours(hours)
    parts = replace(at.parts, dome_rays=PEAK_DOME_RAYS, draws=PEAK_DRAWS)
    traced = list(blocks(field.with_full_cells(panels), replace(at, parts=parts), transmission_ratio))
    found = []
    for case in cases:
        made = replace(arrangement, panel_type=case.panel(arrangement.panel_type))
        by, then = evaluator_of(made, case.year, case.settings), replace(case.year.at_hours(hours), parts=parts)
        seen = [PeakBlock.of(block, then, by) for block in traced]
        hottest, ratio = max(float(b.cell_c.max()) for b in seen), max(b.ratio() for b in seen)
        found.append({"hottest_cell_c": hottest, "peak_cell_ratio": ratio})
    return found
