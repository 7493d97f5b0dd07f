"""Boosters on the plot: the sheets around every unit, cut to the usable ground, and covers over the panels.

A sheet that reaches beyond the usable ground is shortened from its far edge, or left out where too little of it would
be left or where its near edge already stands outside. A sheet that would run into the ground, a panel, an obstacle or
a sheet placed before it is left out. What is left out is told.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from layout.arrange.arrangement import Arrangement, Cover
from layout.arrange.pattern import Places
from layout.booster_shapes import SheetSet
from layout.booster_tables import Booster
from layout.geometry.crossings import crossing_pairs
from layout.geometry.hinged import corners
from layout.geometry.rectangles import Rectangles
from layout.pieces import Ground
from layout.plan import Layout, PiecesLayout, Plan, RoofLayout
from layout.reflector_types import ReflectorType
from sites.conventions import LENGTH_TOLERANCE_M, BoolArray, FloatArray, IntArray
from sites.errors import Fault, InputError

LEAST_SHARE = 0.25
"""A sheet cut to less than this share of its width is left out. Our choice: the rest is not worth its frame."""

PLACE_WORDS = {
    "aisle": "in the aisles",
    "wings": "as wings",
    "strips": "in the gaps",
    "between": "between the towers",
    "posts": "as posts",
}


@dataclass(frozen=True, eq=False)
class Stood:
    """The sheets of one booster that stand. shortened, outside, crossing : how many were cut or left out, and why."""

    sheets: Rectangles
    shortened: int
    outside: int
    crossing: int


def add_boosters(
    plan: Plan, layout: Layout, bare: Arrangement, sets: Sequence[SheetSet], places: Places, on_plot: bool
) -> Arrangement:
    """A layout of units with its boosters' sheets.

    sets : the sheets around one unit, one set for each booster of the layout
    on_plot : cut to the usable ground; else the pattern goes on without end, and no unit is the last of its row

    Raises InputError for a booster of which no sheet has room.
    """
    assert not isinstance(layout, PiecesLayout | RoofLayout)
    ground = bare.scene.ground
    assert ground is not None
    usable = plan.site.plot.usable if on_plot and plan.site.plot is not None else None
    taken = Rectangles.of(bare.scene.pieces)
    reflectors, fit = [], list(bare.fit)
    for number, (booster, one) in enumerate(zip(layout.booster, sets, strict=True)):
        stood = _stand(*_at_places(one, places, ground, on_plot), usable, taken, ground)
        kind = plan.sheets.reflector(booster.reflector)
        line = _fit(number, booster, kind, stood)
        if on_plot and len(places.origins) and not len(stood.sheets):
            key = f"layout[{[other.name for other in plan.layouts].index(layout.name)}].booster[{number}]"
            accepted = "a booster of which some sheet fits on the plot"
            raise InputError([Fault(plan.file, key, f"no room for a single sheet; {line}", accepted)])
        taken = taken.joined(stood.sheets)
        reflectors += [
            kind.piece(c, a, u)
            for c, a, u in zip(stood.sheets.corner, stood.sheets.along, stood.sheets.up, strict=True)
        ]
        fit.append(line)
    return replace(bare, scene=replace(bare.scene, reflectors=reflectors), fit=tuple(fit))


def _at_places(one: SheetSet, places: Places, ground: Ground, on_plot: bool) -> tuple[Rectangles, IntArray]:
    """The sheets around all units, unit by unit, and the number of each among its unit's; -1 where it stands at the
    ends of rows only."""
    origins = np.column_stack([places.origins, ground.z(places.origins[:, 0], places.origins[:, 1])])
    stands = ~_occupied(one.beside, places.index, on_plot)
    corner = (origins[:, None] + one.sheets.corner)[stands]
    along, up = (np.broadcast_to(edge, (*stands.shape, 3))[stands] for edge in (one.sheets.along, one.sheets.up))
    number = np.where(one.beside.any(axis=1), -1, np.arange(len(one.sheets)))
    return Rectangles(corner, along, up), np.broadcast_to(number, stands.shape)[stands]


def _occupied(beside: IntArray, index: IntArray, on_plot: bool) -> BoolArray:
    """Whether a unit stands at each sheet's step (s, 2) from each unit (k, 2); (k, s). False for steps of 0."""
    steps = beside.any(axis=1)
    if not on_plot:
        return np.broadcast_to(steps, (len(index), len(beside)))
    low = index.min(axis=0, initial=0) - 1
    grid = np.zeros(tuple(index.max(axis=0, initial=0) - low + 2), dtype=bool)
    grid[tuple((index - low).T)] = True
    at = index[:, None] + beside - low
    return np.asarray(grid[at[..., 0], at[..., 1]] & steps)


def _stand(
    sheets: Rectangles, number: IntArray, usable: BaseGeometry | None, taken: Rectangles, ground: Ground
) -> Stood:
    share = np.ones(len(sheets)) if usable is None else room_share(sheets, usable)
    inside = share >= LEAST_SHARE
    cut = Rectangles(sheets.corner, sheets.along, sheets.up * share[:, None])[np.flatnonzero(inside)]
    clear = _depth(cut, ground) <= LENGTH_TOLERANCE_M
    clear[crossing_pairs(cut, taken)[0]] = False
    clear &= _clear_of_one_another(cut, number[inside])
    return Stood(
        cut[np.flatnonzero(clear)],
        shortened=int((share[inside][clear] < 1.0).sum()),
        outside=int((~inside).sum()),
        crossing=int((~clear).sum()),
    )


