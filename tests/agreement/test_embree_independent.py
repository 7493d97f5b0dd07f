"""The ray engine against computations that share nothing with it: shadows cut as polygons (shapely), sky and
ground light by a general-purpose renderer (mitsuba)."""

import mitsuba as mi
import numpy as np
import pytest
from shapely import Polygon, box, unary_union

from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of, light_coefficients
from layout.light.light_map import light_map
from layout.light.net import texture_net
from layout.light.sky_parts import SkyParts
from layout.pieces import Blocker, Ground, Panel, Scene
from sites.conventions import unit_vector

AREA = 0.002


def cut_at_plane(points, distance):
    """The part of a convex polygon (k, 3) with distance (k,) above 0 from a plane (Sutherland & Hodgman,
    Commun. ACM 17 (1974) 32)."""
    kept = []
    for i in range(len(points)):
        a, b, da, db = points[i - 1], points[i], distance[i - 1], distance[i]
        if (da > 0) != (db > 0):
            kept.append(a + (b - a) * da / (da - db))
        if db > 0:
            kept.append(b)
    return np.array(kept)


def shadow(panel, piece, sun):
    """Shadow of a rectangle on a panel's plane, in shares of its edges (x along, y up); empty where none."""
    corners = piece.corner + np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) @ np.array([piece.along, piece.up])
    part = cut_at_plane(corners, (corners - panel.corner) @ panel.normal)
    if len(part) < 3:
        return Polygon()
    travel = ((part - panel.corner) @ panel.normal) / (sun @ panel.normal)
    local = part - travel[:, None] * sun - panel.corner
    shares = np.stack([local @ panel.along / (panel.along @ panel.along), local @ panel.up / (panel.up @ panel.up)])
    return Polygon(shares.T).buffer(0)


def lit_shares(panel, others, sun):
    """Lit share of every cell, (n_up, n_along), exact."""
    n_up, n_along = panel.cells
    dark = unary_union([shadow(panel, piece, sun) for piece in others])
    cells = [
        [box(j / n_along, i / n_up, (j + 1) / n_along, (i + 1) / n_up) for j in range(n_along)] for i in range(n_up)
    ]
    return 1.0 - np.array([[c.intersection(dark).area for c in row] for row in cells]) * n_up * n_along


def random_piece(rng, kind, spread, size, **more):
    """A rectangle of any attitude about the middle of the scene."""
    axes = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    along, up = rng.uniform(0.3, 1.0, 2)[:, None] * size * axes[:2]
    return kind(rng.uniform(-spread, spread, 3) - 0.5 * (along + up), along, up, **more)


def random_scene(seed):
    rng = np.random.default_rng(seed)
    cells = tuple(rng.integers(1, 8, 2))
    panel = random_piece(rng, Panel, 0.3, 2.0, cells=cells, bifacial=True)
    blockers = [random_piece(rng, Blocker, 3.0, 2.0) for _ in range(int(rng.integers(1, 12)))]
    second = random_piece(rng, Panel, 3.0, 2.0, cells=(3, 3))
    return rng, Scene([panel, second], blockers=blockers)


def test_shadows_against_polygons():
    """Rectangles of any attitude, suns from anywhere: light on each panel and each cell, front and rear."""
    panel_errors, cell_errors = [], []
    for seed in range(40):
        rng, scene = random_scene(seed)
        direction = rng.normal(size=(10, 3))
        direction /= np.linalg.norm(direction, axis=1, keepdims=True)
        elevation = np.degrees(np.arcsin(direction[:, 2]))
        azimuth = np.degrees(np.arctan2(direction[:, 0], direction[:, 1])) % 360.0
        m = light_map(scene, elevation, azimuth, dni=1.0)
        panel, others = scene.panels[0], scene.pieces[1:]
        back = Panel(panel.corner + panel.along, -panel.along, panel.up, cells=panel.cells)
        for k, sun in enumerate(unit_vector(elevation, azimuth)):
            cosine = sun @ panel.normal
            if abs(cosine) < 0.02:
                continue
            face = panel if cosine > 0 else back
            found = (m.direct[0][k] if cosine > 0 else m.rear[0][k][:, ::-1]) / abs(cosine)
            off = found - lit_shares(face, others, sun)
            panel_errors.append(off.mean())
            cell_errors.append(np.abs(off).max())
    panel_errors, cell_errors = np.abs(panel_errors), np.array(cell_errors)
    print(f"{panel_errors.size} faces: area max {panel_errors.max():.5f}, mean {panel_errors.mean():.6f}")
    print(f"worst cell: {cell_errors.max():.4f} of the cell, mean of the worst {cell_errors.mean():.5f}")
    assert panel_errors.max() < AREA
    assert cell_errors.max() < 0.02


