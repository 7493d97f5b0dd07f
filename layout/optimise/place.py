"""From the best shape of a layout to the best places of its rows or towers, within the plan's limits."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from layout.arrange import arrange
from layout.arrange.pattern import best_places, start_region
from layout.arrange.rows import column_of
from layout.arrange.towers import tower_of
from layout.optimise.judge import Judge, Traced
from layout.optimise.pair_losses import energies
from layout.optimise.place_limits import model_limits, shared_limits, told_as_faults
from layout.optimise.place_mixed import Task, mix_rows, mix_rows_and_towers
from layout.optimise.place_trace import Placed, Round, place_rows, place_towers
from layout.optimise.positions_rows import row_depth_m
from layout.optimise.positions_towers import clear_m, site_net
from layout.optimise_tables import PositionsTable
from layout.plan import Layout, PiecesLayout, Plan, RowsLayout, TowersLayout, UprightLayout, panel_type_of
from layout.run import plan_settings
from sites.conventions import LENGTH_TOLERANCE_M, FloatArray, IntArray
from sites.errors import Fault, InputError

MOST_SITES = 60
"""Places for towers where the plan gives no net: so many can be proven in a minute (tests/bench)."""

FEWEST_NEW = 20
"""Of them at least so many beside the regular pattern's own."""

APART_M = 0.3
"""Places nearer than this to one of the regular pattern are left out: they are the same."""


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
    layout = regular.layout
    assert isinstance(layout, RowsLayout | UprightLayout | TowersLayout)
    point = _point(judge, table, layout.name, {"layout": layout.model_dump()})
    if point not in judge.store.known:
        with told_as_faults(judge, layout.name, table.time_s):
            placed = _placed(judge, table, regular)
        plain = energies(arrange(judge.plan, layout), judge.year, plan_settings(judge.plan))
        keys = ("positions_m", "row_columns", "pitch_m", "sites")
        update = {k: getattr(placed.layout, k) for k in keys if hasattr(layout, k)}
        judge.store.add(point, _kept(placed, float(plain.sum())) | {"update": update})
        judge.new += 1
    kept = judge.store.known[point]
    made = layout.model_copy(update=_plain(kept["update"]))
    traced = judge.whole(made, regular.values, _aisle_m(judge.plan, made))
    kind = "sites" if isinstance(layout, TowersLayout) else "rows"
    return _positions(kind, kept, traced, (regular,), "the regular pattern")


def mix(
    judges: tuple[Judge, Judge], table: PositionsTable, regular: tuple[Traced, Traced], alone: tuple[Traced, ...]
) -> Positions:
    """Places for two layouts that share the plot.

    regular : the best shape of each in its regular pattern;  alone : the answers that the mixture has to beat
    Raises InputError where the two cannot be mixed, limits cannot be met or the time is too short.
    """
    judge, layouts = judges[0], (regular[0].layout, regular[1].layout)
    name = f"{layouts[0].name} + {layouts[1].name}"[:40]
    point = _point(judge, table, name, {"layouts": [x.model_dump() for x in layouts]})
    if point not in judge.store.known:
        faults = unmixable(judge.plan, layouts)
        if faults:
            raise InputError(faults)
        task = Task(
            judge.plan,
            judge.year,
            plan_settings(judge.plan),
            shared_limits(judges, regular),
            table.gap_pct / 100.0,
            table.time_s,
            judge.table.limits.aisle_m or 0.0,
        )
        with told_as_faults(judge, name, table.time_s):
            placed = _mixed(task, name, layouts, table)
        best = max(regular, key=lambda t: t.score)
        plain = energies(arrange(judge.plan, best.layout), judge.year, plan_settings(judge.plan))
        judge.store.add(point, _kept(placed, float(plain.sum())) | {"pieces": placed.layout.model_dump()})
        judge.new += 1
    kept = judge.store.known[point]
    made = PiecesLayout.model_validate(_plain(kept["pieces"]))
    own = replace(judge, layout=made)
    aisle = (
        min(t.figures["aisle_m"] for t in regular) if judge.table.limits.aisle_m is None else judge.table.limits.aisle_m
    )
    return _positions("mixed", kept, own.whole(made, {}, aisle), alone, "the better of the two alone")


def unmixable(plan: Plan, layouts: tuple[Layout, Layout]) -> list[Fault]:
    """Why two layouts cannot share the plot in one model."""
    key, (first, second) = "optimise.positions.mixed", layouts
    names = f"{first.name!r} and {second.name!r}"
    faults = []
    kinds = {panel_type_of(plan, x).name for x in layouts}
    if len(kinds) > 1 or (not plan.panel_given and kinds & {getattr(x, "panel", None) for x in layouts}):
        accepted = "layouts with the plan's own type, [panel]"
        faults.append(Fault(plan.file, key, f"{names} with panel types {', '.join(sorted(kinds))}", accepted))
    if any(getattr(x, "cover", None) is not None for x in layouts):
        faults.append(Fault(plan.file, key, f"{names}, one with a cover", "layouts without covers"))
    rows = [x for x in layouts if isinstance(x, RowsLayout | UprightLayout)]
    if not rows:
        faults.append(Fault(plan.file, key, f"{names}, both towers", "two of rows, or rows and towers"))
    if len(rows) == 2:
        ways = {(x.azimuth_deg % 360.0, x.panels_high) for x in rows}
        if len(ways) > 1:
            accepted = "rows with one azimuth_deg and one panels_high"
            faults.append(Fault(plan.file, key, f"{names}, rows of different kinds", accepted))
    return faults


