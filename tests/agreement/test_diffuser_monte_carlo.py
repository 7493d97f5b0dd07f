"""Diffusers against single rays followed from the sun, turned at random: a Monte Carlo of our own that shares with the
engine only the definition of a sheet."""

from dataclasses import dataclass

import numpy as np
import pytest

from layout.light.light_map import light_map
from layout.pieces import Blocker, Diffuser, Panel, Reflector, Scene
from layout.power.glass import transmission_ratio
from sites.conventions import unit_vector

MEAN = 0.01
"""Of the mean light by way of sheets."""

CELL = 0.03
"""Of the panel's brightest cell."""


@dataclass
class Case:
    scene: Scene
    elevation: float
    azimuth: float


def cases():
    t = np.radians(25.0)
    up, normal = np.array([0, np.cos(t), np.sin(t)]), np.array([0, -np.sin(t), np.cos(t)])
    panel = Panel((0, 0, 1), (1.1, 0, 0), 1.7 * up, cells=(6, 4))

    def cover(gap, **more):
        return Diffuser(panel.corner + gap * normal, panel.along, panel.up, **more)

    wall = Blocker((-1.0, -0.9, 0.2), (1.6, 0, 0), (0, 0, 2.4))
    above = Diffuser((0.4, -1.4, 2.0), (1.6, 0, 0), (0, 1.2, 0.5), transmittance=0.88, spread_rms=(20, 6))
    back = Reflector(panel.corner + panel.along + panel.up, -panel.along, 1.3 * normal + 0.4 * up, reflectance=0.9)
    return {
        "cover 10, 10 at 0.1 m": Case(
            Scene([panel], diffusers=[cover(0.1, transmittance=0.9, spread_rms=(10, 10))]), 50, 170
        ),
        "cover 15, 4, a third of it matt": Case(
            Scene([panel], diffusers=[cover(0.3, transmittance=0.85, spread_rms=(15, 4), diffuse=0.35)]), 40, 215
        ),
        "sheet above, into the shadow of a wall": Case(Scene([panel], diffusers=[above], blockers=[wall]), 52, 205),
        "matt sheet, lit from its rear": Case(
            Scene(
                [panel],
                diffusers=[Diffuser((-0.3, -0.5, 0.7), (0, -0.2, 1.2), (1.7, 0, 0), transmittance=0.7, diffuse=1.0)],
            ),
            25,
            180,
        ),
        "mirror behind a panel under a cover, a third of it matt": Case(
            Scene([panel], [back], [cover(0.15, transmittance=0.9, spread_rms=(8, 8), diffuse=0.35)]), 35, 180
        ),
    }


