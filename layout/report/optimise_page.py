"""The report on an optimisation: one HTML file that needs nothing else."""

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from layout.optimise.answer import LayoutAnswer
from layout.optimise.cuts import Cut
from layout.optimise.judge import Traced
from layout.optimise.review import Review
from layout.optimise.search import front
from layout.optimise.sensitivity import Moved, Sensitivity
from layout.report.assumptions import assumptions, place_line
from layout.report.figures_optimise import Axis, Cloud, flat_figure, tradeoff_figure
from layout.report.figures_optimise_moves import MOST_BARS, Bar, moves_figure
from layout.report.figures_plot import light_scale, plot_figure
from layout.report.figures_style import INK, embedded
from layout.report.html import page_text
from layout.report.optimise_names import AIMS
from layout.report.optimise_rows import (
    flat_rows,
    layout_rows,
    limit_rows,
    moved_rows,
    position_rows,
    traced_rows,
)
from layout.report.optimise_words import optimise_sentences, rule_sentences
from layout.report.sentences import all_cautions
from sites.conventions import FloatArray

LEAD_MOVERS = 3
"""Of the assumptions shown, at least so many are those that move the lead most."""


def optimise_page(review: Review) -> str:
    """The whole report as HTML text."""
    answer = review.answer
    best, top = answer.layouts[answer.best], review.ranked[0]
    return page_text(
        "optimise.html",
        title=answer.plan.title or "The best layout",
        place=place_line(answer.plan.site),
        sentences=optimise_sentences(review),
        best=best.name,
        top=top.name,
        plan_image=embedded(chosen_figure(review)),
        fit=review.result.layouts[top.name].arrangement.fit,
        candidates=top.positions is not None and top.positions.kind == "sites",
        layouts=layout_rows(review),
        left_out=answer.left_out,
        tradeoff=embedded(tradeoff_figure(clouds(review), best.name)) if len(best.study.points) > 1 else "",
        priced=answer.plan.prices is not None,
        flat_image=embedded(flat_figure(flat_axes(review))) if review.cuts else "",
        flat=flat_rows(answer, best),
        rule=rule_sentences(review),
        limits=limit_rows(answer, top.chosen),
        traced=traced_rows(best),
        positions=position_rows(answer),
        moves_image=embedded(sensitivity_figure(review)) if review.moved.moved else "",
        moved=moved_rows(review),
        rivals=[r.label for r in review.moved.rivals],
        assumptions=assumptions(review.result),
        notes=(*answer.notes, *answer.plan.warnings),
        cautions=all_cautions(review.result),
    )


def chosen_figure(review: Review) -> Figure:
    """The best layout on its plot, to scale; places that were left as small rings, where they are points."""
    top = review.ranked[0]
    result = review.result.layouts[top.name]
    figure = plot_figure(result, review.answer.plan.site.plot, light_scale([result]))
    p = top.positions
    if p is not None and p.kind == "sites":
        left = np.delete(p.at, p.chosen if p.taken else [], axis=0)
        figure.axes[0].scatter(left[:, 0], left[:, 1], s=9, facecolor="none", edgecolor=INK, lw=0.6, zorder=8)
    return figure


def clouds(review: Review) -> list[Cloud]:
    """What was looked at of each layout, at the best shift of its pattern."""
    return [_cloud(review, found) for found in review.answer.layouts.values()]


def _cloud(review: Review, found: LayoutAnswer) -> Cloud:
    figures = review.shifted[found.name]
    kept = np.array([p.violation <= 0 for p in found.study.points], dtype=bool)
    index = np.flatnonzero(kept)
    priced = review.answer.plan.prices is not None
    good = [figures[i] for i in index]
    cheap = [f | {"cheap": -f["cost_per_kwh"]} for f in good] if priced else []
    return Cloud(
        name=found.name,
        per_panel=_of(figures, "kwh_per_m2_panel"),
        per_plot=_of(figures, "kwh_per_m2_plot"),
        cost=_of(figures, "cost_per_kwh") if priced else None,
        kept=kept,
        front=index[front(good, "kwh_per_m2_plot", "kwh_per_m2_panel")].tolist(),
        cost_front=index[front(cheap, "kwh_per_m2_plot", "cheap")].tolist() if priced else [],
        chosen=_place(found.chosen),
    )


def _of(figures: Sequence[dict[str, float]], key: str) -> FloatArray:
    return np.array([f[key] for f in figures], dtype=np.float64)


def _place(found: Traced) -> tuple[float, float, float]:
    f = found.figures
    return f["kwh_per_m2_panel"], f["kwh_per_m2_plot"], f.get("cost_per_kwh", float("nan"))


def flat_axes(review: Review) -> list[Axis]:
    """The cuts through the best layout's best shape."""
    best = review.answer.layouts[review.answer.best]
    return [_axis(cut, best) for cut in review.cuts]


def _axis(cut: Cut, found: LayoutAnswer) -> Axis:
    study, vary = found.study, cut.vary
    top = study.best.score
    values = [p.values[vary.key] for p in study.points]
    flat = study.flat[vary.key]

    def place(value: float | str) -> float:
        return float(vary.choices.index(value)) if isinstance(value, str) else float(value)

    low, high = (0.0, len(vary.choices) - 1.0) if vary.choices else vary.range
    return Axis(
        key=vary.key,
        at=cut.at,
        score=cut.score,
        kept=cut.kept,
        points_at=np.array([place(v) for v in values]),
        points_score=np.array([p.score / top - 1.0 for p in study.points]),
        points_kept=np.array([p.violation <= 0 for p in study.points], dtype=bool),
        words=vary.choices,
        flat=(min(place(v) for v in flat), max(place(v) for v in flat)),
        best=place(study.best.values[vary.key]),
        low=low,
        high=high,
        rule=study.winter[0] if vary.key == "pitch_m" and study.winter is not None else None,
    )


def sensitivity_figure(review: Review) -> Figure:
    """Bars of what each assumption does."""
    table, moved = review.answer.table, review.moved
    aim = AIMS[table.objective][0] if table.second is None else "both aims together"
    if table.objective == "cost_per_kwh" and table.second is None:
        aim = "kWh for the same money"
    bars = [Bar(m.move.what, m.move.by, m.change, m.leads) for m in shown_moves(moved)]
    return moves_figure(bars, moved.lead, aim)


def shown_moves(found: Sensitivity) -> list[Moved]:
    """The assumptions that move the best layout most, and those that move its lead most, the largest change first."""
    by_lead = sorted(found.moved, key=lambda m: -abs(m.leads[1] - m.leads[0])) if len(found.rivals) > 1 else []
    keys = list(dict.fromkeys(m.move.key for m in (*by_lead[:LEAD_MOVERS], *found.moved)))[:MOST_BARS]
    return [m for m in found.moved if m.move.key in keys]
