"""Where around standing panels a reflector may be hinged: gaps between neighbours, free edges, the ground of frames.

Every place is one line on which parts of one kind may be hinged, and the room in front of it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from layout.pieces import Panel
from layout.roof_shapes import ALONG_ROOF_DEG, RoofPanel, RoofPlane
from sites.conventions import FloatArray

WIDEST_GAP_M = 1.0
"""Panels of one plane that stand farther apart than this share no gap; both have free edges there. Our choice."""

RUN_BREAK_M = 0.1
"""Edges in one line that are no farther apart than this carry one run of parts. Our choice."""

FARTHEST_ROW_M = 4.0
"""A row of frames that stands farther behind than this gets nothing worth a sheet before it. Our choice."""

LEVEL_M = 0.01

SIDES = ("lower", "right", "upper", "left")
OPPOSITE = {"lower": "upper", "upper": "lower", "left": "right", "right": "left"}


@dataclass(frozen=True, eq=False)
class Edge:
    """One edge of one panel. start, end, outward, normal : (3,); outward [-] in the panel's plane, away from it."""

    panel: int
    side: str
    start: FloatArray
    end: FloatArray
    outward: FloatArray
    normal: FloatArray

    @property
    def way(self) -> FloatArray:
        """(3,) unit vector along the edge."""
        along = self.end - self.start
        return along / np.linalg.norm(along)


@dataclass(frozen=True, eq=False)
class Hinge:
    """A line (3,), (3,) from which a sheet leads away: ``outward`` in the plane of unit ``normal``."""

    start: FloatArray
    end: FloatArray
    outward: FloatArray
    normal: FloatArray

    @property
    def length_m(self) -> float:
        """Of the line."""
        return float(np.linalg.norm(self.end - self.start))


@dataclass(frozen=True, eq=False)
class Place:
    """One gap or free edge.

    where : "gap", "eave", "ridge", "side", "before frames", "behind frames"
    hinges : one, or the two edges of a gap; gap_m : between these
    """

    name: str
    where: str
    plane: int
    hinges: tuple[Hinge, ...]
    gap_m: float = np.inf


def places_of(panels: Sequence[Panel], table: Sequence[RoofPanel], planes: Sequence[RoofPlane]) -> tuple[Place, ...]:
    """Every place around the panels of a roof, in a fixed order."""
    found: list[Place] = []
    for number, plane in enumerate(planes):
        mine = [i for i, p in enumerate(table) if p.plane == number]
        edges = {i: _edges(i, panels[i]) for i in mine}
        found.extend(_plane_places(number, plane, edges))
    return tuple(found)


def _edges(number: int, panel: Panel) -> dict[str, Edge]:
    c, a, u, n = panel.corner, panel.along, panel.up, panel.normal
    unit_a, unit_u = a / np.linalg.norm(a), u / np.linalg.norm(u)
    ends = {"lower": (c, c + a, -unit_u), "right": (c + a, c + a + u, unit_a), "upper": (c + u, c + a + u, unit_u)}
    ends["left"] = (c, c + u, -unit_a)
    return {side: Edge(number, side, *ends[side], n) for side in SIDES}


def _plane_places(number: int, plane: RoofPlane, edges: dict[int, dict[str, Edge]]) -> Iterator[Place]:
    gaps, free = [], []
    for own in edges.values():
        for side, edge in own.items():
            across = _neighbour(edge, side, edges)
            if across is None:
                free.append(edge)
            elif side in ("right", "upper"):
                gaps.append((edge, across))
    for edge, across in gaps:
        if edge.side == "right":
            yield _gap_place(number, [edge], [across])
    rows = [pair for pair in gaps if pair[0].side == "upper"]
    for run in _runs([pair[0] for pair in rows]):
        yield _gap_place(number, run, [next(b for a, b in rows if a is e) for e in run])
    for side in SIDES:
        for run in _runs([e for e in free if e.side == side]):
            yield from _free_places(number, plane, run, edges)


def _neighbour(edge: Edge, side: str, edges: dict[int, dict[str, Edge]]) -> Edge | None:
    """The facing edge of the nearest panel in the same plane of cells that stands across a gap."""
    best, nearest = None, WIDEST_GAP_M
    middle, way, length = 0.5 * (edge.start + edge.end), edge.way, np.linalg.norm(edge.end - edge.start)
    for other, own in edges.items():
        facing = own[OPPOSITE[side]]
        if other == edge.panel or np.abs(facing.outward + edge.outward).max() > 1e-6:
            continue
        away = 0.5 * (facing.start + facing.end) - middle
        across, aside = float(away @ edge.outward), abs(float(away @ way))
        overlap = 0.5 * (length + np.linalg.norm(facing.end - facing.start)) - aside
        if abs(float(away @ edge.normal)) < LEVEL_M and 0.0 < across < nearest and overlap > 0.5 * length:
            best, nearest = facing, across
    return best


