"""What the model of places chooses from and what it finds: rows, towers, both, limits on the whole choice."""

from dataclasses import dataclass, field

import numpy as np

from sites.conventions import BoolArray, FloatArray, IntArray

START = -1
"""Tail of the arcs to a row that is the first."""


@dataclass(frozen=True, eq=False)
class RowNet:
    """Rows that may stand, n of them, in order, and the a pairs that may follow each other.

    panels : (n,) panels of each row at its longest;  step : panels by which a row can be shorter (one column)
    tail, head : (a,) int, the row in front (START: none) and the row behind, tail < head
    kwh : (a,) energy that the row behind adds at this gap;  kwh_per_panel : (a,) what each panel of it adds
    clear_m : (a,) free ground between the two, inf for the first row
    """

    panels: FloatArray
    tail: IntArray
    head: IntArray
    kwh: FloatArray
    kwh_per_panel: FloatArray
    clear_m: FloatArray
    step: int = 1


@dataclass(frozen=True, eq=False)
class SiteNet:
    """Sites that may be taken, m of them.

    kwh : (m,) energy of a tower that stands alone;  panels : (m,) of it
    pairs : (p, 2) int, first < second;  loss : (p,) kWh that the two take from each other, both ways
    conflicts : (c, 2) int, pairs of which at most one can stand
    """

    kwh: FloatArray
    panels: FloatArray
    pairs: IntArray
    loss: FloatArray
    conflicts: IntArray


@dataclass(frozen=True, eq=False)
class Cross:
    """Rows and towers on one plot.

    pairs : (q, 2) int, row and site;  loss : (q,) kWh that they take from each other
    rows_allowed, sites_allowed : (k, n), (k, m) bool, what each of k splits of the plot leaves to rows and to towers
    """

    pairs: IntArray
    loss: FloatArray
    rows_allowed: BoolArray
    sites_allowed: BoolArray


@dataclass(frozen=True, eq=False)
class Limit:
    """A limit on the whole choice: arc @ arcs + panel · (panels in rows) + site @ towers ≤ most or ≥ least.

    arc : (a,) what a row costs at each arc, besides its panels;  site : (m,) what a tower costs, its panels in it
    """

    name: str
    unit: str
    panel: float = 0.0
    arc: FloatArray = field(default_factory=lambda: np.zeros(0))
    site: FloatArray = field(default_factory=lambda: np.zeros(0))
    most: float | None = None
    least: float | None = None


@dataclass(frozen=True, eq=False)
class Chosen:
    """The best choice found.

    rows : (r,) int;  panels : (r,) of each;  sites : (t,) int;  split : number of the split taken, None without
    kwh : energy of the choice by the model;  bound_kwh : no choice has more;  gap_fraction : bound over energy, minus 1
    """

    rows: IntArray
    panels: FloatArray
    sites: IntArray
    split: int | None
    kwh: float
    bound_kwh: float
    gap_fraction: float
    seconds: float
    timed_out: bool


def energy_of(
    rows: RowNet | None,
    sites: SiteNet | None,
    cross: Cross | None,
    arcs: IntArray,
    cut: FloatArray,
    towers: IntArray,
) -> float:
    """Energy of a choice by the whole model, kWh: arcs taken, panels left away at each, sites taken."""
    total = 0.0
    if rows is not None:
        total += float(rows.kwh[arcs].sum() - rows.kwh_per_panel[arcs] @ cut)
    if sites is not None:
        total += float(sites.kwh[towers].sum())
        total -= float(sites.loss[np.isin(sites.pairs, towers).all(axis=1)].sum())
    if cross is not None and rows is not None:
        both = np.isin(cross.pairs[:, 0], rows.head[arcs]) & np.isin(cross.pairs[:, 1], towers)
        total -= float(cross.loss[both].sum())
    return total
