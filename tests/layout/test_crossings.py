"""Which rectangles run into one another, against edges cutting through faces one by one."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.geometry.crossings import cross, crossing_pairs
from layout.geometry.hinged import corners, ground_normal, heights, hinged, on_plane
from layout.geometry.rectangles import Rectangles
from sites.conventions import FloatArray


def random_rectangles(seed: int, n: int) -> Rectangles:
    rng = np.random.default_rng(seed)
    first, second = rng.normal(size=(n, 3)), rng.normal(size=(n, 3))
    along = first / np.linalg.norm(first, axis=1, keepdims=True)
    up = np.cross(along, second)
    up /= np.linalg.norm(up, axis=1, keepdims=True)
    size = rng.uniform(0.3, 2.0, (n, 2))
    return Rectangles(rng.uniform(-1, 1, (n, 3)), along * size[:, :1], up * size[:, 1:])


def cut_depth(one: Rectangles, other: Rectangles) -> FloatArray:
    """How far edges of one reach through the face of the other, (n,) m: over 0 where they cross."""
    depth = np.full(len(one), -np.inf)
    ring = corners(one)[:, [0, 1, 3, 2]]
    along, up = np.linalg.norm(other.along, axis=1), np.linalg.norm(other.up, axis=1)
    for k in range(4):
        a, b = ring[:, k], ring[:, (k + 1) % 4]
        da, db = (np.einsum("ij,ij->i", p - other.corner, other.normal) for p in (a, b))
        meeting = a + (da / (da - db))[:, None] * (b - a) - other.corner
        u = np.einsum("ij,ij->i", meeting, other.along) / along
        v = np.einsum("ij,ij->i", meeting, other.up) / up
        inside = np.minimum.reduce([u, along - u, v, up - v, np.where(da * db < 0, np.minimum(abs(da), abs(db)), -1)])
        depth = np.maximum(depth, inside)
    return depth


@settings(deadline=None, max_examples=30)
@given(seed=st.integers(0, 10_000))
def test_crossing_is_found_either_way(seed: int) -> None:
    one, other = random_rectangles(seed, 400), random_rectangles(seed + 20_000, 400)
    depth = np.maximum(cut_depth(one, other), cut_depth(other, one))
    found = cross(one, other)
    assert 10 < found.sum() < 200
    assert found[depth > 0.05].all()  # a graze by less may pass for touching
    assert not found[depth < -1e-9].any()
    np.testing.assert_array_equal(found, cross(other, one))


def test_pairs_are_those_of_all_against_all() -> None:
    one, other = random_rectangles(1, 30), random_rectangles(2, 40)
    i, j = np.meshgrid(np.arange(30), np.arange(40), indexing="ij")
    every = cross(one[i.ravel()], other[j.ravel()]).reshape(30, 40)
    np.testing.assert_array_equal(np.stack(crossing_pairs(one, other)), np.stack(np.nonzero(every)))
    nothing = crossing_pairs(one[:0], other)
    assert len(nothing[0]) == len(nothing[1]) == 0


def flat(x: float, y: float, width: float = 1.0) -> Rectangles:
    return Rectangles(np.array([[x, y, 0.0]]), np.array([[width, 0.0, 0.0]]), np.array([[0.0, 1.0, 0.0]]))


def test_touching_is_no_crossing() -> None:
    assert not cross(flat(0, 0), flat(1, 0))[0]
    assert cross(flat(0, 0), flat(0.9, 0))[0]  # in one plane
    assert cross(flat(0, 0), flat(0, 0))[0]
    upright = Rectangles(np.array([[1.0, 0, 0]]), np.array([[0, 1.0, 0]]), np.array([[0, 0, 1.0]]))
    assert not cross(flat(0, 0), upright)[0]  # along one edge
    assert not cross(flat(0, 0, 0.9995), flat(0.999, 0))[0]  # by less than what counts


angles = st.floats(0, 135)


@settings(deadline=None, max_examples=100)
@given(angle=angles, width=st.floats(0.1, 3), turn=st.floats(0, 6.28), tilt=st.floats(0, 1.5))
def test_a_hinged_sheet_keeps_its_hinge_and_looks_back(angle: float, width: float, turn: float, tilt: float) -> None:
    hinge = np.array([[np.cos(turn), np.sin(turn), 0.0]])
    normal = np.array([[-np.sin(turn) * np.sin(tilt), np.cos(turn) * np.sin(tilt), np.cos(tilt)]])
    outward = np.cross(hinge, normal)
    start = np.array([[1.0, 2.0, 3.0]])
    sheet = hinged(start, start + 2 * hinge, outward, normal, width, angle)
    ends = np.stack([sheet.corner, sheet.corner + sheet.along], axis=1)[0]
    assert min(np.abs(ends - start).sum(axis=1)) < 1e-12
    assert min(np.abs(ends - start - 2 * hinge).sum(axis=1)) < 1e-12
    np.testing.assert_allclose(np.linalg.norm(sheet.up, axis=1), width)
    # The angle is that between the sheet and the plane, and between the mirror's normal and the plane's.
    np.testing.assert_allclose(np.sum(sheet.up * outward), width * np.cos(np.radians(angle)), atol=1e-9)
    np.testing.assert_allclose(np.sum(sheet.normal * normal), np.cos(np.radians(angle)), atol=1e-9)
    assert np.sum(sheet.normal * outward) <= 1e-12


def test_ground_of_a_plane() -> None:
    gradient = np.array([0.1, -0.2])
    points = on_plane(np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 10.0]]), gradient, 0.0)
    np.testing.assert_allclose(points[:, 2], [0, 1, -2])
    edges = points[1:] - points[0]
    np.testing.assert_allclose(edges @ ground_normal(gradient), 0, atol=1e-12)
    lifted = Rectangles(points[:1] + np.array([0.0, 0.0, 0.5]), edges[:1], np.array([[0.0, 0.0, 1.0]]))
    np.testing.assert_allclose(heights(lifted, gradient), [[0.5, 0.5, 1.5, 1.5]])
