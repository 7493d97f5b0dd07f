"""Towers in the model: sites, pairs of them, how many there can be, cuts found before the search."""

import time
from dataclasses import dataclass, field

import numpy as np
import pyomo.environ as pyo
from pyomo.contrib.appsi.solvers import Highs

from layout.optimise.positions_nets import SiteNet
from layout.optimise.site_cliques import clique_partition, cliques
from layout.optimise.site_counts import Cuts, passed_cuts, slack
from layout.optimise.solver import relaxed_bound, search_above
from sites.conventions import FloatArray, IntArray

ROUNDS = 8
"""For one number of towers at most. Our choice: on nets of 60 sites the bound stops moving after four to six."""

LEAST_GAIN = 0.15
"""A round that closes less than this share of the gap is the last. Our choice."""

MOST_SITES_CUT = 120
"""Nets with more sites go without cuts: all triples are looked at."""

LEAST_S = 0.2
"""The shortest time limit of a search."""

LEAST_SLACK = 1e-4
"""A cut kept by more at the last optimum is taken out."""


def add_sites(model: pyo.ConcreteModel, sites: SiteNet, fold_kwh: float, numbered: bool = False) -> pyo.Expression:
    """Put y (site taken) and z (both taken) into a model with a list of constraints, c; its energy.

    fold_kwh : pairs that lose less are left out;  numbered : so many towers stand as the
        parameters ``low`` and ``high`` say
    """
    count = len(sites.kwh)
    model.y = pyo.Var(range(count), domain=pyo.Binary)
    y = model.y
    for members in cliques(count, sites.conflicts):
        model.c.add(pyo.quicksum(y[int(i)] for i in members) <= 1)
    near = {tuple(sorted(pair)) for pair in sites.conflicts.tolist()}
    loss = {tuple(sorted(pair)): v for pair, v in zip(sites.pairs.tolist(), sites.loss.tolist(), strict=True)}
    if numbered:  # every pair that can stand has its product
        loss = {(i, j): loss.get((i, j), 0.0) for j in range(count) for i in range(j)}
    kept = {pair: v for pair, v in loss.items() if pair not in near and (numbered or v > fold_kwh)}
    model.z = pyo.Var(list(kept), domain=pyo.UnitInterval)
    _products(model, kept)
    if numbered:
        _numbered(model, count)
    _with_cliques(model, sites, numbered)
    return pyo.quicksum(float(sites.kwh[i]) * y[i] for i in range(count)) - pyo.quicksum(
        v * model.z[pair] for pair, v in kept.items()
    )


def _products(model: pyo.ConcreteModel, pairs: dict[tuple[int, int], float]) -> None:
    y, z = model.y, model.z
    for i, j in pairs:
        model.c.add(z[i, j] <= y[i])
        model.c.add(z[i, j] <= y[j])
        model.c.add(z[i, j] >= y[i] + y[j] - 1)


def _partners(model: pyo.ConcreteModel, count: int) -> list[dict[int, pyo.Var]]:
    found: list[dict[int, pyo.Var]] = [{} for _ in range(count)]
    for i, j in model.z:
        found[i][j] = found[j][i] = model.z[i, j]
    return found


def _numbered(model: pyo.ConcreteModel, count: int) -> None:
    """At least and at most so many towers stand, and each in one pair less."""
    model.low, model.high = pyo.Param(initialize=1, mutable=True), pyo.Param(initialize=count, mutable=True)
    every = pyo.quicksum(model.y[i] for i in range(count))
    model.c.add(every >= model.low)
    model.c.add(every <= model.high)
    for i, others in enumerate(_partners(model, count)):
        pairs = pyo.quicksum(others.values()) if others else 0.0 * model.y[i]
        model.c.add(pairs - (model.low - 1) * model.y[i] >= 0)
        model.c.add(pairs - (model.high - 1) * model.y[i] <= 0)


def _with_cliques(model: pyo.ConcreteModel, sites: SiteNet, both_ways: bool) -> None:
    """Of a set of sites of which one can stand, one at most stands with a site outside."""
    y, count = model.y, len(sites.kwh)
    partner = _partners(model, count)
    near: list[set[int]] = [set() for _ in range(count)]
    for i, j in sites.conflicts.tolist():
        near[i].add(j)
        near[j].add(i)
    for members in clique_partition(count, sites.conflicts):
        inside = set(members.tolist())
        if len(inside) < 2:
            continue
        for i in range(count):
            # Every member must have its product with i, or be barred by i itself.
            whole = [j for j in inside if j in partner[i] or j in near[i]]
            some = [partner[i][j] for j in whole if j in partner[i]]
            if i not in inside and len(some) > 1:
                model.c.add(pyo.quicksum(some) >= y[i] + pyo.quicksum(y[j] for j in whole) - 1)
                if both_ways:
                    model.c.add(pyo.quicksum(some) <= y[i])


