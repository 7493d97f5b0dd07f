"""Which candidates to build: a mixed-integer model, written with Pyomo and solved by HiGHS to a gap of 0.

make large   sum of the extra energy of all panels, single and pair effects, less a small price on every place
so that      one candidate a place, candidates that would cross not both, kinds, weight of each plane, sail area
             and money within their limits, no panel less energy than without, light and heat of every listed cell
             and hour within its limit, and what earlier tracings of whole sets have shown
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyomo.environ as pyo
from pyomo.common.tee import capture_output

from layout.errors import PhysicsError
from sites.conventions import FloatArray, IntArray

Pair = tuple[int, int]


@dataclass(frozen=True, eq=False)
class Row:
    """sum of weight[k] · chosen[candidates[k]] + pairs' weights ≤ most; what : in words, for the report"""

    candidates: IntArray
    weights: FloatArray
    most: float
    what: str


@dataclass(frozen=True, eq=False)
class Seen:
    """A set that was traced whole: the model may not promise more for it than was found.

    chosen : (k,) int; energy_kwh : DC gain that the tracing found; promised_kwh : that the model had promised
    """

    chosen: IntArray
    energy_kwh: float
    promised_kwh: float


@dataclass(frozen=True, eq=False)
class Limits:
    """None: no limit. kg_per_m2 counts over each plane's own area."""

    kinds: int
    kg_per_m2: float | None = None
    sail_m2: float | None = None
    money: float | None = None


@dataclass(frozen=True, eq=False)
class Problem:
    """All that the model knows; c candidates, n panels.

    gain : (c, n) [kWh] of a year, DC; pairs : what two candidates add beyond that, (n,) each
    worth : objective per kWh; price : (c,) in the objective's unit, taken off for each candidate
    place, kind, plane : (c,) int; area_m2, kg, money : (c,); plane_m2 : (planes,)
    conflicts : (k, 2) int; rows : light, heat, and cuts; seen : sets traced whole
    slack_kwh : (n,) what a panel may lose before it counts as losing: the noise of the tracing
    """

    gain: FloatArray
    pairs: dict[Pair, FloatArray]
    worth: float
    price: FloatArray
    place: IntArray
    kind: IntArray
    plane: IntArray
    area_m2: FloatArray
    kg: FloatArray
    money: FloatArray
    plane_m2: FloatArray
    conflicts: IntArray
    limits: Limits
    slack_kwh: FloatArray
    rows: tuple[Row, ...] = ()
    seen: tuple[Seen, ...] = ()

    def with_rows(self, rows: Sequence[Row]) -> "Problem":
        """The same with more rows."""
        return replace(self, rows=(*self.rows, *rows))

    def panel_gain(self, chosen: IntArray) -> FloatArray:
        """DC gain of each panel that single and pair effects promise for a set, (n,) kWh."""
        total = self.gain[chosen].sum(axis=0)
        inside = set(chosen.tolist())
        for (i, j), extra in self.pairs.items():
            if i in inside and j in inside:
                total = total + extra
        return np.asarray(total)


@dataclass(frozen=True, eq=False)
class Choice:
    """chosen : (k,) int; energy_kwh : DC gain that the model promises; value : of the objective"""

    chosen: IntArray
    energy_kwh: float
    value: float


def solve(problem: Problem, seconds: float = 30.0) -> Choice:
    """The best set. Raises PhysicsError where the solver finds no optimum within its time."""
    c = len(problem.price)
    if c == 0:
        return Choice(np.zeros(0, dtype=np.int64), 0.0, 0.0)
    model = _model(problem)
    solver = pyo.SolverFactory("appsi_highs")
    solver.config.time_limit = seconds
    solver.highs_options = {"mip_rel_gap": 0.0, "mip_abs_gap": 1e-7, "random_seed": 1}
    with capture_output():
        result = solver.solve(model)
    state = str(result.solver.termination_condition)
    if state != "optimal":
        raise PhysicsError(f"choice of parts: found '{state}' after {seconds:g} s; accepted: an optimum")
    chosen = np.flatnonzero([pyo.value(model.x[i]) > 0.5 for i in range(c)])
    return Choice(chosen, float(pyo.value(model.energy)), float(pyo.value(model.objective)))


