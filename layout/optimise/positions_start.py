"""A good choice of rows and towers, found quickly: the solver begins from it, so that its answer is never worse.

Rows: the longest path with a price on what a limit counts, the price searched by halving; what is still too much is
left away where it adds least. Towers: the one that adds most, again and again, then one at a time exchanged or pushed
in. Both on one plot: each split of it, towers after rows and rows after towers.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from layout.optimise.positions_nets import START, Cross, Limit, RowNet, SiteNet, energy_of
from sites.conventions import BoolArray, FloatArray, IntArray

HALVINGS = 14
"""Prices tried for each limit. Our choice: a row's energy to 1 part in 10 000."""

BEGINS = 12
"""Towers from which the choice of towers is begun anew. Our choice."""

KEPT_SHARE = 1e-9
"""How far, as a share of a limit, rounding may pass it."""


@dataclass(frozen=True, eq=False)
class Start:
    """arcs : (r,) taken, from the front;  cut : (r,) panels left away;  towers : (t,) sites, rising;  split : number"""

    arcs: IntArray
    cut: FloatArray
    towers: IntArray
    split: int | None
    kwh: float


NONE = np.zeros(0, dtype=np.int64)


def start_of(rows: RowNet | None, sites: SiteNet | None, cross: Cross | None, limits: Sequence[Limit]) -> Start | None:
    """The best choice found that keeps every limit; None where none was found."""
    best: Start | None = None
    for arcs, cut, towers, split in _choices(rows, sites, cross, limits):
        if not (len(arcs) or len(towers)) or not keeps(rows, limits, arcs, cut, towers):
            continue
        kwh = energy_of(rows, sites, cross, arcs, cut, towers)
        if best is None or kwh > best.kwh:
            best = Start(arcs, cut, np.sort(towers), split, kwh)
    return best


def used(rows: RowNet | None, limit: Limit, arcs: IntArray, cut: FloatArray, towers: IntArray) -> float:
    """What a choice takes of a limit."""
    total = 0.0
    if rows is not None:
        total += float(limit.panel * (rows.panels[rows.head[arcs]] - cut).sum())
        total += float(limit.arc[arcs].sum()) if len(limit.arc) else 0.0
    return total + (float(limit.site[towers].sum()) if len(limit.site) else 0.0)


def keeps(rows: RowNet | None, limits: Sequence[Limit], arcs: IntArray, cut: FloatArray, towers: IntArray) -> bool:
    """Whether a choice keeps every limit."""
    for limit in limits:
        took = used(rows, limit, arcs, cut, towers)
        if limit.most is not None and took > limit.most + KEPT_SHARE * max(1.0, abs(limit.most)):
            return False
        if limit.least is not None and took < limit.least - KEPT_SHARE * max(1.0, abs(limit.least)):
            return False
    return True


_Choice = tuple[IntArray, FloatArray, IntArray, int | None]


def _choices(
    rows: RowNet | None, sites: SiteNet | None, cross: Cross | None, limits: Sequence[Limit]
) -> Iterator[_Choice]:
    if sites is None:
        if rows is not None:
            yield from ((*found, NONE, None) for found in _rows(rows, limits))
        return
    towers = Towers.of(sites)
    if rows is None or cross is None:
        yield from ((NONE, np.zeros(0), t, None) for t in towers.chosen(limits))
        return
    loss = np.zeros((len(rows.panels), len(sites.kwh)))
    np.add.at(loss, tuple(cross.pairs.T), cross.loss)
    for k, (some_rows, some_sites) in enumerate(zip(cross.rows_allowed, cross.sites_allowed, strict=True)):
        yield from ((*choice, k) for choice in _both(rows, towers, loss, some_rows, some_sites, limits))


def _both(
    rows: RowNet, towers: "Towers", loss: FloatArray, some_rows: BoolArray, some_sites: BoolArray,
    limits: Sequence[Limit],
) -> Iterator[tuple[IntArray, FloatArray, IntArray]]:  # fmt: skip
    """In one split: rows, then towers beside them, then rows beside those; and the other way round."""
    arcs, cut = _best_rows(rows, limits, some_rows, np.zeros(len(rows.panels)), NONE)
    beside = towers.best(_left(rows, limits, arcs, cut), some_sites, loss[rows.head[arcs]].sum(axis=0))
    yield arcs, cut, beside
    arcs, cut = _best_rows(rows, limits, some_rows, loss[:, beside].sum(axis=1), beside)
    yield arcs, cut, beside
    first = towers.best(list(limits), some_sites, np.zeros(len(some_sites)))
    arcs, cut = _best_rows(rows, limits, some_rows, loss[:, first].sum(axis=1), first)
    yield arcs, cut, first
    yield arcs, cut, towers.best(_left(rows, limits, arcs, cut), some_sites, loss[rows.head[arcs]].sum(axis=0))


