"""How far the year's fast electrical method and the full solution are apart on a layout's own light: in the hours in
which uneven light costs most and in the hours about the median of the power."""

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from layout.conditions import Conditions
from layout.evaluate import STANDARD_C, Evaluator, FieldYear
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

TRACKER_PANELS = 120
"""Different panels traced again for a tracker; of one with more, some of its strings. Our choice: half a second of
computing. How many hours are looked at hardly matters to it."""

TRACKER_RAYS = 233
"""Rays to the sky's dome for these: a string's panels see each other's shadows, and both methods the same light."""


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
    """Both methods on whole trackers: the first, the last, and the first with unequal panels or strings; None where
    there are none. Hours by the power of the layout as it is wired."""
    there = [[s[field.of_panel[s] >= 0] for s in t] for t in trackers_of(field.arrangement, evaluator.wiring)]
    trackers = [tuple(s for s in t if len(s)) for t in there]
    trackers = _some([t for t in trackers if t], field)
    if not trackers:
        return None
    parts = [_part(t, field) for t in trackers]
    worst, median = worst_hours(year, "wired"), median_hours(year, "wired")
    at = evaluator.conditions.at_hours(np.concatenate([worst, median]))
    at = replace(at, parts=replace(at.parts, dome_rays=min(TRACKER_RAYS, at.parts.dome_rays)))
    kept = _panels_again(np.concatenate([p for t in parts for p in t]), field, evaluator, at, glass)
    fast, full = np.sum([_powers(t, kept, field, evaluator) for t in parts], axis=0)
    split, panels = len(worst), sum(len(s) for t in parts for s in t)
    in_part = sum(len(part) < len(whole) for part, whole in zip(parts, trackers, strict=True))
    gaps = _gap(fast[:split], full[:split]), _gap(fast[split:], full[split:])
    return StringsGap(len(trackers), panels, in_part, *gaps)


def _some(trackers: list[Tracker], field: Field) -> list[Tracker]:
    """The first, the last, and the first with unequal panels or strings of unequal length where neither is such."""
    found = trackers[:1] + trackers[1:][-1:]
    unequal = [t for t in trackers if not _equal(t, field)]
    return found + unequal[:1] if unequal and all(_equal(t, field) for t in found) else found


def _equal(tracker: Tracker, field: Field) -> bool:
    """Whether strings are of one length, and panels of one size and one way to lie."""
    panels, arrangement = np.concatenate(tracker), field.arrangement
    ways = len({len(s) for s in tracker}), len(np.unique(arrangement.orientation[panels]))
    return ways == (1, 1) and bool(np.ptp(arrangement.area_scale[panels]) == 0.0)


def _part(tracker: Tracker, field: Field) -> Tracker:
    """A tracker with no more than `TRACKER_PANELS` different panels: strings spread evenly over it, at least one."""
    for count in range(len(tracker), 1, -1):
        places = np.linspace(0, len(tracker) - 1, count).round().astype(np.int64)
        strings = tuple(tracker[i] for i in places)
        if len(np.unique(field.of_panel[np.concatenate(strings)])) <= TRACKER_PANELS:
            return strings
    return tracker[:1]


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
    model, window, scale = evaluator.model, evaluator.wiring.window_v, field.arrangement.area_scale
    alone = np.sum([scale[p] * kept[int(field.of_panel[p])].year.dc_w for s in tracker for p in s], axis=0)
    years = {number: panel.year for number, panel in kept.items()}
    fast = trackers_dc_w((tracker,), years, field, model, alone, window).held
    # a string that is there several times is one of larger panels
    alike = Counter(tuple(sorted((int(field.of_panel[p]), float(scale[p])) for p in s)) for s in tracker)
    longest, first = max(len(s) for s in alike), next(iter(kept.values()))
    shape = len(fast), len(alike), longest
    light, warm = np.zeros((*shape, first.light.shape[1]), dtype=np.float32), np.full(shape, STANDARD_C)
    size = np.zeros(shape[1:])
    for i, (string, times) in enumerate(alike.items()):
        for k, (number, area) in enumerate(string):
            panel = kept[number]
            order = np.argsort(panel.groups, kind="stable")  # panels may lie in different ways
            light[:, i, k], warm[:, i, k], size[i, k] = panel.light[:, order], panel.year.cell_c, times * area
    full = tracker_power(light, np.sort(first.groups), model, warm, window_v=window, size=size).power
    return fast, full.astype(np.float64)


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
