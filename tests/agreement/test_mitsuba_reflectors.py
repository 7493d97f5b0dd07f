"""Scattering reflectors against a general-purpose path tracer (mitsuba): rough conductor with Beckmann slopes, an
irradiance meter on the panel with a pixel for each cell.

Its meter does not see a directional sun itself, nor through a plane mirror; light off a scattering lobe it does. So
reflected light is compared, the straight part is the cosine. Its conductor without a material reflects the same at all
angles. It takes Walter's rational fit for the masking, at most 0.35 % off the exact form used here.
"""

from dataclasses import dataclass

import mitsuba as mi
import numpy as np
import pytest

from layout.light.light_map import light_map
from layout.pieces import Blocker, Panel, Reflector, Scene
from sites.conventions import unit_vector

MEAN = 0.01
"""Of the panel's mean reflected light."""

CELL = 0.03
"""Of the panel's brightest cell."""


@dataclass
class Case:
    scene: Scene
    elevation: float
    azimuth: float
    bounces: int = 1


def tilted_panel(tilt_deg=30.0, cells=(6, 4)):
    """Faces south, 1.1 × 1.7 m."""
    t = np.radians(tilt_deg)
    return Panel((0, 0, 1.0), (1.1, 0, 0), 1.7 * np.array([0, np.cos(t), np.sin(t)]), cells=cells)


def wing(panel, side, slopes, opening_deg=60.0, depth=1.2, turned=False, **more):
    """A sheet hinged at one edge of a panel, ``opening_deg`` up from the panel's plane; its ribs run across it, or
    along it where ``turned``."""
    c, a, u, n = panel.corner, panel.along, panel.up, panel.normal
    start, edge, out = {
        "lower": (c, a, -u),
        "right": (c + a, u, a),
        "upper": (c + a + u, -a, u),
        "left": (c + u, -u, -a),
    }[side]
    o = np.radians(opening_deg)
    rise = depth * (np.cos(o) * out / np.linalg.norm(out) + np.sin(o) * n)
    corner, along, up = start + edge, -edge, rise
    if turned:
        corner, along, up = corner + along, up, -along
    sheet = Reflector(corner, along, up, slope_rms=slopes, **more)
    assert sheet.normal @ (panel.centre - sheet.centre) > 0
    return sheet


def foot(slopes, tilt_deg=0.0, length=1.4, **more):
    """An upright panel that faces south and a sheet from its foot, its far edge raised by a tilt."""
    t = np.radians(tilt_deg)
    out = length * np.array([0, -np.cos(t), np.sin(t)])
    panel = Panel((0, 0, 0), (1, 0, 0), (0, 0, 1.2), cells=(6, 4))
    return panel, Reflector(out - np.array([0.3, 0, 0]), (1.6, 0, 0), -out, slope_rms=slopes, **more)


def alone(panel, sheet):
    return Scene([panel], [sheet])


def cases():
    p = tilted_panel()
    upright, level = foot((10, 10))
    far = Reflector((-1.5, -3.5, 0.4), (3.0, 0, 0), (0, 1.8, -0.2), reflectance=0.9, slope_rms=(4, 9))
    east = Reflector((1.1, -0.1, -0.1), (0, -1.4, 0), (0, 0, 1.5), reflectance=0.95, slope_rms=(12, 1))
    return {
        "level sheet 10, 10": Case(Scene([upright], [level]), 35, 180),
        "level sheet 25, 2": Case(alone(*foot((25, 2))), 35, 165),
        "level sheet 2, 25": Case(alone(*foot((2, 25))), 40, 200),
        "level sheet 2, 2": Case(alone(*foot((2, 2))), 35, 180),
        "raised sheet 12, 1": Case(alone(*foot((12, 1), 8.0)), 22, 170),
        "raised sheet 5, 5": Case(alone(*foot((5, 5), 5.0)), 25, 190),
        "raised sheet 3, 15": Case(alone(*foot((3, 15), 5.0)), 30, 150),
        "low sun on a level sheet 15, 15": Case(alone(*foot((15, 15))), 12, 160),
        "sheet 20, 20 off to the side": Case(Scene([upright], [foot((20, 20), reflectance=0.8)[1]]), 50, 120),
        "four wings 10, 10": Case(
            Scene([p], [wing(p, s, (10, 10)) for s in ("lower", "right", "upper", "left")]), 55, 180
        ),
        "four wings 12, 1": Case(
            Scene([p], [wing(p, s, (12, 1), 50.0) for s in ("lower", "right", "upper", "left")]), 60, 205
        ),
        "two wings 7, 3 with ribs along": Case(
            Scene([p], [wing(p, s, (7, 3), 70.0, 1.5, turned=True) for s in ("left", "right")]), 50, 160
        ),
        "upper wing 25, 25": Case(Scene([p], [wing(p, "upper", (25, 25), 80.0, 1.6)]), 45, 185),
        "sheet behind a post": Case(
            Scene([upright], [foot((8, 8))[1]], blockers=[Blocker((0.3, -0.6, 0), (0.15, 0, 0), (0, 0, 0.5))]), 35, 190
        ),
        "panel before a far sheet 4, 9": Case(Scene([looking_down()], [far]), 28, 172),
        "two bounces 12, 1 and 10, 10": Case(Scene([upright], [foot((10, 10))[1], east]), 40, 240, bounces=2),
        "two bounces 20, 20": Case(
            Scene([upright], [foot((20, 20))[1], Reflector(east.corner, east.along, east.up, slope_rms=(20, 20))]),
            40,
            240,
            bounces=2,
        ),
        "two bounces 3, 15 and 15, 3": Case(
            Scene([upright], [foot((15, 3))[1], Reflector(east.corner, east.along, east.up, slope_rms=(3, 15))]),
            40,
            235,
            bounces=2,
        ),
    }


