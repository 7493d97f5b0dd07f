"""The ray kernel against plain geometry in double precision."""

import numpy as np
import pytest

from layout.geometry.rays import START_OFFSET_M, RayKernel, worker_count
from layout.geometry.rectangles import Rectangles
from layout.light.lattice import cosine_hemisphere, fibonacci_lattice, frame
from layout.light.net import fine_net
from layout.pieces import Blocker, Panel


def random_rectangles(rng, n, spread=3.0):
    axes = np.linalg.qr(rng.normal(size=(n, 3, 3)))[0]
    along, up = rng.uniform(0.3, 2.0, (n, 1)) * axes[:, 0], rng.uniform(0.3, 2.0, (n, 1)) * axes[:, 1]
    return Rectangles(rng.uniform(-spread, spread, (n, 3)), along, up)


def random_rays(rng, n, spread=4.0):
    directions = rng.normal(size=(n, 3))
    return rng.uniform(-spread, spread, (n, 3)), directions / np.linalg.norm(directions, axis=1, keepdims=True)


def plain_hits(rectangles, points, directions):
    """Nearest rectangle of each ray (-1: none), its distance, and how far the closest call is from any edge."""
    n = rectangles.normal
    facing = directions @ n.T
    distance = np.einsum("rkj,kj->rk", rectangles.corner[None] - points[:, None], n) / facing
    place = points[:, None] + distance[..., None] * directions[:, None] - rectangles.corner[None]
    along = np.einsum("rkj,kj->rk", place, rectangles.along) / (rectangles.along**2).sum(axis=1)
    up = np.einsum("rkj,kj->rk", place, rectangles.up) / (rectangles.up**2).sum(axis=1)
    margin = np.minimum(np.minimum(along, 1 - along), np.minimum(up, 1 - up))
    hit = (distance > 0) & (margin > 0)
    nearest = np.where(hit, distance, np.inf)
    index = np.where(hit.any(axis=1), nearest.argmin(axis=1), -1)
    return index, nearest.min(axis=1), np.abs(np.where(distance > -0.01, margin, 1.0)).min(axis=1)


def test_rays_meet_what_geometry_says():
    rng = np.random.default_rng(1)
    rectangles = random_rectangles(rng, 30)
    points, directions = random_rays(rng, 20000)
    index, distance, margin = plain_hits(rectangles, points, directions)
    kernel = RayKernel(rectangles)
    found, how_far = kernel.first_hit(points, directions)
    clear = margin > 1e-5
    assert clear.mean() > 0.99
    assert (found[clear] == index[clear]).all()
    assert how_far[clear & (index >= 0)] == pytest.approx(distance[clear & (index >= 0)], rel=1e-12)
    assert np.isinf(how_far[found < 0]).all()
    assert (kernel.blocked_pairs(points, directions) == (found >= 0)).all()


def test_points_by_directions_agree_with_single_rays():
    rng = np.random.default_rng(2)
    rectangles = random_rectangles(rng, 12)
    points, _ = random_rays(rng, 70)
    _, directions = random_rays(rng, 50)
    kernel = RayKernel(rectangles)
    blocked, first = kernel.blocked(points, directions), kernel.first_outer(points, directions)
    pairs = np.tile(points, (50, 1)), np.repeat(directions, 70, axis=0)
    assert blocked.shape == first.shape == (50, 70)
    assert (blocked.reshape(-1) == kernel.blocked_pairs(*pairs)).all()
    assert (first.reshape(-1) == kernel.first_hit(*pairs)[0]).all()
    assert ((first >= 0) == blocked).all()


def test_meeting_point_lies_on_the_plane():
    rng = np.random.default_rng(3)
    rectangles = random_rectangles(rng, 10)
    points, directions = random_rays(rng, 3000)
    kernel = RayKernel(rectangles)
    index, distance = kernel.first_hit(points, directions)
    hit = index >= 0
    place = kernel.meeting(points[hit], directions[hit], index[hit])
    assert place == pytest.approx(points[hit] + distance[hit, None] * directions[hit], abs=1e-9)
    off = ((place - rectangles.corner[index[hit]]) * rectangles.normal[index[hit]]).sum(axis=1)
    assert off == pytest.approx(0.0, abs=1e-12)


def test_nothing_stands_in_an_empty_scene():
    kernel = RayKernel(Rectangles.of([]))
    points, directions = random_rays(np.random.default_rng(4), 5)
    assert not kernel.blocked(points, directions).any()
    assert not kernel.blocked_pairs(points, directions).any()
    assert (kernel.first_outer(points, directions) == -1).all()
    index, distance = kernel.first_hit(points, directions)
    assert (index == -1).all()
    assert np.isinf(distance).all()


