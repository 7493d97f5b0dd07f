"""Pieces: rectangles that the plan gives one by one.

x and y count from the plot's origin, a corner's z from the ground vertically below it; ``along`` and ``up``
are true vectors. A piece may have any size: the panel type's cells are stretched over it, its longer edge
taken for the type's longer one, and its power goes with its area.
"""

import numpy as np
import shapely

from layout.arrange.arrangement import Arrangement
from layout.arrange.ground import plan_ground
from layout.arrange.obstacles import obstacle_blockers
from layout.panel_type import PanelType
from layout.pieces import Blocker, Panel, Scene
from layout.plan import PiecesLayout, Plan, panel_type_of
from layout.plan_tables import PanelPieceTable, PieceTable
from sites.conventions import FloatArray
from sites.plot import Plot


def arrange_pieces(plan: Plan, layout: PiecesLayout) -> Arrangement:
    """The pieces of a layout, each where the plan puts it; on a plot together with its obstacles."""
    kind, ground = panel_type_of(plan, layout), plan_ground(plan)
    orientation = np.array([_orientation(piece, kind) for piece in layout.panel])
    panels = [
        Panel(
            _on_ground(piece, ground.z(*piece.corner[:2])),
            np.array(piece.along),
            np.array(piece.up),
            kind.cells if o == 0 else (kind.cells[1], kind.cells[0]),
            piece.bifacial,
        )
        for piece, o in zip(layout.panel, orientation, strict=True)
    ]
    blockers = [
        Blocker(_on_ground(piece, ground.z(*piece.corner[:2])), np.array(piece.along), np.array(piece.up))
        for piece in layout.blocker
    ]
    return Arrangement(
        name=layout.name,
        kind=layout.kind,
        scene=Scene(panels, blockers=(*blockers, *obstacle_blockers(plan.site.plot)), ground=ground),
        panel_type=kind,
        area_scale=np.array([panel.area_m2 for panel in panels]) / kind.area_m2,
        orientation=orientation,
        string=np.arange(len(panels)),
        fit=_fit(panels, plan.site.plot),
    )


def _on_ground(piece: PieceTable, ground_z: FloatArray) -> FloatArray:
    x, y, z = piece.corner
    return np.array([x, y, z + float(ground_z)])


def _orientation(piece: PanelPieceTable, kind: PanelType) -> int:
    """0 where the type's length lies along ``up``: its longer edge goes with the piece's longer one."""
    up_is_longer = np.linalg.norm(piece.up) >= np.linalg.norm(piece.along)
    return 0 if up_is_longer == (kind.length_m >= kind.width_m) else 1


def _fit(panels: list[Panel], plot: Plot | None) -> tuple[str, ...]:
    """How many pieces there are and how many do not keep to the plot."""
    lines = [f"{len(panels)} {'panel' if len(panels) == 1 else 'panels'}, each where the plan puts it"]
    if plot is not None:
        corners = np.array([[p.corner, p.corner + p.along, p.corner + p.up] for p in panels])[..., :2]
        fourth = corners[:, 1] + corners[:, 2] - corners[:, 0]
        points = np.concatenate([corners, fourth[:, None]], axis=1)
        shapes = [shapely.MultiPoint(four).convex_hull for four in points]
        outside = int((~shapely.covers(plot.usable.buffer(1e-6), shapes)).sum())
        if outside:
            lines.append(f"{outside} of them reach beyond the usable part of the plot")
    return tuple(lines)
