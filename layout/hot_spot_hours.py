"""The hours and panels most prone to hot spots: found on the sun grid, then looked at with the beam at the true sun.

    grid's directions ─► panel-hours in which a shadow's edge may lie on a panel
    beam, rest of the light, weather ─► how hot the worst pattern of shade would make a cell: hottest first
    true sun ─► the beam on every cell ─► full solution ─► until none of the others could be hotter

Only the beam is traced for this; the rest of the light counts as even. What is found is traced again with all light.
"""

from dataclasses import dataclass, replace

import numpy as np

from layout.conditions import Conditions
from layout.evaluate import Evaluator, FieldYear
from layout.field import Family, Field
from layout.light.sky_parts import Glass
from layout.power.heat import cell_temperature
from layout.power.hot_spot import hot_spot
from layout.power.panel_model import PanelModel
from sites.conventions import BoolArray, Float32Array, FloatArray, IntArray, unit_vector

LEAST_BEAM_W_M2 = 50.0
"""A weaker beam on a panel makes no hot spot worth a word."""

LOOKS = 4000
"""Panel-hours looked at, at most, for working diodes and for failed ones each. Experiment: the demo's layouts and two
of the examples, all hours and panels at the true sun."""

AT_ONCE = 400
KEPT = 8
"""Hours kept for each: the light that is left out here decides between them."""

SHADES = (0.03, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8)
SHADED = (0.0, 0.05, 0.1, 0.25, 0.6, 1.0)
"""Light of dark cells over that of the others, and the share of a half's cells that are dark beside the one dark cell
of the other half: the patterns of shade of which the worst is taken. Several dark cells share what one takes up alone.
Experiment: 4,000 random patterns on a half-cut panel found none that was worse."""


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Panel-hours; (n,) each: hour, panel, beam [W/m²] that cells take up where nothing shades them, the rest of the
    light [W/m²], whether the beam falls on the rear."""

    hour: IntArray
    panel: IntArray
    beam: FloatArray
    rest: FloatArray
    rear: BoolArray

    def pick(self, index: IntArray | BoolArray) -> "_Pairs":
        return _Pairs(self.hour[index], self.panel[index], self.beam[index], self.rest[index], self.rear[index])


def hot_spot_hours(
    field: Field, evaluator: Evaluator, year: FieldYear, in_series: int, glass: Glass
) -> tuple[IntArray, IntArray]:
    """Hours and panels, (n,) each in pairs, that may hold the worst hot spot, with working diodes and with failed ones.

    in_series : panels in the longest string
    """
    c, model = evaluator.conditions, replace(evaluator.model, panel_type=evaluator.kind)
    sun = unit_vector(c.sky.sun.elevation_deg, c.sky.sun.azimuth_deg)
    found: list[tuple[IntArray, IntArray]] = []
    pairs = _partly_shaded(field, evaluator, year, sun, glass)
    families = {int(p): f for f in field.with_full_cells(pairs.panel).families for p in f.traced}
    for diodes in (None, False) if model.diodes else (None,):
        worst = _worst_per_light(model, in_series, diodes)
        bound = _cell_c(pairs, worst, model, c)
        order = np.argsort(-bound, kind="stable")[:LOOKS]
        some, bound = pairs.pick(order), bound[order]
        hot = np.full(len(order), -np.inf)
        for start in range(0, len(order), AT_ONCE):
            if bound[start] <= hot.max():
                break
            part = slice(start, start + AT_ONCE)
            hot[part] = _look(some.pick(np.arange(len(order))[part]), families, field, sun, model, c, in_series, diodes)
        best = np.argsort(-hot, kind="stable")[:KEPT]
        best = best[hot[best] > -np.inf]
        found.append((some.hour[best], some.panel[best]))
    return np.concatenate([h for h, _ in found]), np.concatenate([p for _, p in found])


def _partly_shaded(field: Field, evaluator: Evaluator, year: FieldYear, sun: FloatArray, glass: Glass) -> _Pairs:
    """Panel-hours in which the directions of the sun grid about the sun leave some of a panel's points dark and others
    lit."""
    c, kind = evaluator.conditions, evaluator.kind
    traced = np.concatenate([f.traced for f in field.families])
    bifacial = np.concatenate([np.full(len(f.traced), f.bifacial) for f in field.families])
    near = (c.weights > 0).astype(np.float32)
    mixed = (near @ year.some_dark[:, traced].astype(np.float32) > 0) & (
        near @ year.some_lit[:, traced].astype(np.float32) > 0
    )
    hour, place = np.nonzero(mixed & (c.sky.beam[:, None] > LEAST_BEAM_W_M2))
    panel = traced[place]
    cosine = np.einsum("ij,ij->i", sun[hour], field.rectangles.normal[panel])
    rear = (cosine < 0.0) & bifacial[place]
    face = np.where(rear, kind.bifaciality, evaluator.cover_colour)
    cosine = np.where(rear, -cosine, np.maximum(cosine, 0.0))
    beam = c.sky.beam[hour] * cosine * glass(cosine) * face
    matrix = c.matrix()[:, len(c.parts.sun) :]
    rest = np.maximum(0.0, matrix @ year.rest[:, traced])[hour, place] / (1.0 - evaluator.dirt)
    pairs = _Pairs(hour, panel, beam, rest, rear)
    return pairs.pick(beam > LEAST_BEAM_W_M2)


def _worst_per_light(model: PanelModel, in_series: int, diodes: bool | None) -> float:
    """Power that a cell takes up in the worst pattern of shade over the light, W per W/m²."""
    parts = model.groups * model.halves
    cells = model.panel_type.cells[0] * model.panel_type.cells[1] // parts
    own = np.repeat(np.arange(parts), cells)
    cases = [(share, dark) for share in SHADES for dark in SHADED[: 1 if model.halves == 1 else None]]
    light = np.full((len(cases), len(own)), 1000.0, dtype=np.float32)
    for row, (share, dark) in zip(light, cases, strict=True):
        row[0] *= share
        row[cells : cells + round(dark * cells)] *= share
    still = np.zeros(len(cases))
    return float(hot_spot(light, own, model, still + 10.0, still + 2.0, in_series, diodes).taken_up_w.max()) / 1000.0


def _cell_c(pairs: _Pairs, worst: float, model: PanelModel, c: Conditions) -> FloatArray:
    """Temperature of a cell in the beam that takes up the worst pattern's power, (n,) [°C]."""
    kind = model.panel_type
    light = pairs.beam + pairs.rest
    heat = light * (1.0 + worst * kind.cells[0] * kind.cells[1] / kind.area_m2)
    return cell_temperature(heat, c.air_c[pairs.hour], c.wind_m_s[pairs.hour], kind.u0_w_m2_k, kind.u1_w_s_m3_k)


