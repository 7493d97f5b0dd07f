"""Sample points: how evenly they lie, and the hemisphere's moments."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.light.lattice import cosine_hemisphere, fibonacci_lattice, frame, grid_lattice


@pytest.mark.parametrize(("least", "n"), [(1, 1), (2, 2), (4, 5), (89, 89), (90, 144), (610, 610), (10000, 10946)])
def test_number_of_points_is_the_next_fibonacci_number(least, n):
    points = fibonacci_lattice(least)
    assert points.shape == (n, 2)
    # Projected on either side the points are evenly spaced: a shadow's edge along a cell's edge costs half a step.
    expected = (np.arange(n) + 0.5) / n
    assert np.sort(points[:, 0]) == pytest.approx(expected)
    assert np.sort(points[:, 1]) == pytest.approx(expected)


def test_shifted_lattice_stays_in_the_square():
    points = fibonacci_lattice(233, (0.7, 2.3))
    assert points.min() >= 0
    assert points.max() < 1
    assert len(np.unique(points.round(9), axis=0)) == 233


@pytest.mark.parametrize("n", [89, 610, 2584])
def test_lattice_integrates_smooth_and_cut_functions(n):
    """Smooth periodic functions almost exactly (Sloan & Joe, Lattice Methods for Multiple Integration, 1994), the
    area below a slanting line about as well as its points allow."""
    x, y = fibonacci_lattice(n).T
    assert np.mean(np.cos(2 * np.pi * x) * np.cos(2 * np.pi * y) + 1) == pytest.approx(1.0, abs=1e-9)
    assert np.mean(y < 0.3 + 0.31 * x) == pytest.approx(0.455, abs=1.5 / n**0.75)


def test_grid_of_centres():
    assert grid_lattice(2, 1).tolist() == [[0.25, 0.5], [0.75, 0.5]]
    assert grid_lattice(3, 4).mean(axis=0) == pytest.approx([0.5, 0.5])


@pytest.mark.parametrize("n", [233, 987, 4181])
def test_moments_of_the_cosine_weighted_hemisphere(n):
    """Density cosθ/π: mean of z 2/3, of z² 1/2, of x² and y² 1/4 each, of the odd ones 0; within a cone sin²θ."""
    d = cosine_hemisphere(fibonacci_lattice(n))
    bound = 1.0 / n**0.75
    assert np.linalg.norm(d, axis=1) == pytest.approx(1.0)
    assert d.mean(axis=0) == pytest.approx([0, 0, 2 / 3], abs=bound)
    second = d.T @ d / n
    assert second == pytest.approx(np.diag([0.25, 0.25, 0.5]), abs=bound)
    for cone in (10.0, 35.0, 60.0, 80.0):
        inside = np.mean(d[:, 2] > np.cos(np.radians(cone)))
        assert inside == pytest.approx(np.sin(np.radians(cone)) ** 2, abs=2 * bound)


def test_corners_and_middle_of_the_square():
    d = cosine_hemisphere(np.array([[0.5, 0.5], [0.0, 0.5], [0.5, 0.0], [0.999999, 0.5], [0.0, 0.0]]))
    assert d[0] == pytest.approx([0, 0, 1])
    assert d[1] == pytest.approx([-1, 0, 0])
    assert d[2] == pytest.approx([0, -1, 0])
    assert d[4] == pytest.approx([-(0.5**0.5), -(0.5**0.5), 0])


angle = st.floats(-3.2, 3.2)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(angle, st.floats(-1.6, 1.6))
def test_frames_are_right_handed_with_a_level_first_axis(turn, rise):
    n = np.array([np.cos(turn) * np.cos(rise), np.sin(turn) * np.cos(rise), np.sin(rise)])
    axes = frame(n)
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert axes[2] == pytest.approx(n)
    assert axes[0, 2] == pytest.approx(0.0, abs=1e-9)


def test_frames_of_many_normals_at_once():
    n = np.array([[[0, 0, 1.0], [0, 0, -1.0]], [[1.0, 0, 0], [0, -0.6, 0.8]]])
    axes = frame(n)
    assert axes.shape == (2, 2, 3, 3)
    assert axes[..., 2, :] == pytest.approx(n)
    assert axes[0, 0, 0].tolist() == [1, 0, 0]
