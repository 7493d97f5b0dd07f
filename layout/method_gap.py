"""How far the year's fast electrical method and the full solution are apart on a layout's own light: in the hours in
which uneven light costs most and in the hours about the median of the power."""

import numpy as np

from layout.evaluate import Evaluator, FieldYear
from layout.field import Field, blocks
from layout.light.sky_parts import Glass
from layout.peaks import PeakBlock
from layout.power.full_curve import full_panel_power
from layout.power.method import dc_power, method_name
from layout.result_gap import HoursGap, MethodGap
from sites.conventions import FloatArray, IntArray

HOURS_EACH = 8
PANELS = 6
"""Traced again for this, each with every cell and at the true sun. Our choice: a tenth of a second of computing."""


def method_gap(field: Field, evaluator: Evaluator, year: FieldYear, glass: Glass) -> MethodGap:
    """Both methods on the same cells, light and temperature; panels spread evenly over those that are traced."""
    worst, median = worst_hours(year), median_hours(year)
    hours = np.concatenate([worst, median])
    at = evaluator.conditions.at_hours(hours)
    traced = np.concatenate([f.traced for f in field.families])
    chosen = traced[np.unique(np.linspace(0, len(traced) - 1, min(PANELS, len(traced))).round().astype(np.int64))]
    fast, full = np.zeros(len(hours)), np.zeros(len(hours))
    for block in blocks(field.with_full_cells(np.sort(chosen)), at, glass):
        seen = PeakBlock.of(block, at, evaluator)
        light = (seen.electric * (1.0 - evaluator.dirt)).astype(np.float32)
        flat = light.reshape(-1, light.shape[2])
        args = (flat, block.family.groups, evaluator.model, seen.cell_c.mean(axis=2).reshape(-1))
        fast += dc_power(*args).reshape(light.shape[:2]).sum(axis=1, dtype=np.float64)
        full += full_panel_power(*args).reshape(light.shape[:2]).sum(axis=1, dtype=np.float64)
    split = len(worst)
    of_worst, of_median = _gap(fast[:split], full[:split]), _gap(fast[split:], full[split:])
    return MethodGap(method_name(evaluator.model), len(chosen), of_worst, of_median)


def worst_hours(year: FieldYear) -> IntArray:
    """The hours in which uneven light takes most power from the layout, the most first."""
    return np.argsort(year.hour["dc"] - year.hour["dc_even"], kind="stable")[:HOURS_EACH]


def median_hours(year: FieldYear) -> IntArray:
    """The hours about the median of the DC power of the sun-up hours."""
    ranked = np.argsort(year.hour["dc"], kind="stable")
    first = max(0, (len(ranked) - HOURS_EACH) // 2)
    return ranked[first : first + HOURS_EACH]


def _gap(fast: FloatArray, full: FloatArray) -> HoursGap:
    """From the power of each hour."""
    lit = full > 0.0
    if not lit.any():
        return HoursGap(len(full), float("nan"), float("nan"))
    each = fast[lit] / full[lit] - 1.0
    return HoursGap(len(full), float(fast.sum() / full.sum() - 1.0), float(each[np.abs(each).argmax()]))
