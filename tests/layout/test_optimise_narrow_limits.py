"""The search under narrow limits: what it finds in bands hardly wider than a step, and what it says where there is
nothing.

Run with -s to see what the search leaves to the best of a net.
"""

import itertools

import numpy as np
import pytest

from layout.optimise.search import Point, Variables, search
from layout.optimise_tables import Value, VaryTable
from sites.conventions import FloatArray

STEPS = 50
"""Of each thing that varies, over a range from 0 to 1."""


class Band:
    """A hill, and limits that leave a band across its foot, cut off on one side. Lines, widths and summit are random.

    A point is kept where |(x − c)·n| <= width and (x − c)·m <= width.
    """

    def __init__(self, dimensions: int, width: float, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.keys = "abcd"[:dimensions]
        self.vary = [VaryTable(layout="x", key=k, low=0.0, high=1.0, step=1.0 / STEPS) for k in self.keys]
        # On the net, so that at least this point is kept.
        self.centre = rng.integers(STEPS // 10, STEPS - STEPS // 10, dimensions) / STEPS
        self.top, self.width = rng.uniform(0.0, 1.0, dimensions), width
        self.across, self.end = (n / np.abs(n).sum() for n in rng.normal(size=(2, dimensions)))

    def over(self, x: FloatArray) -> FloatArray:
        along = (x - self.centre) @ self.across
        return np.stack([along - self.width, -along - self.width, (x - self.centre) @ self.end - self.width], axis=-1)

    def score(self, x: FloatArray) -> FloatArray:
        return 10.0 - 5.0 * ((x - self.top) ** 2).sum(axis=-1)

    def __call__(self, values: dict[str, Value]) -> Point:
        x = np.array([values[k] for k in self.keys], dtype=np.float64)
        over, score = self.over(x), float(self.score(x))
        return Point(values, score, float(np.maximum(over, 0.0).sum()), score, tuple(over.tolist()))

    def best(self) -> float:
        """Of the whole net."""
        net = np.array(list(itertools.product(range(STEPS + 1), repeat=len(self.keys)))) / STEPS
        return float(self.score(net)[(self.over(net) <= 0.0).all(axis=-1)].max())


@pytest.mark.parametrize(("dimensions", "budget"), [(2, 60), (3, 90)])
def test_narrow_limits_are_found_and_followed(dimensions: int, budget: int) -> None:
    """A band one step wide; the net has 51^2 or 51^3 places."""
    left = []
    for seed in range(12):
        band = Band(dimensions, 0.5 / STEPS, seed)
        best, points = search(band.vary, band, budget)
        assert len(points) <= budget
        assert best.violation <= 0.0, seed
        left.append(band.best() - best.score)
    print(f"\n{dimensions} things vary: {np.mean(left):.3f} left in the mean, {np.max(left):.3f} at most, of 10")
    assert np.mean(left) <= 0.1
    assert np.max(left) <= 0.5


def test_where_nothing_keeps_the_limits_the_least_that_is_missed_is_found() -> None:
    """Two limits that exclude each other: a + b <= 0.5 and a + 2 b >= 1.6, so that at best 0.6 is missed (a = 0,
    b = 0.5 to 0.8)."""

    def judge(values: dict[str, Value]) -> Point:
        a, b = float(values["a"]), float(values["b"])
        over = (a + b - 0.5, 1.6 - a - 2.0 * b)
        return Point(values, 1.0 + a, sum(max(0.0, o) for o in over), over=over)

    vary = [VaryTable(layout="x", key=k, low=0.0, high=1.0, step=0.01) for k in "ab"]
    best, points = search(vary, judge, 60)
    assert len(points) <= 60
    assert best.values["a"] == 0.0
    assert best.violation == pytest.approx(0.3, abs=0.02)


def test_the_net_and_back() -> None:
    net = Variables([VaryTable(layout="x", key="a", low=2.0, high=3.0, step=0.25)])
    assert [net.index(net.values([i])) for i in range(5)] == [[i] for i in range(5)]
