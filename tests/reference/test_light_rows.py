"""Shadows and sky of long and short rows, light_map against published values and closed forms.

Every figure that a test measures is printed (``pytest -rP``); the bounds are 0.2 % of panel area a sun
position and 0.002 of the sky.
"""

from pathlib import Path

import numpy as np
import pvlib
import pytest

from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of, light_coefficients
from layout.light.light_map import light_map
from layout.light.net import year_net
from layout.light.sky_parts import SkyParts
from layout.pieces import Blocker, Panel, Scene
from sites.conventions import unit_vector
from sites.sky import sky_year
from sites.skyline import OPEN_SKYLINE
from sites.sun import sun_grid
from sites.weather_files import read_tmy3

AREA = 0.002
"""Panel area that a shadow may be off, a sun position."""

SKY = 0.002
HALF_LENGTH_M = 150.0


def long_rows(tilt_deg, pitch, neighbours=1, cells=(1, 1), clearance=0.5):
    """A panel of slant 1 that faces south in the middle of rows that go on for 150 m either way."""
    tilt = np.radians(tilt_deg)
    up = np.array([0.0, np.cos(tilt), np.sin(tilt)])
    others = [i for i in range(-neighbours, neighbours + 1) if i]
    return Scene(
        panels=[Panel((-0.5, 0.0, clearance), (1, 0, 0), up, cells=cells)],
        blockers=[Blocker((-HALF_LENGTH_M, i * pitch, clearance), (2 * HALF_LENGTH_M, 0, 0), up) for i in others],
    )


def shaded_share(scene, elevation, azimuth):
    """Share of the first panel's area in shadow, by sun position; the sun faces the panel."""
    m = light_map(scene, elevation, azimuth, dni=1.0)
    cosine = unit_vector(np.asarray(elevation, float), np.asarray(azimuth, float)) @ scene.panels[0].normal
    assert (cosine > 0).all()
    return 1.0 - m.direct[0].mean(axis=(1, 2)) / cosine


def row_shade(tilt_deg, pitch, profile_deg):
    """Shaded share of the slant of rows on flat ground with a slant of 1.

    Closed form s/L = (sin β − tan α (P − cos β)) / (sin β + tan α cos β) of plane geometry, clipped to 0..1.
    """
    tilt, tangent = np.radians(tilt_deg), np.tan(np.radians(profile_deg))
    s = (np.sin(tilt) - tangent * (pitch - np.cos(tilt))) / (np.sin(tilt) + tangent * np.cos(tilt))
    return np.clip(s, 0.0, 1.0)


def test_closed_form_at_the_printed_profile_angles():
    """tilt 30°, pitch 2: the closed form worked by hand at four profile angles; clear from 23.794° up."""
    elevation = [5.0, 10.0, 15.0, 20.0, 23.9, 30.0]
    expected = [0.6961, 0.4597, 0.2679, 0.1070, 0.0, 0.0]
    found = shaded_share(long_rows(30, 2.0), elevation, [180.0] * 6)
    print("error of the shaded share:", (found - expected).round(5))
    assert found == pytest.approx(expected, abs=AREA)


@pytest.mark.parametrize("cells", [(1, 1), (10, 6), (24, 12)])
def test_closed_form_over_tilts_pitches_and_suns(cells):
    """Shadows of long rows depend on the profile angle only: tan α = tan elevation / cos(azimuth from the
    row's)."""
    rng = np.random.default_rng(11)
    errors = []
    for _ in range(25):
        tilt, pitch = rng.uniform(10, 90), rng.uniform(1.05, 4.0)
        elevation, off = rng.uniform(2, 60, 8), rng.uniform(-70, 70, 8)
        scene = long_rows(tilt, pitch, cells=cells)
        found = shaded_share(scene, elevation, 180.0 + off)
        profile = np.degrees(np.arctan(np.tan(np.radians(elevation)) / np.cos(np.radians(off))))
        errors.append(found - row_shade(tilt, pitch, profile))
    errors = np.abs(np.concatenate(errors))
    print(f"cells {cells}: {errors.size} shadows, error max {errors.max():.5f}, mean {errors.mean():.5f}")
    assert errors.max() < AREA


def test_closed_form_cell_by_cell():
    """The cells that the shadow's edge crosses get their true share: whole panel and each strip agree."""
    scene, n = long_rows(35, 1.8, cells=(12, 2)), 12
    elevation = np.linspace(4.0, 24.0, 21)
    m = light_map(scene, elevation, [180.0] * 21, dni=1.0)
    cosine = unit_vector(elevation, np.full(21, 180.0)) @ scene.panels[0].normal
    lit = m.direct[0] / cosine[:, None, None]
    edge = row_shade(35, 1.8, elevation)[:, None]
    expected = np.clip((np.arange(1, n + 1) / n - edge) * n, 0.0, 1.0)
    error = np.abs(lit - expected[:, :, None])
    print(f"cell means: error max {error.max():.5f} of a cell, mean {error.mean():.6f}")
    assert error.max() / n < AREA
    assert error.max() < 0.01


