"""Sunlight that reaches points by way of sheets: paths over one and several sheets."""

import numpy as np
import pytest
from scipy.special import erfc

from layout.geometry.rays import RayKernel
from layout.geometry.rectangles import Rectangles
from layout.light import chains
from layout.light.chains import light_by_sheets
from layout.light.lattice import additive_sequence, draw_points, rank_one_lattice
from layout.light.sheets import sequences, sheets_of
from layout.pieces import Blocker, Diffuser, Panel, Reflector, Scene
from layout.power.glass import transmission_ratio

N = 40


def points_of(panel, n=N):
    """n × n points, row by row along `up`."""
    share = (np.arange(n) + 0.5) / n
    places = panel.corner + share[:, None, None] * panel.up + share[None, :, None] * panel.along
    return places.reshape(-1, 3) + 1e-4 * panel.normal


def light(scene, sources, bounces=1, draws=13, n=N, glasses=(np.ones_like,), part=(0, 1)):
    """(glasses, sources, n, n) on the first panel."""
    panel, sheets = scene.panels[0], sheets_of(scene)
    s = np.atleast_2d(np.asarray(sources, float))
    s = s / np.linalg.norm(s, axis=1, keepdims=True)
    out = light_by_sheets(
        RayKernel(Rectangles.of(scene.pieces)),
        tuple(sequences(sheets, bounces)),
        points_of(panel, n),
        panel.normal,
        s,
        glasses,
        transmission_ratio,
        draws,
        part,
    )
    return out.reshape(len(glasses), len(s), n, n)


def upright_and_level(**more):
    """A unit panel that faces south, a level unit sheet at its foot."""
    return Scene([Panel((0, 0, 0), (1, 0, 0), (0, 0, 1))], [Reflector((0, -1, 0), (1, 0, 0), (0, 1, 0), **more)])


