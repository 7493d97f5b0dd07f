"""The year's beam that arrives on reflectors and that panels get by way of them, looked at backward, by points of their
own: light of narrow sheets slips between those of the year, and is steep beside a hinge."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from layout.conditions import Conditions
from layout.field import Field
from layout.geometry.rays import START_OFFSET_M
from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import year_places
from layout.light.ground import SheetPlaces
from layout.light.lattice import additive_sequence, fibonacci_lattice
from layout.light.receive import Receiver
from layout.light.sky_parts import SkyParts
from sites.conventions import FloatArray, IntArray

FRONT_POINTS = 8_000
FRONT_POINTS_A_SHEET = (13, 610)
REACHED_POINTS = 16_000
REACHED_POINTS_A_PANEL = (34, 4181)
"""Points on all fronts and on all panels, within limits for each."""

DRAW_SETS = 13
"""Panels side by side draw from different sets, so that the error of one set's facets does not add up; so many over
all attitudes of panels."""

FACETS, TURNS = 700, (34, 144)
"""Facets drawn for each sun direction, over all sets, and how many of one set: points on panels take turns at them.
Experiment: on a hectare of narrow spreaders 13 sets of 34 leave 0.05 % of what arrives, 13 of 55 as much."""

MATT_RAYS, MATT_POINTS, MATT_POINTS_A_PANEL = 233, 6_000, (34, 610)
WEAK_MATT, WEAK_RAYS, WEAK_POINTS, WEAK_POINTS_A_PANEL = 0.15, 55, 1_500, (5, 233)
"""Hemisphere rays of each point that look for matt light, and points; fewer where sheets send no more than such a share
of their light that way. Experiment: tests/layout/test_light_ledger.py prints the gap with matt sheets."""

MATT_POINTS_AT_ONCE = 1024
"""So that memory stays bounded."""


def arriving_beam(field: Field, c: Conditions) -> FloatArray:
    """Straight beam on the fronts of a layout's reflectors by sun direction, (m, n) [-]. Each sheet has other points,
    so that the errors of equal ones do not add up."""
    sheets = Rectangles.of(field.arrangement.scene.reflectors)
    if not len(sheets):
        return np.zeros((len(c.parts.sun), 0))
    lattice = fibonacci_lattice(int(np.clip(FRONT_POINTS // len(sheets), *FRONT_POINTS_A_SHEET)))
    points = _points(sheets, np.arange(len(sheets)), lattice, START_OFFSET_M)
    free = ~field.engine.kernel.blocked(points, c.parts.sun)
    seen = free.reshape(len(c.parts.sun), len(lattice), len(sheets)).mean(axis=1)
    seen *= np.maximum(0.0, c.parts.sun @ sheets.normal.T)
    return seen


def reached_beam(field: Field, c: Conditions) -> FloatArray:
    """Beams of 1 kWh/m² that all panels get by way of sheets, by sun direction, (m,) [kWh]; 0 where none shines."""
    shares = [s.diffuse_share / max(s.share + s.diffuse_share, 1e-9) for s in field.engine.sheets]
    kept, used = SheetPlaces(year_places(field.rectangles)), np.flatnonzero(c.sun_light() > 0)
    parts = replace(c.parts, sun=c.parts.sun[used], ring_rays=0, sun_only=True)
    smooth, out = all(s.smooth or s.share == 0 for s in field.engine.sheets), np.zeros(len(used))
    faces = list(_faces(field))
    for members, side in faces:
        lattice = fibonacci_lattice(int(np.clip(REACHED_POINTS // len(members), *REACHED_POINTS_A_PANEL)))
        sets = 1 if smooth else min(-(-DRAW_SETS // len(faces)), len(members))
        turns = 1 if smooth else min(int(np.clip(FACETS // (sets * len(faces)), *TURNS)), len(lattice))
        for number in range(sets):
            out += _by_lobes(field, replace(parts, draws=turns), members[number::sets], side, lattice, number)
        if any(shares):
            out += _by_matt(field, parts, members, side, max(shares) <= WEAK_MATT, kept)
    whole = np.zeros(len(c.parts.sun))
    whole[used] = out
    return whole


def _faces(field: Field) -> Iterator[tuple[IntArray, float]]:
    """Panels (numbers) of one attitude and the side of theirs that is looked at: 1 the front, -1 the rear."""
    panels = field.rectangles
    both = np.array([p.bifacial for p in field.arrangement.scene.panels], dtype=bool)
    for side, chosen in ((1.0, np.arange(len(panels))), (-1.0, np.flatnonzero(both))):
        _, kind = np.unique(np.round(panels.normal[chosen], 7), axis=0, return_inverse=True)
        kind = kind.reshape(-1)
        for k in range(kind.max(initial=-1) + 1):
            yield chosen[kind == k], side


def _points(rectangles: Rectangles, numbers: IntArray, pattern: FloatArray, offset_m: float) -> FloatArray:
    """Points (pattern × rectangles, 3) off rectangles with these numbers; the pattern (k, 2) lies elsewhere on each."""
    moved = (pattern[:, None] + additive_sequence(numbers, 2)) % 1.0
    points = rectangles.corner + moved[..., :1] * rectangles.along + moved[..., 1:] * rectangles.up
    return (points + offset_m * rectangles.normal).reshape(-1, 3)


def _by_lobes(
    field: Field, parts: SkyParts, numbers: IntArray, side: float, lattice: FloatArray, number: int
) -> FloatArray:
    """What panels get by way of sheets' lobes, (m,) [kWh]; points take turns at the parts' draws of facets.
    number : which set of facets."""
    panels, turns = field.rectangles[numbers], parts.draws
    kept, out, normal = SheetPlaces(year_places(panels)), np.zeros(len(parts.sun)), side * panels.normal[0]
    for turn in range(turns):
        some = lattice[turn::turns]
        points = _points(panels, numbers, some, side * START_OFFSET_M)
        receiver = Receiver(field.engine, parts, points, normal, (np.ones_like,), kept.net, kept)
        smooth = tuple(o for o in receiver.orders() if all(s.smooth for s in o))
        rough = tuple(o for o in receiver.orders() if not all(s.smooth for s in o))
        area = np.tile(panels.area, len(some)) / len(lattice)
        got = receiver.by_sheets(smooth)[0] + turns * receiver.by_sheets(rough, (turn, turns), number)[0]
        out += got @ area
    return out


def _by_matt(
    field: Field, parts: SkyParts, numbers: IntArray, side: float, weak: bool, kept: SheetPlaces
) -> FloatArray:
    """What panels get by way of sheets' matt light, (m,) [kWh]. weak : whether that is a small part of their light."""
    panels = field.rectangles[numbers]
    wanted, limits = (WEAK_POINTS, WEAK_POINTS_A_PANEL) if weak else (MATT_POINTS, MATT_POINTS_A_PANEL)
    lattice = fibonacci_lattice(int(np.clip(wanted // len(numbers), *limits)))
    points = _points(panels, numbers, lattice, side * START_OFFSET_M)
    area = np.tile(panels.area, len(lattice)) / len(lattice)
    parts, out = replace(parts, dome_rays=WEAK_RAYS if weak else MATT_RAYS), np.zeros(len(parts.sun))
    for which, start in enumerate(range(0, len(points), MATT_POINTS_AT_ONCE)):
        part = slice(start, start + MATT_POINTS_AT_ONCE)
        normal = side * panels.normal[0]
        receiver = Receiver(field.engine, parts, points[part], normal, (np.ones_like,), kept.net, kept)
        out += receiver.hemisphere(which)[0, : len(out)] @ area[part]
    return out
