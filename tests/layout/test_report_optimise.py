"""The report of an optimisation: the answer first, all of it in one file, the same numbers everywhere."""

import base64
import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from typing import Any, get_args

import numpy as np
import pytest

from layout.optimise.answer import find_answer, limits_reached
from layout.optimise.review import Review, review
from layout.optimise_tables import LimitsTable, Objective
from layout.plan import parse_plan
from layout.report.files import to_json
from layout.report.numbers import number
from layout.report.optimise_names import AIMS, LIMITS
from layout.report.optimise_page import optimise_page
from layout.report.optimise_rows import layout_rows, limit_rows, moved_rows, position_rows, review_data
from layout.report.optimise_words import optimise_sentences
from layout.report.sun_paths import winter_spacing
from layout.run import run_plan

PLAN = """
title = "Mill yard <old & new>"
[site]
latitude_deg = 41.3
longitude_deg = 20.1
elevation_m = 210
time_zone = "Etc/GMT-1"
albedo = 0.22
[site.climate]
ghi_kwh_per_m2_day = [1.9, 2.7, 3.9, 5.0, 6.1, 6.9, 7.2, 6.3, 4.8, 3.2, 2.1, 1.6]
air_c = [4, 6, 9, 13, 18, 22, 25, 25, 20, 15, 10, 6]
wind_m_s = [3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3]
[plot]
boundary = [[0, 0], [7, -1], [9, 7], [1, 8]]
setback_m = 0.3
[prices]
panel = 100
support_rows = 45
support_towers = 90
upkeep_kw_year = 12
[[layout]]
name = "benches"
kind = "rows"
tilt_deg = 22
azimuth_deg = 180
pitch_m = 2.0
[[layout]]
name = "stacks"
kind = "towers"
side_m = 1.2
height_m = 1.8
base_height_m = 0.4
spacing_m = 4.0
[optimise]
objective = "kwh_per_m2_plot"
evaluations = 7
[[optimise.vary]]
layout = "benches"
key = "pitch_m"
low = 1.6
high = 4.0
step = 0.2
[[optimise.vary]]
layout = "benches"
key = "orientation"
choices = ["landscape", "portrait"]
[[optimise.vary]]
layout = "stacks"
key = "spacing_m"
low = 3.5
high = 5.0
step = 0.5
[optimise.limits]
panels = 16
[optimise.positions]
layouts = ["benches"]
rows_net_m = 0.5
gap_pct = 1
"""


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Review:
    folder = tmp_path_factory.mktemp("optimise")
    return review(find_answer(parse_plan(PLAN, "yard.toml", folder), PLAN, folder), folder)


@pytest.fixture(scope="module")
def page(found: Review) -> str:
    return optimise_page(found)


@pytest.fixture(scope="module")
def reader(page: str, read_page: Callable[[str], Any]) -> Any:
    return read_page(page)


def test_opens_with_the_answer(reader: Any, found: Review) -> None:
    assert reader.findings == list(optimise_sentences(found))
    assert reader.seen.index("ol") < reader.seen.index("img") < reader.seen.index("table")
    best = found.answer.layouts[found.answer.best].chosen.figures
    first = reader.findings[0]
    assert f"“{found.answer.best}”" in first
    assert f"{number(best['kwh_per_m2_plot'])} kWh/m² a year" in first
    assert f"{number(best['energy_ac_kwh'])} kWh a year" in first
    assert f"{best['panels']:.0f} panels" in first


def test_says_what_it_is_better_than_what_is_proven_and_what_could_overturn_it(reader: Any, found: Review) -> None:
    told = " ".join(reader.findings)
    for words in (
        "the plan's own values",
        "Next is “stacks”",
        "How far from the best possible",
        "proves nothing",
        "(proven)",
        "within 1 %",
        "no shade from 9 to 15 h at midwinter",
        "What could overturn it",
    ):
        assert words in told, words
    reached = limits_reached(found.answer, found.ranked[0].name)
    assert ("What holds it back: the limit on panels (16" in told) == ("panels" in reached)
    assert not re.search(r"\.\.|;\.|;;|\bnan\b|\binf\b|None|_", told)


def test_needs_nothing_else(page: str) -> None:
    outside = re.sub(r'src="data:image/svg\+xml;base64,[^"]+"', "", page)
    assert not re.search(r"https?://|url\(|@import|<script|<link", outside)


def test_every_picture_is_whole_and_described(reader: Any) -> None:
    assert len(reader.images) == 4
    for image in reader.images:
        source = image["src"]
        assert source is not None
        assert ET.fromstring(base64.b64decode(source.split(",", 1)[1])).tag.endswith("svg")
        assert image["alt"]