Numbers = tuple[int, int]
"""The least and the largest number of towers."""


@dataclass(eq=False)
class Relaxed:
    """The model of a number of towers, with cuts for three sites, which hold for every number. Not frozen: it grows.

    opt : its time limit counts over all calls
    cuts : added so far, with their constraints;  rounds : solved so far, by numbers
    """

    model: pyo.ConcreteModel
    opt: Highs
    count: int
    cuts: list[tuple[Cuts, list[pyo.Constraint]]] = field(default_factory=list)
    rounds: dict[Numbers, int] = field(default_factory=dict)

    def step(self, numbers: Numbers, bound: float, enough: float) -> tuple[float, bool]:
        """Bound the choices of so many towers once more, kWh, -inf where there are none; and whether more rounds are
        worth it.

        bound : known so far;  enough : a bound below is good enough
        """
        self._set(numbers, False)
        found = relaxed_bound(self.opt, self.model)
        self.rounds[numbers] = done = self.rounds.get(numbers, 0) + 1
        if found is None:
            return bound, False
        bound, before = min(bound, found), bound
        if bound <= enough or done == ROUNDS or self.count > MOST_SITES_CUT:
            return bound, False
        cuts = passed_cuts(*self._values())
        if not len(cuts) or (done > 1 and before - bound < LEAST_GAIN * (bound - enough)):
            return bound, False
        self.cuts.append((cuts, _add_cuts(self.model, cuts)))
        return bound, True

    def search(self, numbers: Numbers, least: float, gap: float, seconds: float) -> tuple[IntArray | None, float, bool]:
        """A choice of so many towers with more energy than ``least``, None without; the bound, -inf where none has
        more; whether the time was too short to tell."""
        begin = time.perf_counter()
        self._set(numbers, False)
        if relaxed_bound(self.opt, self.model) is not None:
            self._keep_tight()
        self._set(numbers, True)
        left = max(LEAST_S, seconds - (time.perf_counter() - begin))
        found, bound, late = search_above(self.model, least, gap, left)
        took = np.array([i for i in self.model.y if self.model.y[i].value > 0.5], dtype=np.int64) if found else None
        self.model.del_component("above")
        for _, constraints in self.cuts:
            for constraint in constraints:
                constraint.activate()
        return took, bound, late

    def _set(self, numbers: Numbers, whole: bool) -> None:
        self.model.low.value, self.model.high.value = numbers
        for v in self.model.y.values():
            v.domain = pyo.Binary if whole else pyo.UnitInterval

    def _keep_tight(self) -> None:
        """Cuts that the fractional optimum keeps with room go, so that the search carries fewer rows."""
        y, z = self._values()
        for cuts, constraints in self.cuts:
            loose = np.concatenate(slack(cuts, y, z)) > LEAST_SLACK
            for constraint, drop in zip(constraints, loose.tolist(), strict=True):
                if drop:
                    constraint.deactivate()

    def _values(self) -> tuple[FloatArray, FloatArray]:
        """y (m,) and z (m, m) as they are."""
        y = np.array([v.value for v in self.model.y.values()])
        z = np.zeros((self.count, self.count))
        for (i, j), v in self.model.z.items():
            z[i, j] = z[j, i] = v.value
        return y, z


def _add_cuts(model: pyo.ConcreteModel, cuts: Cuts) -> list[pyo.Constraint]:
    """The cuts as constraints, in order."""
    y, of = model.y, model.z

    def z(i: int, j: int) -> pyo.Expression:
        pair = min(i, j), max(i, j)
        return of[pair] if of.__contains__(pair) else 0.0

    found = [model.c.add(z(i, j) + z(i, k) + z(j, k) >= y[i] + y[j] + y[k] - 1) for i, j, k in cuts.both.tolist()]
    return found + [model.c.add(z(i, j) + z(i, k) <= y[i] + z(j, k)) for i, j, k in cuts.one.tolist()]
