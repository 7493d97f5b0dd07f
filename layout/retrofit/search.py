"""The model's best set, its electricity worked out from the summed light of its parts and pairs.

The model adds up what parts and pairs bring each panel. It promises too much for pairs whose sheets stand in each
other's light: those of a choice are traced, and the model is solved again until they hold little surprise. Strings,
inverter and the weakest cell do not add up either, so the choice's electricity is worked out from its summed light, the
model is corrected by that and solved again, until it promises what the light gives. What a choice turns out to do
corrects other candidates at the same places, too, so that few have to be worked out.
"""

from dataclasses import dataclass

from layout.retrofit.correct import corrected
from layout.retrofit.effects import Roof
from layout.retrofit.model import Choice, Problem, solve
from layout.retrofit.pairs import Pairs
from layout.retrofit.sums import Summed, summed
from layout.retrofit.whole import Whole
from layout.workers import Told
from layout.year_figures import Settings

TURNS = 40
"""Choices of the model before the best whose electricity was worked out is traced whole. Our choice: a roof of
40 frames with 416 candidates takes eight."""

PAIR_TURNS = 30
"""Of these the first, in which a choice is given up at once where its pairs, once traced, take much of its promise."""

PAIRS_TAKE = 0.05
"""Share of its promise that counts as much. The model promises too much for pairs that were not traced, hardly ever too
little: a set that it passes over for another is not lost."""

SUM_AGREES = 0.01
"""Share of the gain by which model and summed light may differ: well within what counts as agreement."""

SOLVER_GAP = 1e-3
"""Share of the objective by which another choice might be better: less than what two tracings of a set differ by."""

SLACK = 5e-4
"""Share of its energy that a panel or string may lose before it counts as losing: what tracings differ by."""


@dataclass(frozen=True, eq=False)
class Search:
    """What choices are worked out on. bare : the roof without parts, traced whole; ac_per_dc : AC over DC energy"""

    roof: Roof
    bare: Whole
    settings: Settings
    ac_per_dc: float
    told: Told | None
    processes: int

    def best(self, problem: Problem, pairs: Pairs, least: float) -> tuple[Choice | None, Problem, Pairs]:
        """The set whose summed light is worth most, with the DC energy that it promises; None where no set is worth
        more than ``least``. Problem and pairs come back with all that was learnt."""
        best: Choice | None = None
        last: Choice | None = None
        tried: set[tuple[int, ...]] = set()
        for turn in range(TURNS):
            choice = solve(problem, SOLVER_GAP)
            bar = max(least, best.value if best else 0.0)
            known = tuple(choice.chosen.tolist()) in tried
            if known or not len(choice.chosen) or choice.value <= bar * (1.0 + SOLVER_GAP):
                again = last if known and last is not None and last.value > bar * (1.0 + SOLVER_GAP) else None
                return best or again, problem, pairs
            unknown = pairs.unknown(choice.chosen.tolist())
            if unknown:
                problem, pairs = pairs.traced(problem, unknown, self.told, self.processes)
                taken = choice.energy_kwh - problem.promise(choice.chosen)
                if turn < PAIR_TURNS and taken > PAIRS_TAKE * choice.energy_kwh:
                    continue  # another set is likely to be better now
            tried.add(tuple(choice.chosen.tolist()))
            year = summed(self.roof, self.bare, self.settings, pairs.changes(choice.chosen.tolist()))
            energy = (year.ac_kwh - self.bare.ac_kwh) / self.ac_per_dc
            worth = problem.worth * energy - float(problem.price[choice.chosen].sum())
            last = Choice(choice.chosen, energy, worth)
            gain, strings = year.dc_kwh - self.bare.dc_kwh, year.string_kwh - self.bare.string_kwh
            problem = corrected(problem, choice.chosen, gain, strings, energy)
            if not self._loses(year) and worth > bar:
                best = last
                if abs(choice.energy_kwh - energy) <= SUM_AGREES * abs(energy):
                    return best, problem, pairs
        return best or last, problem, pairs

    def _loses(self, year: Summed) -> bool:
        """Whether a panel or a string gives less than without parts."""
        panels = (year.dc_kwh < self.bare.dc_kwh * (1.0 - SLACK)).any()
        return bool(panels or (year.string_kwh < self.bare.string_kwh * (1.0 - SLACK)).any())
