"""Light coefficients: what each cell receives from each part of the sky (Tregenza & Waters, Lighting Research
and Technology 15(2) (1983) 65-71, daylight coefficients)."""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from layout.geometry.rays import START_OFFSET_M, RayKernel
from layout.geometry.rectangles import Rectangles
from layout.light.ground import GroundLight, SheetPlaces
from layout.light.lattice import fibonacci_lattice
from layout.light.net import Net
from layout.light.places import PlaceNet
from layout.light.receive import MATT_RAYS, Engine, Receiver
from layout.light.sheets import sheets_of
from layout.light.sky_parts import GOLDEN, Glass, SkyParts
from layout.pieces import Scene
from sites.conventions import FloatArray, IntArray

CELL_TURNS = (1, 3, 5, 8, 13, 21)
TURNS_PER_CELL = 8.0
"""Points of a cell at which light by way of sheets is worked out: at least so many times the cell over the narrowest
sheet. Experiment: tests/layout/test_light_ledger.py prints what the ledger of narrow sheets leaves open."""

GROUND_DRAWS = 3
"""Facets drawn for each sun direction where sheets throw light on the ground; places side by side draw others.
Experiment: tests/layout/test_light_ground.py prints the error."""

DRAW_SETS = 7
"""Cells side by side draw facets from different sets, so that the mean over a panel has the error of so many times more
draws; a number that divides no usual number of cells in a row."""


@dataclass(frozen=True, eq=False)
class LightCoefficients:
    """before, after : (columns, n_panels, cells) float32 [-], before and after the angular loss of the glass;
        columns as in layout.light.sky_parts
    by_sheets : (m, n_panels) float32 [-] mean part of the sun columns before glass that came by way of sheets
    """

    before: np.ndarray
    after: np.ndarray
    by_sheets: np.ndarray


def engine_of(scene: Scene, sheet_glass: Glass) -> Engine:
    """A scene ready to be traced."""
    return Engine(RayKernel(Rectangles.of(scene.pieces)), sheets_of(scene), scene.ground, sheet_glass)


def ground_light(engine: Engine, parts: SkyParts, places: PlaceNet) -> GroundLight | None:
    """The store of ground places for tracing a scene under one set of sun directions."""
    if engine.ground is None:
        return None
    trace = None
    if engine.sheets and parts.bounces > 0:
        rays = parts.ground_rays or MATT_RAYS
        coarse = replace(parts.coarser(rays, parts.bounces), draws=GROUND_DRAWS)
        trace = partial(_on_ground, engine, coarse, SheetPlaces(places))
    return GroundLight(engine.kernel, engine.ground, parts, places, trace)


def _on_ground(engine: Engine, parts: SkyParts, kept: SheetPlaces, hits: FloatArray, out: np.ndarray) -> None:
    """Fill in the light of ground places (n, 3) in a scene with sheets: (n, m + 2) for sun directions, dome and horizon
    band, straight and by way of sheets. What comes by way of other ground is left out: one ground bounce."""
    assert engine.ground is not None
    normal, m = engine.ground.normal, len(parts.sun)
    receiver = Receiver(engine, parts, hits + START_OFFSET_M * normal, normal, (np.ones_like,), kept.net, kept)
    lobes = np.zeros((1, m + parts.ring_rays, len(hits)), dtype=np.float32)
    for g in range(DRAW_SETS):
        some = replace(receiver, points=receiver.points[g::DRAW_SETS])
        lobes[:, :, g::DRAW_SETS] = some.by_sheets(receiver.orders(), number=g)
    columns = receiver.columns(lobes=lobes)[0][0]
    out[:, :m], out[:, m], out[:, m + 1] = columns[:m].T, columns[2 * m], columns[2 * m + 2]


