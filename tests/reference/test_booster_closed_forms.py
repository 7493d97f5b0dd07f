"""Boosters whose light can be written down: plane mirrors before panels, troughs, matt sheets by view factors."""

import numpy as np
import pytest

from layout.light.light_map import light_map
from layout.pieces import Panel, Reflector, Scene

FACTOR = 0.005
"""Of the closed form, matt sheets."""


def off(found, expected, what):
    print(f"{what}: {found:.5f}, closed form {expected:.5f}, {found / expected - 1:+.3%}")
    return found / expected - 1


def foot_mirror(length, half=0.5, cells=(10, 6), **more):
    """An upright panel of height 1 that faces south, a level sheet at its foot; ``half`` the length of both."""
    return Scene(
        [Panel((-0.5, 0, 0), (1, 0, 0), (0, 0, 1), cells=cells)],
        [Reflector((-half, -length, 0), (2 * half, 0, 0), (0, length, 0), **more)],
    )


@pytest.mark.parametrize(("profile", "expected"), [(10, 0.173648), (30, 0.5), (45, 0.707107), (60, 0.5)])
def test_level_mirror_before_an_upright_panel(profile, expected):
    """Long panel of height H, mirror of length H, reflectance 1, sun straight before it: reflected light over DNI is
    cos a · min(1, tan a) (plane geometry)."""
    m = light_map(foot_mirror(1.0, reflectance=1.0), [profile], [180.0], dni=1.0)
    assert abs(m.reflected[0].mean() - expected) < 2e-3
    off(m.reflected[0].mean(), expected, f"profile angle {profile}")


@pytest.mark.parametrize("azimuth", [150.0, 200.0, 235.0])
def test_the_same_with_the_sun_aside(azimuth):
    """A long mirror: the profile angle decides what is lit, the sun's own angle how brightly."""
    elevation, aside = np.radians(25.0), np.radians(azimuth - 180.0)
    profile = np.arctan2(np.tan(elevation), np.cos(aside))
    expected = 0.8 * np.cos(elevation) * np.cos(aside) * min(1.0, np.tan(profile))
    m = light_map(foot_mirror(1.0, half=50.0, reflectance=0.8), [25.0], [azimuth], dni=1.0)
    assert abs(off(m.reflected[0].mean(), expected, f"azimuth {azimuth}")) < 3e-3


def trough(phi_deg, depth):
    """A level strip of width 1 between two sheets that lean outward by φ from the axis."""
    phi = np.radians(phi_deg)
    lean = depth * np.tan(phi)
    panel = Panel((0, -0.5, 0), (1, 0, 0), (0, 1, 0), cells=(20, 1))
    south = Reflector((1, -0.5, 0), (-1, 0, 0), (0, -lean, depth), reflectance=1.0)
    north = Reflector((0, 0.5, 0), (1, 0, 0), (0, lean, depth), reflectance=1.0)
    assert south.normal[1] > 0 > north.normal[1]
    return Scene([panel], [south, north])


@pytest.mark.parametrize(("phi", "expected", "depth"), [(30.0, 2.0, 0.866), (22.5, 2.41421, 1.707)])
def test_trough_at_normal_incidence(phi, expected, depth):
    """C = 1 + 2 cos 2φ at the depth 1/(tan 2φ − tan φ), where no ray meets a wall twice; the share of the light that
    met a wall is (C − 1)/C (Rabl, Solar Energy 18 (1976) 93; Hollands, Solar Energy 13 (1971) 149; from memory,
    geometry derived)."""
    a = np.radians(phi)
    exact = 1.0 / (np.tan(2 * a) - np.tan(a))
    assert exact == pytest.approx(depth, abs=5e-4)
    m = light_map(trough(phi, exact), [90.0], [180.0], dni=1.0)
    assert abs(off(m.total[0].mean(), expected, f"trough, walls {phi} deg off the axis")) < 2e-3
    assert m.reflected[0].mean() / m.total[0].mean() == pytest.approx((expected - 1) / expected, abs=1e-3)
    twice = light_map(trough(phi, exact), [90.0], [180.0], dni=1.0, bounces=2)
    assert twice.total[0].mean() == pytest.approx(m.total[0].mean(), abs=1e-3)


