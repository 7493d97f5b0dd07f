"""Cells along a panel's edge that stand for all of them, the end cells of every bypass group among them.

Shadows come over a panel from its edges, and the weakest cell of a group sets its current. So a coarse net must look
at the outermost cells of each group, at their own middles; points spread evenly over the edge find a shadow later
than the cells do and give up to 2 % too much electricity.

    group      0 1 2 3 4 5 6 7 8 9 | 0 1 2 3 4 5 6 7 8 9
    looked at  x         x       x   x         x       x
"""

from dataclasses import dataclass

import numpy as np

from sites.conventions import FloatArray


@dataclass(frozen=True, eq=False)
class Edge:
    """Points along an edge.

    at : (n,) float [-] shares of the edge, rising; weight : (n,) float [-] share of the light each stands for, sum 1
    """

    at: FloatArray
    weight: FloatArray


def even_edge(n: int) -> Edge:
    """The middles of n equal parts."""
    return Edge((np.arange(n) + 0.5) / n, np.full(n, 1.0 / n))


def end_cells(cells: int, parts: int, least: int) -> Edge:
    """Cells along an edge of ``cells`` in ``parts`` equal parts, each with its end cells: at least ``least`` in all.

    The weights give the mean of light that changes along a part as a polynomial does, of a degree one below the
    number of points in it (Lagrange interpolation summed over the part's cells).

    >>> end_cells(20, 2, 6).at.round(3).tolist()
    [0.025, 0.225, 0.475, 0.525, 0.725, 0.975]
    """
    part = cells // parts
    wanted = min(part, max(2, -(-least // parts)))
    chosen = np.unique(np.round(np.linspace(0.0, part - 1.0, wanted)))
    weight = _sum_weights(chosen, part) / parts
    at = (np.arange(parts)[:, None] * part + chosen + 0.5) / cells
    return Edge(at.reshape(-1), np.tile(weight, parts))


def _sum_weights(chosen: FloatArray, cells: int) -> FloatArray:
    """Weights (k,) of the chosen cells that give the mean of a polynomial of degree k - 1 over all cells."""
    middle = 0.5 * (cells - 1)
    everything = (np.arange(cells) - middle) / cells
    powers = np.arange(len(chosen))[:, None]
    moments = (everything**powers).mean(axis=1)
    return np.linalg.solve(((chosen - middle) / cells) ** powers, moments)
