"""Panels that see the same surroundings: traced once, used for all of them.

Each panel is looked at coarsely: from four of its points along some sun directions and some directions of the
hemisphere, blocked or free. Panels of one attitude whose views differ by less than a tolerance, weighted by the
year's light in each direction, share the tracing of one of them.
"""

from dataclasses import dataclass

import numpy as np

from layout.geometry.rays import RayKernel
from layout.geometry.rectangles import Rectangles
from layout.light.lattice import cosine_hemisphere, fibonacci_lattice, frame, grid_lattice
from layout.light.net import Net
from sites.conventions import BoolArray, FloatArray, IntArray

LOOK_NET = Net(1, 1, grid_lattice(2, 2))
LOOK_SUN = 144
LOOK_DOME = 89
TOLERANCE = 0.003
"""Largest share of the year's light by which two views may differ. Experiment: tests/layout/test_surroundings.py
prints classes and error against this value."""


@dataclass(frozen=True, eq=False)
class Surroundings:
    """traced : (t,) int, the panels to trace; of_panel : (n,) int, which of them stands for each panel."""

    traced: IntArray
    of_panel: IntArray

    @property
    def counts(self) -> IntArray:
        """(t,) int, how many panels each traced one stands for."""
        return np.bincount(self.of_panel, minlength=len(self.traced))


def every_panel(n: int) -> Surroundings:
    """No sharing: each panel is traced itself."""
    return Surroundings(np.arange(n), np.arange(n))


def equal_surroundings(
    kernel: RayKernel,
    panels: Rectangles,
    family: IntArray,
    both_faces: BoolArray,
    sun: FloatArray,
    sun_light: FloatArray,
    sky_light: float,
    tolerance: float = TOLERANCE,
) -> Surroundings:
    """Choose the panels to trace.

    family : (n,) int; only panels with the same number (cells, faces, orientation) may share
    both_faces : (n,) bool, whether the rear matters too; the same throughout a family
    sun : (m, 3); sun_light : (m,) the year's beam from each sun direction, kWh/m² normal to it
    sky_light : the year's dome light, kWh/m² horizontal
    """
    kind = _attitudes(panels, family)
    traced: list[IntArray] = []
    of_panel = np.zeros(len(panels), dtype=np.int64)
    step = max(1, len(sun) // LOOK_SUN)
    start = 0
    for k in range(kind.max(initial=-1) + 1):
        members = np.flatnonzero(kind == k)
        faces = (False, True) if both_faces[members[0]] else (False,)
        views = [
            _view(kernel, panels[members], rear, sun[::step], sun_light[::step] * step, sky_light) for rear in faces
        ]
        total = sum(v[1] for v in views)
        view = np.concatenate([v[0] for v in views], axis=1)
        which = _cluster(view, tolerance * total)
        middle = _middle_rows(view, which)
        traced.append(members[middle])
        of_panel[members] = start + which
        start += len(middle)
    return Surroundings(np.concatenate(traced) if traced else np.zeros(0, dtype=np.int64), of_panel)


def _attitudes(panels: Rectangles, family: IntArray) -> IntArray:
    """Number the sets of panels with one attitude, size and family."""
    features = np.concatenate([panels.along, panels.up, family[:, None]], axis=1)
    _, kind = np.unique(np.round(features, 5), axis=0, return_inverse=True)
    return kind.reshape(-1)


def _view(
    kernel: RayKernel,
    panels: Rectangles,
    rear: bool,
    sun: FloatArray,
    sun_light: FloatArray,
    sky_light: float,
) -> tuple[np.ndarray, float]:
    """What panels of one attitude see: (n, features) float32, so scaled that the sum of absolute differences of
    two rows is the difference of their year's light, and the light of a free panel."""
    normal = panels.normal[0] * (-1.0 if rear else 1.0)
    cosine = sun @ normal
    up = cosine > 0
    hemisphere = cosine_hemisphere(fibonacci_lattice(LOOK_DOME, (0.13, 0.57))) @ frame(normal)
    # Below the horizontal a free ray finds the ground, lit at about a fifth of the sky's light.
    sky = np.where(hemisphere[:, 2] > 0, sky_light, 0.2 * (sky_light + sun_light @ np.maximum(0.0, sun[:, 2])))
    weights = np.concatenate([sun_light[up] * cosine[up], sky / len(hemisphere)])
    points = LOOK_NET.place(panels, rear)
    blocked = kernel.blocked(points, np.concatenate([sun[up], hemisphere]))
    per_panel = blocked.reshape(len(weights), len(panels), -1).transpose(1, 0, 2)
    scaled = per_panel * (weights[None, :, None] / per_panel.shape[2])
    return scaled.reshape(len(panels), -1).astype(np.float32), float(weights.sum())


def _cluster(views: np.ndarray, limit: float) -> IntArray:
    """Number the rows such that those of one number lie within ``limit`` of its first row; (n,) int."""
    nearest = np.full(len(views), np.inf)
    which = np.zeros(len(views), dtype=np.int64)
    count = 0
    while True:
        open_rows = np.flatnonzero(nearest > limit)
        if not len(open_rows):
            return np.unique(which, return_inverse=True)[1].reshape(-1)
        distance = np.abs(views - views[open_rows[0]]).sum(axis=1)
        closer = distance < nearest
        which[closer], nearest[closer] = count, distance[closer]
        nearest[open_rows[0]] = 0.0
        count += 1


def _middle_rows(views: np.ndarray, which: IntArray) -> IntArray:
    """The row of each number that is nearest to the mean of its fellows, so that sharing has no bias."""
    count = int(which.max()) + 1
    sums = np.zeros((count, views.shape[1]))
    np.add.at(sums, which, views)
    means = sums / np.bincount(which, minlength=count)[:, None]
    off = np.abs(views - means[which]).sum(axis=1)
    order = np.lexsort((off, which))
    return order[np.searchsorted(which[order], np.arange(count))]
