"""Five sentences: who leads, by how much, how sure, what could overturn it."""

from dataclasses import replace

import numpy as np
import pytest

from layout.optimise_tables import PricesTable
from layout.report.sentences import all_cautions, endless_sentence, five_sentences, lead
from layout.result import LayoutResult, PlanResult


def changed(result: PlanResult, **figures: dict[str, float]) -> PlanResult:
    """The result with some figures of some layouts set."""
    layouts: dict[str, LayoutResult] = {
        name: replace(r, **figures.get(name, {}))  # type: ignore[arg-type]
        for name, r in result.layouts.items()
    }
    return replace(result, layouts=layouts)


def by_plot(rows: float, upright: float, towers: float) -> dict[str, dict[str, float]]:
    values = {"rows": rows, "upright": upright, "towers": towers}
    return {name: {"kwh_per_m2_plot": v, "kwh_per_m2_plot_endless": v} for name, v in values.items()}


def test_leader_and_distance(small_result: PlanResult) -> None:
    first = five_sentences(changed(small_result, **by_plot(100.0, 80.0, 60.0)))[0]
    assert first == "Per m² of plot, “rows” gives most: 100 kWh a year, 25 % more than “upright” (80.0)."


def test_far_ahead_is_told_as_a_multiple(small_result: PlanResult) -> None:
    first = five_sentences(changed(small_result, **by_plot(10.0, 20.0, 60.0)))[0]
    assert "60.0 kWh a year, 3.0 times as much as “upright” (20.0)" in first


@pytest.mark.parametrize(("second", "tie"), [(98.5, True), (97.0, False)])
def test_small_leads_are_ties(small_result: PlanResult, second: float, tie: bool) -> None:
    sentences = five_sentences(changed(small_result, **by_plot(100.0, second, 60.0)))
    assert ("too close to call" in sentences[0]) == tie
    found = lead(changed(small_result, **by_plot(100.0, second, 60.0)).layouts, "kwh_per_m2_plot")
    assert found is not None
    assert found.tie == tie


@pytest.mark.parametrize(
    ("second", "words"),
    [
        (97.8, "gives most: 100 kWh a year, 2.2 % more than"),
        (98.035, "gives most: 100 kWh a year, just above 2 % more than"),
        (98.06, "are too close to call: 1.98 % apart."),
        (98.5, "are too close to call: 1.5 % apart."),
    ],
)
def test_a_lead_reads_on_its_side_of_the_limit(small_result: PlanResult, second: float, words: str) -> None:
    sentences = five_sentences(changed(small_result, **by_plot(100.0, second, 60.0)))
    assert words in sentences[0]
    assert "leads of 2 % and more stand" in sentences[3] or "apart" not in words


def test_neighbours_may_turn_the_order(small_result: PlanResult) -> None:
    figures = by_plot(100.0, 80.0, 130.0)
    figures["towers"]["kwh_per_m2_plot_endless"] = 90.0
    last = five_sentences(changed(small_result, **figures))[4]
    assert "neighbours who build the same (per m² of plot “rows” then leads with 100 kWh)" in last
    figures["towers"]["kwh_per_m2_plot_endless"] = 110.0
    last = five_sentences(changed(small_result, **figures))[4]
    assert "the lead per m² of plot then falls from 30 to 10 %" in last


def test_costs_are_named_when_the_leader_needs_more_panels(small_result: PlanResult) -> None:
    figures = by_plot(100.0, 80.0, 130.0)
    figures["towers"]["dc_capacity_kw"] = 30.0
    figures["rows"]["dc_capacity_kw"] = 12.0
    last = five_sentences(changed(small_result, **figures))[4]
    assert "“towers” takes 2.5 times the panel power of “rows”" in last


def test_how_sure_names_one_year_the_error_and_the_spread(small_result: PlanResult) -> None:
    sure = five_sentences(small_result)[3]
    for words in ("one year made from monthly means", "0.3 %", "5 % (our assumption)"):
        assert words in sure


def test_one_layout_alone(small_result: PlanResult) -> None:
    alone = replace(small_result, layouts={"rows": small_result.layouts["rows"]})
    sentences = five_sentences(alone)
    assert "no other layout to rank it against" in sentences[0]
    assert "a layout that was not tried" in sentences[4]


def test_no_plot_is_said_not_ranked(small_result: PlanResult) -> None:
    nothing = {"kwh_per_m2_plot": np.nan, "kwh_per_m2_plot_endless": np.nan}
    result = changed(small_result, rows=nothing, upright=nothing, towers=nothing)
    sentences = five_sentences(result)
    assert sentences[0] == "Per m² of plot there is nothing to say: the plan has none."
    assert "nan" not in " ".join(sentences).lower()


def test_endless_sentence_gives_the_borrowed_light(small_result: PlanResult) -> None:
    result = changed(small_result, towers={"light_from_beyond_plot_fraction": 0.314})
    sentence = endless_sentence(result)
    assert "“towers” 31 %" in sentence
    assert sentence.count(".") == 1


def test_cautions_are_told_once_with_their_layouts(small_result: PlanResult) -> None:
    layouts = {
        name: replace(r, cautions=("shared by all", "Heat: hot cells") if name != "upright" else ("shared by all",))
        for name, r in small_result.layouts.items()
    }
    lines = all_cautions(replace(small_result, layouts=layouts))
    assert lines[:2] == ("shared by all", "rows, towers: Heat: hot cells")
    assert any("local codes" in line and "licensed" in line for line in lines)


def test_small_leads_are_told_to_a_tenth(small_result: PlanResult) -> None:
    first = five_sentences(changed(small_result, **by_plot(100.0, 96.7, 60.0)))[0]
    assert "3.4 % more than “upright” (96.7)" in first


def test_nothing_is_not_told_as_a_lead(small_result: PlanResult) -> None:
    sentences = five_sentences(changed(small_result, **by_plot(0.0, 0.0, 0.0)))
    assert sentences[0] == "Per m² of plot, no layout gives any energy; the warnings and cautions tell why."
    assert "of the draws" not in sentences[3]


def test_the_plans_prices_say_whether_cost_turns_the_order(small_result: PlanResult) -> None:
    prices = PricesTable(panel=100.0, support_rows=50.0, support_upright=50.0, support_towers=900.0)
    priced = replace(small_result, plan=replace(small_result.plan, prices=prices))
    last = five_sentences(changed(priced, **by_plot(80.0, 70.0, 100.0)))[4]
    assert "by the plan's prices a kWh of “" in last
    assert "of “towers”)" in last
    assert "not in these figures" not in last
    last = five_sentences(changed(priced, **by_plot(100.0, 70.0, 80.0)))[4]
    assert "by these a kWh of “rows” costs least, too" in last
