"""From candidates to a set that holds: solve, trace the set whole, take back what the model missed, solve again."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.conditions import Conditions
from layout.geometry.rays import worker_count
from layout.plan_sheets import SheetTypes
from layout.retrofit.candidates import Candidate, Found
from layout.retrofit.correct import corrected
from layout.retrofit.effects import Effect, Roof, case_effects, trace_roof
from layout.retrofit.limits import CellLimits, Traced, cut_of, limit_rows, trace_limits
from layout.retrofit.model import Choice, Limits, Problem, Row, Seen
from layout.retrofit.pairs import Pairs
from layout.retrofit.payback import yearly_share
from layout.retrofit.search import SLACK, Search
from layout.retrofit.whole import Whole, trace_whole, with_parts
from layout.retrofit_table import RetrofitTable
from layout.roof_shapes import RoofPlane
from layout.workers import Told
from layout.year_figures import Settings
from sites.conventions import FloatArray, IntArray

MOST_ROUNDS = 12
"""Sets traced whole before the best of those that hold is taken. Our choice."""

GAIN_AGREES = 0.05
AC_AGREES = 0.01
"""How near model and tracing have to be: shares of the gain and of the year's AC energy."""


@dataclass(frozen=True, eq=False)
class Round:
    """One set that was traced whole. chosen : (k,) int; promised_kwh, found_kwh : extra AC energy of a year; faults :
    why it does not hold"""

    chosen: IntArray
    promised_kwh: float
    found_kwh: float
    faults: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Retrofit:
    """What was found.

    effects : of each candidate; chosen : (k,) int, the parts to build, none where nothing pays
    bare, whole : the roof without and with them; peak : its worst hours; bare_peak : those without
    promised_kwh : extra AC energy that the summed light of parts and pairs promises, before the set is traced whole
    ended : why the rounds ended
    """

    roof: Roof
    found: Found
    effects: tuple[Effect, ...]
    problem: Problem
    limits: CellLimits
    chosen: IntArray
    bare: Whole
    whole: Whole
    bare_peak: Traced
    peak: Traced
    promised_kwh: float
    ac_per_dc: float
    rounds: tuple[Round, ...]
    ended: str

    @property
    def parts(self) -> tuple[Candidate, ...]:
        """Those chosen."""
        return tuple(self.found.candidates[i] for i in self.chosen)

    @property
    def gain_kwh(self) -> float:
        """Extra AC energy of a year, traced whole."""
        return self.whole.ac_kwh - self.bare.ac_kwh

    @property
    def part_gain_kwh(self) -> FloatArray:
        """What each chosen part brings, (k,) kWh AC: pair effects shared in halves, corrected by the tracing of all."""
        gain = self.problem.effect[self.chosen].sum(axis=1) + self.problem.beyond[self.chosen].sum(axis=1)
        at = {int(i): k for k, i in enumerate(self.chosen)}
        for (i, j), extra in self.problem.pairs.items():
            if i in at and j in at:
                gain[[at[i], at[j]]] += 0.5 * extra.sum()
        return np.asarray(gain * self.ac_per_dc)


def cell_limits(table: RetrofitTable, arrangement: Arrangement) -> CellLimits:
    """The plan's limits, else the panel type's."""
    kind = arrangement.panel_type
    light = table.max_light_w_m2 if table.max_light_w_m2 is not None else kind.max_light_w_m2
    return CellLimits(light, table.max_cell_c if table.max_cell_c is not None else kind.max_cell_c)


def part_money(candidates: Sequence[Candidate], table: RetrofitTable) -> FloatArray:
    """Price of each candidate, (c,); 0 without prices."""
    if table.price_per_m2 is None:
        return np.zeros(len(candidates))
    price = table.price_per_m2
    return np.array([c.area_m2 * price + c.parts * table.price_per_part for c in candidates])


def problem_of(
    roof: Roof,
    found: Found,
    effects: Sequence[Effect],
    planes: Sequence[RoofPlane],
    table: RetrofitTable,
    limits: CellLimits,
    ac_per_dc: float,
) -> Problem:
    """The model's data, without pairs."""
    candidates = found.candidates
    gain = np.zeros((len(candidates), len(roof.dc_kwh)))
    for i, effect in enumerate(effects):
        gain[i, effect.panels] = effect.dc_kwh
    kinds = {kind: k for k, kind in enumerate(sorted({c.kind for c in candidates}, key=lambda k: k.words))}
    area = np.array([c.area_m2 for c in candidates])
    money = part_money(candidates, table)
    per_kwh = table.price_per_kwh if table.objective == "money" and table.price_per_kwh is not None else 1.0
    price = np.full(len(candidates), table.least_gain_kwh * per_kwh)
    if table.objective == "money":
        price = price + money * yearly_share(table)
    place = np.array([c.place for c in candidates], dtype=np.int64)
    return Problem(
        gain=gain,
        pairs={},
        worth=ac_per_dc * per_kwh,
        price=price,
        place=place,
        kind=np.array([kinds[c.kind] for c in candidates], dtype=np.int64),
        plane=np.array([c.plane for c in candidates], dtype=np.int64),
        area_m2=area,
        kg=area * table.kg_per_m2,
        money=money,
        plane_m2=np.array([p.outline.area for p in planes]),
        conflicts=found.conflicts,
        limits=Limits(table.most_kinds, table.most_kg_per_m2, table.most_sail_m2, table.most_money),
        slack_kwh=SLACK * roof.dc_kwh,
        rows=tuple(limit_rows(roof, effects, place, limits)) if candidates else (),
    )


@dataclass(frozen=True, eq=False)
class Task:
    """What a retrofit works on."""

    arrangement: Arrangement
    planes: tuple[RoofPlane, ...]
    conditions: Conditions
    settings: Settings
    types: SheetTypes
    table: RetrofitTable