def light_coefficients(
    engine: Engine,
    parts: SkyParts,
    panels: Rectangles,
    net: Net,
    glass: Glass,
    rear: bool = False,
    store: GroundLight | None = None,
    numbers: IntArray | None = None,
) -> LightCoefficients:
    """Trace one face of some panels (n) of a scene.

    store : that of `ground_light` for the same scene and sky, where several calls look at the same ground
    numbers : (n,) int, the panels' numbers in their field, which choose the shifts of their rays, so that a panel's
        light does not depend on which others are traced with it
    """
    places = year_places(panels)
    store = store or ground_light(engine, parts, places)
    shape = (parts.columns, len(panels), net.cells)
    result = LightCoefficients(
        np.zeros(shape, dtype=np.float32),
        np.zeros(shape, dtype=np.float32),
        np.zeros((len(parts.sun), len(panels)), dtype=np.float32),
    )
    normals = panels.normal * (-1.0 if rear else 1.0)
    _, attitude = np.unique(np.round(normals, 7), axis=0, return_inverse=True)
    numbers = np.arange(len(panels)) if numbers is None else numbers
    # Multiples of the golden ratio spread the sets evenly, however many panels apart equal ones stand.
    which = np.floor(numbers * GOLDEN % 1.0 * parts.sets).astype(np.int64)
    kind = attitude.reshape(-1) * parts.sets + which
    for k in np.unique(kind):
        members = np.flatnonzero(kind == k)
        chosen = panels[members]
        points, normal = net.place(chosen, rear), normals[members[0]]
        receiver = Receiver(engine, parts, points, normal, (np.ones_like, glass), places, store)
        lobes = _cell_lobes(receiver, net, chosen, rear, int(k) % parts.sets) if engine.sheets else None
        columns, by_sheets = receiver.columns(int(k) % parts.sets, lobes)
        result.before[:, members], result.after[:, members] = net.cell_means(columns)
        result.by_sheets[:, members] = net.panel_means(net.cell_means(by_sheets))
    return result


def _cell_lobes(receiver: Receiver, net: Net, panels: Rectangles, rear: bool, which: int) -> np.ndarray:
    """Light by way of sheets' lobes as of `Receiver.by_sheets`, the mean over each cell at all its points: light of a
    narrow strip ends within a cell. Points of a cell take turns with the draws of scattering sheets.

    which : chooses the panels' draws, so that errors of neighbours do not add up
    """
    orders, pattern = receiver.orders(), fibonacci_lattice(_turns(receiver.engine, net, panels))
    smooth = tuple(o for o in orders if all(s.smooth for s in o))
    rough = tuple(o for o in orders if not all(s.smooth for s in o))
    sources = len(receiver.parts.sun) + receiver.parts.ring_rays
    out = np.zeros((len(receiver.glasses), sources, len(panels) * net.cells), dtype=np.float32)
    group = np.tile(np.arange(net.cells) % DRAW_SETS, len(panels))
    for turn, share in enumerate(pattern):
        points = net.moved(share).place(panels, rear)
        if smooth:
            out += replace(receiver, points=points).by_sheets(smooth) / np.float32(len(pattern))
        for g in range(DRAW_SETS if rough else 0):
            looking = replace(receiver, points=points[group == g])
            out[:, :, group == g] += looking.by_sheets(rough, (turn, len(pattern)), which * DRAW_SETS + g)
    return np.repeat(out, net.points // net.cells, axis=2)


def _turns(engine: Engine, net: Net, panels: Rectangles) -> int:
    rectangles, member = engine.kernel.rectangles, np.any([s.member for s in engine.sheets], axis=0)[:-1]
    narrowest = min(_edges(rectangles[member]).min(axis=1))
    rows, columns = net.panel_cells or (net.n_up, net.n_along)
    cell = float((_edges(panels) / [columns, rows]).max())
    wanted = TURNS_PER_CELL * cell / narrowest
    if not all(s.mirror for s in engine.sheets):
        wanted = max(wanted, float(len(net.pattern)))  # what comes through a cover goes with what comes in beside it
    return next((n for n in CELL_TURNS if n >= wanted), CELL_TURNS[-1])


def _edges(rectangles: Rectangles) -> FloatArray:
    """Lengths (n, 2) along and up [m]."""
    return np.stack([np.linalg.norm(rectangles.along, axis=1), np.linalg.norm(rectangles.up, axis=1)], axis=1)


def year_places(panels: Rectangles) -> PlaceNet:
    """Places of the year: at finest a quarter of the panels' shortest edge, so that benches work too; errors of
    hundreds of sun positions make up for each other."""
    return _places(panels, 0.25, 0.3, 0.1)


def map_places(panels: Rectangles) -> PlaceNet:
    """Places of a map: at finest a hundredth of the shortest edge, since every shadow on the ground counts alone."""
    return _places(panels, 0.01, 0.01, 0.015)


def _places(panels: Rectangles, per_edge: float, most_m: float, per_distance: float) -> PlaceNet:
    return PlaceNet(float(np.clip(per_edge * _edges(panels).min(), most_m / 60.0, most_m)), per_distance)
