"""The hours that decide over limits: found on the sun grid, traced again at the true sun and on every cell."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array

from layout.conditions import Conditions
from layout.evaluate import Evaluator, FieldYear
from layout.field import Block, Field, blocks
from layout.hot_spot_hours import hot_spot_hours
from layout.hot_spots import hot_spots
from layout.light.sky_parts import Glass
from layout.power.heat import cell_temperature
from layout.result import Peaks, WorstHour
from layout.strings import longest_string
from sites.conventions import FloatArray, IntArray

HOURS_EACH = 30
STRESSED_HOURS, STRESSED_ALONE = 12, 48
"""Hours traced again for hot spots by the light on the sun grid alone, which knows light by way of reflectors: beside
those found with the beam at the true sun, and where there are none, under see-through sheets. Our choice."""

PANELS_EACH = 12
"""Panels traced again for the brightest cell, the hottest and the most uneven light each."""

PANELS_AT_ONCE = 64
"""Panels whose hours are estimated together, so that memory stays bounded."""

PEAK_DOME_RAYS = 233
PEAK_DRAWS = 89
"""At peaks the dome is a small part; facets are drawn more finely than for the year."""

MEAN_LIGHT_W_M2 = 200.0
"""Panels below this mean are left out of the peak ratio: in deep shade one lit cell says nothing about heat."""


def peaks(field: Field, evaluator: Evaluator, year: FieldYear, glass: Glass) -> Peaks:
    """Trace the peak hours again: the brightest, the hottest, the hottest had the air been still, the most unevenly
    lit, those most prone to hot spots, and all that may lie beyond the panel's limits."""
    in_series = longest_string(field.arrangement, evaluator.wiring)
    covered = bool(field.arrangement.scene.diffusers)  # the beam that passes sheets is not straight
    spots = None if covered else hot_spot_hours(field, evaluator, year, in_series, glass)
    kind, (hours, panels) = evaluator.kind, peak_hours(year, field, evaluator, spots)
    at = evaluator.conditions.at_hours(hours)
    at = replace(at, parts=replace(at.parts, dome_rays=PEAK_DOME_RAYS, draws=PEAK_DRAWS))
    seen = [PeakBlock.of(block, at, evaluator) for block in blocks(field.with_full_cells(panels), at, glass)]
    too_hot = np.any([(b.cell_c > kind.max_cell_c).any(axis=(1, 2)) for b in seen], axis=0)
    too_bright = np.any([(b.front > kind.max_light_w_m2).any(axis=(1, 2)) for b in seen], axis=0)
    interval = at.weather.interval_h
    electric = [(b.block, b.electric) for b in seen]
    pairs = (np.searchsorted(hours, spots[0]), spots[1]) if spots else (hours[:0], hours[:0])
    return Peaks(
        max(float(b.cell_c.max()) for b in seen),
        max(float(b.still_c.max()) for b in seen),
        max(float(b.front.max()) for b in seen),
        max(b.ratio() for b in seen),
        float(too_hot.sum()) * interval,
        float(too_bright.sum()) * interval,
        max(seen, key=lambda b: float(b.cell_c.max())).worst(at),
        hot_spots(
            electric,
            at,
            replace(evaluator.model, panel_type=kind),
            in_series,
            pairs,
        ),
    )


@dataclass(frozen=True, eq=False)
class PeakBlock:
    """Some panels at the peak hours: front [W/m² before glass], electric [W/m² that cells use, without dirt], cell_c,
    still_c [°C] : (hours, panels, cells)."""

    block: Block
    front: FloatArray
    electric: FloatArray
    cell_c: FloatArray
    still_c: FloatArray

    @classmethod
    def of(cls, block: Block, at: Conditions, evaluator: Evaluator) -> "PeakBlock":
        """Light and heat of each cell."""
        kind = evaluator.kind
        columns, b, cells = block.front.before.shape
        matrix = at.matrix()
        front = (matrix @ block.front.before.reshape(columns, -1)).reshape(-1, b, cells)
        heat = block.front.after if block.rear is None else block.front.after + block.rear.after
        warm = np.maximum(0.0, matrix @ heat.reshape(columns, -1)).reshape(-1, b, cells)
        air, wind = at.air_c[:, None, None], at.wind_m_s[:, None, None]
        cell_c = cell_temperature(warm, air, wind, kind.u0_w_m2_k, kind.u1_w_s_m3_k)
        still_c = cell_temperature(warm, air, 0.0 * wind, kind.u0_w_m2_k, kind.u1_w_s_m3_k)
        used = block.front.after * evaluator.cover_colour
        if block.rear is not None:
            used = used + kind.bifaciality * block.rear.after
        electric = np.maximum(0.0, matrix @ used.reshape(columns, -1)).reshape(-1, b, cells)
        return cls(block, front, electric, cell_c, still_c)

    def ratio(self) -> float:
        """Brightest cell over its panel's mean."""
        mean = self.front.mean(axis=2)
        counted = mean > MEAN_LIGHT_W_M2
        return float((self.front.max(axis=2)[counted] / mean[counted]).max(initial=1.0))

    def worst(self, at: Conditions) -> WorstHour:
        """Its hottest cell's hour."""
        return self._hour_of(self.cell_c, at)

    def brightest(self, at: Conditions) -> WorstHour:
        """Its brightest cell's hour."""
        return self._hour_of(self.front, at)

    def _hour_of(self, values: FloatArray, at: Conditions) -> WorstHour:
        hour, panel, _ = np.unravel_index(int(values.argmax()), values.shape)
        net = self.block.family.net
        shape = (net.n_up, net.n_along)
        return WorstHour(
            at.sky.sun.start[int(hour)],
            int(self.block.panels[panel]),
            float(at.air_c[hour]),
            float(at.wind_m_s[hour]),
            self.front[hour, panel].reshape(shape),
            self.cell_c[hour, panel].reshape(shape),
        )


