"""Square towers on a square grid; grid and towers turn together.

A tower is a closed box with level top and bottom. The bottom lies ``base_height_m`` above the highest ground
under it and is closed where it does not rest on the ground. Each face that is listed is filled with whole
panels, as many as come nearest to their own size and shape, and stretched to leave no gap; their power goes
with their area. The other faces are opaque and black.
"""

from dataclasses import dataclass

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.arrange.boosters import add_boosters, add_cover
from layout.arrange.ground import plan_ground
from layout.arrange.obstacles import obstacle_blockers
from layout.arrange.pattern import Pattern, Places, best_places, left_out_words, site_places
from layout.booster_shapes import SheetSet, tower_sheets, tower_unit, with_sheets
from layout.geometry.attitude import azimuth_vector
from layout.panel_type import PanelType
from layout.pieces import Blocker, Ground, Panel, Scene
from layout.plan import Plan, TowersLayout, panel_type_of
from sites.conventions import FloatArray, IntArray

FACE_TURN = {"north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}


@dataclass(frozen=True, eq=False)
class Tower:
    """One tower from the middle of its base: panels (p, 3) by corner, along, up; their face, orientation,
    cells and area over the type's; blockers as (corner, along, up)."""

    corner: FloatArray
    along: FloatArray
    up: FloatArray
    face: IntArray
    orientation: IntArray
    area_scale: FloatArray
    blockers: tuple[tuple[FloatArray, FloatArray, FloatArray], ...]
    pattern: Pattern
    panel: PanelType
    sheets: tuple[SheetSet, ...]


def tower_of(plan: Plan, layout: TowersLayout) -> Tower:
    """The tower that a layout repeats."""
    panel = panel_type_of(plan, layout)
    sides = _box_faces(layout)
    parts = [
        (*_tile(*sides[name], panel), number)
        for number, name in enumerate(("north", "east", "south", "west", "top"))
        if name in layout.faces
    ]
    blockers = [sides[name] for name in ("north", "east", "south", "west", "top") if name not in layout.faces]
    slope = plan.site.plot.slope_deg if plan.site.plot is not None else 0.0
    gradient = plan.site.plot.gradient if plan.site.plot is not None else np.zeros(2)
    sheets = tuple(tower_sheets(booster, tower_unit(layout, gradient)) for booster in layout.booster)
    if layout.base_height_m > 0.0 or slope > 0.0:
        blockers.append(sides["bottom"])
    east, north = azimuth_vector(layout.azimuth_deg + 90.0), azimuth_vector(layout.azimuth_deg)
    half = 0.5 * layout.side_m
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], dtype=np.float64)
    footprint = half * corners @ np.stack([east, north])
    steps = layout.spacing_m * east, layout.spacing_m * north
    sizes = [len(part[0]) for part in parts]
    along, up = np.concatenate([p[1] for p in parts]), np.concatenate([p[2] for p in parts])
    area = np.linalg.norm(along, axis=1) * np.linalg.norm(up, axis=1)
    return Tower(
        corner=np.concatenate([p[0] for p in parts]),
        along=along,
        up=up,
        face=np.repeat([p[4] for p in parts], sizes),
        orientation=np.repeat([p[3] for p in parts], sizes),
        area_scale=area / panel.area_m2,
        blockers=tuple(blockers),
        pattern=Pattern(footprint, *steps, roomy=with_sheets(footprint, sheets)),
        panel=panel,
        sheets=sheets,
    )


def arrange_towers(plan: Plan, layout: TowersLayout) -> Arrangement:
    """The towers of a layout on the plan's plot."""
    plot = plan.site.plot
    if plot is None:
        raise ValueError("towers need a plot")
    tower = tower_of(plan, layout)
    if layout.sites:
        places = site_places(tower.pattern, plot, np.array(layout.sites, dtype=np.float64))
    else:
        places = best_places(tower.pattern, plot)
    count, each = len(places.origins), len(tower.corner)
    fit = f"{count} {'tower fits' if count == 1 else 'towers fit'}, {each} panels each"
    stretched = tower.area_scale - 1.0
    worst = stretched[np.abs(stretched).argmax()]
    lines = [fit, *left_out_words(places.left_out, "tower")]
    if count and abs(worst) > 0.01:
        lines.append(f"panels are stretched to fill the faces, their area and power by up to {100 * worst:+.0f} %")
    return build_towers(plan, layout, tower, places, tuple(lines), on_plot=True)


