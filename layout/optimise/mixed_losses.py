"""What units of two layouts on one plot take from each other, from the light engine; see `pair_losses`."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import PchipInterpolator, RegularGridInterpolator

from layout.arrange.ground import plan_ground
from layout.arrange.rows import Column, build_rows
from layout.arrange.towers import Tower, build_towers
from layout.conditions import Conditions
from layout.optimise.pair_losses import NEIGHBOURS, RowCurve, energies, lone_places, long_rows
from layout.pieces import Scene
from layout.plan import Plan, RowsLayout, TowersLayout, UprightLayout
from layout.year_figures import Settings
from sites.conventions import FloatArray

ALONG_STEPS, AWAY_STEPS = 5, 6
"""Places of a column beside a tower that are traced, to one side along the row and to one side across it."""

REACH = 8.0
"""The farthest of them, in heights of the tower."""


@dataclass(frozen=True, eq=False)
class RowKind:
    """Rows of one layout."""

    layout: RowsLayout | UprightLayout
    column: Column

    @property
    def back(self) -> FloatArray:
        """Away from where rows face, (2,) unit."""
        return np.asarray(self.column.pattern.second / np.linalg.norm(self.column.pattern.second))

    @property
    def behind_m(self) -> float:
        """How far a row with its sheets reaches behind its panels' lower edge."""
        return float((self._room @ self.back).max())

    @property
    def before_m(self) -> float:
        """How far it reaches before that edge."""
        return float(-(self._room @ self.back).min())

    @property
    def depth_m(self) -> float:
        """Depth of its panels alone, on the map."""
        return float((self.column.pattern.footprint @ self.back).max())

    @property
    def _room(self) -> FloatArray:
        pattern = self.column.pattern
        return pattern.footprint if pattern.roomy is None else pattern.roomy


def both_scenes(first: Scene, second: Scene) -> Scene:
    """All of two scenes on one ground."""
    return replace(
        first,
        panels=(*first.panels, *second.panels),
        reflectors=(*first.reflectors, *second.reflectors),
        blockers=(*first.blockers, *second.blockers),
    )


def mixed_curve(
    plan: Plan, ahead: RowKind, behind: RowKind, conditions: Conditions, settings: Settings, pitches_m: FloatArray
) -> RowCurve:
    """Two kinds of long rows by their distance (k,) m: ``front``, what rows of the kind ahead take from a column of the
    kind behind; ``back``, what rows of the kind behind take from a column of the kind ahead. free_kwh is of the kind
    behind."""
    steps = np.arange(1, NEIGHBOURS + 1)
    here = np.zeros(1)

    def bay(kind: RowKind, own: FloatArray, other: RowKind | None = None, others: FloatArray = here) -> float:
        arrangement, unit = long_rows(plan, kind.layout, kind.column, own)
        around = None
        if other is not None:
            around = both_scenes(arrangement.scene, long_rows(plan, other.layout, other.column, others)[0].scene)
        return float(energies(arrangement, conditions, settings, unit, around)[unit].sum())

    free = bay(behind, here)
    front = np.array([free - bay(behind, here, ahead, -d * steps) for d in pitches_m])
    own = [np.array([0.0, *(-d * steps)]) for d in pitches_m]
    back = np.array([bay(ahead, o) - bay(ahead, o, behind, d * steps) for o, d in zip(own, pitches_m, strict=True)])
    order = np.argsort(-pitches_m)
    return RowCurve(
        free,
        np.concatenate([[0.0], 1.0 / pitches_m[order]]),
        np.concatenate([[0.0], front[order]]),
        np.concatenate([[0.0], back[order]]),
    )