def test_shadows_of_rows_towers_and_a_house_against_polygons():
    """Scenes as they stand on plots: every panel, suns of all heights."""
    errors = []
    for scene in (tilted_rows(), tower_cluster(), beside_a_house()):
        elevation, azimuth = (
            np.array([4.0, 9.0, 17.0, 30.0, 55.0]),
            np.array([95.0, 130.0, 170.0, 215.0, 260.0]),
        )
        m = light_map(scene, elevation, azimuth, dni=1.0)
        for p, panel in enumerate(scene.panels):
            others = [x for x in scene.pieces if x is not panel]
            for k, sun in enumerate(unit_vector(elevation, azimuth)):
                if sun @ panel.normal > 0.02:
                    lit = lit_shares(panel, others, sun)
                    errors.append((m.direct[p][k] / (sun @ panel.normal) - lit).mean())
    errors = np.abs(errors)
    print(f"{errors.size} faces: error of the area max {errors.max():.5f}, mean {errors.mean():.6f}")
    assert errors.max() < AREA


def tilted_rows():
    tilt = np.radians(28.0)
    up = 1.8 * np.array([0.0, np.cos(tilt), np.sin(tilt)])
    return Scene([Panel((1.15 * i, 3.1 * j, 0.6), (1.1, 0, 0), up, cells=(10, 6)) for i in range(4) for j in range(3)])


def tower_cluster():
    panels = []
    for east, north in ((0, 0), (2.4, 0.3), (0.4, 2.6)):
        ends = np.add([(0, 0), (1.0, 0), (1.0, 1.0), (0, 1.0)], (east, north))
        for a, b in zip(ends, np.roll(ends, -1, axis=0), strict=True):
            panels.append(Panel((*a, 0.5), (*(b - a), 0), (0, 0, 3.0), cells=(9, 3)))
    return Scene(panels)


def beside_a_house():
    tilt = np.radians(35.0)
    up = 1.7 * np.array([0.0, np.cos(tilt), np.sin(tilt)])
    panels = [Panel((1.2 * i, 0, 0.7), (1.1, 0, 0), up, cells=(6, 4)) for i in range(6)]
    ends = np.array([(-3.0, -6.0), (4.0, -6.5), (4.2, -2.5), (-2.8, -2.0)])
    walls = [Blocker((*a, 0), (*(b - a), 0), (0, 0, 4.5)) for a, b in zip(ends, np.roll(ends, -1, axis=0), strict=True)]
    return Scene(panels, blockers=walls)


def by_renderer(scene, rear, sun=None, samples=6144):
    """Light on one face of the first panel over that of an even sky of 1 (or of a beam of 1 from ``sun``),
    one bounce on the ground, by path tracing; the beam's straight part is not in it."""
    mi.set_variant("scalar_rgb")
    black = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}
    world = {"type": "scene", "integrator": {"type": "path", "max_depth": 2, "rr_depth": 100}}
    if sun is None:
        # A sky of 1 sends π/π = 1 W/m² to a level surface; its lower half is hidden by the ground.
        world["light"] = {"type": "constant", "radiance": {"type": "rgb", "value": 1.0 / np.pi}}
    else:
        world["light"] = {
            "type": "directional",
            "direction": [float(-c) for c in sun],
            "irradiance": {"type": "rgb", "value": 1.0},
        }
    for k, piece in enumerate(scene.pieces):
        turned = piece if not (k == 0 and rear) else Panel(piece.corner + piece.along, -piece.along, piece.up)
        half = np.array([turned.along / 2, turned.up / 2, turned.normal]).T
        frame = np.eye(4)
        frame[:3, :3], frame[:3, 3] = half, turned.centre
        shape = {"type": "rectangle", "to_world": mi.ScalarTransform4f(frame.tolist()), "bsdf": black}
        if k == 0:
            shape["meter"] = {
                "type": "irradiancemeter",
                "sampler": {"type": "independent", "sample_count": samples, "seed": 3},
                "film": {
                    "type": "hdrfilm",
                    "width": 16,
                    "height": 16,
                    "rfilter": {"type": "box"},
                    "pixel_format": "rgb",
                },
            }
        world[f"piece{k}"] = shape
    if scene.ground is not None:
        g = scene.ground
        frame = np.eye(4)
        side = np.cross(g.normal, [1.0, 0.0, 0.0])
        side /= np.linalg.norm(side)
        frame[:3, :3] = np.array([20000 * np.cross(side, g.normal), 20000 * side, g.normal]).T
        frame[:3, 3] = [0, 0, g.height]
        paint = {"type": "diffuse", "reflectance": {"type": "rgb", "value": g.albedo}}
        world["ground"] = {
            "type": "rectangle",
            "to_world": mi.ScalarTransform4f(frame.tolist()),
            "bsdf": paint,
        }
    image = np.array(mi.render(mi.load_dict(world)))
    return float(image[..., 0].mean())


