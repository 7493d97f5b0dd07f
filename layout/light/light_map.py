"""``light_map``: what reaches every cell of a scene at given sun positions."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layout.geometry.rectangles import Rectangles
from layout.light.chains import light_by_sheets
from layout.light.coefficients import engine_of, ground_light, map_places
from layout.light.ground import GroundLight
from layout.light.net import Net, fine_net, texture_net, turn_net
from layout.light.receive import Engine, Receiver
from layout.light.sheets import Sheet, sequences
from layout.light.sky_parts import Glass, SkyParts
from layout.pieces import Panel, Scene
from layout.power.glass import transmission_ratio
from sites.conventions import FloatArray, unit_vector

MAP_DRAWS = 377
"""Facets drawn for each sun position and scattering sheet.

Experiment behind this and the counts below: tests/agreement/test_mitsuba_reflectors.py prints the error.
"""

CHAIN_DRAWS = 987
"""The same on paths that meet several scattering sheets."""

TURNS = 4
"""Sets of points that take turns at the draws: many places for narrow lobes, at the cost of few."""

MATT_RAYS, WEAK_MATT, WEAK_RAYS = 987, 0.15, 377
"""Hemisphere rays of each point that look for matt light, for TURNS sets of points; where there is no ground and sheets
send at most a share of WEAK_MATT of their light that way, one set with fewer rays does, since its error weighs as
little. Experiment: tests/layout/test_light_map.py prints the difference."""

NARROW_DEG, NARROW_TURNS = 1.5, 31
"""Sheets with slopes up to this leave lit edges nearly as sharp as a mirror's: more places, each by fewer draws."""


@dataclass(frozen=True, eq=False)
class LightMap:
    """Per panel k, area means of each cell, before the angular loss of the glass.

    direct, reflected, total : each a tuple of (n_sun, n_up, n_along) float [W/m²], front face; light that comes
        by way of the ground counts as reflected
    rear : the same, total on the rear face; None where a panel is not bifacial
    dome : (n_up, n_along) float [-] cosine-weighted visible sky of the front; empty unless asked for
    """

    direct: tuple[FloatArray, ...]
    reflected: tuple[FloatArray, ...]
    total: tuple[FloatArray, ...]
    rear: tuple[FloatArray | None, ...]
    dome: tuple[FloatArray, ...]


def light_map(
    scene: Scene,
    elevation: FloatArray | Sequence[float] | float,
    azimuth: FloatArray | Sequence[float] | float,
    dni: FloatArray | float = 1000.0,
    bounces: int = 1,
    dome: bool = False,
    glass: Glass = transmission_ratio,
) -> LightMap:
    """Beam light on every cell of every panel, straight and by way of the ground.

    elevation, azimuth : (n_sun,) [deg]; dni : W/m², one or (n_sun,)
    bounces : reflectors that light may meet on its way; 0 leaves out all but straight light, the ground's too
    glass : angular curve of diffusers, cosθ -> ratio
    dome : also work out the cosine-weighted visible sky, (1 + cos tilt)/2 for a free tilted plane

    Raises ValueError where elevation and azimuth do not match or ``bounces`` is negative.

    >>> from layout import Panel, Scene, light_map
    >>> m = light_map(Scene([Panel((0, 0, 1), (1, 0, 0), (0, 1, 0), cells=(2, 2))]), elevation=[30], azimuth=[180])
    >>> m.direct[0].round(3).tolist()
    [[[500.0, 500.0], [500.0, 500.0]]]
    """
    el, az = np.broadcast_arrays(np.atleast_1d(elevation).astype(float), np.atleast_1d(azimuth).astype(float))
    if el.ndim != 1 or bounces < 0:
        raise ValueError(f"bounces: found {bounces!r}; accepted: 0, 1, 2, ...; elevation and azimuth: one list each")
    strength = np.broadcast_to(np.asarray(dni, dtype=np.float64), el.shape).copy()
    sun = unit_vector(el, az)
    if scene.ground is not None:
        strength[sun @ scene.ground.normal <= 0] = 0.0  # the plane without end hides the sun
    tracer = _Tracer(engine_of(scene, glass), sun, strength, bounces)
    faces = [tracer.face(panel, rear=False) for panel in scene.panels]
    rear = tuple(np.add(*tracer.face(p, rear=True)) if p.bifacial else None for p in scene.panels)
    return LightMap(
        direct=tuple(f[0] for f in faces),
        reflected=tuple(f[1] for f in faces),
        total=tuple(f[0] + f[1] for f in faces),
        rear=rear,
        dome=tuple(tracer.dome(panel) for panel in scene.panels) if dome else (),
    )


