"""The report: one file, complete, that says what it has to say."""

import base64
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from layout.report.page import report_page
from layout.report.sentences import five_sentences
from layout.report.sentences_boost import boost_sentences
from layout.result import PlanResult


@pytest.fixture(scope="module")
def page(small_result: PlanResult) -> str:
    return report_page(small_result)


@pytest.fixture(scope="module")
def reader(page: str, read_page: Callable[[str], Any]) -> Any:
    return read_page(page)


def test_opens_with_the_five_sentences(reader: Any, small_result: PlanResult) -> None:
    assert reader.findings == list(five_sentences(small_result))
    assert reader.seen.index("ol") < reader.seen.index("table") < reader.seen.index("img")


def test_needs_nothing_else(page: str) -> None:
    outside = re.sub(r'src="data:image/svg\+xml;base64,[^"]+"', "", page)
    assert not re.search(r"https?://|url\(|@import|<script|<link", outside)


def test_every_picture_is_whole_and_described(reader: Any, small_result: PlanResult) -> None:
    assert len(reader.images) == 2 * len(small_result.layouts) + 5
    for image in reader.images:
        source = image["src"]
        assert source is not None
        root = ET.fromstring(base64.b64decode(source.split(",", 1)[1]))
        assert root.tag.endswith("svg")
        assert image["alt"]


def test_names_are_shown_as_text(page: str, reader: Any) -> None:
    assert "Orchard corner &lt;two &amp; three&gt;" in page
    assert "Orchard corner <two & three>" in " ".join(reader.texts)


def test_says_all_that_it_should(reader: Any, small_result: PlanResult) -> None:
    text = " ".join(" ".join(reader.texts).split())
    for words in (
        "Steps from sunlight to socket",
        "What was assumed",
        "Cautions",
        "How many panels fit",
        "our assumption",
        "Invented monocrystalline panel",
        "none: nothing is cut off",
        "local codes",
        "Albedo of the ground",
    ):
        assert words in text
    for r in small_result.layouts.values():
        for line in (*r.arrangement.fit, *(step.label for step in r.steps)):
            assert line in text
    for note in small_result.weather_notes:
        assert " ".join(note.split()) in text
    assert not re.search(r"\bnan\b|\binf\b|None", text)


def test_steps_multiply_to_the_energy(small_result: PlanResult) -> None:
    for r in small_result.layouts.values():
        energy = r.steps[0].kwh
        for step in r.steps[1:]:
            energy *= step.factor
        assert energy == pytest.approx(r.energy_ac_kwh, rel=1e-9)


def test_the_same_result_gives_the_same_page(page: str, small_result: PlanResult) -> None:
    assert report_page(small_result) == page


def test_one_layout_without_a_plot_has_a_page(small_result: PlanResult, read_page: Callable[[str], Any]) -> None:
    nothing = {
        "plot_area_m2": float("nan"),
        "kwh_per_m2_plot": float("nan"),
        "kwh_per_m2_plot_endless": float("nan"),
        "light_from_beyond_plot_fraction": float("nan"),
    }
    plan = replace(small_result.plan, site=replace(small_result.plan.site, plot=None))
    alone = {"rows": replace(small_result.layouts["rows"], **nothing)}
    reader = read_page(report_page(replace(small_result, plan=plan, layouts=alone)))
    assert not re.search(r"\bnan\b", " ".join(reader.texts))


def test_reflectors_have_their_sections(boosted_result: PlanResult, read_page: Callable[[str], Any]) -> None:
    reader = read_page(report_page(boosted_result))
    text = " ".join(" ".join(reader.texts).split())
    for words in (
        "What reflectors bring",
        "Where the light on the reflectors goes",
        "When they bring it",
        "Heat and bright spots",
        "from reflectors",
        "break-even",
        "Warranty: Up to",
    ):
        assert words in text
    for sentence in boost_sentences(boosted_result.layouts):
        assert sentence in text
    assert len(reader.images) == 2 * len(boosted_result.layouts) + 6
    assert not re.search(r"\bnan\b|\binf\b|None", text)


def test_every_caution_stands_on_the_page_once(boosted_result: PlanResult, read_page: Callable[[str], Any]) -> None:
    reader = read_page(report_page(boosted_result))
    text = " ".join(" ".join(reader.texts).split()).lower()
    every = {line for r in boosted_result.layouts.values() for line in r.cautions}
    for line in every:
        said = " ".join(line.split(": ", 1)[1].lower().split())
        assert text.count(said) == sum(other.endswith(line.split(": ", 1)[1]) for other in every), line


def test_no_reflectors_no_section(reader: Any) -> None:
    text = " ".join(reader.texts)
    assert "What reflectors bring" not in text
    assert "Heat and bright spots" in text


def test_no_line_may_break_before_or_inside_a_unit(page: str) -> None:
    texts = re.sub(r'src="[^"]+"|<style>.*?</style>', "", page, flags=re.DOTALL)
    assert "kWh\u2060/\u2060m²" in texts
    assert re.findall(r"\d (?:%|kWh|m²|W/|°C)", texts) == []
    assert re.findall(r"(?:kWh|W|%)/(?:m²|kW|K)", texts) == []
