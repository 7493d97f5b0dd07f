"""View factors of radiation theory, seen through light_map: what a blocker takes of a panel's sky is the
factor between them, what a panel gets from a shaded ground is the factor to its lit part."""

import numpy as np
import pytest
from scipy.integrate import dblquad

from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of, light_coefficients
from layout.light.light_map import light_map
from layout.light.net import full_net, texture_net
from layout.light.sky_parts import SkyParts
from layout.pieces import Blocker, Ground, Panel, Scene
from sites.conventions import unit_vector

FACTOR = 0.002


def lost_sky(panel, blocker):
    """What one blocker takes of the sky of a panel that faces up: the view factor between them."""
    return 1.0 - light_map(Scene([panel], blockers=[blocker]), [], [], dome=True).dome[0].mean()


def both_ways(found, expected, what):
    print(f"{what}: error {found - expected:+.5f}")
    assert found == pytest.approx(expected, abs=FACTOR)


# widths, distance, factor
PARALLEL = [((1, 1), 1, 0.199825), ((1, 1.5), 0.5, 0.475576), ((0.1, 0.1), 0.05, 0.415253)]


@pytest.mark.parametrize("cells", [(1, 1), (6, 4)])
@pytest.mark.parametrize(("size", "distance", "expected"), PARALLEL)
def test_parallel_rectangles(size, distance, expected, cells):
    """Howell's catalog C-11; the second is Siegel & Howell, Thermal Radiation Heat Transfer, 4th ed., p.
    843."""
    a, b = size
    panel = Panel((0, 0, 0), (a, 0, 0), (0, b, 0), cells=cells)
    both_ways(lost_sky(panel, Blocker((0, 0, distance), (a, 0, 0), (0, b, 0))), expected, f"{size} at {distance}")


def wedge(angle_deg, length, first, second, shift=0.0):
    """A panel on the level from ``first[0]`` to ``first[1]`` off a corner and a blocker that rises from the
    same corner at an angle to it, from ``second[0]`` to ``second[1]`` along its slope."""
    a = np.radians(angle_deg)
    slope = np.array([0.0, np.cos(a), np.sin(a)])
    panel = Panel((0, first[0], 0), (length, 0, 0), (0, first[1] - first[0], 0), cells=(1, 1))
    start = np.array([-shift, 0.0, 0.0]) + second[0] * slope
    return panel, Blocker(start, (length + 2 * shift, 0, 0), (second[1] - second[0]) * slope)


# angle, common length, from - to off the corner on the level and on the slope, factor
SHARED_CORNER = [
    (90, 1, (0, 1), (0, 1), 0.200044),
    (90, 1, (0, 2), (0, 1), 0.116426),
    (90, 1, (0, 1), (0, 2), 0.232853),
    (90, 0.5, (0, 0.5), (0.2, 0.5), 0.072348),
    (90, 0.5, (0.1, 0.6), (0.2, 0.5), 0.071818),
    (45, 0.5, (0.1, 0.6), (0.2, 0.5), 0.227575),
]


@pytest.mark.parametrize(("angle", "length", "first", "second", "expected"), SHARED_CORNER)
def test_rectangles_about_a_corner(angle, length, first, second, expected):
    """Howell's catalog C-14 for the first three; then Chapman, Fundamentals of Heat Transfer (1987), p. 734,
    printed as .07235, .07182 and .2276; more digits by Gauss quadrature."""
    both_ways(lost_sky(*wedge(angle, length, first, second)), expected, f"{angle} deg, {first}, {second}")


@pytest.mark.parametrize(("angle", "expected"), [(30, 0.741181), (60, 0.5), (90, 0.292893), (120, 0.133975)])
def test_infinite_wedge(angle, expected):
    """Equal widths, without end: F = 1 − sin(α/2) (Howell's catalog C-16)."""
    both_ways(lost_sky(*wedge(angle, 1, (0, 1), (0, 1), shift=200.0)), expected, f"{angle} deg")


@pytest.mark.parametrize(("tilt", "expected"), [(0, 1), (20, 0.969846), (30, 0.933013), (60, 0.75), (90, 0.5)])
def test_sky_and_ground_of_a_free_plane(tilt, expected):
    """(1 + cos β)/2 of the sky and (1 − cos β)/2 of an unshaded ground."""
    b = np.radians(tilt)
    panel = Panel((0, 0, 1000), (1, 0, 0), (0, np.cos(b), np.sin(b)), cells=(2, 2))
    m = light_map(Scene([panel], ground=Ground(albedo=1.0)), [50.0], [0.0], dni=1.0, dome=True)
    print(f"tilt {tilt}: error of the sky {m.dome[0].mean() - expected:+.5f}")
    assert m.dome[0] == pytest.approx(np.full((2, 2), expected), abs=1e-3)
    by_ground = np.sin(np.radians(50.0)) * (1 - expected)
    assert m.reflected[0][0] == pytest.approx(np.full((2, 2), by_ground), abs=1e-3)


