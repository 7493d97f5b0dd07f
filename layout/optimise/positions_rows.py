"""Rows that may stand on a plot, and the best of them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from layout.arrange.pattern import pack, row_stretches, start_region
from layout.arrange.rows import Column, column_of
from layout.conditions import Conditions
from layout.optimise.pair_losses import RowCurve, column_factors, row_curve, spread_factors
from layout.optimise.positions_model import choose
from layout.optimise.positions_nets import START, Chosen, Limit, RowNet
from layout.plan import Plan, RowsLayout, UprightLayout
from layout.year_figures import Settings
from sites.conventions import LENGTH_TOLERANCE_M, FloatArray, IntArray

FACTOR_NET_M = 4.0
"""Distance of the places at which shade of obstacles is traced. Our choice; the whole trace shows its error."""

CURVE_STEPS = 7
"""Distances at which the bay is traced."""

CURVE_REACH = 8.0
"""The farthest of them, in depths of a row; beyond, losses go to 0 with 1/distance."""


@dataclass(frozen=True, eq=False)
class RowCandidates:
    """Rows that may stand, in order from the front.

    positions_m : (n,) as the plan's positions_m;  columns : (n,) that fit;  factor : (n,) share that obstacles leave
    depth_m : of a row on the map;  begins : where along the row its columns begin, m from the origin, for each row
    """

    positions_m: FloatArray
    columns: FloatArray
    factor: FloatArray
    depth_m: float
    panels_high: int
    curve: RowCurve
    begins: tuple[FloatArray, ...]


def row_depth_m(column: Column) -> float:
    """Depth of a row on the map, with the sheets around it."""
    back = column.pattern.second / np.linalg.norm(column.pattern.second)
    corners = column.pattern.footprint if column.pattern.roomy is None else column.pattern.roomy
    return float(np.ptp(corners @ back))


def row_candidates(
    plan: Plan,
    layout: RowsLayout | UprightLayout,
    conditions: Conditions,
    settings: Settings,
    net_m: float = 0.2,
    least_aisle_m: float = 0.0,
) -> RowCandidates:
    """Every row on a net of positions with room for a column; losses from the light engine.

    net_m : from position to position;  least_aisle_m : free ground between rows at least
    """
    plot = plan.site.plot
    if plot is None:
        raise ValueError("rows need a plot")
    column = column_of(plan, layout)
    axis = column.pattern.first / np.linalg.norm(column.pattern.first)
    back = column.pattern.second / np.linalg.norm(column.pattern.second)
    allowed = start_region(plot.usable.buffer(LENGTH_TOLERANCE_M, join_style="mitre"), column.pattern.footprint)
    reach = shapely.get_coordinates(allowed) @ back
    positions = np.round(np.arange(reach.min(), reach.max() + 1e-9, net_m) + 1e-6, 4) if len(reach) else np.zeros(0)
    begins = [
        pack(p, float(np.linalg.norm(column.pattern.first)))[0] for p in row_stretches(allowed, axis, back, positions)
    ]
    columns = np.array([len(b) for b in begins], dtype=np.float64)
    origins = [p * back + b[:, None] * axis for p, b in zip(positions, begins, strict=True)]
    factor = _row_factors(plan, layout, column, conditions, settings, origins)
    depth = row_depth_m(column)
    curve = row_curve(plan, layout, column, conditions, settings, curve_pitches(depth, least_aisle_m))
    room = columns > 0
    return RowCandidates(
        positions[room], columns[room], factor[room], depth, layout.panels_high, curve,
        tuple(b for b in begins if len(b)),
    )  # fmt: skip


def curve_pitches(depth_m: float, least_aisle_m: float) -> FloatArray:
    """Distances at which the bay is traced, m. depth_m : at which one row touches the next"""
    nearest = max(depth_m + least_aisle_m, 0.1)
    return np.geomspace(nearest, CURVE_REACH * max(depth_m, 1.0) + least_aisle_m, CURVE_STEPS)


def _row_factors(
    plan: Plan,
    layout: RowsLayout | UprightLayout,
    column: Column,
    conditions: Conditions,
    settings: Settings,
    origins: Sequence[FloatArray],
) -> FloatArray:
    """Mean share that obstacles leave to the columns of each row."""
    every = np.concatenate([np.zeros((0, 2)), *origins])
    if not len(every):
        return np.ones(len(origins))
    cell = np.unique(np.round(every / FACTOR_NET_M).astype(np.int64), axis=0, return_index=True)[1]
    known = every[cell]
    values = column_factors(plan, layout, column, conditions, settings, known)
    spread = spread_factors(known, values, every)
    row = np.repeat(np.arange(len(origins)), [len(o) for o in origins])
    count = np.maximum(1, np.bincount(row, minlength=len(origins)))
    return np.asarray(np.bincount(row, spread, minlength=len(origins)) / count)


def row_net(
    candidates: RowCandidates, least_aisle_m: float = 0.0, scale: float = 1.0, prune: bool = True, base: float = 1.0
) -> RowNet:
    """The network of rows.

    scale : what losses between rows are multiplied by;  base : the same of the energy of free rows
    prune : leave out arcs that a row between the two improves; only where no limit couples rows
    """
    at, columns, high = candidates.positions_m, candidates.columns, candidates.panels_high
    tail, head = np.nonzero(at - at[:, None] >= candidates.depth_m + least_aisle_m - 1e-9)
    away = at[head] - at[tail]
    front, back = candidates.curve.losses(away)
    free = candidates.curve.free_kwh
    each = candidates.factor[head] * (base * free - scale * front) / high
    kwh = each * columns[head] * high - scale * candidates.factor[tail] * back * np.minimum(
        columns[tail], columns[head]
    )
    keep = undominated(len(at), tail, head, kwh) if prune else np.ones(len(tail), dtype=bool)
    tail, head, kwh, each, away = (v[keep] for v in (tail, head, kwh, each, away))
    alone = base * candidates.factor * free
    return RowNet(
        panels=columns * high,
        tail=np.concatenate([np.full(len(at), START), tail]),
        head=np.concatenate([np.arange(len(at)), head]),
        kwh=np.concatenate([alone * columns, kwh]),
        kwh_per_panel=np.concatenate([alone / high, each]),
        clear_m=np.concatenate([np.full(len(at), np.inf), away - candidates.depth_m]),
        step=high,
    )


def undominated(n: int, tail: np.ndarray, head: np.ndarray, kwh: FloatArray) -> np.ndarray:
    """Arcs that no way by one row between their ends equals or passes."""
    w = np.full((n, n), -np.inf)
    w[tail, head] = kwh
    best = np.full((n, n), -np.inf)
    for k in range(n):
        np.maximum(best, w[:, k : k + 1] + w[k], out=best)
    return np.asarray(kwh > best[tail, head])


def choose_rows(
    candidates: RowCandidates,
    limits: Sequence[Limit] = (),
    least_aisle_m: float = 0.0,
    scale: float = 1.0,
    base: float = 1.0,
    gap: float = 0.0,
    time_limit_s: float = 60.0,
    more: Callable[[IntArray], Limit] | None = None,
) -> Chosen:
    """The rows with most energy; ``Chosen.rows`` counts candidates. more : a limit by the rows at the ends of arcs"""
    net = row_net(candidates, least_aisle_m, scale, prune=not limits and more is None, base=base)
    every = limits if more is None else [*limits, more(net.head)]
    return choose(net, None, limits=every, gap=gap, time_limit_s=time_limit_s)
