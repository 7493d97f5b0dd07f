"""The report's section on P50 and P90 holds the numbers of the result and names where they come from."""

from layout.report.numbers import number
from layout.report.page import report_page
from layout.report.sentences import five_sentences
from layout.report.uncertainty_section import uncertainty_section
from layout.result import PlanResult


def test_rows_hold_the_results_numbers(small_result: PlanResult) -> None:
    section = uncertainty_section(small_result)
    towers = small_result.uncertainty.layouts["towers"]
    assert ("towers", number(towers.p50_kwh), number(towers.p90_kwh)) in [row[:3] for row in section.ranges.rows]
    assert [row[0] for row in section.differences] == ["rows over upright", "rows over towers", "upright over towers"]
    assert all("our assumption" in source for _, _, source in section.causes)


def test_page_and_sentence_tell_it(small_result: PlanResult) -> None:
    page = report_page(small_result)
    assert "How sure the energies are" in page
    assert number(small_result.uncertainty.layouts["rows"].p90_kwh) in page
    assert "of the draws" in five_sentences(small_result)[3]
