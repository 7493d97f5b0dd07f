"""Sheets: gathering them, scattering toward a receiver, looking on from one."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.light.lattice import cosine_hemisphere, fibonacci_lattice
from layout.light.sheets import Sheet, sequences, sheets_of, turned
from layout.pieces import Blocker, Diffuser, Panel, Reflector, Scene
from layout.power.glass import transmission_ratio

pairs = st.tuples(st.floats(0.0, 30.0), st.floats(0.0, 30.0))
seeds = st.integers(0, 2**31)


def axes_of(seed):
    return np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]


def sheet(texture, mirror=True, axes=None, share=0.8, diffuse=0.1):
    axes = np.eye(3) if axes is None else axes
    if np.linalg.det(axes) < 0:
        axes = axes * np.array([[1.0], [1.0], [-1.0]])
    return Sheet(np.array([True, False]), axes, mirror, texture, share, diffuse)


def some_directions(rng, n):
    d = rng.normal(size=(n, 3))
    return d / np.linalg.norm(d, axis=1, keepdims=True)


@settings(max_examples=50, deadline=None, derandomize=True)
@given(seeds, pairs)
def test_scatter_and_look_on_are_one_lobe(seed, texture):
    """What a receiver gets of a beam (scatter) and what it sees of the sky when it looks back (look_on) are the same
    function read from both ends: the same facet joins the same two directions, with the same factor."""
    rng, axes = np.random.default_rng(seed), axes_of(seed)
    s, rough = some_directions(rng, 500), sheet(texture, axes=axes)
    points = rng.random((500, 2))
    leaves, strength = rough.scatter(s, points, np.ones_like)
    lit = strength > 0
    on, factor = rough.look_on(-leaves[lit], points[lit], np.ones_like)
    assert np.linalg.norm(leaves, axis=1) == pytest.approx(np.ones(500), abs=1e-12)
    assert on == pytest.approx(s[lit], abs=1e-9)
    assert factor == pytest.approx(strength[lit], rel=1e-6)
    assert (strength[s @ rough.normal <= 0] == 0).all()


@settings(max_examples=50, deadline=None, derandomize=True)
@given(seeds, pairs, st.booleans(), st.floats(0.05, 1.0))
def test_no_more_leaves_than_arrives(seed, texture, mirror, share):
    """Flux that leaves over flux that arrives, mean(strength·|o·n|)/|s·n|, at most the share."""
    rng, axes = np.random.default_rng(seed), axes_of(seed)
    points = fibonacci_lattice(2584)
    one = sheet(texture, mirror, axes, share)
    for s in some_directions(rng, 5):
        leaves, strength = one.scatter(np.broadcast_to(s, (len(points), 3)), points, np.ones_like)
        cosine = leaves @ one.normal
        flux = (strength * np.abs(cosine)).mean()
        assert flux <= share * abs(s @ one.normal) * (1 + 5e-3)
        if mirror:
            assert (cosine[strength > 0] > 0).all()
        else:  # on the far side, whichever that is
            assert (cosine[strength > 0] * (s @ one.normal) < 0).all()


@settings(max_examples=30, deadline=None, derandomize=True)
@given(seeds, pairs)
def test_diffuser_is_read_the_same_from_both_ends(seed, texture):
    """Wherever a look goes on to, the light that comes from there carries the factor that `scatter` gives it."""
    rng, one = np.random.default_rng(seed), sheet(texture, mirror=False, axes=axes_of(seed), share=0.8)
    looks = some_directions(rng, 500)
    on, factor = one.look_on(looks, rng.random((500, 2)), transmission_ratio)
    middle = np.full((500, 2), 0.5)
    _, there = one.scatter(on, middle, transmission_ratio)  # not turned: what meets the sheet, over its own cosine
    met, leaves = np.abs(on @ one.normal), np.abs(looks @ one.normal)
    kept = factor > 0
    assert kept.mean() > 0.5
    assert factor[kept] == pytest.approx((there * met / leaves)[kept], rel=1e-6)
    assert (np.sign(on @ one.normal) == np.sign(looks @ one.normal))[kept].all()


@pytest.mark.parametrize("texture", [(0.0, 0.0), (3.0, 3.0), (10.0, 10.0), (20.0, 20.0)])
def test_a_diffuser_passes_as_much_of_an_even_sky_by_both_readings(texture):
    """Under an even sky all that passes is the same whether followed from the sky or looked back for."""
    one, rng = sheet(texture, mirror=False, share=1.0), np.random.default_rng(2)
    d, points = cosine_hemisphere(rng.random((1_000_000, 2))), rng.random((1_000_000, 2))
    leaves, strength = one.scatter(d, points, transmission_ratio)
    # d is drawn by cosine already, strength carries it once more.
    passed = (strength * np.abs(leaves[:, 2]) / d[:, 2]).mean()
    _, factor = one.look_on(-d, points, transmission_ratio)
    print(f"spread {texture}: passed {passed:.4f}, looked back for {factor.mean():.4f}")
    assert passed == pytest.approx(factor.mean(), abs=3e-3)
    assert passed <= transmission_ratio(d[:, 2]).mean() + 1e-9


def test_smooth_diffuser_only_weakens():
    one = sheet((0.0, 0.0), mirror=False, share=0.7)
    s = some_directions(np.random.default_rng(1), 50)
    leaves, strength = one.scatter(s, np.full((50, 2), 0.3), transmission_ratio)
    assert leaves == pytest.approx(-s, abs=1e-12)
    assert strength == pytest.approx(0.7 * transmission_ratio(np.abs(s[:, 2])), abs=1e-7)
    on, factor = one.look_on(-s, np.full((50, 2), 0.3), transmission_ratio)
    assert on == pytest.approx(-s, abs=1e-12)
    assert factor == pytest.approx(strength, abs=1e-12)


@pytest.mark.parametrize("spread", [(4.0, 1.0), (0.0, 9.0), (12.0, 12.0)])
def test_turns_have_the_stated_spread(spread):
    """Rms turn along and up, of light that passes straight through: the stated angles."""
    points = fibonacci_lattice(10946)
    out = turned(np.broadcast_to([0.0, 0.0, -1.0], (len(points), 3)), spread, points)
    assert np.linalg.norm(out, axis=1) == pytest.approx(np.ones(len(points)), abs=1e-12)
    angles = np.degrees(np.arctan2(out[:, :2], -out[:, 2:]))
    assert angles.mean(axis=0) == pytest.approx([0.0, 0.0], abs=0.02)
    assert np.sqrt((angles**2).mean(axis=0)) == pytest.approx(spread, rel=2e-3, abs=1e-9)


def test_turns_of_slanting_light_are_about_the_ray():
    """The mean direction stays the ray's, the spread along stays in the plane of ray and `along`."""
    ray, points = np.array([0.6, 0.0, -0.8]), fibonacci_lattice(2584)
    out = turned(np.broadcast_to(ray, (len(points), 3)), (8.0, 0.0), points)
    assert out[:, 1] == pytest.approx(np.zeros(len(points)), abs=1e-12)
    turn = np.degrees(np.arctan2(out[:, 0], -out[:, 2])) - np.degrees(np.arctan2(0.6, 0.8))
    assert [turn.mean(), np.sqrt((turn**2).mean())] == pytest.approx([0.0, 8.0], abs=0.03)
    assert turned(ray[None], (0.0, 0.0), points[:1]) == pytest.approx(ray[None])