def sky_by_engine(scene, rear):
    """Sky light straight and by way of the ground on the first panel, area mean."""
    parts = SkyParts(np.zeros((0, 3)), dome_rays=987, down_rays=987)
    panels, net = Rectangles.of(scene.panels[:1]), texture_net(*scene.panels[0].cells)
    out = light_coefficients(engine_of(scene, np.ones_like), parts, panels, net, np.ones_like, rear)
    sky, by_ground = out.before[:2, 0].mean(axis=1)
    return float(sky + scene.ground.albedo * by_ground)


def beam_by_engine(scene, rear, elevation, azimuth):
    """A beam of 1 by way of the ground on the first panel, area mean."""
    full = light_map(scene, elevation, azimuth, dni=1.0)
    if not rear:
        return full.reflected[0].mean()
    return full.rear[0].mean() - light_map(scene, elevation, azimuth, dni=1.0, bounces=0).rear[0].mean()


def over_ground(panel, blockers, albedo=0.5):
    return Scene([panel], blockers=blockers, ground=Ground(albedo=albedo))


SKY_SCENES = {
    "wall in front": over_ground(
        Panel((0, 0, 0.2), (2, 0, 0), (0, 1.0, 1.0), cells=(4, 4), bifacial=True),
        [Blocker((-1, -1.5, 0), (4, 0, 0), (0, 0, 2.0))],
    ),
    "upright between walls": over_ground(
        Panel((0, 0, 0.3), (1.5, 0, 0), (0, 0, 1.2), cells=(4, 4), bifacial=True),
        [Blocker((-2, 1.8, 0), (5, 0, 0), (0, 0, 1.5)), Blocker((-2, -1.2, 0), (5, 0.5, 0), (0, 0, 1.0))],
    ),
    "level under a roof": over_ground(
        Panel((0, 0, 1.0), (1.2, 0, 0), (0, 1.2, 0), cells=(4, 4), bifacial=True),
        [Blocker((0.5, -0.5, 2.0), (2, 0, 0.4), (0, 2, 0))],
        albedo=0.8,
    ),
    "three rows": over_ground(
        Panel((0, 0, 0.5), (3, 0, 0), (0, 1.5, 0.9), cells=(6, 4), bifacial=True),
        [Blocker((-4, d, 0.5), (11, 0, 0), (0, 1.5, 0.9)) for d in (-2.8, 2.8)],
        albedo=0.6,
    ),
}


@pytest.mark.parametrize("rear", [False, True], ids=["front", "rear"])
@pytest.mark.parametrize("name", SKY_SCENES)
def test_sky_and_ground_against_a_renderer(name, rear):
    """Even sky, straight and by one bounce on a matt ground: within 1 %. A beam by one bounce: within 1 %, or
    within 0.1 % of the beam where little of it comes that way."""
    scene, elevation, azimuth = SKY_SCENES[name], 38.0, 205.0
    sky, beam = sky_by_engine(scene, rear), beam_by_engine(scene, rear, elevation, azimuth)
    sky_there = by_renderer(scene, rear)
    beam_there = by_renderer(scene, rear, unit_vector(elevation, azimuth))
    print(f"{name}: sky {sky:.4f} {sky / sky_there - 1:+.4f}, by ground {beam:.4f} {beam - beam_there:+.5f}")
    assert sky == pytest.approx(sky_there, rel=0.01)
    assert beam == pytest.approx(beam_there, rel=0.01, abs=1e-3)
