"""DC power under uneven light with every cell followed: the year's method where the weakest-cell rule is too
rough.

Light that differs little from cell to cell costs power with its variance: V of a cell at a given current
bends down with light, so a series connection has the voltage of the mean light less half the bend times the
variance (Bucciarelli, Solar Energy 23 (1979) 277-288, for the idea; the factor is worked out from the
panel's own model). Where any cell lies further below the mean, the curves of all cells are tabulated,
forward and reverse, as in the full solution but on a third of the currents.
"""

import numpy as np

from layout.power.follow import followed_power
from layout.power.full_curve import (
    FAST,
    FAST_LEAKY,
    FAST_WITHOUT_DIODES,
    Effort,
    Wiring,
    tracker_power,
    wiring,
)
from layout.power.panel_model import ANY_VOLTAGE, DARK_W_M2, LEAKY_SHARE, PanelModel
from layout.power.same_volts import undisturbed
from sites.conventions import Float32Array, FloatArray, IntArray

MILD_DEPTH = 0.04
"""Where no cell lies further below the mean, over the mean, the variance decides."""

MILD_SPREAD = 0.06
"""Largest difference between any two cells, over the mean, for the same. On 6,000 gradients, noise, steps
and single dark cells within both limits power was within 0.001 of nameplate of the full solution at the 99th
percentile, 0.003 at worst, 0.00002 in the mean."""

_CHUNK_POINTS = 1 << 19


def cells_dc_power(
    light_w_m2: Float32Array, groups: IntArray, model: PanelModel, cell_c: FloatArray | Float32Array
) -> Float32Array:
    """Power, W, of n panel-hours on panels with a tracker of their own.

    light_w_m2 : (n, n_points) float32 [W/m²] light that cells take up, after the glass's angular loss
    groups : (n_points,) int, from `layout.power.cells.group_map`, flattened as the points are
    cell_c : (n,) float [°C]
    Returns (n,) float32. Raises PhysicsError where light or temperature lie outside all that is possible.
    """
    return series_dc_power(light_w_m2[:, None], groups, model, np.asarray(cell_c, dtype=np.float32)[:, None])


