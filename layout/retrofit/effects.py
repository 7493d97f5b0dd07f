"""What candidates do to panels: one tracing each, with the panels near it, by the light coefficients of the year.

The roof as it stands is traced first. A candidate's single effect is what its scene's coefficients are above those:
the light that it brings and the light that it takes together. The effect of a pair is what is left when both stand
and the single effects are taken off. Electricity is worked out from the summed light of each case by the same methods
as a layout's year, every panel on a tracker of its own; what strings lose shows when the chosen set is traced whole.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.conditions import Conditions
from layout.evaluate import Evaluator
from layout.field import Block, Field, build_field
from layout.geometry.rays import START_OFFSET_M
from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import LightCoefficients, engine_of, ground_light, light_coefficients, year_places
from layout.light.ground import GroundLight
from layout.pieces import Reflector
from layout.plan_sheets import SheetTypes
from layout.power.glass import transmission_ratio
from layout.power.heat import cell_temperature
from layout.power.method import dc_power
from layout.retrofit.candidates import Candidate
from layout.wiring_tables import PANEL_LEVEL
from layout.workers import Told, work_through
from layout.year import evaluator_of
from layout.year_figures import Settings
from sites.conventions import FloatArray, IntArray

REACH_RISE = 6.0
"""A sheet is traced with panels as near as so many times its rise; its shadow gets there with the sun at 9°. With 4
the effects of a pitched roof added up to 6 % more than its whole tracing (tests/layout/test_retrofit_traced.py)."""

REACH_M = 0.5

PANEL_SHARES = (0.02, 0.34, 0.66, 0.98)
SHEET_SHARES = (0.03, 0.5, 0.97)
SHEET_STEP_M = 0.5
"""Where on panels and sheets it is tried whether they see each other. Panels that see nothing of a sheet are not traced
with it; what slips between is far below what counts (tests/layout/test_retrofit_traced.py)."""

SEEN_M = 2e-3

NOTHING = 1e-4
"""Share of a panel's yearly light below which an effect is none."""


@dataclass(frozen=True, eq=False)
class Part:
    """Panels of one family: family : its number; panels : (b,) int; before, after : (columns, b, cells) change of the
    coefficients by one case, single precision for the roof itself, half for candidates."""

    family: int
    panels: IntArray
    before: np.ndarray
    after: np.ndarray


@dataclass(frozen=True, eq=False)
class Effect:
    """One case, over the roof as it stands.

    panels : (b,) int, those that it reaches; dc_kwh : (b,) of a year; light_kwh : (b,) on each panel, before the glass
    parts : change of the coefficients of these panels, by family
    """

    panels: IntArray
    dc_kwh: FloatArray
    light_kwh: FloatArray
    parts: tuple[Part, ...]


@dataclass(frozen=True, eq=False)
class Roof:
    """The roof as it stands, traced.

    base : one part for each family; dc_kwh, light_kwh : (n,) of a year, each panel on a tracker of its own
    """

    arrangement: Arrangement
    conditions: Conditions
    evaluator: Evaluator
    field: Field
    store: GroundLight | None
    base: tuple[Part, ...]
    dc_kwh: FloatArray
    light_kwh: FloatArray

    @property
    def rectangles(self) -> Rectangles:
        """Its panels."""
        return self.field.rectangles


def trace_roof(arrangement: Arrangement, conditions: Conditions, settings: Settings) -> Roof:
    """The roof without any candidate."""
    evaluator = replace(evaluator_of(arrangement, conditions, settings), wiring=PANEL_LEVEL)
    field = build_field(arrangement, conditions, settings.full_cells, repetition=False)
    store = ground_light(field.engine, conditions.parts, year_places(field.rectangles))
    n = len(field.rectangles)
    bare = Roof(arrangement, conditions, evaluator, field, store, (), np.zeros(n), np.zeros(n))
    base = _traced(bare, arrangement.scene.reflectors, np.arange(n))
    dc, light = np.zeros(n), np.zeros(n)
    for part in base:
        dc[part.panels], light[part.panels] = part_year(bare, part)
    return replace(bare, base=base, dc_kwh=dc, light_kwh=light)


def _traced(roof: Roof, sheets: Sequence[Reflector], panels: IntArray) -> tuple[Part, ...]:
    """Coefficients of some panels with some sheets on the roof."""
    engine = engine_of(replace(roof.arrangement.scene, reflectors=sheets), transmission_ratio)
    store = None if roof.store is None else roof.store.for_other_sheets()
    parts = []
    for number, family in enumerate(roof.field.families):
        mine = family.traced[np.isin(family.traced, panels)]
        if len(mine):
            args = (engine, roof.conditions.parts, roof.rectangles[mine], family.net, transmission_ratio)
            got = light_coefficients(*args, store=store, numbers=mine)
            parts.append(Part(number, mine, got.before, got.after))
    return tuple(parts)


