"""What an optimisation has to say, in sentences that begin with the answer."""

from layout.optimise.answer import Answer, LayoutAnswer
from layout.optimise.judge import Traced, excess
from layout.optimise.place import Positions
from layout.optimise.place_trace import AGREE_FRACTION
from layout.optimise.review import Entry, Review
from layout.optimise.sensitivity import Moved, Sensitivity
from layout.optimise.study import Held, reached
from layout.optimise_tables import LimitsTable
from layout.report.numbers import joined, number, percent, percent_beside, signed_percent
from layout.report.optimise_names import (
    aim_value,
    aim_words,
    either,
    limit_value,
    limit_words,
    parted,
    span_words,
    valued,
    values_words,
)
from layout.report.sentences import TIE_FRACTION, named

SAME_FRACTION = 0.0005
"""Differences below this are told as none."""


def optimise_sentences(review: Review) -> tuple[str, ...]:
    """The answer, what it is better than, how far from the best possible, what holds it, what could overturn it."""
    answer, top = review.answer, review.ranked[0]
    best = answer.layouts[answer.best]
    lines = [_answer(answer, top), *_against_plan(review, top), *_runner_up(review)]
    lines += _how_far(review, top)
    lines += _holds(answer, top)
    lines += [] if top.mixed else [held_words(h) for h in best.study.held]
    lines += _no_limit(answer)
    lines += _flat(best, best.name if top.mixed else "")
    lines += rule_sentences(review)[:1]
    lines.append(overturning(review))
    return tuple(line for line in lines if line)


def _answer(answer: Answer, top: Entry) -> str:
    found, figures = top.chosen, top.chosen.figures
    shape = values_words(found.values) or "its shape as in the plan"
    how = f" with {shape}"
    if top.mixed:
        how = ", which share the plot, rows and towers placed one by one"
    elif top.positions is not None and top.positions.taken:
        how += ", its rows or towers placed one by one"
    energy = f"{number(figures['energy_ac_kwh'])} kWh a year at the socket"
    told = energy if answer.table.objective == "energy_ac_kwh" else f"{aim_value(answer.table, figures)}: {energy}"
    best = f"Best by {aim_words(answer.table)}: {named(top.name)}{how}"
    return f"{best}. It gives {told} from {figures['panels']:.0f} panels."


def _against_plan(review: Review, top: Entry) -> list[str]:
    """By how much it is better than what the plan holds."""
    asked, answer = review.asked.get(top.name), review.answer
    if asked is None or asked.layout == top.chosen.layout:
        return []
    gain = top.chosen.score / asked.score - 1.0
    if asked.broken:
        limits = joined([_beyond(answer, key, asked) for key in asked.broken])
        than = f"{percent(abs(gain))} {_better(answer)} than" if gain >= 0 else f"{percent(-gain)} short of"
        return [f"That is {than} what the plan's own values give, but those break the limit on {limits}."]
    if abs(gain) < SAME_FRACTION:
        return [f"The plan's own values are as good, within {percent(SAME_FRACTION, 2)}."]
    return [f"That is {percent(gain)} {_better(answer)} than {named(top.name)} with the plan's own values."]


def _beyond(answer: Answer, key: str, found: Traced) -> str:
    limit = getattr(answer.table.limits, key)
    return f"{limit_words(key)} ({limit_value(key, found.figures[key])}, allowed {limit_value(key, limit)})"


def _better(answer: Answer) -> str:
    if answer.table.second is not None:
        return "more by both aims together"
    return "more for the same money" if answer.table.objective == "cost_per_kwh" else "more"


def _runner_up(review: Review) -> list[str]:
    if len(review.ranked) < 2:
        return []
    top, second = review.ranked[:2]
    gain = top.chosen.score / second.chosen.score - 1.0
    shape = values_words(second.chosen.values)
    told = f"{named(second.name)}{f' ({shape})' if shape else ''}"
    if gain < TIE_FRACTION:
        return [f"Next is {told}, {percent_beside(gain, TIE_FRACTION, 2)} behind: too close to call."]
    return [f"Next is {told}: the best gives {percent_beside(gain, TIE_FRACTION, 1)} {_better(review.answer)}."]


