"""What rows within a limit can have at most: the limit given a price instead (Lagrangian relaxation, Geoffrion,
Mathematical Programming Study 2 (1974) 82-114; reference from memory).

At any price p ≥ 0 of what a limit counts, no choice that keeps the limit has more than the longest path by energy less
price, plus p times the limit. The same through one arc bounds all choices with that arc: arcs that cannot lie in a
choice as good as a known one need not be searched.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layout.optimise.positions_nets import START, Limit, RowNet
from layout.optimise.positions_start import counting, longest, priced, spare_panels
from sites.conventions import BoolArray, FloatArray

HALVINGS = 24
"""Prices tried for each limit. Our choice."""

ROUNDING = 1e-9
"""Share of a bound that is added against rounding."""


@dataclass(frozen=True, eq=False)
class RowBounds:
    """kwh : no choice of rows has more;  arc_kwh : (a,) none with this arc"""

    kwh: float
    arc_kwh: FloatArray

    def worth(self, known_kwh: float) -> BoolArray:
        """Arcs (a,) that a choice with at least ``known_kwh`` may have."""
        return self.arc_kwh >= known_kwh


def row_bounds(rows: RowNet, limits: Sequence[Limit]) -> RowBounds:
    """Bounds by each limit alone at many prices; each bound is the least found."""
    at_0 = _bounds(rows, rows.kwh, 0.0)
    best, arcs = float(at_0.max(initial=0.0)), at_0
    spare = spare_panels(rows)[rows.head]
    for limit, most, cost, high in counting(rows, limits):
        low = 0.0
        for _ in range(HALVINGS):
            price = 0.5 * (low + high)
            value, takes = priced(rows, limit, cost, spare, price)
            found = _bounds(rows, value, price * most)
            arcs = np.minimum(arcs, found)
            best = min(best, float(found.max(initial=0.0)))
            fits = _taken(rows, value, takes) <= most
            low, high = (low, price) if fits else (price, high)
    return RowBounds(best * (1.0 + ROUNDING), arcs * (1.0 + ROUNDING))


def only(rows: RowNet, limits: Sequence[Limit], keep: BoolArray) -> tuple[RowNet, list[Limit]]:
    """The network and its limits with some of the arcs (a,) bool."""
    names = ("tail", "head", "kwh", "kwh_per_panel", "clear_m")
    fewer = replace(rows, **{k: getattr(rows, k)[keep] for k in names})
    return fewer, [replace(x, arc=x.arc[keep]) if len(x.arc) else x for x in limits]


def _bounds(rows: RowNet, value: FloatArray, more: float) -> FloatArray:
    """The largest sum over paths through each arc, (a,), and ``more``."""
    n = len(rows.panels)
    before, behind = np.full(n, -np.inf), np.zeros(n)
    by_head, by_tail = np.argsort(rows.head, kind="stable"), np.argsort(rows.tail, kind="stable")
    into = np.searchsorted(rows.head[by_head], np.arange(n + 1))
    out = np.searchsorted(rows.tail[by_tail], np.arange(n + 1))
    for i in range(n):
        a = by_head[into[i] : into[i + 1]]
        if len(a):
            first = rows.tail[a] == START
            before[i] = (value[a] + np.where(first, 0.0, before[np.maximum(rows.tail[a], 0)])).max()
    for i in range(n - 1, -1, -1):
        a = by_tail[out[i] : out[i + 1]]
        if len(a):
            behind[i] = max(0.0, float((value[a] + behind[rows.head[a]]).max()))
    ahead = np.where(rows.tail == START, 0.0, before[np.maximum(rows.tail, 0)])
    return np.asarray(ahead + value + behind[rows.head] + more)


def _taken(rows: RowNet, value: FloatArray, takes: FloatArray) -> float:
    """What the best path takes of the limit."""
    return float(takes[longest(rows, value)].sum())
