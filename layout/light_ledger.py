"""Where the sunlight that meets reflectors goes: each share estimated on its own, so that they can be held against
each other.

What arrives comes from coefficients of the reflectors' fronts, what reaches panels from those of the panels (both
looked at backward, from the receiver), by points of their own, since light of narrow sheets slips between those of
the year; what misses, is absorbed or lost to facet masking comes from light followed
forward from the sun.
"""

from dataclasses import dataclass, replace

import numpy as np

from layout.conditions import Conditions
from layout.evaluate import FieldYear
from layout.field import Field
from layout.geometry.rays import START_OFFSET_M
from layout.geometry.rectangles import Rectangles
from layout.light.lattice import additive_sequence, cosine_hemisphere, fibonacci_lattice
from layout.light.places import PlaceNet
from layout.light.receive import Receiver
from layout.light.sheets import Sheet
from layout.result import LightLedger
from sites.conventions import FloatArray, IntArray

PHOTONS = 300_000
FRONT_POINTS = 34
REACHED_POINTS = 6_000
REACHED_POINTS_A_PANEL = (34, 987)
TURNS = 34
"""Points on panels that look for light by way of sheets, and sets of facets drawn for them in turn."""

DRAW_SETS = 7
"""Panels side by side draw from different sets, so that the error of one set's facets does not add up."""


def light_ledger(
    field: Field, year: FieldYear, conditions: Conditions, arriving: FloatArray, seed: int = 1
) -> LightLedger:
    """The ledger of a layout's reflectors, all zero where it has none, or see-through sheets beside them: light that
    passes these is not followed here. arriving : (m, n) of `arriving_beam`."""
    scene, light = field.arrangement.scene, conditions.sun_light()
    if not scene.reflectors or scene.diffusers:
        return LightLedger(0.0, 0.0, 0.0, 0.0, 0.0)
    sheets = Rectangles.of(scene.reflectors)
    arrived = float((arriving @ sheets.area) @ light)
    matt = year.by_sheets - year.by_lobes
    reached = float(((matt * field.rectangles.area).sum(axis=1) * light).sum()) + _reached_by_lobes(field, conditions)
    missed, absorbed, masked = _forward(field, sheets, conditions, light, seed)
    return LightLedger(arrived, reached, missed, absorbed, masked)


def arriving_beam(field: Field, c: Conditions) -> FloatArray:
    """Straight beam on the fronts of a layout's reflectors by sun direction, (m, n) [-]."""
    sheets = Rectangles.of(field.arrangement.scene.reflectors)
    pattern = fibonacci_lattice(FRONT_POINTS)
    points = sheets.points(pattern[:, 0], pattern[:, 1]) + START_OFFSET_M * sheets.normal[:, None]
    free = ~field.engine.kernel.blocked(points.reshape(-1, 3), c.parts.sun)
    seen = free.reshape(len(c.parts.sun), len(sheets), FRONT_POINTS).mean(axis=2)
    seen *= np.maximum(0.0, c.parts.sun @ sheets.normal.T)
    return seen