def _look(
    pairs: _Pairs,
    families: dict[int, Family],
    field: Field,
    sun: FloatArray,
    model: PanelModel,
    c: Conditions,
    in_series: int,
    diodes: bool | None,
) -> FloatArray:
    """Temperature of the cell that takes up most power, (n,) [°C]; minus infinity where none does."""
    out = np.full(len(pairs.hour), -np.inf)
    distinct = {id(f): f for f in families.values()}
    for number, family in distinct.items():
        own = np.flatnonzero([id(families[int(p)]) == number for p in pairs.panel])
        some = pairs.pick(own)
        light = _light(some, family, field, sun)
        air, wind = c.air_c[some.hour], c.wind_m_s[some.hour]
        found = hot_spot(light, family.groups, model, air, wind, in_series, diodes)
        out[own] = np.where(found.taken_up_w > 0.0, found.cell_c, -np.inf)
    return out


def _light(pairs: _Pairs, family: Family, field: Field, sun: FloatArray) -> Float32Array:
    """Light on every cell of panels of one family, (n, cells) [W/m²]."""
    net = family.net
    points = np.zeros((len(pairs.hour), net.points, 3))
    for rear in (False, True):
        side = np.flatnonzero(pairs.rear == rear)
        if len(side):
            points[side] = net.place(field.rectangles[pairs.panel[side]], rear).reshape(-1, net.points, 3)
    way = np.repeat(sun[pairs.hour], net.points, axis=0)
    lit = ~field.engine.kernel.blocked_pairs(points.reshape(-1, 3), way)
    share = net.cell_means(lit.astype(np.float32)).reshape(-1, net.cells)
    return (pairs.rest[:, None] + pairs.beam[:, None] * share).astype(np.float32)
