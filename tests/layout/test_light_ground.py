"""Ground places: the light they get, and how rays share them."""

import numpy as np
import pytest

from layout.geometry.rays import RayKernel
from layout.geometry.rectangles import Rectangles
from layout.light import coefficients
from layout.light.coefficients import engine_of
from layout.light.coefficients import ground_light as lit_ground
from layout.light.ground import GroundLight, gather, gather_each
from layout.light.places import PlaceNet, distinct, net_keys, representatives
from layout.light.sky_parts import SkyParts
from layout.pieces import Blocker, Ground, Reflector, Scene
from sites.conventions import unit_vector
from sites.skyline import Skyline

SUNS = unit_vector(np.array([70.0, 30.0, 5.0, -3.0]), np.array([180.0, 90.0, 300.0, 10.0]))
FINE = PlaceNet(0.1, 0.05)


def ground_light(pieces=(), ground=None, net=FINE, **parts):
    return GroundLight(RayKernel(Rectangles.of(pieces)), ground or Ground(), SkyParts(SUNS, **parts), net)


def at_points(store, points):
    """Light of chosen points of the ground, one place each."""
    of_hit, light = store.at(points, np.full(len(points), 0.5))
    assert len(np.unique(of_hit)) == len(points)
    return light[of_hit]


def test_open_level_ground():
    """Beam sin(elevation), the whole dome, nothing of the horizon band; a sun below the horizon gives
    nothing."""
    light = at_points(ground_light(), np.array([[0.0, 0, 0], [500.0, -300, 0]]))
    sines = [*np.sin(np.radians([70, 30, 5])), 0.0]
    assert light[0] == pytest.approx([*sines, 1.0, 0.0], abs=1e-6)
    assert (light[0] == light[1]).all()


def test_ground_under_a_roof():
    """A point under the middle of a square of 2 m at 1 m: the sky it misses is the view factor 0.5541 from
    Howell's catalog B-3 (four corners); shadows stand where the sun puts them."""
    roof = Blocker((-1, -1, 1), (2, 0, 0), (0, 2, 0))
    s = SUNS[1] / SUNS[1, 2]
    store = ground_light([roof], ground_rays=987)
    under, moved, beside = at_points(store, np.array([[0.0, 0, 0], [-s[0], -s[1], 0], [1.001, 2.0, 0]]))
    corner = 4 * (2 / 2**0.5 * np.arctan(1 / 2**0.5)) / (2 * np.pi)
    assert corner == pytest.approx(0.5541, abs=1e-4)
    assert under[-2] == pytest.approx(1 - corner, abs=0.005)
    assert under[0] == 0
    assert under[1] > 0
    assert moved[1] == 0
    assert moved[0] > 0
    assert beside[0] > 0


@pytest.mark.parametrize("elevation", [5.0, 15.0, 40.0])
def test_ground_within_an_even_skyline(elevation):
    """Level ground with hills of one height all round sees cos² of it: the cosine-weighted sky above a
    cone."""
    skyline = Skyline(np.array([0.0]), np.array([elevation]))
    light = at_points(ground_light(skyline=skyline), np.zeros((1, 3)))
    assert light[0, -2] == pytest.approx(np.cos(np.radians(elevation)) ** 2, abs=2e-3)


@pytest.mark.parametrize(("slope", "downhill"), [(12.0, 180.0), (25.0, 70.0)])
def test_open_sloping_ground(slope, downhill):
    """Beam by the cosine on the slope, (1 + cos slope)/2 of the dome, sin(slope) of the band."""
    ground = Ground(slope_deg=slope, slope_azimuth_deg=downhill, height=2.0)
    point = np.array([[3.0, 4.0, float(ground.z(3.0, 4.0))]])
    light = at_points(ground_light(ground=ground), point)[0]
    assert light[:4] == pytest.approx(np.maximum(0.0, SUNS @ ground.normal), abs=1e-6)
    assert light[-2] == pytest.approx(0.5 * (1 + np.cos(np.radians(slope))), abs=1e-3)
    assert light[-1] == pytest.approx(np.sin(np.radians(slope)), abs=1e-6)


def test_places_are_traced_once_and_kept():
    """The same landings give the same light again, alone or among others."""
    roof = Blocker((-1, -1, 1), (2, 0, 0), (0, 2, 0))
    store = ground_light([roof])
    rng = np.random.default_rng(1)
    hits = np.column_stack([rng.uniform(-3, 3, (300, 2)), np.zeros(300)])
    distance = rng.uniform(0.5, 20, 300)
    of_first, first = store.at(hits, distance)
    of_again, again = store.at(hits[::-1], distance[::-1])
    assert (first[of_first] == again[of_again][::-1]).all()
    more = np.concatenate([np.add(hits, (50.0, 0, 0)), hits])
    of_more, third = store.at(more, np.tile(distance, 2))
    assert (third[of_more][300:] == first[of_first]).all()


def test_gather_sums_over_rays():
    rows, of_hit = np.array([0, 0, 2, 2, 2]), np.array([0, 1, 1, 1, 0])
    weights = np.array([0.5, 0.25, 1.0, 1.0, 2.0])
    light = np.array([[1.0, 10.0], [2.0, 20.0]], dtype=np.float32)
    got = gather(rows, weights, of_hit, light, 3)
    assert got.shape == (2, 3)
    assert got[0].tolist() == [1.0, 0.0, 6.0]
    assert got[1].tolist() == [10.0, 0.0, 60.0]


