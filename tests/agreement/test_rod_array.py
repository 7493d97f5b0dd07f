"""Bright rods side by side, traced as round cylinders, against the slope pair that stands for them in the bundled type.

Round rods that touch have every slope up to 90° and light comes off some of them twice or more often; the pair (25°, 2°)
is that of an arc of them. Both are traced here: whole rods, and rods sunk into their backing until the rms slope of
what looks out is 25°. The figures are printed; nothing published is known to us.
"""

from functools import lru_cache

import numpy as np
import pytest
from scipy.optimize import brentq

from layout.light.light_map import light_map
from layout.pieces import Panel, Reflector, Scene
from layout.reflector_types import load_reflector_type
from sites.conventions import unit_vector

REFLECTANCE = 0.88
RAYS = 250_000
SUNS = [(20.0, 180.0), (35.0, 180.0), (50.0, 180.0), (30.0, 150.0), (40.0, 220.0)]


def scene(slopes):
    """An upright panel that faces south and a level sheet before it; the rods run north, away from the panel."""
    panel = Panel((0, 0, 0), (1.1, 0, 0), (0, 0, 1.7), cells=(5, 3))
    return Scene(
        [panel], [Reflector((-0.6, -1.6, 0), (2.3, 0, 0), (0, 1.6, 0), reflectance=REFLECTANCE, slope_rms=slopes)]
    )


def arc_of(rms_deg):
    """Half width, over the rod's radius, of the arc whose slopes u/√(1 − u²) have this rms: u is spread evenly."""
    wanted = np.tan(np.radians(rms_deg)) ** 2
    return brentq(lambda a: np.arctanh(a) / a - 1.0 - wanted, 1e-3, 1 - 1e-9)


class Rods:
    """Circles of radius 1 in the plane across the rods, 2·half apart, sunk so that they touch at the backing."""

    def __init__(self, half, along_rms_deg):
        self.half, self.spread = half, np.tan(np.radians(along_rms_deg))
        self.low = np.sqrt(max(0.0, 1.0 - half**2))

    def meet(self, x, z, dx, dz):
        """Distance in the plane to the next rod, inf where none, and where its middle is."""
        best, middle = np.full(len(x), np.inf), np.zeros(len(x))
        # Rays above the rods' tops meet nothing; below them, only rods within reach.
        nearest = np.round(x / (2 * self.half))
        for k in range(-12, 13):
            c = 2 * self.half * (nearest + k)
            b = (x - c) * dx + z * dz
            with np.errstate(invalid="ignore"):
                t = -b - np.sqrt(b * b - ((x - c) ** 2 + z * z - 1.0))
            hit = (t > 1e-7) & (t < best)
            best[hit], middle[hit] = t[hit], c[hit]
        return best, middle

    def leave(self, d, rng, most=12):
        """Directions (n, 3) in which rays d come off, and what is left of each; local x across, z up."""
        n = len(d)
        d, left = d.copy(), np.ones(n)
        x, z = rng.uniform(-self.half, self.half, n), np.full(n, 1.0 + 1e-6)
        under_way = np.arange(n)
        for _ in range(most + 1):
            v = d[under_way]
            flat = np.hypot(v[:, 0], v[:, 2])
            dx, dz = v[:, 0] / flat, v[:, 2] / flat
            t, c = self.meet(x[under_way], z[under_way], dx, dz)
            hit = np.isfinite(t)
            under_way, t, c, v, dx, dz = under_way[hit], t[hit], c[hit], v[hit], dx[hit], dz[hit]
            if not len(under_way):
                break
            x[under_way] += t * dx
            z[under_way] += t * dz
            h = np.column_stack([x[under_way] - c, np.zeros(len(t)), z[under_way]])
            h[:, 1] = -self.spread * rng.normal(size=len(t)) * h[:, 2]
            h /= np.linalg.norm(h, axis=1, keepdims=True)
            d[under_way] = v - 2 * (v * h).sum(axis=1, keepdims=True) * h
            left[under_way] *= REFLECTANCE
        left[under_way] = 0.0  # still between the rods
        left[d[:, 2] <= 0] = 0.0
        return d, left


@lru_cache(maxsize=4)
def by_rods(half):
    """Reflected light on the panel under each sun, (suns,), and the share of the light that leaves the rods."""
    (panel,), (sheet,), rods = scene((0, 0)).panels, scene((0, 0)).reflectors, Rods(half, 2.0)
    rng, light, kept = np.random.default_rng(4), [], []
    for elevation, azimuth in SUNS:
        sun = unit_vector(elevation, azimuth)
        place = sheet.corner + rng.random((RAYS, 1)) * sheet.along + rng.random((RAYS, 1)) * sheet.up
        d, left = rods.leave(np.tile(-sun, (RAYS, 1)), rng)
        t = -(place @ panel.normal) / (d @ panel.normal)
        at = place + t[:, None] * d - panel.corner
        u, v = at @ panel.along / (panel.along @ panel.along), at @ panel.up / (panel.up @ panel.up)
        on = (t > 0) & (d @ panel.normal < 0) & (u >= 0) & (u <= 1) & (v >= 0) & (v <= 1)
        light.append(left[on].sum() / RAYS * sheet.area_m2 * sun[2] / panel.area_m2)
        kept.append(left.mean())
    return np.array(light), np.array(kept)


def by_pair(slopes):
    elevation, azimuth = np.array(SUNS).T
    return light_map(scene(slopes), elevation, azimuth, dni=1.0).reflected[0].mean(axis=(1, 2))


def test_rods_against_their_slope_pair():
    kind = load_reflector_type("rod_array")
    pair = by_pair(kind.slope_rms_deg)
    wide = {s: by_pair((s, 2.0)) for s in (20.0, 30.0)}
    print()
    worst = {}
    sunk = f"rods sunk to {arc_of(25.0):.2f} of their width"
    for name, half in (("whole rods", 1.0), (sunk, arc_of(25.0))):
        light, kept = by_rods(half)
        off = pair / light - 1.0
        worst[name] = pair.mean() / light.mean() - 1.0
        print(f"{name}: light {light.round(4)} of DNI, {kept.mean():.3f} leaves the rods")
        print(f"  pair {kind.slope_rms_deg}: {off.round(3)}, all suns {worst[name]:+.1%}")
        others = ", ".join(f"{s:.0f}°: {w.mean() / light.mean() - 1:+.1%}" for s, w in wide.items())
        print(f"  other slopes along, all suns: {others}")
    assert abs(worst["whole rods"]) < 0.05
    assert abs(worst[sunk]) < 0.12


def test_the_trace_keeps_energy():
    """Every ray is reflected at least once; whole rods, met more than once, lose more than sunk ones."""
    _, whole = by_rods(1.0)
    _, sunk = by_rods(arc_of(25.0))
    assert (whole < REFLECTANCE).all()
    assert (sunk <= REFLECTANCE + 1e-12).all()
    assert (sunk > whole).all()


@pytest.mark.parametrize("half", [0.3, 0.7])
def test_arc_has_the_stated_slope(half):
    """The even spread of places over a round arc and its slopes, by numbers."""
    rms = np.degrees(np.arctan(np.sqrt(np.arctanh(half) / half - 1.0)))
    assert arc_of(rms) == pytest.approx(half, rel=1e-6)
    u = (np.arange(100_000) + 0.5) / 100_000 * half
    assert np.sqrt((u**2 / (1 - u**2)).mean()) == pytest.approx(np.tan(np.radians(rms)), rel=1e-4)
