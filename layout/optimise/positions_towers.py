"""Sites on which towers may stand, and the best of them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.interpolate import RegularGridInterpolator

from layout.arrange.pattern import start_region
from layout.arrange.towers import Tower, tower_of
from layout.conditions import Conditions
from layout.geometry.attitude import azimuth_vector
from layout.optimise.pair_losses import lone_tower_kwh, site_factors, tower_losses
from layout.optimise.positions_model import choose
from layout.optimise.positions_nets import Chosen, Limit, SiteNet
from layout.plan import Plan, TowersLayout
from layout.year_figures import Settings
from sites.conventions import LENGTH_TOLERANCE_M, FloatArray, IntArray

MOST_TRACED = 100
"""Distinct displacements that are traced one by one; of more, a polar net is traced and read between its places."""

RADII, ANGLES = 6, 16
"""The polar net."""


@dataclass(frozen=True, eq=False)
class SiteCandidates:
    """Sites (m, 2) m, what a tower gives on each alone (m,) kWh, and what every two that can both stand take from
    each other: pairs (p, 2), loss (p,) kWh; conflicts (c, 2)."""

    sites: FloatArray
    kwh: FloatArray
    panels: int
    pairs: IntArray
    loss: FloatArray
    conflicts: IntArray


def site_net(plan: Plan, layout: TowersLayout, step_m: float) -> FloatArray:
    """Sites (m, 2) m on a square net along the towers' axes, on which a tower fits, sheets in."""
    plot = plan.site.plot
    if plot is None:
        raise ValueError("towers need a plot")
    pattern = tower_of(plan, layout).pattern
    shape = pattern.footprint if pattern.roomy is None else pattern.roomy
    allowed = start_region(plot.usable.buffer(LENGTH_TOLERANCE_M, join_style="mitre"), shape)
    axes = np.stack([azimuth_vector(layout.azimuth_deg + 90.0), azimuth_vector(layout.azimuth_deg)])
    reach = shapely.get_coordinates(allowed) @ axes.T
    if not len(reach):
        return np.zeros((0, 2))
    x, y = (np.arange(low + 1e-6, high, step_m) for low, high in zip(reach.min(axis=0), reach.max(axis=0), strict=True))
    net = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2) @ axes
    return np.round(net[shapely.contains_xy(allowed, net)], 3)


def site_candidates(
    plan: Plan,
    layout: TowersLayout,
    conditions: Conditions,
    settings: Settings,
    sites: FloatArray,
    least_spacing_m: float,
    least_aisle_m: float = 0.0,
) -> SiteCandidates:
    """Energies of towers on sites (m, 2) and losses between them, from the light engine.

    least_spacing_m : from centre to centre at least;  least_aisle_m : free ground between towers at least
    No two towers, sheets in, stand in each other.
    """
    tower = tower_of(plan, layout)
    alone = lone_tower_kwh(plan, layout, tower, conditions, settings)
    kwh = alone * site_factors(plan, layout, tower, conditions, settings, sites)
    first, second = np.triu_indices(len(sites), 1)
    away = sites[second] - sites[first]
    near = np.hypot(away[:, 0], away[:, 1]) < least_spacing_m - LENGTH_TOLERANCE_M
    shape = tower.pattern.footprint if tower.pattern.roomy is None else tower.pattern.roomy
    near |= clear_m(layout, away, shape) <= 0.0
    near |= clear_m(layout, away, tower.pattern.footprint) < least_aisle_m - LENGTH_TOLERANCE_M
    pairs = np.column_stack([first, second]).astype(np.int64)
    far = away[~near]
    loss = _losses(plan, layout, tower, conditions, settings, np.concatenate([far, -far])).reshape(2, -1).sum(axis=0)
    return SiteCandidates(sites, kwh, len(tower.corner), pairs[~near], np.maximum(0.0, loss), pairs[near])


def clear_m(layout: TowersLayout, away: FloatArray, shape: FloatArray) -> FloatArray:
    """Free ground between two towers that stand ``away`` (k, 2) m from each other, (k,) m; 0 where they stand in each
    other, a hair above 0 where they touch. shape : (c, 2) m of one"""
    axes = np.stack([azimuth_vector(layout.azimuth_deg + 90.0), azimuth_vector(layout.azimuth_deg)])
    free = np.abs(away @ axes.T) - np.ptp(shape @ axes.T, axis=0) + LENGTH_TOLERANCE_M
    return np.asarray(np.hypot(*np.maximum(free, 0.0).T))


def _losses(
    plan: Plan, layout: TowersLayout, tower: Tower, conditions: Conditions, settings: Settings, away: FloatArray
) -> FloatArray:
    """What a tower takes from another at these displacements (k, 2), (k,) kWh."""
    if not len(away):
        return np.zeros(0)
    distinct, which = np.unique(np.round(away, 2), axis=0, return_inverse=True)
    if len(distinct) <= MOST_TRACED:
        return tower_losses(plan, layout, tower, conditions, settings, distinct)[which.reshape(-1)]
    distance, angle = np.hypot(away[:, 0], away[:, 1]), np.arctan2(away[:, 1], away[:, 0]) % (2 * np.pi)
    radii = np.geomspace(distance.min(), distance.max() * (1 + 1e-9), RADII)
    angles = np.arange(ANGLES) * 2 * np.pi / ANGLES
    net = radii[:, None, None] * np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    traced = tower_losses(plan, layout, tower, conditions, settings, net.reshape(-1, 2)).reshape(RADII, ANGLES)
    # Losses fall about as 1/distance or faster: what is read between places is loss times distance.
    round_about = np.column_stack([traced, traced[:, :1]]) * radii[:, None]
    read = RegularGridInterpolator((np.log(radii), np.append(angles, 2 * np.pi)), round_about)
    return np.asarray(
        read(np.column_stack([np.clip(np.log(distance), np.log(radii[0]), np.log(radii[-1])), angle])) / distance
    )


def choose_sites(
    candidates: SiteCandidates,
    limits: Sequence[Limit] = (),
    scale: float = 1.0,
    base: float = 1.0,
    gap: float = 0.0,
    time_limit_s: float = 60.0,
    fold_fraction: float = 0.0,
) -> Chosen:
    """The sites with most energy; ``Chosen.sites`` counts candidates.

    scale, base : what losses and energies of lone towers are multiplied by
    fold_fraction : pairs that take less than this share of a tower's energy are left out of the search
    """
    m = len(candidates.sites)
    net = SiteNet(
        base * candidates.kwh,
        np.full(m, float(candidates.panels)),
        candidates.pairs,
        scale * candidates.loss,
        candidates.conflicts,
    )
    fold = fold_fraction * float(candidates.kwh.max(initial=0.0))
    return choose(None, net, limits=limits, gap=gap, time_limit_s=time_limit_s, fold_kwh=fold)
