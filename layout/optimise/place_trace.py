"""Positions chosen by the model, then traced whole; where the two differ, losses are corrected and solved again."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from layout.arrange import arrange
from layout.conditions import Conditions
from layout.optimise.pair_losses import energies
from layout.optimise.place_beyond import Choice, row_shares, share_reader, site_shares
from layout.optimise.positions_nets import Chosen, Limit
from layout.optimise.positions_rows import choose_rows, row_candidates
from layout.optimise.positions_towers import choose_sites, site_candidates
from layout.plan import Layout, Plan, RowsLayout, TowersLayout, UprightLayout
from layout.year_figures import Settings
from sites.conventions import FloatArray

AGREE_FRACTION = 0.01
"""Where model and whole tracing differ by more, losses are corrected."""

MOST_ROUNDS = 3

SCALE_LIMITS = (0.2, 5.0)
"""Losses are corrected within these; the rest is put on the energy of units with nothing near, which short rows have
more of than the long row's bay."""


@dataclass(frozen=True)
class Round:
    """One solve. loss_scale, free_scale : what losses and the energy of units with nothing near were multiplied by."""

    loss_scale: float
    free_scale: float
    model_kwh: float
    traced_kwh: float

    @property
    def difference_fraction(self) -> float:
        """By how much the model is above (below 0: under) the traced energy."""
        return self.model_kwh / self.traced_kwh - 1.0


@dataclass(frozen=True, eq=False)
class Placed:
    """A layout with its positions, as a plan takes it.

    layout, chosen : of the solve whose choice has most traced energy; rounds : every solve, in order; best : its number
    at : what there was to choose from: (n,) positions_m of rows or (m, 2) m sites
    """

    layout: Layout
    chosen: Chosen
    rounds: tuple[Round, ...]
    best: int
    at: FloatArray


def place_rows(
    plan: Plan,
    layout: RowsLayout | UprightLayout,
    conditions: Conditions,
    settings: Settings,
    net_m: float = 0.2,
    least_aisle_m: float = 0.0,
    limits: Sequence[Limit] = (),
    gap: float = 0.0,
    time_limit_s: float = 60.0,
    most_beyond: float | None = None,
) -> Placed:
    """The best rows of a layout on its plot: solve, trace whole, correct, at most ``MOST_ROUNDS`` times.

    most_beyond : share of light from beyond the plot at most
    """
    found = row_candidates(plan, layout, conditions, settings, net_m, least_aisle_m)
    shares = None if most_beyond is None else row_shares(plan, layout, found, conditions, settings, most_beyond)

    read = share_reader(plan, conditions, settings)

    def standing(chosen: Chosen) -> Layout:
        at = found.positions_m[chosen.rows]
        mean = float(np.diff(at).mean()) if len(at) > 1 else layout.pitch_m
        pitch = float(np.clip(round(mean, 3), found.depth_m, 200.0))
        update: dict[str, object] = {"positions_m": tuple(np.round(at, 4).tolist()), "pitch_m": pitch}
        columns = np.round(chosen.panels / found.panels_high).astype(int)
        if (columns < found.columns[chosen.rows]).any():
            update["row_columns"] = tuple(columns.tolist())
        return layout.model_copy(update=update)

    def solve(scale: float, base: float) -> tuple[Chosen, Layout, float]:
        def at_share(share: float | None) -> Choice:
            more = None if shares is None or share is None else lambda head: shares.rows(share, head)
            chosen = choose_rows(found, limits, least_aisle_m, scale, base, gap, time_limit_s, more)
            return chosen, standing(chosen)

        chosen, placed = at_share(None) if shares is None else shares.kept(at_share, read)
        free = found.curve.free_kwh * float((found.factor[chosen.rows] * chosen.panels).sum()) / found.panels_high
        return chosen, placed, free

    return rounds_of(plan, conditions, settings, solve, found.positions_m)


def place_towers(
    plan: Plan,
    layout: TowersLayout,
    conditions: Conditions,
    settings: Settings,
    sites: FloatArray,
    least_spacing_m: float,
    limits: Sequence[Limit] = (),
    gap: float = 0.0,
    time_limit_s: float = 60.0,
    least_aisle_m: float = 0.0,
    most_beyond: float | None = None,
) -> Placed:
    """The best of some sites (m, 2) m for a layout's towers: solve, trace whole, correct.

    most_beyond : share of light from beyond the plot at most
    """
    found = site_candidates(plan, layout, conditions, settings, sites, least_spacing_m, least_aisle_m)
    shares = None if most_beyond is None else site_shares(plan, layout, sites, conditions, settings, most_beyond)
    read = share_reader(plan, conditions, settings)

    def solve(scale: float, base: float) -> tuple[Chosen, Layout, float]:
        def at_share(share: float | None) -> Choice:
            every = limits if shares is None or share is None else [*limits, shares.sites(share)]
            chosen = choose_sites(found, every, scale, base, gap=gap, time_limit_s=time_limit_s)
            at = tuple((float(x), float(y)) for x, y in found.sites[chosen.sites])
            return chosen, layout.model_copy(update={"sites": at})

        chosen, placed = at_share(None) if shares is None else shares.kept(at_share, read)
        return chosen, placed, float(found.kwh[chosen.sites].sum())

    return rounds_of(plan, conditions, settings, solve, found.sites)


def rounds_of(
    plan: Plan,
    conditions: Conditions,
    settings: Settings,
    solve: Callable[[float, float], tuple[Chosen, Layout, float]],
    at: FloatArray,
) -> Placed:
    """Solve, trace whole, correct losses, at most ``MOST_ROUNDS`` times.

    solve : (loss_scale, free_scale) -> the choice, the layout, kWh of its units had they nothing near
    at : what there is to choose from
    """
    scale, base, rounds = 1.0, 1.0, []
    tried: list[tuple[Layout, Chosen]] = []
    while True:
        chosen, layout, free = solve(scale, base)
        traced = float(energies(arrange(plan, layout), conditions, settings).sum())
        rounds.append(Round(scale, base, chosen.kwh, traced))
        tried.append((layout, chosen))
        done = abs(rounds[-1].difference_fraction) <= AGREE_FRACTION or len(rounds) == MOST_ROUNDS
        lost = (base * free - chosen.kwh) / scale
        if done or lost <= 0:
            best = int(np.argmax([r.traced_kwh for r in rounds]))
            return Placed(*tried[best], tuple(rounds), best, at)
        scale = float(np.clip((base * free - traced) / lost, *SCALE_LIMITS))
        base = (traced + scale * lost) / free
