"""Figures: colours, labels that do not cover each other, the same bytes from the same result."""

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations

import matplotlib
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from shapely.geometry import box

from layout.report.figures_bars import endless_figure, monthly_figure, yardstick_figure
from layout.report.figures_boost import gain_figure
from layout.report.figures_heat import heat_scales, worst_hour_figure
from layout.report.figures_light import extreme_cells, light_figure, panels_to_draw
from layout.report.figures_plot import light_scale, plot_figure
from layout.report.figures_style import OKABE_ITO, layout_styles, png, svg
from layout.report.figures_sun import beam_lost_figure, sun_path_figure
from layout.result import PlanResult
from sites.plot import Obstacle
from sites.read import list_sites, load_site

MAKERS: dict[str, Callable[[PlanResult], Figure]] = {
    "plot": lambda r: plot_figure(r.layouts["towers"], r.plan.site.plot, light_scale(list(r.layouts.values()))),
    "bars": lambda r: yardstick_figure(r.layouts),
    "endless": lambda r: endless_figure(r.layouts),
    "monthly": lambda r: monthly_figure(r.layouts),
    "beam lost": lambda r: beam_lost_figure(r.layouts, r.plan.site.location.time_zone),
    "sun paths": lambda r: sun_path_figure(r.plan.site),
}


def worst_hour(result: PlanResult, name: str) -> Figure:
    """The worst hour of one layout on the scales of all."""
    r = result.layouts[name]
    assert r.peaks is not None
    return worst_hour_figure(r, r.peaks.worst, heat_scales(result.layouts))


BOOSTED_MAKERS: dict[str, Callable[[PlanResult], Figure]] = {
    "gain": lambda r: gain_figure(r.layouts, r.plan.site.location.time_zone),
    "worst hour": lambda r: worst_hour(r, next(iter(r.layouts))),
    "tall panel": lambda r: worst_hour(r, "towers"),
    "sheets": lambda r: plot_figure(r.layouts["towers"], r.plan.site.plot, light_scale(list(r.layouts.values()))),
}


def labels(figure: Figure) -> list[Text]:
    """Every text that shows something; ticks beyond an axis' ends are there but not drawn."""
    beyond = set()
    for axis in (a for axes in figure.axes for a in (axes.xaxis, axes.yaxis)):
        low, high = sorted(axis.get_view_interval())
        for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
            if not low - 1e-9 <= tick.get_loc() <= high + 1e-9:
                beyond |= {tick.label1, tick.label2}
    texts = [t for t in figure.findobj(Text) if isinstance(t, Text) and t not in beyond]
    return [t for t in texts if t.get_text().strip() and t.get_visible()]


