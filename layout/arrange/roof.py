"""Roofs: the panels that stand on them, their planes and walls as what shades, chimneys and dormers.

Roof faces reflect nothing, as all that is not said to. Walls reach from the ground to the edges of the outline, under
slanting ones in steps. A face with slanting edges is made of strips: all of them lie inside the outline, so that no
face reaches over a hip onto its neighbour.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
from shapely.geometry import Polygon

from layout.arrange.arrangement import Arrangement
from layout.arrange.boosters import add_cover
from layout.arrange.ground import plan_ground
from layout.arrange.obstacles import obstacle_blockers, top_rectangles
from layout.pieces import Blocker, Ground, Panel, Scene
from layout.plan import Plan, panel_type_of
from layout.roof_reflectors import sheet_edges
from layout.roof_shapes import RoofPanel, RoofPlane, roof_panels, roof_planes
from layout.roof_tables import RoofLayout
from sites.conventions import FloatArray
from sites.plot import Obstacle, Plot

LEAST_WALL_M = 0.05

WALL_STEP_M = 0.25
MOST_STEPS = 24
"""A wall under a slanting edge goes up in steps of this height; very high gables in so many higher ones. Our choice."""

FACE_STRIPS = 24
"""Strips of a face that is no rectangle: they leave 1/24 of a triangle open, 1/8 with those of an obstacle's top."""

OPEN_SHARE = 0.002
"""Share of a face from which it is told that strips leave it open."""


def planes_of(plan: Plan, layout: RoofLayout) -> tuple[RoofPlane, ...]:
    """A roof's planes, on the plan's ground."""
    plot = plan.site.plot
    return roof_planes(layout, (0.0, 0.0) if plot is None else (float(plot.gradient[0]), float(plot.gradient[1])))


def arrange_roof(plan: Plan, layout: RoofLayout) -> Arrangement:
    """A roof's panels where they stand; on a plot together with its obstacles."""
    kind, ground, planes = panel_type_of(plan, layout), plan_ground(plan), planes_of(plan, layout)
    places = roof_panels(layout, planes, kind)
    landscape = np.array([p.landscape for p in places])
    panels = [
        Panel(p.corner, p.along, p.up, (kind.cells[1], kind.cells[0]) if p.landscape else kind.cells, False)
        for p in places
    ]
    blockers = [b for plane in planes for b in (*_face(plane), *_walls(plane, ground), *_upright(plane))]
    reflectors = [
        plan.sheets.reflector(table.type).piece(*sheet_edges(plane, table))
        for plane in planes
        for table in plane.table.reflector
    ]
    close = any(p.close for p in places)
    cooled = replace(kind, u0_w_m2_k=kind.u0_w_m2_k * layout.close_u0_factor) if close else kind
    bare = Arrangement(
        name=layout.name,
        kind=layout.kind,
        scene=Scene(panels, reflectors, blockers=(*blockers, *obstacle_blockers(plan.site.plot)), ground=ground),
        panel_type=cooled,
        area_scale=np.array([panel.area_m2 for panel in panels]) / kind.area_m2,
        orientation=landscape.astype(np.int64),
        string=np.array([p.row for p in places]),
        fit=_fit(layout, planes, places, kind.u0_w_m2_k, cooled.u0_w_m2_k),
    )
    return add_cover(plan, layout, bare)


def _face(plane: RoofPlane) -> list[Blocker]:
    """The plane itself."""
    return [
        Blocker(plane.points(corner), *(edge[0] * plane.right + edge[1] * plane.up for edge in (along, up)))
        for corner, along, up in top_rectangles(plane.outline, FACE_STRIPS)
    ]


def _walls(plane: RoofPlane, ground: Ground) -> list[Blocker]:
    """A wall under each edge of the outline; gables by steps under their slanting edges."""
    points = plane.points(np.array(plane.outline.exterior.coords))
    walls = []
    for a, b in pairwise(points):
        steps = int(np.clip(np.ceil(abs(b[2] - a[2]) / WALL_STEP_M), 1, MOST_STEPS))
        marks = a + np.linspace(0.0, 1.0, steps + 1)[:, None] * (b - a)
        for one, other in pairwise(marks):
            foot = max(float(ground.z(p[0], p[1])) for p in (one, other))
            top = min(one[2], other[2])
            along = np.array([*(other - one)[:2], 0.0])
            if top - foot > LEAST_WALL_M and np.linalg.norm(along) > LEAST_WALL_M:
                walls.append(Blocker(np.array([one[0], one[1], foot]), along, np.array([0.0, 0.0, top - foot])))
    return walls


def _upright(plane: RoofPlane) -> list[Blocker]:
    """Chimneys and dormers as boxes on the plane."""
    table = plane.table
    if not table.obstacle:
        return []

    def on_map(flat: FloatArray) -> FloatArray:
        return (plane.points(flat) - plane.origin)[..., :2]

    obstacles = tuple(
        Obstacle(Polygon(on_map(np.array(o.outline))).normalize(), o.height_m, o.name) for o in table.obstacle
    )
    roof = Plot(
        Polygon(on_map(np.array(table.outline))),
        obstacles=obstacles,
        slope_deg=table.tilt_deg,
        slope_azimuth_deg=table.azimuth_deg,
    )
    return [Blocker(b.corner + plane.origin, b.along, b.up) for b in obstacle_blockers(roof)]


def _fit(
    layout: RoofLayout, planes: tuple[RoofPlane, ...], places: tuple[RoofPanel, ...], u0: float, close_u0: float
) -> tuple[str, ...]:
    counts = np.bincount([p.plane for p in places], minlength=len(planes))
    words = ", ".join(f"{n} on '{plane.table.name}'" for n, plane in zip(counts, planes, strict=True))
    lines = [f"{len(places)} panels, each where it stands: {words}"]
    sheets = sum(len(plane.table.reflector) for plane in planes)
    if sheets:
        lines.append(f"{sheets} {'reflector' if sheets == 1 else 'reflectors'}, each where the plan puts it")
    if close_u0 < u0:
        lines.append(
            f"panels close to the roof lose less heat: U0 {close_u0:.1f} in place of {u0:.1f} W/m²K for all of them "
            "(common practice, no source)"
        )
    lines += [line for plane in planes for line in _left_open(plane)]
    sizes = {tuple(sorted(np.round([np.linalg.norm(p.along), np.linalg.norm(p.up)], 3))) for p in places}
    if len(sizes) > 1:
        lines.append(f"panels of {len(sizes)} sizes; the power of each goes with its area")
    return tuple(lines)


def _left_open(plane: RoofPlane) -> list[str]:
    """What strips leave open of a face, in words."""
    edges = top_rectangles(plane.outline, FACE_STRIPS)
    share = sum(float(np.linalg.norm(a) * np.linalg.norm(u)) for _, a, u in edges) / plane.outline.area
    if share >= 1.0 - OPEN_SHARE:
        return []
    return [
        f"'{plane.table.name}' has slanting edges: strips inside its outline, {100 * share:.0f} % of it, throw its "
        "shadow on other faces and the ground"
    ]
