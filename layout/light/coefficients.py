"""Light coefficients: what each cell receives from each part of the sky (Tregenza & Waters, Lighting Research
and Technology 15(2) (1983) 65-71, daylight coefficients)."""

from dataclasses import dataclass

import numpy as np

from layout.geometry.rays import RayKernel
from layout.geometry.rectangles import Rectangles
from layout.light.ground import GroundLight
from layout.light.net import Net
from layout.light.places import PlaceNet
from layout.light.receive import Engine, Receiver
from layout.light.sheets import sheets_of
from layout.light.sky_parts import GOLDEN, Glass, SkyParts
from layout.pieces import Scene
from sites.conventions import IntArray


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
    return GroundLight(engine.kernel, engine.ground, parts, places) if engine.ground else None


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
        columns, by_sheets = receiver.columns(int(k) % parts.sets)
        result.before[:, members], result.after[:, members] = net.cell_means(columns)
        result.by_sheets[:, members] = net.panel_means(net.cell_means(by_sheets))
    return result


def year_places(panels: Rectangles) -> PlaceNet:
    """Places of the year: at finest a quarter of the panels' shortest edge, so that benches work too; errors of
    hundreds of sun positions make up for each other."""
    return _places(panels, 0.25, 0.3, 0.1)


def map_places(panels: Rectangles) -> PlaceNet:
    """Places of a map: at finest a hundredth of the shortest edge, since every shadow on the ground counts alone."""
    return _places(panels, 0.01, 0.01, 0.015)


def _places(panels: Rectangles, per_edge: float, most_m: float, per_distance: float) -> PlaceNet:
    edges = np.concatenate([np.linalg.norm(panels.along, axis=1), np.linalg.norm(panels.up, axis=1)])
    return PlaceNet(float(np.clip(per_edge * edges.min(), most_m / 60.0, most_m)), per_distance)
