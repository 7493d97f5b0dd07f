"""A plane mirror in front of a panel against the exact construction of its image: polygons cut by shapely, which share
nothing with the ray engine. Geometry only: a mirror sends light on as if it came from the sun's image behind it."""

import numpy as np
import pytest
from shapely import Polygon, affinity, box

from layout.light.light_map import light_map
from layout.pieces import Panel, Reflector, Scene
from sites.conventions import elevation_azimuth

MEAN = 0.005
"""Of DNI, a panel's mean."""

GEOMETRIES = 500


def cut(points, distance):
    """The part of a convex polygon (k, 3) with distance (k,) above 0 from a plane (Sutherland & Hodgman, Commun. ACM
    17 (1974) 32)."""
    kept = []
    for i in range(len(points)):
        a, b, da, db = points[i - 1], points[i], distance[i - 1], distance[i]
        if (da > 0) != (db > 0):
            kept.append(a + (b - a) * da / (da - db))
        if db > 0:
            kept.append(b)
    return np.array(kept)


def corners(piece):
    return piece.corner + np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) @ np.array([piece.along, piece.up])


def dropped(points, plane, direction):
    """Points carried along a direction onto a piece's plane, in shares of the piece's edges (k, 2)."""
    travel = ((points - plane.corner) @ plane.normal) / (direction @ plane.normal)
    local = points - travel[:, None] * direction - plane.corner
    return np.stack([local @ plane.along / (plane.along @ plane.along), local @ plane.up / (plane.up @ plane.up)]).T


def seen_through(panel, mirror, sun):
    """The part of the panel that the mirror lights, in shares of its edges, and the cosine there.

    Light runs from the sun to the mirror, along −sun, and from the mirror to the panel, against `image`, the
    direction in which the panel sees the sun in the mirror. The panel's own shadow on the mirror goes along.
    """
    image = sun - 2.0 * (sun @ mirror.normal) * mirror.normal
    if sun @ mirror.normal <= 0 or image @ panel.normal <= 0:
        return Polygon(), 0.0
    before = cut(corners(mirror), (corners(mirror) - panel.corner) @ panel.normal)
    if len(before) < 3:
        return Polygon(), 0.0
    lit = Polygon(dropped(before, panel, image)).intersection(box(0, 0, 1, 1))
    shading = cut(corners(panel), (corners(panel) - mirror.corner) @ mirror.normal)
    if len(shading) >= 3:
        shares = dropped(shading, mirror, sun)
        on_mirror = mirror.corner + shares @ np.array([mirror.along, mirror.up])
        ahead = cut(on_mirror, (on_mirror - panel.corner) @ panel.normal)
        if len(ahead) >= 3:
            lit = lit.difference(Polygon(dropped(ahead, panel, image)).buffer(0))
    return lit, float(image @ panel.normal)


def lit_shares(panel, lit):
    """Lit share of every cell, (n_up, n_along)."""
    n_up, n_along = panel.cells
    grid = affinity.scale(lit, n_along, n_up, origin=(0, 0))
    return np.array([[box(j, i, j + 1, i + 1).intersection(grid).area for j in range(n_along)] for i in range(n_up)])


def random_case(seed):
    """A panel of any attitude, a mirror before it turned more or less to it, and a sun that the mirror sends on to
    about the panel."""
    rng = np.random.default_rng(seed)
    axes = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    size = rng.uniform(0.6, 2.0, 2)
    panel = Panel((0, 0, 0), size[0] * axes[0], size[1] * axes[1], cells=tuple(rng.integers(2, 11, 2)))
    while True:
        middle = panel.centre + rng.uniform(0.3, 2.5) * unit(panel.normal + rng.normal(size=3) * 0.7)
        if (middle - panel.centre) @ panel.normal <= 0.1:
            continue
        image = unit(middle - panel.centre + rng.normal(size=3) * 0.35)
        sun = unit(rng.normal(size=3))
        normal = unit(sun - image)
        if image @ panel.normal < 0.05 or sun @ normal < 0.1:
            continue
        first = unit(np.cross(normal, rng.normal(size=3)))
        along, up = rng.uniform(0.3, 2.5, 2)[:, None] * np.array([first, np.cross(normal, first)])
        return panel, Reflector(middle - 0.5 * (along + up), along, up, reflectance=1.0), sun


def unit(v):
    return v / np.linalg.norm(v)


def errors(seed):
    """Error of the panel's mean and worst cell over the beam, and whether the mirror lights part of the panel."""
    panel, mirror, sun = random_case(seed)
    m = light_map(Scene([panel], [mirror]), *elevation_azimuth(sun[None]), dni=1.0)
    lit, cosine = seen_through(panel, mirror, sun)
    off = m.reflected[0][0] - cosine * lit_shares(panel, lit)
    return off.mean(), np.abs(off).max(), 0.0 < lit.area < 1.0 - 1e-9, lit.area > 0


def checked(seeds):
    mean, cell, edges, some = map(np.array, zip(*(errors(seed) for seed in seeds), strict=True))
    print(
        f"\n{len(mean)} geometries, {some.sum()} lit, {edges.sum()} with an edge on the panel: error of the mean max "
        f"{np.abs(mean).max():.5f}, rms {np.sqrt((mean**2).mean()):.6f} of DNI; worst cell {cell.max():.4f}"
    )
    assert edges.sum() > 0.5 * len(mean)
    assert np.abs(mean).max() < MEAN
    # A lit edge one cell off would leave a whole cell wrong.
    assert cell.max() < 0.03


def test_random_mirrors():
    checked(range(GEOMETRIES))


def test_a_construction_done_by_hand():
    """Upright panel, level mirror of its size at the foot, sun at 30° straight before it: the lower tan 30° is lit."""
    panel = Panel((0, 0, 0), (1, 0, 0), (0, 0, 1), cells=(10, 3))
    mirror = Reflector((0, -1, 0), (1, 0, 0), (0, 1, 0), reflectance=1.0)
    lit, cosine = seen_through(panel, mirror, np.array([0, -np.cos(np.radians(30)), 0.5]))
    assert lit.area == pytest.approx(np.tan(np.radians(30)))
    assert cosine == pytest.approx(np.cos(np.radians(30)))
    assert lit_shares(panel, lit)[:, 0].round(6).tolist() == [1, 1, 1, 1, 1, 0.773503, 0, 0, 0, 0]