def _how_far(review: Review, top: Entry) -> list[str]:
    """What is proven, and what the panels lose to shade at most."""
    parts = []
    study = review.answer.layouts[review.answer.best].study
    if len(study.points) > 1 and not top.mixed:
        parts.append(
            f"{len(study.points)} shapes were looked at and the best {len(study.traced)} traced whole; such a search "
            "by itself proves nothing"
        )
    if top.positions is not None:
        parts.append(("for that shape, " if parts else "") + _proof(top.positions))
    lines = [f"How far from the best possible: {'; '.join(parts)}."] if parts else []
    result = review.result.layouts[top.name]
    more = percent(1 / (1 - result.shade_loss_fraction) - 1)
    bare = ", reflectors left out" if result.boost else ""
    shade = (
        f"Without any shadow, each by itself, the same panels would get {more} more light{bare}: no spacing of panels"
    )
    return [*lines, f"{shade} of this tilt passes that."]


def _proof(p: Positions) -> str:
    what = {"rows": "rows", "sites": "towers"}.get(p.kind, "rows and towers")
    gap = "none is better by the model"
    if p.gap_fraction > 0:
        gap += f" by more than {percent(p.gap_fraction, 2)}"
    places = "" if p.kind == "mixed" else f" among {len(p.at)} places"
    off = f"traced whole, the model is {signed_percent(p.difference_fraction, 2)} off"
    doubt = "" if abs(p.difference_fraction) <= AGREE_FRACTION else ", so the proof holds for the model only"
    taken = (
        "the choice is taken"
        if p.taken
        else "the regular pattern stays, which traced whole is as good or better or keeps the limits"
    )
    return f"of all choices of {what}{places} {gap} (proven); {off}{doubt}; {taken}"


def _holds(answer: Answer, top: Entry) -> list[str]:
    """Limits reached."""
    found, limits = top.chosen.figures, answer.table.limits
    told = [
        f"the limit on {limit_words(k)} ({limit_value(k, getattr(limits, k))}; the best has {limit_value(k, found[k])})"
        for k in reached(limits, found)
    ]
    return [f"What holds it back: {joined(told)}."] if told else []


def _no_limit(answer: Answer) -> list[str]:
    if answer.table.limits != LimitsTable():
        return []
    return [
        "The plan sets no limit: closer rows at lower tilt then win per m² of plot as far as the bounds allow. A limit "
        "on panels, rated power or money makes the question real."
    ]


def held_words(held: Held) -> str:
    """What lies on a bound and what lies beyond it."""
    more = held.reason or f"a twentieth of its range further would bring {signed_percent(held.gain)}"
    real = ""
    if held.real:
        real = f"; a limit on {either([limit_words(k) for k in held.real])} would make it a question of the ground"
    told = valued(held.key, held.value)
    return f"{told[0].upper()}{told[1:]} is the {held.bound} bound: {more}{real}."


def _flat(best: LayoutAnswer, of: str) -> list[str]:
    """Values that are as good. of : whose, where it is not the answer's"""
    told = [f"{parted(key)[0]} {span_words(key, values)}" for key, values in best.study.flat.items()]
    whose = f" ({named(of)} alone)" if of else ""
    return [f"As good within 1 %, each by itself{whose}: {joined(told)}."] if told else []


def rule_sentences(review: Review) -> tuple[str, ...]:
    """The spacing rule without shade at midwinter: what it asks for, and what following it blindly costs."""
    answer = review.answer
    best = answer.layouts[answer.best]
    if best.study.winter is None:
        return ()
    pitch = best.study.winter[0]
    asks = f"The rule of no shade from 9 to 15 h at midwinter asks for a pitch of {pitch:g} m"
    if review.rule is None:
        return (f"{asks}, which does not fit on the plot.",)
    return (f"{asks}. {_followed(answer, best.chosen, review.rule)}",)


