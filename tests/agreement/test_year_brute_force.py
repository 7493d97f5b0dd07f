"""The normal year against brute force: every sun-up hour of a station year traced by itself.

The truth is written here and shares nothing with the light engine but the ray library (Embree through embreex,
open source) and the sky year: its own triangles, its own points (12 × 8 or more on every panel and face), the true sun
of each hour instead of a grid, more than 2,000 rays of its own for sky and ground from every point, ground light on
a net of its own that is traced hour by hour as well. No panel stands for another.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pvlib
import pytest
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from scipy.sparse import csr_array

from layout.arrange.arrangement import Arrangement
from layout.conditions import conditions
from layout.evaluate import Evaluator, evaluate
from layout.field import build_field
from layout.panel_types import load_panel_type
from layout.pieces import Blocker, Ground, Panel, Scene
from layout.power.glass import transmission_ratio
from layout.power.heat import cell_temperature
from layout.power.panel_model import panel_model
from layout.power.uneven import cells_dc_power
from sites.conventions import unit_vector
from sites.site import Site, WeatherSource
from sites.skyline import OPEN_SKYLINE, Skyline
from sites.weather_files import read_tmy3

DATA = Path(pvlib.__file__).parent / "data"
SOUTH, NORTH = "723170TYA.CSV", "703165TY.csv"  # 36.1° N and 55.3° N
FIELD, PANEL, REAR, DC = 0.003, 0.01, 0.01, 0.005
SIDE = 46
"""Rays from each point: a square of so many strata, 2,116."""
GROUND_SIDE = 24
OFF_M = 1e-4
HOURS_AT_ONCE = 128


# The scenes -----------------------------------------------------------------------------------------------------


def row(kind, n, start, azimuth_deg, tilt_deg, two_faces=False):
    """n landscape panels side by side; ``start`` is the lower corner where the row begins."""
    azimuth, tilt = np.radians([azimuth_deg, tilt_deg])
    front = np.array([np.sin(azimuth), np.cos(azimuth), 0.0])
    along = kind.length_m * np.array([-front[1], front[0], 0.0])
    up = kind.width_m * (-np.cos(tilt) * front + np.array([0.0, 0.0, np.sin(tilt)]))
    step = along * (1.0 + 0.02 / kind.length_m)
    cells = kind.cells[::-1]
    return [Panel(np.asarray(start, float) + i * step, along, up, cells, two_faces) for i in range(n)]


def rows(kind, n_rows, n, pitch, azimuth_deg, tilt_deg, clearance, two_faces=False):
    """Rows one behind the other, the first one foremost."""
    azimuth = np.radians(azimuth_deg)
    back = -pitch * np.array([np.sin(azimuth), np.cos(azimuth), 0.0])
    low = np.array([0.0, 0.0, clearance])
    return [p for i in range(n_rows) for p in row(kind, n, low + i * back, azimuth_deg, tilt_deg, two_faces)]


def box(kind, low, width, depth, height, **more):
    """Walls that look out to south, east, north and west, and a lid."""
    low, x, y, z = np.asarray(low, float), np.array([width, 0, 0]), np.array([0, depth, 0]), np.array([0, 0, height])
    walls = [(low, x), (low + x, y), (low + x + y, -x), (low + y, -y)]
    return [*(kind(corner, along, z, **more) for corner, along in walls), kind(low + z, x, y, **more)]


@dataclass(frozen=True)
class Case:
    """panels, blockers; station : weather file; kind : panel type; orientation : of all panels"""

    panels: list
    station: str
    kind: str = "mono_glass"
    orientation: int = 1
    blockers: tuple = ()
    skyline: Skyline = OPEN_SKYLINE


def cases():
    mono, glass = load_panel_type("mono_glass"), load_panel_type("bifacial_glass")
    towers = [
        wall
        for x in range(3)
        for y in range(3)
        for wall in box(Panel, (3.1 * x, 3.1 * y, 0.4), 1.1, 1.1, 1.76, cells=(20, 6))
    ]
    house = tuple(box(Blocker, (-5.5, -4.5, 0.0), 5.0, 6.0, 4.5))
    hills = Skyline(np.array([40.0, 130.0, 200.0, 300.0]), np.array([3.0, 9.0, 4.0, 6.0]))
    return {
        "rows": Case(rows(mono, 3, 6, 2.1, 180.0, 25.0, 0.5), SOUTH),
        "skewed rows": Case(rows(mono, 3, 6, 2.7, 214.0, 35.0, 0.6), NORTH),
        "upright": Case(rows(glass, 3, 6, 3.2, 90.0, 90.0, 0.6, True), SOUTH, "bifacial_glass"),
        "towers": Case(towers, SOUTH, orientation=0),
        "beside a house": Case(rows(mono, 2, 7, 2.4, 180.0, 20.0, 0.5), SOUTH, blockers=house, skyline=hills),
        "small rows": Case(rows(mono, 2, 3, 1.9, 170.0, 30.0, 0.5), NORTH),
        "small towers": Case(towers[:10], SOUTH, orientation=0),
        "small upright": Case(rows(glass, 2, 3, 2.6, 97.0, 90.0, 0.5, True), SOUTH, "bifacial_glass"),
    }


def arranged(case):
    n = len(case.panels)
    scene = Scene(case.panels, blockers=case.blockers, ground=Ground())
    same = np.full(n, case.orientation)
    return Arrangement(
        "case", "pieces", scene, load_panel_type(case.kind), np.ones(n), same, np.zeros(n, dtype=int), ()
    )


def year_of(case, every):
    """One hour in ``every`` of the station's year, albedo changing by month."""
    weather, station = read_tmy3(DATA / case.station)
    albedo = np.linspace(0.35, 0.15, 12)
    site = Site(station, albedo, case.skyline, None, WeatherSource(DATA / case.station, None, None))
    year = conditions(site, weather)
    return year.picked(np.arange(0, len(year.albedo), every))


