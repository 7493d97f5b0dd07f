"""Where rows and towers stand: one mixed-integer model for rows, towers and both.

Rows are nodes of a network, in order from the front of the plot to its back; an arc from row j to row i says that i
stands next behind j. Its energy is that of row i with the gap to j in front, less what i takes from j by standing
behind it. A choice of rows is a path, the best choice the longest path: without limits a linear programme whose
corners are whole. Limits couple rows and make it a matter of integers; a row may then also stand shorter than the plot
allows.

Towers are chosen from sites; every two take light from each other:

    energy = Σ e_i y_i − Σ_{i<j} l_ij y_i y_j,   z_ij = y_i y_j

Of a set C of sites of which at most one can be taken (too near to each other),

    Σ_{j in C} z_ij ≥ y_i + Σ_{j in C} y_j − 1,

much stronger than the same for each pair. Splits part the plot between rows and towers: one split is chosen, and each
allows some rows and some sites. The solver begins from a choice found quickly, and its answer is never worse.
"""

import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pyomo.environ as pyo

from layout.optimise.positions_nets import START, Chosen, Cross, Limit, RowNet, SiteNet, energy_of
from layout.optimise.positions_pairs import add_sites
from layout.optimise.positions_start import Start, spare_panels, start_of
from layout.optimise.row_bounds import only, row_bounds
from layout.optimise.site_counts import count_bound, counts
from layout.optimise.site_search import best_towers
from layout.optimise.solver import EXACT_GAP, solve_or_explain
from sites.conventions import FloatArray, IntArray


def choose(
    rows: RowNet | None,
    sites: SiteNet | None,
    cross: Cross | None = None,
    limits: Sequence[Limit] = (),
    gap: float = 0.0,
    time_limit_s: float = 60.0,
    fold_kwh: float = 0.0,
) -> Chosen:
    """The rows and sites with most energy.

    gap : relative gap at which the solver may stop
    fold_kwh : losses of pairs below this are left out of the search and taken from its result; the bound holds for the
        model with them, since losses only lower energy
    Raises UnmetLimitsError where the limits cannot be met together.
    """
    begin = time.perf_counter()
    start = start_of(rows, sites, cross, limits)
    if sites is not None and rows is None and start is not None and fold_kwh == 0.0:
        found = best_towers(sites, limits, start.towers, gap, time_limit_s)
        none = np.zeros(0)
        return _chosen(start.arcs, none, found.towers, None, found.kwh, found.bound_kwh, begin, found.timed_out)
    cap = float("inf")
    if rows is not None and sites is None and limits and start is not None:
        bounds = row_bounds(rows, limits)
        cap, keep = bounds.kwh, bounds.worth(start.kwh)
        rows, limits = only(rows, limits, keep)
        start = replace(start, arcs=(np.cumsum(keep) - 1)[start.arcs])
    elif rows is not None and sites is not None:
        # Each by itself, the other taking nothing of the limits: weak, and at hand where the time is too short.
        on_rows = [x for x in limits if not len(x.site) or x.site.min() >= 0]
        cap = row_bounds(rows, on_rows).kwh + max([0.0] + [count_bound(sites, n) for n in counts(sites, limits, 0.0)])
    model, energy = _built(rows, sites, cross, limits, fold_kwh)
    model.energy = pyo.Objective(expr=energy, sense=pyo.maximize)
    named = _add_limits(model, rows, sites, limits)
    if start is not None:
        _begin_at(model, rows, sites, start)
    solved = solve_or_explain(model, named, gap, max(1.0, time_limit_s - (time.perf_counter() - begin)))
    took = _path(model, rows) if rows is not None else np.zeros(0, dtype=np.int64)
    cut = _cut(model, rows, took) if rows is not None else np.zeros(0)
    towers = _taken(model.y) if sites is not None else np.zeros(0, dtype=np.int64)
    split = int(_taken(model.u)[0]) if cross is not None else None
    kwh = energy_of(rows, sites, cross, took, cut, towers)
    if start is not None and start.kwh > kwh:  # by rounding, or by losses left out of the search
        took, cut, towers, split, kwh = start.arcs, start.cut, start.towers, start.split, start.kwh
    at = rows.head[took] if rows is not None else took
    left = rows.panels[at] - cut if rows is not None else cut
    return _chosen(at, left, towers, split, kwh, min(cap, solved.bound), begin, solved.timed_out)