def _left(rows: RowNet, limits: Sequence[Limit], arcs: IntArray, cut: FloatArray) -> list[Limit]:
    """What rows leave of the limits to towers."""
    took = [used(rows, x, arcs, cut, NONE) for x in limits]
    return [replace(x, most=None if x.most is None else x.most - t) for x, t in zip(limits, took, strict=True)]


def _best_rows(
    rows: RowNet, limits: Sequence[Limit], allowed: BoolArray, lost: FloatArray, towers: IntArray
) -> tuple[IntArray, FloatArray]:
    """The best rows beside some towers. lost : (n,) kWh of each row by them"""
    best, most = (NONE, np.zeros(0)), 0.0
    for arcs, cut in _rows(rows, limits, allowed, lost, towers):
        kwh = float((rows.kwh - lost[rows.head])[arcs].sum() - rows.kwh_per_panel[arcs] @ cut)
        if kwh > most and keeps(rows, limits, arcs, cut, towers):
            best, most = (arcs, cut), kwh
    return best


def _rows(
    rows: RowNet, limits: Sequence[Limit], allowed: BoolArray | None = None, lost: FloatArray | None = None,
    towers: IntArray = NONE,
) -> Iterator[tuple[IntArray, FloatArray]]:  # fmt: skip
    """Paths by price of each limit, trimmed to what the limits leave."""
    kwh = rows.kwh if lost is None else rows.kwh - lost[rows.head]
    if allowed is not None:
        inside = allowed[rows.head] & ((rows.tail == START) | allowed[np.maximum(rows.tail, 0)])
        kwh = np.where(inside, kwh, -np.inf)
    yield trimmed(rows, limits, longest(rows, kwh), towers)
    spare = spare_panels(rows)[rows.head]
    for limit, most, cost, high in counting(rows, limits):
        low = 0.0
        for _ in range(HALVINGS):
            price = 0.5 * (low + high)
            value, takes = priced(rows, limit, cost, spare, price)
            arcs = longest(rows, np.where(np.isfinite(kwh), value + kwh - rows.kwh, -np.inf))
            short = np.where(takes[arcs] < cost[arcs], spare[arcs], 0.0)
            fits = used(rows, limit, arcs, short, towers) <= most
            if fits:
                yield arcs, short
            yield trimmed(rows, limits, arcs, towers)
            low, high = (low, price) if fits else (price, high)


def counting(rows: RowNet, limits: Sequence[Limit]) -> Iterator[tuple[Limit, float, FloatArray, float]]:
    """The limits that rows can pass: each with its value, what every arc takes of it, (a,), and a price at which hardly
    any arc pays."""
    for limit in limits:
        cost = limit.panel * rows.panels[rows.head] + (limit.arc if len(limit.arc) else 0.0)
        if limit.most is not None and (cost > 0).any():
            yield limit, limit.most, cost, 2.0 * float((rows.kwh / np.maximum(cost, 1e-9))[cost > 0].max())


def priced(
    rows: RowNet, limit: Limit, cost: FloatArray, spare: FloatArray, price: float
) -> tuple[FloatArray, FloatArray]:
    """Energy of each arc less the price of what it takes of a limit, and what it takes, (a,) each. Panels that add
    less than their price are left away.

    cost, spare : (a,) what it takes with every panel, and panels that can be left away
    """
    gone = np.where(price * limit.panel > rows.kwh_per_panel, spare, 0.0)
    takes = cost - limit.panel * gone
    return rows.kwh - rows.kwh_per_panel * gone - price * takes, takes


def spare_panels(rows: RowNet) -> FloatArray:
    """Panels by which each row can be shorter: all but its last column."""
    return rows.step * np.maximum(0.0, np.floor(rows.panels / rows.step) - 1.0)


def longest(rows: RowNet, value: FloatArray) -> IntArray:
    """Arcs of the path with the largest sum, from the front; none where every path is below 0. value : (a,)"""
    order = np.argsort(rows.head, kind="stable")
    first = np.searchsorted(rows.head[order], np.arange(len(rows.panels) + 1))
    n = len(rows.panels)
    best, came = np.full(n, -np.inf), np.full(n, -1, dtype=np.int64)
    for i in range(n):  # a row's best way hangs on the ways to the rows in front
        arcs = order[first[i] : first[i + 1]]
        if len(arcs):
            tail = rows.tail[arcs]
            sums = value[arcs] + np.where(tail == START, 0.0, best[np.maximum(tail, 0)])
            at = int(sums.argmax())
            best[i], came[i] = sums[at], arcs[at]
    if not n or not best.max() > 0:
        return NONE
    path, node = [], int(best.argmax())
    while node != START:
        path.append(int(came[node]))
        node = int(rows.tail[path[-1]])
    return np.array(path[::-1], dtype=np.int64)