# The truth ------------------------------------------------------------------------------------------------------


class Rays:
    """Rectangles as two triangles each."""

    def __init__(self, scene):
        triangles = [
            t
            for p in scene.pieces
            for a, b, c, d in [(p.corner, p.corner + p.along, p.corner + p.along + p.up, p.corner + p.up)]
            for t in ((a, b, d), (b, c, d))
        ]
        self.scene = EmbreeScene()
        self.mesh = TriangleMesh(self.scene, np.array(triangles, dtype=np.float32))

    def free(self, points, directions):
        """Whether each ray gets away; directions (1, 3) or as many as points."""
        d = np.ascontiguousarray(directions, dtype=np.float32)
        return self.scene.run(np.ascontiguousarray(points, dtype=np.float32), d, query="OCCLUDED") < 0


def look_round(normal, n, side, rng):
    """Cosine-weighted directions about a normal, strata of the disc shaken for each of n points; (n, side², 3), and
    the cosines."""
    i, j = np.divmod(np.arange(side * side), side)
    u = (i + rng.random((n, side * side))) / side
    angle = 2.0 * np.pi * (j + rng.random((n, side * side))) / side
    aside = np.array([1.0, 0.0, 0.0]) if abs(normal[0]) < 0.5 else np.array([0.0, 1.0, 0.0])
    first = np.cross(normal, aside)
    first /= np.linalg.norm(first)
    second = np.cross(normal, first)
    cosine = np.sqrt(1.0 - u)[..., None]
    r = np.sqrt(u)[..., None]
    directions = r * np.cos(angle)[..., None] * first + r * np.sin(angle)[..., None] * second + cosine * normal
    return directions, cosine[..., 0]


def band_round(normal, skyline):
    """Directions 1° above the skyline all round with their shares of the band's light: in all sin tilt."""
    azimuth = np.arange(0.0, 360.0, 1.0)
    level = np.stack([np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth)), np.zeros(360)], axis=1)
    cosine = np.maximum(0.0, level @ normal)
    seen = cosine > 1e-9
    share = cosine / max(cosine.sum(), 1e-9) * np.hypot(normal[0], normal[1])
    return unit_vector(skyline.at(azimuth) + 1.0, azimuth)[seen], share[seen], cosine[seen]


