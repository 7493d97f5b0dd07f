"""Panels that share a tracing: what it costs in accuracy, and what must never be shared."""

from functools import lru_cache
from pathlib import Path

import numpy as np
import pvlib
import pytest

from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of, light_coefficients
from layout.light.net import year_net
from layout.light.sky_parts import SkyParts, sky_matrix
from layout.light.surroundings import TOLERANCE, Year, equal_surroundings, every_panel
from layout.pieces import Blocker, Ground, Panel, Scene
from sites.sky import sky_year
from sites.skyline import OPEN_SKYLINE
from sites.sun import sun_grid
from sites.weather_files import read_tmy3

ALBEDO = 0.2


@lru_cache(maxsize=1)
def year_of_light():
    """A shipped TMY3 year: sun directions, the year's sum of each coefficient column, and what weighs
    views."""
    weather, place = read_tmy3(Path(pvlib.__file__).parent / "data" / "723170TYA.CSV")
    sky = sky_year(weather, place, OPEN_SKYLINE)
    grid = sun_grid(place.latitude_deg, sky.sun.elevation_deg, sky.sun.azimuth_deg)
    matrix = sky_matrix(grid.weights, sky.beam, sky.dome, sky.horizon, np.full(len(sky.beam), ALBEDO))
    columns = np.asarray(matrix.sum(axis=0)).reshape(-1) / 1000.0
    weighing = Year(grid.vectors, grid.weights.T @ sky.beam / 1000.0, float(sky.dome.sum()) / 1000.0, ALBEDO)
    return grid.vectors, columns, weighing


def rows(tilt_deg, pitch, n_rows, n_panels, clearance=0.6, bifacial=False, blockers=()):
    tilt = np.radians(tilt_deg)
    up = 1.75 * np.array([0.0, np.cos(tilt), np.sin(tilt)])
    panels = [
        Panel((1.15 * i, pitch * j, clearance), (1.13, 0, 0), up, cells=(10, 6), bifacial=bifacial)
        for j in range(n_rows)
        for i in range(n_panels)
    ]
    return Scene(panels, blockers=blockers, ground=Ground(ALBEDO))


def house():
    ends = np.array([(-6.0, 4.0), (-2.0, 4.0), (-2.0, 9.0), (-6.0, 9.0)])
    return [Blocker((*a, 0), (*(b - a), 0), (0, 0, 5.0)) for a, b in zip(ends, np.roll(ends, -1, axis=0), strict=True)]


def towers():
    panels = []
    for east in range(4):
        for north in range(3):
            ends = np.add([(0, 0), (1, 0), (1, 1), (0, 1)], (3.0 * east, 3.0 * north))
            panels += [
                Panel((*a, 0.3), (*(b - a), 0), (0, 0, 2.5), cells=(6, 4))
                for a, b in zip(ends, np.roll(ends, -1, axis=0), strict=True)
            ]
    return Scene(panels, ground=Ground(ALBEDO))


SCENES = {
    "rows": lambda: rows(28, 3.4, 5, 14),
    "rows, both faces": lambda: rows(35, 4.5, 4, 12, bifacial=True),
    "upright, both faces": lambda: rows(90, 6.0, 4, 12, bifacial=True),
    "rows beside a house": lambda: rows(20, 3.2, 4, 12, blockers=house()),
    "towers": towers,
}


def choose(scene, tolerance=TOLERANCE, family=None):
    panels = Rectangles.of(scene.panels)
    n = len(panels)
    both = np.array([p.bifacial for p in scene.panels], dtype=bool)
    family = np.zeros(n, dtype=np.int64) if family is None else family
    return equal_surroundings(engine_of(scene, np.ones_like), panels, family, both, year_of_light()[2], tolerance)


def light_of_every_panel(scene):
    """The year's light of each panel, front and rear, kWh/m²: every panel traced by the same rays."""
    sun, columns, _ = year_of_light()
    engine, panels = engine_of(scene, np.ones_like), Rectangles.of(scene.panels)
    net, parts = year_net(*scene.panels[0].cells, 1, 3), SkyParts(sun, sets=1)
    faces = (False, True) if scene.panels[0].bifacial else (False,)
    out = []
    for rear in faces:
        c = light_coefficients(engine, parts, panels, net, np.ones_like, rear).before
        out.append(columns @ c.mean(axis=2, dtype=np.float64))
    return np.array(out)


@pytest.mark.parametrize("name", SCENES)
def test_error_of_sharing(name):
    """Mean of the field within 0.1 % and any panel within 1 % of tracing each panel; rears in shares of the
    front."""
    scene = SCENES[name]()
    light = light_of_every_panel(scene)
    front = light[0].mean()
    print(f"{name}: {len(scene.panels)} panels, front {front:.0f} kWh/m²")
    for tolerance in (0.0005, 0.001, TOLERANCE, 0.004, 0.01):
        near = choose(scene, tolerance)
        shared = light[:, near.traced[near.of_panel]]
        off = (shared - light) / front
        figures = " ".join(
            f"{face} mean {100 * o.mean():+.3f} % max {100 * abs(o).max():.2f} %"
            for face, o in zip(("front", "rear"), off, strict=False)
        )
        print(f"  tolerance {tolerance}: {len(near.traced)} traced, {figures}")
        if tolerance == TOLERANCE:
            assert np.abs(off.mean(axis=1)).max() < 0.001
            assert np.abs(off).max() < 0.01
            assert near.counts.sum() == len(scene.panels)


def test_inner_panels_of_a_wide_field_share():
    """In a field of equal rows most panels see the same."""
    scene = rows(25, 3.5, 8, 40)
    near = choose(scene)
    print(f"{len(near.traced)} of {len(scene.panels)} panels traced")
    assert len(near.traced) < 0.35 * len(scene.panels)
    # The first row, in front of which nothing stands, is not stood for by inner rows, nor the other way
    # round.
    assert (near.traced[near.of_panel[:40]] < 40).all()
    assert (near.traced[near.of_panel[40:]] >= 40).all()


def test_only_equal_panels_of_one_family_share():
    """Attitude, size and family keep panels apart, however alike what they see."""
    panels = [Panel((50.0 * k, 0, 1), (1, 0, 0), (0, 0.8, 0.6), cells=(6, 4)) for k in range(6)]
    panels += [Panel((50.0 * k, 60, 1), (1, 0, 0), (0, 0.6, 0.8), cells=(6, 4)) for k in range(3)]
    panels += [Panel((50.0 * k, 120, 1), (1.2, 0, 0), (0, 0.8, 0.6), cells=(6, 4)) for k in range(3)]
    family = np.array([0, 0, 0, 1, 1, 1] + [0] * 6)
    near = choose(Scene(panels, ground=Ground()), family=family)
    kinds = [set(near.of_panel[list(group)]) for group in ((0, 1, 2), (3, 4, 5), (6, 7, 8), (9, 10, 11))]
    assert all(len(kind) == 1 for kind in kinds)
    assert len(set.union(*kinds)) == 4


def test_those_traced_stand_for_themselves():
    near = choose(SCENES["rows beside a house"]())
    assert (near.of_panel[near.traced] == np.arange(len(near.traced))).all()
    assert (np.bincount(near.of_panel) == near.counts).all()


def test_no_tolerance_traces_every_panel_that_differs_at_all():
    scene = SCENES["rows beside a house"]()
    assert len(choose(scene, 0.0).traced) > 0.8 * len(scene.panels)


def test_switched_off():
    near = every_panel(7)
    assert near.traced.tolist() == near.of_panel.tolist() == list(range(7))
    assert near.counts.tolist() == [1] * 7