def peak_hours(
    year: FieldYear, field: Field, evaluator: Evaluator, spots: tuple[IntArray, IntArray] | None = None
) -> tuple[IntArray, IntArray]:
    """Hours by the largest of each hour's grid nodes, and the panels that may hold the brightest, the hottest and the
    most unevenly lit cells in them; ``spots``: hours and panels of hot spots, if these are looked for."""
    c, kind = evaluator.conditions, evaluator.kind
    traced = np.concatenate([f.traced for f in field.families])
    light = _estimate(year.brightest.max(axis=1)[:, None], c)[:, 0]
    heat = _estimate(year.warmest.max(axis=1)[:, None], c)[:, 0]
    warm = cell_temperature(heat, c.air_c, c.wind_m_s, kind.u0_w_m2_k, kind.u1_w_s_m3_k)
    still = cell_temperature(heat, c.air_c, 0.0 * c.wind_m_s, kind.u0_w_m2_k, kind.u1_w_s_m3_k)
    uneven = _uneven(year, traced, c)
    most = [np.argsort(-v, kind="stable")[:HOURS_EACH] for v in (light, warm, still, uneven)]
    beyond = np.flatnonzero((light > kind.max_light_w_m2) | (warm > kind.max_cell_c))
    boosted = STRESSED_HOURS if field.arrangement.scene.reflectors else 0
    stress = np.argsort(-year.stress, kind="stable")[: boosted if spots else STRESSED_ALONE]
    spot_hours, spot_panels = spots or (stress[:0], stress[:0])
    hours = np.unique(np.concatenate([*most, beyond, stress, spot_hours]))
    at = c.picked(hours)
    light = _estimate(year.brightest[:, traced], at)
    values = (light, _estimate(year.warmest[:, traced], at), _ratio(light, year.mean[:, traced], at))
    best = [np.argsort(-v.max(axis=0), kind="stable")[:PANELS_EACH] for v in values]
    return hours, np.unique(
        np.concatenate([traced[np.unique(np.concatenate(best))], year.stressed[stress], spot_panels])
    )


def _uneven(year: FieldYear, traced: IntArray, c: Conditions) -> FloatArray:
    """Estimate of each hour's largest ratio of a cell to its panel's mean, (k,)."""
    most = np.zeros(len(c.albedo))
    for start in range(0, len(traced), PANELS_AT_ONCE):
        some = traced[start : start + PANELS_AT_ONCE]
        ratio = _ratio(_estimate(year.brightest[:, some], c), year.mean[:, some], c)
        most = np.maximum(most, ratio.max(axis=1, initial=0.0))
    return most


def _ratio(brightest: FloatArray, mean: np.ndarray, c: Conditions) -> FloatArray:
    """Estimate of brightest cells (k, n) [W/m²] over their panels' means, by the means' coefficients (2m + 4, n); 0 for
    panels that do not count."""
    m, ground = len(c.parts.sun), c.weights @ mean[len(c.parts.sun) : 2 * len(c.parts.sun)]
    beam = (c.weights @ mean[:m] + c.albedo[:, None] * ground) * c.sky.beam[:, None]
    rest = np.stack([c.sky.dome, c.albedo * c.sky.dome, c.sky.horizon, c.albedo * c.sky.horizon], axis=1)
    light = beam + rest @ mean[2 * m :]
    return np.where(light > MEAN_LIGHT_W_M2, brightest / np.maximum(light, 1.0), 0.0)


def _estimate(largest: np.ndarray, c: Conditions) -> FloatArray:
    """Upper estimate of each hour's brightest cell, (k, n) W/m², from the largest coefficients (2m + 4, n)."""
    m = len(c.parts.sun)
    ground = _largest_node(c.weights, largest[m : 2 * m])
    beam = _largest_node(c.weights, largest[:m]) + c.albedo[:, None] * ground
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
