"""Pieces: rectangles that the plan gives one by one.

x and y count from the plot's origin, a corner's z from the ground vertically below it; ``along`` and ``up``
are true vectors. A piece may have any size: the panel type's cells are stretched over it, its longer edge
taken for the type's longer one, and its power goes with its area.
"""

from collections.abc import Sequence

import numpy as np
import shapely

from layout.arrange.arrangement import Arrangement
from layout.arrange.boosters import add_cover
from layout.arrange.ground import plan_ground
from layout.arrange.obstacles import obstacle_blockers
from layout.geometry.crossings import crossing_pairs
from layout.geometry.hinged import corners
from layout.geometry.rectangles import Rectangles
from layout.panel_type import PanelType
from layout.pieces import Blocker, Ground, Panel, Rectangle, Scene
from layout.plan import PiecesLayout, Plan, panel_type_of
from layout.plan_tables import PanelPieceTable, PieceTable
from sites.conventions import FloatArray
from sites.plot import Plot


def arrange_pieces(plan: Plan, layout: PiecesLayout) -> Arrangement:
    """The pieces of a layout, each where the plan puts it; on a plot together with its obstacles."""
    kind, ground = panel_type_of(plan, layout), plan_ground(plan)
    orientation = np.array([_orientation(piece, kind) for piece in layout.panel])
    panels = [
        Panel(*_placed(piece, ground), kind.cells if o == 0 else (kind.cells[1], kind.cells[0]), piece.bifacial)
        for piece, o in zip(layout.panel, orientation, strict=True)
    ]
    blockers = [Blocker(*_placed(piece, ground)) for piece in layout.blocker]
    types = plan.sheets
    reflectors = [types.reflector_of(piece).piece(*_placed(piece, ground)) for piece in layout.reflector]
    diffusers = [types.diffuser_of(piece).piece(*_placed(piece, ground)) for piece in layout.diffuser]
    fit = [*_fit(panels, "panel", plan.site.plot), *_fit(reflectors, "reflector", plan.site.plot)]
    fit += [*_fit(diffusers, "diffuser", plan.site.plot), *_crossings([*reflectors, *diffusers], panels)]
    bare = Arrangement(
        name=layout.name,
        kind=layout.kind,
        scene=Scene(panels, reflectors, diffusers, (*blockers, *obstacle_blockers(plan.site.plot)), ground),
        panel_type=kind,
        area_scale=np.array([panel.area_m2 for panel in panels]) / kind.area_m2,
        orientation=orientation,
        string=np.arange(len(panels)),
        fit=tuple(fit),
    )
    return add_cover(plan, layout, bare)


def _placed(piece: PieceTable, ground: Ground) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Corner, along and up, the corner's height counted from the ground vertically below it."""
    x, y, z = piece.corner
    return np.array([x, y, z + float(ground.z(x, y))]), np.array(piece.along), np.array(piece.up)


def _orientation(piece: PanelPieceTable, kind: PanelType) -> int:
    """0 where the type's length lies along ``up``: its longer edge goes with the piece's longer one."""
    up_is_longer = np.linalg.norm(piece.up) >= np.linalg.norm(piece.along)
    return 0 if up_is_longer == (kind.length_m >= kind.width_m) else 1


def _fit(pieces: Sequence[Rectangle], what: str, plot: Plot | None) -> list[str]:
    """How many pieces there are and how many do not keep to the plot."""
    if not pieces:
        return []
    lines = [f"{len(pieces)} {what}{'' if len(pieces) == 1 else 's'}, each where the plan puts it"]
    if plot is not None:
        hulls = shapely.convex_hull(shapely.multipoints(corners(Rectangles.of(pieces))[..., :2]))
        outside = int((~shapely.covers(plot.usable.buffer(1e-6), hulls)).sum())
        if outside:
            lines.append(f"{outside} of them reach beyond the usable part of the plot")
    return lines


def _crossings(sheets: Sequence[Rectangle], panels: Sequence[Panel]) -> list[str]:
    """How many sheets run into panels, which no real sheet can."""
    count = len(np.unique(crossing_pairs(Rectangles.of(sheets), Rectangles.of(panels))[0]))
    return [f"{count} {'sheet runs' if count == 1 else 'sheets run'} into panels"] if count else []
