"""Tables of an optimisation's report."""

from typing import Any

from layout.optimise.answer import Answer, LayoutAnswer
from layout.optimise.judge import LEAST, Traced
from layout.optimise.place import Positions
from layout.optimise.review import Review
from layout.report.boost_rows import Rows
from layout.report.numbers import NOTHING, number, percent, signed_percent
from layout.report.optimise_names import limit_value, limit_words, parted, span_words, value_words, values_words
from layout.report.optimise_words import overturned

MOST_TRACED_SHOWN = 8


def layout_rows(review: Review) -> Rows:
    """The best of each layout, and each as the plan has it."""
    answer = review.answer
    priced = answer.plan.prices is not None
    heads: tuple[str, ...] = ("values", "panels", "rated\nkW", "AC kWh\na year", "kWh/m²\nplot", "kWh/m²\npanel")
    if priced:
        heads += ("money at the\nbeginning", "money\na kWh")
    heads += ("breaks the limit on",)
    rows = []
    for found in review.ranked:
        placed = found.positions is not None and found.positions.taken
        none = "sharing the plot" if found.mixed else "as in the plan"
        rows.append((found.name, *_figures(found.chosen, priced, "placed one by one" if placed else "", none)))
        asked = review.asked.get(found.name)
        if asked is not None:
            rows.append((f"{found.name}, as in the plan", *_figures(asked, priced, "", "")))
    return Rows(heads, tuple(rows))


def _figures(found: Traced, priced: bool, more: str, none: str) -> tuple[str, ...]:
    f = found.figures
    keys: tuple[str, ...] = ("dc_capacity_kw", "energy_ac_kwh", "kwh_per_m2_plot", "kwh_per_m2_panel")
    keys += ("money", "cost_per_kwh") if priced else ()
    broken = ", ".join(limit_words(k) for k in found.broken) or NOTHING
    told = ", ".join(filter(None, (values_words(found.values) or none, more)))
    return (told, f"{f['panels']:.0f}", *(number(f[k]) for k in keys), broken)


def limit_rows(answer: Answer, found: Traced) -> Rows:
    """What was allowed, what the best takes of it."""
    rows = []
    for key, limit in answer.table.limits:
        if limit is not None:
            has = found.figures[key]
            side = "at least" if key in LEAST else "at most"
            rows.append(
                (limit_words(key), f"{side} {limit_value(key, float(limit))}", limit_value(key, has),
                 percent(has / limit, 0) if limit else NOTHING)
            )  # fmt: skip
    return Rows(("allowed", "the best has", "share"), tuple(rows))


def flat_rows(answer: Answer, found: LayoutAnswer) -> Rows:
    """Each thing that varied: where it might go, where it is, between which values it is as good."""
    held = {h.key: h for h in found.study.held}
    rows = []
    for vary in answer.table.vary:
        if vary.layout != found.name:
            continue
        key, h = vary.key, held.get(vary.key)
        bounds = span_words(key, vary.choices or vary.range)
        beyond = NOTHING if h is None else h.reason or signed_percent(h.gain)
        best, flat = value_words(key, found.chosen.values[key]), span_words(key, found.study.flat[key])
        rows.append((parted(key)[0], bounds, best, flat, beyond))
    return Rows(("might be", "best", "within 1 % of it", "beyond its bound"), tuple(rows))


def traced_rows(found: LayoutAnswer) -> Rows:
    """Shapes traced whole, best first."""
    best = found.traced[0].score
    rows = [
        (
            f"{i + 1}", values_words(t.values) or "as in the plan", f"{t.figures['panels']:.0f}",
            number(t.figures["energy_ac_kwh"]), number(t.figures["kwh_per_m2_panel"]),
            signed_percent(t.score / best - 1.0, 2), ", ".join(limit_words(k) for k in t.broken) or NOTHING,
        )
        for i, t in enumerate(found.traced[:MOST_TRACED_SHOWN])
    ]  # fmt: skip
    heads = ("values", "panels", "AC kWh\na year", "kWh/m²\npanel", "against\nthe first", "breaks the limit on")
    return Rows(heads, tuple(rows))


def position_rows(answer: Answer) -> Rows:
    """What was chosen, proven and traced, a line for each layout that was placed and each pair that shares the plot."""
    rows = [(a.name, *_position(a.positions)) for a in answer.layouts.values() if a.positions is not None]
    rows += [(name, *_position(p)) for name, p in answer.mixed.items()]
    heads = ("chosen of", "proven\ngap", "model\nkWh", "traced\nkWh", "model is\noff by", "solves",
             "without\nplacing kWh", "answer")  # fmt: skip
    return Rows(heads, tuple(rows))


def _position(p: Positions) -> tuple[str, ...]:
    gap = percent(p.gap_fraction, 2) + (", time was up" if p.timed_out else "")
    places = NOTHING if p.kind == "mixed" else f"{len(p.chosen)} of {len(p.at)}"
    return (
        places, gap, number(p.model_kwh), number(p.traced_kwh),
        signed_percent(p.difference_fraction, 2), f"{len(p.rounds)}", number(p.regular_kwh), p.why,
    )  # fmt: skip


def moved_rows(review: Review) -> Rows:
    """Every assumption that was moved: its two ends, the lead that is left, who then leads."""
    moved = review.moved
    paired = len(moved.rivals) > 1
    rows = []
    for m in moved.moved:
        row = [m.move.what, m.move.by, *(signed_percent(c, 2) for c in m.change)]
        if paired:
            row += [*(signed_percent(c, 2) for c in m.leads), overturned(moved, m)]
        if moved.tested:
            row.append(", ".join(limit_words(k) for k in dict.fromkeys([*m.breaks[0], *m.breaks[1]])) or NOTHING)
        rows.append((*row, m.move.source))
    heads: tuple[str, ...] = ("moved by", "less\nof it", "more\nof it")
    if paired:
        heads += ("lead with\nless", "lead with\nmore", "best then")
    if moved.tested:
        heads += ("breaks the\nlimit on",)
    return Rows((*heads, "who says\nhow far"), tuple(rows))


def review_data(review: Review) -> dict[str, Any]:
    """What the report shows beside the answer, as numbers for scripts."""
    moved = review.moved
    names = [r.label for r in moved.rivals]
    return {
        "as_in_plan": {name: _whole(t) for name, t in review.asked.items()},
        "midwinter_rule_followed": None if review.rule is None else _whole(review.rule),
        "assumptions_moved": {
            "layouts": names,
            "lead_fraction": moved.lead,
            "limits_tested": list(moved.tested),
            "moves": [
                {
                    "what": m.move.key,
                    "by": m.move.by,
                    "source": m.move.source,
                    "change_fraction": list(m.change),
                    "lead_fraction": list(m.leads),
                    "best": [names[w] for w in m.winners],
                    "figures": list(m.figures),
                    "breaks": [list(b) for b in m.breaks],
                }
                for m in moved.moved
            ],
        },
    }


def _whole(found: Traced) -> dict[str, Any]:
    return {"values": found.values, "figures": found.figures, "score": found.score, "breaks": list(found.broken)}
