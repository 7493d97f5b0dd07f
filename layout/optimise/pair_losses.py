"""What rows and towers take from each other, and what obstacles take, from the light engine.

Energy is AC kWh of a year at the inverter's efficiency, without its AC limit, which couples everything on a plot.
Losses by what stands elsewhere are worked out with the panels as mere onlookers: they are lit and shaded by the scene
but no part of it, so that many places can be traced at once. Lone units and rows stand in their own scene.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator, PchipInterpolator

from layout.arrange.arrangement import Arrangement
from layout.arrange.ground import plan_ground
from layout.arrange.obstacles import obstacle_blockers
from layout.arrange.pattern import Places
from layout.arrange.rows import Column, build_rows
from layout.arrange.towers import Tower, build_towers
from layout.conditions import Conditions
from layout.evaluate import evaluate
from layout.field import build_field
from layout.ledger import electricity
from layout.pieces import Scene
from layout.plan import Plan, RowsLayout, TowersLayout, UprightLayout
from layout.power.glass import transmission_ratio
from layout.year import evaluator_of
from layout.year_figures import Settings, capacity_kw
from sites.conventions import FloatArray, IntArray

BAY_HALF_M = 40.0
"""The bay is one column in the middle of rows that go on so far to both sides. Our choice, some twenty row heights."""

NEIGHBOURS = 3
"""Rows in front of and behind the bay; those beyond are hidden by them."""


def energies(
    arrangement: Arrangement,
    conditions: Conditions,
    settings: Settings,
    only: IntArray | None = None,
    around: Scene | None = None,
) -> FloatArray:
    """AC energy of a year of each panel, (n,) kWh; NaN for those not in ``only``.

    around : what stands around instead of the arrangement's own scene
    """
    repetition = settings.repetition and only is None
    field = build_field(arrangement, conditions, settings.full_cells, repetition, only, around)
    year = evaluate(field, evaluator_of(arrangement, conditions, settings), transmission_ratio, lambda _: None)
    inverter = settings.inverter.model_copy(update={"ac_limit_kw": None, "start_kw": 0.0})
    kept = slice(None) if only is None else only
    capacity = capacity_kw(replace(arrangement, area_scale=arrangement.area_scale[kept]))
    ac = electricity(year.hour["dc"], capacity, inverter, settings.losses).ac_kw.sum()
    dc = year.hour["dc"].sum() / 1000.0
    return np.asarray(year.panel["dc"] * (float(ac / dc) if dc > 0 else 0.0))


@dataclass(frozen=True, eq=False)
class RowCurve:
    """A column of a long row by its distance to the rows beside it.

    free_kwh : with nothing near;  inverse : (k,) 1/m, rising from 0, of the distances traced
    front, back : (k,) kWh that rows in front and rows behind take from it at these distances
    """

    free_kwh: float
    inverse: FloatArray
    front: FloatArray
    back: FloatArray

    def losses(self, pitch_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What the rows in front and those behind take at these distances (any shape; inf: no row), kWh."""
        at = 1.0 / np.asarray(pitch_m, dtype=np.float64)
        found = (np.asarray(PchipInterpolator(self.inverse, v, extrapolate=False)(at)) for v in (self.front, self.back))
        front, back = found
        return front, back


def row_curve(
    plan: Plan,
    layout: RowsLayout | UprightLayout,
    column: Column,
    conditions: Conditions,
    settings: Settings,
    pitches_m: FloatArray,
) -> RowCurve:
    """Trace one bay at a handful of distances, (k,) m."""

    def bay(offsets: FloatArray) -> float:
        arrangement, unit = long_rows(plan, layout, column, offsets)
        return float(energies(arrangement, conditions, settings, unit)[unit].sum())

    steps = np.arange(1, NEIGHBOURS + 1)
    free = bay(np.zeros(1))
    before = np.array([bay(np.array([0.0, *(-d * steps)])) for d in pitches_m])
    both = np.array([bay(np.array([0.0, *(-d * steps), *(d * steps)])) for d in pitches_m])
    order = np.argsort(-pitches_m)
    return RowCurve(
        free,
        np.concatenate([[0.0], 1.0 / pitches_m[order]]),
        np.concatenate([[0.0], (free - before)[order]]),
        np.concatenate([[0.0], (before - both)[order]]),
    )


