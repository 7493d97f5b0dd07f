"""Panels that share a tracing: which may, what error that brings, and the experiment behind the tolerance."""

from functools import partial
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import layout.field
from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of
from layout.light.surroundings import TOLERANCE, Year, _cluster, equal_surroundings, every_panel
from layout.pieces import Blocker, Ground, Panel, Reflector, Scene
from layout.plan import parse_plan
from layout.run import run_plan
from sites.conventions import unit_vector

FIELD, PANEL = 0.001, 0.01
"""What sharing may change: the AC energy of a field, and the light of any panel."""

PLAN = """
title = "A field with an uneven outline"
[site]
name = "tannerfold"
[plot]
boundary = [[0, 0], [31, -4], [38, 11], [29, 14], [33, 30], [9, 33], [-5, 17]]
setback_m = 1.5
[[plot.obstacle]]
name = "shed"
outline = [[12, 24], [17, 24], [17, 28], [12, 28]]
height_m = 5.0
[[plot.keep_out]]
outline = [[14, 8], [20, 7], [21, 12], [15, 13]]
[run]
repetition = {repetition}
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 25
azimuth_deg = 180
pitch_m = 4.0
clearance_m = 0.6
panels_high = 2
orientation = "landscape"
[[layout]]
name = "towers"
kind = "towers"
side_m = 2.25
height_m = 3.6
base_height_m = 0.5
spacing_m = 6.5
[[layout]]
name = "upright"
kind = "upright"
azimuth_deg = 90
pitch_m = 5.0
clearance_m = 0.8
panels_high = 2
orientation = "landscape"
"""


def result(name, repetition):
    plan = parse_plan(PLAN.format(repetition=str(repetition).lower()), "field.toml", Path("."))
    return run_plan(plan, only=[name]).layouts[name]


def light(r):
    return r.per_panel.front_kwh_per_m2 + r.per_panel.rear_kwh_per_m2


def differences(shared, each):
    """AC of the field, and the light of the panel that differs most."""
    ac = shared.energy_ac_kwh / each.energy_ac_kwh - 1.0
    return ac, float(np.abs(light(shared) / light(each) - 1.0).max())


@pytest.mark.parametrize("name", ["rows", pytest.param("towers", marks=pytest.mark.long)])
def test_sharing_hardly_changes_a_field(name):
    each, shared = result(name, False), result(name, True)
    ac, panel = differences(shared, each)
    print(f"\n{name}: {shared.traced_panels} of {each.panels} traced, AC {ac:+.3%}, worst panel {panel:.2%}")
    assert each.traced_panels == each.panels
    assert shared.traced_panels < each.panels
    assert abs(ac) < FIELD
    assert panel < PANEL


@pytest.mark.long
@pytest.mark.parametrize("name", ["rows", "upright", "towers"])
def test_experiment_behind_the_tolerance(name, monkeypatch):
    """Classes and error against the tolerance; at twice the value chosen single panels come near 1 %."""
    each = result(name, False)
    print(f"\n{name}, {each.panels} panels\n  tolerance  traced   field AC  worst panel")
    for factor in (0.25, 0.5, 1.0, 2.0, 4.0):
        with monkeypatch.context() as changed:
            looser = partial(equal_surroundings, tolerance=factor * TOLERANCE)
            changed.setattr(layout.field, "equal_surroundings", looser)
            shared = result(name, True)
        ac, panel = differences(shared, each)
        print(f"  {factor * TOLERANCE:9.4f} {shared.traced_panels:7d} {ac:+10.3%} {panel:12.2%}")
        if factor <= 1.0:
            assert abs(ac) < FIELD
            assert panel < PANEL


# Which panels may share --------------------------------------------------------------------------------------------


def year(albedo=0.2):
    elevation, azimuth = np.meshgrid(np.arange(5.0, 70.0, 10.0), np.arange(75.0, 300.0, 15.0))
    sun = unit_vector(elevation.ravel(), azimuth.ravel())
    return Year(sun, np.full(len(sun), 12.0), 700.0, albedo)


