"""Light coefficients: what each cell receives from each part of the sky (Tregenza & Waters, Lighting Research
and Technology 15(2) (1983) 65-71, daylight coefficients)."""

from dataclasses import dataclass

import numpy as np

from layout.geometry.rays import RayKernel
from layout.geometry.rectangles import Rectangles
from layout.light.ground import gather, ground_columns, ground_places
from layout.light.lattice import frame
from layout.light.net import Net
from layout.light.sky_parts import Glass, SkyParts
from layout.pieces import Ground
from sites.conventions import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class LightCoefficients:
    """before, after : (columns, n_panels, cells) float32 [-], before and after the angular loss of the glass;
    columns as in layout.light.sky_parts."""

    before: np.ndarray
    after: np.ndarray


def light_coefficients(
    kernel: RayKernel,
    ground: Ground | None,
    parts: SkyParts,
    panels: Rectangles,
    net: Net,
    glass: Glass,
    rear: bool = False,
) -> LightCoefficients:
    """Trace one face of some panels of a scene.

    kernel : all that stands in the scene; panels : the traced panels, (n)
    """
    shape = (parts.columns, len(panels), net.cells)
    result = LightCoefficients(np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32))
    normals = panels.normal * (-1.0 if rear else 1.0)
    _, kind = np.unique(np.round(normals, 7), axis=0, return_inverse=True)
    kind = kind.reshape(-1)
    for k in range(kind.max(initial=-1) + 1):
        members = np.flatnonzero(kind == k)
        face = _Face(kernel, ground, parts, net, glass, normals[members[0]])
        face.sun(panels[members], rear, members, result)
        for which in range(parts.sets):
            chosen = members[members % parts.sets == which]
            if len(chosen):
                face.sky_and_ground(panels[chosen], rear, chosen, result, which)
    return result


def finest_step(panels: Rectangles) -> float:
    """Finest step of the net on the ground, m: a quarter of the panels' shortest edge, so that benches work too."""
    edges = np.concatenate([np.linalg.norm(panels.along, axis=1), np.linalg.norm(panels.up, axis=1)])
    return float(np.clip(0.25 * edges.min(), 0.005, 0.3))


@dataclass(frozen=True, eq=False)
class _Face:
    """Panels that face one way."""

    kernel: RayKernel
    ground: Ground | None
    parts: SkyParts
    net: Net
    glass: Glass
    normal: FloatArray

    def sun(self, panels: Rectangles, rear: bool, members: IntArray, out: LightCoefficients) -> None:
        """Fill the sun columns."""
        cosine = self.parts.sun @ self.normal
        up = np.flatnonzero(cosine > 0)
        blocked = self.kernel.blocked(self.net.place(panels, rear), self.parts.sun[up])
        seen = 1.0 - self.net.cell_means(blocked.astype(np.float32))
        seen *= cosine[up, None, None].astype(np.float32)
        out.before[np.ix_(up, members)] = seen
        out.after[np.ix_(up, members)] = seen * self.glass(cosine[up])[:, None, None].astype(np.float32)

    def sky_and_ground(
        self, panels: Rectangles, rear: bool, members: IntArray, out: LightCoefficients, which: int
    ) -> None:
        """Fill the dome, the horizon band and all that comes by way of the ground."""
        local = self.parts.hemisphere(which)
        directions = local @ frame(self.normal)
        glass = self.glass(local[:, 2])
        weights = self._weights(directions)
        points = self.net.place(panels, rear)
        free = ~self.kernel.blocked(points, directions)
        dome, band = 2 * len(self.parts.sun), 2 * len(self.parts.sun) + 2
        below = self._meets_ground(directions)
        sky = self.parts.above_skyline(directions) & ~below
        for target, w in ((out.before, weights), (out.after, weights * glass)):
            target[dome, members] = self.net.cell_means(w[sky] @ free[sky])
        ring, cosine = self.parts.ring_weights(self.normal)
        used = ring > 1e-12
        ring_free = ~self.kernel.blocked(points, self.parts.ring_directions()[used])
        for target, w in ((out.before, ring[used]), (out.after, ring[used] * self.glass(cosine[used]))):
            target[band, members] = self.net.cell_means(w @ ring_free)
        if self.ground is not None:
            self._far_ground(directions, below, free, (weights, weights * glass), members, out)
            step = finest_step(panels)
            self._near_ground(points, directions, below, free, (weights, weights * glass), members, out, step)

    def _weights(self, directions: FloatArray) -> FloatArray:
        """Weight of each hemisphere ray; those above and below the horizontal add up to the exact
        (1 ± cos tilt)/2."""
        n = len(directions)
        up = directions[:, 2] > 0
        share = 0.5 * (1.0 + self.normal[2])
        weights = np.zeros(n)
        if up.any():
            weights[up] = share / up.sum()
        if not up.all():
            weights[~up] = (1.0 - share) / (~up).sum()
        return weights

    def _meets_ground(self, directions: FloatArray) -> np.ndarray:
        if self.ground is None:
            return np.zeros(len(directions), dtype=bool)
        return directions @ self.ground.normal < -1e-9

    def _far_ground(
        self,
        directions: FloatArray,
        below: np.ndarray,
        free: np.ndarray,
        weights: tuple[FloatArray, FloatArray],
        members: IntArray,
        out: LightCoefficients,
    ) -> None:
        """Directions below the horizontal that pass over the edge of a slope see level, unshaded ground."""
        far = (directions[:, 2] <= 0) & ~below
        if not far.any():
            return
        m = len(self.parts.sun)
        sun = np.maximum(0.0, self.parts.sun[:, 2]).astype(np.float32)
        for target, w in zip((out.before, out.after), weights, strict=True):
            share = self.net.cell_means(w[far] @ free[far]).astype(np.float32)
            target[m : 2 * m, members] += sun[:, None, None] * share
            target[2 * m + 1, members] += share

    def _near_ground(
        self,
        points: FloatArray,
        directions: FloatArray,
        below: np.ndarray,
        free: np.ndarray,
        weights: tuple[FloatArray, FloatArray],
        members: IntArray,
        out: LightCoefficients,
        step: float,
    ) -> None:
        assert self.ground is not None
        below = np.flatnonzero(below)
        ray, point = np.nonzero(free[below])
        if not len(ray):
            return
        ray = below[ray]
        n = self.ground.normal
        height = (points - [0.0, 0.0, self.ground.height]) @ n
        distance = np.maximum(0.0, height[point]) / -(directions @ n)[ray]
        hits = points[point] + distance[:, None] * directions[ray]
        places = ground_places(self.ground, hits, distance, step)
        light = ground_columns(self.kernel, self.ground, self.parts, places.points)
        m, per_cell = len(self.parts.sun), len(self.net.pattern)
        rows, n_rows = point // per_cell, len(points) // per_cell
        for target, w in zip((out.before, out.after), weights, strict=True):
            got = gather(rows, w[ray] / per_cell, places, light, n_rows).reshape(m + 2, len(members), -1)
            target[m : 2 * m, members] += got[:m]
            target[2 * m + 1, members] += got[m]
            target[2 * m + 3, members] += got[m + 1]