def part_year(roof: Roof, part: Part) -> tuple[FloatArray, FloatArray]:
    """DC energy [kWh] and light on the front [kWh] of each panel of a part."""
    e, family, c = roof.evaluator, roof.field.families[part.family], roof.conditions
    columns, b, cells = part.after.shape
    means, scale = family.net.panel_means, roof.arrangement.area_scale[part.panels]
    electric = part.after * np.float32((1.0 - e.dirt) * e.cover_colour)
    light = e.matrix @ electric.reshape(columns, b * cells)
    light = np.maximum(light, 0.0, out=light).reshape(-1, cells)
    heat = np.maximum(0.0, e.matrix @ means(part.after))
    panel_c = cell_temperature(heat, c.air_c[:, None], c.wind_m_s[:, None], e.kind.u0_w_m2_k, e.kind.u1_w_s_m3_k)
    power = dc_power(light, family.groups, e.model, panel_c.reshape(-1)).reshape(-1, b)
    front = np.asarray(e.matrix.sum(axis=0)).reshape(-1) @ means(part.before) * roof.rectangles.area[part.panels]
    return power.sum(axis=0, dtype=np.float64) * scale * c.hour_kwh, front * c.hour_kwh


def block_of(roof: Roof, part: Part) -> Block:
    """Coefficients of some panels as a block of the year. How much of their light came by way of sheets is not told."""
    by_sheets = np.zeros((len(roof.conditions.parts.sun), len(part.panels)), dtype=np.float32)
    front = LightCoefficients(part.before, part.after, by_sheets)
    return Block(roof.field.families[part.family], part.panels, np.ones(len(part.panels)), front, None)


def near_panels(sheets: Rectangles, panels: Rectangles) -> IntArray:
    """Panels that sheets can matter to, (b,) int."""
    middle = sheets.corner + 0.5 * (sheets.along + sheets.up)
    along = sheets.along / np.linalg.norm(sheets.along, axis=1, keepdims=True)
    half = 0.5 * np.linalg.norm(sheets.along, axis=1)
    width = np.linalg.norm(sheets.up, axis=1)
    centre = panels.corner + 0.5 * (panels.along + panels.up)
    size = 0.5 * np.linalg.norm(panels.along + panels.up, axis=1)
    near = np.zeros(len(panels), dtype=bool)
    for k in range(len(sheets)):
        away = centre - middle[k]
        beside = np.clip(away @ along[k], -half[k], half[k])
        distance = np.linalg.norm(away - beside[:, None] * along[k], axis=1) - size
        rise = np.abs(sheets.up[k] @ panels.normal.T)
        near |= distance < REACH_M + width[k] + REACH_RISE * rise
    return np.flatnonzero(near)


def seeing_panels(roof: Roof, sheets: Rectangles, near: IntArray) -> IntArray:
    """Those of some panels that see anything of the sheets, past all that stands; (b,) int."""
    shares = np.array(list(product(PANEL_SHARES, repeat=2)))
    panels = roof.rectangles[near]
    points = panels.points(shares[:, 0], shares[:, 1]) + START_OFFSET_M * panels.normal[:, None]
    marks = []
    for k in range(len(sheets)):
        steps = 1 + int(np.ceil(np.linalg.norm(sheets.along[k]) / SHEET_STEP_M))
        tried = np.array(list(product(SHEET_SHARES, np.linspace(0.01, 0.99, steps))))
        marks.append(sheets[k : k + 1].points(tried[:, 0], tried[:, 1])[0])
    way = np.concatenate(marks) - points[:, :, None]  # (b, points, marks, 3)
    far = np.linalg.norm(way, axis=-1)
    ahead = np.einsum("bpmi,bi->bpm", way, panels.normal) > 1e-6 * far
    panel, point, _ = np.nonzero(ahead)
    direction = way[ahead] / far[ahead][:, None]
    _, distance = roof.field.engine.kernel.first_hit(points[panel, point], direction)
    return near[np.unique(panel[distance > far[ahead] - SEEN_M])]


