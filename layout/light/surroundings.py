"""Panels that see the same surroundings: traced once, used for all of them.

Each panel is looked at coarsely: from four of its points along some sun directions and some directions of the
hemisphere, blocked or free. Panels of one attitude whose views differ by less than a tolerance, weighted by the
year's light in each direction, share the tracing of one of them.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from layout.geometry.rays import START_OFFSET_M
from layout.geometry.rectangles import Rectangles
from layout.light.chains import light_by_sheets
from layout.light.lattice import cosine_hemisphere, fibonacci_lattice, frame, grid_lattice
from layout.light.net import Net
from layout.light.receive import Engine
from layout.light.sheets import sequences
from sites.conventions import BoolArray, FloatArray, IntArray

LOOK_NET = Net(1, 1, grid_lattice(2, 2))
LOOK_SUN = 144
LOOK_DOME = 89
LOOK_GROUND = 12
LOOK_FEW_SUN = 36
LOOK_GROUND_SUN = 12
LOOK_DRAWS = 5
SHEET_WEIGHT = 4.0
TOLERANCE = 0.002
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


@dataclass(frozen=True, eq=False)
class Year:
    """What a year brings, for weighing views.

    sun : (m, 3); sun_light : (m,) beam from each sun direction, kWh/m² normal to it
    sky_light : dome light, kWh/m² horizontal; albedo : its mean
    """

    sun: FloatArray
    sun_light: FloatArray
    sky_light: float
    albedo: float

    def thinned(self, count: int) -> "Year":
        """About ``count`` of the sun directions, each standing for its neighbours."""
        step = max(1, len(self.sun) // count)
        return Year(self.sun[::step], self.sun_light[::step] * step, self.sky_light, self.albedo)


Views = Callable[[Engine, Rectangles, bool, Year], tuple[tuple[np.ndarray, float], ...]]
"""What panels of one attitude see on their front or rear: features (n, f) and light of a free panel, as `_sky_view`."""


def equal_surroundings(
    engine: Engine,
    panels: Rectangles,
    family: IntArray,
    both_faces: BoolArray,
    year: Year,
    tolerance: float = TOLERANCE,
    least: float = 0.0,
    views: Views | None = None,
) -> Surroundings:
    """Choose the panels to trace.

    family : (n,) int; only panels with the same number (cells, faces, orientation) may share
    both_faces : (n,) bool, whether the rear matters too; the same throughout a family
    least : light by which views may differ however little a panel gets, in the units of the year's
    views : what to compare (default `year_views`)
    """
    look = views or year_views
    kind = _attitudes(panels, family)
    traced: list[IntArray] = []
    of_panel = np.zeros(len(panels), dtype=np.int64)
    start = 0
    for k in range(kind.max(initial=-1) + 1):
        members = np.flatnonzero(kind == k)
        faces = (False, True) if both_faces[members[0]] else (False,)
        seen = [v for rear in faces for v in look(engine, panels[members], rear, year)]
        total = sum(v[1] for v in seen)
        view = np.concatenate([v[0] for v in seen], axis=1)
        which = _cluster(view, max(tolerance * total, least))
        middle = _middle_rows(view, which)
        traced.append(members[middle])
        of_panel[members] = start + which
        start += len(middle)
    return Surroundings(np.concatenate(traced) if traced else np.zeros(0, dtype=np.int64), of_panel)


def year_views(engine: Engine, panels: Rectangles, rear: bool, year: Year) -> tuple[tuple[np.ndarray, float], ...]:
    """What panels of one attitude see of the sky, of lit ground and of lit sheets."""
    sky = _sky_view(engine, panels, rear, year.thinned(LOOK_SUN))
    few = year.thinned(LOOK_FEW_SUN)
    return sky, _ground_view(engine, panels, rear, few), _sheet_view(engine, panels, rear, few)


def _attitudes(panels: Rectangles, family: IntArray) -> IntArray:
    """Number the sets of panels with one attitude, size and family."""
    features = np.concatenate([panels.along, panels.up, family[:, None]], axis=1)
    _, kind = np.unique(np.round(features, 5), axis=0, return_inverse=True)
    return kind.reshape(-1)


def _sky_view(engine: Engine, panels: Rectangles, rear: bool, year: Year) -> tuple[np.ndarray, float]:
    """Blocked or free: (n, features) float32, so scaled that the sum of absolute differences of two rows is the
    difference of their year's light; and the light of a free panel."""
    normal = panels.normal[0] * (-1.0 if rear else 1.0)
    cosine = year.sun @ normal
    up = cosine > 0
    hemisphere = cosine_hemisphere(fibonacci_lattice(LOOK_DOME, (0.13, 0.57))) @ frame(normal)
    ground = year.albedo * (year.sky_light + year.sun_light @ np.maximum(0.0, year.sun[:, 2]))
    sky = np.where(hemisphere[:, 2] > 0, year.sky_light, ground)
    weights = np.concatenate([year.sun_light[up] * cosine[up], sky / len(hemisphere)])
    points = LOOK_NET.place(panels, rear)
    blocked = engine.kernel.blocked(points, np.concatenate([year.sun[up], hemisphere]))
    per_panel = blocked.reshape(len(weights), len(panels), -1).transpose(1, 0, 2)
    scaled = per_panel * (weights[None, :, None] / per_panel.shape[2])
    return scaled.reshape(len(panels), -1).astype(np.float32), float(weights.sum())