def _chosen(
    at: IntArray, panels: FloatArray, towers: IntArray, split: int | None, kwh: float, bound: float, begin: float,
    late: bool,
) -> Chosen:  # fmt: skip
    """A choice with what is proven of it. begin : on the clock"""
    bound = max(kwh, bound)
    spare = bound - kwh
    proven = spare / kwh if kwh > 0 and spare > EXACT_GAP * kwh else 0.0
    return Chosen(at, panels, towers, split, kwh, bound, proven, time.perf_counter() - begin, late)


def _built(
    rows: RowNet | None, sites: SiteNet | None, cross: Cross | None, limits: Sequence[Limit], fold_kwh: float
) -> tuple[pyo.ConcreteModel, pyo.Expression]:  # fmt: skip
    """The model without limits and aim, and its energy."""
    model, energy = pyo.ConcreteModel(), 0.0
    model.c = pyo.ConstraintList()
    if rows is not None:
        energy += _add_rows(model, rows, bool(limits), sites is not None)
    if sites is not None:
        energy += add_sites(model, sites, fold_kwh)
    if cross is not None and rows is not None and sites is not None:
        energy += _add_cross(model, rows, cross, fold_kwh)
    units = [model.x[a] for a in model.x if rows.tail[a] == START] if rows is not None else []
    units += [*model.y.values()] if sites is not None else []
    if units:  # nothing at all is no layout
        model.c.add(pyo.quicksum(units) >= 1)
    return model, energy


def _begin_at(model: pyo.ConcreteModel, rows: RowNet | None, sites: SiteNet | None, start: Start) -> None:
    """Give every variable its value in a known choice."""
    if rows is not None:
        cut = dict(zip(start.arcs.tolist(), (start.cut / rows.step).tolist(), strict=True))
        for a in model.x:
            model.x[a].value = float(a in cut)
        if hasattr(model, "r"):
            for a in model.r:
                model.r[a].value = cut.get(a, 0.0)
            model.all_cut.value = round(sum(cut.values()))
    taken = set(start.towers.tolist())
    if sites is not None:
        for j in model.y:
            model.y[j].value = float(j in taken)
        for i, j in model.z:
            model.z[i, j].value = float(i in taken and j in taken)
    if start.split is not None and rows is not None:
        stands = set(rows.head[start.arcs].tolist())
        for k in model.u:
            model.u[k].value = float(k == start.split)
        for k, (row, site) in model.crossed.items():
            model.q[k].value = float(row in stands and site in taken)


def _add_rows(model: pyo.ConcreteModel, rows: RowNet, limited: bool, towers: bool) -> pyo.Expression:
    """Path from the first row to the last. x : arc taken; r : panels left away, in steps, only where limits call."""
    arcs = range(len(rows.tail))
    # The corners of a path's polyhedron are whole; limits cut it, and cross terms make it pay to be in parts.
    model.x = pyo.Var(arcs, domain=pyo.Binary if limited or towers else pyo.UnitInterval)
    into: list[list[int]] = [[] for _ in rows.panels]
    out: list[list[int]] = [[] for _ in rows.panels]
    first: list[int] = []
    for a, (tail, head) in enumerate(zip(rows.tail.tolist(), rows.head.tolist(), strict=True)):
        into[head].append(a)
        (first if tail == START else out[tail]).append(a)
    x = model.x
    if first:
        model.c.add(pyo.quicksum(x[a] for a in first) <= 1)
    for node in range(len(rows.panels)):
        if into[node] or out[node]:
            model.c.add(pyo.quicksum(x[a] for a in out[node]) <= pyo.quicksum(x[a] for a in into[node]))
    model.used = pyo.Expression(
        range(len(rows.panels)), rule=lambda _, i: pyo.quicksum(x[a] for a in into[i]) if into[i] else 0.0
    )
    energy = pyo.quicksum(float(rows.kwh[a]) * x[a] for a in arcs)
    if limited:
        model.r, spare = pyo.Var(arcs, domain=pyo.NonNegativeReals), spare_panels(rows) / rows.step
        for a in arcs:
            model.c.add(model.r[a] <= float(spare[rows.head[a]]) * x[a])
        # One whole number for all: with the rows settled, what is left away then comes in whole steps.
        model.all_cut = pyo.Var(domain=pyo.NonNegativeIntegers)
        model.c.add(model.all_cut == pyo.quicksum(model.r[a] for a in arcs))
        energy -= pyo.quicksum(float(rows.kwh_per_panel[a] * rows.step) * model.r[a] for a in arcs)
    return energy