def case_effects(
    roof: Roof,
    cases: Sequence[Sequence[Candidate]],
    types: SheetTypes,
    told: Told | None = None,
    processes: int = 1,
    label: str = "what each part does",
) -> list[Effect]:
    """The effect of each case, a set of candidates that stand together; so many cases at once."""
    here = processes if sys.platform == "linux" else 1  # elsewhere the traced roof would have to be copied
    items = list(zip(range(len(cases)), cases, strict=True))
    return work_through(_one_case, (roof, types, label, len(cases)), items, told, here)


def _one_case(
    common: tuple[Roof, SheetTypes, str, int], item: tuple[int, Sequence[Candidate]], told: Told | None
) -> Effect:
    roof, types, label, total = common
    effect = case_effect(roof, item[1], types)
    if told is not None:
        told(label, total - item[0], total)  # begun from the last
    return effect


def case_effect(roof: Roof, chosen: Sequence[Candidate], types: SheetTypes) -> Effect:
    """The effect of some candidates that stand together, on the panels near them."""
    sheets = [sheet for candidate in chosen for sheet in candidate.reflectors(types)]
    shapes = Rectangles.of(sheets)
    panels = seeing_panels(roof, shapes, near_panels(shapes, roof.rectangles))
    standing = tuple(roof.arrangement.scene.reflectors)
    parts, dc, light, reached = [], [], [], []
    for part in _traced(roof, (*standing, *sheets), panels):
        base = roof.base[[b.family for b in roof.base].index(part.family)]
        at = np.searchsorted(base.panels, part.panels)
        keep = _reached(roof, part, base.before[:, at])
        if not len(keep):
            continue
        part = Part(part.family, part.panels[keep], part.before[:, keep], part.after[:, keep])
        at = at[keep]
        case_dc, case_light = part_year(roof, part)
        d, s = case_dc - roof.dc_kwh[part.panels], case_light - roof.light_kwh[part.panels]
        before, after = ((getattr(part, f) - getattr(base, f)[:, at]).astype(np.float16) for f in ("before", "after"))
        parts.append(Part(part.family, part.panels, before, after))
        dc.append(d)
        light.append(s)
        reached.append(part.panels)
    if not parts:
        return Effect(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0), ())
    return Effect(np.concatenate(reached), np.concatenate(dc), np.concatenate(light), tuple(parts))


def _reached(roof: Roof, part: Part, base: np.ndarray) -> IntArray:
    """Panels of a part whose light changes at all, on the mean of their cells over the year."""
    year = np.abs(np.asarray(roof.evaluator.matrix.sum(axis=0)).reshape(-1)).astype(np.float32)
    change = np.abs(part.before - base).mean(axis=2)
    light = roof.light_kwh[part.panels] / roof.rectangles.area[part.panels]
    return np.flatnonzero(year @ change * roof.conditions.hour_kwh > NOTHING * light)


@dataclass(frozen=True, eq=False)
class PairEffect:
    """What two candidates do beyond the sum of both. panels : (b,); dc_kwh, light_kwh : (b,)
    parts : change of the coefficients beyond both changes, by family"""

    panels: IntArray
    dc_kwh: FloatArray
    light_kwh: FloatArray
    parts: tuple[Part, ...]


def pair_effect(both: Effect, first: Effect, second: Effect) -> PairEffect:
    """What a case of two candidates does beyond their single effects."""
    panels = np.unique(np.concatenate([e.panels for e in (both, first, second)]))
    dc, light = np.zeros(len(panels)), np.zeros(len(panels))
    for effect, sign in ((both, 1.0), (first, -1.0), (second, -1.0)):
        at = np.searchsorted(panels, effect.panels)
        dc[at] += sign * effect.dc_kwh
        light[at] += sign * effect.light_kwh
    families = sorted({part.family for e in (both, first, second) for part in e.parts})
    return PairEffect(panels, dc, light, tuple(_beyond(family, both, first, second) for family in families))


def _beyond(family: int, both: Effect, first: Effect, second: Effect) -> Part:
    """The change of one family's coefficients by two parts less the changes by each."""
    terms = [(p, sign) for e, sign in ((both, 1), (first, -1), (second, -1)) for p in e.parts if p.family == family]
    panels = np.unique(np.concatenate([part.panels for part, _ in terms]))
    sums = []
    for name in ("before", "after"):
        shape = getattr(terms[0][0], name).shape
        total = np.zeros((shape[0], len(panels), shape[2]), dtype=np.float16)
        for part, sign in terms:
            total[:, np.searchsorted(panels, part.panels)] += np.float16(sign) * getattr(part, name)
        sums.append(total)
    return Part(family, panels, sums[0], sums[1])
