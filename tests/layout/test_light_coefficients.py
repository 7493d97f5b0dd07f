"""Light coefficients: columns, glass, sky parts, slopes, skylines."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array

from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of, ground_light, light_coefficients, map_places, year_places
from layout.light.net import Net
from layout.light.sky_parts import SkyParts, sky_matrix
from layout.pieces import Blocker, Ground, Panel, Scene
from layout.power.glass import transmission_ratio
from sites.conventions import unit_vector
from sites.skyline import Skyline

SUNS = unit_vector(np.array([65.0, 30.0, 8.0, -2.0]), np.array([180.0, 100.0, 250.0, 300.0]))
M = len(SUNS)
DOME, DOME_GROUND, BAND, BAND_GROUND = 2 * M, 2 * M + 1, 2 * M + 2, 2 * M + 3


def tilted(tilt_deg, azimuth_deg, height=200.0, **more):
    """A panel of 1 × 1 m that faces an azimuth; high above the ground its own shadow counts for nothing."""
    tilt, azimuth = np.radians(tilt_deg), np.radians(azimuth_deg)
    front = np.array([np.sin(azimuth), np.cos(azimuth), 0.0])
    along = np.array([-front[1], front[0], 0.0])
    up = -np.cos(tilt) * front + np.sin(tilt) * np.array([0.0, 0.0, 1.0])
    return Panel((0, 0, height), along, up, cells=(2, 2), **more)


def trace(scene, rear=False, net=None, glass=transmission_ratio, **parts):
    parts = SkyParts(SUNS, **parts)
    return light_coefficients(
        engine_of(scene, glass), parts, Rectangles.of(scene.panels), net or Net(2, 2), glass, rear
    )


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.floats(0, 90), st.floats(0, 360), st.booleans())
def test_free_panel(tilt, azimuth, rear):
    """Beam by the cosine, (1 ± cos β)/2 of sky and ground, sin β of the horizon band: any attitude, both
    faces."""
    panel = tilted(tilt, azimuth)
    c = trace(Scene([panel], ground=Ground()), rear).before[:, 0]
    side = -1.0 if rear else 1.0
    sky = 0.5 * (1 + side * np.cos(np.radians(tilt)))
    assert c.shape == (2 * M + 4, 4)
    assert c[:M, 0] == pytest.approx(np.maximum(0.0, side * (SUNS @ panel.normal)), abs=1e-6)
    assert c[DOME] == pytest.approx(np.full(4, sky), abs=1e-3)
    if not rear:  # the band lies 1 degree up, where a face that looks down cannot see all of it
        assert c[BAND] == pytest.approx(np.full(4, np.sin(np.radians(tilt))), abs=1e-5)
    assert c[BAND_GROUND] == pytest.approx(np.zeros(4), abs=1e-7)
    # A part of the sphere so small that no ray falls in it is left out.
    assert c[DOME_GROUND] == pytest.approx(np.full(4, 1 - sky), abs=6e-3)
    if 1 - sky > 0.02:
        assert c[DOME_GROUND] == pytest.approx(np.full(4, 1 - sky), abs=1e-3)
        expected = (1 - sky) * np.maximum(0.0, SUNS[:, 2])
        assert c[M : 2 * M, 0] == pytest.approx(expected, abs=1e-3)


def test_glass_acts_on_every_ray():
    """The beam by its own angle; an even dome by the published mean angle: Brandemuehl & Beckman, Solar
    Energy 24 (1980) 511, 59.7 − 0.1388 β + 0.001497 β² for the sky, 90 − 0.5788 β + 0.002693 β² for the
    ground (β 45°: 56.49, 69.41). Their glass and ours differ a little, hence the bound on the ratio."""
    panel = tilted(45.0, 170.0)
    c = trace(Scene([panel], ground=Ground()), dome_rays=2584, down_rays=2584)
    cosine = SUNS @ panel.normal
    lit = cosine > 0
    ratio = c.after[:M, 0, 0][lit] / c.before[:M, 0, 0][lit]
    assert ratio == pytest.approx(transmission_ratio(cosine[lit]), abs=1e-5)
    for column, angle in ((DOME, 56.49), (DOME_GROUND, 69.41)):
        found = c.after[column, 0, 0] / c.before[column, 0, 0]
        assert found == pytest.approx(float(transmission_ratio(np.cos(np.radians(angle)))), abs=0.015)
    assert (c.after <= c.before + 1e-6).all()


@pytest.mark.parametrize("elevation", [4.0, 20.0])
def test_even_skyline(elevation):
    """Hills of one height all round: a level panel sees cos² of it; the band rides on the hills."""
    skyline = Skyline(np.array([0.0]), np.array([elevation]))
    level = trace(Scene([tilted(0.0, 180.0)]), skyline=skyline).before[:, 0]
    assert level[DOME] == pytest.approx(np.cos(np.radians(elevation)) ** 2, abs=2e-3)
    wall = Blocker((-500, -100, 150), (1000, 0, 0), (0, 0, 55.0))
    # A wall to the south as high as 2.9 degrees hides the band of a level horizon, not that on high hills.
    scene = Scene([tilted(90.0, 180.0)], blockers=[wall])
    bare, hilly = (trace(scene, skyline=s).before[BAND, 0].mean() for s in (Skyline(np.zeros(0), np.zeros(0)), skyline))
    assert bare < 0.4
    assert hilly > bare + 0.2


def test_slope_hides_and_shows():
    """On a slope, uphill ground hides sky and downhill looks pass over the edge to level ground far away: an
    upright panel gets sky, near and far ground in all from the whole of its half of the sphere."""
    ground = Ground(slope_deg=20.0, slope_azimuth_deg=180.0)
    for azimuth, share in ((180.0, 0.5), (0.0, 0.5 * (1 - np.sin(np.radians(20.0))))):
        c = trace(Scene([tilted(90.0, azimuth)], ground=ground)).before[:, 0].mean(axis=1)
        assert c[DOME] == pytest.approx(share, abs=1e-3)
        # By way of the ground: level ground sees all the sky, the slope (1 + cos 20°)/2 of it.
        slope_sky = 0.5 * (1 + np.cos(np.radians(20.0)))
        far = 0.5 * np.sin(np.radians(20.0)) if azimuth == 180.0 else 0.0
        assert c[DOME_GROUND] == pytest.approx(far + (1 - share - far) * slope_sky, abs=2e-3)
    near = np.maximum(0.0, SUNS @ ground.normal)
    facing = trace(Scene([tilted(90.0, 0.0)], ground=ground)).before[M : 2 * M, 0].mean(axis=1)
    assert facing == pytest.approx((1 - share) * near, abs=2e-3)


def test_no_ground_no_ground_light():
    c = trace(Scene([tilted(60.0, 180.0)])).before
    assert (c[M : 2 * M] == 0).all()
    assert (c[[DOME_GROUND, BAND_GROUND]] == 0).all()


def test_panels_of_different_attitudes_in_one_call():
    """Each panel's columns are its own, whatever the others are, and whichever set of rays they fall in."""
    panels = [tilted(30.0, 180.0), tilted(90.0, 90.0), tilted(30.0, 180.0), tilted(10.0, 20.0)]
    far = [Panel(np.add(p.corner, (300.0 * k, 0, 0)), p.along, p.up, cells=(2, 2)) for k, p in enumerate(panels)]
    together = trace(Scene(far, ground=Ground()), sets=2)
    for k, panel in enumerate(far):
        alone = trace(Scene([panel], ground=Ground()), sets=1)
        assert together.before[:, k] == pytest.approx(alone.before[:, 0], abs=4e-3)
        assert together.before[:M, k] == pytest.approx(alone.before[:M, 0], abs=1e-6)


