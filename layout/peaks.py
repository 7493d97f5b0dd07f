"""The hours that decide over limits: found on the sun grid, traced again at the true sun."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array

from layout.conditions import Conditions
from layout.evaluate import Evaluator, FieldYear
from layout.field import Field, blocks
from layout.light.sky_parts import Glass
from layout.panel_type import PanelType
from layout.power.heat import cell_temperature
from sites.conventions import FloatArray, IntArray

HOURS_EACH = 30
PANELS_EACH = 12
"""Panels traced again for the brightest cell, the hottest and the most uneven light each."""

PEAK_DOME_RAYS = 233
PEAK_DRAWS = 233
"""At peaks the dome is a small part; facets are drawn more finely than for the year."""

MEAN_LIGHT_W_M2 = 200.0
"""Panels below this mean are left out of the peak ratio: in deep shade one lit cell says nothing about heat."""


@dataclass(frozen=True, eq=False)
class Peaks:
    """hottest_cell_c; peak_cell_light_w_m2 (front, before glass); peak_cell_ratio (brightest cell over its panel's
    mean)."""

    hottest_cell_c: float
    peak_cell_light_w_m2: float
    peak_cell_ratio: float


@dataclass(frozen=True, eq=False)
class _Chosen:
    """hours (q,) and panels (t,) to trace again."""

    hours: IntArray
    panels: IntArray


def _choose(year: FieldYear, field: Field, evaluator: Evaluator) -> _Chosen:
    """The hours with the brightest and with the hottest cells, by the largest of each hour's grid nodes, and the
    panels that may hold the brightest, hottest and most unevenly lit cells in them."""
    c, kind = evaluator.conditions, evaluator.kind
    traced = np.concatenate([f.traced for f in field.families])
    light = _estimate(year.brightest.max(axis=1)[:, None], c)[:, 0]
    warm = _warm(_estimate(year.warmest.max(axis=1)[:, None], c), c, kind)[:, 0]
    hours = np.union1d(
        np.argsort(-light, kind="stable")[:HOURS_EACH], np.argsort(-warm, kind="stable")[:HOURS_EACH]
    )
    at = c.picked(hours)
    light, mean = _estimate(year.brightest[:, traced], at), _estimate(year.mean[:, traced], at)
    heat = _warm(_estimate(year.warmest[:, traced], at), at, kind)
    ratio = np.where(mean > MEAN_LIGHT_W_M2, light / np.maximum(mean, 1.0), 0.0)
    best = [np.argsort(-v.max(axis=0), kind="stable")[:PANELS_EACH] for v in (light, heat, ratio)]
    return _Chosen(hours, np.sort(traced[np.unique(np.concatenate(best))]))


def _warm(heat: FloatArray, c: Conditions, kind: PanelType) -> FloatArray:
    return cell_temperature(heat, c.air_c[:, None], c.wind_m_s[:, None], kind.u0_w_m2_k, kind.u1_w_s_m3_k)


def _estimate(largest: np.ndarray, c: Conditions) -> FloatArray:
    """Upper estimate of each hour's brightest cell, (k, n) W/m², from the largest coefficients (2m + 4, n)."""
    m = len(c.parts.sun)
    beam = _largest_node(c.weights, largest[:m]) + c.albedo[:, None] * _largest_node(
        c.weights, largest[m : 2 * m]
    )
    dome = np.outer(c.sky.dome, largest[2 * m]) + np.outer(c.albedo * c.sky.dome, largest[2 * m + 1])
    band = np.outer(np.maximum(0.0, c.sky.horizon), largest[2 * m + 2])
    return beam * c.sky.beam[:, None] + dome + band


def _largest_node(weights: csr_array, values: np.ndarray) -> FloatArray:
    """The largest of the values (m, n) at each hour's grid nodes, (k, n)."""
    starts, index = weights.indptr, weights.indices
    out = np.zeros((weights.shape[0], values.shape[1]))
    for corner in range(int(np.diff(starts).max(initial=0))):
        has = starts[:-1] + corner < starts[1:]
        out[has] = np.maximum(out[has], values[index[starts[:-1][has] + corner]])
    return out


def peaks(field: Field, evaluator: Evaluator, year: FieldYear, glass: Glass) -> Peaks:
    """Trace the peak hours again, at the true sun and on every cell."""
    kind, chosen = evaluator.kind, _choose(year, field, evaluator)
    at = evaluator.conditions.at_hours(chosen.hours)
    at = replace(at, parts=replace(at.parts, dome_rays=PEAK_DOME_RAYS, draws=PEAK_DRAWS))
    matrix = at.matrix()
    hottest, brightest, ratio = -np.inf, 0.0, 1.0
    for block in blocks(field.with_full_cells(chosen.panels), at, glass):
        columns, b, cells = block.front.before.shape
        front = (matrix @ block.front.before.reshape(columns, -1)).reshape(-1, b, cells)
        heat = block.front.after if block.rear is None else block.front.after + block.rear.after
        warm = (matrix @ heat.reshape(columns, -1)).reshape(-1, b * cells)
        temperature = _warm(warm, at, kind)
        mean = front.mean(axis=2)
        counted = mean > MEAN_LIGHT_W_M2
        if counted.any():
            ratio = max(ratio, float((front.max(axis=2)[counted] / mean[counted]).max()))
        hottest = max(hottest, float(temperature.max()))
        brightest = max(brightest, float(front.max()))
    return Peaks(hottest, brightest, ratio)