@pytest.mark.parametrize(("tangent", "bounces"), [(0.4, 1), (0.4, 2), (1.3, 1), (1.3, 2), (2.6, 2), (2.6, 3)])
def test_light_pipe(tangent, bounces):
    """Two upright mirrors of height 1 along a level strip of width 1, reflectance ρ, sun across them at zenith angle
    θ: unfolded, light travels tan θ aside and passes as many walls. With tan θ = k + f the share 1 − f is reflected k
    times, f k + 1 times (plane geometry)."""
    panel = Panel((0, -0.5, 0), (1, 0, 0), (0, 1, 0), cells=(20, 1))
    south = Reflector((1, -0.5, 0), (-1, 0, 0), (0, 0, 1), reflectance=0.9)
    north = Reflector((0, 0.5, 0), (1, 0, 0), (0, 0, 1), reflectance=0.9)
    k, f = int(tangent), tangent % 1.0
    shares = {k: 1 - f, k + 1: f}
    expected = sum(w * 0.9**n for n, w in shares.items() if n <= bounces) / np.hypot(1.0, tangent)
    elevation = np.degrees(np.arctan2(1.0, tangent))
    m = light_map(Scene([panel], [south, north]), [elevation], [180.0], dni=1.0, bounces=bounces)
    assert abs(m.total[0].mean() - expected) < 2e-3
    off(m.total[0].mean(), max(expected, 1e-9), f"tan {tangent}, up to {bounces} bounces")


@pytest.mark.parametrize(("reflectance", "expected"), [(1.0, 3.0), (0.9, 2.8)])
@pytest.mark.parametrize("cells", [(1, 1), (6, 6)])
def test_four_sheets_round_a_square_panel(reflectance, expected, cells):
    """Square panel, plane sheets of its size hinged at its edges and opened 30° from its axis, sun on the axis, no
    corner pieces: 1 + 4 ρ sin 30° times the bare light, all of it on the panel (plane geometry)."""
    outward = np.sin(np.radians(30)), np.cos(np.radians(30))
    corners = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], float)
    sheets = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        edge = b - a
        away = np.array([edge[1], -edge[0]])  # out of a square walked anticlockwise
        up = np.array([*(outward[0] * away), outward[1]])
        sheets.append(Reflector((*b, 0), (*-edge, 0), up, reflectance=reflectance))
    panel = Panel((0, 0, 0), (1, 0, 0), (0, 1, 0), cells=cells)
    m = light_map(Scene([panel], sheets), [90.0], [180.0], dni=1.0)
    assert abs(off(m.total[0].mean(), expected, f"four sheets, reflectance {reflectance}")) < 2e-3
    # Nothing lost: each sheet sends all that it catches.
    caught = 4 * reflectance * np.sin(np.radians(30))
    assert m.reflected[0].mean() == pytest.approx(caught, rel=2e-3)


# Matt sheets ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cells", [(1, 1), (6, 4)])
def test_matt_square_before_an_upright_square(cells):
    """A Lambertian sheet of 0.85, unit square before a unit upright panel, sun at 30° in the plane across, DNI 1:
    0.85 sin 30° F with F = 0.200044 (Howell's catalog C-14), 0.085017."""
    m = light_map(foot_mirror(1.0, reflectance=0.85, diffuse=1.0, cells=cells), [30.0], [180.0], dni=1.0)
    assert abs(off(m.reflected[0].mean(), 0.085017, f"matt square, cells {cells}")) < FACTOR


# angle, common length, from - to off the corner on the panel and on the sheet, view factor panel -> sheet
SHARED_CORNER = [
    (90, 1, (0, 1), (0, 1), 0.200044),
    (90, 1, (0, 2), (0, 1), 0.116426),
    (90, 1, (0, 1), (0, 2), 0.232853),
    (90, 0.5, (0, 0.5), (0.2, 0.5), 0.072348),
    (90, 0.5, (0.1, 0.6), (0.2, 0.5), 0.071818),
    (45, 0.5, (0.1, 0.6), (0.2, 0.5), 0.227575),
]


@pytest.mark.parametrize(("angle", "length", "first", "second", "factor"), SHARED_CORNER)
def test_matt_sheets_about_a_corner(angle, length, first, second, factor):
    """Matt level sheet, panel that rises from the same corner at an angle: reflectance · light on the sheet · F
    (Howell's catalog C-14 for the first three; Chapman, Fundamentals of Heat Transfer (1987), p. 734)."""
    a = np.radians(angle)
    slope = np.array([0.0, -np.cos(a), np.sin(a)])
    panel = Panel(np.array([0, 0, 0]) + first[0] * slope, (length, 0, 0), (first[1] - first[0]) * slope, cells=(1, 1))
    sheet = Reflector((0, -second[1], 0), (length, 0, 0), (0, second[1] - second[0], 0), reflectance=1.0, diffuse=1.0)
    # Sun straight before the panel and so low that the panel's shadow falls behind the sheet.
    elevation = 30.0 if angle == 90 else 20.0
    m = light_map(Scene([panel], [sheet]), [elevation], [180.0], dni=1.0)
    expected = np.sin(np.radians(elevation)) * factor
    assert abs(off(m.reflected[0].mean(), expected, f"{angle} deg, {first}, {second}")) < FACTOR