def _model(p: Problem) -> pyo.ConcreteModel:
    m = pyo.ConcreteModel()
    c, n = p.gain.shape
    m.x = pyo.Var(range(c), domain=pyo.Binary)
    pairs = list(p.pairs)
    m.both = pyo.Var(range(len(pairs)), bounds=(0, 1))
    m.energy = pyo.Var()
    m.rules = pyo.ConstraintList()
    for k, (i, j) in enumerate(pairs):
        m.rules.add(m.both[k] <= m.x[i])
        m.rules.add(m.both[k] <= m.x[j])
        m.rules.add(m.both[k] >= m.x[i] + m.x[j] - 1)
    terms = [(float(v), m.x[i]) for i, v in enumerate(p.gain.sum(axis=1)) if v]
    terms += [(float(p.pairs[pair].sum()), m.both[k]) for k, pair in enumerate(pairs)]
    m.rules.add(m.energy <= _sum(terms))
    _add_panels(m, p, pairs, n)
    _add_choices(m, p, c)
    _add_limits(m, p, c)
    for row in p.rows:
        m.rules.add(_sum([(float(w), m.x[int(i)]) for i, w in zip(row.candidates, row.weights, strict=True)])
                    <= float(row.most))  # fmt: skip
    for seen in p.seen:
        _add_seen(m, p, seen)
    price = _sum([(float(v), m.x[i]) for i, v in enumerate(p.price) if v])
    m.objective = pyo.Objective(expr=p.worth * m.energy - price, sense=pyo.maximize)
    return m


def _sum(terms: Sequence[tuple[float, Any]]) -> Any:
    """A linear expression; 0 · nothing where it is empty."""
    if not terms:
        return 0.0
    weights, variables = zip(*terms, strict=True)
    return pyo.quicksum(w * v for w, v in zip(weights, variables, strict=True))


def _add_panels(m: pyo.ConcreteModel, p: Problem, pairs: Sequence[Pair], n: int) -> None:
    """No panel gets less than without."""
    for panel in range(n):
        terms = [(float(p.gain[i, panel]), m.x[int(i)]) for i in np.flatnonzero(p.gain[:, panel])]
        terms += [(float(p.pairs[q][panel]), m.both[k]) for k, q in enumerate(pairs) if p.pairs[q][panel]]
        if any(w < 0 for w, _ in terms):
            m.rules.add(_sum(terms) >= -float(p.slack_kwh[panel]))


def _add_choices(m: pyo.ConcreteModel, p: Problem, c: int) -> None:
    """One candidate a place, none that cross, and the kinds."""
    for place in np.unique(p.place):
        mine = np.flatnonzero(p.place == place)
        if len(mine) > 1:
            m.rules.add(pyo.quicksum(m.x[int(i)] for i in mine) <= 1)
    for i, j in p.conflicts:
        m.rules.add(m.x[int(i)] + m.x[int(j)] <= 1)
    kinds = np.unique(p.kind)
    if p.limits.kinds < len(kinds):
        m.made = pyo.Var([int(k) for k in kinds], domain=pyo.Binary)
        for i in range(c):
            m.rules.add(m.x[i] <= m.made[int(p.kind[i])])
        m.rules.add(pyo.quicksum(m.made[int(k)] for k in kinds) <= p.limits.kinds)


def _add_limits(m: pyo.ConcreteModel, p: Problem, c: int) -> None:
    """Weight, sail area, money."""
    every = range(c)
    if p.limits.kg_per_m2 is not None:
        for plane in np.unique(p.plane):
            terms = [(float(p.kg[i]), m.x[i]) for i in every if p.plane[i] == plane]
            m.rules.add(_sum(terms) <= p.limits.kg_per_m2 * float(p.plane_m2[plane]))
    if p.limits.sail_m2 is not None:
        m.rules.add(_sum([(float(p.area_m2[i]), m.x[i]) for i in every]) <= p.limits.sail_m2)
    if p.limits.money is not None and p.money.any():
        m.rules.add(_sum([(float(p.money[i]), m.x[i]) for i in every]) <= p.limits.money)


def _add_seen(m: pyo.ConcreteModel, p: Problem, seen: Seen) -> None:
    """A set that was traced gives what was found. Others give at most as much more as their own further candidates
    promise; a set that leaves one of its candidates out may get back all that strings have taken."""
    inside = set(seen.chosen.tolist())
    promise = np.maximum(0.0, p.gain).sum(axis=1)
    for (i, j), extra in p.pairs.items():  # what pairs may add is granted to both
        promise[[i, j]] += np.maximum(0.0, extra).sum()
    lost = max(0.0, seen.promised_kwh - seen.energy_kwh)
    terms = [(float(promise[i]), m.x[i]) for i in range(len(p.price)) if i not in inside and promise[i] > 0]
    out = len(inside) * 1.0 - pyo.quicksum(m.x[i] for i in inside) if inside else 0.0
    back = lost + float(-np.minimum(0.0, p.gain[seen.chosen]).sum())
    m.rules.add(m.energy <= seen.energy_kwh + _sum(terms) + back * out)