def _ground_view(engine: Engine, panels: Rectangles, rear: bool, year: Year) -> tuple[np.ndarray, float]:
    """Lit or shaded, for ground places that the panels' middles look at, and the sunlight that sheets throw on them;
    scaled as `_sky_view`. The light is part of the free panel's there, hence 0 here."""
    ground, n = engine.ground, len(panels)
    if ground is None:
        return np.zeros((n, 0), dtype=np.float32), 0.0
    directions = cosine_hemisphere(fibonacci_lattice(LOOK_DOME, (0.13, 0.57))) @ frame(
        panels.normal[0] * (-1.0 if rear else 1.0)
    )
    down = directions[directions @ ground.normal < -0.05]
    share = len(down) / len(directions)
    down = down[:: max(1, len(down) // LOOK_GROUND)]
    if not len(down):
        return np.zeros((n, 0), dtype=np.float32), 0.0
    middle = Net(1, 1).place(panels, rear)
    free = ~engine.kernel.blocked(middle, down)
    distance = (middle[None] - [0.0, 0.0, ground.height]) @ ground.normal / -(down @ ground.normal)[:, None]
    hits = middle[None] + distance[..., None] * down[:, None] + START_OFFSET_M * ground.normal
    light = np.concatenate([year.sun_light * np.maximum(0.0, year.sun @ ground.normal), [0.0]])
    up = np.flatnonzero(light > 0)
    lit = ~engine.kernel.blocked(hits.reshape(-1, 3), year.sun[up]).reshape(len(up), len(down), n)
    per_beam = year.albedo * share / len(down)
    scaled = (lit & free) * (light[up] * per_beam)[:, None, None]
    seen = np.concatenate([scaled.reshape(-1, n), _sheets_on_ground(engine, hits, free, year) * np.float32(per_beam)])
    return seen.T.astype(np.float32), 0.0


def _sheets_on_ground(engine: Engine, hits: FloatArray, seen: BoolArray, year: Year) -> np.ndarray:
    """Sunlight by way of one sheet's lobe on ground places (d, n, 3) where they are seen (d, n), kWh/m²; (features, n).
    What shades sheets that are matt is seen by the views of sky and ground."""
    orders, few = tuple(sequences(engine.sheets, 1)), year.thinned(LOOK_GROUND_SUN)
    if not orders or engine.ground is None:
        return np.zeros((0, hits.shape[1]), dtype=np.float32)
    out = np.zeros((len(few.sun), *seen.shape), dtype=np.float32)
    normal, suns = engine.ground.normal, (few.sun, (np.ones_like,), engine.sheet_glass, LOOK_DRAWS)
    got = light_by_sheets(engine.kernel, orders, hits[seen], normal, *suns)[0]
    out[:, seen] = got * few.sun_light.astype(np.float32)[:, None]
    return out.reshape(-1, hits.shape[1])


def _sheet_view(engine: Engine, panels: Rectangles, rear: bool, year: Year) -> tuple[np.ndarray, float]:
    """Sunlight by way of one sheet, scaled as `_sky_view` but counted SHEET_WEIGHT times: shares of the reflectors'
    light are asked for by themselves, where an error that is small against all light is not small."""
    points, normal = LOOK_NET.place(panels, rear), panels.normal[0] * (-1.0 if rear else 1.0)
    orders = tuple(sequences(engine.sheets, 1))
    got = light_by_sheets(
        engine.kernel, orders, points, normal, year.sun, (np.ones_like,), engine.sheet_glass, LOOK_DRAWS
    )[0]
    got = got.reshape(len(year.sun), len(panels), -1).transpose(1, 0, 2)
    weights = year.sun_light.astype(np.float32)[None, :, None] * np.float32(SHEET_WEIGHT / LOOK_NET.points)
    return (got * weights).reshape(len(panels), -1), 0.0


def matt_view(engine: Engine, panels: Rectangles, rear: bool, year: Year) -> tuple[np.ndarray, float]:
    """Sunlight by way of Lambertian sheets at the first of the year's sun directions, scaled as `_sky_view`; reflectors
    only. It is not part of `year_views`: over a year, what hides such sheets is seen by the views of sky and ground."""
    points, normal = LOOK_NET.place(panels, rear), panels.normal[0] * (-1.0 if rear else 1.0)
    hemisphere = cosine_hemisphere(fibonacci_lattice(LOOK_DOME, (0.13, 0.57))) @ frame(normal)
    hit = engine.kernel.first_outer(points, hemisphere)
    light = np.zeros(hit.shape, dtype=np.float32)
    sun = year.sun[0]
    for sheet in engine.sheets:
        strength = float(year.sun_light[0]) * sheet.diffuse_share * float(sun @ sheet.normal)
        on = sheet.member[hit] & (hemisphere @ sheet.normal < 0)[:, None]
        if not sheet.mirror or strength <= 0.0 or not on.any():
            continue
        way, point = np.nonzero(on)
        place = engine.kernel.meeting(points[point], hemisphere[way], hit[way, point].astype(np.int64))
        start = place + START_OFFSET_M * sheet.normal
        lit = ~engine.kernel.blocked_pairs(start, np.broadcast_to(sun, start.shape))
        light[way, point] = strength * lit
    per_panel = light.reshape(len(hemisphere), len(panels), -1).transpose(1, 0, 2) / light[:, 0].size
    return per_panel.reshape(len(panels), -1) / np.float32(LOOK_NET.points), 0.0


def _cluster(views: np.ndarray, limit: float) -> IntArray:
    """Number the rows such that those of one number lie within ``limit`` of its first row; (n,) int."""
    nearest = np.full(len(views), np.inf)
    which = np.zeros(len(views), dtype=np.int64)
    total = views.sum(axis=1, dtype=np.float64)
    slack = 1e-5 * float(np.abs(views).sum(axis=1, dtype=np.float64).max(initial=0.0))
    count = 0
    while True:
        open_rows = np.flatnonzero(nearest > limit)
        if not len(open_rows):
            return np.unique(which, return_inverse=True)[1].reshape(-1)
        first = open_rows[0]
        # Rows whose sums lie farther apart than that cannot be nearer.
        near = np.flatnonzero(np.abs(total - total[first]) <= np.minimum(nearest, limit) + slack)
        distance = np.abs(views[near] - views[first]).sum(axis=1)
        closer = distance < nearest[near]
        which[near[closer]], nearest[near[closer]] = count, distance[closer]
        nearest[first] = 0.0
        count += 1


def _middle_rows(views: np.ndarray, which: IntArray) -> IntArray:
    """The row of each number that is nearest to the mean of its fellows, so that sharing has no bias."""
    count = int(which.max()) + 1
    sums = np.zeros((count, views.shape[1]))
    np.add.at(sums, which, views)
    means = sums / np.bincount(which, minlength=count)[:, None]
    off = np.abs(views - means[which]).sum(axis=1)
    # Of rows equally near, the one in the middle of the order built: its neighbours reach farthest.
    order = np.argsort(which, kind="stable")
    starts = np.searchsorted(which[order], np.arange(count))
    place = np.zeros(len(views))
    place[order] = np.arange(len(views)) - starts[which[order]]
    from_middle = np.abs(place - 0.5 * np.bincount(which, minlength=count)[which])
    order = np.lexsort((from_middle, np.round(off, 6), which))
    return order[np.searchsorted(which[order], np.arange(count))]
