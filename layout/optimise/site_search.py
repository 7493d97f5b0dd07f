"""The best towers among sites: ranges of their number bounded and halved, searched only where they can be better.

A number of towers fixed makes the bound tight (`site_counts`): most are ruled out without a search. What is
left is searched for a choice better than the one known; where there is none, that one is the best.
"""

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyomo.environ as pyo

from layout.optimise.positions_nets import Limit, SiteNet, energy_of
from layout.optimise.positions_pairs import Numbers, Relaxed, add_sites
from layout.optimise.site_counts import count_bound, counts
from layout.optimise.solver import EXACT_GAP, solver
from sites.conventions import IntArray

BOUNDS_SHARE = 0.6
"""Share of the time for bounds at most; the rest is for searches. Our choice."""

LEAST_S = 0.5
"""A search is not begun with less time."""


@dataclass(frozen=True, eq=False)
class Found:
    """towers : sites, rising;  kwh : of them;  bound_kwh : no choice has more"""

    towers: IntArray
    kwh: float
    bound_kwh: float
    timed_out: bool


def best_towers(sites: SiteNet, limits: Sequence[Limit], known: IntArray, gap: float, time_limit_s: float) -> Found:
    """The best choice of sites within limits (only their ``site`` counts), from one that is known to keep them.

    gap : the search may stop once no choice can be better by more
    """
    end, best = time.perf_counter() + time_limit_s, known
    kwh = _energy(sites, known)
    numbers = counts(sites, limits, kwh)
    if not numbers:
        return Found(best, kwh, kwh, False)
    relaxed = Relaxed(_model(sites, limits), solver(0.0, time_limit_s), len(sites.kwh))
    enough = kwh * (1.0 + max(gap, EXACT_GAP))
    top = max(count_bound(sites, n) for n in numbers)
    bounds = _bounds(relaxed, (numbers[0], numbers[-1]), top, enough, BOUNDS_SHARE * time_limit_s)
    timed_out, proven = False, [kwh]
    waiting = sorted(bounds, key=lambda n: -bounds[n])
    for k, n in enumerate(waiting):
        enough = kwh * (1.0 + max(gap, EXACT_GAP))
        share = (end - time.perf_counter()) / (len(waiting) - k)
        if bounds[n] > enough and share < LEAST_S:
            timed_out = True
        elif bounds[n] > enough:
            took, bound, late = relaxed.search(n, enough, gap, share)
            timed_out |= late
            # What is not better than ``enough`` was cut off.
            bounds[n] = min(bounds[n], max(bound, enough))
            if took is not None and _energy(sites, took) > kwh:
                best, kwh = took, _energy(sites, took)
        proven.append(bounds[n])
    return Found(best, kwh, max(kwh, *proven), timed_out)


def _bounds(relaxed: Relaxed, numbers: Numbers, top: float, enough: float, seconds: float) -> dict[Numbers, float]:
    """Bounds by ranges of numbers of towers, kWh: the range with the highest is cut further or halved, as long as that
    pays; what cannot be better than ``enough`` gets just that.

    top : a bound for all
    """
    end, bounds, going = time.perf_counter() + seconds, {numbers: top}, {numbers}
    while going := {n for n in going if bounds[n] > enough}:
        if time.perf_counter() > end:
            break
        n = max(going, key=lambda n: bounds[n])
        bounds[n], more = relaxed.step(n, bounds[n], enough)
        low, high = n
        if low < high and bounds[n] > enough:
            bound, middle = bounds.pop(n), (low + high) // 2
            bounds |= {(low, middle): bound, (middle + 1, high): bound}
            going = (going - {n}) | {(low, middle), (middle + 1, high)}
        elif not more:
            going.discard(n)
    return {n: max(b, enough) for n, b in bounds.items()}


def _energy(sites: SiteNet, towers: IntArray) -> float:
    none = np.zeros(0, dtype=np.int64)
    return energy_of(None, sites, None, none, np.zeros(0), towers)


def _model(sites: SiteNet, limits: Sequence[Limit]) -> pyo.ConcreteModel:
    """The model of a number of towers, within limits."""
    model = pyo.ConcreteModel()
    model.c = pyo.ConstraintList()
    model.energy = pyo.Objective(expr=add_sites(model, sites, 0.0, numbered=True), sense=pyo.maximize)
    for limit in limits:
        body = pyo.quicksum(float(c) * model.y[j] for j, c in enumerate(limit.site.tolist()))
        if limit.most is not None and len(limit.site):
            model.c.add(body <= limit.most)
        if limit.least is not None and len(limit.site):
            model.c.add(body >= limit.least)
    return model
