"""What the report says of reflectors: sentences, tables and pictures against the result they come from."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from layout.plan import parse_plan
from layout.report.assumptions import assumptions
from layout.report.boost_rows import boost_rows, heat_notes, heat_rows, ledger_rows, light_shares
from layout.report.figures_boost import gain_maps, month_hour_grid
from layout.report.sentences import five_sentences
from layout.report.sentences_boost import boost_sentences, boosted, scatters
from layout.report.sheet_rows import sheet_notes, sheet_rows
from layout.result import Boost, LayoutResult, PlanResult


def with_boost(r: LayoutResult, gain: float, **figures: Any) -> LayoutResult:
    """A layout with another gain and other figures of its reflectors."""
    assert r.boost is not None
    bare = r.energy_ac_kwh / (1.0 + gain)
    boost = replace(r.boost, bare_energy_ac_kwh=bare, adjusted=None)
    return replace(r, reflected_gain_fraction=gain, boost=replace(boost, **figures))


def boost_of(r: LayoutResult) -> Boost:
    assert r.boost is not None
    return r.boost


def test_only_layouts_with_sheets_are_told_of(small_result: PlanResult, boosted_result: PlanResult) -> None:
    assert boost_sentences(small_result.layouts) == ()
    assert list(boosted(boosted_result.layouts)) == list(boosted_result.layouts)
    both = small_result.layouts | boosted_result.layouts
    assert len(boost_rows(both).rows) == 3, "covers are told of by themselves"
    assert [row[0] for row in sheet_rows(both).rows] == ["covered", "", ""]
    assert len(ledger_rows(both).rows) == 3, "covers reflect nothing"
    assert len(heat_rows(both).rows) == len(both)


def test_a_gain_is_told_with_its_price(boosted_result: PlanResult) -> None:
    r = with_boost(
        boosted_result.layouts["winged"],
        0.125,
        extra_kwh_per_m2_reflector=61.0,
        bare_kwh_per_m2_panel=244.0,
        break_even_fraction=0.25,
    )
    line = boost_sentences({"winged": r})[0]
    extra = r.energy_ac_kwh - boost_of(r).bare_energy_ac_kwh
    assert f"bring 12.5 % more AC energy ({extra:.0f} kWh a year)" in line
    assert "a m² of reflector brings 61.0 kWh a year where a m² of panel without reflectors gives 244" in line
    assert line.endswith("less than 0.25 of a m² of panel.")


@pytest.mark.parametrize(
    ("gain", "words"),
    [(0.004, "bring nothing to speak of: +0.4 % AC"), (-0.004, "bring nothing to speak of: −0.4 % AC"),
     (-0.08, "cost energy: 8.0 % less AC than the same panels without them")],
)  # fmt: skip
def test_nothing_and_loss_are_said_plainly(boosted_result: PlanResult, gain: float, words: str) -> None:
    line = boost_sentences({"x": with_boost(boosted_result.layouts["mirrored"], gain)})[0]
    assert words in line
    assert "pays" not in line
    assert "breaks even" not in line


def test_wings_that_shade_cost_energy(boosted_result: PlanResult) -> None:
    """Wings at 60° from the panel's plane stand in the sun for most of the day: the year says so itself."""
    assert boosted_result.layouts["winged"].reflected_gain_fraction < -0.05
    assert any("“winged”" in s and "cost energy" in s for s in boost_sentences(boosted_result.layouts))


def test_covers_are_no_reflectors(boosted_result: PlanResult) -> None:
    covered = boosted_result.layouts["covered"]
    effect = covered.sheets
    assert effect is not None
    line = boost_sentences({"covered": covered})
    assert len(line) == 1
    assert line[0].startswith("“covered”: its cover costs")
    assert boost_rows({"covered": covered}).rows == ()
    assert covered.boost is not None
    assert covered.boost.to_dict()["reflector_light"] is None
    rows = [dict(zip(sheet_rows({"covered": covered}).head_words, row[1:], strict=True))
            for row in sheet_rows({"covered": covered}).rows]  # fmt: skip
    assert [row["sheets"] for row in rows] == ["with", "without", "with, cool"]
    assert [float(row["hottest cell °C"]) for row in rows] == pytest.approx(
        [s.hottest_cell_c for s in (effect.with_sheets, effect.without_sheets, effect.freely_cooled) if s], abs=0.5
    )
    assert any("Heat that the panels lose less" in note and "27 % in “covered”" in note for note in sheet_notes(
        {"covered": covered}))  # fmt: skip


