"""The hours that decide over limits: found on the sun grid, traced again at the true sun."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from layout.conditions import Conditions
from layout.evaluate import Evaluator, FieldYear
from layout.field import Field, blocks
from layout.light.sky_parts import Glass
from layout.power.heat import cell_temperature
from sites.conventions import FloatArray, IntArray

HOURS_EACH = 30
MEAN_LIGHT_W_M2 = 200.0
"""Panels below this mean are left out of the peak ratio: in deep shade one lit cell says nothing about heat."""


@dataclass(frozen=True, eq=False)
class Peaks:
    """hottest_cell_c; peak_cell_light_w_m2 (front, before glass); peak_cell_ratio (brightest cell over its panel's
    mean)."""

    hottest_cell_c: float
    peak_cell_light_w_m2: float
    peak_cell_ratio: float


def peak_hours(year: FieldYear, conditions: Conditions, u0: float, u1: float) -> IntArray:
    """The hours with the brightest and with the hottest cells, by the largest of each hour's grid nodes."""
    light = _estimate(year.brightest, conditions)
    heat = _estimate(year.warmest, conditions)
    warm = cell_temperature(heat, conditions.air_c, conditions.wind_m_s, u0, u1)
    brightest, hottest = np.argsort(-light)[:HOURS_EACH], np.argsort(-warm)[:HOURS_EACH]
    return np.union1d(brightest, hottest)


def _estimate(largest: FloatArray, c: Conditions) -> FloatArray:
    """Upper estimate of each hour's brightest cell, (k,) W/m², from the largest coefficients (2m + 4,)."""
    m = len(c.parts.sun)
    weights = c.weights.tocsr()
    touched = weights.copy()
    touched.data = np.ones_like(touched.data)
    straight, ground = largest[:m], largest[m : 2 * m]
    beam = np.asarray((touched.multiply(straight[None, :])).max(axis=1).todense()).reshape(-1)
    beam += c.albedo * np.asarray((touched.multiply(ground[None, :])).max(axis=1).todense()).reshape(-1)
    dome = (largest[2 * m] + c.albedo * largest[2 * m + 1]) * c.sky.dome
    return beam * c.sky.beam + dome + largest[2 * m + 2] * np.maximum(0.0, c.sky.horizon)


def peaks(
    field: Field, evaluator: Evaluator, year: FieldYear, glass: Glass, tick: Callable[[int], None]
) -> Peaks:
    """Trace the peak hours again, at the true sun and on the field's full cells.

    field : the layout with full cells and the same traced panels
    """
    kind = evaluator.kind
    hours = peak_hours(year, evaluator.conditions, kind.u0_w_m2_k, kind.u1_w_s_m3_k)
    at = evaluator.conditions.at_hours(hours)
    matrix = at.matrix()
    hottest, brightest, ratio = -np.inf, 0.0, 1.0
    for block in blocks(field, at, glass):
        columns, b, cells = block.front.before.shape
        front = (matrix @ block.front.before.reshape(columns, -1)).reshape(-1, b, cells)
        heat = block.front.after if block.rear is None else block.front.after + block.rear.after
        warm = (matrix @ heat.reshape(columns, -1)).reshape(-1, b * cells)
        temperature = cell_temperature(
            warm, at.air_c[:, None], at.wind_m_s[:, None], kind.u0_w_m2_k, kind.u1_w_s_m3_k
        )
        mean = front.mean(axis=2)
        counted = mean > MEAN_LIGHT_W_M2
        if counted.any():
            ratio = max(ratio, float((front.max(axis=2)[counted] / mean[counted]).max()))
        hottest = max(hottest, float(temperature.max()))
        brightest = max(brightest, float(front.max()))
        tick(b)
    return Peaks(hottest, brightest, ratio)