class Rays:
    """Rays from the sun through rectangles, at most one diffuser and one reflector each."""

    def __init__(self, case, seed):
        self.case, self.pieces = case, case.scene.pieces
        self.sun = unit_vector(case.elevation, case.azimuth)
        self.rng = np.random.default_rng(seed)

    def start(self, n):
        """Evenly over the part of the beam that goes toward the sheets."""
        everything, sheets = (
            np.concatenate([[p.corner, p.corner + p.along, p.corner + p.up, p.corner + p.along + p.up] for p in group])
            for group in (self.pieces, [*self.case.scene.reflectors, *self.case.scene.diffusers])
        )
        aside = np.linalg.svd(self.sun[None])[2][1:]
        low, high = (sheets @ aside.T).min(axis=0), (sheets @ aside.T).max(axis=0)
        place = (self.rng.random((n, 2)) * (high - low) + low) @ aside + ((everything @ self.sun).max() + 1) * self.sun
        return place, np.tile(-self.sun, (n, 1)), np.full(n, np.prod(high - low) / n)

    def meet(self, place, d):
        """Nearest rectangle, −1 where none, and the shares of its edges (up, along) where it is met."""
        best, which, at = np.full(len(place), np.inf), np.full(len(place), -1), np.zeros((len(place), 2))
        for k, p in enumerate(self.pieces):
            with np.errstate(divide="ignore", invalid="ignore"):
                t = ((p.corner - place) @ p.normal) / (d @ p.normal)
                local = place + t[:, None] * d - p.corner
                v, u = local @ p.up / (p.up @ p.up), local @ p.along / (p.along @ p.along)
                hit = (t > 1e-7) & (t < best) & (u >= 0) & (u <= 1) & (v >= 0) & (v <= 1)
            best[hit], which[hit] = t[hit], k
            at[hit] = np.stack([v, u], axis=1)[hit]
        return which, best, at

    def through(self, sheet, d):
        """Directions behind a diffuser and the share of the light that goes that way."""
        n, (along, up) = len(d), (sheet.along, sheet.up)
        along, up = along / np.linalg.norm(along), up / np.linalg.norm(up)
        cosine = np.abs(d @ sheet.normal)
        left = sheet.transmittance * transmission_ratio(cosine)
        # Turned in the plane across `up` and in the one across that.
        first = np.cross(up, d)
        first /= np.linalg.norm(first, axis=1, keepdims=True)
        angle = self.rng.normal(size=(n, 2)) * np.radians(sheet.spread_rms)
        out = d + np.tan(angle[:, :1]) * first + np.tan(angle[:, 1:]) * np.cross(d, first)
        out /= np.linalg.norm(out, axis=1, keepdims=True)
        side = np.sign(d @ sheet.normal)[:, None]
        matt = self.rng.random(n) < sheet.diffuse
        r2, turn = self.rng.random(n), 2 * np.pi * self.rng.random(n)
        plane = np.sqrt(r2) * np.stack([np.cos(turn), np.sin(turn)])
        lambert = plane[0, :, None] * along + plane[1, :, None] * up + side * np.sqrt(1 - r2)[:, None] * sheet.normal
        out = np.where(matt[:, None], lambert, out)
        passes = (out @ sheet.normal) * side[:, 0] > 0
        return out, left * passes

    def off(self, mirror, d):
        """Directions off a plane mirror's front."""
        front = d @ mirror.normal < 0
        return d - 2 * (d @ mirror.normal)[:, None] * mirror.normal, mirror.reflectance * front

    def on_panel(self, n):
        """Light by way of sheets on the cells of the first panel, (n_up, n_along), from a beam of 1."""
        panel = self.pieces[0]
        place, d, flux = self.start(n)
        met = np.zeros((n, 2), int)  # diffusers, reflectors
        cells = np.zeros(panel.cells)
        for step in range(3):
            which, t, at = self.meet(place, d)
            lit = (which == 0) & (d @ panel.normal < 0) & (step > 0)
            index = np.minimum((at[lit] * panel.cells).astype(int), np.array(panel.cells) - 1)
            np.add.at(cells, tuple(index.T), flux[lit])
            place = place + np.where(which >= 0, t, 0.0)[:, None] * d
            keep = np.zeros(len(place), bool)
            for k, piece in enumerate(self.pieces):
                kind = 0 if isinstance(piece, Diffuser) else 1
                on = np.flatnonzero((which == k) & (met[:, kind] == 0))
                if len(on) and isinstance(piece, Diffuser | Reflector):
                    d[on], left = (self.through, self.off)[kind](piece, d[on])
                    flux[on] *= left
                    met[on, kind] += 1
                    keep[on] = flux[on] > 0
            place, d, flux, met = place[keep], d[keep], flux[keep], met[keep]
        return cells / (panel.area_m2 / cells.size)


def compared(name, rays, rounds):
    case = cases()[name]
    truth = np.mean([Rays(case, seed).on_panel(rays) for seed in range(rounds)], axis=0)
    m = light_map(case.scene, case.elevation, case.azimuth, dni=1.0)
    found, total = m.reflected[0][0], m.total[0][0]
    mean, cell = found.mean() / truth.mean() - 1.0, np.abs(found - truth).max() / total.max()
    print(
        f"\n{name}: by way of sheets {truth.mean():.4f}, straight {m.direct[0].mean():.4f} of DNI; "
        f"mean {mean:+.2%}, worst cell {cell:.2%} of the brightest"
    )
    assert truth.mean() > 0.02
    assert abs(mean) < MEAN
    assert cell < CELL


@pytest.mark.parametrize("name", list(cases()))
def test_diffusers(name):
    compared(name, 800_000, 1)


@pytest.mark.long
@pytest.mark.parametrize("name", list(cases()))
def test_diffusers_by_many_rays(name):
    compared(name, 2_000_000, 4)