@pytest.mark.parametrize(
    ("lost", "brought", "words"),
    [(80.0, 20.0, "Partly in “t”: shadows take 80.0 kWh of beam a year per m² of panel, the reflectors bring 20.0 "
                  "(25 %), 60.0 stay lost."),
     (80.0, 4.0, "Hardly in “t”"),
     (40.0, 50.0, "Yes in “t”: shadows take 40.0 kWh of beam a year per m² of panel, the reflectors bring 50.0 "
                  "(125 %), 10.0 more than was lost."),
     (0.2, 50.0, "In “t” hardly any shadow falls")],
)  # fmt: skip
def test_shadows_of_towers_and_what_comes_back(
    boosted_result: PlanResult, lost: float, brought: float, words: str
) -> None:
    tower = with_boost(boosted_result.layouts["towers"], 0.1, beam_lost_kwh_per_m2=lost, brought_kwh_per_m2=brought)
    assert words in boost_sentences({"t": tower})[1]
    row = replace(tower, kind="rows")
    assert len(boost_sentences({"t": row})) == 1, "asked of towers only"


@pytest.mark.parametrize(
    ("alone", "moved", "verdict", "words"),
    [(0.095, 0.10, "Here it hardly needs any: ", "left alone +9.5 % AC, set by hand to each month's best angle "
                   "+10.0 %, so 95 % of the gain comes without touching it"),
     (0.06, 0.10, "Here it gains by being set: ", "so 60 % of the gain comes without touching it"),
     (0.02, 0.10, "Here it gains by being set: ", "so only 20 % of the gain comes without touching it"),
     (-0.02, 0.10, "Here it gains by being set: ", "so the gain comes only with setting it"),
     (-0.02, 0.003, "", "so it pays neither way")],
)  # fmt: skip
def test_tracking_by_hand(boosted_result: PlanResult, alone: float, moved: float, verdict: str, words: str) -> None:
    adjusted = boost_of(boosted_result.layouts["mirrored"]).adjusted
    assert adjusted is not None
    r = with_boost(boosted_result.layouts["winged"], alone)
    best = boost_of(r).bare_energy_ac_kwh * (1.0 + moved)
    r = replace(r, boost=replace(boost_of(r), adjusted=replace(adjusted, energy_ac_kwh=best)))
    line = boost_sentences({"w": r})[-1]
    assert line.startswith(f"Does a scattering reflector need no tracking? {verdict}“w” (scattering):")
    assert words in line
    mirror = replace(with_boost(boosted_result.layouts["mirrored"], 0.1), name="m")
    kept = boost_of(mirror).bare_energy_ac_kwh * 1.1
    mirror = replace(mirror, boost=replace(boost_of(mirror), adjusted=replace(adjusted, energy_ac_kwh=kept)))
    both = boost_sentences({"w": r, "m": mirror})[-1]
    assert both.startswith(f"Does a scattering reflector need no tracking? {verdict}“w”"), "mirrors are not asked"


def test_mirrors_are_told_from_scattering_sheets(boosted_result: PlanResult) -> None:
    assert [scatters(boosted_result.layouts[n]) for n in ("mirrored", "winged", "towers")] == [False, True, True]
    line = boost_sentences(boosted_result.layouts)[-1]
    assert line.startswith("Do the reflectors need tracking? Here they ")
    assert ": “mirrored” (plane mirror): left alone" in line


def test_what_could_overturn_it_names_reflectors_and_limits(boosted_result: PlanResult) -> None:
    alone = replace(boosted_result, layouts={"winged": boosted_result.layouts["winged"]})
    last = five_sentences(alone)[4]
    assert "the price of reflectors" in last
    assert "panels' makers, whose limits some cells of “winged” pass" in last
    assert "reflectors" not in five_sentences(replace(alone, layouts={"c": boosted_result.layouts["covered"]}))[4]


def test_light_on_reflectors_is_shared_out(boosted_result: PlanResult) -> None:
    for _, boost in boosted(boosted_result.layouts).values():
        shares = light_shares(boost.ledger)
        if boost.ledger.arrived_kwh > 0:
            total = sum(share.fraction for share in shares)
            assert total == pytest.approx(1.0 + boost.ledger.gap_fraction, abs=1e-9)
            assert [share.key for share in shares] == ["reached", "missed", "absorbed", "masked"]
        else:
            assert shares == ()


def test_rows_hold_the_figures(boosted_result: PlanResult) -> None:
    r = boosted_result.layouts["towers"]
    table = boost_rows(boosted_result.layouts)
    values = next(line for line in table.rows if line[0] == "towers")
    row = dict(zip(table.head_words, values[1:], strict=True))
    boost = boost_of(r)
    assert float(row["area m²"]) == pytest.approx(r.reflector_area_m2, rel=5e-3)
    assert float(row["lost to shade¹"]) == pytest.approx(boost.beam_lost_kwh_per_m2, rel=5e-3)
    assert float(row["they bring¹"]) == pytest.approx(boost.brought_kwh_per_m2, rel=5e-3)
    lost, brought, rest = (float(row[k].replace("−", "-")) for k in ("lost to shade¹", "they bring¹", "rest¹"))
    assert rest == pytest.approx(lost - brought, abs=0.11)
    assert float(row["break-even³"]) == pytest.approx(boost.break_even_fraction, rel=0.02)


