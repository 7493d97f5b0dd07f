"""Light of places is worked out once and kept."""

import numpy as np

from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of, ground_light, light_coefficients, year_places
from layout.light.kept import PLACES_AT_ONCE, KeptPlaces
from layout.light.net import Net
from layout.light.places import PlaceNet, net_keys
from layout.light.sky_parts import SkyParts
from layout.pieces import Ground, Panel, Reflector, Scene
from sites.conventions import unit_vector

NET = PlaceNet(0.5, 0.1)


class Counted:
    """Passes on where a place lies; counts how often it was asked."""

    def __init__(self):
        self.places, self.calls = 0, 0

    def __call__(self, hits, out):
        self.places += len(hits)
        self.calls += 1
        out[:] = hits


def hits(n, seed=0):
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.uniform(-20, 20, (n, 2)), np.zeros(n)])


def test_each_place_once_whatever_the_order():
    kept, asked = KeptPlaces(3), Counted()
    points = hits(4000)
    near = np.full(len(points), 0.4)
    expected = len(np.unique(net_keys(points, near, NET)))
    for part in np.array_split(points, 7):
        place, light = kept.at(part, np.full(len(part), 0.4), NET, asked)
        assert np.abs(light[place] - part).max() <= 0.5 + 1e-5  # of one net cell
    assert asked.places == expected
    place, light = kept.at(points[::-1], near, NET, asked)
    assert asked.places == expected
    assert len(light) == expected
    assert (net_keys(light[place].astype(float), near, NET) == net_keys(points[::-1], near, NET)).mean() > 0.99


def test_rows_stay_when_it_grows():
    kept, asked = KeptPlaces(3), Counted()
    first, light = kept.at(hits(50), np.full(50, 0.4), NET, asked)
    before = light[first].copy()
    kept.at(hits(3000, 1), np.full(3000, 0.4), NET, asked)
    again, light = kept.at(hits(50), np.full(50, 0.4), NET, asked)
    assert (again == first).all()
    assert (light[again] == before).all()


def test_many_places_are_worked_out_in_parts():
    kept, asked = KeptPlaces(3), Counted()
    x, y = np.meshgrid(np.arange(120.0), np.arange(120.0))
    points = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)]) + 0.2
    place, light = kept.at(points, np.full(len(points), 0.4), NET, asked)
    assert asked.places == len(points) > PLACES_AT_ONCE
    assert asked.calls == 2
    assert np.abs(light[place] - points).max() < 1e-4


def test_nothing_to_look_at():
    place, light = KeptPlaces(3).at(np.zeros((0, 3)), np.zeros(0), NET, Counted())
    assert len(place) == len(light) == 0


def test_matt_sheets_keep_their_places_too():
    """A second panel beside the first meets mostly the same places of a matt sheet; its light is as if alone."""
    panels = [Panel((1.02 * i, 0, 0.2), (1, 0, 0), (0, 0, 1), cells=(3, 3)) for i in range(2)]
    sheet = Reflector((-1, -2.5, 0.05), (4, 0, 0), (0, 2.4, 0), reflectance=0.8, diffuse=1.0)
    engine = engine_of(Scene(panels, reflectors=[sheet], ground=Ground()), np.ones_like)
    parts = SkyParts(unit_vector(np.array([20.0, 50.0]), np.array([150.0, 200.0])))
    r = Rectangles.of(panels)
    places = year_places(r)

    def trace(which, store):
        chosen = r[np.array(which)]
        return light_coefficients(engine, parts, chosen, Net(3, 3), np.ones_like, store=store, numbers=np.array(which))

    store = ground_light(engine, parts, places)
    trace([0], store)
    (kept,) = store.sheets.values()
    one = len(kept._keys)
    shared = trace([1], store).before
    assert one < len(kept._keys) < 1.6 * one
    alone = trace([1], ground_light(engine, parts, places)).before
    assert np.abs(shared.mean(axis=(1, 2)) - alone.mean(axis=(1, 2))).max() < 0.004
