"""A pattern of equal units on a plot: where its places fit, and why the others do not.

The unit's footprint F on the map is convex. The points at which a footprint may begin so that it lies wholly
in the usable area U are U eroded by F: the start lies in U and no edge of U meets the footprint, so

    allowed = U − ⋃ over edges e of U (e ⊕ −F),   each e ⊕ −F the hull of e's ends minus F's corners.

One such region serves every shift of the pattern, so many shifts can be tried.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from sites.conventions import LENGTH_TOLERANCE_M, BoolArray, FloatArray, IntArray
from sites.plot import GRID_DECIMALS, GRID_M, Plot

SHIFTS = 16
"""Shifts tried along each step. Experiment: test_more_shifts_hardly_gain in tests/layout. Against 32, on
eight plots, 16 lose 0.3 % of the units on average, 8 lose 0.6 %, no shift at all loses 5 %."""

POINTS_AT_ONCE = 1 << 18
"""Bounds the memory of trying shifts."""

REASONS = ("boundary", "setback", "keep-out", "obstacle")

REASON_WORDS = {
    "boundary": "across the boundary",
    "setback": "in the setback",
    "keep-out": "on a keep-out",
    "obstacle": "on an obstacle",
}


@dataclass(frozen=True, eq=False)
class Pattern:
    """Equal units on a regular net on the map.

    footprint : (c, 2) float [m] corners of a unit from its own origin, in order; convex, may have no area
    first, second : (2,) float [m] steps from unit to unit
    roomy : (c, 2) float [m] the footprint with the sheets around the unit, convex; None where it has none
    """

    footprint: FloatArray
    first: FloatArray
    second: FloatArray
    roomy: FloatArray | None = None

    @property
    def unit_area_m2(self) -> float:
        """Ground on the map that belongs to one unit, m²."""
        return float(abs(self.first[0] * self.second[1] - self.first[1] * self.second[0]))

    def origins(self, index: IntArray, start: FloatArray | None = None) -> FloatArray:
        """Origins (k, 2) [m] of the units of index (k, 2), first and second."""
        steps = np.stack([self.first, self.second])
        return index @ steps + (np.zeros(2) if start is None else start)


@dataclass(frozen=True, eq=False)
class Places:
    """Units that fit.

    origins (k, 2) [m];  index (k, 2) along the first and second step; ordered by the second, then the first
    left_out : how many others touch the plot, by reason
    """

    origins: FloatArray
    index: IntArray
    left_out: dict[str, int]


def best_places(pattern: Pattern, plot: Plot, shifts_each: int = SHIFTS) -> Places:
    """The shift of the pattern with the most units on the plot; of equal ones the first with most room for the units'
    sheets.

    shifts_each : how many shifts are tried along each step
    """
    usable = plot.usable.buffer(LENGTH_TOLERANCE_M, join_style="mitre")
    allowed = start_region(usable, pattern.footprint)
    index, shifts = _candidates(pattern, plot.boundary, plot.usable, shifts_each)
    net = pattern.origins(index)
    regions = [allowed] if pattern.roomy is None else [allowed, start_region(usable, pattern.roomy)]
    shapely.prepare(regions)
    counts = [_counts(region, net, np.stack(shifts)) for region in regions]
    # The first of the best: by the count of units, then by that of units with room for their sheets.
    origins = net + shifts[int(np.lexsort((np.arange(len(shifts)), *(-c for c in counts[::-1])))[0])]
    shapes = footprints(origins, pattern.footprint)
    reason = _reasons(shapes, plot)
    fits = reason == len(REASONS)
    order = np.lexsort((index[fits, 0], index[fits, 1]))
    left_out = {r: int((reason == i).sum()) for i, r in enumerate(REASONS)}
    return Places(origins[fits][order], index[fits][order], left_out)


def most_units(pattern: Pattern, plot: Plot, allowed: BaseGeometry, shifts_each: int = SHIFTS) -> int:
    """How many units `best_places` finds, without their places. allowed : the pattern's `start_region` on the plot"""
    index, shifts = _candidates(pattern, plot.boundary, plot.usable, shifts_each)
    shapely.prepare(allowed)
    return int(_counts(allowed, pattern.origins(index), np.stack(shifts)).max())