@dataclass(frozen=True, eq=False)
class _Tracer:
    engine: Engine
    sun: FloatArray
    strength: FloatArray
    bounces: int

    def face(self, panel: Panel, rear: bool) -> tuple[FloatArray, FloatArray]:
        """Direct light and light by way of sheets and the ground on one face, (n_sun, n_up, n_along) each."""
        parts = SkyParts(
            self.sun,
            dome_rays=WEAK_RAYS if self._weak_matt else MATT_RAYS,
            down_rays=1597,
            ring_rays=0,
            ground_rays=0,
            bounces=self.bounces,
            draws=MAP_DRAWS,
            sun_only=True,
        )
        m, out = len(self.sun), np.zeros((2, len(self.sun), *panel.cells))
        fine = fine_net(*panel.cells)
        store = ground_light(self.engine, parts, map_places(Rectangles.of([panel])))
        receiver = self._receiver(panel, fine, parts, rear, store)
        out[0] = self._cells(panel, fine, receiver.straight())
        if self.bounces == 0:
            return out[0], out[1]
        orders = tuple(sequences(self.engine.sheets, self.bounces))
        smooth = tuple(o for o in orders if all(s.smooth for s in o))
        rough = tuple(o for o in orders if not all(s.smooth for s in o))
        if smooth:
            out[1] += self._cells(panel, fine, receiver.by_sheets(smooth)[0])
        for order in rough:
            out[1] += self._by_rough(panel, rear, order)
        if self.engine.ground is not None or any(s.diffuse_share > 0 for s in self.engine.sheets):
            albedo = self.engine.ground.albedo if self.engine.ground else 0.0
            turns = 1 if self._weak_matt else TURNS
            for turn in range(turns):
                net = turn_net(*panel.cells, turn, turns)
                columns = self._receiver(panel, net, parts, rear, store).hemisphere(turn)[0]
                light = columns[:m] + np.float32(albedo) * columns[m : 2 * m]
                out[1] += self._cells(panel, net, light) / turns
        return out[0], out[1]

    @property
    def _weak_matt(self) -> bool:
        """Whether matt light is only a small part of what sheets bring."""
        e = self.engine
        return e.ground is None and all(s.diffuse_share <= WEAK_MATT * (s.share + s.diffuse_share) for s in e.sheets)

    def _by_rough(self, panel: Panel, rear: bool, order: tuple[Sheet, ...]) -> FloatArray:
        """Light by way of some scattering sheets, (n_sun, n_up, n_along)."""
        e, normal = self.engine, panel.normal * (-1.0 if rear else 1.0)
        out = np.zeros((len(self.sun), *panel.cells))
        turns = TURNS if max(max(s.texture) for s in order) > NARROW_DEG else NARROW_TURNS
        draws = MAP_DRAWS if sum(not s.smooth for s in order) == 1 else CHAIN_DRAWS
        for turn in range(turns):
            net = turn_net(*panel.cells, turn, turns)
            points = net.place(Rectangles.of([panel]), rear)
            light = light_by_sheets(
                e.kernel, (order,), points, normal, self.sun, (np.ones_like,), e.sheet_glass, draws, (turn, turns)
            )
            out += self._cells(panel, net, light[0])
        return out

    def dome(self, panel: Panel) -> FloatArray:
        """Cosine-weighted visible sky of each cell, (n_up, n_along)."""
        net, parts = (
            texture_net(*panel.cells),
            SkyParts(np.zeros((0, 3)), dome_rays=4181, ring_rays=0, ground_rays=0),
        )
        columns = self._receiver(panel, net, parts, rear=False, store=None).hemisphere(0)[0]
        return net.cell_means(columns[0])[0].reshape(panel.cells).astype(np.float64)

    def _receiver(self, panel: Panel, net: Net, parts: SkyParts, rear: bool, store: GroundLight | None) -> Receiver:
        one = Rectangles.of([panel])
        normal = panel.normal * (-1.0 if rear else 1.0)
        return Receiver(self.engine, parts, net.place(one, rear), normal, (np.ones_like,), map_places(one), store)

    def _cells(self, panel: Panel, net: Net, values: np.ndarray) -> FloatArray:
        """(n_sun, points) for beams of 1 W/m² to (n_sun, n_up, n_along) W/m²."""
        cells = net.cell_means(values)[:, 0].astype(np.float64) * self.strength[:, None]
        return cells.reshape(len(self.sun), *panel.cells)
