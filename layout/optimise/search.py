"""Shape search: a global method without chance first (DIRECT: Jones, Perttunen & Stuckman, J. Optim. Theory Appl. 79
(1993) 157-181, as in scipy); where limits are missed on the way, one that follows them (COBYLA: Powell in Advances in
Optimization and Numerical Analysis (1994) 51-67, as in scipy; citation from memory); at last steps from the best to its
neighbours on the net of values that the plan allows."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, direct, minimize

from layout.optimise_tables import Value, VaryTable
from sites.conventions import FloatArray

DEFAULT_STEPS = 256
GLOBAL_SHARE = 0.4
"""Share of the budget for the global method; the rest refines. Our choice."""

LIMITS_SHARE = 0.6
"""Share of the budget after which the method that follows limits ends. Our choice."""

MEAN_SHARE = 0.7
"""Share of the budget after which what refines the score gives way to what refines it at the best shift. Our choice."""

REACHES = (0.125, 0.04)
"""How far the method that follows limits looks around it at first, as shares of each range; once more from the best.
Experiment: tests/layout/test_optimise_narrow_limits.py prints what it finds in narrow bands."""

CALLS_EACH = 40
"""Calls of the global method per evaluation: most fall on values worked out already, and cost nothing."""


@dataclass(frozen=True)
class Point:
    """values : by key; score : the larger the better; violation : 0 where every limit is kept, else how far off
    shift : the score with the panels that stand there at the pattern's best shift, not their mean over all shifts
    over : by how much each limit is missed (above 0) or kept (below), as a share of it
    """

    values: dict[str, Value]
    score: float
    violation: float
    shift: float = 0.0
    over: tuple[float, ...] = ()

    @property
    def rank(self) -> tuple[float, float]:
        """Keeping limits comes before the score."""
        return (-self.violation, self.score if self.violation <= 0 else 0.0)

    @property
    def shift_rank(self) -> tuple[float, float]:
        """The same at the best shift."""
        return (-self.violation, self.shift if self.violation <= 0 else 0.0)


class _SpentError(Exception):
    """The budget is used up."""


@dataclass(frozen=True)
class Variables:
    """What varies, and the net of its values."""

    vary: Sequence[VaryTable]

    @property
    def counts(self) -> FloatArray:
        """Steps from the lowest to the highest value of each, (d,)."""
        return np.array([self._count(v) for v in self.vary])

    def _count(self, v: VaryTable) -> float:
        if v.choices:
            return len(v.choices) - 1.0
        low, high = v.range
        return float(np.floor((high - low) / self._step(v) + 1e-9))

    def _step(self, v: VaryTable) -> float:
        low, high = v.range
        return v.step or (high - low) / DEFAULT_STEPS

    def values(self, index: Sequence[int]) -> dict[str, Value]:
        """Values at a place of the net, (d,) whole numbers."""
        return {v.key: self._value(v, i) for v, i in zip(self.vary, index, strict=True)}

    def index(self, values: Mapping[str, Value]) -> list[int]:
        """The place of values on the net."""
        found = []
        for v in self.vary:
            value = values[v.key]
            found.append(
                v.choices.index(value) if isinstance(value, str) else round((value - v.range[0]) / self._step(v))
            )
        return found

    def _value(self, v: VaryTable, i: int) -> Value:
        return v.choices[i] if v.choices else round(v.range[0] + i * self._step(v), 9)


def search(
    vary: Sequence[VaryTable], judge: Callable[[dict[str, Value]], Point], budget: int
) -> tuple[Point, list[Point]]:
    """The best point found and all that were judged, in order.

    judge : the point of some values; asked once for each place of the net
    budget : calls of ``judge`` at most
    """
    variables = Variables(vary)
    counts = variables.counts
    if not len(counts):
        only = judge({})
        return only, [only]
    seen: dict[tuple[int, ...], Point] = {}
    limit = budget

    def at(index: tuple[int, ...]) -> Point:
        if index not in seen:
            if len(seen) >= limit:
                raise _SpentError
            seen[index] = judge(variables.values(index))
        return seen[index]

    def loss(x: FloatArray) -> float:
        point = at(tuple(int(i) for i in np.round(x)))
        return -point.score if point.violation <= 0 else _PENALTY * (1.0 + point.violation)

    limit = max(1, round(GLOBAL_SHARE * budget))
    with suppress(_SpentError):
        direct(
            loss, Bounds(np.zeros(len(counts)), counts), maxfun=CALLS_EACH * budget, maxiter=10_000, vol_tol=0,
            len_tol=1e-6, locally_biased=True,
        )  # fmt: skip
    if any(p.violation > 0 for p in seen.values()):
        limit = round(LIMITS_SHARE * budget)
        for reach in REACHES:
            with suppress(_SpentError):
                _along_limits(max(seen, key=lambda i: seen[i].rank), counts, at, reach)
    for share, rank in ((MEAN_SHARE, _mean_rank), (1.0, _shift_rank)):
        limit = round(share * budget)
        start = max(seen, key=lambda i: rank(seen[i]))
        with suppress(_SpentError):
            _refine(start, counts, at, rank)
    best = max(seen.values(), key=lambda p: p.rank)
    return best, list(seen.values())


_PENALTY = 1e6
"""Added where limits are not kept; far above every score."""


Rank = Callable[[Point], tuple[float, float]]


def _mean_rank(point: Point) -> tuple[float, float]:
    return point.rank


def _shift_rank(point: Point) -> tuple[float, float]:
    return point.shift_rank


def _along_limits(
    start: tuple[int, ...], counts: FloatArray, at: Callable[[tuple[int, ...]], Point], reach: float
) -> None:
    """From a place toward limits that are kept, then along them toward the best score."""
    scale = abs(at(start).score) or 1.0

    def there(x: FloatArray) -> Point:
        return at(tuple(int(i) for i in np.clip(np.round(x * counts), 0, counts)))

    def kept(x: FloatArray) -> FloatArray:
        point = there(x)
        return -np.array(point.over or (min(point.violation, 1.0),))

    minimize(
        lambda x: -there(x).score / scale,
        np.array(start) / np.maximum(counts, 1),
        method="COBYLA",
        bounds=Bounds(np.zeros(len(counts)), np.ones(len(counts))),
        constraints=[{"type": "ineq", "fun": kept}],
        options={
            "rhobeg": reach,
            "tol": min(0.25 * reach, 0.5 / max(counts.max(), 1.0)),
            "maxiter": CALLS_EACH * len(counts),
        },
    )


def _refine(start: tuple[int, ...], counts: FloatArray, at: Callable[[tuple[int, ...]], Point], rank: Rank) -> None:
    """From the best place along each axis and each pair of axes, by shorter and shorter steps down to one."""
    here, step = start, np.maximum(1, counts / 16).astype(int)
    axes = np.eye(len(counts), dtype=int)
    pairs = [axes[i] + s * axes[j] for i in range(len(axes)) for j in range(i) for s in (1, -1)]
    while True:
        moved = False
        for direction in (*axes, *pairs):
            for sign in (1, -1):
                there = tuple(int(v) for v in np.clip(np.array(here) + sign * step * direction, 0, counts))
                if there != here and rank(at(there)) > rank(at(here)):
                    here, moved = there, True
        if not moved:
            if (step == 1).all():
                return
            step = np.maximum(1, step // 2)


def front(points: Sequence[Mapping[str, float]], first: str, second: str) -> list[int]:
    """Points that no other beats in both aims (larger is better), by falling first aim."""
    order = sorted(range(len(points)), key=lambda i: (-points[i][first], -points[i][second]))
    found, most = [], -np.inf
    for i in order:
        if points[i][second] > most:
            found.append(i)
            most = points[i][second]
    return found