def _point(judge: Judge, table: PositionsTable, name: str, asked: dict[str, Any]) -> str:
    """The name of a choice of places in the store: all that it hangs on."""
    prices, aims = judge.plan.prices, {"aims": [judge.table.objective, judge.table.second]}
    asked |= {"table": table.model_dump(), "limits": judge.table.limits.model_dump()} | aims
    return judge.store.point("positions", name, asked | {"prices": prices and prices.model_dump()}, judge.peaks)


def _placed(judge: Judge, table: PositionsTable, regular: Traced) -> Placed:
    layout, plan, settings = regular.layout, judge.plan, plan_settings(judge.plan)
    aisle, gap = judge.table.limits.aisle_m or 0.0, table.gap_pct / 100.0
    beyond = judge.table.limits.light_from_beyond_plot_fraction
    if isinstance(layout, TowersLayout):
        sites = site_places(plan, layout, table.sites_net_m)
        limits = model_limits(judge, regular, np.full(len(sites), float(len(tower_of(plan, layout).corner))))
        return place_towers(plan, layout, judge.year, settings, sites, 0.0, limits, gap, table.time_s, aisle, beyond)
    assert isinstance(layout, RowsLayout | UprightLayout)
    more, limits = least_aisle_m(plan, layout, aisle), model_limits(judge, regular)
    return place_rows(plan, layout, judge.year, settings, table.rows_net_m, more, limits, gap, table.time_s, beyond)


def _mixed(task: Task, name: str, layouts: tuple[Layout, Layout], table: PositionsTable) -> Placed:
    first, second = layouts
    if isinstance(first, TowersLayout):
        first, second = second, first
        task = replace(task, limits=[replace(x, each=(x.each[1], x.each[0])) for x in task.limits])
    assert isinstance(first, RowsLayout | UprightLayout)
    if isinstance(second, TowersLayout):
        sites = site_places(task.plan, second, table.sites_net_m)
        return mix_rows_and_towers(task, name, first, second, table.rows_net_m, sites)
    assert isinstance(second, RowsLayout | UprightLayout)
    return mix_rows(task, name, first, second, table.rows_net_m)


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


def _kept(placed: Placed, regular_kwh: float) -> dict[str, Any]:
    """What of a choice is kept on disk."""
    chosen = placed.chosen
    return {
        "rounds": [[r.loss_scale, r.free_scale, r.model_kwh, r.traced_kwh] for r in placed.rounds],
        "best": placed.best,
        "at": placed.at.tolist(),
        "chosen": (chosen.rows if len(chosen.rows) else chosen.sites).tolist(),
        "chosen_sites": chosen.sites.tolist(),
        "gap_fraction": chosen.gap_fraction,
        "bound_kwh": chosen.bound_kwh,
        "seconds": chosen.seconds,
        "timed_out": chosen.timed_out,
        "regular_kwh": regular_kwh,
    }


def _positions(kind: str, kept: dict[str, Any], traced: Traced, rivals: tuple[Traced, ...], what: str) -> Positions:
    """A choice with what it is worth. rivals : what it has to beat, in words ``what``"""
    rounds = tuple(Round(*r) for r in kept["rounds"])
    keeping = [t.score for t in rivals if not t.broken]
    gain = traced.score / max(keeping) - 1.0 if keeping else float("inf")
    if traced.broken:
        why = f"not taken: traced whole it misses the limit {', '.join(traced.broken)}"
    elif not keeping:
        why = f"taken: {what} misses the limit {', '.join(rivals[0].broken)}"
    else:
        why = f"{'taken' if gain > 0 else 'not taken'}: {100 * gain:+.2f} % against {what}"
    return Positions(
        kind=kind,
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


def _plain(value: Any) -> Any:
    """Lists as tuples, as the tables want them."""
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    return tuple(_plain(v) for v in value) if isinstance(value, list | tuple) else value


def _aisle_m(plan: Plan, layout: RowsLayout | UprightLayout | TowersLayout) -> float:
    """Least free ground between rows or towers that are placed, sheets left out; inf for one alone."""
    if isinstance(layout, TowersLayout):
        at = np.array(layout.sites)
        first, second = np.triu_indices(len(at), 1)
        shape = tower_of(plan, layout).pattern.footprint
        return float(clear_m(layout, at[second] - at[first], shape).min(initial=np.inf))
    return float(np.diff(layout.positions_m).min(initial=np.inf)) - panel_depth_m(plan, layout)
