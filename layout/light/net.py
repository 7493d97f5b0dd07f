"""Where on a panel light is worked out: net cells, each sampled by a small pattern of points."""

from dataclasses import dataclass, field, replace

import numpy as np

from layout.geometry.rays import START_OFFSET_M
from layout.geometry.rectangles import Rectangles
from layout.light.edges import Edge, end_cells, even_edge
from layout.light.lattice import fibonacci_lattice, grid_lattice
from sites.conventions import FloatArray


@dataclass(frozen=True, eq=False)
class Net:
    """n_up × n_along net cells a panel, each sampled at the points of ``pattern``.

    pattern : (k, 2) float [-] shares of the net cell along (up, along)
    up, along : where single points lie instead, and how much of the panel each stands for; None: net cells are equal
    panel_cells : cells of the panel (up, along), where points stand for some of them
    """

    n_up: int
    n_along: int
    pattern: FloatArray = field(default_factory=lambda: np.array([[0.5, 0.5]]))
    up: Edge | None = None
    along: Edge | None = None
    panel_cells: tuple[int, int] | None = None

    @property
    def cells(self) -> int:
        """Net cells a panel."""
        return self.n_up * self.n_along

    @property
    def points(self) -> int:
        """Points a panel."""
        return self.cells * len(self.pattern)

    def middles(self) -> tuple[FloatArray, FloatArray]:
        """Shares of the edges at which rows and columns of net cells have their middles, (n_up,), (n_along,)."""
        up, along = self.up or even_edge(self.n_up), self.along or even_edge(self.n_along)
        return up.at, along.at

    @property
    def weights(self) -> np.ndarray:
        """(cells,) float32 [-] share of the panel that each net cell stands for, sum 1."""
        up, along = self.up or even_edge(self.n_up), self.along or even_edge(self.n_along)
        return np.outer(up.weight, along.weight).reshape(-1).astype(np.float32)

    def panel_means(self, values: np.ndarray) -> np.ndarray:
        """Means over each panel's net cells: (..., cells) float32 -> (...) float32."""
        return values @ self.weights

    def shares(self) -> tuple[FloatArray, FloatArray]:
        """Shares of the panel's ``up`` and ``along`` edges, (points,) each; the pattern runs fastest."""
        shape = (self.n_up, self.n_along, len(self.pattern))
        if self.up is not None or self.along is not None:
            rows, columns = self.middles()
            return np.repeat(rows, self.n_along), np.tile(columns, self.n_up)
        up = (np.arange(self.n_up)[:, None, None] + self.pattern[:, 0]) / self.n_up
        along = (np.arange(self.n_along)[None, :, None] + self.pattern[:, 1]) / self.n_along
        return np.broadcast_to(up, shape).reshape(-1), np.broadcast_to(along, shape).reshape(-1)

    def moved(self, share: FloatArray) -> "Net":
        """The same net cells, each looked at by one other point: at ``share`` (2,) of it along (up, along). Where
        single cells stand for several, that is of the panel's cell."""
        if self.up is None or self.along is None or self.panel_cells is None:
            return replace(self, pattern=share[None])
        up, along = (
            replace(edge, at=edge.at + (s - 0.5) / n)
            for edge, s, n in zip((self.up, self.along), share, self.panel_cells, strict=True)
        )
        return replace(self, up=up, along=along)

    def place(self, panels: Rectangles, rear: bool = False) -> FloatArray:
        """Points just off the chosen face: (n_panels × points, 3) float [m]."""
        side = -START_OFFSET_M if rear else START_OFFSET_M
        points = panels.points(*self.shares()) + side * panels.normal[:, None]
        return points.reshape(-1, 3)

    def cell_means(self, values: np.ndarray) -> np.ndarray:
        """Means over each net cell's points: (..., n_panels × points) -> (..., n_panels, cells)."""
        k = len(self.pattern)
        parts = values.reshape(*values.shape[:-1], values.shape[-1] // self.points, self.cells, k)
        return parts[..., 0] if k == 1 else parts.mean(axis=-1, dtype=np.float32)


def full_net(n_up: int, n_along: int) -> Net:
    """Every cell of the panel, sampled so that each edge of the panel has at least 6 points."""
    return Net(n_up, n_along, grid_lattice(-(-6 // n_up), -(-6 // n_along)))


def fine_net(n_up: int, n_along: int) -> Net:
    """Every cell by so many points that its mean is good to about 0.2 % of the panel's light.

    Experiment behind the counts: tests/reference/test_light_rows.py prints the error.
    """
    wanted = max(610, 10946 // (n_up * n_along))
    return Net(n_up, n_along, fibonacci_lattice(wanted))


def texture_net(n_up: int, n_along: int) -> Net:
    """Every cell by a few points: for light that varies slowly over a cell, or comes from many directions."""
    return Net(n_up, n_along, fibonacci_lattice(max(8, 377 // (n_up * n_along))))


def turn_net(n_up: int, n_along: int, turn: int, turns: int) -> Net:
    """One of ``turns`` sets of points of every cell that together lie densely; each has about 3 a cell, 150 a panel."""
    return Net(n_up, n_along, fibonacci_lattice(max(3 * turns + 1, 150 * turns // (n_up * n_along)))[turn::turns])


def year_net(n_up: int, n_along: int, groups_up: int, groups_along: int) -> Net:
    """The coarser net of the year: 6 × 4 points or more a panel, and at least two net cells across each
    bypass group where the panel has them.

    n_up, n_along : cells of the panel; groups_up, groups_along : bypass groups side by side along each edge
    """
    up = _coarse(n_up, max(6, 2 * groups_up), groups_up)
    along = _coarse(n_along, max(4, 2 * groups_along), groups_along)
    return Net(up, along, grid_lattice(-(-6 // up), -(-4 // along)))


def group_net(n_up: int, n_along: int, groups_up: int, groups_along: int) -> Net:
    """The year's net of panels with bypass diodes: about 6 × 6 of the panel's cells, the end cells of every group
    among them. Arguments as in `year_net`.

    Experiment: tests/agreement/test_year_net.py prints what it does to a year against every cell.
    """
    up, along = end_cells(n_up, groups_up, 6), end_cells(n_along, groups_along, 6)
    return Net(len(up.at), len(along.at), up=up, along=along, panel_cells=(n_up, n_along))


def _coarse(cells: int, least: int, groups: int) -> int:
    """Net cells along an edge: as few as ``least`` in a whole number a group, all cells where they are fewer."""
    return min(cells, -(-least // groups) * groups)
