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
allows some rows and some sites.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyomo.environ as pyo

from layout.optimise.solver import solve_or_explain
from sites.conventions import BoolArray, FloatArray, IntArray

START = -1
"""Tail of the arcs to a row that is the first."""


@dataclass(frozen=True, eq=False)
class RowNet:
    """Rows that may stand, n of them, in order, and the a pairs that may follow each other.

    panels : (n,) panels of each row at its longest;  step : panels by which a row can be shorter (one column)
    tail, head : (a,) int, the row in front (START: none) and the row behind, tail < head
    kwh : (a,) energy that the row behind adds at this gap;  kwh_per_panel : (a,) what each panel of it adds
    clear_m : (a,) free ground between the two, inf for the first row
    """

    panels: FloatArray
    tail: IntArray
    head: IntArray
    kwh: FloatArray
    kwh_per_panel: FloatArray
    clear_m: FloatArray
    step: int = 1


@dataclass(frozen=True, eq=False)
class SiteNet:
    """Sites that may be taken, m of them.

    kwh : (m,) energy of a tower that stands alone;  panels : (m,) of it
    pairs : (p, 2) int, first < second;  loss : (p,) kWh that the two take from each other, both ways
    conflicts : (c, 2) int, pairs of which at most one can stand
    """

    kwh: FloatArray
    panels: FloatArray
    pairs: IntArray
    loss: FloatArray
    conflicts: IntArray


@dataclass(frozen=True, eq=False)
class Cross:
    """Rows and towers on one plot.

    pairs : (q, 2) int, row and site;  loss : (q,) kWh that they take from each other
    rows_allowed, sites_allowed : (k, n), (k, m) bool, what each of k splits of the plot leaves to rows and to towers
    """

    pairs: IntArray
    loss: FloatArray
    rows_allowed: BoolArray
    sites_allowed: BoolArray


@dataclass(frozen=True, eq=False)
class Limit:
    """A limit on the whole choice: arc @ arcs + panel · (panels in rows) + site @ towers ≤ most or ≥ least.

    arc : (a,) what a row costs at each arc, besides its panels;  site : (m,) what a tower costs, its panels in it
    """

    name: str
    unit: str
    panel: float = 0.0
    arc: FloatArray = field(default_factory=lambda: np.zeros(0))
    site: FloatArray = field(default_factory=lambda: np.zeros(0))
    most: float | None = None
    least: float | None = None


@dataclass(frozen=True, eq=False)
class Chosen:
    """The best choice found.

    rows : (r,) int;  panels : (r,) of each;  sites : (t,) int;  split : number of the split taken, None without
    kwh : energy of the choice by the model;  bound_kwh : no choice has more;  gap_fraction : bound over energy, minus 1
    """

    rows: IntArray
    panels: FloatArray
    sites: IntArray
    split: int | None
    kwh: float
    bound_kwh: float
    gap_fraction: float
    seconds: float
    timed_out: bool


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
    model = pyo.ConcreteModel()
    energy = 0.0
    model.c = pyo.ConstraintList()
    if rows is not None:
        energy += _add_rows(model, rows, bool(limits))
    if sites is not None:
        energy += _add_sites(model, sites, fold_kwh, limits)
    if cross is not None and rows is not None and sites is not None:
        energy += _add_cross(model, rows, cross, fold_kwh)
    model.energy = pyo.Objective(expr=energy, sense=pyo.maximize)
    named = _add_limits(model, rows, sites, limits)
    solved = solve_or_explain(model, named, gap, time_limit_s)
    took = _path(model, rows) if rows is not None else np.zeros(0, dtype=np.int64)
    cut = _cut(model, rows, took) if rows is not None else np.zeros(0)
    towers = _taken(model.y) if sites is not None else np.zeros(0, dtype=np.int64)
    split = int(_taken(model.u)[0]) if cross is not None else None
    at = rows.head[took] if rows is not None else took
    kwh = energy_of(rows, sites, cross, took, cut, towers)
    bound = max(kwh, solved.bound)
    slack = bound - kwh
    proven = slack / kwh if kwh > 0 and slack > 1e-9 * kwh else 0.0
    left = rows.panels[at] - cut if rows is not None else cut
    return Chosen(at, left, towers, split, kwh, bound, proven, solved.seconds, solved.timed_out)


def energy_of(
    rows: RowNet | None,
    sites: SiteNet | None,
    cross: Cross | None,
    arcs: IntArray,
    cut: FloatArray,
    towers: IntArray,
) -> float:
    """Energy of a choice by the whole model, kWh: arcs taken, panels left away at each, sites taken."""
    total = 0.0
    if rows is not None:
        total += float(rows.kwh[arcs].sum() - rows.kwh_per_panel[arcs] @ cut)
    if sites is not None:
        total += float(sites.kwh[towers].sum())
        total -= float(sites.loss[np.isin(sites.pairs, towers).all(axis=1)].sum())
    if cross is not None and rows is not None:
        both = np.isin(cross.pairs[:, 0], rows.head[arcs]) & np.isin(cross.pairs[:, 1], towers)
        total -= float(cross.loss[both].sum())
    return total