# x, z of the axis and rotation of the left and of the right row, distance of the surface from the axis,
# slant, projected zenith of the sun, shaded share of the row behind.
ANDERSON_JENSEN = [
    (1, 0.2, 50, 0, 0, 25, 0, 0.5, 80, 1),
    (1, 0.1, 50, 0, 0, 25, 0.05, 0.5, 80, 0.937191),
    (1, 0, 50, 0, 0.1, 25, 0, 0.5, 80, 0.30605),
    (1, 0, 50, 0, 0.2, 25, 0, 0.5, 80, 0),
    (1, 0.2, -25, 0, 0, -50, 0, 0.5, -80, 0),
    (1, 0.1, -25, 0, 0, -50, 0, 0.5, -80, 0.30605),
    (1, 0, -25, 0, 0.1, -50, 0.1, 0.5, -80, 0.881549),
    (1, 0, -25, 0, 0.2, -50, 0, 0.5, -80, 1),
]


def turned_row(x, z, rotation_deg, offset, slant, half, kind, **more):
    """A row along y: its surface stands off an axis at (x, z) and is turned by ``rotation_deg`` toward +x."""
    turn = np.radians(rotation_deg)
    normal, up = np.array([np.sin(turn), 0, np.cos(turn)]), np.array([-np.cos(turn), 0, np.sin(turn)])
    along = np.cross(up, normal)
    middle = np.array([x, 0, z]) + offset * normal
    return kind(middle - slant / 2 * up - half * along, 2 * half * along, slant * up, **more)


@pytest.mark.parametrize("case", ANDERSON_JENSEN, ids=range(1, 9))
def test_anderson_and_jensen(case):
    """Anderson & Jensen, J. Renew. Sustain. Energy 16 (2024) 023504, cases 1-8 of their archive
    (doi 10.5281/zenodo.10513987), read in pvlib 0.16.1, tests/test_shading.py.

    In cases 9-16 all below the upper edge of the row in front counts as shade, as if a curtain hung from it;
    two rows that are nothing but opaque surfaces give other numbers there.
    """
    x1, z1, turn1, x2, z2, turn2, offset, slant, zenith, expected = case
    left, right = (x1, z1, turn1), (x2, z2, turn2)
    front, behind = (left, right) if zenith > 0 else (right, left)
    scene = Scene(
        panels=[turned_row(*behind, offset, slant, 0.5, Panel, cells=(1, 1))],
        blockers=[turned_row(*front, offset, slant, HALF_LENGTH_M, Blocker)],
    )
    found = shaded_share(scene, [90.0 - abs(zenith)], [90.0 if zenith > 0 else 270.0])[0]
    print(f"error {found - expected:+.6f}")
    assert found == pytest.approx(expected, abs=AREA)


# tilt, clear gap, slant, length, sun's elevation and azimuth from the row's normal; height, length and area
# of the shadow over those of the row.
APPELBAUM_BANY = [
    (30, 1.2, 2, 20, 15, 30, 0.40935, 0.94489, 0.38679),
    (45, 1, 2, 6, 25, 45, 0.32161, 0.75753, 0.24363),
    (60, 1.5, 2, 10, 25, 30, 0.40713, 0.88989, 0.36230),
]


@pytest.mark.parametrize("cells", [(1, 1), (10, 6), (40, 40)])
@pytest.mark.parametrize("case", APPELBAUM_BANY, ids=["20 m", "6 m", "10 m"])
def test_appelbaum_and_bany(case, cells):
    """A finite row's shadow on the equal row behind it: Appelbaum & Bany, Solar Energy 23 (1979) 497-507;
    numbers worked from the formulas and confirmed by polygons, not read in print."""
    tilt, gap, slant, length, elevation, azimuth, height, width, area = case
    b = np.radians(tilt)
    up = slant * np.array([0.0, np.cos(b), np.sin(b)])
    panel = Panel((0, 0, 0), (length, 0, 0), up, cells=cells)
    scene = Scene([panel], blockers=[Blocker((0, -gap - up[1], 0), (length, 0, 0), up)])
    found = shaded_share(scene, [elevation], [180.0 + azimuth])[0]
    print(f"error of the area {found - area:+.5f}")
    assert found == pytest.approx(area, abs=AREA)
    if cells == (40, 40):
        m = light_map(scene, [elevation], [180.0 + azimuth])
        dark = 1.0 - m.direct[0][0] / m.direct[0].max()
        assert dark.mean(axis=0).max() == pytest.approx(height, abs=0.005)
        assert dark.mean(axis=1).max() == pytest.approx(width, abs=0.005)


# tilt, pitch, sky seen by an inner row, mean over the slant of 1
CROSSED_STRINGS = [(30, 2, 0.880343), (25, 1.5, 0.885625), (90, 2, 0.381966), (90, 5 / 3, 0.361508)]


@pytest.mark.parametrize("cells", [(1, 1), (10, 6)])
@pytest.mark.parametrize(("tilt", "pitch", "expected"), CROSSED_STRINGS)
def test_sky_of_an_inner_row(tilt, pitch, expected, cells):
    """Crossed strings (Hottel 1954, in Siegel & Howell, Thermal Radiation Heat Transfer): the sky's share is
    (crossed − uncrossed)/(2 L) between the row's slant and the gap above it."""
    found = light_map(long_rows(tilt, pitch, 5, cells), [], [], dome=True).dome[0].mean()
    print(f"error {found - expected:+.5f}")
    assert found == pytest.approx(expected, abs=SKY)


