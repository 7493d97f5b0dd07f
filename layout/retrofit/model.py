"""Which candidates to build: a mixed-integer model, written with Pyomo and solved by HiGHS to a gap of 0.

make large   sum of the extra energy of all panels, single and pair effects, less a small price on every place
so that      one candidate a place, candidates that would cross not both, kinds, weight of each plane, sail area
             and money within their limits, no panel and no string less energy than without, light and heat of every
             listed cell and hour within its limit, and what earlier tracings of whole sets have shown

Rows of light and heat are many and few of them bind: they join the model when a choice breaks them, until none does.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyomo.environ as pyo
from pyomo.common.tee import capture_output
from pyomo.core.expr.numeric_expr import LinearExpression
from scipy.sparse import csr_array

from layout.errors import PhysicsError
from sites.conventions import FloatArray, IntArray

Pair = tuple[int, int]

ROWS_AT_ONCE = 60
"""Broken rows that join the model after a choice, those broken most; more follow if they have to."""

BROKEN = 1e-6
"""W/m² (or parts) by which a row counts as broken: the solver's own tolerance."""


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

    gain : (c, n) [kWh] of a year, DC, each candidate by itself; pairs : what two add beyond that, (n,) each
    shift : (c, n) [kWh] what tracings of whole sets have shown beyond both; None before any
    strings : panels of each string; rest : (c, strings + 1) [kWh] what each string adds to the sum of its panels, and
        in the last column what all else does, as tracings of whole sets have shown; None before any
    worth : objective per kWh; price : (c,) in the objective's unit, taken off for each candidate
    place, kind, plane : (c,) int; area_m2, kg, money : (c,); plane_m2 : (planes,)
    conflicts : (k, 2) int; rows : light, heat, and cuts; seen : sets traced whole
    slack_kwh : (n,) what a panel may lose before it counts as losing: the noise of the tracing; a string as much as
        its panels together
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
    shift: FloatArray | None = None
    strings: tuple[IntArray, ...] = ()
    rest: FloatArray | None = None

    @property
    def effect(self) -> FloatArray:
        """What each candidate does to each panel, as far as is known, (c, n) kWh."""
        return self.gain if self.shift is None else self.gain + self.shift

    @property
    def beyond(self) -> FloatArray:
        """``rest``, zeros before any tracing."""
        return np.zeros((len(self.price), len(self.strings) + 1)) if self.rest is None else self.rest

    def with_rows(self, rows: Sequence[Row]) -> "Problem":
        """The same with more rows."""
        return replace(self, rows=(*self.rows, *rows))

    def panel_gain(self, chosen: IntArray) -> FloatArray:
        """DC gain of each panel that the model promises for a set, (n,) kWh."""
        total = self.effect[chosen].sum(axis=0)
        inside = set(chosen.tolist())
        for (i, j), extra in self.pairs.items():
            if i in inside and j in inside:
                total = total + extra
        return np.asarray(total)

    def promise(self, chosen: IntArray) -> float:
        """DC gain that the model promises for a set, strings and all, kWh."""
        return float(self.panel_gain(chosen).sum() + self.beyond[chosen].sum())


@dataclass(frozen=True, eq=False)
class Choice:
    """chosen : (k,) int; energy_kwh : DC gain that the model promises; value : of the objective"""

    chosen: IntArray
    energy_kwh: float
    value: float


def solve(problem: Problem, gap: float = 0.0, seconds: float = 60.0) -> Choice:
    """The best set; ``gap``: share of its value by which another might be better. Raises PhysicsError where the solver
    finds no optimum within its time."""
    c = len(problem.price)
    if c == 0:
        return Choice(np.zeros(0, dtype=np.int64), 0.0, 0.0)
    model, matrix = _model(problem), _row_matrix(problem)
    most, waiting = np.array([row.most for row in problem.rows]), np.ones(len(problem.rows), dtype=bool)
    solver = pyo.SolverFactory("appsi_highs")
    solver.config.time_limit = seconds
    solver.highs_options = {"mip_rel_gap": gap, "mip_abs_gap": 1e-7, "random_seed": 1}
    while True:
        with capture_output():
            result = solver.solve(model)
        state = str(result.solver.termination_condition)
        if state != "optimal":
            raise PhysicsError(f"choice of parts: found '{state}' after {seconds:g} s; accepted: an optimum")
        chosen = np.flatnonzero([pyo.value(model.x[i]) > 0.5 for i in range(c)])
        over = matrix[:, chosen].sum(axis=1) - most
        broken = np.flatnonzero(waiting & (over > BROKEN))
        if not len(broken):
            return Choice(chosen, float(pyo.value(model.energy)), float(pyo.value(model.objective)))
        joining = broken[np.argsort(-over[broken], kind="stable")[:ROWS_AT_ONCE]]
        waiting[joining] = False
        for k in joining:
            model.rules.add(_row(model, problem.rows[k]))


def _row_matrix(p: Problem) -> csr_array:
    """The weights of all rows, (rows, c)."""
    counts = [len(row.candidates) for row in p.rows]
    if not counts:
        return csr_array((0, len(p.price)))
    columns = np.concatenate([row.candidates for row in p.rows])
    weights = np.concatenate([row.weights for row in p.rows])
    return csr_array((weights, (np.repeat(np.arange(len(counts)), counts), columns)), (len(counts), len(p.price)))


def _row(m: pyo.ConcreteModel, row: Row) -> Any:
    return _sum(row.weights, [m.x[int(i)] for i in row.candidates]) <= float(row.most)


