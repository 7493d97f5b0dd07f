"""What a report on an answer shows beside it: cuts through the best, the plan as it was, the spacing rule followed on
the plot, assumptions moved, and the best layout's whole year."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from layout.optimise.answer import Answer, LayoutAnswer
from layout.optimise.cuts import Cut, cuts
from layout.optimise.judge import Judge, Traced
from layout.optimise.place import Positions
from layout.optimise.sensitivity import Rival, Sensitivity, sensitivity
from layout.optimise.store import Store, problem_key
from layout.optimise.study import store_path
from layout.optimise_tables import Value, VaryTable, whole_number
from layout.result import PlanResult
from layout.run import run_plan
from sites.errors import InputError

Told = Callable[[str, int, int], None]

MOST_RIVALS = 3
"""Layouts beside the best that assumptions are moved for; each costs some twenty years on one tracing."""


@dataclass(frozen=True, eq=False)
class Entry:
    """One answer in the ranking: a layout, or two that share the plot (``mixed``). positions : how it was placed"""

    name: str
    chosen: Traced
    positions: Positions | None
    mixed: bool = False


def ranking(answer: Answer) -> tuple[Entry, ...]:
    """The layouts and the mixtures that are taken, best first; those that break limits last."""
    found = [Entry(a.name, a.chosen, a.positions) for a in answer.layouts.values()]
    found += [Entry(name, p.traced, p, True) for name, p in answer.mixed.items() if p.taken]
    return tuple(sorted(found, key=lambda e: e.chosen.rank, reverse=True))


@dataclass(frozen=True, eq=False)
class Review:
    """ranked : best first
    shifted : by layout the figures of every shape judged, at the best shift of its pattern
    cuts : through the best shape of ``answer.best``;  asked : by layout, as the plan has it, traced whole
    rule : ``answer.best`` by the spacing rule without shade at midwinter, traced whole; None where it says nothing
    moved : assumptions moved;  result : the first one's year, as ``compare`` works it out
    """

    answer: Answer
    ranked: tuple[Entry, ...]
    shifted: dict[str, list[dict[str, float]]]
    cuts: tuple[Cut, ...]
    asked: dict[str, Traced]
    rule: Traced | None
    moved: Sensitivity
    result: PlanResult


def review(answer: Answer, folder: Path, told: Told | None = None) -> Review:
    """Work out what the report needs. folder : where finished evaluations are kept"""
    store = Store(store_path(folder), problem_key(answer.data, answer.year))
    judges = {name: _judge(answer, a, store) for name, a in answer.layouts.items()}
    shifted = {name: [judges[name].at_best_shift(f) for f in a.study.figures] for name, a in answer.layouts.items()}
    best, judge, ranked = answer.layouts[answer.best], judges[answer.best], ranking(answer)
    asked = {name: t for name, j in judges.items() if (t := _whole(j, {})) is not None}

    def tick(done: int, all_: int) -> None:
        if told is not None:
            told("assumptions moved", done, all_)

    tick(0, 1)
    return Review(
        answer=answer,
        ranked=ranked,
        shifted=shifted,
        cuts=cuts(_varied(answer, best), judge, best.study.best),
        asked=asked,
        rule=_rule(judge, best),
        moved=sensitivity(answer.plan, rivals(answer), answer.year, tick),
        result=run_plan(answer.again, None, {ranked[0].name}),
    )


def _judge(answer: Answer, found: LayoutAnswer, store: Store) -> Judge:
    return Judge(answer.plan, answer.table, found.study.layout, answer.year, store, lambda _: None)


def _varied(answer: Answer, found: LayoutAnswer) -> list[VaryTable]:
    """What varied, with the steps that the search took."""
    layout = found.study.layout
    tables = [v for v in answer.table.vary if v.layout == found.name]
    whole = [not v.choices and v.step is None and whole_number(layout, v.key) for v in tables]
    return [v.model_copy(update={"step": 1.0}) if w else v for v, w in zip(tables, whole, strict=True)]


def _whole(judge: Judge, values: dict[str, Value]) -> Traced | None:
    """A shape traced whole on the plot; None where it cannot be built or has no room."""
    layout, figures = judge.built(values), judge.figures(values)
    if layout is None or figures is None:
        return None
    try:
        return judge.whole(layout, values, figures["aisle_m"])
    except InputError:
        return None


def _rule(judge: Judge, best: LayoutAnswer) -> Traced | None:
    if best.study.winter is None:
        return None
    return _whole(judge, best.traced[0].values | {"pitch_m": best.study.winter[0]})


def rivals(answer: Answer) -> list[Rival]:
    """The best one and the next of the others; where there is no other, other shapes of the same."""
    first, *others = ranking(answer)
    found = [Rival(e.name, e.chosen.layout) for e in (first, *others) if e is first or not e.chosen.broken]
    if len(found) == 1:
        same = [t for t in answer.layouts[first.name].traced if not t.broken and t.layout != first.chosen.layout]
        found += [Rival(f"{first.name}, other shape {i + 1}", t.layout) for i, t in enumerate(same)]
    return found[: 1 + MOST_RIVALS]