def upright_square(ground=None):
    return Scene([Panel((0, 0, 0), (1, 0, 0), (0, 0, 1), cells=(1, 1))], ground=ground)


def test_upright_square_over_black_ground():
    """A renderer's check case: half of an even sky, printed as E/(π L) = .5."""
    m = light_map(upright_square(Ground(albedo=0.0)), [30.0], [180.0], dome=True)
    assert m.dome[0].item() == pytest.approx(0.5, abs=1e-6)
    assert m.reflected[0].item() == 0.0


def corner_factor(x, y, h):
    """View factor from a level point to a rectangle at height h with one corner above it and the other at (x,
    y) (Howell's catalog B-3, the parallel element)."""
    a, b = x / h, y / h
    p, q = np.sqrt(1 + a * a), np.sqrt(1 + b * b)
    return (a / p * np.arctan(b / p) + b / q * np.arctan(a / q)) / (2 * np.pi)


def ground_factor(x, y, h):
    """View factor from the ground at (x, y) to the unit square about the origin at height h."""
    near, far = (0.5 - x, 0.5 + x), (0.5 - y, 0.5 + y)
    return sum(corner_factor(a, b, h) for a in near for b in far)


def hovering(height, east, north, cells=(6, 4)):
    """A unit square that hovers level over bright ground; its rear looks down."""
    panel = Panel((east - 0.5, north - 0.5, height), (1, 0, 0), (0, 1, 0), cells=cells, bifacial=True)
    return Scene([panel], ground=Ground(albedo=1.0))


@pytest.mark.parametrize(("height", "bound"), [(2.0, 0.003), (1.0, 0.005), (0.5, 0.01)])
def test_sunlight_by_way_of_ground_with_the_panels_own_shadow(height, bound):
    """The rear of a level square gets sin(elevation)·albedo·(1 − F), F the factor to its own shadow on the
    ground: the square moved along the sun's direction, integrated over the point factor B-3 by quadrature."""
    rng = np.random.default_rng(5)
    errors = []
    for _ in range(4):
        scene = hovering(height, *rng.uniform(-1, 1, 2))
        elevation, azimuth = rng.uniform(15, 90), rng.uniform(0, 360)
        s = unit_vector(elevation, azimuth)
        x, y = -height * s[:2] / s[2]
        shadow = dblquad(lambda v, u: ground_factor(u, v, height), x - 0.5, x + 0.5, y - 0.5, y + 0.5)[0]
        found = light_map(scene, [elevation], [azimuth], dni=1.0).rear[0].mean()
        errors.append(found / s[2] - (1 - shadow))
    errors = np.array(errors)
    print(f"height {height}: error max {np.abs(errors).max():.4f}, mean {errors.mean():+.4f}")
    assert np.abs(errors).max() < bound


@pytest.mark.parametrize(("height", "bound"), [(2.0, 0.005), (1.0, 0.005), (0.5, 0.02)])
def test_sky_by_way_of_ground_under_the_panel_that_shades_it(height, bound):
    """The ground under a level square misses the part F of its sky that the square covers, so the square's
    rear gets 1 − ∫F² dA from a sky of 1 and an albedo of 1 (reciprocity of the point factor B-3)."""
    missing = dblquad(lambda v, u: ground_factor(u, v, height) ** 2, -np.inf, np.inf, -np.inf, np.inf)[0]
    scene = hovering(height, 0.31, -0.17)
    out = light_coefficients(
        engine_of(scene, np.ones_like),
        SkyParts(np.zeros((0, 3)), dome_rays=987, down_rays=987),
        Rectangles.of(scene.panels),
        texture_net(6, 4),
        np.ones_like,
        rear=True,
    )
    found = float(out.before[1].mean())
    print(f"height {height}: error {found - (1 - missing):+.4f}")
    assert found == pytest.approx(1 - missing, abs=bound)


