"""From values of what varies to a point of the search: figures of a year, the score, limits that are missed."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

from pydantic import ValidationError

from layout.arrange import arrange
from layout.conditions import Conditions
from layout.optimise.bay import BayLayout, build_bay
from layout.optimise.bay_year import BaySky, bay_sky, bay_year
from layout.optimise.beyond import BEYOND, quick_share
from layout.optimise.cost import cost_per_kwh, money
from layout.optimise.search import Point
from layout.optimise.store import Store
from layout.optimise.whole import whole_figures
from layout.optimise_tables import LimitsTable, OptimiseTable, Value, with_values
from layout.plan import Layout, Plan, panel_type_of
from layout.plan_checks import layout_faults
from layout.run import plan_settings
from sites.errors import InputError

UNBUILDABLE = 1e3
"""Violation of what cannot be built, on top of what its limits miss."""

WITH_BEYOND = " and light from beyond"
"""Added to the name of what is kept, since the share is worked out only where a limit asks for it."""

LEAST = ("aisle_m",)
"""Limits from below; the others are from above."""


@dataclass(frozen=True, eq=False)
class Traced:
    """A layout traced whole on the plot.

    values : of what varies, by key;  layout : the table of a plan with them
    figures : as in the results of ``compare``; height_m, aisle_m; hottest_cell_c and peak_cell_ratio where limits ask
        for them, money and cost_per_kwh where the plan has prices
    score : the larger the better;  broken : limits that it misses
    """

    values: dict[str, Value]
    layout: Layout
    figures: dict[str, float]
    score: float
    broken: tuple[str, ...]

    @property
    def rank(self) -> tuple[float, float]:
        """Keeping limits comes before the score."""
        return (-float(len(self.broken)), self.score)


@dataclass(eq=False)
class Judge:
    """Turns values into a point. Not frozen: it counts what it works out and keeps the figures."""

    plan: Plan
    table: OptimiseTable
    layout: Layout
    year: Conditions
    store: Store
    told: Callable[[int], None]
    new: int = 0

    @property
    def peaks(self) -> bool:
        """Whether limits ask for the hottest and the brightest cell."""
        limits = self.table.limits
        return limits.hottest_cell_c is not None or limits.peak_cell_ratio is not None

    @property
    def beyond(self) -> bool:
        """Whether a limit asks for the share of light from beyond the plot."""
        return getattr(self.table.limits, BEYOND) is not None

    @cached_property
    def sky(self) -> BaySky:
        """The year prepared for bays."""
        return bay_sky(self.year)

    def built(self, values: Mapping[str, Value]) -> BayLayout | None:
        """The layout with these values; None where it cannot be built."""
        try:
            layout = with_values(self.layout, values)
        except ValidationError:
            return None
        kind = panel_type_of(self.plan, layout)
        faults = layout_faults(layout, kind, self.plan.site.plot, self.plan.file, "layout")
        return None if faults else layout  # type: ignore[return-value]

    def figures(self, values: dict[str, Value]) -> dict[str, float] | None:
        """Figures of a year of the bay, from the store where they are there; None for what cannot be built or has no
        room."""
        point = self.store.point(f"bay{WITH_BEYOND * self.beyond}", self.layout.name, values, self.peaks)
        if point not in self.store.known:
            layout = self.built(values)
            if layout is None:
                return None
            bay = build_bay(self.plan, layout)
            found = bay_year(self.plan, bay, self.sky, plan_settings(self.plan), self.peaks)
            if self.beyond and found["panels"] > 0:
                try:
                    standing = arrange(self.plan, layout)
                except InputError:  # no room for a single sheet
                    return None
                found[BEYOND] = quick_share(standing, self.year, plan_settings(self.plan))
            self.store.add(point, found)
            self.new += 1
        self.told(self.new)
        found = self.store.known[point]
        return self.with_money(found) if found["panels"] > 0 else None

    def with_money(self, figures: dict[str, float]) -> dict[str, float]:
        """Figures with what they cost, where the plan has prices: money of what stands there, cost_per_kwh of the
        mean count where the figures have one."""
        prices, kind = self.plan.prices, self.layout.kind
        if prices is None:
            return figures
        share = figures.get("panels_mean", figures["panels"]) / figures["panels"]
        mean = figures | {k: figures[k] * share for k in ("panels", "dc_capacity_kw", "reflector_area_m2")}
        return figures | {"money": money(prices, kind, figures), "cost_per_kwh": cost_per_kwh(prices, kind, mean)}

    def at_best_shift(self, figures: dict[str, float]) -> dict[str, float]:
        """Figures of a bay with the energy and cost of the pattern's best shift."""
        energy = figures["best_shift_energy_ac_kwh"]
        there = figures | {"energy_ac_kwh": energy, "kwh_per_m2_plot": energy / figures["plot_area_m2"]}
        return self.with_money({k: v for k, v in there.items() if k != "panels_mean"})

    def __call__(self, values: dict[str, Value]) -> Point:
        """The point of some values."""
        figures = self.figures(values)
        limits = self.table.limits
        if figures is None:
            return Point(values, 0.0, UNBUILDABLE, over=(1.0,) * sum(limit is not None for _, limit in limits))
        shares = over(limits, figures)
        missed = sum(excess(limits, figures).values())
        shift = score(self.table, self.at_best_shift(figures))
        return Point(values, score(self.table, figures), missed, shift, tuple(shares.values()))

    def whole(self, layout: Layout, values: dict[str, Value], aisle_m: float) -> Traced:
        """A layout traced whole, from the store where it is there.

        values : for the record;  aisle_m : free ground between its rows or towers
        """
        point = self.store.point(f"whole{WITH_BEYOND * self.beyond}", layout.name, layout.model_dump(), self.peaks)
        if point not in self.store.known:
            self.store.add(point, whole_figures(self.plan, layout, self.year, self.peaks, self.beyond))
            self.new += 1
        figures = self.with_money(self.store.known[point] | {"aisle_m": aisle_m})
        broken = tuple(excess(self.table.limits, figures))
        return Traced(values, layout, figures, score(self.table, figures), broken)


def score(table: OptimiseTable, figures: Mapping[str, float]) -> float:
    """The larger the better: the aim, or the product of powers of two aims."""

    def gain(aim: str) -> float:
        return 1.0 / figures[aim] if aim == "cost_per_kwh" else figures[aim]

    first = gain(table.objective)
    if table.second is None:
        return first
    return float(first**table.weight * gain(table.second) ** (1.0 - table.weight))


def over(limits: LimitsTable, figures: Mapping[str, float]) -> dict[str, float]:
    """By how much figures lie beyond each limit given (above 0) or within it, as shares of the limit."""
    found = {}
    for key, limit in limits:
        if limit is not None:
            beyond = (figures[key] - limit) * (-1.0 if key in LEAST else 1.0)
            # Where nothing is allowed there is no share of it: from 0 to 1 by how much there is.
            found[key] = float(beyond / (abs(limit) or 1.0 + abs(beyond)))
    return found


def excess(limits: LimitsTable, figures: Mapping[str, float]) -> dict[str, float]:
    """The same of those limits that are missed."""
    slack = {key: 1e-9 * max(1.0, 1.0 / (abs(limit) or 1.0)) for key, limit in limits if limit is not None}
    return {key: share for key, share in over(limits, figures).items() if share > slack[key]}
