"""Ground places: the light they get, and how rays share them."""

import numpy as np
import pytest

from layout.geometry.rays import RayKernel
from layout.geometry.rectangles import Rectangles
from layout.light.ground import GroundLight, gather, gather_each
from layout.light.places import PlaceNet, distinct, net_keys, representatives
from layout.light.sky_parts import SkyParts
from layout.pieces import Blocker, Ground
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
