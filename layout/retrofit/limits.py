"""Light and heat of every cell at the worst hours: as rows of the model, and traced again at the true sun."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.evaluate import FieldYear
from layout.field import Field, blocks
from layout.peaks import PEAK_DOME_RAYS, PEAK_DRAWS, PeakBlock, peak_hours
from layout.power.glass import transmission_ratio
from layout.power.heat import wind_ratio
from layout.result import WorstHour
from layout.retrofit.effects import Effect, Part, Roof
from layout.retrofit.model import Row
from sites.conventions import FloatArray, IntArray

HOURS_A_PANEL = 8
"""Hours a panel that stand in the model from the start, by light and by heat each; cuts add others."""

MOST_ROWS = 3000
"""Rows that stand in the model from the start, the most endangered first; cuts add others."""

SAFE = 0.995
"""The model keeps this share of what is left to a limit: its sun stands on a grid, the true one beside it."""


@dataclass(frozen=True)
class CellLimits:
    """light_w_m2 : on the front before the glass; cell_c : of a cell, in the wind of the hour"""

    light_w_m2: float
    cell_c: float


@dataclass(frozen=True, eq=False)
class Offence:
    """A cell beyond its limit in a traced set. found, most : W/m² of light or of heat; cell : (up, along) shares"""

    panel: int
    cell: tuple[float, float]
    hour: int
    heat: bool
    found: float
    most: float
    words: str


@dataclass(frozen=True, eq=False)
class Traced:
    """The worst hours of a set at the true sun: light_w_m2, cell_c : the highest of any cell; still_c : had there been
    no wind; worst : the hour of the brightest cell; offences"""

    light_w_m2: float
    cell_c: float
    still_c: float
    worst: WorstHour
    offences: tuple[Offence, ...]


def heat_room(roof: Roof, cell_c: float) -> FloatArray:
    """Heat that brings a cell to ``cell_c`` in each hour, (k,) W/m²."""
    c, kind = roof.conditions, roof.evaluator.kind
    return (cell_c - c.air_c) * (kind.u0_w_m2_k + kind.u1_w_s_m3_k * c.wind_m_s * wind_ratio())


def limit_rows(roof: Roof, effects: Sequence[Effect], place: IntArray, limits: CellLimits) -> list[Row]:
    """Rows for the cells and hours that some set might bring beyond their limits."""
    matrix = roof.evaluator.matrix
    room = {False: np.full(matrix.shape[0], limits.light_w_m2), True: heat_room(roof, limits.cell_c)}
    rows: list[tuple[float, Row]] = []
    for base in roof.base:
        for at, panel in enumerate(base.panels):
            mine = _changes(effects, int(panel))
            if not mine:
                continue
            for heat in (False, True):
                name = "after" if heat else "before"
                standing = getattr(base, name)[:, at]
                added = np.stack([getattr(part, name)[:, k].astype(np.float32) for _, part, k in mine])
                hours = _hours(matrix, standing, added, room[heat])
                picked = matrix[hours]
                now = np.asarray(picked @ standing)
                more = np.stack([picked @ a for a in added])
                numbers = np.array([i for i, _, _ in mine])
                rows.extend(_rows(now, more, numbers, place, room[heat][hours], heat, int(panel)))
    rows.sort(key=lambda pair: -pair[0])
    return [row for _, row in rows[:MOST_ROWS]]


def _changes(effects: Sequence[Effect], panel: int) -> list[tuple[int, Part, int]]:
    """Candidates that reach a panel: number, part, place of the panel in it."""
    found = []
    for number, effect in enumerate(effects):
        for part in effect.parts:
            at = np.flatnonzero(part.panels == panel)
            if len(at):
                found.append((number, part, int(at[0])))
    return found


def _hours(matrix, standing: np.ndarray, added: np.ndarray, room: FloatArray) -> IntArray:  # type: ignore[no-untyped-def]
    """Hours in which a cell with the best of all candidates would come nearest to its limit."""
    most = standing.max(axis=1) + np.maximum(0.0, added).max(axis=(0, 2))
    return np.argsort(room - matrix @ most, kind="stable")[:HOURS_A_PANEL]


def _rows(
    now: FloatArray, more: FloatArray, numbers: IntArray, place: IntArray, room: FloatArray, heat: bool, panel: int
) -> list[tuple[float, Row]]:
    """now : (h, cells); more : (candidates, h, cells)."""
    places = np.unique(place[numbers])
    best = sum(np.maximum(0.0, more[place[numbers] == p]).max(axis=0) for p in places)
    left = np.maximum(0.0, SAFE * (room[:, None] - now))  # what is beyond without any part must not get worse
    danger = now + best - room[:, None]
    found = []
    for hour, cell in np.argwhere((best > left) & (best > 1.0)):
        weights = more[:, hour, cell].astype(np.float64)
        used = np.flatnonzero(np.abs(weights) > 1e-3)
        what = f"{'heat' if heat else 'light'} of panel {panel}"
        row = Row(numbers[used], weights[used], float(left[hour, cell]), what)
        found.append((float(danger[hour, cell]), row))
    return found


def trace_limits(roof: Roof, arrangement: Arrangement, field: Field, year: FieldYear, limits: CellLimits) -> Traced:
    """The worst hours of a set of parts at the true sun, every cell of the panels that may hold the worst.

    A cell that is beyond a limit without any part counts as an offence where parts make it worse.
    """
    evaluator = replace(
        roof.evaluator,
        kind=replace(roof.evaluator.kind, max_light_w_m2=limits.light_w_m2, max_cell_c=limits.cell_c),
    )
    hours, panels = peak_hours(year, field, evaluator)
    at = evaluator.conditions.at_hours(hours)
    at = replace(at, parts=replace(at.parts, dome_rays=PEAK_DOME_RAYS, draws=PEAK_DRAWS))
    room = heat_room(roof, limits.cell_c)[hours]
    seen = [PeakBlock.of(b, at, evaluator) for b in blocks(field.with_full_cells(panels), at, transmission_ratio)]
    bare = _bare(roof, arrangement, panels, at, evaluator, seen, limits)
    offences: list[Offence] = []
    for block, standing in zip(seen, bare, strict=True):
        kind = evaluator.kind
        wind = at.wind_m_s[:, None, None] * wind_ratio()
        air = at.air_c[:, None, None]
        heat = (block.cell_c - air) * (kind.u0_w_m2_k + kind.u1_w_s_m3_k * wind)
        most_light, most_heat = (
            np.full(block.front.shape, limits.light_w_m2),
            np.broadcast_to(room[:, None, None], heat.shape),
        )
        if standing is not None:
            standing_heat = (standing.cell_c - air) * (kind.u0_w_m2_k + kind.u1_w_s_m3_k * wind)
            most_light = np.maximum(most_light, standing.front)
            most_heat = np.maximum(most_heat, standing_heat)
        offences += _offences(block, block.front, most_light, hours, False)
        offences += _offences(block, heat, most_heat, hours, True)
    brightest = max(seen, key=lambda b: float(b.front.max()))
    return Traced(
        float(brightest.front.max()),
        max(float(b.cell_c.max()) for b in seen),
        max(float(b.still_c.max()) for b in seen),
        brightest.brightest(at),
        tuple(offences),
    )


def _bare(roof, arrangement, panels, at, evaluator, seen, limits) -> list[PeakBlock | None]:  # type: ignore[no-untyped-def]
    """The same hours and panels without parts, where some limit is passed."""
    kind = evaluator.kind
    passed = any((b.front > limits.light_w_m2).any() or (b.cell_c > kind.max_cell_c).any() for b in seen)
    if not passed:
        return [None] * len(seen)
    if not arrangement.scene.reflectors:
        return list(seen)
    field = roof.field.with_full_cells(panels)
    return [PeakBlock.of(b, at, evaluator) for b in blocks(field, at, transmission_ratio)]


def _offences(block: PeakBlock, found: FloatArray, most: FloatArray, hours: IntArray, heat: bool) -> list[Offence]:
    """The worst cell of each panel and hour beyond its limit."""
    net = block.block.family.net
    up, along = net.shares()
    over = found - most
    out = []
    for hour, panel in np.argwhere((over > 1e-3 * np.maximum(1.0, most)).any(axis=2)):
        cell = int(over[hour, panel].argmax())
        value, limit = float(found[hour, panel, cell]), float(most[hour, panel, cell])
        points = len(up) // net.cells
        middle = (
            float(up[cell * points : (cell + 1) * points].mean()),
            float(along[cell * points : (cell + 1) * points].mean()),
        )
        number = int(block.block.panels[panel])
        words = (
            f"{'heat' if heat else 'light'} on panel {number}: {value:.0f} W/m², at most {limit:.0f} W/m² in that hour"
        )
        out.append(Offence(number, middle, int(hours[hour]), heat, value, limit, words))
    out.sort(key=lambda o: o.most - o.found)
    return out[:20]


def cut_of(roof: Roof, effects: Sequence[Effect], chosen: IntArray, offence: Offence) -> Row:
    """A row that forbids the set that offends, and by their effects on that cell in that hour all that are like it."""
    picked = roof.evaluator.matrix[[offence.hour]]
    numbers, weights = [], []
    for number, part, at in _changes(effects, offence.panel):
        changes = getattr(part, "after" if offence.heat else "before")[:, at].astype(np.float32)
        net = roof.field.families[part.family].net
        rows, columns = net.middles()
        cell = int(np.abs(rows - offence.cell[0]).argmin()) * net.n_along + int(
            np.abs(columns - offence.cell[1]).argmin()
        )
        numbers.append(number)
        weights.append(float((picked @ changes[:, cell])[0]))
    index, weight = np.array(numbers, dtype=np.int64), np.array(weights)
    inside = np.isin(index, chosen)
    here = float(weight[inside].sum())
    over = offence.found - offence.most
    if here > over:  # the model sees why: what it sees may be as much as is left when the excess is taken off
        used = np.abs(weight) > 1e-3
        return Row(index[used], weight[used], here - over, offence.words)
    guilty = index[inside] if inside.any() else chosen
    return Row(guilty, np.ones(len(guilty)), len(guilty) - 1.0, offence.words)
