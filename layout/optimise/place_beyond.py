"""The limit on light from beyond the plot, as the model of places takes it.

The share of a choice is Σ beyond / Σ arriving over its rows or towers, so "at most s" is linear: Σ (beyond − s ·
arriving) ≤ 0. Each counts as if it stood alone; shadows among them change the share a little, which is looked up for
the choice by rays, and the model's s moved until the choice keeps the limit.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from layout.arrange import arrange
from layout.arrange.rows import build_rows, column_of
from layout.arrange.towers import build_towers, tower_of
from layout.conditions import Conditions
from layout.optimise.beyond import BEYOND, alone, quick_share
from layout.optimise.pair_losses import lone_places
from layout.optimise.positions_nets import Chosen, Limit
from layout.optimise.positions_rows import RowCandidates
from layout.optimise.solver import Unmet, UnmetLimitsError
from layout.plan import Layout, Plan, RowsLayout, TowersLayout, UprightLayout
from layout.year_figures import Settings
from sites.conventions import FloatArray, IntArray

COLUMNS = 6
"""Of a row that are looked at, evenly spread. Our choice."""

MOST_MOVES = 4
"""Times that the model's share is moved."""

NEAR = 0.002
"""A share so far below the limit is near enough."""

Choice = tuple[Chosen, Layout]


@dataclass(frozen=True, eq=False)
class Shares:
    """arriving, beyond : (n,) beam on each row or tower and its part from beyond the plot, over the mean of the first
    most : the limit
    """

    arriving: FloatArray
    beyond: FloatArray
    most: float

    @staticmethod
    def of(arriving: FloatArray, beyond: FloatArray, most: float) -> "Shares":
        """Raises UnmetLimitsError where not even one row or tower keeps the limit."""
        mean = float(arriving.mean()) if len(arriving) else 1.0
        least = float((beyond / arriving).min(initial=1.0)) if (arriving > 0).all() else 0.0
        if least > most:
            raise UnmetLimitsError((Unmet(BEYOND, "of its beam", most, least - most),))
        return Shares(arriving / mean, beyond / mean, most)

    def rows(self, share: float, head: IntArray) -> Limit:
        """The limit on rows at the ends of arcs."""
        return Limit(BEYOND, "of a row's beam", arc=(self.beyond - share * self.arriving)[head], most=0.0)

    def sites(self, share: float) -> Limit:
        """The limit on towers."""
        return Limit(BEYOND, "of a tower's beam", site=self.beyond - share * self.arriving, most=0.0)

    def kept(self, choose: Callable[[float], Choice], share_of: Callable[[Layout], float]) -> Choice:
        """The best choice found that keeps the limit. choose : by the model's share;  share_of : what it then has"""
        asked, best = self.most, None
        for _ in range(MOST_MOVES):
            found = choose(asked)
            share = share_of(found[1])
            if share <= self.most and (best is None or found[0].kwh > best[0].kwh):
                best = found
            least = float((self.beyond / self.arriving).min())
            moved = float(np.clip(asked + self.most - share, least, 1.0))
            if -NEAR <= share - self.most <= 0.0 or abs(moved - asked) < 0.25 * NEAR or (best and asked >= 1.0):
                break
            asked = moved
        return best or found


def row_shares(
    plan: Plan, layout: RowsLayout | UprightLayout, found: RowCandidates, year: Conditions, settings: Settings,
    most: float,
) -> Shares:  # fmt: skip
    """Shares of rows that may stand."""
    column = column_of(plan, layout)
    axis, back = (v / np.linalg.norm(v) for v in (column.pattern.first, column.pattern.second))
    some = [b[np.unique(np.linspace(0, len(b) - 1, COLUMNS).round().astype(int))] for b in found.begins]
    row = np.repeat(np.arange(len(some)), [len(b) for b in some])
    origins = found.positions_m[row, None] * back + np.concatenate(some)[:, None] * axis
    bare = layout.model_copy(update={"booster": (), "cover": None})
    built = build_rows(plan, bare, replace(column, sheets=()), lone_places(origins), (), on_plot=False)
    arriving, beyond = (v.reshape(len(row), -1).mean(axis=1) for v in alone(built, year, settings))
    each = found.columns / np.bincount(row)
    return Shares.of(np.bincount(row, arriving) * each, np.bincount(row, beyond) * each, most)


def site_shares(
    plan: Plan, layout: TowersLayout, sites: FloatArray, year: Conditions, settings: Settings, most: float
) -> Shares:
    """Shares of towers on sites (m, 2)."""
    bare = layout.model_copy(update={"booster": (), "cover": None})
    tower = replace(tower_of(plan, layout), sheets=())
    built = build_towers(plan, bare, tower, lone_places(sites), (), on_plot=False)
    arriving, beyond = (v.reshape(len(sites), -1).sum(axis=1) for v in alone(built, year, settings))
    return Shares.of(arriving, beyond, most)


def share_reader(plan: Plan, year: Conditions, settings: Settings) -> Callable[[Layout], float]:
    """What share a layout on the plot has."""
    return lambda layout: quick_share(arrange(plan, layout), year, settings)
