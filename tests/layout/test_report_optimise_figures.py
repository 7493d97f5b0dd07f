"""Pictures of an optimisation: texts apart, the chosen ones marked, limits told, the same bytes again."""

from collections.abc import Callable
from itertools import combinations

import numpy as np
import pytest
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.text import Text

from layout.report.figures_optimise import FLAT_SHOWN, Axis, Cloud, flat_figure, tradeoff_figure
from layout.report.figures_optimise_moves import MOST_BARS, Bar, moves_figure
from layout.report.figures_style import svg

LONG = "terrace {} with a rather long name indeed"


def cloud(name: str, number: int, priced: bool) -> Cloud:
    rng = np.random.default_rng(number)
    panel, plot = rng.uniform(180, 240, 30), rng.uniform(40, 90, 30)
    kept = rng.random(30) > 0.3
    order = sorted(np.flatnonzero(kept), key=lambda i: -plot[i])
    best = [i for k, i in enumerate(order) if panel[i] >= max(panel[j] for j in order[: k + 1])]
    cost = 0.05 + 10 / panel if priced else None
    return Cloud(name, panel, plot, cost, kept, best, best, (230.0, 88.0, 0.09 if priced else float("nan")))


def clouds(count: int, priced: bool) -> list[Cloud]:
    return [cloud(LONG.format(i) if count > 3 else f"l{i}", i, priced) for i in range(count)]


def axis(key: str, words: tuple[str, ...] = (), rule: float | None = None) -> Axis:
    at = np.arange(len(words), dtype=float) if words else np.linspace(2.0, 9.0, 10)
    score = -((at - at[len(at) // 2]) ** 2) / 60.0
    score[-1] = np.nan
    points = np.repeat(at, 2)
    return Axis(
        key, at, score, np.arange(len(at)) > 1, points, np.tile([-0.01, -0.05], len(at)), np.ones(len(points), bool),
        words, (float(at[1]), float(at[-2])), float(at[len(at) // 2]), float(at[0]), float(at[-1]), rule,
    )  # fmt: skip


def bars(count: int) -> list[Bar]:
    what = "what people who keep sheep beneath panels assume of dust"
    return [
        Bar(f"{i} {what}", "± 0.05 %/K", (-0.01 / (i + 1), 0.012 / (i + 1)), (0.03 - 0.01 * i, 0.04))
        for i in range(count)
    ]


WORDS = ("one_way_spreader", "mirror", "matt", "rod_array")
KEYS = ("pitch_m", "tilt_deg", "booster[0].tilt_deg", "booster[1].opening_deg", "panels_high")
MAKERS: dict[str, Callable[[], Figure]] = {
    "trade-off, two": lambda: tradeoff_figure(clouds(2, False), "l1"),
    "trade-off, two with prices": lambda: tradeoff_figure(clouds(2, True), "l0"),
    "trade-off, ten with prices": lambda: tradeoff_figure(clouds(10, True), LONG.format(3)),
    "flat, one": lambda: flat_figure([axis("pitch_m", rule=11.0)]),
    "flat, six": lambda: flat_figure([*(axis(k, rule=1.2) for k in KEYS), axis("booster[0].reflector", WORDS)]),
    "moves": lambda: moves_figure(bars(4), 0.035, "energy per m² of plot"),
    "moves, many": lambda: moves_figure(bars(MOST_BARS), 0.035, "energy at the socket"),
    "moves, alone": lambda: moves_figure(
        [Bar(b.what, b.by, b.change, (float("nan"),) * 2) for b in bars(3)], float("nan"), "both aims together"
    ),
}


def labels(figure: Figure) -> list[Text]:
    """Every text that shows something; ticks beyond an axis' ends are there but not drawn."""
    beyond = set()
    for along in (a for axes in figure.axes for a in (axes.xaxis, axes.yaxis)):
        low, high = sorted(along.get_view_interval())
        for tick in (*along.get_major_ticks(), *along.get_minor_ticks()):
            if not low - 1e-9 <= tick.get_loc() <= high + 1e-9:
                beyond |= {tick.label1, tick.label2}
    hidden = {t for axes in figure.axes if not axes.get_visible() for t in axes.findobj(Text)}
    texts = [t for t in figure.findobj(Text) if isinstance(t, Text) and t not in beyond and t not in hidden]
    return [t for t in texts if t.get_text().strip() and t.get_visible()]


@pytest.mark.parametrize("name", list(MAKERS))
def test_texts_lie_inside_and_apart(name: str) -> None:
    figure = MAKERS[name]()
    figure.draw_without_rendering()
    boxes = [(t.get_text(), t.get_window_extent()) for t in labels(figure)]
    assert [(a, b) for (a, p), (b, q) in combinations(boxes, 2) if p.overlaps(q) and a != b] == []
    for text, box in boxes:
        assert box.x0 >= -1, text
        assert box.y0 >= -1, text
        assert box.x1 <= figure.bbox.x1 + 1, text
        assert box.y1 <= figure.bbox.y1 + 1, text


@pytest.mark.parametrize("name", list(MAKERS))
def test_the_same_input_gives_the_same_bytes(name: str) -> None:
    assert svg(MAKERS[name]()) == svg(MAKERS[name]())


def test_the_chosen_stand_where_they_were_traced_and_the_best_is_largest() -> None:
    figure = tradeoff_figure(clouds(2, True), "l1")
    for axes, x in zip(figure.axes, (230.0, 0.09), strict=True):
        stars = [c for c in axes.collections if isinstance(c, PathCollection) and c.get_sizes()[0] > 100]
        assert len(stars) == 2
        assert stars[-1].get_sizes()[0] == max(s.get_sizes()[0] for s in stars)
        for star in stars:
            assert np.asarray(star.get_offsets()) == pytest.approx(np.array([[x, 88.0]]))
    assert "kWh per m² of plot a year" in figure.axes[0].get_ylabel()
    assert "money per kWh" in figure.axes[1].get_xlabel()


def test_without_prices_there_is_one_picture() -> None:
    assert len(tradeoff_figure(clouds(3, False), "l0").axes) == 1


def test_the_cut_parts_where_limits_begin_and_the_rule_is_drawn() -> None:
    figure = flat_figure([axis("pitch_m", rule=11.0)])
    axes = figure.axes[0]
    low, high = axes.get_ylim()
    assert low == pytest.approx(-100 * FLAT_SHOWN)
    assert high > 0
    assert axes.get_xlim()[1] > 11.0, "the rule lies beyond the bounds and shows"
    dotted = [line for line in axes.lines if line.get_color() == "#8d8577"]
    assert len(dotted) == 2, "what breaks limits, and what cannot be built"
    assert axes.get_xlabel() == "pitch, m"


def test_bars_have_the_changes_and_the_leads_their_ends() -> None:
    told = bars(4)
    left, right = moves_figure(told, 0.035, "energy").axes
    widths = sorted(round(p.get_width(), 6) for c in left.containers for p in c)  # type: ignore[attr-defined]
    assert widths == sorted(round(100 * v, 6) for bar in told for v in bar.change)
    ends = [np.asarray(c.get_offsets())[:, 0] for c in right.collections if isinstance(c, PathCollection)]
    assert ends[0] == pytest.approx([100 * bar.leads[0] for bar in told])
    assert ends[1] == pytest.approx([100 * bar.leads[1] for bar in told])
    assert right.get_xlim()[0] < 0 < right.get_xlim()[1], "where another is best shows"