# widths, distance, view factor
PARALLEL = [((1, 1), 1, 0.199825), ((1, 1.5), 0.5, 0.475576), ((0.1, 0.1), 0.05, 0.415253)]


@pytest.mark.parametrize(("size", "distance", "factor"), PARALLEL)
def test_matt_sheet_under_a_panel(size, distance, factor):
    """A panel that faces down over a matt sheet of its size, lit from aside (Howell's catalog C-11; the second is
    Siegel & Howell, Thermal Radiation Heat Transfer, 4th ed., p. 843)."""
    a, b = size
    panel = Panel((0, 0, distance), (0, b, 0), (a, 0, 0), cells=(1, 1))
    sheet = Reflector((0, 0, 0), (a, 0, 0), (0, b, 0), reflectance=1.0, diffuse=1.0)
    elevation = np.degrees(np.arctan(0.9 * distance / a))  # from the east: the shadow falls beside the sheet
    m = light_map(Scene([panel], [sheet]), [elevation], [90.0], dni=1.0)
    expected = np.sin(np.radians(elevation)) * factor
    assert abs(off(m.reflected[0].mean(), expected, f"{size} at {distance}")) < FACTOR


def test_two_matt_sheets_exchange_light():
    """Three walls of a cube: the panel faces one matt sheet across another. One and two bounces between them against
    sums over small squares."""
    upright = Reflector((0, 0, 0), (1, 0, 0), (0, 0, 1), reflectance=0.8, diffuse=1.0)  # faces south
    level = Reflector((0, -1, 0), (1, 0, 0), (0, 1, 0), reflectance=0.7, diffuse=1.0)  # faces up
    panel = Panel((1, -1, 0), (-1, 0, 0), (0, 0, 1), cells=(1, 1))  # faces north, over the level sheet's far edge
    elevation, azimuth = 40.0, 120.0
    once, twice = (
        light_map(Scene([panel], [upright, level]), [elevation], [azimuth], dni=1.0, bounces=b).reflected[0].mean()
        for b in (1, 2)
    )
    expected = by_small_squares([panel, upright, level], elevation, azimuth)
    assert abs(off(once, expected[0], "one matt bounce")) < 0.01
    assert abs(off(twice - once, expected[1], "the second matt bounce")) < 0.03


def by_small_squares(pieces, elevation, azimuth, n=24):
    """Mean light on the first piece by one and by two matt bounces on the others, all walls of one box: form factors
    between the middles of n × n squares of each, the sun's shadows by where its ray leaves the box."""
    e, a = np.radians(elevation), np.radians(azimuth)
    sun = np.array([np.cos(e) * np.sin(a), np.cos(e) * np.cos(a), np.sin(e)])
    share = (np.arange(n) + 0.5) / n
    places = [(p.corner + share[:, None, None] * p.up + share[None, :, None] * p.along).reshape(-1, 3) for p in pieces]

    def form(i, j):
        """From each square of i to each of j."""
        way = places[j][None] - places[i][:, None]
        d2 = (way**2).sum(axis=-1)
        cosine = np.maximum(0, way @ pieces[i].normal), np.maximum(0, -(way @ pieces[j].normal))
        return cosine[0] * cosine[1] / (np.pi * d2**2) * pieces[j].area_m2 / n**2

    def sunlit(k):
        """Light on the squares of k: the ray toward the sun must not meet another of the pieces."""
        free = np.ones(n * n, bool)
        for j, p in enumerate(pieces):
            if j == k:
                continue
            t = ((p.corner - places[k]) @ p.normal) / (sun @ p.normal)
            at = places[k] + t[:, None] * sun - p.corner
            u, v = at @ p.along / (p.along @ p.along), at @ p.up / (p.up @ p.up)
            free &= ~((t > 0) & (u >= 0) & (u <= 1) & (v >= 0) & (v <= 1))
        return free * max(0.0, sun @ pieces[k].normal)

    light = [p.reflectance * sunlit(k + 1) for k, p in enumerate(pieces[1:])]
    once = sum(form(0, k + 1) @ light[k] for k in range(2))
    second = [p.reflectance * (form(k + 1, 2 - k) @ light[1 - k]) for k, p in enumerate(pieces[1:])]
    twice = sum(form(0, k + 1) @ second[k] for k in range(2))
    return once.mean(), twice.mean()