def test_turns_past_a_right_angle_do_not_pass():
    """A spread of 45° turns 4.6 % of the draws past 90° each way: they are lost, not let out on the far side."""
    points = fibonacci_lattice(10946)
    one = sheet((45.0, 0.0), mirror=False, share=1.0)
    leaves, strength = one.scatter(np.broadcast_to([0.0, 0.0, 1.0], (len(points), 3)), points, np.ones_like)
    lost = 1.0 - (strength * np.abs(leaves[:, 2])).mean()
    assert lost == pytest.approx(0.0455, abs=5e-4)  # two-sided normal tail beyond 2σ


def pieces():
    a, b = (2.0, 0, 0), (0, 3.0, 0)
    return Scene(
        [Panel((0, 0, 0), a, b)],
        reflectors=[
            Reflector((5, 0, 0), a, b, reflectance=0.8, diffuse=0.25),
            Reflector((5, 9, 2), (1.0, 0, 0), b, reflectance=0.8, diffuse=0.25),
            Reflector((5, 0, 0), a, b, reflectance=0.8, diffuse=0.25, slope_rms=(3, 0)),
            Reflector((5, 0, 0), (0, 2.0, 0), (-1, 0, 0), reflectance=0.8, diffuse=0.25),
            Reflector((5, 0, 0), a, (0, 0, 3.0), reflectance=0.5, diffuse=1.0),
        ],
        diffusers=[Diffuser((0, 0, 1), a, b, transmittance=0.8, diffuse=0.25)],
        blockers=[Blocker((9, 9, 9), a, b)],
    )


def test_sheets_are_gathered_by_attitude_and_kind():
    found = sheets_of(pieces())
    assert [np.flatnonzero(s.member).tolist() for s in found] == [[1, 2], [3], [4], [5], [6]]
    assert [len(s.member) for s in found] == [9] * 5
    assert [s.mirror for s in found] == [True] * 4 + [False]
    assert [s.share for s in found] == pytest.approx([0.6, 0.6, 0.6, 0.0, 0.6])
    assert [s.diffuse_share for s in found] == pytest.approx([0.2, 0.2, 0.2, 0.5, 0.2])
    assert [s.smooth for s in found] == [True, False, True, True, True]
    for s in found:
        assert s.axes @ s.axes.T == pytest.approx(np.eye(3), abs=1e-12)
        assert s.normal == pytest.approx(np.cross(s.axes[0], s.axes[1]))


@pytest.mark.parametrize(("bounces", "expected"), [(0, 1), (1, 1 + 3 + 2 * 3), (2, 1 + 3 + 6 + 9 + 3 * 9)])
def test_orders_in_which_light_meets_sheets(bounces, expected):
    """Three kinds of mirror sheet and one diffuser, the matt one aside: every order of up to ``bounces`` mirrors with
    or without the diffuser at any place."""
    orders = list(sequences(sheets_of(pieces()), bounces))
    assert len(orders) == len({tuple(id(s) for s in o) for o in orders}) == expected
    assert all(sum(s.mirror for s in o) <= bounces for o in orders)
    assert all(sum(not s.mirror for s in o) <= 1 for o in orders)
    assert all(s.share > 0 for o in orders for s in o)
    assert all(s.mirror for o in sequences(sheets_of(pieces()), bounces, 0) for s in o)
