"""``light_map``: what reaches every cell of a scene at given sun positions."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layout.geometry.rays import RayKernel
from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import light_coefficients
from layout.light.net import Net, fine_net, full_net
from layout.light.sky_parts import SkyParts
from layout.pieces import Ground, Panel, Scene
from sites.conventions import FloatArray, unit_vector


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
) -> LightMap:
    """Beam light on every cell of every panel, straight and by way of the ground.

    elevation, azimuth : (n_sun,) [deg]; dni : W/m², one or (n_sun,)
    bounces : 0 leaves out light by way of the ground
    dome : also work out the cosine-weighted visible sky, (1 + cos tilt)/2 for a free tilted plane

    Raises ValueError where elevation and azimuth do not match or ``bounces`` is not 0 or 1.

    >>> from layout import Panel, Scene, light_map
    >>> m = light_map(Scene([Panel((0, 0, 1), (1, 0, 0), (0, 1, 0), cells=(2, 2))]), elevation=[30], azimuth=[180])
    >>> m.direct[0].round(3).tolist()
    [[[500.0, 500.0], [500.0, 500.0]]]
    """
    el, az = np.broadcast_arrays(np.atleast_1d(elevation).astype(float), np.atleast_1d(azimuth).astype(float))
    if el.ndim != 1 or bounces not in (0, 1):
        raise ValueError(f"bounces: found {bounces!r}; accepted: 0 or 1; elevation and azimuth: one list each")
    strength = np.broadcast_to(np.asarray(dni, dtype=np.float64), el.shape).copy()
    sun = unit_vector(el, az)
    if scene.ground is not None:
        strength[sun @ scene.ground.normal <= 0] = 0.0  # the plane without end hides the sun
    tracer = _Tracer(RayKernel(Rectangles.of(scene.pieces)), scene.ground, sun, strength, bounces)
    faces = [tracer.face(panel, rear=False) for panel in scene.panels]
    rear = tuple(sum(tracer.face(p, rear=True)) if p.bifacial else None for p in scene.panels)
    return LightMap(
        direct=tuple(f[0] for f in faces),
        reflected=tuple(f[1] for f in faces),
        total=tuple(f[0] + f[1] for f in faces),
        rear=rear,
        dome=tuple(tracer.dome(panel) for panel in scene.panels) if dome else (),
    )


@dataclass(frozen=True, eq=False)
class _Tracer:
    kernel: RayKernel
    ground: Ground | None
    sun: FloatArray
    strength: FloatArray
    bounces: int

    def face(self, panel: Panel, rear: bool) -> tuple[FloatArray, FloatArray]:
        """Direct light and light by way of the ground on one face, (n_sun, n_up, n_along) each."""
        direct = self._direct(panel, rear)
        reflected = np.zeros_like(direct)
        if self.ground is not None and self.bounces:
            parts = SkyParts(self.sun, dome_rays=987, sets=1)
            out = self._trace(panel, full_net(*panel.cells), parts, rear)
            m = len(self.sun)
            by_ground = self.ground.albedo * self.strength[:, None] * out[m : 2 * m]
            reflected = by_ground.reshape(m, *panel.cells).astype(np.float64)
        return direct, reflected

    def _direct(self, panel: Panel, rear: bool) -> FloatArray:
        cosine = np.maximum(0.0, self.sun @ panel.normal * (-1.0 if rear else 1.0)) * self.strength
        net, lit = fine_net(*panel.cells), np.flatnonzero(cosine > 0)
        points = net.place(Rectangles.of([panel]), rear)
        out = np.zeros((len(self.sun), net.cells))
        seen = net.cell_means((~self.kernel.blocked(points, self.sun[lit])).astype(np.float32))
        out[lit] = seen[:, 0] * cosine[lit, None]
        return out.reshape(len(self.sun), *panel.cells)

    def dome(self, panel: Panel) -> FloatArray:
        """Cosine-weighted visible sky of each cell, (n_up, n_along)."""
        net = Net(*panel.cells, full_net(*panel.cells).pattern)
        parts = SkyParts(np.zeros((0, 3)), dome_rays=4181, sets=1)
        return self._trace(panel, net, parts, rear=False)[0].reshape(panel.cells).astype(np.float64)

    def _trace(self, panel: Panel, net: Net, parts: SkyParts, rear: bool) -> np.ndarray:
        rectangles = Rectangles.of([panel])
        out = light_coefficients(
            self.kernel, self.ground, parts, rectangles, net, glass=np.ones_like, rear=rear
        )
        return out.before[:, 0]
