"""Cuts through the best shape: one thing varies over its range, the others stay. How flat the best is, and where
limits end it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from layout.optimise.search import Point, Variables
from layout.optimise_tables import Value, VaryTable
from sites.conventions import BoolArray, FloatArray

PLACES = 9
"""Values looked at over the range of each thing that varies, the best one's beside them. Our choice."""

NEAR_STEPS = (1, 3)
"""Steps of the net to both sides of the best that are looked at besides, so that a narrow peak is not missed."""


@dataclass(frozen=True, eq=False)
class Cut:
    """One thing that varies, n values of it.

    values : as the plan takes them;  at : (n,) the same as numbers, rising; of words their places in the choices
    score : (n,) over that of the best, minus 1; NaN where nothing can be built;  kept : (n,) bool, keeps every limit
    best : number of the best one's value
    """

    vary: VaryTable
    values: tuple[Value, ...]
    at: FloatArray
    score: FloatArray
    kept: BoolArray
    best: int


def cuts(vary: Sequence[VaryTable], judge: Callable[[dict[str, Value]], Point], best: Point) -> tuple[Cut, ...]:
    """A cut along each thing that varies, through the best point. vary : as searched, whole numbers in steps of 1"""
    return tuple(_cut(v, judge, best) for v in vary)


def _cut(vary: VaryTable, judge: Callable[[dict[str, Value]], Point], best: Point) -> Cut:
    net = Variables([vary])
    count = int(net.counts[0])
    middle = net.index(best.values)[0]
    near = [middle + s * step for step in NEAR_STEPS for s in (-1, 1)] if not vary.choices else []
    even = np.linspace(0, count, min(PLACES, count + 1))
    places = np.unique(np.clip(np.round([*even, middle, *near]), 0, count).astype(int))
    values = [net.values([int(i)])[vary.key] for i in places]
    points = [judge(best.values | {vary.key: v}) for v in values]
    return Cut(
        vary,
        tuple(values),
        places.astype(np.float64) if vary.choices else np.array(values, dtype=np.float64),
        np.array([p.score / best.score - 1.0 if p.score > 0 else np.nan for p in points]),
        np.array([p.violation <= 0 for p in points]),
        int(np.flatnonzero(places == middle)[0]),
    )