@dataclass
class Face:
    """points, normal (p, 3) of all panels on one side; cell, block (p,) the cell and the block of cells each lies in,
    counted through all panels; panel (p,); block_of_cell (all cells,)"""

    points: np.ndarray
    normal: np.ndarray
    cell: np.ndarray
    block: np.ndarray
    panel: np.ndarray
    block_of_cell: np.ndarray


BLOCKS = (6, 4)
"""Parts of a panel whose cells share their ground light, which changes slowly over a panel."""


def face(panels, net, rear):
    """At least 12 × 8 points, the same number in each cell."""
    a, b = (-(-12 // net.n_up) * net.n_up, -(-8 // net.n_along) * net.n_along)
    i, j = np.divmod(np.arange(a * b), b)
    cell = (i * net.n_up // a) * net.n_along + j * net.n_along // b
    side = -1.0 if rear else 1.0
    points = np.array(
        [
            p.corner + ((i + 0.5) / a)[:, None] * p.up + ((j + 0.5) / b)[:, None] * p.along + side * OFF_M * p.normal
            for p in panels
        ]
    ).reshape(-1, 3)
    panel = np.repeat(np.arange(len(panels)), a * b)
    normal = np.repeat([side * p.normal for p in panels], a * b, axis=0)
    row, column = np.divmod(np.arange(net.cells), net.n_along)
    block = row * BLOCKS[0] // net.n_up * BLOCKS[1] + column * BLOCKS[1] // net.n_along
    cell = panel * net.cells + np.tile(cell, len(panels))
    block_of_cell = (np.arange(len(panels))[:, None] * (BLOCKS[0] * BLOCKS[1]) + block).reshape(-1)
    return Face(points, normal, cell, block_of_cell[cell], panel, block_of_cell)


@dataclass
class Brute:
    """Hour-by-hour light of a scene; step : of the ground net [m]."""

    scene: Scene
    year: object
    net: object
    step: float

    def light(self, rear):
        """Yearly light of each panel before glass (n,) [kWh/m²] and hourly light of each net cell after it (k, cells)
        [W/m²]."""
        rays, rng = Rays(self.scene), np.random.default_rng(3)
        f = face(self.scene.panels, self.net, rear)
        n, cells = len(self.scene.panels), self.net.cells
        sky = self.year.sky
        before, after = np.zeros(n * cells), np.zeros((len(sky.beam), n * cells), dtype=np.float32)
        count = len(f.cell) / (n * cells)
        self._add_sun(rays, f, before, after, count)
        hits, block, weight = [], [], []
        dome, band = np.zeros((2, n * cells)), np.zeros((2, n * cells))  # of each cell, before and after glass
        for p in range(n):
            mine = f.panel == p
            normal = f.normal[mine][0]
            d, cosine = look_round(normal, mine.sum(), SIDE, rng)
            points = np.repeat(f.points[mine], SIDE * SIDE, axis=0)
            d, cosine = d.reshape(-1, 3), cosine.reshape(-1)
            free = rays.free(points, d)
            each = np.stack([np.ones_like(cosine), transmission_ratio(cosine)]) / (count * SIDE * SIDE)
            elevation, azimuth = np.degrees(np.arcsin(d[:, 2])), np.degrees(np.arctan2(d[:, 0], d[:, 1])) % 360.0
            up = free & (elevation > np.maximum(0.0, self.year.site.skyline.at(azimuth)))
            cell = np.repeat(f.cell[mine], SIDE * SIDE)
            dome += [np.bincount(cell[up], w[up], n * cells) for w in each]
            ring, share, ring_cosine = band_round(normal, self.year.site.skyline)
            for s, w, glass in zip(ring, share, transmission_ratio(ring_cosine), strict=True):
                seen = np.bincount(f.cell[mine], rays.free(f.points[mine], s[None]), n * cells) / count
                band += np.outer([w, w * glass], seen)
            down = np.flatnonzero(free & (d[:, 2] < -1e-9))
            reach = points[down, 2] / -d[down, 2]
            hits.append((points[down] + reach[:, None] * d[down])[:, :2])
            block.append(np.repeat(f.block[mine], SIDE * SIDE)[down])
            weight.append(each[:, down] * (count / np.bincount(f.block)[block[-1]]))
        before += dome[0] * sky.dome.sum() + band[0] * sky.horizon.sum()
        for h in range(len(after)):
            after[h] += sky.dome[h] * dome[1] + sky.horizon[h] * band[1]
        ground = np.concatenate(hits), np.concatenate(block), np.hstack(weight)
        self._add_ground(rays, f, ground, before, after, rng)
        self.cells = before  # W/m², summed over the hours
        kwh = self.year.hour_kwh
        return before.reshape(n, cells).mean(axis=1) * kwh, after

    def _add_sun(self, rays, f, before, after, count):
        sky = self.year.sky
        suns = unit_vector(sky.sun.elevation_deg, sky.sun.azimuth_deg)

        def hour(h):
            if sky.beam[h] <= 0:
                return
            cosine = np.maximum(0.0, f.normal @ suns[h])
            cosine[~rays.free(f.points, suns[h][None])] = 0.0
            light = sky.beam[h] * cosine / count
            plain[h] = np.bincount(f.cell, light, len(before))
            after[h] = np.bincount(f.cell, light * transmission_ratio(cosine), len(before))

        plain = np.zeros(after.shape, dtype=np.float32)
        with ThreadPoolExecutor(2) as pool:
            list(pool.map(hour, range(len(suns))))
        before += plain.sum(axis=0, dtype=np.float64)

    def _add_ground(self, rays, f, ground, before, after, rng):
        """Ground light on a net of its own: ``step`` near the scene, growing with the distance from it."""
        hits, block, weight = ground
        corners = np.concatenate([[p.corner, p.corner + p.along + p.up] for p in self.scene.pieces])[:, :2]
        middle, half = corners.mean(axis=0), 0.5 * np.ptp(corners, axis=0)
        outside = np.hypot(*np.maximum(0.0, np.abs(hits - middle) - half).T)
        level = np.ceil(np.log2(np.maximum(1.0, 0.1 * outside / self.step)))
        ij = np.floor(np.clip(hits / (self.step * 2.0**level)[:, None], -1e6, 1e6)).astype(np.int64)
        key = (level.astype(np.int64) * 4_000_000 + ij[:, 0] + 1_000_000) * 4_000_000 + ij[:, 1]
        order = rng.permutation(len(key))
        _, first, place = np.unique(key[order], return_index=True, return_inverse=True)
        where = np.zeros_like(place)
        where[order] = place
        spots = np.column_stack([hits[order][first], np.full(len(first), OFF_M)])
        shape = (f.block_of_cell.max() + 1, len(spots))
        shares = [csr_array((w, (block, where)), shape=shape, dtype=np.float32) for w in weight]
        view = self._ground_views(rays, spots, rng)
        sky, albedo = self.year.sky, self.year.albedo
        before += (shares[0] @ view)[f.block_of_cell] * (albedo * sky.dome).sum()
        glassed = (shares[1] @ view)[f.block_of_cell]
        for h in range(len(after)):
            after[h] += albedo[h] * sky.dome[h] * glassed
        suns = unit_vector(sky.sun.elevation_deg, sky.sun.azimuth_deg)
        strength = albedo * sky.beam * np.maximum(0.0, suns[:, 2])
        hours = np.flatnonzero(strength > 0)
        year = np.zeros(len(spots))

        def some(start):
            chosen = hours[start : start + HOURS_AT_ONCE]
            lit = np.stack([rays.free(spots, suns[h][None]) for h in chosen], axis=1).astype(np.float32)
            lit *= strength[chosen].astype(np.float32)
            light = (shares[1] @ lit).T
            for h, row in zip(chosen, light, strict=True):
                after[h] += row[f.block_of_cell]
            return lit.sum(axis=1, dtype=np.float64)

        with ThreadPoolExecutor(2) as pool:
            for part in pool.map(some, range(0, len(hours), HOURS_AT_ONCE)):
                year += part
        before += (shares[0] @ year)[f.block_of_cell]

    def _ground_views(self, rays, spots, rng):
        """Share of the dome that each ground place sees above the skyline."""
        view = np.zeros(len(spots))
        for start in range(0, len(spots), 1000):
            part = spots[start : start + 1000]
            d, _ = look_round(np.array([0.0, 0.0, 1.0]), len(part), GROUND_SIDE, rng)
            flat = d.reshape(-1, 3)
            free = rays.free(np.repeat(part, GROUND_SIDE**2, axis=0), flat)
            azimuth = np.degrees(np.arctan2(flat[:, 0], flat[:, 1])) % 360.0
            free &= np.degrees(np.arcsin(flat[:, 2])) > self.year.site.skyline.at(azimuth)
            view[start : start + 1000] = free.reshape(len(part), -1).mean(axis=1)
        return view


# Both side by side ----------------------------------------------------------------------------------------------


@dataclass
class Year:
    """front, rear (n,) kWh/m² before glass; dc_kwh"""

    front: np.ndarray
    rear: np.ndarray
    dc_kwh: float


def engine_year(case, year):
    """The product's own chain, as `layout_year` calls it."""
    arrangement = arranged(case)
    evaluator = Evaluator(year, year.matrix(), arrangement.panel_type, panel_model(arrangement.panel_type), dirt=0.0)
    field = build_field(arrangement, year, full_cells=False, repetition=True)
    found = evaluate(field, evaluator, transmission_ratio, lambda _: None)
    return Year(found.panel["front"], found.panel["rear"], float(found.panel["dc"].sum()))


def true_year(case, year, step):
    """Brute force on every cell, its light fed through the product's heat and power."""
    arrangement = arranged(case)
    family = build_field(arrangement, year, full_cells=True, repetition=False).families[0]
    kind, model = arrangement.panel_type, panel_model(arrangement.panel_type)
    brute = Brute(arrangement.scene, year, family.net, step)
    front, after = brute.light(rear=False)
    rear, heat, electric = np.zeros_like(front), after, after
    if family.bifacial:
        rear, behind = brute.light(rear=True)
        heat, electric = after + behind, after + np.float32(kind.bifaciality) * behind
    n, cells = len(front), family.net.cells
    warm = np.maximum(0.0, heat.reshape(-1, n, cells).mean(axis=2))
    cell_c = cell_temperature(warm, year.air_c[:, None], year.wind_m_s[:, None], kind.u0_w_m2_k, kind.u1_w_s_m3_k)
    light = np.maximum(electric, 0.0).reshape(-1, cells)
    dc = cells_dc_power(light, family.groups, model, cell_c.reshape(-1))
    return Year(front, rear, float(dc.sum(dtype=np.float64)) * year.hour_kwh)


def compared(name, year, ours, truth):
    """Assert the agreement and print it."""
    front = ours.front.mean() / truth.front.mean() - 1.0
    panel = ours.front / truth.front - 1.0
    rear = (ours.rear - truth.rear) / truth.front
    dc = ours.dc_kwh / truth.dc_kwh - 1.0
    print(
        f"\n{name}: {len(truth.front)} panels, {len(year.albedo)} hours, front {truth.front.mean():.1f}, "
        f"rear {truth.rear.mean():.1f} kWh/m²: field {front:+.3%}, worst panel {np.abs(panel).max():.3%}, "
        f"rear mean {rear.mean():+.3%}, rear worst {np.abs(rear).max():.3%} of the front, DC {dc:+.3%}"
    )
    assert abs(front) < FIELD
    assert np.abs(panel).max() < PANEL
    assert np.abs(rear).max() < REAR
    return dc


@pytest.mark.parametrize("name", ["small rows", "small upright", "small towers"])
def test_every_fifth_hour_of_a_small_scene(name):
    case = cases()[name]
    year = year_of(case, every=5)
    dc = compared(name, year, engine_year(case, year), true_year(case, year, step=0.2))
    assert abs(dc) < DC


@pytest.mark.long
@pytest.mark.parametrize("name", ["rows", "skewed rows", "upright", "towers", "beside a house"])
def test_year_of_a_scene(name):
    case = cases()[name]
    year = year_of(case, every=1)
    truth = true_year(case, year, step=0.1)
    dc = compared(name, year, engine_year(case, year), truth)
    assert abs(dc) < DC
    compared(f"{name}, each hour's own sun in the engine", year, engine_year(case, year.every_hour()), truth)