def cliques(count: int, conflicts: IntArray) -> list[IntArray]:
    """Sets of sites of which at most one can stand: every conflict lies in one, every site too; each grown greedily."""
    near = np.zeros((count, count), dtype=bool)
    near[conflicts[:, 0], conflicts[:, 1]] = near[conflicts[:, 1], conflicts[:, 0]] = True
    open_pairs = np.triu(near)
    found = []
    while open_pairs.any():
        first, second = (int(i) for i in np.argwhere(open_pairs)[0])
        found.append(_grown(near, [first, second], open_pairs))
        open_pairs[np.ix_(found[-1], found[-1])] = False
    return found


def clique_partition(count: int, conflicts: IntArray) -> list[IntArray]:
    """Every site in just one set of sites of which at most one can stand."""
    near = np.zeros((count, count), dtype=bool)
    near[conflicts[:, 0], conflicts[:, 1]] = near[conflicts[:, 1], conflicts[:, 0]] = True
    left, found = np.ones(count, dtype=bool), []
    while left.any():
        degree = np.where(left, (near & left).sum(axis=1), -1)
        members = [int(degree.argmax())]
        joined = near[members[0]] & left
        while joined.any():
            members.append(int(np.where(joined, (near & joined).sum(axis=1), -1).argmax()))
            joined &= near[members[-1]]
        left[members] = False
        found.append(np.sort(np.array(members, dtype=np.int64)))
    return found


def _grown(near: BoolArray, members: list[int], open_pairs: BoolArray) -> IntArray:
    joined = near[members[0]] & near[members[1]]
    while joined.any():
        gain = (open_pairs[members].sum(axis=0) + open_pairs[:, members].sum(axis=1)) * 1000 + (near & joined).sum(
            axis=1
        )
        members.append(int(np.where(joined, gain, -1).argmax()))
        joined = joined & near[members[-1]]
    return np.sort(np.array(members, dtype=np.int64))


def _add_rows(model: pyo.ConcreteModel, rows: RowNet, limited: bool) -> pyo.Expression:
    """Path from the first row to the last. x : arc taken; r : panels left away, in steps, only where limits call."""
    arcs = range(len(rows.tail))
    # The corners of a path's polyhedron are whole; limits cut it, and cross terms make it pay to be in parts.
    model.x = pyo.Var(arcs, domain=pyo.Binary if limited or hasattr(model, "y") else pyo.UnitInterval)
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
        model.r, spare = pyo.Var(arcs, domain=pyo.NonNegativeReals), _spare(rows)
        for a in arcs:
            model.c.add(model.r[a] <= float(spare[rows.head[a]]) * x[a])
        # One whole number for all: with the rows settled, what is left away then comes in whole steps.
        model.all_cut = pyo.Var(domain=pyo.NonNegativeIntegers)
        model.c.add(model.all_cut == pyo.quicksum(model.r[a] for a in arcs))
        energy -= pyo.quicksum(float(rows.kwh_per_panel[a] * rows.step) * model.r[a] for a in arcs)
    return energy


def _spare(rows: RowNet) -> FloatArray:
    """Steps by which each row can be shorter: all but its last."""
    return np.maximum(0.0, np.floor(rows.panels / rows.step) - 1.0)


def _add_sites(model: pyo.ConcreteModel, sites: SiteNet, fold_kwh: float, limits: Sequence[Limit]) -> pyo.Expression:
    count = len(sites.kwh)
    model.y = pyo.Var(range(count), domain=pyo.Binary)
    y = model.y
    for members in cliques(count, sites.conflicts):
        model.c.add(pyo.quicksum(y[int(i)] for i in members) <= 1)
    near = {tuple(sorted(pair)) for pair in sites.conflicts.tolist()}
    kept = [
        (i, j, loss)
        for (i, j), loss in zip(sites.pairs.tolist(), sites.loss.tolist(), strict=True)
        if loss > fold_kwh and (i, j) not in near
    ]
    model.z = pyo.Var([(i, j) for i, j, _ in kept], domain=pyo.UnitInterval)
    z = model.z
    for i, j, _ in kept:
        model.c.add(z[i, j] <= y[i])
        model.c.add(z[i, j] <= y[j])
        model.c.add(z[i, j] >= y[i] + y[j] - 1)
    partner: list[dict[int, tuple[int, int]]] = [{} for _ in range(count)]
    for i, j, _ in kept:
        partner[i][j] = partner[j][i] = (i, j)
    for members in clique_partition(count, sites.conflicts):
        inside = set(members.tolist())
        if len(inside) < 2:
            continue
        for i in range(count):
            # Every member must have its product with i, or be barred by i itself.
            whole = [j for j in inside if j in partner[i] or tuple(sorted((i, j))) in near]
            some = [partner[i][j] for j in whole if j in partner[i]]
            if i not in inside and len(some) > 1:
                model.c.add(pyo.quicksum(z[pair] for pair in some) >= y[i] + pyo.quicksum(y[j] for j in whole) - 1)
    return pyo.quicksum(float(sites.kwh[i]) * y[i] for i in range(count)) - pyo.quicksum(
        loss * z[i, j] for i, j, loss in kept
    )


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
    for k in kept:
        i, j = (int(v) for v in cross.pairs[k])
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