def overlaps(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of texts whose boxes cover each other."""
    figure.draw_without_rendering()
    found = [(t.get_text(), t.get_window_extent()) for t in labels(figure)]
    return [(a, b) for (a, p), (b, q) in combinations(found, 2) if p.overlaps(q) and a != b]


LEGEND = {"setback 0.5 m", "kept free", "reflector", "reflector under panels, as drawn", "upright reflector"}
LONG_NAMES = (*(f"terrace {i} with a rather long name indeed" for i in range(8)), "x")


def many(result: PlanResult) -> PlanResult:
    """Nine layouts, most with names as long as a plan allows."""
    kinds = list(result.layouts.values())
    layouts = {name: replace(kinds[i % len(kinds)], name=name) for i, name in enumerate(LONG_NAMES)}
    return replace(result, layouts=layouts | {"towers": result.layouts["towers"]})


@pytest.mark.parametrize("crowded", [False, True], ids=["three", "ten"])
@pytest.mark.parametrize("name", list(MAKERS))
def test_texts_lie_inside_and_apart(small_result: PlanResult, name: str, crowded: bool) -> None:
    inside_and_apart(MAKERS[name](many(small_result) if crowded else small_result))


@pytest.mark.parametrize("crowded", [False, True], ids=["four", "ten"])
@pytest.mark.parametrize("name", list(BOOSTED_MAKERS))
def test_texts_of_boosted_layouts_lie_inside_and_apart(boosted_result: PlanResult, name: str, crowded: bool) -> None:
    inside_and_apart(BOOSTED_MAKERS[name](many(boosted_result) if crowded else boosted_result))


def inside_and_apart(figure: Figure) -> None:
    """No text on another or cut off."""
    assert overlaps(figure) == []
    for text in labels(figure):
        box = text.get_window_extent()
        assert box.x0 >= -1, text.get_text()
        assert box.y0 >= -1, text.get_text()
        assert box.x1 <= figure.bbox.x1 + 1, text.get_text()
        assert box.y1 <= figure.bbox.y1 + 1, text.get_text()


def test_a_plan_with_everything_on_it_has_room_for_its_words(boosted_result: PlanResult) -> None:
    plot = boosted_result.plan.site.plot
    assert plot is not None
    west, south, _, _ = plot.boundary.bounds
    full = replace(
        plot,
        setback_m=0.5,
        slope_deg=5.0,
        keep_outs=(box(west, south, west + 1, south + 1),),
        obstacles=(Obstacle(box(west + 2, south, west + 3, south + 1), 2.0, "hut"),),
    )
    figure = plot_figure(boosted_result.layouts["towers"], full, light_scale(list(boosted_result.layouts.values())))
    inside_and_apart(figure)
    assert len({t.get_text() for t in labels(figure)} & LEGEND) == len(LEGEND)


@pytest.mark.parametrize("name", list_sites())
def test_months_stand_at_the_curves_and_apart(name: str) -> None:
    figure = sun_path_figure(load_site(name))
    words = {t.get_text() for t in labels(figure)}
    assert {"Dec", "Jun", "Mar · Sep", "N", "E", "S", "W"} <= words
    assert overlaps(figure) == []
    assert not any("%" in word for word in words)


def test_the_gain_is_centred_at_nothing(boosted_result: PlanResult) -> None:
    figure = gain_figure(boosted_result.layouts, boosted_result.plan.site.location.time_zone)
    images = [image for axes in figure.axes for image in axes.get_images()]
    assert len(images) == 4
    for image in images:
        low, high = image.get_clim()
        assert low is not None
        assert high is not None
        assert low == -high
        assert float(np.abs(np.asarray(image.get_array())).max()) <= high
    assert images[0].get_clim() == images[1].get_clim(), "left alone and set each month share a scale"
    words = {t.get_text() for t in labels(figure)}
    assert any(re.fullmatch(r"D\n\d+°", word) for word in words)


def test_the_worst_hour_marks_the_extremes(boosted_result: PlanResult) -> None:
    r = boosted_result.layouts["winged"]
    assert r.peaks is not None
    worst = r.peaks.worst
    figure = worst_hour(boosted_result, "winged")
    words = " ".join(t.get_text() for t in labels(figure))
    assert f"brightest {worst.light_w_m2.max():.0f} W/m²" in words
    assert f"hottest {worst.cell_c.max():.1f} °C" in words
    panel = r.arrangement.scene.panels[worst.panel]
    size = np.array([np.linalg.norm(panel.along), np.linalg.norm(panel.up)])
    for axes, cells in ((figure.axes[0], worst.light_w_m2), (figure.axes[2], worst.cell_c)):
        spot = np.array(axes.lines[-1].get_xydata()).ravel() / size * cells.shape[::-1]
        along, up = np.floor(spot).astype(int)
        assert cells[up, along] == cells.max()


@pytest.mark.parametrize("name", list(BOOSTED_MAKERS))
def test_boosted_figures_repeat_byte_by_byte(boosted_result: PlanResult, name: str) -> None:
    assert svg(BOOSTED_MAKERS[name](boosted_result)) == svg(BOOSTED_MAKERS[name](boosted_result))


@pytest.mark.parametrize("name", list(MAKERS))
def test_the_same_result_gives_the_same_bytes(small_result: PlanResult, name: str) -> None:
    once, again = svg(MAKERS[name](small_result)), svg(MAKERS[name](small_result))
    assert once == again
    assert b"<dc:date>" not in once


def test_drawing_leaves_no_state(small_result: PlanResult) -> None:
    before = dict(matplotlib.rcParams)
    png(yardstick_figure(small_result.layouts))
    assert dict(matplotlib.rcParams) == before


def test_layout_colours_are_okabe_itos_with_hatches() -> None:
    """Values: Okabe & Ito, Color Universal Design (2008)."""
    assert OKABE_ITO[:3] == ("#E69F00", "#56B4E9", "#009E73")
    styles = list(layout_styles([f"layout {i}" for i in range(16)]).values())
    assert len({(s.colour, s.hatch) for s in styles}) == 16
    assert len({s.hatch for s in styles[:8]}) == 8


def test_colours_of_layouts_stay_apart_for_colour_blind_eyes() -> None:
    """Simulated protanopia and deuteranopia, matrices for linear RGB of Viénot, Brettel & Mollon (1999), from
    memory; between neighbours in the order, lightness or hue differs by more than a just visible step."""
    blind = {
        "protan": [[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]],
        "deutan": [[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]],
    }
    rgb = np.array([[int(c[i : i + 2], 16) / 255 for i in (1, 3, 5)] for c in OKABE_ITO[:4]]) ** 2.2
    for matrix in blind.values():
        seen = np.clip(rgb @ np.array(matrix).T, 0, 1) ** (1 / 2.2)
        for one, other in combinations(seen, 2):
            assert np.abs(one - other).max() > 0.08


def test_monthly_bars_hold_the_year(small_result: PlanResult) -> None:
    figure = monthly_figure(small_result.layouts)
    axes = figure.axes[0]
    factor = 1000.0 if "MWh" in axes.get_ylabel() else 1.0
    for container, r in zip(axes.containers, small_result.layouts.values(), strict=True):
        total = sum(bar.get_height() for bar in container) * factor  # type: ignore[attr-defined]
        assert total == pytest.approx(r.energy_ac_kwh, rel=1e-9)


def test_bars_show_the_result(small_result: PlanResult) -> None:
    figure = yardstick_figure(small_result.layouts)
    for axes, key in zip(figure.axes, ("kwh_per_m2_plot", "kwh_per_m2_panel", "kwh_per_kw"), strict=True):
        widths = [bar.get_width() for c in axes.containers for bar in c]  # type: ignore[attr-defined]
        assert widths == pytest.approx([getattr(r, key) for r in small_result.layouts.values()])


def test_figures_without_a_plot_and_without_numbers(small_result: PlanResult) -> None:
    nothing = {"kwh_per_m2_plot": np.nan, "kwh_per_m2_plot_endless": np.nan}
    layouts = {name: replace(r, **nothing) for name, r in small_result.layouts.items()}
    texts = [t.get_text() for t in labels(endless_figure(layouts))]
    assert texts.count("–") == 6
    site = replace(small_result.plan.site, plot=None)
    sun_path_figure(site)
    plot_figure(small_result.layouts["upright"], None, light_scale(list(layouts.values())))


def test_light_picture_marks_extremes_and_says_what_is_left_out(small_result: PlanResult) -> None:
    panels = small_result.layouts["rows"].arrangement.scene.panels * 3
    light = [np.full(p.cells, 500.0 + k) for k, p in enumerate(panels)]
    light[-1][2, 1] = 7.0
    light[0][3, 4] = 990.0
    dim, bright = extreme_cells(light)
    assert (dim.panel, dim.up, dim.along, dim.w_m2) == (len(panels) - 1, 2, 1, 7.0)
    assert (bright.panel, bright.up, bright.along, bright.w_m2) == (0, 3, 4, 990.0)
    drawn = panels_to_draw(light)
    assert {0, len(panels) - 1} <= set(drawn)
    figure = light_figure(panels, light, [False] * len(panels), "title")
    words = " ".join(t.get_text() for t in labels(figure))
    assert "brightest cell: 990 W/m²" in words
    assert re.search(rf"{len(drawn)} of {len(panels)} panels drawn", words) or len(drawn) == len(panels)
    assert overlaps(figure) == []


def test_even_light_has_no_brightest_cell(small_result: PlanResult) -> None:
    panels = small_result.layouts["rows"].arrangement.scene.panels
    figure = light_figure(panels, [np.full((6, 20), 700.2)] * len(panels), [False] * len(panels), "noon")
    words = " ".join(t.get_text() for t in labels(figure))
    assert "Every cell gets 700 W/m²." in words
    assert "brightest" not in words
    assert not any(axes.lines for axes in figure.axes)
