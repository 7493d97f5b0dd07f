"""The year of boosted layouts against tracing every hour by itself.

Straight light and light by way of the ground come from the brute force of test_year_brute_force.py. Light by way of
reflectors is traced here the other way round than in the light engine: parcels of beam are thrown onto the reflectors
at each hour's own sun and followed forward to the cells; sky and ground light are looked for from points on the panels
by random rays. Only the optics of one facet are shared; they have tests of their own. Rays: Embree through embreex.
"""

import importlib.util
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene

from layout.arrange import arrange
from layout.conditions import conditions
from layout.evaluate import Evaluator, evaluate
from layout.field import build_field
from layout.light.sheets import sheets_of
from layout.optics.facets import facet_normals, lobe_weights
from layout.peaks import peaks
from layout.plan import parse_plan
from layout.power.glass import transmission_ratio
from layout.power.panel_model import panel_model
from sites.conventions import unit_vector
from sites.weather_files import load_weather

_spec = importlib.util.spec_from_file_location("brute_force", Path(__file__).with_name("test_year_brute_force.py"))
brute_force = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(brute_force)

FIELD, PANEL, PEAK = 0.005, 0.015, 0.03
OFF_M = 1e-4
GROUND_HITS = 5000
RING_PARCELS = 4000
PARCELS_AT_ONCE = 250_000
PEAK_HOURS = 6

PLAN = """
title = "Boosted years"
[site]
latitude_deg = 36.1
longitude_deg = -79.95
elevation_m = 270
time_zone = "Etc/GMT+5"
weather = "pvlib:723170TYA.CSV"
albedo = 0.2
[plot]
boundary = [[0, 0], [{width}, 0], [{width}, {depth}], [0, {depth}]]
[[layout]]
name = "field"
{layout}
[[layout.booster]]
reflector = "{reflector}"
{place}
"""

ROWS = """
kind = "rows"
tilt_deg = 28
azimuth_deg = 180
pitch_m = {pitch}
clearance_m = 0.5
panel_gap_m = {gap}
orientation = "landscape"
"""

TOWERS = """
kind = "towers"
side_m = 1.85
height_m = 1.3
base_height_m = 0.2
spacing_m = 5.0
faces = ["south", "east", "west"]
"""

SCENES = {
    "mirror, aisle": ((6.0, 7.0), ROWS.format(pitch=3.2, gap=0.02), "mirror", 'place = "aisle"\nwidth_m = 1.4\ntilt_deg = 12'),
    "one-way spreader, wings": (
        (7.0, 5.5), ROWS.format(pitch=3.4, gap=0.6), "one_way_spreader",
        'place = "wings"\nsides = ["upper", "lower"]\ndepth_m = 0.5\nopening_deg = 65',
    ),
    "mirror, wings": (
        (7.5, 4.5), ROWS.format(pitch=3.0, gap=0.9), "mirror",
        'place = "wings"\nsides = ["left", "right"]\ndepth_m = 0.4\nopening_deg = 60',
    ),
    "matt sheet, strips": (
        (7.0, 5.5), ROWS.format(pitch=2.8, gap=0.5), "matt", 'place = "strips"\nwidth_m = 0.2\ntilt_deg = 30',
    ),
    "two-way spreader between towers": (
        (9.0, 9.0), TOWERS, "two_way_spreader", 'place = "between"\nwidth_m = 1.2\ntilt_deg = 10\ngap_m = 0.1',
    ),
}  # fmt: skip


def boosted(name):
    (width, depth), layout, reflector, place = SCENES[name]
    text = PLAN.format(width=width, depth=depth, layout=layout, reflector=reflector, place=place)
    plan = parse_plan(text, "boosted.toml", Path("."))
    return arrange(plan, plan.layouts[0]), conditions(plan.site, load_weather(plan.site))


# The truth ------------------------------------------------------------------------------------------------------


