"""From the best shape of a layout to the best places of its rows or towers, within the plan's limits."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from layout.arrange import arrange
from layout.arrange.pattern import best_places, start_region
from layout.arrange.rows import column_of
from layout.arrange.towers import tower_of
from layout.optimise.cost import support_price
from layout.optimise.judge import Judge, Traced
from layout.optimise.pair_losses import energies
from layout.optimise.place_trace import Placed, Round, place_rows, place_towers
from layout.optimise.positions_model import Limit
from layout.optimise.positions_rows import row_depth_m
from layout.optimise.positions_towers import clear_m, site_net
from layout.optimise.solver import UnmetLimitsError
from layout.optimise_tables import PositionsTable
from layout.plan import Plan, RowsLayout, TowersLayout, UprightLayout
from layout.run import plan_settings
from sites.conventions import LENGTH_TOLERANCE_M, FloatArray, IntArray
from sites.errors import Fault, InputError

MOST_SITES = 60
"""Places for towers where the plan gives no net: so many can be proven in a minute (tests/bench)."""

FEWEST_NEW = 20
"""Of them at least so many beside the regular pattern's own."""

APART_M = 0.3
"""Places nearer than this to one of the regular pattern are left out: they are the same."""

BY_AREA = ("kwh_per_m2_plot", "energy_ac_kwh")
"""Aims that grow with energy alone; for the others the number of panels is kept."""


@dataclass(frozen=True, eq=False)
class Positions:
    """Rows or towers placed one by one.

    kind : rows, sites or mixed;  at : places to choose from, (n,) positions_m of rows or (m, 2) m sites
    chosen : (k,) their numbers;  gap_fraction : by the model no choice is better by more;  bound_kwh : nor has more
    model_kwh, traced_kwh : of the choice, by the model and traced whole, both without the inverter's AC limit
    regular_kwh : the same shape in its regular pattern, traced whole
    rounds : solves, in order;  seconds : of the solve kept;  traced : the layout with its places
    taken : it is the answer;  why : or why not
    """

    kind: str
    at: FloatArray
    chosen: IntArray
    gap_fraction: float
    bound_kwh: float
    model_kwh: float
    traced_kwh: float
    rounds: tuple[Round, ...]
    regular_kwh: float
    seconds: float
    timed_out: bool
    traced: Traced
    taken: bool
    why: str

    @property
    def difference_fraction(self) -> float:
        """By how much the model is above (below 0: under) the traced energy."""
        return self.model_kwh / self.traced_kwh - 1.0


def place(judge: Judge, table: PositionsTable, regular: Traced) -> Positions:
    """Places for the rows or towers of a shape. regular : the shape in its regular pattern

    What was found before is taken from the store.
    Raises InputError where limits cannot be met or the time is too short for any choice.
    """
    layout, limits = regular.layout, judge.table.limits
    asked = {"layout": layout.model_dump(), "table": table.model_dump(), "limits": limits.model_dump()}
    prices = judge.plan.prices
    asked |= {"prices": None if prices is None else prices.model_dump(), "aim": judge.table.objective}
    asked |= {"second": judge.table.second}
    point = judge.store.point("positions", layout.name, asked, judge.peaks)
    if point not in judge.store.known:
        try:
            placed = _placed(judge, table, regular)
        except UnmetLimitsError as error:
            faults = [
                Fault(judge.plan.file, f"optimise.limits, {layout.name!r}", str(u), "wider limits") for u in error.unmet
            ]
            raise InputError(faults) from None
        except TimeoutError as error:
            key = "optimise.positions.time_s"
            raise InputError([Fault(judge.plan.file, key, f"{table.time_s:g}: {error}", "more seconds")]) from None
        judge.store.add(point, _kept(judge, placed, layout))
        judge.new += 1
    return _positions(judge, regular, judge.store.known[point])


def _placed(judge: Judge, table: PositionsTable, regular: Traced) -> Placed:
    layout, plan, settings = regular.layout, judge.plan, plan_settings(judge.plan)
    aisle, gap = judge.table.limits.aisle_m or 0.0, table.gap_pct / 100.0
    if isinstance(layout, TowersLayout):
        tower = tower_of(plan, layout)
        each = len(tower.corner)
        kw = float(tower.area_scale.sum()) * tower.panel.pmax_w / 1000.0
        sites = site_places(plan, layout, table.sites_net_m)
        limits = model_limits(judge, regular, kw / each, np.full(len(sites), float(each)))
        return place_towers(plan, layout, judge.year, settings, sites, 0.0, limits, gap, table.time_s, aisle)
    assert isinstance(layout, RowsLayout | UprightLayout)
    kw = column_of(plan, layout).panel.pmax_w / 1000.0
    more = least_aisle_m(plan, layout, aisle)
    limits = model_limits(judge, regular, kw)
    return place_rows(plan, layout, judge.year, settings, table.rows_net_m, more, limits, gap, table.time_s)


def least_aisle_m(plan: Plan, layout: RowsLayout | UprightLayout, aisle_m: float) -> float:
    """What must lie free behind a row's sheets so that ``aisle_m`` lies free between its panels and the next row's."""
    column = column_of(plan, layout)
    return max(0.0, panel_depth_m(plan, layout) + aisle_m - row_depth_m(column))


def panel_depth_m(plan: Plan, layout: RowsLayout | UprightLayout) -> float:
    """Depth of a row's panels on the map."""
    pattern = column_of(plan, layout).pattern
    return float(np.ptp(pattern.footprint @ (pattern.second / np.linalg.norm(pattern.second))))