def long_rows(
    plan: Plan, layout: RowsLayout | UprightLayout, column: Column, offsets: FloatArray
) -> tuple[Arrangement, IntArray]:
    """Long rows at these offsets against the azimuth (r,) m, the bay's first; and the bay's panels."""
    step = column.pattern.first
    count = int(BAY_HALF_M / np.linalg.norm(step))
    back = column.pattern.second / np.linalg.norm(column.pattern.second)
    number = np.arange(-count, count + 1)
    origins = (offsets[:, None, None] * back + number[:, None] * step).reshape(-1, 2)
    index = np.stack(np.meshgrid(number, np.arange(len(offsets))), axis=-1).reshape(-1, 2)
    arrangement = build_rows(plan, layout, column, Places(origins, index, {}), (), on_plot=False)
    return arrangement, count * layout.panels_high + np.arange(layout.panels_high)


def column_factors(
    plan: Plan,
    layout: RowsLayout | UprightLayout,
    column: Column,
    conditions: Conditions,
    settings: Settings,
    origins: FloatArray,
) -> FloatArray:
    """Share of its energy that obstacles leave to a lone column at each origin (k, 2), (k,)."""
    obstacles = obstacle_blockers(plan.site.plot)
    if not obstacles or not len(origins):
        return np.ones(len(origins))
    index = np.column_stack([2 * np.arange(len(origins)), np.zeros(len(origins), dtype=np.int64)])
    plain = replace(column, sheets=())
    bare = layout.model_copy(update={"booster": (), "cover": None})
    lone = build_rows(plan, bare, plain, Places(origins, index, {}), (), on_plot=False)
    ground = plan_ground(plan)
    shaded = energies(lone, conditions, settings, around=Scene(blockers=obstacles, ground=ground))
    free = energies(lone, conditions, settings, around=Scene(ground=ground))
    each = (len(origins), layout.panels_high)
    return np.asarray(shaded.reshape(each).sum(axis=1) / free.reshape(each).sum(axis=1))


def spread_factors(known: FloatArray, values: FloatArray, wanted: FloatArray) -> FloatArray:
    """Values (k,) at points (k, 2) carried to points (n, 2): linear between them, the nearest one's beyond."""
    if len(known) < 3 or np.linalg.matrix_rank(known - known[0]) < 2:
        return np.full(len(wanted), values.mean() if len(values) else 1.0)
    found = LinearNDInterpolator(known, values)(wanted)
    return np.where(np.isnan(found), NearestNDInterpolator(known, values)(wanted), found)


def lone_tower_kwh(plan: Plan, layout: TowersLayout, tower: Tower, conditions: Conditions, settings: Settings) -> float:
    """AC energy of a tower with nothing near, kWh."""
    lone = build_towers(plan, layout, tower, lone_places(np.zeros((1, 2))), (), on_plot=False)
    return float(energies(lone, conditions, settings).sum())


def tower_losses(
    plan: Plan,
    layout: TowersLayout,
    tower: Tower,
    conditions: Conditions,
    settings: Settings,
    away: FloatArray,
) -> FloatArray:
    """What a tower takes from another that stands ``away`` (k, 2) m from it, (k,) kWh."""
    bare = layout.model_copy(update={"booster": (), "cover": None})
    alone = replace(tower, sheets=())
    lookers = build_towers(plan, bare, alone, lone_places(away), (), on_plot=False)
    one = build_towers(plan, layout, tower, lone_places(np.zeros((1, 2))), (), on_plot=False)
    ground = plan_ground(plan)
    shaded = energies(lookers, conditions, settings, around=one.scene)
    free = energies(lookers, conditions, settings, around=Scene(ground=ground))
    return np.asarray((free - shaded).reshape(len(away), -1).sum(axis=1))


def site_factors(
    plan: Plan, layout: TowersLayout, tower: Tower, conditions: Conditions, settings: Settings, sites: FloatArray
) -> FloatArray:
    """Share of its energy that obstacles leave to a lone tower at each site (m, 2), (m,)."""
    obstacles = obstacle_blockers(plan.site.plot)
    if not obstacles:
        return np.ones(len(sites))
    bare = layout.model_copy(update={"booster": (), "cover": None})
    lookers = build_towers(plan, bare, replace(tower, sheets=()), lone_places(sites), (), on_plot=False)
    ground = plan_ground(plan)
    shaded = energies(lookers, conditions, settings, around=Scene(blockers=obstacles, ground=ground))
    free = energies(lookers, conditions, settings, around=Scene(ground=ground))
    return np.asarray(shaded.reshape(len(sites), -1).sum(axis=1) / free.reshape(len(sites), -1).sum(axis=1))


def lone_places(sites: FloatArray) -> Places:
    """Units at these origins (k, 2) m, none a neighbour of another."""
    index = np.column_stack([2 * np.arange(len(sites)), np.zeros(len(sites), dtype=np.int64)])
    return Places(sites, index, {})
