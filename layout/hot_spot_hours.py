"""The hours and panels most prone to hot spots: found on the sun grid, then looked at with the beam at the true sun.

    grid's directions ─► panel-hours in which a shadow's edge may lie on a panel
    beam, rest of the light, weather ─► how hot the worst pattern of shade would make a cell: hottest first
    true sun ─► the beam on every cell ─► those with a shadow's edge ─► full solution ─► until none could be hotter

Only the beam is traced for this; the rest of the light counts as even. What is found is traced again with all light.
"""

from dataclasses import dataclass, replace

import numpy as np

from layout.conditions import Conditions
from layout.evaluate import Evaluator, FieldYear
from layout.field import Field
from layout.geometry.rays import START_OFFSET_M
from layout.light.sky_parts import Glass
from layout.power.heat import cell_temperature
from layout.power.hot_spot import hot_spot
from layout.power.panel_model import PanelModel
from sites.conventions import BoolArray, Float32Array, FloatArray, IntArray, unit_vector

LEAST_BEAM_W_M2 = 50.0
"""A weaker beam on a panel makes no hot spot worth a word."""

TRACED, LOOKS = 8000, 2000
"""Panel-hours at most of which the beam is traced, and of these looked at by the full solution, for working diodes and
for failed ones each. Experiment: the demo's layouts and some of the examples, all hours and panels at the true sun."""

AT_ONCE = 250
PANELS_AT_ONCE = 256
KEPT = 5
"""Hours kept for each: the light that is left out here decides between them."""