def test_gather_each_is_gather_for_every_weight():
    rng = np.random.default_rng(4)
    rows, of_hit = rng.integers(0, 40, 500), rng.integers(0, 70, 500)
    weights, light = rng.random((3, 500)), rng.random((70, 9)).astype(np.float32)
    plain = np.zeros((3, 9, 41))
    np.add.at(plain.transpose(0, 2, 1), (slice(None), rows), weights[..., None] * light[of_hit])
    for order in (np.arange(500), np.argsort(rows)):
        got = gather_each(rows[order], weights[:, order], of_hit[order], light, 41)
        assert got == pytest.approx(plain, rel=1e-5)
        assert gather(rows[order], weights[1][order], of_hit[order], light, 41) == pytest.approx(plain[1], rel=1e-5)


def test_landings_share_places_by_distance():
    """Two landings of one place lie no farther apart than a step, that of a place grows with the distance."""
    rng = np.random.default_rng(2)
    hits = np.column_stack([rng.uniform(-40, 40, (4000, 2)), np.zeros(4000)])
    distance = np.linalg.norm(hits, axis=1) + 0.3
    net = PlaceNet(0.2, 0.1)
    of_hit, keys = distinct(net_keys(hits, distance, net))
    chosen = representatives(of_hit, len(keys))
    assert len(chosen) < len(hits)
    assert (of_hit[chosen] == np.arange(len(chosen))).all()
    apart = np.abs(hits - hits[chosen][of_hit])[:, :2].max(axis=1)
    assert (apart <= np.maximum(0.2, 2 * 0.1 * distance) + 1e-9).all()
    near = distance < 2.0
    assert (apart[near] <= 0.2 + 1e-9).all()


def test_keys_tell_levels_and_places_apart():
    net = PlaceNet(0.2, 0.1)
    hits = np.array([[0.1, 0.1, 0], [0.15, 0.1, 0], [0.25, 0.1, 0], [0.1, 0.1, 0], [-0.1, 0.1, 0], [0.1, 0.1, 0.3]])
    keys = net_keys(hits, np.array([1.0, 1.0, 1.0, 30.0, 1.0, 1.0]), net)
    assert keys[0] == keys[1]
    assert len(np.unique(keys)) == 5


def test_representatives_are_fair():
    """The landing that stands for a place is any of them: over many places the first and the last come up
    alike."""
    of_hit = np.repeat(np.arange(2000), 4)
    place = representatives(of_hit, 2000) % 4
    assert (representatives(of_hit, 2000) // 4 == np.arange(2000)).all()
    assert np.bincount(place, minlength=4) == pytest.approx(500, abs=90)


def test_a_mirror_throws_its_light_on_the_ground():
    """Image of the sun in an upright mirror: its patch of ground gets (1 + reflectance)·sin(elevation), the rest of the
    sunny side sin(elevation), the shadow behind it nothing (law of reflection)."""
    sun = unit_vector(np.array([40.0]), np.array([180.0]))
    mirror = Reflector((-3.0, 0.0, 0.0), (6.0, 0.0, 0.0), (0.0, 0.0, 2.0), reflectance=0.8)
    assert mirror.normal @ np.array([0.0, -1.0, 0.0]) > 0.999
    engine = engine_of(Scene([], [mirror], ground=Ground()), np.ones_like)
    store = lit_ground(engine, SkyParts(sun, ground_rays=0, ring_rays=0, sun_only=True), FINE)
    assert store is not None
    light = at_points(store, np.array([[0.0, -1.0, 0.0], [0.0, -2.6, 0.0], [0.0, 1.0, 0.0]]))[:, 0]
    assert light == pytest.approx(np.sin(np.radians(40.0)) * np.array([1.8, 1.0, 0.0]), abs=1e-5)


def test_few_facets_are_enough_on_the_ground(monkeypatch):
    """Mean light of a strip of ground before a scattering sheet, over a year's worth of suns, against many facets."""
    grid = np.stack(np.meshgrid(np.linspace(-1.5, 1.5, 12), np.linspace(-2.5, -0.3, 12)), axis=-1).reshape(-1, 2)
    spots = np.concatenate([grid, np.zeros((len(grid), 1))], axis=1)
    az, el = np.meshgrid(np.linspace(110.0, 250.0, 12), np.linspace(10.0, 60.0, 8))
    suns = unit_vector(el.reshape(-1), az.reshape(-1))
    sheet = Reflector((-3.0, 0.0, 0.0), (6.0, 0.0, 0.0), (0.0, 0.0, 2.0), reflectance=0.9, slope_rms=(10.0, 10.0))
    engine, found = engine_of(Scene([], [sheet], ground=Ground()), np.ones_like), []
    for draws in (coefficients.GROUND_DRAWS, 233):
        monkeypatch.setattr(coefficients, "GROUND_DRAWS", draws)
        store = lit_ground(engine, SkyParts(suns, ground_rays=0, ring_rays=0, sun_only=True), FINE)
        assert store is not None
        found.append(at_points(store, spots)[:, : len(suns)] - suns[:, 2])
    few, many = (f.mean() for f in found)
    print(f"\nsheet's light on the ground: {many:.4f} of DNI, by few facets {few / many - 1:+.2%}")
    assert many > 0.1
    assert few == pytest.approx(many, rel=0.02)