def _followed(answer: Answer, best: Traced, rule: Traced) -> str:
    change = rule.score / best.score - 1.0
    each = rule.figures["kwh_per_m2_panel"] / best.figures["kwh_per_m2_panel"] - 1.0
    what = f"Following it blindly, other values kept, costs {percent(-change)}" if change < 0 else ""
    if rule.broken:
        over = excess(answer.table.limits, rule.figures)
        limits = joined([f"{limit_words(k)} by {percent(over[k], 0)}" for k in rule.broken])
        what = f"Following it blindly, other values kept, breaks the limit on {limits}"
    elif change >= 0:
        what = f"Following it, other values kept, would bring {percent(change, 2)}: it lies within the search's error"
    return (
        f"{what}: {rule.figures['panels']:.0f} panels instead of {best.figures['panels']:.0f}, each with "
        f"{signed_percent(each)} energy."
    )


def overturning(review: Review) -> str:
    """Which assumption makes another layout the best, or that none of those moved does; empty where none was moved."""
    moved = review.moved
    best = moved.rivals[0].label
    if not moved.moved:
        return ""
    first = moved.moved[0]
    most = (
        f"{named(best)} moves most with {first.move.what} ({first.move.by}: {_span(first.change)})"
        if max(abs(c) for c in first.change) > 0
        else ""
    )
    if len(moved.rivals) < 2:
        return f"What could overturn it: {most}; there is no rival to lose against.{_limits_then(review)}"
    turned = [m for m in moved.moved if m.overturns]
    if turned:
        told = joined([f"{m.move.what} ({m.move.by}; then {_winner(moved, m)})" for m in turned])
        return f"What could overturn it: {told}. {most}.{_limits_then(review)}"
    lead = max(moved.moved, key=_reach)
    return (
        f"What could overturn it: none of the {len(moved.moved)} assumptions that were moved, each by itself. {most}; "
        f"its lead moves most with {lead.move.what} ({lead.move.by}: {_span(lead.leads)}).{_limits_then(review)}"
    )


def _limits_then(review: Review) -> str:
    """Whether the best one keeps the limits that were tested again; empty where there was none to test."""
    moved, answer = review.moved, review.answer
    if not moved.tested:
        return ""
    worst: dict[str, tuple[float, str]] = {}
    for m in moved.moved:
        for figures, breaks, end in zip(m.figures, m.breaks, ("less", "more"), strict=True):
            for key in breaks:
                if key not in worst or figures[key] > worst[key][0]:
                    worst[key] = figures[key], f"{end} of {m.move.what} ({m.move.by})"
    if not worst:
        names = joined([limit_words(k) for k in moved.tested])
        return f" At every end it keeps the limits that hang on them: {names}."
    allowed = {k: limit_value(k, getattr(answer.table.limits, k)) for k in worst}
    told = [f"{limit_words(k)} ({limit_value(k, v)} with {end}, allowed {allowed[k]})" for k, (v, end) in worst.items()]
    return f" Limits it would then break: {joined(told)}."


def _reach(moved: Moved) -> float:
    return max(moved.leads) - min(moved.leads)


def _span(values: tuple[float, float]) -> str:
    return " to ".join(signed_percent(v, 1 if abs(v) >= 0.0095 else 2) for v in values)


def _winner(found: Sensitivity, moved: Moved) -> str:
    numbers = sorted({w for w in moved.winners if w})
    return " or ".join(f"{named(found.rivals[n].label)} leads" for n in numbers)


def overturned(found: Sensitivity, moved: Moved) -> str:
    """Who leads at an end where it is not the best as assumed."""
    ends = [
        f"{named(found.rivals[w].label)}, with {end} of it"
        for w, end in zip(moved.winners, ("less", "more"), strict=True)
        if w
    ]
    return "; ".join(ends) or "the same"