@dataclass(frozen=True, eq=False)
class TowerByRows:
    """What a long row takes from a tower.

    away_m : (k,) rising, of the tower's middle behind the row's lower edge, below 0 before it;  kwh : (k,)
    """

    away_m: FloatArray
    kwh: FloatArray

    def at(self, away_m: FloatArray) -> FloatArray:
        """At these distances, any shape; beyond those traced, in proportion to 1 over the distance."""
        low, high = self.away_m[0], self.away_m[-1]
        inside = np.clip(away_m, low, high)
        found = np.asarray(PchipInterpolator(self.away_m, self.kwh)(inside))
        return found * np.where(away_m == inside, 1.0, np.abs(inside) / np.maximum(np.abs(away_m), 1e-9))


def tower_by_rows(
    plan: Plan, rows: RowKind, layout: TowersLayout, tower: Tower, year: Conditions, settings: Settings, least_m: float
) -> TowerByRows:
    """Trace towers as onlookers before and behind one long row. least_m : free ground between the two at least"""
    half = half_depth_m(tower, rows.back)
    steps = np.geomspace(max(least_m, 0.2), max(least_m, 0.2) + REACH * layout.height_m, AWAY_STEPS) + half
    away = np.concatenate([-(rows.before_m + steps[::-1]), rows.behind_m + steps])
    row = long_rows(plan, rows.layout, rows.column, np.zeros(1))[0]
    bare, alone = layout.model_copy(update={"booster": (), "cover": None}), replace(tower, sheets=())
    lookers = build_towers(plan, bare, alone, lone_places(away[:, None] * rows.back), (), on_plot=False)
    shaded = energies(lookers, year, settings, around=row.scene)
    free = energies(lookers, year, settings, around=Scene(ground=plan_ground(plan)))
    return TowerByRows(away, np.maximum(0.0, (free - shaded).reshape(len(away), -1).sum(axis=1)))


def half_depth_m(tower: Tower, back: FloatArray) -> float:
    """How far a tower with its sheets reaches from its middle across the rows."""
    pattern = tower.pattern
    return float(np.abs((pattern.footprint if pattern.roomy is None else pattern.roomy) @ back).max())


def column_by_tower(
    plan: Plan, rows: RowKind, layout: TowersLayout, tower: Tower, year: Conditions, settings: Settings, least_m: float
) -> RegularGridInterpolator:
    """What a tower takes from a column, kWh, as a function of the column's origin from the tower's middle: (along the
    row, across it, away from where rows face), m. Columns are onlookers."""
    half = half_depth_m(tower, rows.back)
    axis = rows.column.pattern.first / np.linalg.norm(rows.column.pattern.first)
    far = REACH * layout.height_m
    side = np.concatenate([[0.0], np.geomspace(layout.side_m, far, ALONG_STEPS)])
    along = np.concatenate([-side[:0:-1], side])
    steps = np.geomspace(max(least_m, 0.2), max(least_m, 0.2) + far, AWAY_STEPS) + half
    across = np.concatenate([-(rows.behind_m + steps[::-1]), rows.before_m + steps])
    x, y = np.meshgrid(along, across, indexing="ij")
    origins = x.reshape(-1, 1) * axis + y.reshape(-1, 1) * rows.back
    bare = rows.layout.model_copy(update={"booster": (), "cover": None})
    plain = replace(rows.column, sheets=())
    lookers = build_rows(plan, bare, plain, lone_places(origins), (), on_plot=False)
    one = build_towers(plan, layout, tower, lone_places(np.zeros((1, 2))), (), on_plot=False)
    shaded = energies(lookers, year, settings, around=one.scene)
    free = energies(lookers, year, settings, around=Scene(ground=plan_ground(plan)))
    loss = np.maximum(0.0, (free - shaded).reshape(len(origins), -1).sum(axis=1)).reshape(x.shape)
    return RegularGridInterpolator((along, across), loss)


def read_clipped(read: RegularGridInterpolator, at: FloatArray) -> FloatArray:
    """The function at points (k, 2), those beyond its net read at its edge, where losses are next to nothing; (k,)."""
    low, high = (np.array([g[e] for g in read.grid]) for e in (0, -1))
    return np.asarray(read(np.clip(at, low, high)))