def _counts(region: BaseGeometry, net: FloatArray, shifts: FloatArray) -> IntArray:
    """How many points of a net (k, 2) lie in a region at each shift (s, 2), (s,); many shifts at once."""
    at_once = max(1, POINTS_AT_ONCE // max(1, len(net)))
    parts = [shifts[i : i + at_once, None] + net for i in range(0, len(shifts), at_once)]
    inside = [shapely.contains_xy(region, p[..., 0], p[..., 1]).sum(axis=1) for p in parts]
    return np.concatenate(inside)


def row_places(pattern: Pattern, plot: Plot, positions_m: Sequence[float], most: Sequence[int] = ()) -> Places:
    """As many units as fit in rows at given places; each row begins as far to its beginning as it can, and again
    behind whatever parts it.

    positions_m : [m] of the units' origins along ``second``'s direction from (0, 0), rising
    most : units of each row at most; empty: as many as fit
    index (k, 2): units side by side in a row follow each other, parts of a row do not; the row's number
    """
    axis = pattern.first / np.linalg.norm(pattern.first)
    back = np.array([axis[1], -axis[0]])
    back *= np.sign(back @ pattern.second)
    usable = plot.usable.buffer(LENGTH_TOLERANCE_M, join_style="mitre")
    stretches = row_stretches(start_region(usable, pattern.footprint), axis, back, np.asarray(positions_m))
    step = float(np.linalg.norm(pattern.first))
    origins, index = [], []
    for row, (position, parts) in enumerate(zip(positions_m, stretches, strict=True)):
        begin, number = (v[: most[row]] if most else v for v in pack(parts, step))
        origins.append(position * back + begin[:, None] * axis)
        index.append(np.column_stack([number, np.full(len(number), row)]))
    return Places(
        np.concatenate([np.zeros((0, 2)), *origins]),
        np.concatenate([np.zeros((0, 2), dtype=np.int64), *index]),
        dict.fromkeys(REASONS, 0),
    )


def row_stretches(
    allowed: BaseGeometry, axis: FloatArray, back: FloatArray, positions_m: FloatArray
) -> list[FloatArray]:
    """Where units of a row may begin: for each row, (p, 2) [m] from and to along ``axis``, in order, apart."""
    reach = float(np.abs(shapely.get_coordinates(allowed)).sum(axis=1).max(initial=0.0)) + 1.0
    ends = positions_m[:, None, None] * back + np.array([-reach, reach])[:, None] * axis
    cuts = shapely.intersection(shapely.linestrings(ends), allowed) if len(positions_m) else []
    found = []
    for cut in cuts:
        lines = [g for g in getattr(cut, "geoms", [cut]) if g.geom_type == "LineString" and not g.is_empty]
        spans = np.array([np.sort(shapely.get_coordinates(line)[[0, -1]] @ axis) for line in lines]).reshape(-1, 2)
        found.append(spans[np.argsort(spans[:, 0])])
    return found


def pack(stretches: FloatArray, step: float) -> tuple[FloatArray, IntArray]:
    """As many units as fit: where each begins [m] and its number, which leaps where the row is parted.

    stretches : (p, 2) [m] where units may begin, in order; step : [m] from unit to unit

    >>> pack(np.array([[0.0, 2.1], [2.5, 4.0]]), 1.0)[0].tolist()
    [0.0, 1.0, 2.0, 3.0, 4.0]
    """
    begin: list[FloatArray] = []
    number: list[IntArray] = []
    nearest, following = -np.inf, 0
    for low, high in stretches:
        start = max(float(low), nearest)
        count = int(np.floor((high - start) / step + LENGTH_TOLERANCE_M)) + 1 if high >= start else 0
        if count:
            # A stretch that begins just where the last unit ends goes on with the row.
            following += 0 if np.isneginf(nearest) or start <= nearest + LENGTH_TOLERANCE_M else 1
            begin.append(start + step * np.arange(count, dtype=np.float64))
            number.append(following + np.arange(count))
            nearest, following = start + step * count, following + count
    empty = np.zeros(0)
    return np.concatenate([empty, *begin]), np.concatenate([empty.astype(np.int64), *number])


def site_places(pattern: Pattern, plot: Plot, sites: FloatArray) -> Places:
    """Units at given origins (k, 2) [m], without those that do not fit; no two count as neighbours."""
    shapes = footprints(sites, pattern.footprint)
    reason = _reasons(shapes, plot)
    fits = reason == len(REASONS)
    counts = {r: int(((reason == i) | ((i == 0) & (reason == -1))).sum()) for i, r in enumerate(REASONS)}
    index = np.column_stack([2 * np.arange(len(sites)), np.zeros(len(sites), dtype=np.int64)])
    return Places(sites[fits], index[fits], counts)


def start_region(usable: BaseGeometry, footprint: FloatArray) -> BaseGeometry:
    """Points at which a footprint (c, 2) may begin so that it lies within ``usable``."""
    if usable.is_empty:
        return usable
    edges = [_edges(np.asarray(ring.coords)) for ring in _rings(usable)]
    ends = np.concatenate(edges)  # (e, 2, 2)
    sweep = np.round((ends[:, :, None] - footprint).reshape(len(ends), -1, 2), GRID_DECIMALS)
    points = [shapely.multipoints(corners) for corners in sweep]
    hulls = np.asarray(shapely.convex_hull(points))
    start = shapely.affinity.translate(usable, *(-footprint[0]))
    solid = hulls[shapely.area(hulls) > LENGTH_TOLERANCE_M**2]  # a footprint slides along an edge freely
    return start.difference(shapely.union_all(solid, grid_size=GRID_M), grid_size=GRID_M)


def footprints(origins: FloatArray, footprint: FloatArray) -> np.ndarray:
    """Footprints at origins (k, 2) as shapely polygons, or as lines where the footprint has no area."""
    corners = origins[:, None] + footprint
    spread = footprint - footprint.mean(axis=0)
    size = np.linalg.svd(spread, compute_uv=False)
    if size[-1] > LENGTH_TOLERANCE_M:
        return np.asarray(shapely.polygons(corners))
    longest = np.linalg.svd(spread)[2][0]
    reach = spread @ longest
    return np.asarray(shapely.linestrings(corners[:, [int(reach.argmin()), int(reach.argmax())]]))


def left_out_words(left_out: dict[str, int], what: str, each: int = 1) -> tuple[str, ...]:
    """Why places were left out, one line, or nothing where none was."""
    total = sum(left_out.values()) * each
    if total == 0:
        return ()
    is_one = total == 1
    parts = [f"{count * each} {REASON_WORDS[reason]}" for reason, count in left_out.items() if count]
    verbs = "touches the plot but does not fit" if is_one else "touch the plot but do not fit"
    return (f"{total} more {what}{'' if is_one else 's'} of the same pattern {verbs}: {', '.join(parts)}",)


def _candidates(
    pattern: Pattern, boundary: BaseGeometry, usable: BaseGeometry, n: int
) -> tuple[IntArray, list[FloatArray]]:
    """Index (k, 2) of all units that may touch the boundary at some shift, and n × n shifts (2,) to try.

    With the shift of 0 shares the footprint's corner lies flush with the usable area's.
    """
    inverse = np.linalg.inv(np.stack([pattern.first, pattern.second]))
    foot = pattern.footprint @ inverse
    room = shapely.get_coordinates(usable if not usable.is_empty else boundary) @ inverse
    whole = shapely.get_coordinates(boundary) @ inverse
    flush = room.min(axis=0) - foot.min(axis=0)
    low = np.floor(whole.min(axis=0) - foot.max(axis=0) - flush).astype(np.int64) - 1
    high = np.ceil(whole.max(axis=0) - foot.min(axis=0) - flush).astype(np.int64)
    first, second = np.meshgrid(np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1), indexing="ij")
    index = np.stack([first.ravel(), second.ravel()], axis=1)
    start = flush @ np.stack([pattern.first, pattern.second])
    shifts = [start + a / n * pattern.first + b / n * pattern.second for b in range(n) for a in range(n)]
    return index, shifts


