"""How far the year's fast electrical method and the full solution are apart on a layout's own light: in the hours in
which uneven light costs most and in the hours about the median of the power."""

from dataclasses import dataclass

import numpy as np

from layout.conditions import Conditions
from layout.evaluate import Evaluator, FieldYear
from layout.field import Field, blocks
from layout.light.sky_parts import Glass
from layout.peaks import PeakBlock
from layout.power.full_curve import full_panel_power, tracker_power
from layout.power.method import METHOD, dc_power
from layout.result_gap import HoursGap, MethodGap, StringsGap
from layout.string_year import PanelYear, panel_years, trackers_dc_w
from layout.strings import Tracker, trackers_of
from sites.conventions import Float32Array, FloatArray, IntArray

HOURS_EACH = 8
PANELS = 6
"""Traced again for this, each with every cell and at the true sun. Our choice: a tenth of a second of computing."""

TRACKER_PANELS = 40
"""The most panels traced again for each of two trackers. Our choice: less than a second of computing."""


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
    strings = strings_gap(field, evaluator, year, glass)
    return MethodGap(METHOD, len(chosen), of_worst, of_median, strings)


def strings_gap(field: Field, evaluator: Evaluator, year: FieldYear, glass: Glass) -> StringsGap | None:
    """Both methods on whole trackers, the first and the last of those that the full solution can take: equal panels,
    strings of one length, not too many panels to trace. Hours by the power of the layout as it is wired."""
    trackers = [t for t in trackers_of(field.arrangement, evaluator.wiring) if _can_be_solved(t, field)]
    if not trackers:
        return None
    trackers = trackers[:1] + trackers[1:][-1:]
    worst, median = worst_hours(year, "wired"), median_hours(year, "wired")
    at = evaluator.conditions.at_hours(np.concatenate([worst, median]))
    kept = _panels_again(np.concatenate([p for t in trackers for p in t]), field, evaluator, at, glass)
    fast, full = np.sum([_powers(t, kept, field, evaluator) for t in trackers], axis=0)
    split, panels = len(worst), sum(len(s) for t in trackers for s in t)
    return StringsGap(len(trackers), panels, _gap(fast[:split], full[:split]), _gap(fast[split:], full[split:]))


def _can_be_solved(tracker: Tracker, field: Field) -> bool:
    panels = np.concatenate(tracker)
    if len({len(s) for s in tracker}) > 1 or len(np.unique(field.of_panel[panels])) > TRACKER_PANELS:
        return False
    family = [np.isin(field.of_panel[panels], f.traced).all() for f in field.families]
    return bool(any(family) and np.ptp(field.arrangement.area_scale[panels]) == 0.0)


@dataclass(frozen=True, eq=False)
class _Again:
    """A panel with every cell in some hours: year, as strings need it; light : (hours, cells) [W/m²]; groups :
    (cells,)."""

    year: PanelYear
    light: Float32Array
    groups: IntArray


def _panels_again(
    panels: IntArray, field: Field, evaluator: Evaluator, at: Conditions, glass: Glass
) -> dict[int, _Again]:
    """The traced panels that stand for these, by number."""
    found = {}
    for block in blocks(field.with_full_cells(np.unique(field.of_panel[panels])), at, glass):
        seen = PeakBlock.of(block, at, evaluator)
        light = (seen.electric * (1.0 - evaluator.dirt)).astype(np.float32)
        warm, cells, groups = seen.cell_c.mean(axis=2), light.shape[2], block.family.groups
        alone = dc_power(light.reshape(-1, cells), groups, evaluator.model, warm.reshape(-1)).reshape(warm.shape)
        years = panel_years(block, light, warm, alone.astype(np.float64))
        for place, number in enumerate(block.panels.tolist()):
            found[number] = _Again(years[number], light[:, place], groups)
    return found


def _powers(
    tracker: Tracker, kept: dict[int, _Again], field: Field, evaluator: Evaluator
) -> tuple[FloatArray, FloatArray]:
    """DC power of a tracker by the year's method and by the full solution, (hours,) [W] each."""
    model, window = evaluator.model, evaluator.wiring.window_v
    strings = [[kept[int(field.of_panel[p])] for p in s] for s in tracker]
    scale = float(field.arrangement.area_scale[tracker[0][0]])
    alone = scale * np.sum([panel.year.dc_w for s in strings for panel in s], axis=0)
    years = {number: panel.year for number, panel in kept.items()}
    fast = trackers_dc_w((tracker,), years, field, model, alone, window).held
    light = np.stack([np.stack([panel.light for panel in s], axis=1) for s in strings], axis=1)
    warm = np.stack([np.stack([panel.year.cell_c for panel in s], axis=1) for s in strings], axis=1)
    full = tracker_power(light, strings[0][0].groups, model, warm, window_v=window).power
    return fast, scale * full.astype(np.float64)


def worst_hours(year: FieldYear, power: str = "dc") -> IntArray:
    """The hours in which uneven light takes most power from the layout, the most first; ``power`` : each panel by
    itself or as ``wired``."""
    return np.argsort(year.hour[power] - year.hour["dc_even"], kind="stable")[:HOURS_EACH]


def median_hours(year: FieldYear, power: str = "dc") -> IntArray:
    """The hours about the median of the DC power of the sun-up hours."""
    ranked = np.argsort(year.hour[power], kind="stable")
    first = max(0, (len(ranked) - HOURS_EACH) // 2)
    return ranked[first : first + HOURS_EACH]


def _gap(fast: FloatArray, full: FloatArray) -> HoursGap:
    """From the power of each hour."""
    lit = full > 0.0
    if not lit.any():
        return HoursGap(len(full), float("nan"), float("nan"))
    each = fast[lit] / full[lit] - 1.0
    return HoursGap(len(full), float(fast.sum() / full.sum() - 1.0), float(each[np.abs(each).argmax()]))
