"""What the whole tracing of a set teaches the model: its contributions corrected, so that it promises what was found.

Single and pair effects leave out what three and more do together, what strings take, and the inverter. What is lacking
on a panel is shared among the parts of the set by what each does to it; what is lacking in a string, by how unevenly
each lights its panels; the rest by all that they bring. Others that might stand at the same places are corrected alike,
never by more than the part that was traced there.
"""

from dataclasses import replace

import numpy as np

from layout.retrofit.model import Problem
from sites.conventions import FloatArray, IntArray

LEAST_KWH = 1e-6
"""Effects below this are none."""


def corrected(
    problem: Problem, chosen: IntArray, panel_kwh: FloatArray, string_kwh: FloatArray, total_kwh: float
) -> Problem:
    """The model after a set was traced whole.

    panel_kwh : (n,) DC gain of each panel on a tracker of its own; string_kwh : (strings,) of each string
    total_kwh : what the set gave in all, as DC energy
    """
    if not len(chosen):
        return problem
    shift = np.zeros_like(problem.gain) if problem.shift is None else problem.shift.copy()
    lack = panel_kwh - problem.panel_gain(chosen)
    _share_out(shift, lack, np.abs(problem.gain), problem.place, chosen)
    problem = replace(problem, shift=shift)
    rest = problem.beyond.copy()
    known = rest[chosen].sum(axis=0)
    strings = problem.strings
    lack = np.array([k - panel_kwh[s].sum() for k, s in zip(string_kwh, strings, strict=True)]) - known[:-1]
    uneven = np.stack([_uneven(problem.effect[:, s]) for s in strings], axis=1) if strings else rest[:, :0]
    _share_out(rest[:, :-1], lack, uneven, problem.place, chosen)
    problem = replace(problem, rest=rest)
    lack = np.array([total_kwh - problem.promise(chosen)])
    whole = np.maximum(np.abs(problem.effect).sum(axis=1), LEAST_KWH)[:, None]
    rest = rest.copy()
    _share_out(rest[:, -1:], lack, whole, problem.place, chosen)
    return replace(problem, rest=rest)


def _uneven(effect: FloatArray) -> FloatArray:
    """How unevenly each candidate lights the panels of a string, (c, panels) -> (c,); by how much, where none does."""
    away = np.abs(effect - effect.mean(axis=1, keepdims=True)).sum(axis=1)
    return away if away.any() else np.abs(effect).sum(axis=1)


def _share_out(out: FloatArray, lack: FloatArray, size: FloatArray, place: IntArray, chosen: IntArray) -> None:
    """Add ``lack`` (columns,) to the chosen rows of ``out`` (c, columns) in proportion to their ``size`` (c, columns),
    and to others at their places at most as much."""
    total = size[chosen].sum(axis=0)
    share = np.divide(lack, total, out=np.zeros_like(lack), where=total > LEAST_KWH)
    for member in chosen:
        mates = np.flatnonzero(place == place[member])
        out[mates] += share * np.minimum(size[mates], size[member])