def test_sky_of_an_inner_row_cell_by_cell():
    """Each strip of the slant against the mean of (1 + cos(β + ψ))/2, ψ the masking angle of its points."""
    tilt, pitch, n = 40.0, 1.7, 8
    found = light_map(long_rows(tilt, pitch, 1, (n, 2)), [], [], dome=True).dome[0]
    b, x = np.radians(tilt), (np.arange(64 * n) + 0.5) / (64 * n)
    masking = np.arctan2((1 - x) * np.sin(b), pitch - (1 - x) * np.cos(b))
    expected = (0.5 * (1 + np.cos(b + masking))).reshape(n, -1).mean(axis=1)
    error = np.abs(found - expected[:, None])
    print(f"sky of a cell: error max {error.max():.5f}, mean {error.mean():.5f}")
    assert error.max() < SKY


# ground cover ratio, tilt, mean masking angle in degrees
MASKING = [(0.5, 20, 7.20981), (0.5, 90, 13.77987), (0.4, 30, 7.43013)]


@pytest.mark.parametrize(("ratio", "tilt", "expected"), MASKING)
def test_mean_masking_angle(ratio, tilt, expected):
    """Passias & Källbäck, Solar Cells 11 (1984) 361-367, numbers as in pvlib's tests (tests/test_shading.py).

    A point is dark while a sun that climbs in the plane across the rows stands below its masking angle, so
    the mean angle over the slant is the integral of the shaded share over the sun's elevation.
    """
    step = 0.05
    elevation = np.arange(step / 2, 45.0, step)
    shade = shaded_share(long_rows(tilt, 1 / ratio), elevation, np.full_like(elevation, 180.0))
    assert shade[-1] == pytest.approx(0.0, abs=1e-6)
    found = shade.sum() * step
    print(f"error {found - expected:+.5f} deg")
    assert found == pytest.approx(expected, abs=0.02)


STATION = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
"""Greensboro, 36.1° N, a TMY3 year that pvlib ships."""


def row_coefficients(scene, sun, net):
    """Beam coefficients of the first panel, (m, n_up, n_along)."""
    parts = SkyParts(sun, dome_rays=1, down_rays=1, ring_rays=1)
    engine = engine_of(scene, np.ones_like)
    out = light_coefficients(engine, parts, Rectangles.of(scene.panels[:1]), net, np.ones_like)
    return out.before[: len(sun), 0].reshape(-1, net.n_up, net.n_along).astype(float)


@pytest.mark.parametrize(("tilt", "pitch"), [(20, 1.5), (35, 2.0), (90, 2.5)])
def test_own_error_of_the_net_of_the_year(tilt, pitch):
    """The year's beam on a long row against the closed form at every hour's true sun.

    Apart: the error of the coarser net of points, traced at the true sun positions, and what the sun grid
    adds.
    """
    weather, place = read_tmy3(STATION)
    sky = sky_year(weather, place, OPEN_SKYLINE)
    elevation, azimuth = sky.sun.elevation_deg, sky.sun.azimuth_deg
    scene = long_rows(tilt, pitch, neighbours=3)
    sun = unit_vector(elevation, azimuth)
    cosine = np.maximum(0.0, sun @ scene.panels[0].normal)
    across = -sun[:, 1]
    profile = np.degrees(np.arctan2(sun[:, 2], np.abs(across)))
    # A sun behind the row is not shaded by rows further back: it stands above the panel's own plane.
    shade = row_shade(tilt, pitch, profile) * (across > 0)
    net = year_net(10, 6, 1, 3)
    edge = np.arange(net.n_up + 1) / net.n_up
    lit = np.diff(np.maximum(0.0, edge - shade[:, None]), axis=1) * net.n_up
    exact = (sky.beam * cosine) @ lit / 1000.0
    true_sun = sky.beam @ row_coefficients(scene, sun, net).mean(axis=2) / 1000.0
    grid = sun_grid(place.latitude_deg, elevation, azimuth)
    on_grid = (grid.weights.T @ sky.beam) @ row_coefficients(scene, grid.vectors, net).mean(axis=2) / 1000.0
    off_net, off_grid = true_sun / exact - 1.0, on_grid / exact - 1.0
    whole = true_sun.mean() / exact.mean() - 1, on_grid.mean() / exact.mean() - 1
    print(f"tilt {tilt}, pitch {pitch}: beam {exact.mean():.1f} kWh/m², lowest cells {exact[0]:.1f}")
    print(f"  net at true suns: panel {100 * whole[0]:+.3f} %, worst cell {100 * np.abs(off_net).max():.3f} %")
    print(f"  net on sun grid:  panel {100 * whole[1]:+.3f} %, worst cell {100 * np.abs(off_grid).max():.3f} %")
    assert abs(whole[0]) < 0.002
    assert abs(whole[1]) < 0.002
    assert np.abs(off_grid).max() < 0.01