# east, azimuth of the sun
@pytest.mark.parametrize("azimuth", [0.0, 37.0, 90.0, 200.0, 301.0])
def test_light_on_both_faces_of_an_upright_panel(azimuth):
    """East plus west face = DNI sin(zenith) |sin azimuth| + DHI + albedo·GHI for an even sky and level,
    unshaded ground: an identity. The panel stands high, so that its own shadow on the ground counts for
    nothing."""
    dni, dhi, albedo, elevation = 700.0, 180.0, 0.35, 28.0
    panel = Panel((0, 0, 300), (0, -1, 0), (0, 0, 1), cells=(2, 2), bifacial=True)
    scene = Scene([panel], ground=Ground(albedo=albedo))
    sun = unit_vector(np.array([elevation]), np.array([azimuth]))
    engine, parts = engine_of(scene, np.ones_like), SkyParts(sun)
    faces = [
        light_coefficients(engine, parts, Rectangles.of([panel]), full_net(2, 2), np.ones_like, rear).before
        for rear in (False, True)
    ]
    total = sum(f.mean(axis=(1, 2)).astype(float) for f in faces)
    found = dni * (total[0] + albedo * total[1]) + dhi * (total[2] + albedo * total[3])
    zenith, ghi = np.radians(90 - elevation), dni * np.sin(np.radians(elevation)) + dhi
    expected = dni * np.sin(zenith) * abs(np.sin(np.radians(azimuth))) + dhi + albedo * ghi
    print(f"azimuth {azimuth}: error {found / expected - 1:+.2e}")
    assert found == pytest.approx(expected, rel=2e-5)
    by_map = light_map(scene, [elevation], [azimuth], dni)
    beam = dni * np.sin(zenith) * abs(np.sin(np.radians(azimuth)))
    expected = beam + albedo * dni * np.sin(np.radians(elevation))
    assert by_map.total[0].mean() + by_map.rear[0].mean() == pytest.approx(expected, rel=2e-5)


def box(width, depth, height, base=0.0):
    """The five faces of a closed box that stands on the ground, looking out: south, east, north, west,
    top."""
    w, d, h = width, depth, height
    ends = [(0, 0), (w, 0), (w, d), (0, d)]
    faces = [
        Panel((*a, base), (b[0] - a[0], b[1] - a[1], 0), (0, 0, h), cells=(1, 1))
        for a, b in zip(ends, ends[1:] + ends[:1], strict=True)
    ]
    return [*faces, Panel((0, 0, base + h), (w, 0, 0), (0, d, 0), cells=(1, 1))]


def caught(panels, light):
    """Sum of light times area over the faces, by sun position."""
    return sum(p.area_m2 * light[k].mean(axis=(1, 2)) for k, p in enumerate(panels))


def test_beam_on_a_box():
    """Convex box a × b × h: the beam it takes is ab sin(elevation) + h (b |s_x| + a |s_y|); numbers as listed
    for 1 × 2 × 5, worked by hand."""
    elevation, azimuth = np.array([20.0, 35.0, 70.0]), np.array([0.0, 50.0, 120.0])
    panels = box(1, 2, 5)
    found = caught(panels, light_map(Scene(panels), elevation, azimuth, dni=1.0).direct)
    print("error:", (found - [5.38250, 10.05493, 5.69642]).round(5))
    assert found == pytest.approx([5.38250, 10.05493, 5.69642], abs=1e-4)
    s = unit_vector(elevation, azimuth)
    assert found == pytest.approx(2 * s[:, 2] + 5 * (2 * abs(s[:, 0]) + abs(s[:, 1])), rel=1e-6)


def test_mean_shadow_of_a_box():
    """Cauchy's theorem: the mean shadow of a convex body over all directions is a quarter of its surface."""
    n = 2000
    height, turn = (np.arange(n) + 0.5) / n, 360.0 * 0.618033988749895 * np.arange(n)
    elevation = np.degrees(np.arcsin(2 * height - 1))
    panels = box(1, 2, 5)
    bottom = Panel((0, 0, 0), (0, 2, 0), (1, 0, 0), cells=(1, 1))
    faces = [*panels, bottom]
    found = caught(faces, light_map(Scene(faces), elevation, turn % 360.0, dni=1.0).direct).mean()
    print(f"mean shadow {found:.4f}, expected 8.5")
    assert found == pytest.approx(8.5, rel=1e-3)


@pytest.mark.parametrize(("size", "expected"), [((1, 2, 5), 8.5), ((1, 1, 1), 3.0)])
def test_even_sky_on_a_box(size, expected):
    """Even sky, black ground: total over footprint = 1 + h(a + b)/(ab), in the dome column of the
    coefficients."""
    panels = box(*size)
    scene = Scene(panels, ground=Ground(albedo=0.0))
    parts = SkyParts(np.zeros((0, 3)))
    out = light_coefficients(engine_of(scene, np.ones_like), parts, Rectangles.of(panels), full_net(1, 1), np.ones_like)
    total = float(out.before[0, :, 0] @ [p.area_m2 for p in panels]) / (size[0] * size[1])
    print(f"{size}: error {total - expected:+.2e}")
    assert total == pytest.approx(expected, rel=1e-5)
