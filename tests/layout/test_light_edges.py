"""Cells along an edge that stand for all: which, and what weights they have."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.geometry.rectangles import Rectangles
from layout.light.edges import end_cells, even_edge
from layout.light.net import Net, full_net, group_net
from layout.pieces import Panel

fixed = settings(deadline=None, derandomize=True)
parts = st.integers(1, 6)
each = st.integers(1, 24)


@fixed
@given(parts, each)
def test_end_cells_of_every_part_are_looked_at(n_parts, n_each):
    cells = n_parts * n_each
    edge = end_cells(cells, n_parts, 6)
    chosen = np.round(edge.at * cells - 0.5).astype(int)
    assert edge.at == pytest.approx((chosen + 0.5) / cells)
    for part in range(n_parts):
        assert {part * n_each, (part + 1) * n_each - 1} <= set(chosen)
    assert (np.diff(chosen) > 0).all()
    assert len(chosen) >= min(cells, 6)


@fixed
@given(parts, each, st.lists(st.floats(-1, 1), min_size=2, max_size=2))
def test_weights_are_shares_and_give_means_of_slopes(n_parts, n_each, slope):
    """Positive, sum 1; light that changes evenly along each part comes out exactly."""
    cells = n_parts * n_each
    edge = end_cells(cells, n_parts, 6)
    assert edge.weight.sum() == pytest.approx(1.0)
    assert (edge.weight > 0).all()
    everything = (np.arange(cells) + 0.5) / cells
    part = np.minimum(np.arange(cells) // n_each, n_parts - 1)
    light = slope[0] * everything + slope[1] * np.sin(3.0 * part)
    chosen = np.round(edge.at * cells - 0.5).astype(int)
    assert light[chosen] @ edge.weight == pytest.approx(light.mean(), abs=1e-9)


def test_light_that_bends_along_a_part():
    """Three points a part: exact for a parabola; six: for a fifth power."""
    for least, power in ((6, 2), (12, 5)):
        edge = end_cells(20, 2, least)
        half = (np.arange(10) / 10) ** power
        chosen = np.round(edge.at * 20 - 0.5).astype(int)
        assert np.tile(half, 2)[chosen] @ edge.weight == pytest.approx(half.mean())


def test_few_cells_are_all_looked_at():
    assert end_cells(4, 2, 6).at.tolist() == even_edge(4).at.tolist()
    assert end_cells(4, 2, 6).weight.tolist() == even_edge(4).weight.tolist()


def test_net_of_groups_places_points_in_the_middle_of_cells():
    """Every point of the net is one of the full net's, and its weights give the mean of all."""
    panel = Panel((1, 2, 3), (1.1, 0, 0), (0, 1.4, 1.1), cells=(20, 6))
    r, net = Rectangles.of([panel]), group_net(20, 6, 2, 3)
    assert (net.n_up, net.n_along, net.points) == (6, 6, 36)
    points, every = net.place(r), full_net(20, 6).place(r)
    assert np.abs(points[:, None] - every[None]).max(axis=2).min(axis=1).max() < 1e-9
    assert net.weights.sum() == pytest.approx(1.0)
    assert net.panel_means(points[:, 0][None].astype(np.float32)) == pytest.approx(every[:, 0].mean(), rel=1e-6)
    assert net.panel_means(points[:, 2][None].astype(np.float32)) == pytest.approx(every[:, 2].mean(), rel=1e-6)


def test_even_nets_weigh_evenly():
    assert Net(3, 2).weights.tolist() == pytest.approx([1 / 6] * 6)
    assert Net(3, 2).panel_means(np.arange(12, dtype=np.float32).reshape(2, 6)).tolist() == pytest.approx([2.5, 8.5])
