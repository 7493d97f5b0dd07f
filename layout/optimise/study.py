"""The shape search of one layout: what is best within the limits, what holds it back, how flat it is."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from layout.conditions import Conditions
from layout.optimise.bay import BayLayout, bay_year, build_bay
from layout.optimise.cost import cost_per_kwh, money
from layout.optimise.search import Point, Variables, search
from layout.optimise.store import Store
from layout.optimise_tables import LimitsTable, OptimiseTable, VaryTable, value_of, with_values
from layout.plan import Plan, RowsLayout, panel_type_of
from layout.plan_checks import layout_faults, stack_size
from layout.report.sun_paths import winter_spacing
from layout.run import plan_settings
from sites.errors import Fault, InputError

UNBUILDABLE = 1e3
"""Violation of what cannot be built, on top of what its limits miss."""

FLAT = 0.01
"""Within this share of the best score a value counts as just as good."""

LEAST = ("aisle_m",)
"""Limits from below; the others are from above."""


@dataclass(frozen=True)
class Held:
    """The best lies on a bound of what may vary. gain : share of the score that one twentieth of the range beyond it
    would bring, NaN where that cannot be built or breaks a limit."""

    key: str
    bound: str
    value: float
    gain: float


@dataclass(frozen=True, eq=False)
class Study:
    """best : the best point, with its figures;  points, figures : all that were judged, in order
    new : how many of them were worked out now and not found in the store
    flat : by key the smallest and largest value among points within 1 % of the best score
    winter : pitch by the rule without shade from 9 to 15 h at midwinter, the share of the score that it costs, and
        the limits it breaks; None where the pitch does not vary or no pitch is enough
    """

    layout: BayLayout
    best: Point
    best_figures: dict[str, float]
    points: list[Point]
    figures: list[dict[str, float]]
    new: int
    held: tuple[Held, ...]
    flat: dict[str, tuple[float, float]]
    winter: tuple[float, float, tuple[str, ...]] | None


@dataclass(eq=False)
class Judge:
    """Turns values into a point. Not frozen: it counts what it works out and keeps the figures."""

    plan: Plan
    table: OptimiseTable
    layout: BayLayout
    year: Conditions
    store: Store
    told: Callable[[int], None]
    new: int = 0

    def figures(self, values: dict[str, float]) -> dict[str, float] | None:
        """Figures of a year, from the store where they are there; None for what cannot be built."""
        limits = self.table.limits
        peaks = limits.hottest_cell_c is not None or limits.peak_cell_ratio is not None
        point = self.store.point(self.layout.name, values, peaks)
        if point not in self.store.known:
            try:
                layout = with_values(self.layout, values)
            except ValidationError:
                return None
            kind = panel_type_of(self.plan, layout)
            if layout_faults(layout, kind, self.plan.site.plot, self.plan.file, "layout"):
                return None
            bay = build_bay(self.plan, layout)  # type: ignore[arg-type]
            self.store.add(point, bay_year(self.plan, bay, self.year, plan_settings(self.plan), peaks))
            self.new += 1
        self.told(self.new)
        return self.with_money(self.store.known[point])

    def with_money(self, figures: dict[str, float]) -> dict[str, float]:
        """Figures with what they cost, where the plan has prices."""
        if self.plan.prices is None:
            return figures
        kind = self.layout.kind
        return figures | {
            "money": money(self.plan.prices, kind, figures),
            "cost_per_kwh": cost_per_kwh(self.plan.prices, kind, figures),
        }

    def score(self, figures: dict[str, float]) -> float:
        """The larger the better: the aim, or the product of powers of two aims."""

        def gain(aim: str) -> float:
            return 1.0 / figures[aim] if aim == "cost_per_kwh" else figures[aim]

        first = gain(self.table.objective)
        if self.table.second is None:
            return first
        return float(first**self.table.weight * gain(self.table.second) ** (1.0 - self.table.weight))

    def __call__(self, values: dict[str, float]) -> Point:
        """The point of some values."""
        figures = self.figures(values)
        if figures is None:
            return Point(values, 0.0, UNBUILDABLE)
        over = sum(excess(self.table.limits, figures).values())
        return Point(values, self.score(figures), over)


def excess(limits: LimitsTable, figures: dict[str, float]) -> dict[str, float]:
    """By how much each limit is missed, as a share of the limit; only those that are."""
    found = {}
    for key, limit in limits:
        if limit is None:
            continue
        over = (limit - figures[key]) if key in LEAST else (figures[key] - limit)
        if over > 1e-9 * max(1.0, abs(limit)):
            found[key] = float(over / max(abs(limit), 1e-9))
    return found


def study(
    plan: Plan, layout: BayLayout, year: Conditions, store: Store, told: Callable[[int], None] = lambda _: None
) -> Study:
    """Search the shapes of one layout.

    Raises InputError where no shape keeps the limits: which one is missed, and by how much at least.
    """
    table = plan.optimise
    assert table is not None
    vary = [v for v in table.vary if v.layout == layout.name]
    judge = Judge(plan, table, layout, year, store, told)
    best, points = search(vary, judge, table.evaluations)
    built = [p for p in points if p.violation < UNBUILDABLE]
    figures = [judge.figures(p.values) or {} for p in built]
    if best.violation > 0:
        raise InputError(_missed(plan, layout, table.limits, best, figures))
    good = [p for p in points if p.violation <= 0 and p.score >= (1.0 - FLAT) * best.score]
    flat = {v.key: (min(p.values[v.key] for p in good), max(p.values[v.key] for p in good)) for v in vary}
    held = tuple(h for v in vary if (h := _held(judge, v, best)) is not None)
    new = judge.new
    return Study(
        layout, best, judge.figures(best.values) or {}, built, figures, new, held, flat, _winter(judge, vary, best)
    )


def _missed(
    plan: Plan, layout: BayLayout, limits: LimitsTable, best: Point, figures: list[dict[str, float]]
) -> list[Fault]:
    """One line a limit that cannot be met, or that cannot be met with the others."""
    if not figures:
        return [Fault(plan.file, "optimise.vary", f"no shape of {layout.name!r} that can be built", "wider bounds")]
    nearest_to = min(figures, key=lambda f: sum(excess(limits, f).values()))
    faults = []
    for key, over in excess(limits, nearest_to).items():
        limit = getattr(limits, key)
        alone = min(excess(limits, f).get(key, 0.0) for f in figures)
        why = "no shape looked at meets it" if alone > 0 else "met only where another limit is missed"
        off = f"{over * abs(limit):.4g} too {'little' if key in LEAST else 'much'}"
        found = f"{limit:g}, and at best {nearest_to[key]:.4g} on {layout.name!r}, {off}; {why}"
        faults.append(Fault(plan.file, f"optimise.limits.{key}", found, "a wider limit or wider bounds"))
    return faults


def _held(judge: Judge, vary: VaryTable, best: Point) -> Held | None:
    count = Variables([vary]).counts[0]
    ends = {"low": vary.low, "high": Variables([vary]).values([int(count)])[vary.key]}
    for bound, at in ends.items():
        if abs(best.values[vary.key] - at) < 1e-9:
            beyond = at + (0.05 if bound == "high" else -0.05) * (vary.high - vary.low)
            beyond = float(np.round(beyond)) if isinstance(_plain(judge.layout, vary.key), int) else beyond
            point = judge(best.values | {vary.key: beyond})
            gain = point.score / best.score - 1.0 if point.violation <= 0 else float("nan")
            return Held(vary.key, bound, at, gain)
    return None


def _plain(layout: BayLayout, key: str) -> object:
    return getattr(layout, key, value_of(layout, key) if "[" in key else None)


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