def test_mirror_at_the_foot():
    """Sun in the plane across: the lower tan(elevation) of the panel gets reflectance·cos(elevation)."""
    s = np.array([0.0, -1.0, 0.5])
    found = light(upright_and_level(reflectance=0.9), s)[0, 0]
    expected = np.zeros((N, N))
    expected[: N // 2] = 0.9 / np.hypot(1.0, 0.5)
    assert found == pytest.approx(expected, abs=1e-6)


def test_only_the_front_of_a_reflector_reflects():
    scene = upright_and_level(reflectance=0.9)
    sheet = scene.reflectors[0]
    turned_over = Reflector(sheet.corner, sheet.up, sheet.along, reflectance=0.9)
    assert light(Scene(scene.panels, [turned_over]), [0, -1, 0.5]).max() == 0


@pytest.mark.parametrize(("middle", "dark"), [(-0.7, [(0.2, 0.3), (0.4, 0.5)]), (-0.3, [(0.2, 0.3), (0.0, 0.1)])])
def test_shadows_fall_on_both_legs(middle, dark):
    """A black strip 0.1 above the mirror. Light by way of (x, y, 0) comes through y − 0.2 at that height and goes on
    through y + 0.2 to the panel at the height −y/2: each strip shades a band by either leg."""
    scene, s = upright_and_level(reflectance=1.0), np.array([0.0, -1.0, 0.5])
    blocker = Blocker((0, middle - 0.1, 0.1), (0.5, 0, 0), (0, 0.2, 0))
    bare, shaded = (light(Scene(scene.panels, scene.reflectors, blockers=b), s)[0, 0] for b in ((), (blocker,)))
    expected, height = np.zeros((N, N)), (np.arange(N) + 0.5) / N
    for low, high in dark:
        expected[(height > low) & (height < high), : N // 2] = 1.0 / np.hypot(1.0, 0.5)
    assert bare - shaded == pytest.approx(expected, abs=1e-6)


def periscope(low_slopes=(0.0, 0.0), high_slopes=(0.0, 0.0)):
    """Light from the south passes over the panel, which faces north: down off the high mirror, then off the low one to
    the panel. Both stand at 45°.

    sun ->        ______ \\ high
           panel |  <---- \\
                 |       / low
    """
    panel = Panel((0.5, 0, 0), (-1, 0, 0), (0, 0, 1))
    low = Reflector((-0.7, 0.3, -0.2), (1.4, 0, 0), (0, 1.4, 1.4), reflectance=0.9, slope_rms=low_slopes)
    high = Reflector((0.7, 0.3, 3.2), (-1.4, 0, 0), (0, 1.4, -1.4), reflectance=0.8, slope_rms=high_slopes)
    return Scene([panel], [low, high])


def test_two_plane_mirrors():
    """All of the panel gets 0.9 · 0.8 of the beam after two bounces, nothing after one."""
    assert light(periscope(), [0, -1, 0], bounces=1).max() == 0
    assert light(periscope(), [0, -1, 0], bounces=2)[0, 0] == pytest.approx(np.full((N, N), 0.72), abs=1e-6)


class Walk:
    """Rays followed forward from the sun one by one, facets drawn at random: shares nothing with the engine but the
    definition of a facet's weight."""

    def __init__(self, scene, rays, seed=5):
        self.pieces, self.n = scene.pieces, rays
        self.rng = np.random.default_rng(seed)

    def first(self, start, d):
        """Nearest piece and distance of rays (n, 3); −1 where none."""
        best, which = np.full(len(start), np.inf), np.full(len(start), -1)
        for k, p in enumerate(self.pieces):
            with np.errstate(divide="ignore", invalid="ignore"):
                t = ((p.corner - start) @ p.normal) / (d @ p.normal)
                place = start + t[:, None] * d - p.corner
                u, v = place @ p.along / (p.along @ p.along), place @ p.up / (p.up @ p.up)
            hit = (t > 1e-7) & (t < best) & (u >= 0) & (u <= 1) & (v >= 0) & (v <= 1)
            best[hit], which[hit] = t[hit], k
        return which, best

    def g1(self, v, slopes):
        """Smith's masking, as 1/(1 + Λ)."""
        a = v[:, 2] / np.maximum(1e-12, np.sqrt(2.0) * np.hypot(slopes[0] * v[:, 0], slopes[1] * v[:, 1]))
        return 1.0 / (1.0 + 0.5 * (np.exp(-(a**2)) / (a * np.sqrt(np.pi)) - erfc(a)))

    def off(self, piece, d):
        """Directions after a facet of a reflector, and what is left of the flux."""
        axes = np.array([piece.along / np.linalg.norm(piece.along), piece.up / np.linalg.norm(piece.up), piece.normal])
        slopes = np.tan(np.radians(piece.slope_rms))
        s = -d @ axes.T
        h = np.column_stack([self.rng.normal(size=(len(d), 2)) * slopes, np.ones(len(d))])
        h /= np.linalg.norm(h, axis=1, keepdims=True)
        sh = (s * h).sum(axis=1)
        o = 2 * sh[:, None] * h - s
        good = (sh > 0) & (s[:, 2] > 0) & (o[:, 2] > 0)
        left = np.zeros(len(d))
        g = self.g1(s[good], slopes) * self.g1(o[good], slopes)
        left[good] = piece.reflectance * g * sh[good] / (h[good, 2] * s[good, 2])
        return o @ axes, left

    def mean_on_panel(self, sun, bounces):
        """Mean light on the first panel's front by way of 1 to ``bounces`` reflectors, from a beam of 1."""
        sun = np.asarray(sun) / np.linalg.norm(sun)
        corners = np.concatenate(
            [[p.corner, p.corner + p.along, p.corner + p.up, p.corner + p.along + p.up] for p in self.pieces]
        )
        side = np.linalg.svd(sun[None])[2][1:]
        low, high = (corners @ side.T).min(axis=0), (corners @ side.T).max(axis=0)
        place = (self.rng.random((self.n, 2)) * (high - low) + low) @ side + ((corners @ sun).max() + 1.0) * sun
        d, flux = np.broadcast_to(-sun, place.shape), np.full(self.n, np.prod(high - low) / self.n)
        got, count = 0.0, len(self.pieces)
        for step in range(bounces + 1):
            which, t = self.first(place, d)
            place = place + np.where(which >= 0, t, 0.0)[:, None] * d
            front = which == 0
            if step:
                got += flux[front & (d @ self.pieces[0].normal < 0)].sum()
            for k in range(count):
                p = self.pieces[k]
                on = which == k
                if isinstance(p, Reflector) and on.any():
                    d = d.copy()
                    out, left = self.off(p, d[on])
                    d[on], flux[on] = out, flux[on] * left
                elif on.any():
                    flux[on] = 0.0
            flux[which < 0] = 0.0
            keep = flux > 0
            place, d, flux = place[keep], d[keep], flux[keep]
        return got / self.pieces[0].area_m2


@pytest.mark.parametrize(
    ("low", "high"), [((6, 6), (6, 6)), ((12, 1), (12, 1)), ((12, 1), (1, 12)), ((20, 20), (10, 10)), ((0, 0), (9, 9))]
)
def test_two_scattering_sheets(low, high):
    """Two bounces: the facets of both sheets have to be drawn independently of each other."""
    scene, sun = periscope(low, high), [0.1, -1.0, 0.05]
    found = light(scene, sun, bounces=2, draws=4181, n=6).mean()
    walk = Walk(scene, 400_000).mean_on_panel(sun, 2)
    print(f"slopes {low}, {high}: {found:.4f}, walk {walk:.4f}, {found / walk - 1:+.2%}")
    assert found == pytest.approx(walk, rel=0.015)


def test_one_scattering_sheet():
    scene, sun = upright_and_level(reflectance=0.85, slope_rms=(10.0, 5.0)), [0.3, -1.0, 0.6]
    found, walk = light(scene, sun, draws=2584, n=12).mean(), Walk(scene, 400_000).mean_on_panel(sun, 1)
    print(f"{found:.4f}, walk {walk:.4f}, {found / walk - 1:+.2%}")
    assert found == pytest.approx(walk, rel=0.01)


def test_draws_of_one_path_are_independent():
    """Over all draws the facets of two sheets are uncorrelated and fill their four dimensions evenly; smooth sheets
    take no part."""
    points = draw_points(3, 987, [True, False, True])
    assert points.shape == (3, 987, 3, 2)
    assert (points[:, :, 1] == 0.5).all()
    four = points[:, :, [0, 2]].reshape(3, 987, 4)
    for one in four:
        assert np.corrcoef(one.T) - np.eye(4) == pytest.approx(np.zeros((4, 4)), abs=0.05)
        corner = (one[:, :, None] < np.array([0.3, 0.7])).all(axis=1).mean(axis=0)
        assert corner == pytest.approx([0.3**4, 0.7**4], abs=0.01)
    assert draw_points(2, 377, [False, False]).shape == (2, 1, 2, 2)
    assert not np.allclose(four[0], four[1])


@pytest.mark.parametrize(("n", "dimensions"), [(377, 2), (377, 4), (987, 4), (987, 6)])
def test_rank_one_lattice(n, dimensions):
    """In every dimension the same n evenly spaced values; the mean of a smooth periodic function far better than by
    as many random points."""
    points = rank_one_lattice(n, dimensions)
    assert np.sort(points, axis=0) == pytest.approx(np.repeat((np.arange(n) + 0.5)[:, None] / n, dimensions, axis=1))
    found = (1.0 + np.cos(2 * np.pi * points)).prod(axis=1).mean()  # 1 exactly
    random = np.sqrt((1.5**dimensions - 1.0) / n)
    assert abs(found - 1.0) < 0.2 * random


@pytest.mark.parametrize("dimensions", [2, 4, 6])
def test_additive_sequence_is_even(dimensions):
    points = additive_sequence(np.arange(4000), dimensions)
    assert points.mean(axis=0) == pytest.approx(np.full(dimensions, 0.5), abs=2e-3)
    assert (points**2).mean(axis=0) == pytest.approx(np.full(dimensions, 1 / 3), abs=2e-3)
    assert points.min() >= 0
    assert points.max() < 1


def test_parts_add_up_to_the_whole():
    scene, sun = upright_and_level(slope_rms=(12.0, 4.0)), [[0.3, -1.0, 0.6], [-0.2, -1.0, 0.3]]
    whole = light(scene, sun, draws=89)
    parts = sum(light(scene, sun, draws=89, part=(k, 4)) for k in range(4))
    assert parts == pytest.approx(whole, abs=1e-6)


def test_blocks_of_rays_change_nothing(monkeypatch):
    scene, sun = periscope((5.0, 5.0)), [[0.1, -1.0, 0.0], [0.0, -1.0, 0.1], [0.0, -1.0, -0.1]]
    whole = light(scene, sun, bounces=2, draws=34, n=10)
    monkeypatch.setattr(chains, "RAYS_AT_ONCE", 700)
    assert light(scene, sun, bounces=2, draws=34, n=10) == pytest.approx(whole, abs=1e-6)


def test_each_glass_weighs_each_direction():
    """A glass that passes cos²θ: with a plane mirror at the foot every ray has the same cosine."""
    s = np.array([0.0, -1.0, 0.5])
    plain, squared = light(upright_and_level(reflectance=0.9), s, glasses=(np.ones_like, np.square))[:, 0]
    assert squared == pytest.approx(plain / 1.25, rel=1e-5)


@pytest.mark.parametrize("where", ["before", "after"])
def test_mirror_and_diffuser_on_one_path(where):
    """A diffuser that only weakens, before or after the mirror: transmittance and glass at its own angle."""
    scene, s = upright_and_level(reflectance=0.9), np.array([0.0, -1.0, 0.5])
    # Upright just before the panel; level and so high that sunlight meets it on its way to both.
    sheet = (
        Diffuser((-1, -0.01, 0.0), (3, 0, 0), (0, 0, 1.2), transmittance=0.7)
        if where == "after"
        else Diffuser((-3, -9, 2.0), (6, 0, 0), (0, 8.5, 0), transmittance=0.7)
    )
    s = s / np.linalg.norm(s)
    cosine = s[1] * -1.0 if where == "after" else s[2]
    found = light(Scene(scene.panels, scene.reflectors, [sheet]), s)[0, 0]
    by_mirror = 0.9 * -s[1] * 0.7 * transmission_ratio(np.array([cosine]))[0]
    straight = -s[1] * 0.7 * transmission_ratio(np.array([cosine]))[0]
    expected = np.full((N, N), straight)
    expected[: N // 2] += by_mirror
    edge = np.zeros(N, bool)
    edge[N // 2 - 1 : N // 2 + 1] = True
    assert found[~edge] == pytest.approx(expected[~edge], abs=1e-6)
