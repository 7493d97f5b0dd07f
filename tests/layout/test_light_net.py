"""Where on a panel light is worked out."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.geometry.rays import START_OFFSET_M
from layout.geometry.rectangles import Rectangles
from layout.light.lattice import grid_lattice
from layout.light.net import Net, fine_net, full_net, texture_net, year_net
from layout.pieces import Panel

counts = st.integers(1, 30)


def test_points_lie_in_their_cells_in_order():
    net = Net(3, 2, grid_lattice(2, 2))
    up, along = net.shares()
    assert net.cells == 6
    assert net.points == len(up) == 24
    cell = np.arange(24) // 4
    assert (np.floor(up * 3) == cell // 2).all()
    assert (np.floor(along * 2) == cell % 2).all()


def test_points_stand_just_off_the_chosen_face():
    panel = Panel((1, 2, 3), (2, 0, 0), (0, 0.6, 0.8), cells=(2, 2))
    r, net = Rectangles.of([panel, panel]), Net(2, 2)
    front, rear = net.place(r), net.place(r, rear=True)
    assert front.shape == (8, 3)
    assert (front[:4] == front[4:]).all()
    assert (front - panel.corner) @ panel.normal == pytest.approx(START_OFFSET_M)
    assert (rear - panel.corner) @ panel.normal == pytest.approx(-START_OFFSET_M)
    assert front[0] - START_OFFSET_M * panel.normal == pytest.approx(panel.corner + 0.25 * (panel.along + panel.up))
    assert front[1] - START_OFFSET_M * panel.normal == pytest.approx(
        panel.corner + 0.25 * panel.up + 0.75 * panel.along
    )


def test_cell_means_put_points_back_together():
    net = Net(2, 3, grid_lattice(3, 1))
    cell = np.repeat(np.arange(2 * 6), 3).astype(np.float32)
    values = np.stack([cell, cell + np.tile([-1, 0, 1], 12).astype(np.float32)])
    means = net.cell_means(values)
    assert means.shape == (2, 2, 6)
    assert means[0] == pytest.approx(np.arange(12).reshape(2, 6))
    assert means[1] == pytest.approx(np.arange(12).reshape(2, 6))
    single = Net(2, 3).cell_means(np.arange(12, dtype=np.float32))
    assert single.tolist() == [[0, 1, 2, 3, 4, 5], [6, 7, 8, 9, 10, 11]]


@settings(deadline=None, derandomize=True)
@given(counts, counts)
def test_full_and_fine_nets_keep_every_cell(n_up, n_along):
    for net in (full_net(n_up, n_along), fine_net(n_up, n_along), texture_net(n_up, n_along)):
        assert (net.n_up, net.n_along) == (n_up, n_along)
        assert net.pattern.min() > 0
        assert net.pattern.max() < 1
    full = full_net(n_up, n_along)
    assert len(np.unique(full.shares()[0].round(9))) >= 6
    assert len(np.unique(full.shares()[1].round(9))) >= 6
    assert fine_net(n_up, n_along).points >= 10000 or len(fine_net(n_up, n_along).pattern) >= 610


@settings(deadline=None, derandomize=True)
@given(counts, counts, st.integers(1, 6), st.integers(1, 6))
def test_net_of_the_year(n_up, n_along, groups_up, groups_along):
    """At least 6 × 4 points; never more cells than the panel has; two or more across a bypass group where it can."""
    net = year_net(n_up, n_along, groups_up, groups_along)
    assert net.n_up <= n_up
    assert net.n_along <= n_along
    assert len(np.unique(net.shares()[0].round(9))) >= 6
    assert len(np.unique(net.shares()[1].round(9))) >= 4
    for cells, found, groups in ((n_up, net.n_up, groups_up), (n_along, net.n_along, groups_along)):
        if cells >= 12 * groups:
            assert found % groups == 0
            assert found >= 2 * groups
        assert found >= min(cells, 4)


@pytest.mark.parametrize(
    ("cells", "groups", "expected"),
    [((10, 6), (1, 3), (6, 6)), ((6, 10), (3, 1), (6, 4)), ((24, 6), (2, 3), (6, 6)), ((1, 1), (1, 1), (1, 1))],
)
def test_net_of_the_year_of_common_panels(cells, groups, expected):
    net = year_net(*cells, *groups)
    assert (net.n_up, net.n_along) == expected