def _clear_of_one_another(sheets: Rectangles, number: IntArray) -> BoolArray:
    """Which sheets stay where some of one booster cross, (n,) bool.

    What repeats with the pattern crosses in every unit alike: of two such sheets the later is left out in all units, of
    a sheet and its own neighbours all. Sheets at the ends of rows are left out one by one.
    """
    first, second = crossing_pairs(sheets, sheets)
    pairs = first < second
    first, second = first[pairs], second[pairs]
    everywhere = (number[first] >= 0) & (number[second] >= 0)
    clear = ~np.isin(number, np.maximum(number[first], number[second])[everywhere])
    clear[second[~everywhere]] = False
    return np.asarray(clear)


def _depth(sheets: Rectangles, ground: Ground) -> FloatArray:
    """How far each sheet reaches into the ground, (n,) m; negative above it."""
    points = corners(sheets)
    return np.asarray((ground.z(points[..., 0], points[..., 1]) - points[..., 2]).max(axis=1))


def room_share(sheets: Rectangles, usable: BaseGeometry) -> FloatArray:
    """The largest share of each sheet's ``up`` edge, from its near edge, that lies over the usable area, (n,) 0 to 1.

    A sheet that is upright along its near edge stands wholly inside or not at all.
    """
    grown = usable.buffer(LENGTH_TOLERANCE_M, join_style="mitre")
    shapely.prepare(grown)
    points = corners(sheets)[..., :2]
    hulls = np.asarray(shapely.convex_hull(shapely.multipoints(points)))
    share = np.asarray(shapely.covers(grown, hulls), dtype=np.float64)
    a, u = sheets.along[:, :2], sheets.up[:, :2]
    turn = a[:, 0] * u[:, 1] - a[:, 1] * u[:, 0]
    flat = np.abs(turn) > LENGTH_TOLERANCE_M * np.linalg.norm(sheets.along, axis=1)
    cut = np.flatnonzero((share == 0) & flat)
    outside, which = shapely.get_coordinates(shapely.difference(hulls[cut], grown), return_index=True)
    of = cut[which]
    away = outside - sheets.corner[of, :2]
    part = (a[of, 0] * away[:, 1] - a[of, 1] * away[:, 0]) / turn[of]
    share[cut] = 1.0
    np.minimum.at(share, of, part)
    return np.clip(share, 0.0, 1.0)


def _fit(number: int, booster: Booster, kind: ReflectorType, stood: Stood) -> str:
    count, area = len(stood.sheets), float(stood.sheets.area.sum())
    parts = [f"{count} {'sheet' if count == 1 else 'sheets'} of {kind.name} {PLACE_WORDS[booster.place]}"]
    if count:
        parts[0] += f", {area:.1f} m²"
    if stood.shortened:
        parts.append(f"{stood.shortened} of them shortened at the edge of the usable ground")
    if stood.outside:
        parts.append(f"{stood.outside} left out beyond the edge of the usable ground")
    if stood.crossing:
        parts.append(f"{stood.crossing} left out where they would run into panels, the ground or other sheets")
    return f"booster {number + 1}: {'; '.join(parts)}"


def add_cover(plan: Plan, layout: Layout, bare: Arrangement) -> Arrangement:
    """A layout with its cover over every panel's front, if it has one.

    Raises InputError where a cover would run into another piece or into the ground.
    """
    if layout.cover is None:
        return bare
    kind, gap = plan.sheets.diffuser(layout.cover.diffuser), layout.cover.gap_m
    panels = Rectangles.of(bare.scene.panels)
    covers = Rectangles(panels.corner + gap * panels.normal, panels.along, panels.up)
    crossing = np.unique(crossing_pairs(covers, Rectangles.of(bare.scene.pieces))[0])
    own, other = crossing_pairs(covers, covers)
    bad = len(np.union1d(crossing, own[own != other]))
    what = "covers that run into other pieces"
    ground = bare.scene.ground
    if not bad and ground is not None:
        bad = int((_depth(covers, ground) > LENGTH_TOLERANCE_M).sum())
        what = "covers that reach into the ground"
    if bad:
        key = f"layout[{[o.name for o in plan.layouts].index(layout.name)}].cover.gap_m"
        raise InputError([Fault(plan.file, key, f"{gap:g}, with {bad} {what}", "a gap at which no cover does")])
    sheets = [kind.piece(c, a, u) for c, a, u in zip(covers.corner, covers.along, covers.up, strict=True)]
    scene = replace(bare.scene, diffusers=(*bare.scene.diffusers, *sheets))
    line = f"a cover of {kind.name} over each panel, {gap:g} m in front of it"
    return replace(bare, scene=scene, cover=Cover(kind, gap), fit=(*bare.fit, line))
