"""How many towers the best choice can have, and what that says of pairs of them.

Of t towers each stands in t − 1 pairs, so with one number for all sites Σ_j z_ij = (t − 1) y_i: the first level of the
reformulation by products (Adams & Sherali, Management Science 32 (1986) 1274-1290; reference from memory). A tower in a
choice of t loses at least half of its t − 1 smallest losses, which bounds the energy of every t; numbers whose bound
stays below a known choice are left out (the bound of Gilmore and Lawler for quadratic assignment, from memory).

Cuts for three sites, found at the fractional optimum (Padberg, Mathematical Programming 45 (1989) 139-172; from
memory):

    z_ij + z_ik + z_jk ≥ y_i + y_j + y_k − 1,   z_ij + z_ik ≤ y_i + z_jk
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layout.optimise.positions_nets import Limit, SiteNet
from layout.optimise.site_cliques import clique_partition
from sites.conventions import FloatArray, IntArray

LEAST_PASSED = 1e-3
"""Cuts passed by less than this at the fractional optimum are not worth their row. Our choice."""

MOST_CUTS = 1200
"""Of each kind in a round. Our choice."""


@dataclass(frozen=True, eq=False)
class Cuts:
    """both : (p, 3) sites i, j, k with z_ij + z_ik + z_jk ≥ y_i + y_j + y_k − 1
    one : (q, 3) with z_ij + z_ik ≤ y_i + z_jk
    """

    both: IntArray
    one: IntArray

    def __len__(self) -> int:
        return len(self.both) + len(self.one)


def counts(sites: SiteNet, limits: Sequence[Limit], known_kwh: float) -> list[int]:
    """Numbers of towers, rising, that a choice with at least ``known_kwh`` can have."""
    m = len(sites.kwh)
    most = len(clique_partition(m, sites.conflicts))
    for limit in limits:
        cost = np.sort(limit.site)
        if limit.most is not None and len(cost) and cost[0] >= 0:
            most = min(most, int(np.searchsorted(np.cumsum(cost), limit.most + 1e-9 * max(1.0, limit.most), "right")))
    bounds = np.array([count_bound(sites, t) for t in range(1, most + 1)])
    return (1 + np.flatnonzero(bounds >= known_kwh * (1.0 - 1e-9))).tolist()


def count_bound(sites: SiteNet, count: int) -> float:
    """No choice of so many towers has more energy, kWh; -inf where so many cannot stand."""
    m = len(sites.kwh)
    loss = np.zeros((m, m))
    loss[tuple(sites.pairs.T)] = sites.loss
    loss += loss.T
    loss[tuple(sites.conflicts.T)] = loss[tuple(sites.conflicts[:, ::-1].T)] = np.inf
    np.fill_diagonal(loss, np.inf)
    least = np.sort(loss, axis=1)[:, : count - 1].sum(axis=1)
    return float(np.sort(sites.kwh - 0.5 * least)[::-1][:count].sum())


def passed_cuts(y: FloatArray, z: FloatArray) -> Cuts:
    """Cuts that a fractional choice passes, the most passed ones. y : (m,);  z : (m, m) symmetric, 0 for conflicts"""
    m = len(y)
    i, j, k = (v.astype(np.int64) for v in np.ogrid[:m, :m, :m])
    ij, ik, jk = z[:, :, None], z[:, None, :], z[None, :, :]
    both = y[:, None, None] + y[None, :, None] + y[None, None, :] - 1.0 - ij - ik - jk
    one = ij + ik - y[:, None, None] - jk
    return Cuts(_most(np.where((i < j) & (j < k), both, 0.0)), _most(np.where((j < k) & (i != j) & (i != k), one, 0.0)))


def slack(cuts: Cuts, y: FloatArray, z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far a choice stays from each cut, (p,) and (q,); arguments as in `passed_cuts`."""
    i, j, k = cuts.both.T
    both = z[i, j] + z[i, k] + z[j, k] - y[i] - y[j] - y[k] + 1.0
    i, j, k = cuts.one.T
    return both, y[i] + z[j, k] - z[i, j] - z[i, k]


def _most(passed: FloatArray) -> IntArray:
    flat = passed.reshape(-1)
    found = np.flatnonzero(flat > LEAST_PASSED)
    found = found[np.argsort(-flat[found], kind="stable")[:MOST_CUTS]]
    return np.column_stack(np.unravel_index(found, passed.shape)).astype(np.int64)