def test_sharing_a_store_of_ground_changes_nothing_but_its_cost():
    """Front and rear through one store of ground places or through their own: only which landing stands for a place
    differs."""
    tilt = np.radians(25.0)
    up = 1.8 * np.array([0, np.cos(tilt), np.sin(tilt)])
    panels = [Panel((1.1 * i, 3.0 * j, 0.5), (1.1, 0, 0), up, cells=(6, 4)) for i in range(4) for j in range(3)]
    scene = Scene(panels, ground=Ground())
    engine, parts, r = engine_of(scene, np.ones_like), SkyParts(SUNS), Rectangles.of(panels)
    store = ground_light(engine, parts, year_places(r))
    for rear in (False, True):
        own = light_coefficients(engine, parts, r, Net(6, 4), np.ones_like, rear).before
        shared = light_coefficients(engine, parts, r, Net(6, 4), np.ones_like, rear, store).before
        assert shared[:M] == pytest.approx(own[:M])
        assert shared.mean(axis=(1, 2)) == pytest.approx(own.mean(axis=(1, 2)), abs=0.015)
        assert shared[M : 2 * M].mean() == pytest.approx(own[M : 2 * M].mean(), abs=0.003)


def test_places_are_finer_for_a_map():
    r = Rectangles.of([tilted(30.0, 180.0)])
    assert map_places(r).finest_m < 0.1 * year_places(r).finest_m
    assert map_places(r).per_distance < year_places(r).per_distance
    tiny = Rectangles.of([Panel((0, 0, 0), (0.05, 0, 0), (0, 0.05, 0))])
    assert year_places(tiny).finest_m <= 0.25 * 0.05 + 1e-12


def test_sky_matrix_is_the_sky_year_in_columns():
    rng = np.random.default_rng(1)
    weights = csr_array(rng.uniform(0, 1, (3, M)))
    beam, dome, horizon, albedo = rng.uniform(0, 500, (4, 3))
    albedo = albedo / 1000
    matrix = sky_matrix(weights, beam, dome, horizon, albedo)
    assert matrix.shape == (3, 2 * M + 4)
    c = rng.uniform(0, 1, 2 * M + 4)
    by_hand = (
        beam * (weights @ c[:M] + albedo * (weights @ c[M : 2 * M]))
        + dome * (c[DOME] + albedo * c[DOME_GROUND])
        + horizon * (c[BAND] + albedo * c[BAND_GROUND])
    )
    assert matrix @ c == pytest.approx(by_hand, rel=1e-6)


def test_coefficients_are_never_negative_nor_above_one():
    rng = np.random.default_rng(9)
    blockers = [
        Blocker(np.add(rng.uniform(-2, 2, 3), (0, 0, 3)), rng.uniform(0.3, 1) * a[0], rng.uniform(0.3, 1) * a[1])
        for a in (np.linalg.qr(rng.normal(size=(3, 3)))[0] for _ in range(20))
    ]
    scene = Scene([tilted(40.0, 150.0, height=2.5, bifacial=True)], blockers=blockers, ground=Ground())
    for rear in (False, True):
        c = trace(scene, rear)
        assert c.before.min() >= 0
        assert c.before.max() <= 1 + 1e-5
        assert (c.before[DOME] + c.before[DOME_GROUND]).max() <= 1 + 1e-3