def site_places(plan: Plan, layout: TowersLayout, net_m: float | None) -> FloatArray:
    """Places for towers, (m, 2) m: those of the regular pattern, and a net.

    net_m : its step; None: so that some ``MOST_SITES`` places are there
    """
    plot, pattern = plan.site.plot, tower_of(plan, layout).pattern
    assert plot is not None
    known = best_places(pattern, plot).origins
    if net_m is None:
        allowed = start_region(plot.usable.buffer(LENGTH_TOLERANCE_M, join_style="mitre"), pattern.footprint)
        net_m = float(np.sqrt(max(allowed.area, 1e-6) / max(FEWEST_NEW, MOST_SITES - len(known))))
    net = site_net(plan, layout, max(net_m, 0.1))
    if len(known) and len(net):
        near = shapely.distance(shapely.points(net), shapely.multipoints(known)) < APART_M
        net = net[~near]
    return np.concatenate([np.round(known, 3), net])


def model_limits(judge: Judge, regular: Traced, kw_each: float, towers: FloatArray | None = None) -> list[Limit]:
    """The plan's limits as the model takes them: what each panel takes of each.

    kw_each : rated power of a panel;  towers : (m,) panels of the tower on each site, None for rows
    """
    table, figures, prices = judge.table, regular.figures, judge.plan.prices
    sheets = figures["reflector_area_m2"] / figures["panels"]
    each = {"panels": 1.0, "dc_capacity_kw": kw_each, "reflector_area_m2": sheets}
    units = {"panels": "panels", "dc_capacity_kw": "kW", "reflector_area_m2": "m²", "money": "of money"}
    most = {k: getattr(table.limits, k) for k in units}
    if prices is not None:
        each["money"] = (
            prices.panel
            + support_price(prices, judge.layout.kind)
            + prices.reflector_m2 * sheets
            + prices.per_kw * kw_each
        )
        if most["money"] is not None:
            most["money"] -= prices.land_m2 * figures["plot_area_m2"]
    found = [
        _limit(k, units[k], each[k], float(side), towers)
        for k, side in most.items()
        if side is not None and each.get(k, 0.0) > 0
    ]
    if not {table.objective, table.second or table.objective} <= set(BY_AREA):
        found.append(_limit("panels of the regular pattern", "panels", 1.0, figures["panels"], towers))
    return found


def _limit(name: str, unit: str, each: float, most: float, towers: FloatArray | None) -> Limit:
    if towers is None:
        return Limit(name, unit, panel=each, most=most)
    return Limit(name, unit, site=each * towers, most=most)


def _kept(judge: Judge, placed: Placed, layout: RowsLayout | UprightLayout | TowersLayout) -> dict[str, Any]:
    """What of a choice is kept on disk."""
    made, chosen = placed.layout, placed.chosen
    keys = ("positions_m", "row_columns", "pitch_m", "sites")
    update = {k: getattr(made, k) for k in keys if hasattr(made, k) and getattr(made, k) != getattr(layout, k)}
    settings = plan_settings(judge.plan)
    regular = float(energies(arrange(judge.plan, layout), judge.year, settings).sum())
    numbers = chosen.sites if isinstance(layout, TowersLayout) else chosen.rows
    return {
        "update": update,
        "rounds": [[r.loss_scale, r.free_scale, r.model_kwh, r.traced_kwh] for r in placed.rounds],
        "best": placed.best,
        "at": placed.at.tolist(),
        "chosen": numbers.tolist(),
        "gap_fraction": chosen.gap_fraction,
        "bound_kwh": chosen.bound_kwh,
        "seconds": chosen.seconds,
        "timed_out": chosen.timed_out,
        "regular_kwh": regular,
    }


def _positions(judge: Judge, regular: Traced, kept: dict[str, Any]) -> Positions:
    """The choice traced as ``compare`` does it, and whether it is better than the regular pattern."""
    old = regular.layout
    update = {
        k: tuple(map(tuple, v)) if k == "sites" else tuple(v) if isinstance(v, list | tuple) else v
        for k, v in kept["update"].items()
    }
    layout = old.model_copy(update=update)
    traced = judge.whole(layout, regular.values, _aisle_m(judge.plan, layout))
    rounds = tuple(Round(*r) for r in kept["rounds"])
    gain = traced.score / regular.score - 1.0
    if traced.broken:
        why = f"not taken: traced whole it misses the limit {', '.join(traced.broken)}"
    elif gain > 0:
        why = f"taken: {gain:+.2%} against the regular pattern"
    else:
        why = f"not taken: {gain:+.2%} against the regular pattern"
    return Positions(
        kind="sites" if isinstance(layout, TowersLayout) else "rows",
        at=np.array(kept["at"]),
        chosen=np.array(kept["chosen"], dtype=np.int64),
        gap_fraction=kept["gap_fraction"],
        bound_kwh=kept["bound_kwh"],
        model_kwh=rounds[kept["best"]].model_kwh,
        traced_kwh=rounds[kept["best"]].traced_kwh,
        rounds=rounds,
        regular_kwh=kept["regular_kwh"],
        seconds=kept["seconds"],
        timed_out=kept["timed_out"],
        traced=traced,
        taken=gain > 0 and not traced.broken,
        why=why,
    )


def _aisle_m(plan: Plan, layout: RowsLayout | UprightLayout | TowersLayout) -> float:
    """Least free ground between rows or towers that are placed, sheets left out; inf for one alone."""
    if isinstance(layout, TowersLayout):
        at = np.array(layout.sites)
        first, second = np.triu_indices(len(at), 1)
        shape = tower_of(plan, layout).pattern.footprint
        return float(clear_m(layout, at[second] - at[first], shape).min(initial=np.inf))
    return float(np.diff(layout.positions_m).min(initial=np.inf)) - panel_depth_m(plan, layout)
