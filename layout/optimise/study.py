"""The shape search of one layout: what is best within the limits, what holds it back, how flat it is.

The search ranks by one bay and the mean number of panels over all shifts of the pattern, which is smooth; shapes near
the best are then traced whole on the plot, and the best of these is the answer.
"""

from collections.abc import Callable, Collection
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from layout.conditions import Conditions
from layout.optimise.bay import BayLayout
from layout.optimise.judge import UNBUILDABLE, Judge, Traced, excess
from layout.optimise.search import Point, Variables, search
from layout.optimise.store import Store
from layout.optimise_tables import LimitsTable, Value, VaryTable, whole_number, with_values
from layout.plan import Layout, Plan, RowsLayout, panel_type_of
from layout.plan_checks import stack_size
from layout.report.optimise_names import limit_words
from layout.report.sun_paths import winter_spacing
from sites.errors import Fault, InputError

FLAT = 0.01
"""Within this share of the best score a value counts as just as good."""

REACHED = 0.02
"""A limit counts as reached when the answer lies within this share of it."""

TRACED_BY_SHIFT, TRACED_BY_MEAN = 5, 1
"""Shapes traced whole: the best by the score at the pattern's best shift, and by the mean over shifts. On three plots,
rows and boosted rows, the best of ten traced was the first by the score at the best shift each time."""

MOST_TRACED = 24
"""Shapes traced whole at most, where many of them miss limits that only whole tracing shows."""

MAKES_REAL = {
    "pitch_m": ("panels", "dc_capacity_kw", "aisle_m", "money"),
    "spacing_m": ("panels", "dc_capacity_kw", "aisle_m", "money"),
    "tilt_deg": ("height_m", "panels", "dc_capacity_kw", "money"),
    "panels_high": ("height_m", "panels", "money"),
    "clearance_m": ("height_m", "money"),
    "base_height_m": ("height_m", "money"),
    "height_m": ("height_m", "panels", "money"),
    "side_m": ("panels", "dc_capacity_kw", "money"),
    "panel_gap_m": ("panels", "dc_capacity_kw", "money"),
}
"""Limits that hold a layout's numbers back by something that matters on the ground, by key."""

SHEETS_REAL = ("reflector_area_m2", "money", "hottest_cell_c", "peak_cell_ratio")


@dataclass(frozen=True)
class Held:
    """The best lies on a bound of what may vary.

    gain : share of the score that one twentieth of the range beyond it would bring, NaN where reason tells why not
    real : limits not given that would hold the value back for a reason of the ground, not of the search
    """

    key: str
    bound: str
    value: float
    gain: float
    reason: str
    real: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Study:
    """traced : shapes traced whole on the plot, best first;  best : the search's point at the first one's values
    points, figures : all that were judged and can be built, in order;  new : years worked out now, not found in the
        store
    flat : by key the smallest and largest value (of words, the words) within 1 % of the best score, others held
    winter : pitch by the rule without shade from 9 to 15 h at midwinter, the share of the score that it costs, and
        the limits it breaks; None where the pitch does not vary or no pitch is enough
    """

    layout: BayLayout
    traced: tuple[Traced, ...]
    best: Point
    best_figures: dict[str, float]
    points: list[Point]
    figures: list[dict[str, float]]
    new: int
    held: tuple[Held, ...]
    flat: dict[str, tuple[Value, ...]]
    winter: tuple[float, float, tuple[str, ...]] | None


def study(
    plan: Plan,
    layout: BayLayout,
    year: Conditions,
    store: Store,
    told: Callable[[int], None] = lambda _: None,
    later: Collection[str] = (),
) -> Study:
    """Search the shapes of one layout and trace the best of them whole.

    later : limits that may be missed where no shape keeps them, since places chosen afterwards will
    Raises InputError where no shape keeps the limits: which one is missed, and by how much at least.
    """
    table = plan.optimise
    assert table is not None
    vary = [_stepped(layout, v) for v in table.vary if v.layout == layout.name]
    judge = Judge(plan, table, layout, year, store, told)
    top, points = search(vary, judge, table.evaluations)
    built = [p for p in points if p.violation < UNBUILDABLE]
    figures = [judge.figures(p.values) or {} for p in built]
    if top.violation > 0 and not set(excess(table.limits, judge.figures(top.values) or {"": 0.0})) <= set(later):
        raise InputError(missed(plan, layout, table.limits, figures))
    near = [(p, f) for p, f in zip(built, figures, strict=True) if p.violation <= 0 or p is top]
    traced = _traced_whole(judge, near)
    if not traced or not set(traced[0].broken) <= set(later):
        raise InputError(missed(plan, layout, table.limits, [t.figures for t in traced] or figures))
    best = next(p for p in built if p.values == traced[0].values)
    held = tuple(h for v in vary if (h := _held(judge, v, best)) is not None)
    winter, flat = _winter(judge, vary, best), {v.key: _flat(judge, v, best) for v in vary}
    best_figures = judge.figures(best.values) or {}
    return Study(layout, traced, best, best_figures, built, figures, judge.new, held, flat, winter)


def reached(limits: LimitsTable, figures: dict[str, float]) -> tuple[str, ...]:
    """Limits that a layout comes within 2 % of."""
    given = {k: v for k, v in limits if v is not None}
    return tuple(k for k, v in given.items() if abs(figures[k] - v) <= REACHED * abs(v))


def _stepped(layout: BayLayout, vary: VaryTable) -> VaryTable:
    """Whole numbers go by steps of 1 unless the plan says otherwise."""
    if vary.choices or vary.step is not None or not whole_number(layout, vary.key):
        return vary
    return vary.model_copy(update={"step": 1.0})