def build_towers(
    plan: Plan, layout: TowersLayout, tower: Tower, places: Places, fit: tuple[str, ...], on_plot: bool
) -> Arrangement:
    """Towers at ``places``; with the plot's obstacles where ``on_plot``."""
    ground = plan_ground(plan)
    bases = _bases(places.origins, tower.pattern.footprint, ground, layout.base_height_m)
    type_cells = tower.panel.cells
    cells = [type_cells if o == 0 else (type_cells[1], type_cells[0]) for o in tower.orientation]
    panels = [
        Panel(base + corner, along, up, size)
        for base in bases
        for corner, along, up, size in zip(tower.corner, tower.along, tower.up, cells, strict=True)
    ]
    blockers = [Blocker(base + c, a, u) for base in bases for c, a, u in tower.blockers]
    obstacles = obstacle_blockers(plan.site.plot) if on_plot else ()
    strings = np.arange(len(bases))[:, None] * 5 + tower.face
    bare = Arrangement(
        name=layout.name,
        kind=layout.kind,
        scene=Scene(panels, blockers=(*blockers, *obstacles), ground=ground),
        panel_type=tower.panel,
        area_scale=np.tile(tower.area_scale, len(bases)),
        orientation=np.tile(tower.orientation, len(bases)).astype(np.int64),
        string=strings.reshape(-1).astype(np.int64),
        fit=fit,
        repeat=(tower.pattern.first, tower.pattern.second),
    )
    return add_cover(plan, layout, add_boosters(plan, layout, bare, tower.sheets, places, on_plot))


def _bases(origins: FloatArray, footprint: FloatArray, ground: Ground, base_height_m: float) -> FloatArray:
    """Middles of the bases (k, 3) [m]: above the highest ground under each tower."""
    corners = origins[:, None] + footprint
    highest = ground.z(corners[..., 0], corners[..., 1]).max(axis=1)
    return np.column_stack([origins, highest + base_height_m])


def _box_faces(layout: TowersLayout) -> dict[str, tuple[FloatArray, FloatArray, FloatArray]]:
    """The six faces as (corner, along, up) from the middle of the base; along × up looks outward."""
    side, height = layout.side_m, np.array([0.0, 0.0, layout.height_m])
    east = np.array([*azimuth_vector(layout.azimuth_deg + 90.0), 0.0])
    north = np.array([*azimuth_vector(layout.azimuth_deg), 0.0])
    faces = {}
    for name, turn in FACE_TURN.items():
        front = np.array([*azimuth_vector(layout.azimuth_deg + turn), 0.0])
        along = np.cross(height / layout.height_m, front)
        faces[name] = (0.5 * side * (front - along), side * along, height)
    corner = -0.5 * side * (east + north)
    faces["top"] = (corner + height, side * east, side * north)
    faces["bottom"] = (corner, side * north, side * east)
    return faces


def _tile(
    corner: FloatArray, along: FloatArray, up: FloatArray, panel: PanelType
) -> tuple[FloatArray, FloatArray, FloatArray, int]:
    """Whole panels that fill a face: corners, edges along and up, each (p, 3), and their orientation."""
    width, height = float(np.linalg.norm(along)), float(np.linalg.norm(up))
    choices = []
    for orientation, (x, y) in enumerate([(panel.width_m, panel.length_m), (panel.length_m, panel.width_m)]):
        n_x, n_y = _count(width, x), _count(height, y)
        stretch = abs(np.log(width / n_x / x)) + abs(np.log(height / n_y / y))
        choices.append((round(float(stretch), 9), orientation, n_x, n_y))
    _, orientation, n_x, n_y = min(choices)
    across, high = along / n_x, up / n_y
    steps = np.stack(np.meshgrid(np.arange(n_y), np.arange(n_x), indexing="ij"), axis=-1).reshape(-1, 2)
    corners = corner + steps[:, :1] * high + steps[:, 1:] * across
    return corners, np.tile(across, (len(steps), 1)), np.tile(high, (len(steps), 1)), orientation


def _count(extent: float, one: float) -> int:
    return max(1, round(extent / one))