def _runs(edges: Sequence[Edge]) -> Iterator[list[Edge]]:
    """Edges of one side gathered into runs in one line."""
    left = list(edges)
    while left:
        first = left.pop(0)
        run, grown = [first], True
        while grown:
            grown = False
            for edge in list(left):
                if _continues(run, edge):
                    run.append(edge)
                    left = [e for e in left if e is not edge]
                    grown = True
        way = first.way
        yield sorted(run, key=lambda e: float(e.start @ way))


def _continues(run: Sequence[Edge], edge: Edge) -> bool:
    first = run[0]
    if np.abs(first.outward - edge.outward).max() > 1e-6:
        return False
    away = edge.start - first.start
    off = away - (away @ first.way) * first.way
    if np.linalg.norm(off) > LEVEL_M:
        return False
    spans = [sorted((float(e.start @ first.way), float(e.end @ first.way))) for e in run]
    low, high = sorted((float(edge.start @ first.way), float(edge.end @ first.way)))
    return any(low <= b + RUN_BREAK_M and high >= a - RUN_BREAK_M for a, b in spans)


def _hinge(run: Sequence[Edge]) -> Hinge:
    return Hinge(run[0].start, run[-1].end, run[0].outward, run[0].normal)


def _names(run: Sequence[Edge]) -> str:
    numbers = sorted({e.panel for e in run})
    if len(numbers) == 1:
        return f"panel {numbers[0]}"
    whole = numbers == list(range(numbers[0], numbers[-1] + 1)) and len(numbers) > 2
    return f"panels {numbers[0]}–{numbers[-1]}" if whole else "panels " + ", ".join(map(str, numbers))


def _gap_place(number: int, run: Sequence[Edge], across: Sequence[Edge]) -> Place:
    first, second = _hinge(run), _hinge(across)
    gap = float((second.start - first.start) @ first.outward)
    name = f"gap between {_names(run)} and {_names(across)}"
    return Place(name, "gap", number, (first, second), gap)


def _free_places(
    number: int, plane: RoofPlane, run: Sequence[Edge], edges: dict[int, dict[str, Edge]]
) -> Iterator[Place]:
    """At a free edge; for frames also on the roof behind them."""
    hinge, side, who = _hinge(run), run[0].side, _names(run)
    slant = np.degrees(np.arccos(np.clip(float(hinge.normal @ plane.normal), -1.0, 1.0)))
    if slant < ALONG_ROOF_DEG:
        where = {"lower": "eave", "upper": "ridge"}.get(side, "side")
        words = {"lower": "below", "upper": "above", "left": "left of", "right": "right of"}[side]
        yield Place(f"{words} {who}", where, number, (hinge,))
    elif side == "lower":
        yield Place(f"in front of {who}", "before frames", number, (_on_roof(hinge, plane, lift=None),))
    elif side == "upper" and _row_behind(hinge, plane, edges):
        foot = _on_roof(hinge, plane, lift=LEVEL_M)
        yield Place(f"behind {who}", "behind frames", number, (foot,))
    elif side in ("left", "right"):
        yield Place(f"{'left of' if side == 'left' else 'right of'} {who}", "side", number, (hinge,))


def _on_roof(hinge: Hinge, plane: RoofPlane, lift: float | None) -> Hinge:
    """The same line with the roof's own directions; brought down to ``lift`` above the roof unless None."""
    flat = hinge.outward - (hinge.outward @ plane.normal) * plane.normal
    flat = flat / np.linalg.norm(flat)
    moved = replace(hinge, outward=flat, normal=plane.normal)
    if lift is None:
        return moved
    down = [(lift - (p - plane.origin) @ plane.normal) * plane.normal for p in (hinge.start, hinge.end)]
    return replace(moved, start=hinge.start + down[0], end=hinge.end + down[1])


def _row_behind(hinge: Hinge, plane: RoofPlane, edges: dict[int, dict[str, Edge]]) -> bool:
    """Whether panels stand behind that face the same way, near enough to see a sheet there."""
    flat = _on_roof(hinge, plane, None).outward
    middle = 0.5 * (hinge.start + hinge.end)
    for own in edges.values():
        lower = own["lower"]
        away = 0.5 * (lower.start + lower.end) - middle
        if np.abs(lower.normal - hinge.normal).max() < 1e-6 and 0.0 < float(away @ flat) < FARTHEST_ROW_M:
            return True
    return False
