"""Algebra of tabulated curves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout.power.curves import by_current, current_at, in_parallel, interpolate, merge


@given(st.integers(2, 12), st.integers(1, 5), st.integers(0, 2**31))
def test_interpolation_of_columns(nodes: int, columns: int, seed: int) -> None:
    """Column by column what numpy.interp gives inside the table."""
    rng = np.random.default_rng(seed)
    xp = np.cumsum(rng.uniform(0.1, 1.0, (nodes, columns)), axis=0).astype(np.float32)
    fp = rng.normal(size=(nodes, columns)).astype(np.float32)
    x = (xp[:1] + rng.random((7, columns)) * (xp[-1:] - xp[:1])).astype(np.float32)
    found = interpolate(x, xp, fp)
    for c in range(columns):
        assert found[:, c] == pytest.approx(np.interp(x[:, c], xp[:, c], fp[:, c]), abs=1e-4)


def test_beyond_the_ends_the_line_goes_on() -> None:
    xp, fp = np.array([[0.0], [1.0]], dtype=np.float32), np.array([[0.0], [2.0]], dtype=np.float32)
    assert interpolate(np.array([[-0.5], [1.5]], dtype=np.float32), xp, fp).ravel().tolist() == [-1.0, 3.0]


def test_parallel_resistive_sources() -> None:
    """Sources of 10 V behind 1 ohm and 2 ohm in parallel: 10 V behind 2/3 ohm."""
    current = np.linspace(-2.0, 10.0, 13, dtype=np.float32)[:, None]
    both = np.stack([current, current / 2.0], axis=1)[:, None]
    total, volts = in_parallel(both, np.stack([10.0 - current, 10.0 - current], axis=1)[:, None])
    assert np.all(np.diff(total, axis=0) >= 0)
    assert total == pytest.approx((10.0 - volts) / (2.0 / 3.0), rel=1e-5)


def test_merged_nodes_stay_one_curve() -> None:
    x = np.array([[0.0], [2.0], [4.0]], dtype=np.float32)
    current, volts = merge((x, 8.0 - x), (x + 1.0, 7.0 - x))
    assert current.ravel().tolist() == [0, 1, 2, 3, 4, 5]
    assert volts.ravel().tolist() == [8, 7, 6, 5, 4, 3]
    assert current_at(np.array([[4.5]], dtype=np.float32), by_current(current, volts)).item() == 3.5


@given(st.integers(2, 9), st.integers(2, 4), st.integers(1, 70), st.integers(0, 2**31))
def test_currents_add_at_equal_voltage(nodes: int, curves: int, n: int, seed: int) -> None:
    """Against numpy.interp, at voltages that all curves reach; the sum's nodes never turn back."""
    rng = np.random.default_rng(seed)
    current = np.cumsum(rng.uniform(0.1, 1.0, (nodes, 1, curves, n)), axis=0).astype(np.float32)
    volts = -np.cumsum(rng.uniform(0.1, 1.0, (nodes, 1, curves, n)), axis=0).astype(np.float32)
    total, common = in_parallel(current, volts)
    assert total.shape == (curves * nodes, 1, n)
    assert np.all(np.diff(total, axis=0) >= 0.0)
    assert np.all(np.diff(common, axis=0) <= 0.0)
    reached = (common <= volts[0].min(axis=1)) & (common >= volts[-1].max(axis=1))
    for c in range(n):
        ranges = [np.interp(-common[:, 0, c], -volts[:, 0, s, c], current[:, 0, s, c]) for s in range(curves)]
        inside = reached[:, 0, c]
        assert total[inside, 0, c] == pytest.approx(np.sum(ranges, axis=0)[inside], abs=1e-4)


def test_nodes_in_order_with_equal_ones_as_they_were() -> None:
    rng = np.random.default_rng(4)
    x = rng.integers(0, 6, (15, 70)).astype(np.float32)
    y = rng.random((15, 70)).astype(np.float32)
    order = np.argsort(x, axis=0, kind="stable")
    found = by_current(x, y)
    assert np.array_equal(found[0], np.take_along_axis(x, order, axis=0))
    assert np.array_equal(found[1], np.take_along_axis(y, order, axis=0))
