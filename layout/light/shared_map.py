"""The light map of a whole layout at one sun position, where panels with equal surroundings share what comes by sheets.

Straight light is cheap and worked out for every panel; light by way of reflectors, see-through sheets and the ground
costs a hundred times as much and is traced for one panel of each set that sees the same.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of
from layout.light.light_map import LightMap, light_map
from layout.light.receive import Engine
from layout.light.surroundings import Surroundings, Year, equal_surroundings, every_panel, matt_view, year_views
from layout.pieces import Blocker, Scene
from layout.power.glass import transmission_ratio
from sites.conventions import IntArray, unit_vector

AT_ONCE = 40
"""Panels whose straight light is worked out between two reports of progress."""

TOLERANCE = 0.005
"""Largest share of the beam by which two views may differ. Experiment: tests/layout/test_shared_map.py, run by
itself, prints panels traced and error against it."""


@dataclass(frozen=True, eq=False)
class SharedMap:
    """light : one sun position, dome left out; traced : panels whose light by way of sheets was traced."""

    light: LightMap
    traced: int


def shared_light_map(
    scene: Scene,
    sun: tuple[float, float],
    dni: float,
    bounces: int,
    ground: bool = False,
    repetition: bool = True,
    tick: Callable[[int, int], None] = lambda done, total: None,
) -> SharedMap:
    """Beam light on every cell of every panel of a scene.

    sun : elevation, azimuth [deg]; dni : W/m²; bounces : as in `light_map`; ground : light by way of it, too
    repetition : let panels with equal surroundings share the light that comes by way of sheets and the ground
    tick : told (done, total) as panels are finished
    """
    n, blockers = len(scene.panels), [Blocker(p.corner, p.along, p.up) for p in scene.panels]
    over = scene if ground else replace(scene, ground=None)
    shared = _surroundings(over, sun, repetition) if bounces else every_panel(0)
    total = n + len(shared.traced)
    parts = []
    for start in range(0, n, AT_ONCE):
        some = np.arange(start, min(start + AT_ONCE, n))
        parts.append(light_map(_with_panels(scene, blockers, some), [sun[0]], [sun[1]], dni, bounces=0))
        tick(int(some[-1]) + 1, total)
    straight = _joined(parts)
    if not bounces:
        return SharedMap(straight, n)
    hidden = scene.ground is not None and float(unit_vector(*sun) @ scene.ground.normal) <= 0.0
    by_sheets = []
    for done, panel in enumerate(shared.traced, start=n + 1):
        one = _with_panels(over, blockers, np.array([panel]))
        by_sheets.append(light_map(one, [sun[0]], [sun[1]], 0.0 if hidden else dni, bounces))
        tick(done, total)
    return SharedMap(_added(straight, _joined(by_sheets), shared), len(shared.traced))


def _surroundings(scene: Scene, sun: tuple[float, float], repetition: bool) -> Surroundings:
    """Which panels to trace."""
    n = len(scene.panels)
    if not repetition or not n:
        return every_panel(n)
    features = np.array([(*panel.cells, panel.bifacial) for panel in scene.panels])
    family = np.unique(features, axis=0, return_inverse=True)[1].reshape(-1)
    albedo = scene.ground.albedo if scene.ground else 0.0
    moment = Year(unit_vector(*sun)[None], np.ones(1), 0.0, albedo)
    engine = engine_of(scene, transmission_ratio)
    return equal_surroundings(
        engine, Rectangles.of(scene.panels), family, features[:, 2].astype(bool), moment, TOLERANCE, TOLERANCE, _views
    )


def _views(engine: Engine, panels: Rectangles, rear: bool, moment: Year) -> tuple[tuple[np.ndarray, float], ...]:
    return (*year_views(engine, panels, rear, moment), matt_view(engine, panels, rear, moment))


def _with_panels(scene: Scene, blockers: Sequence[Blocker], panels: IntArray) -> Scene:
    """The same scene with only some of its panels as panels; the others still shade, as ``blockers``."""
    chosen = set(panels.tolist())
    others = (blocker for i, blocker in enumerate(blockers) if i not in chosen)
    return replace(scene, panels=[scene.panels[i] for i in panels], blockers=(*scene.blockers, *others))


def _joined(parts: Sequence[LightMap]) -> LightMap:
    """Maps of some panels each, one after the other."""
    direct, reflected, total, rear = (
        tuple(one for part in parts for one in getattr(part, name)) for name in ("direct", "reflected", "total", "rear")
    )
    return LightMap(direct, reflected, total, rear, ())


def _added(straight: LightMap, traced: LightMap, shared: Surroundings) -> LightMap:
    """Each panel's own straight light and the light by way of sheets of the one that stands for it."""
    reflected, behind = [], []
    for own, k in zip(straight.rear, shared.of_panel, strict=True):
        reflected.append(traced.reflected[k])
        rear, plain = traced.rear[k], straight.rear[shared.traced[k]]
        behind.append(None if own is None or rear is None or plain is None else own + (rear - plain))
    total = tuple(d + r for d, r in zip(straight.direct, reflected, strict=True))
    return LightMap(straight.direct, tuple(reflected), total, tuple(behind), ())