def _reached_by_lobes(field: Field, c: Conditions) -> float:
    """Sunlight of a year that sheets' lobes bring to all panels, kWh."""
    light, panels, total = c.sun_light(), field.rectangles, 0.0
    both = np.array([p.bifacial for p in field.arrangement.scene.panels], dtype=bool)
    for rear, chosen in ((False, np.arange(len(panels))), (True, np.flatnonzero(both))):
        normals, kind = np.unique(np.round(panels.normal[chosen], 7), axis=0, return_inverse=True)
        for k in range(len(normals)):
            members = chosen[kind.reshape(-1) == k]
            lattice = fibonacci_lattice(int(np.clip(REACHED_POINTS // len(members), *REACHED_POINTS_A_PANEL)))
            for number in range(min(DRAW_SETS, len(members))):
                some = panels[members[number::DRAW_SETS]]
                total += float(_lobes_on(field, c, some, rear, lattice, number) @ light)
    return total


def _lobes_on(
    field: Field, c: Conditions, panels: Rectangles, rear: bool, lattice: FloatArray, number: int
) -> FloatArray:
    """Beams of 1 kWh/m² that reach panels of one attitude by way of sheets' lobes, (m,) [kWh]. Points take turns, each
    panel has others."""
    side = -1.0 if rear else 1.0
    turns = min(TURNS, len(lattice))
    parts = replace(c.parts, draws=turns)
    out = np.zeros(len(c.parts.sun))
    moved = additive_sequence(np.arange(len(panels)), 2)
    for turn in range(turns):
        pattern = (lattice[turn::turns, None] + moved) % 1.0
        points = np.concatenate(
            [
                panels.corner + p[:, :1] * panels.along + p[:, 1:] * panels.up + side * START_OFFSET_M * panels.normal
                for p in pattern
            ]
        )
        nothing = PlaceNet(1.0, 1.0)
        receiver = Receiver(field.engine, parts, points, side * panels.normal[0], (np.ones_like,), nothing, None)
        smooth = tuple(o for o in receiver.orders() if all(s.smooth for s in o))
        rough = tuple(o for o in receiver.orders() if not all(s.smooth for s in o))
        area = np.tile(panels.area, len(pattern)) / len(lattice)
        got = receiver.by_sheets(smooth)[0] + turns * receiver.by_sheets(rough, (turn, turns), number)[0]
        out += got[: len(out)] @ area
    return out


@dataclass(frozen=True, eq=False)
class _Photons:
    """Parcels of light on their way: place (r, 3), toward the light (r, 3), reflector met (r,), kWh (r,)."""

    place: FloatArray
    toward: FloatArray
    sheet: IntArray
    kwh: FloatArray


def _forward(
    field: Field, sheets: Rectangles, c: Conditions, light: FloatArray, seed: int
) -> tuple[float, float, float]:
    """Missed, absorbed and masked light, kWh a year, of parcels followed from the sun."""
    rng = np.random.default_rng(seed)
    kernel, scene = field.engine.kernel, field.arrangement.scene
    n_panels, kinds = len(scene.panels), _kind_of(field)
    photons = _from_the_sun(sheets, c, light, rng)
    photons = _pick(photons, ~kernel.blocked_pairs(photons.place, photons.toward))
    missed = absorbed = masked = 0.0
    for bounce in range(c.parts.bounces):
        leaves, kept, dark = _leave(photons, kinds, rng)
        absorbed += dark
        masked += float((photons.kwh - kept).sum()) - dark
        start = photons.place
        met, _ = kernel.first_hit(start, leaves)
        panel = np.zeros(len(met), dtype=bool)
        hit = (met >= 0) & (met < n_panels)
        front = np.einsum("ij,ij->i", leaves[hit], field.rectangles.normal[met[hit]]) < 0
        both = np.array([p.bifacial for p in scene.panels], dtype=bool)
        panel[hit] = front | both[met[hit]]
        again = (met >= n_panels) & (met < n_panels + len(sheets))
        again[again] = np.einsum("ij,ij->i", leaves[again], sheets.normal[met[again] - n_panels]) < 0
        if bounce == c.parts.bounces - 1:
            again[:] = False  # light that would have to bounce once more counts as missed
        missed += float(kept[~panel & ~again].sum())
        index = met[again] - n_panels
        place = kernel.meeting(start[again], leaves[again], met[again]) + START_OFFSET_M * sheets.normal[index]
        photons = _Photons(place, -leaves[again], index, kept[again])
    return missed, absorbed, masked


def _from_the_sun(sheets: Rectangles, c: Conditions, light: FloatArray, rng: np.random.Generator) -> _Photons:
    """Parcels on reflectors' fronts, chosen by area and by the year's beam of each sun direction."""
    node = rng.choice(len(light), PHOTONS, p=light / light.sum())
    sheet = rng.choice(len(sheets), PHOTONS, p=sheets.area / sheets.area.sum())
    toward, normal = c.parts.sun[node], sheets.normal[sheet]
    cosine = np.einsum("ij,ij->i", toward, normal)
    share = rng.random((PHOTONS, 2, 1))
    place = sheets.corner[sheet] + share[:, 0] * sheets.along[sheet] + share[:, 1] * sheets.up[sheet]
    kwh = light.sum() * sheets.area.sum() * np.maximum(0.0, cosine) / PHOTONS
    return _pick(_Photons(place + START_OFFSET_M * normal, toward, sheet, kwh), cosine > 0)


def _pick(photons: _Photons, keep: np.ndarray) -> _Photons:
    return _Photons(photons.place[keep], photons.toward[keep], photons.sheet[keep], photons.kwh[keep])


def _kind_of(field: Field) -> list[tuple[Sheet, IntArray]]:
    """Each kind of reflector with the numbers of its sheets among the reflectors."""
    n_panels = len(field.arrangement.scene.panels)
    return [(s, np.flatnonzero(s.member) - n_panels) for s in field.engine.sheets if s.mirror]


def _leave(
    photons: _Photons, kinds: list[tuple[Sheet, IntArray]], rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, float]:
    """Directions in which parcels leave, what is left of each, and what the sheets absorbed in all.

    A parcel leaves by the lobe or Lambertian by the shares of the two; the lobe's weight differs from draw to draw and
    is right in the mean.
    """
    leaves, kept, absorbed = np.zeros_like(photons.place), np.zeros(len(photons.kwh)), 0.0
    for sheet, members in kinds:
        mine = np.flatnonzero(np.isin(photons.sheet, members))
        total = sheet.share + sheet.diffuse_share
        absorbed += float(photons.kwh[mine].sum()) * (1.0 - total)
        if total == 0 or not len(mine):
            leaves[mine] = sheet.normal
            continue
        matt = rng.random(len(mine)) < sheet.diffuse_share / total
        lobe = mine[~matt]
        leaves[mine[matt]] = cosine_hemisphere(rng.random((int(matt.sum()), 2))) @ sheet.axes
        kept[mine[matt]] = photons.kwh[mine[matt]] * total
        out, strength = sheet.scatter(photons.toward[lobe], rng.random((len(lobe), 2)), np.ones_like)
        reach = np.abs(out @ sheet.normal) / np.abs(photons.toward[lobe] @ sheet.normal)
        leaves[lobe] = out
        kept[lobe] = photons.kwh[lobe] * total * (strength * reach / sheet.share if sheet.share > 0 else 0.0)
    return leaves, kept, absorbed
