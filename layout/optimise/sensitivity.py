"""Which assumption moves the answer most: the best layout and its rivals worked out again, one assumption at a time.

Every rival is traced whole on the plot. Sky, heat, dirt, ground and panel act on what is traced already (light is
linear); only another reflectance is traced anew. Nothing is scaled by rule of thumb except prices, which enter the
cost by formula.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from layout.arrange import arrange
from layout.arrange.arrangement import Arrangement
from layout.conditions import Conditions
from layout.evaluate import Evaluator
from layout.field import Block, Field, blocks, build_field
from layout.geometry.rays import worker_count
from layout.hot_water import hot_water_year
from layout.ledger import electricity
from layout.optimise.cost import cost_per_kwh
from layout.optimise.judge import score
from layout.optimise.limits_moved import TESTED, broken, limit_figures
from layout.optimise.moves import Case, Move, moves, reflecting
from layout.optimise.whole import arranged_figures
from layout.plan import Layout, Plan
from layout.power.glass import transmission_ratio
from layout.run import plan_settings
from layout.string_year import PanelYear, strings_dc_w
from layout.strings import strings_of
from layout.year import evaluator_of
from layout.year_figures import capacity_kw
from sites.conventions import FloatArray


@dataclass(frozen=True, eq=False)
class Rival:
    """A layout with values of its own; label : how the report calls it."""

    label: str
    layout: Layout


@dataclass(frozen=True, eq=False)
class Moved:
    """What an assumption does at its two ends.

    change : of the first rival's score, as shares of it
    leads : its score over that of the best other one, minus 1; NaN where it is alone
    winners : number of the rival with the best score
    figures : of the first rival, what its limits that are tested again hold against;  breaks : those it misses
    """

    move: Move
    change: tuple[float, float]
    leads: tuple[float, float]
    winners: tuple[int, int]
    figures: tuple[dict[str, float], dict[str, float]] = ({}, {})
    breaks: tuple[tuple[str, ...], tuple[str, ...]] = ((), ())

    @property
    def overturns(self) -> bool:
        """Whether another one is best at either end."""
        return any(self.winners)


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """rivals : the best first;  energies_kwh, scores : (n,) as assumed;  moved : the largest change first
    tested : limits of the first rival that were tested again at every end
    """

    rivals: tuple[Rival, ...]
    energies_kwh: FloatArray
    scores: FloatArray
    moved: tuple[Moved, ...]
    tested: tuple[str, ...] = ()

    @property
    def lead(self) -> float:
        """The best one's score over that of the next, minus 1; NaN where it is alone."""
        return _lead(self.scores)


def sensitivity(
    plan: Plan, rivals: Sequence[Rival], year: Conditions, told: Callable[[int, int], None] = lambda done, all_: None
) -> Sensitivity:
    """Work the rivals out again with each assumption moved down and up.

    rivals : the best first;  told : rivals finished, rivals in all
    """
    if plan.optimise is None or not rivals:
        raise ValueError("a plan with [optimise], and a layout")
    settings = plan_settings(plan)
    built = [arrange(plan, r.layout) for r in rivals]
    found = moves(plan, year, built)
    base = Case(year, settings, plan.prices)
    cases = [base, *(case for move in found for case in move.ends)]
    energies = np.zeros((len(cases), len(rivals)))
    for i, arrangement in enumerate(built):
        energies[:, i] = case_energies(arrangement, cases)
        told(i + 1, len(rivals))
    scores = np.array(
        [
            [_score(plan, case, a, e) for a, e in zip(built, row, strict=True)]
            for case, row in zip(cases, energies, strict=True)
        ]
    )
    figures = limit_figures(plan, built[0], cases)
    moved = [
        _limited(plan, _moved(move, scores[0], scores[1 + 2 * k : 3 + 2 * k]), figures[1 + 2 * k : 3 + 2 * k])
        for k, move in enumerate(found)
    ]
    moved.sort(key=lambda m: -max(abs(c) for c in m.change))
    tested = tuple(k for k in TESTED if getattr(plan.optimise.limits, k) is not None)
    return Sensitivity(tuple(rivals), energies[0], scores[0], tuple(moved), tested)


def _limited(plan: Plan, moved: Moved, ends: Sequence[dict[str, float]]) -> Moved:
    """The same with what the first rival's limits hold against at both ends."""
    low, high = ends
    return replace(moved, figures=(low, high), breaks=(broken(plan, low), broken(plan, high)))


