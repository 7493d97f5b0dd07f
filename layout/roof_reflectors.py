"""Reflectors on roof planes: from what a plan or a parts list tells of a sheet to its place in space, and back.

      far edge
    ___________           A sheet is told by the two ends of its near edge, its width and its turn about that edge.
   |           |          Seen from outside it leads to the left of the way from ``near_from`` to ``near_to``; its
   o---------->o          mirror side, along × up, looks outward and back over the near edge.
near_from   near_to
"""

from collections.abc import Sequence

import numpy as np

from layout.geometry.crossings import crossing_pairs
from layout.geometry.hinged import corners
from layout.geometry.rectangles import Rectangles
from layout.roof_shapes import RoofPlane
from layout.roof_tables import RoofReflectorTable
from sites.conventions import FloatArray
from sites.errors import Fault

SHORTEST_M = 0.005
"""Shortest near edge: below it the edge has no direction worth the name."""

BELOW_M = 2e-3
"""A sheet may dip so far below the roof's face: what lengths in whole millimetres are off by."""

DIGITS = 3
"""Decimals of lengths told in metres: a builder's millimetre."""


def sheet_edges(plane: RoofPlane, table: RoofReflectorTable) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Corner, along and up (3,) [m] of a sheet; along leads from near_from to near_to."""
    start, end = (plane.points(np.array(p[:2]), p[2]) for p in (table.near_from, table.near_to))
    along = end - start
    flat, raised = _turned_from(plane, along)
    angle = np.radians(table.tilt_deg)
    return start, along, table.width_m * (np.cos(angle) * flat + np.sin(angle) * raised)


def _turned_from(plane: RoofPlane, along: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Unit vectors (3,) at right angles to a near edge: in the roof to the left of it, and where a turn lifts that.

    An edge that stands upright on the roof has no left; there turns count from the plane's right.
    """
    way = along / np.linalg.norm(along)
    left = np.cross(plane.normal, way)
    size = float(np.linalg.norm(left))
    flat = left / size if size > 1e-6 else plane.right
    return flat, np.cross(way, flat)


def sheet_told(
    plane: RoofPlane, edges: tuple[FloatArray, FloatArray, FloatArray], name: str, kind: str
) -> RoofReflectorTable:
    """A sheet as a plan tells it, to the millimetre and a hundredth of a degree; the inverse of ``sheet_edges``.

    edges : corner, along, up (3,) [m], the mirror side along × up
    """
    corner, along, up = edges
    flat, raised = _turned_from(plane, along)
    tilt = float(np.degrees(np.arctan2(up @ raised, up @ flat)))
    ends = np.stack([corner, corner + along])
    near = np.column_stack([plane.flat(ends), (ends - plane.origin) @ plane.normal])
    (a, b, c), (d, e, f) = (np.round(near, DIGITS) + 0.0).tolist()
    return RoofReflectorTable(
        name=name,
        type=kind,
        near_from=(a, b, c),
        near_to=(d, e, f),
        width_m=round(float(np.linalg.norm(up)), 4),
        tilt_deg=round(tilt, 2) + 0.0,
    )


def far_edge(table: RoofReflectorTable, plane: RoofPlane) -> FloatArray:
    """Ends of the far edge (2, 3) [m]: right, up, above the roof; the first beside near_from."""
    corner, along, up = sheet_edges(plane, table)
    ends = np.stack([corner + up, corner + along + up])
    return np.column_stack([plane.flat(ends), (ends - plane.origin) @ plane.normal])


def reflector_faults(planes: Sequence[RoofPlane], panels: Rectangles, file: str, key: str) -> list[Fault]:
    """Sheets without a direction, below the roof or in a panel; ``key`` is the layout's dotted path."""
    faults = []
    for i, plane in enumerate(planes):
        for k, table in enumerate(plane.table.reflector):
            here = f"{key}.plane[{i}].reflector[{k}]"
            near = np.array(table.near_to) - np.array(table.near_from)
            if np.linalg.norm(near) < SHORTEST_M:
                accepted = f"a place at least {SHORTEST_M:g} m from near_from"
                faults.append(Fault(file, f"{here}.near_to", "no length between the ends of the near edge", accepted))
                continue
            sheet = Rectangles(*(edge[None] for edge in sheet_edges(plane, table)))
            low = float(((corners(sheet) - plane.origin) @ plane.normal).min())
            if low < -BELOW_M:
                found = f"a sheet that reaches {-low:.3f} m below the roof"
                faults.append(Fault(file, here, found, "a sheet above its plane"))
            met = crossing_pairs(sheet, panels)[1]
            if len(met):
                found = f"a sheet that runs into panel {met[0]}; panels counted from 0 as built"
                faults.append(Fault(file, here, found, "a sheet clear of all panels"))
    return faults
