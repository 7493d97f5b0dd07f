"""Shape search: a global method without chance first (DIRECT: Jones, Perttunen & Stuckman, J. Optim. Theory Appl. 79
(1993) 157-181, as in scipy), then steps from the best to its neighbours on the net of values that the plan allows."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, direct

from layout.optimise_tables import VaryTable
from sites.conventions import FloatArray

DEFAULT_STEPS = 256
GLOBAL_SHARE = 0.6
"""Share of the budget for the global method; the rest refines. Our choice."""

CALLS_EACH = 40
"""Calls of the global method per evaluation: most fall on values worked out already, and cost nothing."""


@dataclass(frozen=True)
class Point:
    """values : by key; score : the larger the better; violation : 0 where every limit is kept, else how far off"""

    values: dict[str, float]
    score: float
    violation: float

    @property
    def rank(self) -> tuple[float, float]:
        """Keeping limits comes before the score."""
        return (-self.violation, self.score if self.violation <= 0 else 0.0)


class _SpentError(Exception):
    """The budget is used up."""


@dataclass(frozen=True)
class Variables:
    """What varies, and the net of its values."""

    vary: Sequence[VaryTable]

    @property
    def counts(self) -> FloatArray:
        """Steps from the lowest to the highest value of each, (d,)."""
        return np.array([float(np.floor((v.high - v.low) / self._step(v) + 1e-9)) for v in self.vary])

    def _step(self, v: VaryTable) -> float:
        return v.step or (v.high - v.low) / DEFAULT_STEPS

    def values(self, index: Sequence[int]) -> dict[str, float]:
        """Values at a place of the net, (d,) whole numbers."""
        return {v.key: round(v.low + i * self._step(v), 9) for v, i in zip(self.vary, index, strict=True)}


def search(
    vary: Sequence[VaryTable], judge: Callable[[dict[str, float]], Point], budget: int
) -> tuple[Point, list[Point]]:
    """The best point found and all that were judged, in order.

    judge : the point of some values; asked once for each place of the net
    budget : calls of ``judge`` at most
    """
    variables = Variables(vary)
    counts = variables.counts
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
    limit = budget
    with suppress(_SpentError):
        _refine(max(seen, key=lambda i: seen[i].rank), counts, at)
    best = max(seen.values(), key=lambda p: p.rank)
    return best, list(seen.values())


_PENALTY = 1e6
"""Added where limits are not kept; far above every score."""


def _refine(start: tuple[int, ...], counts: FloatArray, at: Callable[[tuple[int, ...]], Point]) -> None:
    """From the best place along each axis and each pair of axes, by shorter and shorter steps down to one."""
    here, step = start, np.maximum(1, counts / 16).astype(int)
    axes = np.eye(len(counts), dtype=int)
    pairs = [axes[i] + s * axes[j] for i in range(len(axes)) for j in range(i) for s in (1, -1)]
    while True:
        moved = False
        for direction in (*axes, *pairs):
            for sign in (1, -1):
                there = tuple(int(v) for v in np.clip(np.array(here) + sign * step * direction, 0, counts))
                if there != here and at(there).rank > at(here).rank:
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