def _moved(move: Move, base: FloatArray, ends: FloatArray) -> Moved:
    low, high = ends
    return Moved(
        move,
        (float(low[0] / base[0] - 1.0), float(high[0] / base[0] - 1.0)),
        (_lead(low), _lead(high)),
        (int(low.argmax()), int(high.argmax())),
    )


def _lead(scores: FloatArray) -> float:
    return float(scores[0] / scores[1:].max() - 1.0) if len(scores) > 1 else float("nan")


def _score(plan: Plan, case: Case, arrangement: Arrangement, energy: float) -> float:
    """The larger the better, as the search counts."""
    assert plan.optimise is not None
    figures = arranged_figures(plan, arrangement) | {"energy_ac_kwh": energy}
    figures |= {
        "kwh_per_m2_plot": energy / figures["plot_area_m2"],
        "kwh_per_m2_panel": energy / figures["panel_area_m2"],
    }
    if case.prices is not None:
        figures["cost_per_kwh"] = cost_per_kwh(case.prices, arrangement.kind, figures)
    return score(plan.optimise, figures)


def case_energies(arrangement: Arrangement, cases: Sequence[Case]) -> FloatArray:
    """AC energy of a year in each case, (cases,) kWh; cases with the same scene share one tracing."""
    energies = np.zeros(len(cases))
    shifts = np.array([case.reflectance_shift if arrangement.scene.reflectors else 0.0 for case in cases])
    for shift in np.unique(shifts):
        index = np.flatnonzero(shifts == shift)
        energies[index] = _traced(reflecting(arrangement, float(shift)), [cases[int(i)] for i in index])
    return energies


def _traced(arrangement: Arrangement, cases: Sequence[Case]) -> FloatArray:
    """Trace block by block; each block's light goes through every case before the next is traced."""
    settings, year = cases[0].settings, cases[0].year
    of_case = [replace(arrangement, panel_type=case.panel(arrangement.panel_type)) for case in cases]
    evaluators = [evaluator_of(a, case.year, case.settings) for a, case in zip(of_case, cases, strict=True)]
    field_ = build_field(arrangement, year, settings.full_cells, settings.repetition)
    sums = [_Sum(np.zeros(len(year.albedo)), np.zeros(len(year.albedo)), {}) for _ in cases]
    with ThreadPoolExecutor(worker_count()) as pool:
        for block in blocks(field_, year, transmission_ratio):
            parts = pool.map(lambda e, b=block: _part(e, field_, b), evaluators)
            sums = [before.plus(part) for before, part in zip(sums, parts, strict=True)]
    strings = strings_of(arrangement, settings.wiring)
    strings = tuple(s for s in (s[field_.of_panel[s] >= 0] for s in strings) if len(s) > 1)
    return np.array(
        [
            _ac_kwh(replace(s, dc_w=strings_dc_w(strings, s.kept, field_, evaluator.model, s.dc_w)), a, evaluator, case)
            for a, case, evaluator, s in zip(of_case, cases, evaluators, sums, strict=True)
        ]
    )


@dataclass(frozen=True, eq=False)
class _Sum:
    """Blocks added up. dc_w : (k,) W;  panel_c : (k,) area mean, °C;  kept : what strings need of each panel"""

    dc_w: FloatArray
    panel_c: FloatArray
    kept: dict[int, PanelYear]

    def plus(self, other: "_Sum") -> "_Sum":
        return _Sum(self.dc_w + other.dc_w, self.panel_c + other.panel_c, self.kept | other.kept)


def _part(evaluator: Evaluator, field_: Field, block: Block) -> _Sum:
    year = evaluator.block_year(field_, block)
    return _Sum(year.hour["dc"], year.hour["panel_c"], year.kept)


def _ac_kwh(found: _Sum, arrangement: Arrangement, evaluator: Evaluator, case: Case) -> float:
    """From the panels' power in their strings to the socket, cooled by hot water where the plan has some."""
    settings, wired_w = case.settings, found.dc_w
    if settings.hot_water is not None:
        cooling = evaluator.kind.u0_w_m2_k, evaluator.kind.u1_w_s_m3_k
        area = sum(p.area_m2 for p in arrangement.scene.panels)
        water = hot_water_year(case.year, found.panel_c, cooling, area, evaluator.model, settings.hot_water)
        wired_w = wired_w * water.factor
    power = electricity(wired_w, capacity_kw(arrangement), settings.inverter, settings.losses)
    return float(power.ac_kw.sum()) * case.year.weather.interval_h