def _add_cross(model: pyo.ConcreteModel, rows: RowNet, cross: Cross, fold_kwh: float) -> pyo.Expression:
    splits = range(len(cross.rows_allowed))
    model.u = pyo.Var(splits, domain=pyo.Binary)
    model.c.add(pyo.quicksum(model.u[k] for k in splits) == 1)
    for i in range(len(rows.panels)):
        model.c.add(model.used[i] <= pyo.quicksum(model.u[k] for k in splits if cross.rows_allowed[k, i]))
    for j in range(cross.sites_allowed.shape[1]):
        model.c.add(model.y[j] <= pyo.quicksum(model.u[k] for k in splits if cross.sites_allowed[k, j]))
    together = (cross.rows_allowed[:, cross.pairs[:, 0]] & cross.sites_allowed[:, cross.pairs[:, 1]]).any(axis=0)
    kept = np.flatnonzero((cross.loss > fold_kwh) & together).tolist()
    model.q = pyo.Var(kept, domain=pyo.UnitInterval)
    model.crossed = {k: tuple(cross.pairs[k].tolist()) for k in kept}
    for k in kept:
        i, j = model.crossed[k]
        model.c.add(model.q[k] >= model.used[i] + model.y[j] - 1)
    return -pyo.quicksum(float(cross.loss[k]) * model.q[k] for k in kept)


def _add_limits(
    model: pyo.ConcreteModel, rows: RowNet | None, sites: SiteNet | None, limits: Sequence[Limit]
) -> dict[str, tuple[pyo.Constraint, str]]:
    named = {}
    for number, limit in enumerate(limits):
        body = 0.0
        if rows is not None:
            cost = limit.panel * rows.panels[rows.head] + (limit.arc if len(limit.arc) else 0.0)
            body += pyo.quicksum(float(c) * model.x[a] for a, c in enumerate(cost.tolist()))
            body -= float(limit.panel * rows.step) * model.all_cut
        if sites is not None and len(limit.site):
            body += pyo.quicksum(float(c) * model.y[j] for j, c in enumerate(limit.site.tolist()))
        for way, side in (("most", limit.most), ("least", limit.least)):
            if side is not None:
                constraint = pyo.Constraint(expr=(body <= side) if way == "most" else (body >= side))
                setattr(model, f"limit_{number}_{way}", constraint)
                named[limit.name if limit.name not in named else f"{limit.name} ({way})"] = (constraint, limit.unit)
    return named


def _taken(variables: pyo.Var) -> IntArray:
    return np.array([k for k in variables if pyo.value(variables[k]) > 0.5], dtype=np.int64)


def _path(model: pyo.ConcreteModel, rows: RowNet) -> IntArray:
    """Arcs taken, from the front."""
    took = _taken(model.x)
    return took[np.argsort(rows.head[took], kind="stable")]


def _cut(model: pyo.ConcreteModel, rows: RowNet, took: IntArray) -> FloatArray:
    """Panels left away at each arc taken."""
    if not hasattr(model, "r"):
        return np.zeros(len(took))
    return rows.step * np.round([pyo.value(model.r[int(a)]) for a in took])
