"""How finely the full solution tabulates curves."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Effort:
    """How finely curves are tabulated.

    shared : currents of the first pass that span the whole range, closer toward 0
    knees : cells of each part, evenly ranked by light from the weakest up, whose knees get nodes of their own
    knee_nodes : nodes at each such knee, over the cell's light current
    search : string currents on which maxima are looked for, read from the tables
    near : later passes: maxima looked at, currents around each, reach to either side over the search's
        spacing
    """

    shared: int
    knees: int
    knee_nodes: tuple[float, ...]
    search: int
    near: tuple[tuple[int, int, float], ...]


FULL = Effort(8, 2, (0.85, 0.92, 0.97, 1.0), 96, ((2, 7, 1.6), (1, 7, 0.5)))
"""Groups with diodes. Against 60 shared nodes and 300 search currents, 3,000 patterns each of shadow edges,
scattered shade and gradients, on full and half-cut cells: within 0.0005 of nameplate at the 99th percentile,
0.0001 in the mean, 0.001 at worst."""

FULL_WITHOUT_DIODES = Effort(14, 4, (0.85, 0.92, 0.97, 1.0), 96, ((2, 7, 2.0), (1, 7, 0.6)))
"""The maximum may lie anywhere between the weakest and the brightest cell's current. Same patterns on thin
film: 0.0001, 0.00001 and 0.0008."""

LEAK_NODES = (0.5, 1.1)
"""Nodes past the weakest cell's knee, over the current at which its reverse voltage cancels the part's voltage."""

KNEE_SPREAD = 2.0
"""Cells ranked by light are taken with this power of an even count: more of the weak ones."""

SPREAD = 1.4
"""Nodes go with this power of an even count."""

NEGATIVE_SHARES = (-0.15, -0.05, -0.015)
"""Halves in parallel may drive current backward through the darker one: nodes below zero, over the brightest
cell's light current."""
