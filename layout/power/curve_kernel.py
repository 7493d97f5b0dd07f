"""Compiled: reading and ordering tabulated curves, many at once, nodes first and curves last."""

import numpy as np

from layout.power.follow_types import entry, inlined
from sites.conventions import Float32Array, IntArray

LANES = 64
"""Curves at once, so that their nodes stay in the fastest cache and comparing runs in vector instructions."""

_LEAST_WIDTH, _LOWEST, _HIGHEST = np.float32(1e-12), np.float32(-1.0), np.float32(2.0)


@entry
def read_columns(x: Float32Array, xp: Float32Array, fp: Float32Array, values: Float32Array) -> None:
    """Values (k, n) at x (k, n) of tables (j, n), as `layout.power.curves.interpolate`."""
    nodes, n = xp.shape
    place = np.zeros(LANES, np.uint32)
    for first in range(0, n, LANES):
        span = slice(first, min(first + LANES, n))
        for k in range(len(x)):
            own, out = x[k, span], values[k, span]
            lanes = len(own)
            place[:] = np.uint32(0)
            for node in range(1, nodes - 1):
                at = xp[node, span]
                for j in range(lanes):
                    place[j] += np.uint32(own[j] >= at[j])
            for j in range(lanes):
                i, c = place[j], first + j
                x0, f0 = xp[i, c], fp[i, c]
                share = (own[j] - x0) / max(xp[i + 1, c] - x0, _LEAST_WIDTH)
                out[j] = f0 + min(max(share, _LOWEST), _HIGHEST) * (fp[i + 1, c] - f0)


@entry
def order_columns(x: Float32Array, y: Float32Array, x_out: Float32Array, y_out: Float32Array) -> None:
    """Each column's x and y (j, n) in rising order of x; nodes of equal x stay as they were."""
    nodes, n = x.shape
    rank = np.zeros((nodes, LANES), np.uint32)
    for first in range(0, n, LANES):
        span = slice(first, min(first + LANES, n))
        lanes = span.stop - first
        rank[:] = np.uint32(0)
        for i in range(1, nodes):
            own, place = x[i, span], rank[i]
            for k in range(i):
                other, behind = x[k, span], rank[k]
                for j in range(lanes):
                    less = np.uint32(own[j] < other[j])
                    behind[j] += less
                    place[j] += np.uint32(1) - less
        for i in range(nodes):
            for j in range(lanes):
                x_out[rank[i, j], first + j] = x[i, first + j]
                y_out[rank[i, j], first + j] = y[i, first + j]


@inlined
def count_higher(one: Float32Array, two: Float32Array, lanes: int, before: IntArray, behind: IntArray) -> None:
    """How many nodes of the other curve lie at least as high in voltage as each of the first's, and higher than each of
    the other's those of the first, (nodes, lanes)."""
    before[:], behind[:] = 0, 0
    for i in range(len(one)):
        v, p = one[i], before[i]
        for k in range(len(two)):
            other, q = two[k], behind[k]
            for j in range(lanes):
                higher = np.int32(other[j] >= v[j])
                p[j] += higher
                q[j] += np.int32(1) - higher


@entry
def join_columns(current: Float32Array, volts: Float32Array, total: Float32Array, common: Float32Array) -> None:
    """Curves in parallel, as `layout.power.curves.in_parallel`: current, volts (j, m, s, n) into total, common
    (s · j, m, n).

    Each node of one curve is compared with each of another: how many lie at a higher voltage tells both where to read
    the other's current and where the node stands in the sum.
    """
    nodes, many, curves, n = current.shape
    held = np.zeros((curves, nodes, LANES), np.float32)
    summed = np.zeros((curves, nodes, LANES), np.float32)
    place = np.zeros((curves, nodes, LANES), np.int32)
    before, behind = np.zeros((nodes, LANES), np.int32), np.zeros((nodes, LANES), np.int32)
    for m in range(many):
        for first in range(0, n, LANES):
            span = slice(first, min(first + LANES, n))
            lanes = span.stop - first
            for a in range(curves):
                for i in range(nodes):
                    at, through, v, s, p = (
                        volts[i, m, a, span],
                        current[i, m, a, span],
                        held[a, i],
                        summed[a, i],
                        place[a, i],
                    )
                    for j in range(lanes):
                        v[j], s[j], p[j] = at[j], through[j], i
                    if i > 0:  # rounding must not have a curve turn back
                        last = held[a, i - 1]
                        for j in range(lanes):
                            v[j] = min(v[j], last[j])
            for a in range(curves):
                for b in range(a + 1, curves):
                    count_higher(held[a], held[b], lanes, before, behind)
                    for one, two, count in ((a, b, before), (b, a, behind)):
                        for i in range(nodes):
                            for j in range(lanes):
                                c = first + j
                                k = min(max(count[i, j] - 1, 0), nodes - 2)
                                high, x0 = held[two, k, j], current[k, m, two, c]
                                fall = max(high - held[two, k + 1, j], _LEAST_WIDTH)
                                share = min(max((high - held[one, i, j]) / fall, _LOWEST), _HIGHEST)
                                summed[one, i, j] += x0 + share * (current[k + 1, m, two, c] - x0)
                                place[one, i, j] += count[i, j]
            for a in range(curves):
                for i in range(nodes):
                    for j in range(lanes):
                        total[place[a, i, j], m, first + j] = summed[a, i, j]
                        common[place[a, i, j], m, first + j] = held[a, i, j]
            for i in range(1, curves * nodes):
                low, high = total[i - 1, m, span], total[i, m, span]
                for j in range(lanes):
                    high[j] = max(high[j], low[j])