@dataclass
class Sheets:
    """Forward and random tracing by way of a scene's reflectors, one of them on each way."""

    scene: object
    rng: np.random.Generator

    def __post_init__(self):
        triangles = [
            t
            for p in self.scene.pieces
            for a, b, c, d in [(p.corner, p.corner + p.along, p.corner + p.along + p.up, p.corner + p.up)]
            for t in ((a, b, d), (b, c, d))
        ]
        self.rays = EmbreeScene()
        self.mesh = TriangleMesh(self.rays, np.array(triangles, dtype=np.float32))
        self.kinds = sheets_of(self.scene)
        pieces = self.scene.pieces
        self.corner, self.along, self.up, self.normal = (
            np.array([getattr(p, name) for p in pieces]) for name in ("corner", "along", "up", "normal")
        )
        self.n_panels = len(self.scene.panels)
        self.mirrors = np.arange(self.n_panels, self.n_panels + len(self.scene.reflectors))
        self.area = np.linalg.norm(np.cross(self.along, self.up), axis=1)
        self.kind_of = np.full(len(pieces), -1)
        for k, sheet in enumerate(self.kinds):
            self.kind_of[sheet.member[:-1]] = k

    def met(self, points, directions):
        """The rectangle that each ray meets first, −1 where none."""
        triangle = self.rays.run(
            np.ascontiguousarray(points, np.float32), np.ascontiguousarray(directions, np.float32), query="INTERSECT"
        )
        return np.where(triangle >= 0, triangle // 2, -1)

    def onward(self, piece, toward):
        """Where light from ``toward`` goes on from pieces, and its weight: power that leaves over beam × area."""
        out, weight = np.zeros_like(toward), np.zeros(len(toward))
        for k, sheet in enumerate(self.kinds):
            mine = np.flatnonzero(self.kind_of[piece] == k)
            local = toward[mine] @ sheet.axes.T
            total = sheet.share + sheet.diffuse_share
            matt = self.rng.random(len(mine)) < sheet.diffuse_share / total
            lobe, w = lobe_weights(sheet.texture, local, facet_normals(sheet.texture, self.rng.random((len(mine), 2))))
            around = self.rng.normal(size=(len(mine), 3))
            lambert = around / np.linalg.norm(around, axis=1, keepdims=True) + [0.0, 0.0, 1.0]
            lambert /= np.maximum(1e-12, np.linalg.norm(lambert, axis=1, keepdims=True))
            out[mine] = np.where(matt[:, None], lambert, lobe) @ sheet.axes
            weight[mine] = total * np.where(matt, np.maximum(0.0, local[:, 2]), w)
        return out, weight

    def thrown(self, suns, strength, count, cells, glass=False):
        """Light on cells from beams (s, 3) of strength (s,) W/m² by way of reflectors, count parcels each: summed over
        the beams, (n, n_up × n_along) W/m²."""
        area, (n_up, n_along) = self.area[self.mirrors], cells
        beam = np.repeat(np.arange(len(suns)), count)
        piece = self.mirrors[self.rng.choice(len(area), len(beam), p=area / area.sum())]
        u = (self.rng.permuted(np.tile(np.arange(count), (len(suns), 1)), axis=1).reshape(-1) + 0.5) / count
        place = self.corner[piece] + u[:, None] * self.along[piece] + self.rng.random((len(beam), 1)) * self.up[piece]
        toward = suns[beam]
        lit = np.einsum("ij,ij->i", toward, self.normal[piece]) > 1e-6
        beam, piece, place, toward = beam[lit], piece[lit], place[lit] + OFF_M * self.normal[piece[lit]], toward[lit]
        free = self.met(place, toward) < 0
        beam, piece, place, toward = beam[free], piece[free], place[free], toward[free]
        out, weight = self.onward(piece, toward)
        hit = self.met(place, out)
        on = (hit >= 0) & (hit < self.n_panels) & (weight > 0)
        on[on] = np.einsum("ij,ij->i", out[on], self.normal[hit[on]]) < 0
        hit, place, out, beam = hit[on], place[on], out[on], beam[on]
        got = strength[beam] * weight[on] * area.sum() / count
        t = np.einsum("ij,ij->i", self.corner[hit] - place, self.normal[hit])
        t /= np.einsum("ij,ij->i", out, self.normal[hit])
        local = place + t[:, None] * out - self.corner[hit]
        share = [
            np.clip(np.einsum("ij,ij->i", local, edge[hit]) / (edge[hit] ** 2).sum(axis=1), 0.0, 1.0 - 1e-9)
            for edge in (self.up, self.along)
        ]
        cell = (hit * n_up + (share[0] * n_up).astype(int)) * n_along + (share[1] * n_along).astype(int)
        found = np.bincount(cell, got, self.n_panels * n_up * n_along).reshape(self.n_panels, -1)
        return found * n_up * n_along / self.area[: self.n_panels, None]

    def sky_and_ground(self, side):
        """For each panel by way of reflectors: its share of the dome, and rays that end on the ground: place (r, 2),
        panel (r,), weight (r,)."""
        dome, ends = np.zeros(self.n_panels), []
        for p in range(self.n_panels):
            u = self.rng.random((96, 2))
            points = self.corner[p] + u[:, :1] * self.along[p] + u[:, 1:] * self.up[p] + OFF_M * self.normal[p]
            d, _ = brute_force.look_round(self.normal[p], 96, side, self.rng)
            start, d = np.repeat(points, side * side, axis=0), d.reshape(-1, 3)
            hit = self.met(start, d)
            on = np.isin(hit, self.mirrors)
            on[on] = np.einsum("ij,ij->i", d[on], self.normal[hit[on]]) < -1e-9
            start, d, piece = start[on], d[on], hit[on]
            t = np.einsum("ij,ij->i", self.corner[piece] - start, self.normal[piece])
            cosine = -np.einsum("ij,ij->i", d, self.normal[piece])
            place = start + (t / -cosine)[:, None] * d + OFF_M * self.normal[piece]
            onward, weight = self.onward(piece, -d)
            weight = weight / cosine / (96 * side * side)
            free = (self.met(place, onward) < 0) & (weight > 0)
            up, down = free & (onward[:, 2] > 0), free & (onward[:, 2] < -1e-6)
            dome[p] = weight[up].sum()
            reach = place[down, 2] / -onward[down, 2]
            ends.append(((place[down] + reach[:, None] * onward[down])[:, :2], np.full(down.sum(), p), weight[down]))
        return dome, [np.concatenate(part) for part in zip(*ends, strict=True)]


def sun_of(year):
    return unit_vector(year.sky.sun.elevation_deg, year.sky.sun.azimuth_deg)


def by_reflectors(scene, year, cells, parcels, side):
    """A year's light on each panel by way of reflectors, kWh/m²."""
    trace, sky, suns = Sheets(scene, np.random.default_rng(11)), year.sky, sun_of(year)
    shining = np.flatnonzero(sky.beam > 0)
    got = np.zeros(len(scene.panels))
    at_once = max(1, PARCELS_AT_ONCE // parcels)
    for start in range(0, len(shining), at_once):
        chosen = shining[start : start + at_once]
        got += trace.thrown(suns[chosen], sky.beam[chosen], parcels, cells).mean(axis=1)
    azimuth = np.arange(0.5, 360.0, 5.0)
    ring = np.full(72, sky.horizon.sum() / np.maximum(0.0, np.cos(np.radians(azimuth))).sum())
    got += trace.thrown(unit_vector(np.full(72, 1.0), azimuth), ring, RING_PARCELS, cells).mean(axis=1)
    dome, (place, panel, weight) = trace.sky_and_ground(side)
    got += dome * sky.dome.sum()
    if len(weight):
        chosen = trace.rng.choice(len(weight), GROUND_HITS, p=weight / weight.sum())
        spots = np.column_stack([place[chosen], np.full(GROUND_HITS, OFF_M)])
        light = np.zeros(GROUND_HITS)
        for h in shining:
            lit = trace.met(spots, np.broadcast_to(suns[h], spots.shape)) < 0
            light += year.albedo[h] * sky.beam[h] * max(0.0, suns[h, 2]) * lit
        looks, _ = brute_force.look_round(np.array([0.0, 0.0, 1.0]), GROUND_HITS, 10, trace.rng)
        seen = trace.met(np.repeat(spots, 100, axis=0), looks.reshape(-1, 3)).reshape(-1, 100) < 0
        light += seen.mean(axis=1) * (year.albedo * sky.dome).sum()
        got += np.bincount(panel[chosen], light, len(got)) * weight.sum() / GROUND_HITS
    return got * year.hour_kwh


def brightest_cell(arrangement, year, hours, net, parcels):
    """The most that any cell gets in some hours, W/m²; sky and ground light by way of reflectors is that of the panel."""
    scene, most = arrangement.scene, 0.0
    for h in hours:
        one = year.picked(np.array([h]))
        brute = brute_force.Brute(scene, one, net, step=0.1)
        brute.light(rear=False)
        trace = Sheets(scene, np.random.default_rng(13))
        beam = trace.thrown(sun_of(one), one.sky.beam, parcels, (net.n_up, net.n_along))
        dim = replace(one, sky=replace(one.sky, beam=np.zeros(1)))
        rest = by_reflectors(scene, dim, (net.n_up, net.n_along), 64, 8) / one.hour_kwh
        most = max(most, float((brute.cells.reshape(beam.shape) + beam + rest[:, None]).max()))
    return most


# Both side by side ----------------------------------------------------------------------------------------------


def compared(name, every, parcels, side, step, peak_parcels=0):
    arrangement, year = boosted(name)
    year = year.picked(np.arange(0, len(year.albedo), every))
    kind = arrangement.panel_type
    evaluator = Evaluator(year, year.matrix(), kind, panel_model(kind), dirt=0.0)
    field = build_field(arrangement, year, full_cells=False, repetition=True)
    found = evaluate(field, evaluator, transmission_ratio, lambda _: None)
    full = build_field(arrangement, year, full_cells=True, repetition=False).families[0].net
    brute = brute_force.Brute(arrangement.scene, year, full, step)
    plain, _ = brute.light(rear=False)
    bright = by_reflectors(arrangement.scene, year, (full.n_up, full.n_along), parcels, side)
    truth, ours = plain + bright, found.panel["front"]
    mean, panel = ours.mean() / truth.mean() - 1.0, ours / truth - 1.0
    print(
        f"\n{name}: {len(truth)} panels, {len(arrangement.scene.reflectors)} sheets, {len(year.albedo)} hours, front "
        f"{truth.mean():.1f} kWh/m², {bright.mean() / truth.mean():.1%} of it by way of reflectors: field {mean:+.3%}, "
        f"worst panel {np.abs(panel).max():.3%}"
    )
    assert bright.mean() > 0.005 * truth.mean()
    assert abs(mean) < FIELD
    assert np.abs(panel).max() < PANEL
    if peak_parcels:
        peak = peaks(field, evaluator, found, transmission_ratio)
        light = found.brightest.max(axis=1)[: len(year.parts.sun)]
        # Hours by the year's own grid: the brightest of them settles the peak on both sides.
        hours = np.argsort(-(year.weights @ light) * year.sky.beam)[:PEAK_HOURS]
        most = brightest_cell(arrangement, year, hours, full, peak_parcels)
        off = peak.peak_cell_light_w_m2 / most - 1.0
        print(f"  brightest cell {peak.peak_cell_light_w_m2:.0f} against {most:.0f} W/m²: {off:+.2%}")
        assert abs(off) < PEAK


@pytest.mark.parametrize("name", ["mirror, aisle", "one-way spreader, wings"])
def test_some_hours_of_a_boosted_scene(name, monkeypatch):
    monkeypatch.setattr(brute_force, "SIDE", 14)
    monkeypatch.setattr(brute_force, "GROUND_SIDE", 12)
    compared(name, every=41, parcels=15_000, side=12, step=0.4)


@pytest.mark.long
@pytest.mark.parametrize("name", list(SCENES))
def test_year_of_a_boosted_scene(name):
    compared(name, every=1, parcels=6_000, side=24, step=0.15, peak_parcels=600_000)