def looking_down():
    """A panel that faces south and down a little, above the ground."""
    up = np.array([0, -0.3, 1.0])
    return Panel((0, 0, 0.3), (1, 0, 0), up, cells=(5, 5))


def shape(piece, bsdf):
    frame = np.eye(4)
    frame[:3, :3], frame[:3, 3] = np.array([piece.along / 2, piece.up / 2, piece.normal]).T, piece.centre
    return {"type": "rectangle", "to_world": mi.ScalarTransform4f(frame.tolist()), "bsdf": bsdf}


def grey(value):
    return {"type": "rgb", "value": float(value)}


def rough(sheet):
    """Beckmann widths are √2 times the rms slopes."""
    alpha = np.sqrt(2.0) * np.tan(np.radians(sheet.slope_rms))
    return {
        "type": "roughconductor",
        "distribution": "beckmann",
        "material": "none",
        "alpha_u": float(alpha[0]),
        "alpha_v": float(alpha[1]),
        "specular_reflectance": grey(sheet.reflectance),
    }


def by_tracer(case, samples, seed=1):
    """Reflected light on each cell of the first panel, (n_up, n_along), from a beam of 1; samples: of each cell."""
    mi.set_variant("scalar_rgb")
    scene, (panel, *_) = case.scene, case.scene.panels
    sun = unit_vector(case.elevation, case.azimuth)
    black = {"type": "diffuse", "reflectance": grey(0)}
    world = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": case.bounces + 1, "rr_depth": 100},
        "sun": {"type": "directional", "direction": [float(-c) for c in sun], "irradiance": grey(1)},
        "panel": shape(panel, black),
    }
    world["panel"]["meter"] = {
        "type": "irradiancemeter",
        "sampler": {"type": "multijitter", "sample_count": samples},
        "film": {
            "type": "hdrfilm",
            "width": panel.cells[1],
            "height": panel.cells[0],
            "rfilter": {"type": "box"},
            "pixel_format": "luminance",
            "component_format": "float32",
        },
    }
    for k, sheet in enumerate(scene.reflectors):
        world[f"sheet {k}"] = shape(sheet, rough(sheet))
    for k, blocker in enumerate(scene.blockers):
        world[f"blocker {k}"] = shape(blocker, {"type": "twosided", "material": black})
    return np.array(mi.render(mi.load_dict(world), seed=seed, spp=samples))[..., 0]


def compared(name, samples):
    case = cases()[name]
    truth = by_tracer(case, samples)
    m = light_map(case.scene, case.elevation, case.azimuth, dni=1.0, bounces=case.bounces)
    found, total = m.reflected[0][0], m.total[0][0]
    mean, cell = found.mean() / truth.mean() - 1.0, np.abs(found - truth).max() / total.max()
    print(
        f"\n{name}: reflected mean {truth.mean():.4f}, brightest cell {total.max():.3f} of DNI; "
        f"mean {mean:+.2%}, worst cell {cell:.2%} of the brightest"
    )
    assert truth.mean() > 0.05
    assert abs(mean) < MEAN
    assert cell < CELL


@pytest.mark.parametrize(
    "name", ["level sheet 10, 10", "level sheet 25, 2", "two wings 7, 3 with ribs along", "two bounces 20, 20"]
)
def test_scattering_sheets(name):
    compared(name, 256**2)


@pytest.mark.long
@pytest.mark.parametrize("name", list(cases()))
def test_many_scattering_sheets(name):
    narrow = min(min(s.slope_rms) for s in cases()[name].scene.reflectors) < 4
    compared(name, 1024**2 if narrow else 512**2)