def test_names_are_text_and_nothing_is_unsaid(page: str, reader: Any, found: Review) -> None:
    assert "Mill yard &lt;old &amp; new&gt;" in page
    text = " ".join(" ".join(reader.texts).split())
    for words in (
        "The best on the plot", "Limits of the plan", "Ground against panels and money", "How flat the best is",
        "Places on the plot", "Which assumption moves the answer most", "What was assumed", "Cautions", "local codes",
        "licensed", "our assumption",
    ):  # fmt: skip
        assert words in text
    for line in (*found.result.layouts[found.answer.best].cautions, *found.answer.notes):
        assert " ".join(line.split()) in text
    assert not re.search(r"\bnan\b|\binf\b|None", text)


def test_the_same_review_gives_the_same_page(page: str, found: Review) -> None:
    assert optimise_page(found) == page


def test_energies_are_those_that_compare_gives(found: Review) -> None:
    best = found.answer.layouts[found.answer.best]
    compared = run_plan(found.answer.again, only={best.name}).layouts[best.name]
    assert best.chosen.figures["energy_ac_kwh"] == pytest.approx(compared.energy_ac_kwh, rel=1e-9)
    assert found.result.layouts[best.name].energy_ac_kwh == compared.energy_ac_kwh
    assert found.moved.energies_kwh[0] == pytest.approx(compared.energy_ac_kwh, rel=1e-9)
    assert number(compared.energy_ac_kwh) in layout_rows(found).rows[0]


def test_what_the_plan_has_is_traced_too(found: Review) -> None:
    asked = {name: t.figures["energy_ac_kwh"] for name, t in found.asked.items()}
    plain = run_plan(found.answer.plan).layouts
    assert asked == pytest.approx({name: r.energy_ac_kwh for name, r in plain.items()}, rel=1e-9)
    told = [row[0] for row in layout_rows(found).rows]
    assert told[1::2] == [f"{name}, as in the plan" for name in told[::2]]


def test_the_rule_is_followed_on_the_plot_at_its_pitch(found: Review) -> None:
    """No shade from 9 to 15 h of solar time at the winter solstice: row height over the tangent of the sun's profile
    angle, plus the row's depth (textbook row spacing); sun at declination −23.44°, hour angle 45°."""
    study = found.answer.layouts["benches"].study
    assert study.winter is not None
    assert found.rule is not None
    assert found.rule.layout.pitch_m == study.winter[0]  # type: ignore[union-attr]
    latitude, declination, hour = np.radians([41.3, -23.44, 45.0])
    up = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour)
    south = np.sin(latitude) * np.cos(declination) * np.cos(hour) - np.cos(latitude) * np.sin(declination)
    tilt = np.radians(22.0)
    wide = found.answer.plan.layouts[0]
    assert wide.name == "benches"
    slant = winter_spacing(found.answer.plan.site, np.array([22.0])).pitch[0, -1]
    # The apparent sun of the day stands a little higher than the formula's.
    assert slant == pytest.approx(np.cos(tilt) + np.sin(tilt) * south / up, rel=0.02)


def test_every_cut_passes_through_the_best_and_keeps_to_its_bounds(found: Review) -> None:
    best = found.answer.layouts[found.answer.best].study.best
    assert {c.vary.key for c in found.cuts} == set(best.values)
    for cut in found.cuts:
        assert cut.values[cut.best] == best.values[cut.vary.key]
        assert cut.score[cut.best] == pytest.approx(0.0, abs=1e-12)
        assert cut.kept[cut.best]
        assert (np.diff(cut.at) > 0).all()
        if not cut.vary.choices:
            assert cut.at[0] >= cut.vary.range[0] - 1e-9
            assert cut.at[-1] <= cut.vary.range[1] + 1e-9


def test_tables_tell_limits_proof_and_moves(found: Review) -> None:
    best = found.answer.layouts[found.answer.best]
    assert limit_rows(found.answer, best.chosen).rows[0][:2] == ("panels", "at most 16")
    placed = found.answer.layouts["benches"].positions
    assert placed is not None
    (row,) = position_rows(found.answer).rows
    assert row[0] == "benches"
    assert row[1] == f"{len(placed.chosen)} of {len(placed.at)}"
    assert row[-1] == placed.why
    for rows in (moved_rows(found), layout_rows(found)):
        assert {len(row) for row in rows.rows} == {len(rows.heads) + 1}
    assert len(moved_rows(found).rows) == len(found.moved.moved)


def test_numbers_for_scripts(found: Review) -> None:
    data = json.loads(to_json(review_data(found)))
    assert set(data) == {"as_in_plan", "midwinter_rule_followed", "assumptions_moved"}
    moved = data["assumptions_moved"]
    assert moved["layouts"] == [r.label for r in found.moved.rivals]
    assert moved["lead_fraction"] == pytest.approx(found.moved.lead)
    assert [m["what"] for m in moved["moves"]] == [m.move.key for m in found.moved.moved]
    assert all(len(m["change_fraction"]) == 2 and m["source"] for m in moved["moves"])


def test_every_aim_and_limit_has_words() -> None:
    assert set(AIMS) == set(get_args(Objective))
    assert set(LimitsTable.model_fields) <= set(LIMITS)