def _reasons(shapes: np.ndarray, plot: Plot) -> IntArray:
    """The first of REASONS that keeps a footprint out, by number; 4 where it fits, -1 off the plot."""
    inside = _covered(plot.boundary, shapes)
    reason = np.where(inside | _meet([plot.boundary], shapes), 0, -1)
    reason[inside] = 1
    near = np.flatnonzero(inside)
    near = near[_covered(plot.inset, shapes[near])]
    kept_out = _meet(plot.keep_outs, shapes[near])
    hit = _meet([o.outline for o in plot.obstacles], shapes[near])
    reason[near] = np.where(kept_out, 2, np.where(hit, 3, len(REASONS)))
    return reason


def _meet(areas: Sequence[BaseGeometry], shapes: np.ndarray) -> BoolArray:
    """Whether shapes (k,) reach more than the length tolerance into any of the areas."""
    meets = np.zeros(len(shapes), dtype=bool)
    for area in areas:
        inner = area.buffer(-LENGTH_TOLERANCE_M, join_style="mitre")
        shapely.prepare(inner)
        meets |= shapely.intersects(inner, shapes)
    return meets


def _covered(area: BaseGeometry, shapes: np.ndarray) -> BoolArray:
    """Whether shapes (k,) lie in an area, to the length tolerance."""
    grown = area.buffer(LENGTH_TOLERANCE_M, join_style="mitre")
    shapely.prepare(grown)
    return np.asarray(shapely.covers(grown, shapes))


def _rings(area: BaseGeometry) -> list[BaseGeometry]:
    parts = [p for p in getattr(area, "geoms", [area]) if p.geom_type == "Polygon"]
    return [ring for p in parts for ring in (p.exterior, *p.interiors)]


def _edges(ring: FloatArray) -> FloatArray:
    """Edges of a closed ring (n, 2) by their ends, (n - 1, 2, 2)."""
    return np.stack([ring[:-1], ring[1:]], axis=1)