@pytest.mark.parametrize(("n_points", "n_directions"), [(0, 4), (4, 0), (0, 0)])
def test_no_points_or_no_directions(n_points, n_directions):
    kernel = RayKernel(Rectangles.of([Blocker((0, 0, 0), (1, 0, 0), (0, 1, 0))]))
    assert kernel.blocked(np.zeros((n_points, 3)), np.ones((n_directions, 3))).shape == (n_directions, n_points)
    assert kernel.first_outer(np.zeros((n_points, 3)), np.ones((n_directions, 3))).shape == (n_directions, n_points)
    assert kernel.blocked_pairs(np.zeros((0, 3)), np.zeros((0, 3))).shape == (0,)


@pytest.mark.parametrize("far", [0.0, 100.0, 300.0])
def test_a_panel_never_shades_itself(far):
    """Single precision over scenes of up to 300 m across: from points just off its own surface a free panel sees
    everything above its plane, in every attitude. A speck at the far end keeps the scene wide."""
    rng = np.random.default_rng(5)
    local = cosine_hemisphere(fibonacci_lattice(987))
    for _ in range(6):
        axes = np.linalg.qr(rng.normal(size=(3, 3)))[0]
        panel = Panel(rng.uniform(-1, 1, 3), 2.0 * axes[0], 1.2 * axes[1], cells=(3, 3))
        speck = Blocker(panel.centre + far * axes[0] - 5.0 * panel.normal, (1e-3, 0, 0), (0, 1e-3, 0))
        kernel = RayKernel(Rectangles.of([panel, speck] if far else [panel]))
        for rear in (False, True):
            points = fine_net(3, 3).place(Rectangles.of([panel]), rear)[::7]
            directions = local @ frame(panel.normal * (-1.0 if rear else 1.0))
            assert kernel.blocked(points, directions).mean() < 1e-5


def test_light_does_not_leak_where_rectangles_meet():
    """A closed box of touching walls, and a wall of touching panels, let nothing through."""
    walls = [
        Blocker((0, 0, 0), (3, 0, 0), (0, 0, 2)),
        Blocker((3, 0, 0), (0, 2, 0), (0, 0, 2)),
        Blocker((0, 2, 0), (3, 0, 0), (0, 0, 2)),
        Blocker((0, 0, 0), (0, 2, 0), (0, 0, 2)),
        Blocker((0, 0, 2), (3, 0, 0), (0, 2, 0)),
        Blocker((0, 0, 0), (3, 0, 0), (0, 2, 0)),
    ]
    rng = np.random.default_rng(6)
    points = rng.uniform(0.01, 0.99, (400, 3)) * [3, 2, 2]
    _, directions = random_rays(rng, 2000)
    assert RayKernel(Rectangles.of(walls)).blocked(points, directions).mean() > 1 - 1e-5
    tiles = [Blocker((0.37 * i, 5, 0.41 * j), (0.37, 0, 0), (0, 0, 0.41)) for i in range(8) for j in range(5)]
    targets = rng.uniform(0.01, 0.99, (20000, 2)) * [0.37 * 8, 0.41 * 5]
    start = np.array([1.4, 1.0, 0.8])
    toward = np.stack([targets[:, 0], np.full(20000, 5.0), targets[:, 1]], axis=1) - start
    toward /= np.linalg.norm(toward, axis=1, keepdims=True)
    hit = RayKernel(Rectangles.of(tiles)).blocked_pairs(np.tile(start, (20000, 1)), toward)
    assert hit.mean() > 1 - 1e-4


def test_rectangles_as_arrays():
    pieces = [Panel((1, 2, 3), (2, 0, 0), (0, 0, 1)), Blocker((0, 0, 0), (0, 3, 0), (0, 0, 2))]
    r = Rectangles.of(pieces)
    assert len(r) == 2
    assert r.area.tolist() == [2.0, 6.0]
    assert r.normal.tolist() == [[0, -1, 0], [1, 0, 0]]
    assert r.points(np.array([0.5]), np.array([0.25]))[:, 0].tolist() == [[1.5, 2, 3.5], [0, 0.75, 1]]
    assert r[np.array([1])].corner.tolist() == [[0, 0, 0]]
    none = Rectangles.of([])
    assert len(none) == 0
    assert none.normal.shape == (0, 3)


def test_start_offset_is_small_against_cells_and_large_against_rounding():
    """Coordinates up to 150 m from the middle of a scene are spaced 2^-16 m apart in single precision."""
    assert np.spacing(np.float32(150.0)) * 4 < START_OFFSET_M < 0.01
    assert worker_count() >= 1
