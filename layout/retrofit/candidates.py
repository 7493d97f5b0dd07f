"""Candidates: every sheet that might be put at a place, and why those that are not tried do not fit."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from layout.geometry.crossings import crossing_pairs
from layout.geometry.hinged import corners, hinged
from layout.geometry.rectangles import Rectangles
from layout.pieces import Reflector, Scene
from layout.plan_sheets import SheetTypes
from layout.retrofit.places import Hinge, Place
from layout.retrofit_table import RetrofitTable
from layout.roof_shapes import RoofPlane
from sites.conventions import FloatArray, IntArray

FLAT_DEG = 3.0
"""A sheet tilted less than this against the panels beside it sends them nothing."""

TOUCH_ROOF_M = 1e-3


@dataclass(frozen=True)
class Kind:
    """What a builder has to make: profile and holder. Lengths differ only by the saw."""

    reflector: str
    width_m: float
    tilt_deg: float

    @property
    def words(self) -> str:
        """In one line."""
        return f"{self.reflector}, {self.width_m * 1000:.0f} mm wide, {self.tilt_deg:g}°"


@dataclass(frozen=True, eq=False)
class Candidate:
    """A sheet, or two back to back, at one place.

    place : its number; sheets : one rectangle a side; facing : which edges of a gap it looks to
    parts : pieces of ``part_m`` length that it is made of
    """

    place: int
    kind: Kind
    sheets: Rectangles
    facing: str
    plane: int
    parts: int
    part_m: float

    @property
    def area_m2(self) -> float:
        """Of its mirror sides."""
        return float(self.sheets.area.sum())

    def reflectors(self, types: SheetTypes) -> list[Reflector]:
        """As pieces of a scene."""
        kind = types.reflector(self.kind.reflector)
        s = self.sheets
        return [kind.piece(*edges) for edges in zip(s.corner, s.along, s.up, strict=True)]


@dataclass(frozen=True)
class Rejected:
    """A sheet that was not tried. place : its name"""

    place: str
    kind: Kind
    facing: str
    reason: str


@dataclass(frozen=True, eq=False)
class Found:
    """places, candidates and rejected; conflicts : (k, 2) int, candidates of different places that would cross."""

    places: tuple[Place, ...]
    candidates: tuple[Candidate, ...]
    rejected: tuple[Rejected, ...]
    conflicts: IntArray


def find_candidates(
    places: Sequence[Place], planes: Sequence[RoofPlane], scene: Scene, table: RetrofitTable, reflectors: Sequence[str]
) -> Found:
    """Every sheet at every place.

    scene : the roof as it stands; reflectors : names of the types to try
    """
    good: list[Candidate] = []
    bad: list[Rejected] = []
    standing = Rectangles.of(scene.pieces)
    n_panels = len(scene.panels)
    for number, place in enumerate(places):
        plane = planes[place.plane]
        for name in reflectors:
            for kind, facing, sheets, reason in _tries(place, table, name):
                why = reason or _no_room(sheets, plane, standing, n_panels)
                if why or sheets is None:
                    bad.append(Rejected(place.name, kind, facing, why or ""))
                    continue
                length = float(np.linalg.norm(sheets.along[0]))
                each = max(1, int(np.ceil(length / table.longest_m - 1e-9)))
                good.append(Candidate(number, kind, sheets, facing, place.plane, each * len(sheets), length / each))
    return Found(tuple(places), tuple(good), tuple(bad), _conflicts(good))


def _tries(place: Place, table: RetrofitTable, name: str) -> Iterator[tuple[Kind, str, Rectangles | None, str | None]]:
    """Kind, what it looks to, the sheets, or a reason why there are none."""
    gap = place.where == "gap"
    widths, tilts = (
        (table.strip_widths_m, table.strip_tilts_deg) if gap else (table.sheet_widths_m, table.sheet_tilts_deg)
    )
    for width in widths:
        for tilt in tilts:
            kind = Kind(name, width, tilt)
            depth = width * float(np.cos(np.radians(tilt)))
            if tilt < FLAT_DEG and not place.where.endswith("frames"):
                yield kind, _looks_to(place), None, "lies in the panels' plane: nothing from it reaches them"
            elif gap:
                yield from _in_gap(place, kind, depth, table.clearance_m)
            else:
                yield kind, _looks_to(place), _sheet(place, kind, depth, table.clearance_m), None


def _looks_to(place: Place) -> str:
    return "the row behind" if place.where == "behind frames" else "the panels beside it"


def _in_gap(
    place: Place, kind: Kind, depth: float, clearance: float
) -> Iterator[tuple[Kind, str, Rectangles | None, str | None]]:
    first, second = place.hinges
    options = (("first side", (first,)), ("second side", (second,)), ("both sides", (first, second)))
    for facing, hinges in options:
        need = len(hinges) * depth + 2.0 * clearance
        if need > place.gap_m + 1e-9:
            reason = f"needs {need * 1000:.0f} mm, the gap has {place.gap_m * 1000:.0f} mm"
            yield kind, facing, None, reason
            continue
        sheets = [_hinged(h, kind, clearance) for h in hinges]
        yield kind, facing, sheets[0] if len(sheets) == 1 else sheets[0].joined(sheets[1]), None


def _sheet(place: Place, kind: Kind, depth: float, clearance: float) -> Rectangles:
    hinge = place.hinges[0]
    if place.where != "behind frames":
        return _hinged(hinge, kind, clearance)
    # On the roof behind a frame: hinged away from it and rising toward its upper edge, it looks to the next row.
    foot = hinge.outward * (depth + clearance)
    return _hinged(Hinge(hinge.start + foot, hinge.end + foot, -hinge.outward, hinge.normal), kind, 0.0)


def _hinged(hinge: Hinge, kind: Kind, clearance: float) -> Rectangles:
    off = clearance * hinge.outward
    return hinged(
        (hinge.start + off)[None],
        (hinge.end + off)[None],
        hinge.outward[None],
        hinge.normal[None],
        kind.width_m,
        kind.tilt_deg,
    )


def _no_room(sheets: Rectangles | None, plane: RoofPlane, standing: Rectangles, n_panels: int) -> str | None:
    """Why sheets cannot stand there; None where they can."""
    assert sheets is not None
    why = not_clear(sheets, plane)
    if why is not None:
        return why
    low = float(((corners(sheets) - plane.origin) @ plane.normal).min())
    if low < TOUCH_ROOF_M:
        return "would run into the roof"
    met = crossing_pairs(sheets, standing)[1]
    if len(met):
        return "would run into a panel" if (met < n_panels).any() else "would run into the roof or what stands on it"
    return None


def not_clear(sheets: Rectangles, plane: RoofPlane, slack_m: float = 1e-6) -> str | None:
    """What sheets lie over that has to stay clear of parts, seen at right angles to the roof: access, obstacles, the
    strip along the edge; None where nothing. slack_m : so far they may reach over a border."""
    for one in corners(sheets):
        hull = shapely.MultiPoint(plane.flat(one)).convex_hull
        if not plane.room.buffer(slack_m).covers(hull):
            return _beyond(hull, plane, slack_m)
    return None


def _beyond(hull: shapely.Geometry, plane: RoofPlane, slack_m: float) -> str:
    for path in plane.table.path:
        if Polygon(path.outline).buffer(-slack_m).intersects(hull):
            return f"lies in '{path.name}'"
    for obstacle in plane.table.obstacle:
        if Polygon(obstacle.outline).buffer(-slack_m).intersects(hull):
            return f"meets '{obstacle.name}'"
    if not plane.outline.buffer(slack_m).covers(hull):
        return "reaches beyond the roof's outline"
    return f"reaches into the {plane.table.edge_clearance_m:g} m along the roof's edge"


def _conflicts(candidates: Sequence[Candidate]) -> IntArray:
    """Pairs of different places that would cross, (k, 2) int."""
    owner = np.repeat(np.arange(len(candidates)), [len(c.sheets) for c in candidates])
    if not len(owner):
        return np.zeros((0, 2), dtype=np.int64)
    parts = [(getattr(c.sheets, name)) for name in ("corner", "along", "up") for c in candidates]
    n = len(candidates)
    joined: list[FloatArray] = [np.concatenate(parts[i * n : (i + 1) * n]) for i in range(3)]
    sheets = Rectangles(*joined)
    first, second = crossing_pairs(sheets, sheets)
    place = np.array([c.place for c in candidates])
    a, b = owner[first], owner[second]
    apart = (a < b) & (place[a] != place[b])
    return np.unique(np.stack([a[apart], b[apart]], axis=1), axis=0)