def _model(p: Problem) -> pyo.ConcreteModel:
    m = pyo.ConcreteModel()
    c = len(p.price)
    m.x = pyo.Var(range(c), domain=pyo.Binary)
    pairs = list(p.pairs)
    m.both = pyo.Var(range(len(pairs)), bounds=(0, 1))
    m.energy = pyo.Var()
    m.rules = pyo.ConstraintList()
    _add_pairs(m, p, pairs)
    _add_energy(m, p, pairs)
    _add_choices(m, p, c)
    _add_limits(m, p)
    for seen in p.seen:
        _add_seen(m, p, seen)
    m.objective = pyo.Objective(expr=p.worth * m.energy - _sum(p.price, list(m.x.values())), sense=pyo.maximize)
    return m


def _sum(weights: FloatArray, variables: Sequence[Any]) -> Any:
    """A linear expression, without what counts nothing."""
    used = np.flatnonzero(weights).tolist()
    return LinearExpression(
        constant=0.0, linear_coefs=[float(weights[k]) for k in used], linear_vars=[variables[k] for k in used]
    )


def _add_pairs(m: pyo.ConcreteModel, p: Problem, pairs: Sequence[Pair]) -> None:
    """Both of a pair stand: at most one candidate stands at a place, so a candidate's pairs with all of one place share
    their rows. They say the same as rows of each pair alone, but leave far less room between whole numbers."""
    partners: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for k, (i, j) in enumerate(pairs):
        partners.setdefault((i, int(p.place[j])), []).append((k, j))
        partners.setdefault((j, int(p.place[i])), []).append((k, i))
    for (i, _), mates in partners.items():
        together = [m.both[k] for k, _ in mates]
        m.rules.add(_ones(together) <= m.x[i])
        m.rules.add(_ones(together) >= m.x[i] + _ones([m.x[j] for _, j in mates]) - 1)


def _ones(variables: Sequence[Any]) -> Any:
    """How many of some variables are 1."""
    return LinearExpression(constant=0.0, linear_coefs=[1.0] * len(variables), linear_vars=list(variables))


def _add_energy(m: pyo.ConcreteModel, p: Problem, pairs: Sequence[Pair]) -> None:
    """The energy, and that no panel and no string gets less than without."""
    variables = [*m.x.values(), *m.both.values()]
    panels = np.concatenate([p.effect, *(p.pairs[pair][None] for pair in pairs)])
    beyond = np.zeros((len(variables), p.beyond.shape[1]))
    beyond[: len(p.price)] = p.beyond
    m.rules.add(m.energy <= _sum(panels.sum(axis=1) + beyond.sum(axis=1), variables))
    floors = [(panels[:, k], p.slack_kwh[k]) for k in range(panels.shape[1])]
    floors += [(panels[:, s].sum(axis=1) + beyond[:, k], p.slack_kwh[s].sum()) for k, s in enumerate(p.strings)]
    for gain, slack in floors:
        if (gain < 0).any():
            m.rules.add(_sum(gain, variables) >= -float(slack))


def _add_choices(m: pyo.ConcreteModel, p: Problem, c: int) -> None:
    """One candidate a place, none that cross, and the kinds."""
    for place in np.unique(p.place):
        mine = np.flatnonzero(p.place == place)
        if len(mine) > 1:
            m.rules.add(_sum(np.ones(len(mine)), [m.x[int(i)] for i in mine]) <= 1)
    for i, j in p.conflicts:
        m.rules.add(m.x[int(i)] + m.x[int(j)] <= 1)
    kinds = np.unique(p.kind)
    if p.limits.kinds < len(kinds):
        m.made = pyo.Var([int(k) for k in kinds], domain=pyo.Binary)
        for place, kind in sorted(set(zip(p.place.tolist(), p.kind.tolist(), strict=True))):
            alike = np.flatnonzero((p.place == place) & (p.kind == kind))
            m.rules.add(_ones([m.x[int(i)] for i in alike]) <= m.made[kind])
        m.rules.add(_sum(np.ones(len(kinds)), list(m.made.values())) <= p.limits.kinds)


def _add_limits(m: pyo.ConcreteModel, p: Problem) -> None:
    """Weight, sail area, money."""
    every = list(m.x.values())
    if p.limits.kg_per_m2 is not None:
        for plane in np.unique(p.plane):
            m.rules.add(_sum(p.kg * (p.plane == plane), every) <= p.limits.kg_per_m2 * float(p.plane_m2[plane]))
    if p.limits.sail_m2 is not None:
        m.rules.add(_sum(p.area_m2, every) <= p.limits.sail_m2)
    if p.limits.money is not None and p.money.any():
        m.rules.add(_sum(p.money, every) <= p.limits.money)


def _add_seen(m: pyo.ConcreteModel, p: Problem, seen: Seen) -> None:
    """A set that was traced gives what was found. Others give at most as much more as their own further candidates
    promise; a set that leaves one of its candidates out may get back all that strings have taken."""
    inside = np.zeros(len(p.price), dtype=bool)
    inside[seen.chosen] = True
    promise = most_promised(p)
    lost = max(0.0, seen.promised_kwh - seen.energy_kwh)
    back = lost - float(np.minimum(0.0, p.effect[seen.chosen]).sum() + np.minimum(0.0, p.beyond[seen.chosen]).sum())
    weights = np.where(inside, -back, promise)
    m.rules.add(m.energy <= seen.energy_kwh + back * int(inside.sum()) + _sum(weights, list(m.x.values())))


def most_promised(p: Problem) -> FloatArray:
    """The most that each candidate may add to any set, (c,) kWh: what pairs may add is granted to both."""
    promise = np.maximum(0.0, p.effect).sum(axis=1) + np.maximum(0.0, p.beyond).sum(axis=1)
    for (i, j), extra in p.pairs.items():
        promise[[i, j]] += np.maximum(0.0, extra).sum()
    return np.asarray(promise)