def trimmed(
    rows: RowNet, limits: Sequence[Limit], arcs: IntArray, towers: IntArray = NONE
) -> tuple[IntArray, FloatArray]:
    """The path with so many panels left away, where each adds least, as limits ask for."""
    cut, steps = np.zeros(len(arcs)), 0.0
    for limit in limits:
        if limit.most is not None and limit.panel > 0:
            over = used(rows, limit, arcs, cut, towers) - limit.most
            steps = max(steps, float(np.ceil(over / (limit.panel * rows.step) - 1e-9)))
    spare = spare_panels(rows)[rows.head[arcs]]
    for k in np.argsort(rows.kwh_per_panel[arcs], kind="stable"):
        cut[k] = min(steps * rows.step, spare[k])
        steps -= cut[k] / rows.step
    return arcs, cut


@dataclass(frozen=True, eq=False)
class Towers:
    """Sites as matrices. loss : (m, m) kWh, both ways;  near : (m, m) bool, at most one of the two"""

    kwh: FloatArray
    loss: FloatArray
    near: BoolArray

    @staticmethod
    def of(sites: SiteNet) -> "Towers":
        """The matrices of a net."""
        m = len(sites.kwh)
        loss, near = np.zeros((m, m)), np.zeros((m, m), dtype=bool)
        loss[tuple(sites.pairs.T)] = sites.loss
        near[tuple(sites.conflicts.T)] = True
        return Towers(sites.kwh, loss + loss.T, near | near.T)

    def chosen(self, limits: Sequence[Limit]) -> Iterator[IntArray]:
        """Choices from several beginnings."""
        every, none = np.ones(len(self.kwh), dtype=bool), np.zeros(len(self.kwh))
        yield self.best(limits, every, none)
        for site in np.argsort(-self.kwh, kind="stable")[:: max(1, len(self.kwh) // BEGINS)]:
            yield self.best(limits, every, none, [int(site)])

    def best(
        self, limits: Sequence[Limit], allowed: BoolArray, lost: FloatArray, begin: Sequence[int] = ()
    ) -> IntArray:
        """A choice that no exchange of one site betters. lost : (m,) kWh of each by what stands already"""
        kwh = np.where(allowed, self.kwh - lost, -np.inf)
        took = self._grown(kwh, limits, list(begin))
        while True:
            worth = self._worth(kwh, took)
            tries = [self._grown(kwh, limits, [s for s in took if s != gone]) for gone in took]
            tries += [
                self._grown(kwh, limits, [s for s in took if not self.near[s, new]] + [new])
                for new in np.flatnonzero(np.isfinite(kwh)).tolist()
                if new not in took and self.near[new, took].any()
            ]
            tries += [self._swapped(kwh, limits, took, gone) for gone in took]
            better = max(tries, key=lambda t: self._worth(kwh, t), default=took)
            if not self._worth(kwh, better) > worth + 1e-6:
                return np.array(took, dtype=np.int64)
            took = better

    def _worth(self, kwh: FloatArray, took: list[int]) -> float:
        return float(kwh[took].sum() - 0.5 * self.loss[np.ix_(took, took)].sum()) if took else 0.0

    def _grown(self, kwh: FloatArray, limits: Sequence[Limit], took: list[int]) -> list[int]:
        """More towers as long as one adds energy and fits."""
        while (site := self._next(kwh, limits, took)) is not None:
            took = [*took, site]
        return took

    def _swapped(self, kwh: FloatArray, limits: Sequence[Limit], took: list[int], gone: int) -> list[int]:
        """Another site for one, itself barred, then more."""
        rest = [s for s in took if s != gone]
        barred = kwh.copy()
        barred[gone] = -np.inf
        site = self._next(barred, limits, rest)
        return self._grown(kwh, limits, rest if site is None else [*rest, site])

    def _next(self, kwh: FloatArray, limits: Sequence[Limit], took: list[int]) -> int | None:
        gain = kwh - self.loss[took].sum(axis=0)
        gain[self.near[took].any(axis=0)] = -np.inf
        gain[took] = -np.inf
        for limit in limits:
            if limit.most is not None and len(limit.site):
                room = limit.most - limit.site[took].sum() + KEPT_SHARE * max(1.0, abs(limit.most))
                gain[limit.site > room] = -np.inf
        site = int(gain.argmax()) if len(gain) else 0
        return site if len(gain) and gain[site] > 0 else None