def slanted(x, y, tilt_deg=30.0, z=0.6):
    tilt = np.radians(tilt_deg)
    return Panel((x, y, z), (1.8, 0, 0), (0, 1.1 * np.cos(tilt), 1.1 * np.sin(tilt)), cells=(6, 10))


def shared(panels, blockers=(), family=None, faces=False, reflectors=()):
    engine = engine_of(Scene(panels, reflectors, blockers=blockers, ground=Ground()), np.ones_like)
    n = len(panels)
    kind = np.zeros(n, dtype=np.int64) if family is None else np.array(family)
    return equal_surroundings(engine, Rectangles.of(panels), kind, np.full(n, faces), year())


def test_panels_far_apart_share_one_tracing():
    found = shared([slanted(40.0 * i, 55.0 * j) for i in range(3) for j in range(2)], faces=True)
    assert len(found.traced) == 1
    assert found.counts.tolist() == [6]
    assert (found.traced[found.of_panel] == found.traced[0]).all()


def test_attitudes_and_families_never_share():
    panels = [slanted(0, 0), slanted(40, 0, 31.0), slanted(0, 40), slanted(40, 40)]
    found = shared(panels, family=[0, 0, 1, 0])
    assert len(found.traced) == 3
    assert found.of_panel[0] == found.of_panel[3]
    assert len({found.of_panel[i] for i in range(3)}) == 3


@pytest.mark.parametrize(
    "blocker",
    [
        Blocker((-3, -2, 0), (4, 0, 0), (0, 0, 3)),  # a wall in front
        Blocker((-1.5, -1.2, 0), (3, 0, 0), (0, 0, 0.6)),  # a low one that shades only the ground under the panel
    ],
)
def test_a_panel_with_a_neighbour_stands_for_itself(blocker):
    panels = [slanted(40.0 * i, 0) for i in range(3)]
    found = shared(panels, blockers=[blocker], faces=True)
    assert found.of_panel[1] == found.of_panel[2] != found.of_panel[0]


def test_light_that_a_sheet_throws_on_the_ground_tells_panels_apart():
    """A mirror wall behind upright panels, which they do not see: the ground that they look at is brighter."""
    panels = [slanted(40.0 * i, 0.0, 90.0) for i in range(4)]
    walls = [Reflector((40.0 * i - 0.6, 0.03, 0.1), (3, 0, 0), (0, 0, 4)) for i in (1, 3)]
    found = shared(panels, reflectors=walls)
    assert found.of_panel[0] == found.of_panel[2] != found.of_panel[1] == found.of_panel[3]
    black = [Reflector(w.corner, w.along, w.up, reflectance=0.0) for w in walls]
    assert len(shared(panels, reflectors=black).traced) == 1


def test_inner_panels_of_long_rows_share():
    """Of five rows of forty panels the inner ones are alike: far fewer classes than panels."""
    panels = [slanted(1.82 * i, 2.6 * j) for j in range(5) for i in range(40)]
    found = shared(panels)
    assert found.counts.sum() == 200
    assert found.counts.max() > 30
    assert len(found.traced) < 70


def test_switched_off_everyone_stands_for_himself():
    assert every_panel(4).of_panel.tolist() == every_panel(4).traced.tolist() == [0, 1, 2, 3]


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.integers(0, 2**31), st.integers(1, 60), st.floats(0.0, 12.0))
def test_rows_of_one_number_lie_close(seed, n, limit):
    """Within ``limit`` of one of them; and rows that are equal always share."""
    rng = np.random.default_rng(seed)
    views = (rng.random((n, 25)) < rng.random((n, 1))).astype(np.float32)
    views = views[rng.integers(0, n, n)]
    which = _cluster(views, limit)
    for k in range(which.max() + 1):
        mine = views[which == k]
        apart = np.abs(mine[:, None] - mine[None]).sum(axis=2)
        assert apart.max(axis=1).min() <= limit
    same = np.unique(views, axis=0, return_inverse=True)[1].reshape(-1)
    for group in range(same.max() + 1):
        assert len(set(which[same == group])) == 1
