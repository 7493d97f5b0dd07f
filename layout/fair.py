"""Fair per square metre: light that belongs to the neighbour, and the same pattern without end."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from layout.conditions import Conditions
from layout.geometry.rectangles import Rectangles
from layout.light.lattice import grid_lattice
from layout.pieces import Ground
from sites.conventions import FloatArray

LATTICE_STEPS = np.array([0.7548776662466927, 0.5698402909980532])
"""Steps of an evenly spread sequence in the square: powers of 1/φ, φ³ = φ + 1 (Roberts' generalised golden ratio;
common practice, from memory)."""


def light_from_beyond(panels: Rectangles, beam: np.ndarray, conditions: Conditions, boundary: Polygon) -> float:
    """Share of a layout's beam that would otherwise have reached the ground outside the boundary; arguments as in
    `beam_beyond`."""
    arriving, outside = beam_beyond(panels, beam, conditions, boundary)
    total = float(arriving.sum())
    return float(outside.sum()) / total if total > 0 else 0.0


def beam_beyond(
    panels: Rectangles, beam: np.ndarray, conditions: Conditions, boundary: Polygon
) -> tuple[FloatArray, FloatArray]:
    """Beam on each panel in a year, and the part of it that would otherwise have reached the ground outside the
    boundary, (n,) kWh each.

    panels : the panels, and the reflectors where there are any
    beam : (m, n) mean straight beam coefficient of each by sun direction
    Each panel's light is followed on from four of its points, others for each sun direction; other panels on the way
    are left out, since they are part of the layout that is taken away.
    """
    sun, light = conditions.parts.sun, conditions.sun_light()
    ground = conditions.ground
    used = np.flatnonzero((sun @ ground.normal > 1e-3) & (light > 0))
    arriving = light[used, None] * beam[used] * panels.area
    if not arriving.any():
        return np.zeros(len(panels)), np.zeros(len(panels))
    shapely.prepare(boundary)
    four = grid_lattice(2, 2) - 0.25
    moved = 0.5 * ((np.arange(len(used))[:, None] * LATTICE_STEPS + 0.5) % 1.0)
    outside = np.stack(
        [
            _outside(panels.points(*(four + move).T), direction, ground, boundary)
            for direction, move in zip(sun[used], moved, strict=True)
        ]
    )
    return arriving.sum(axis=0), (arriving * outside).sum(axis=0)


def _outside(points: FloatArray, sun: FloatArray, ground: Ground, boundary: Polygon) -> FloatArray:
    """Share of each panel's points (n, q, 3) whose beam would have landed outside, (n,)."""
    n = ground.normal
    along_ray = ((points - [0.0, 0.0, ground.height]) @ n) / (sun @ n)
    landing = points - along_ray[..., None] * sun
    return 1.0 - shapely.contains_xy(boundary, landing[..., 0], landing[..., 1]).mean(axis=1)


@dataclass(frozen=True)
class Endless:
    """kwh_per_m2 : AC energy per m² of ground; light_kwh_per_m2 : light on panels, before glass, per m² of ground;
    bound_kwh_per_m2 : what the sky sends down on the same ground."""

    kwh_per_m2: float
    light_kwh_per_m2: float
    bound_kwh_per_m2: float


def horizontal_light(conditions: Conditions) -> float:
    """The sky year on the open ground plane per m² of plan area, kWh/m², skyline counted for the beam only.

    The horizon band is added as a whole where it is positive: it lights upright planes and not level ones, so a
    field of panels may gather it on top of the global horizontal irradiation.
    """
    sky, n = conditions.sky, conditions.ground.normal
    cosine = np.maximum(0.0, conditions.weights @ np.maximum(0.0, conditions.parts.sun @ n))
    light = sky.beam * cosine / n[2] + sky.dome + np.maximum(0.0, sky.horizon)
    return float(light.sum()) * conditions.hour_kwh