def retrofit(task: Task, found: Found, told: Told | None = None, processes: int | None = None) -> Retrofit:
    """Find the set of parts that brings most and holds every limit when it is traced whole."""
    processes = processes or worker_count()
    roof = trace_roof(task.arrangement, task.conditions, task.settings)
    bare = trace_whole(task.arrangement, task.conditions, task.settings)
    limits = cell_limits(task.table, task.arrangement)
    bare_peak = trace_limits(roof, task.arrangement, bare.field, bare.year, limits)
    cases = [[c] for c in found.candidates]
    effects = tuple(case_effects(roof, cases, task.types, told, processes))
    dc = float(bare.year.hour["wired"].sum()) * task.conditions.hour_kwh
    ratio = bare.ac_kwh / dc if dc > 0 else 1.0
    problem = problem_of(roof, found, effects, task.planes, task.table, limits, ratio)
    pairs = Pairs.of(roof, found, effects, task.types)
    problem = replace(problem, strings=bare.strings)
    problem = pairs.estimated(problem, pairs.first())
    state = Retrofit(
        roof, found, effects, problem, limits, np.zeros(0, dtype=np.int64), bare, bare, bare_peak, bare_peak, 0.0,
        ratio, (), "",
    )  # fmt: skip
    return _rounds(task, state, pairs, told, processes)


def _rounds(task: Task, state: Retrofit, pairs: Pairs, told: Told | None, processes: int) -> Retrofit:
    best, best_value = state, 0.0
    problem, ended = state.problem, f"after {MOST_ROUNDS} sets traced whole, the most that are tried"
    rounds: list[Round] = []
    while len(rounds) < MOST_ROUNDS:
        search = Search(state.roof, state.bare, task.settings, state.ac_per_dc, told, processes)
        choice, problem, pairs = search.best(problem, pairs, best_value)
        if choice is None:
            ended = "the model, corrected by what was traced, promises no more than the best set that was traced"
            break
        if told is not None:
            told("sets traced whole", len(rounds) + 1, MOST_ROUNDS)
        tried = _tried(task, state, problem, choice)
        value = problem.worth * tried.gain_kwh / state.ac_per_dc - float(problem.price[choice.chosen].sum())
        rows, faults = _judged(tried, choice)
        rounds.append(Round(choice.chosen, tried.promised_kwh, tried.gain_kwh, tuple(faults)))
        problem = _learnt(problem, tried)
        if faults:
            problem = problem.with_rows(rows)
        elif value > best_value:
            best, best_value = tried, value
        if not faults and agrees(tried, tried.promised_kwh):
            ended = "the model and the whole tracing agree"
            break
        found_dc = tried.gain_kwh / state.ac_per_dc
        problem = replace(problem, seen=(*problem.seen, Seen(choice.chosen, found_dc, choice.energy_kwh)))
    return replace(best, problem=_learnt(problem, best), rounds=tuple(rounds), ended=ended)


def _learnt(problem: Problem, tried: Retrofit) -> Problem:
    """The model, so corrected that it promises for a set what its whole tracing found."""
    whole, bare = tried.whole, tried.bare
    gain = whole.dc_kwh - bare.dc_kwh
    return corrected(problem, tried.chosen, gain, whole.string_kwh - bare.string_kwh, tried.gain_kwh / tried.ac_per_dc)


def agrees(tried: Retrofit, promised_kwh: float) -> bool:
    """Whether promise and tracing lie within 5 % of the gain and 1 % of the year's energy."""
    off = abs(promised_kwh - tried.gain_kwh)
    return off <= GAIN_AGREES * abs(tried.gain_kwh) and off <= AC_AGREES * tried.whole.ac_kwh


def _tried(task: Task, state: Retrofit, problem: Problem, choice: Choice) -> Retrofit:
    parts = [state.found.candidates[i] for i in choice.chosen]
    standing = with_parts(task.arrangement, parts, task.types)
    whole = trace_whole(standing, task.conditions, task.settings)
    peak = trace_limits(state.roof, standing, whole.field, whole.year, state.limits)
    promised = choice.energy_kwh * state.ac_per_dc
    return replace(state, chosen=choice.chosen, whole=whole, peak=peak, problem=problem, promised_kwh=promised)


def _judged(tried: Retrofit, choice: Choice) -> tuple[list[Row], list[str]]:
    """What a traced set does wrong, and the rows that keep the model from it."""
    rows = [cut_of(tried.roof, tried.effects, choice.chosen, o) for o in tried.peak.offences]
    faults = [o.words for o in tried.peak.offences]
    loss = tried.bare.dc_kwh * (1.0 - SLACK) - tried.whole.dc_kwh
    for panel in np.flatnonzero(loss > 0):
        guilty = [i for i in choice.chosen if panel in tried.effects[i].panels]
        words = f"panel {panel} would lose {tried.bare.dc_kwh[panel] - tried.whole.dc_kwh[panel]:.1f} kWh a year"
        rows.append(_not_all(guilty or choice.chosen.tolist(), words))
        faults.append(words)
    for number, (before, after) in enumerate(zip(tried.bare.string_kwh, tried.whole.string_kwh, strict=True)):
        if after < before * (1.0 - SLACK):
            string = tried.bare.strings[number]
            guilty = [i for i in choice.chosen if np.isin(tried.effects[i].panels, string).any()]
            words = f"string {number + 1} would lose {before - after:.1f} kWh a year"
            rows.append(_not_all(guilty or choice.chosen.tolist(), words))
            faults.append(words)
    return rows, faults


def _not_all(guilty: Sequence[int], words: str) -> Row:
    index = np.array(guilty, dtype=np.int64)
    return Row(index, np.ones(len(index)), len(index) - 1.0, words)