def _flat(judge: Judge, vary: VaryTable, best: Point) -> tuple[Value, ...]:
    """Smallest and largest number, or all words, with a score within 1 % of the best one's and limits kept, other
    values held. The score is taken to fall to both sides."""
    net = Variables([vary])
    count, here = int(net.counts[0]), net.index(best.values)[0]

    def good(i: int) -> bool:
        if i == here:  # whatever it misses, places chosen afterwards may keep
            return True
        point = judge(best.values | net.values([i]))
        return point.violation <= 0 and point.score >= (1.0 - FLAT) * best.score

    if vary.choices:
        return tuple(word for i, word in enumerate(vary.choices) if good(i))
    ends: list[Value] = []
    for far in (0, count):
        inside, outside = here, far
        if good(far):
            inside = far
        while abs(outside - inside) > 1:
            middle = (inside + outside) // 2
            inside, outside = (middle, outside) if good(middle) else (inside, middle)
        ends.append(net.values([inside])[vary.key])
    return tuple(ends)


def _traced_whole(judge: Judge, kept: list[tuple[Point, dict[str, float]]]) -> tuple[Traced, ...]:
    """Points near the best traced whole, best first; more of them where limits turn out to be missed.

    kept : points with their figures
    """
    by_shift = sorted(kept, key=lambda pf: -pf[0].shift)
    first = by_shift[:TRACED_BY_SHIFT] + sorted(kept, key=lambda pf: -pf[0].score)[:TRACED_BY_MEAN]
    found: dict[str, Traced] = {}
    keeping = 0
    for point, f in (*first, *by_shift[TRACED_BY_SHIFT:MOST_TRACED]):
        if str(point.values) in found:
            continue
        if len(found) >= len(first) and keeping:
            break
        layout = judge.built(point.values)
        if layout is None:
            continue
        with suppress(InputError):  # of the shapes near the best some may have no room for a single sheet
            found[str(point.values)] = judge.whole(layout, point.values, f["aisle_m"])
            keeping += not found[str(point.values)].broken
    return tuple(sorted(found.values(), key=lambda t: t.rank, reverse=True))


def missed(plan: Plan, layout: Layout, limits: LimitsTable, figures: list[dict[str, float]]) -> list[Fault]:
    """One line a limit that cannot be met, or that cannot be met with the others."""
    if not figures:
        return [Fault(plan.file, "optimise.vary", f"no shape of {layout.name!r} that can be built", "wider bounds")]
    nearest_to = min(figures, key=lambda f: sum(excess(limits, f).values()))
    faults = []
    for key in excess(limits, nearest_to):
        limit = getattr(limits, key)
        alone = min(excess(limits, f).get(key, 0.0) for f in figures)
        why = "no shape looked at meets it" if alone > 0 else "met only where another limit is missed"
        off = f"{abs(nearest_to[key] - limit):.4g} too {'little' if key == 'aisle_m' else 'much'}"
        found = f"{limit:g}, and at best {nearest_to[key]:.4g} on {layout.name!r}, {off}; {why}"
        faults.append(Fault(plan.file, f"optimise.limits.{key}", found, "a wider limit or wider bounds"))
    return faults


def _held(judge: Judge, vary: VaryTable, best: Point) -> Held | None:
    if vary.choices:
        return None
    value = float(best.values[vary.key])
    low, high = vary.range
    ends = {"low": low, "high": float(Variables([vary]).values([int(Variables([vary]).counts[0])])[vary.key])}
    bound = next((name for name, at in ends.items() if abs(value - at) < 1e-9), None)
    if bound is None:
        return None
    way = 1.0 if bound == "high" else -1.0
    beyond = value + way * 0.05 * (high - low)
    if whole_number(judge.layout, vary.key):
        beyond = value + way * max(1.0, round(0.05 * (high - low)))
    point = judge(best.values | {vary.key: beyond})
    gain, reason = point.score / best.score - 1.0, ""
    if point.violation >= UNBUILDABLE:
        gain, reason = float("nan"), "beyond it nothing can be built"
    elif point.violation > 0:
        broken = ", ".join(limit_words(k) for k in excess(judge.table.limits, judge.figures(point.values) or {}))
        gain, reason = float("nan"), f"beyond it the limit on {broken} is missed"
    real = SHEETS_REAL if vary.key.startswith("booster") else MAKES_REAL.get(vary.key, ())
    if judge.plan.prices is None:
        real = tuple(k for k in real if k != "money")
    return Held(vary.key, bound, value, gain, reason, tuple(k for k in real if getattr(judge.table.limits, k) is None))


def _winter(judge: Judge, vary: list[VaryTable], best: Point) -> tuple[float, float, tuple[str, ...]] | None:
    """The spacing rule's pitch at the best tilt, and what following it costs; rows that face the equator only."""
    layout = judge.layout
    if not isinstance(layout, RowsLayout) or "pitch_m" not in [v.key for v in vary]:
        return None
    made = with_values(layout, best.values)
    assert isinstance(made, RowsLayout)
    spacing = winter_spacing(judge.plan.site, np.array([made.tilt_deg]))
    ahead = np.cos(np.radians(made.azimuth_deg - spacing.azimuth_deg))
    pitch = float(spacing.pitch[0, -1]) * stack_size(made, panel_type_of(judge.plan, made))[2]
    if ahead < 0.99 or not np.isfinite(pitch) or pitch > 200:
        return None
    point = judge(best.values | {"pitch_m": round(pitch, 2)})
    if point.violation >= UNBUILDABLE:
        return None
    broken = tuple(excess(judge.table.limits, judge.figures(point.values) or {}))
    return round(pitch, 2), 1.0 - point.score / best.score, broken


def store_path(folder: Path) -> Path:
    """Where finished evaluations are kept."""
    return folder / "optimise-evaluations.jsonl"