LEVELS = (200.0, 500.0, 1000.0)
SHADES = (0.01, 0.03, 0.07, 0.12, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
SHADED = (0.0, 0.05, 0.1, 0.25, 0.6, 1.0)
"""Light on the others [W/m²], light of dark cells over it, and the share of a half's cells that are dark beside the one
dark cell of the other half: the patterns of shade of which the worst is taken. Several dark cells share what one takes
up alone. Experiment: tests/layout/test_hot_spots.py, random patterns of which some in a thousand were worse by a few
degrees: the order of looks and where they end bear that."""


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Panel-hours; (n,) each: hour, panel, beam [W/m²] that cells take up where nothing shades them, the rest of the
    light and what comes by way of sheets [W/m²], whether the beam falls on the rear; share : (n, cells) of the beam on
    each cell, ordered by groups, once it is traced."""

    hour: IntArray
    panel: IntArray
    beam: FloatArray
    rest: FloatArray
    sheets: FloatArray
    rear: BoolArray
    share: Float32Array

    def pick(self, index: IntArray | BoolArray) -> "_Pairs":
        return _Pairs(*(getattr(self, name)[index] for name in self.__dataclass_fields__))


def hot_spot_hours(
    field: Field, evaluator: Evaluator, year: FieldYear, in_series: int, glass: Glass
) -> tuple[IntArray, IntArray]:
    """Hours and panels, (n,) each in pairs, that may hold the worst hot spot, with working diodes and with failed ones.

    in_series : panels in the longest string
    """
    c, model = evaluator.conditions, replace(evaluator.model, panel_type=evaluator.kind)
    sun = unit_vector(c.sky.sun.elevation_deg, c.sky.sun.azimuth_deg)
    pairs = _partly_shaded(field, evaluator, year, sun, glass)
    ways = (None, False) if model.diodes else (None,)
    worst = {diodes: _worst_per_light(model, in_series, diodes) for diodes in ways}
    first = [np.argsort(np.argsort(-_bound(pairs, worst[d], model, c), kind="stable")) for d in ways]
    pairs = pairs.pick(np.argsort(np.min(first, axis=0), kind="stable")[:TRACED])
    pairs, groups = _with_beam(pairs, field, sun)
    # light by way of sheets may fall on all cells or on others than the dark ones
    cases = [pairs, replace(pairs, rest=pairs.rest + pairs.sheets)] if pairs.sheets.any() else [pairs]
    found: list[_Pairs] = []
    for diodes in ways:
        for case in cases:
            bound = _bound(case, worst[diodes], model, c)
            order = np.argsort(-bound, kind="stable")[:LOOKS]
            hot = np.full(len(order), -np.inf)
            for start in range(0, len(order), AT_ONCE):
                if bound[order[start]] <= hot.max():
                    break
                some = case.pick(order[start : start + AT_ONCE])
                light = (some.rest[:, None] + some.beam[:, None] * some.share).astype(np.float32)
                spots = hot_spot(light, groups, model, c.air_c[some.hour], c.wind_m_s[some.hour], in_series, diodes)
                hot[start : start + AT_ONCE] = np.where(spots.taken_up_w > 0.0, spots.cell_c, -np.inf)
            best = np.argsort(-hot, kind="stable")[:KEPT]
            found.append(case.pick(order[best[hot[best] > -np.inf]]))
    return np.concatenate([f.hour for f in found]), np.concatenate([f.panel for f in found])


def _partly_shaded(field: Field, evaluator: Evaluator, year: FieldYear, sun: FloatArray, glass: Glass) -> _Pairs:
    """Panel-hours in which the directions of the sun grid about the sun leave some of a panel's points dark and others
    lit."""
    parts = []
    for family in field.families:
        for start in range(0, len(family.traced), PANELS_AT_ONCE):
            panels = family.traced[start : start + PANELS_AT_ONCE]
            parts.append(_of_panels(panels, family.bifacial, field, evaluator, year, sun, glass))
    return _Pairs(*(np.concatenate([getattr(p, name) for p in parts]) for name in _Pairs.__dataclass_fields__))


def _of_panels(
    panels: IntArray,
    bifacial: bool,
    field: Field,
    evaluator: Evaluator,
    year: FieldYear,
    sun: FloatArray,
    glass: Glass,
) -> _Pairs:
    """The same of some panels of a family."""
    c, kind = evaluator.conditions, evaluator.kind
    near = (c.weights > 0).astype(np.float32)
    some_dark, some_lit = year.some_dark[:, panels], year.some_lit[:, panels]
    if not kind.bypass_groups:  # the year's coarser net has no points at the panel's edge
        some_dark = some_dark | _dark_at_edge(panels, field, c.parts.sun)
    dark, lit = (near @ some.astype(np.float32) > 0 for some in (some_dark, some_lit))
    hour, place = np.nonzero(dark & lit & (c.sky.beam[:, None] > LEAST_BEAM_W_M2))
    cosine = np.einsum("ij,ij->i", sun[hour], field.rectangles.normal[panels[place]])
    rear = (cosine < 0.0) & bifacial
    cosine = np.where(rear, -cosine, np.maximum(cosine, 0.0))
    beam = c.sky.beam[hour] * cosine * glass(cosine) * np.where(rear, kind.bifaciality, evaluator.cover_colour)
    rest = np.maximum(0.0, c.matrix()[:, len(c.parts.sun) :] @ year.rest[:, panels])[hour, place]
    by_sheets = (c.weights @ year.by_sheets[:, panels])[hour, place] * c.sky.beam[hour]
    share = np.zeros((len(hour), 0), dtype=np.float32)
    pairs = _Pairs(hour, panels[place], beam, rest / (1.0 - evaluator.dirt), by_sheets, rear, share)
    return pairs.pick(beam > LEAST_BEAM_W_M2)


def _dark_at_edge(panels: IntArray, field: Field, sun: FloatArray) -> BoolArray:
    """Whether a corner or the middle of an edge of panels lies in shade, on the face toward the sun, (m, b)."""
    rectangles = field.rectangles[panels]
    end = 0.5 / max(field.arrangement.panel_type.cells)
    shares = np.array([end, 0.5, 1.0 - end])
    up, along = (values.reshape(-1) for values in np.meshgrid(shares, shares, indexing="ij"))
    dark = np.zeros((len(sun), len(panels)), dtype=bool)
    toward = sun @ rectangles.normal.T > 0.0
    for front in (True, False):
        offset = (START_OFFSET_M if front else -START_OFFSET_M) * rectangles.normal[:, None]
        points = (rectangles.points(up, along) + offset).reshape(-1, 3)
        hit = field.engine.kernel.blocked(points, sun).reshape(len(sun), len(panels), -1).any(axis=2)
        dark |= hit & (toward == front)
    return dark


def _worst_per_light(model: PanelModel, in_series: int, diodes: bool | None) -> FloatArray:
    """Power that a cell takes up in the worst pattern over the light of lit ones, at each of `SHADES` [W per W/m²]."""
    parts = model.groups * model.halves
    cells = model.panel_type.cells[0] * model.panel_type.cells[1] // parts
    own = np.repeat(np.arange(parts), cells)
    darker = SHADED[: 1 if model.halves == 1 else None]
    light = np.ones((len(SHADES), len(LEVELS), len(darker), len(own)))
    for row, share in zip(light, SHADES, strict=True):
        row[:, :, 0] = share
        for pattern, dark in zip(np.moveaxis(row, 1, 0), darker, strict=True):
            pattern[:, cells : cells + round(dark * cells)] = share
    light *= np.array(LEVELS)[:, None, None]
    flat = light.reshape(-1, len(own)).astype(np.float32)
    still = np.zeros(len(flat))
    taken = hot_spot(flat, own, model, still + 10.0, still + 2.0, in_series, diodes).taken_up_w
    return (taken.reshape(light.shape[:3]) / np.array(LEVELS)[:, None]).max(axis=(1, 2))


def _bound(pairs: _Pairs, worst: FloatArray, model: PanelModel, c: Conditions) -> FloatArray:
    """Temperature of a dark cell that takes up the worst pattern's power, (n,) [°C]."""
    kind, light = model.panel_type, pairs.beam + pairs.rest
    heat = np.array(SHADES) + worst * kind.cells[0] * kind.cells[1] / kind.area_m2
    if min(kind.cells) == 1:  # the beam may reach a part of a long cell, which then is lighter than the rest makes it
        heat = np.maximum.accumulate(heat[::-1])[::-1]
    warm = light * np.interp(pairs.rest / light, SHADES, heat)
    return cell_temperature(warm, c.air_c[pairs.hour], c.wind_m_s[pairs.hour], kind.u0_w_m2_k, kind.u1_w_s_m3_k)


def _with_beam(pairs: _Pairs, field: Field, sun: FloatArray) -> tuple[_Pairs, IntArray]:
    """Those of the panel-hours in which some cells are darker than others at the true sun, with the beam on every cell,
    and the cells' groups."""
    families = field.with_full_cells(pairs.panel).families
    cells = max((f.net.cells for f in families), default=0)
    share, groups = np.zeros((len(pairs.hour), cells), dtype=np.float32), np.zeros(0, dtype=np.int64)
    for family in families:
        net, order = family.net, np.argsort(family.groups, kind="stable")
        groups = family.groups[order]
        for rear in (False, True):
            own = np.flatnonzero(np.isin(pairs.panel, family.traced) & (pairs.rear == rear))
            if not len(own):
                continue
            points = net.place(field.rectangles[pairs.panel[own]], rear)
            lit = ~field.engine.kernel.blocked_pairs(points, np.repeat(sun[pairs.hour[own]], net.points, axis=0))
            share[own] = net.cell_means(lit.astype(np.float32)).reshape(-1, cells)[:, order]
    mixed = np.ptp(share, axis=1) > 0.0 if cells else np.zeros(0, dtype=bool)
    return replace(pairs, share=share).pick(mixed), groups