def series_dc_power(
    light_w_m2: Float32Array, groups: IntArray, model: PanelModel, cell_c: FloatArray | Float32Array
) -> Float32Array:
    """Power, W, of n hours of a string of panels in series: light (n, panels, n_points), cell_c (n,
    panels)."""
    n, panels, points = light_w_m2.shape
    plan = wiring(groups, model)
    cell = np.asarray(cell_c, dtype=np.float32)
    power = np.zeros(n, dtype=np.float32)
    rows = max(1, _CHUNK_POINTS // (panels * points))
    for start in range(0, n, rows):
        part = slice(start, start + rows)
        power[part] = _chunk_power(light_w_m2[part], plan, model, cell[part])
    return power


def parallel_dc_power(
    light_w_m2: Float32Array,
    groups: IntArray,
    model: PanelModel,
    cell_c: FloatArray | Float32Array,
    window_v: tuple[float, float] = ANY_VOLTAGE,
) -> tuple[Float32Array, Float32Array, Float32Array]:
    """Power, W, of n hours of strings of equal panels on one tracker: had each a tracker of its own, as they are were
    any voltage allowed, and within ``window_v``; (n,) float32 each.

    light_w_m2 : (n, strings, panels, n_points) float32 [W/m²]; cell_c : (n, strings, panels) float [°C]
    window_v : lowest and highest voltage that the tracker can hold
    Raises PhysicsError where light or temperature lie outside all that is possible.
    """
    n, strings, panels, points = light_w_m2.shape
    plan, cell = wiring(groups, model), np.asarray(cell_c, dtype=np.float32)
    found = np.zeros((3, n), dtype=np.float32)
    rows = max(1, _CHUNK_POINTS // (strings * panels * points))
    for start in range(0, n, rows):
        part = slice(start, start + rows)
        found[:, part] = _chunk_parallel(light_w_m2[part], groups, plan, model, cell[part], window_v)
    return found[0], found[1], found[2]


def _chunk_parallel(
    light: Float32Array,
    groups: IntArray,
    plan: Wiring,
    model: PanelModel,
    cell_c: Float32Array,
    window_v: tuple[float, float],
) -> Float32Array:
    strings = light.shape[1]
    alone = np.sum([_chunk_power(light[:, s], plan, model, cell_c[:, s]) for s in range(strings)], axis=0)
    found = np.stack([alone] * 3)
    if strings == 1 and window_v == ANY_VOLTAGE:
        return found
    spreads = [_spread(light[:, s], plan) for s in range(strings)]
    volts = [
        np.float32(light.shape[2]) * model.peak_volts.at(spread[0], cell_c[:, s].mean(axis=1))
        for s, spread in enumerate(spreads)
    ]
    seen = [(v, mild, dark) for v, (_, _, mild, dark) in zip(volts, spreads, strict=True)]
    rest = np.flatnonzero(~undisturbed(seen, window_v))
    if len(rest):
        args = light[rest], groups, model, cell_c[rest]
        free = tracker_power(*args, effort=_effort(model))
        power = np.minimum(free.power, alone[rest]) if strings > 1 else alone[rest]
        found[1:, rest] = power
        outside = np.flatnonzero((free.volts < window_v[0]) | (free.volts > window_v[1]))
        if len(outside):
            some = rest[outside]
            held = tracker_power(light[some], groups, model, cell_c[some], effort=_effort(model), window_v=window_v)
            found[2, some] = np.minimum(held.power, power[outside])
    return found


def _chunk_power(light: Float32Array, plan: Wiring, model: PanelModel, cell_c: Float32Array) -> Float32Array:
    mean, variance, mild, dark = _spread(light, plan)
    power = np.zeros(len(light), dtype=np.float32)
    even = np.flatnonzero(mild & ~dark)
    loss = 1.0 + 0.5 * variance[even] * model.mismatch.at(mean[even], cell_c[even].mean(axis=1))
    power[even] = sum(model.even_power(mean[even], column) for column in cell_c[even].T) / loss
    rest = np.flatnonzero(~mild & ~dark)
    if len(rest):
        power[rest] = followed_power(light[rest], plan, model, cell_c[rest])[0]
    return power


def _spread(light: Float32Array, plan: Wiring) -> tuple[Float32Array, Float32Array, np.ndarray, np.ndarray]:
    """Of strings (n, panels, n_points): mean light and its variance as of `_series_spread`, whether they are nearly
    evenly lit, whether they are dark; (n,) each."""
    points = np.ascontiguousarray(light.reshape(len(light), -1).T)
    weakest, brightest = points.min(axis=0), points.max(axis=0)
    mean, variance = _series_spread(points, plan, light.shape[1])
    mild = (mean - weakest <= np.float32(MILD_DEPTH) * mean) & (brightest - weakest <= np.float32(MILD_SPREAD) * mean)
    return mean, variance, mild, brightest < DARK_W_M2


def _effort(model: PanelModel) -> Effort:
    if not model.diodes:
        return FAST_WITHOUT_DIODES
    return FAST_LEAKY if model.leaky_share > LEAKY_SHARE else FAST


def _series_spread(points: Float32Array, plan: Wiring, panels: int) -> tuple[Float32Array, Float32Array]:
    """Mean light (n,) and its variance over the mean's square along the series connection, from (panels ×
    n_points, n).

    Of parallel halves each counts with its own variance, but only the mean of both against other groups.
    """
    n = points.shape[1]
    by_part = points.reshape(panels, -1, n)[:, plan.order]  # panels, points, parts, n
    share = (plan.weight / plan.weight.sum(axis=0))[None, :, :, None]
    part_mean = (by_part * share).sum(axis=1)
    within = (by_part**2 * share).sum(axis=1) - part_mean**2
    group_mean = part_mean.reshape(panels, plan.groups, plan.halves, n).mean(axis=2)
    mean = group_mean.mean(axis=(0, 1))
    between = ((group_mean - mean) ** 2).mean(axis=(0, 1))
    square = np.maximum(mean, np.float32(1e-3)) ** 2
    return mean, np.maximum(within.mean(axis=(0, 1)) + between, 0.0) / square