def test_default_limits_are_said_to_be_ours(boosted_result: PlanResult) -> None:
    r = boosted_result.layouts["winged"]
    kind = replace(r.arrangement.panel_type, max_cell_stated=False, max_light_stated=False)
    ours = {"winged": replace(r, arrangement=replace(r.arrangement, panel_type=kind))}
    assert heat_rows(ours).rows[0][3].endswith("*")
    assert any("85 °C and 1250 W/m²" in note and "maker's data decide" in note for note in heat_notes(ours))
    one = replace(r.arrangement.panel_type, max_light_stated=False)
    (row,) = heat_rows({"winged": replace(r, arrangement=replace(r.arrangement, panel_type=one))}).rows
    assert not row[3].endswith("*")
    assert row[6].endswith("*")
    stated = {"winged": replace(ours["winged"], arrangement=r.arrangement)}
    assert r.arrangement.panel_type.limits_stated
    assert len(heat_notes(stated)) == 1


OWN_SHEETS = """
[site]
name = "tannerfold"
[[layout]]
name = "own"
kind = "pieces"
[[layout.panel]]
corner = [1, 1, 0.5]
along = [1, 0, 0]
up = [0, 0.8, 0.6]
[[layout.reflector]]
corner = [1, 4, 0.1]
along = [1, 0, 0]
up = [0, 0, 1]
total_reflectance = 0.6
slope_rms_deg = [20, 20]
[[layout.diffuser]]
type = "satin_spreader"
corner = [1, 1, 2]
along = [1, 0, 0]
up = [0, 1, 0]
"""


def test_values_of_sheets_are_among_the_assumptions(small_result: PlanResult, boosted_result: PlanResult) -> None:
    """Each type in use once, with its totals at 0° and 60° and where it comes from."""
    found = {line.what: line for line in assumptions(boosted_result)}
    mirror = found["Reflectors of mirrored, towers"]
    assert mirror.value.startswith(
        "mirror: facets reflect 0.92, aged × 0.98, soiled × 0.97; slopes 0° along, 0° across"
    )
    assert mirror.value.endswith("the whole sheet 0.87 at 0° and 0.87 at 60°")
    assert mirror.source == "invented; replace by your own bench values"
    assert found["Reflectors of winged"].value.endswith("the whole sheet 0.85 at 0° and 0.82 at 60°")
    assert found["See-through sheets of covered"].value.startswith("satin_spreader: passes 0.86 of the sunlight")
    assert not any(line.what.startswith(("Reflectors", "See-through")) for line in assumptions(small_result))


def test_sheets_of_a_plans_own_are_told_as_such(boosted_result: PlanResult) -> None:
    plan = parse_plan(OWN_SHEETS, "own.toml", Path())
    layouts = {"own": next(iter(boosted_result.layouts.values()))}
    found = {line.what: line for line in assumptions(replace(boosted_result, plan=plan, layouts=layouts))}
    own = found["Reflectors of own"]
    assert own.value.endswith("the whole sheet 0.60 at 0° and 0.56 at 60°")
    assert own.source == "values of the plan"
    assert found["See-through sheets of own"].value.startswith("satin_spreader: passes 0.86")


def test_month_hour_grid_is_a_mean_on_the_sites_clock() -> None:
    times = pd.date_range("2023-01-01", periods=365 * 24, freq="h", tz="UTC")
    values = np.zeros(len(times))
    values[[4, 28]] = 31.0  # 04 UTC on 1 and 2 January: 07 o'clock three hours east
    grid = month_hour_grid(times, values, "Etc/GMT-3")
    assert grid.shape == (24, 12)
    assert grid[7, 0] == pytest.approx(2 * 31.0 / 31)
    assert np.count_nonzero(grid) == 1


def test_gain_maps_hold_the_extra_energy(boosted_result: PlanResult) -> None:
    """The map's mean by hour and month, times the hours that each stands for, is the extra energy."""
    zone = boosted_result.plan.site.location.time_zone
    found = gain_maps(boosted_result.layouts, zone)
    assert [len(group) for group in found] == [2, 1, 1]
    for group, name in zip(found, ("mirrored", "winged", "towers"), strict=True):
        r = boosted_result.layouts[name]
        index = r.frame.index
        assert isinstance(index, pd.DatetimeIndex)
        local = index.tz_convert(zone)
        count = np.zeros((24, 12))
        np.add.at(count, (local.hour, local.month - 1), r.frame["hours"].to_numpy())
        boost = boost_of(r)
        assert np.nansum(group[0].gain * count) / 1000 == pytest.approx(boost.extra_kwh_per_m2_reflector, rel=1e-6)
        if boost.adjusted is not None:
            extra = (boost.adjusted.energy_ac_kwh - boost.bare_energy_ac_kwh) / r.reflector_area_m2
            assert np.nansum(group[1].gain * count) / 1000 == pytest.approx(extra, rel=1e-6)
            assert group[1].angles_deg == boost.adjusted.angles_deg
