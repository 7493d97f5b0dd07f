"""The plan file: what it means when it is right. Wrong plans: test_bad_plans."""

from pathlib import Path

import pytest

from layout.plan import (
    InverterTable,
    LossTable,
    PiecesLayout,
    Plan,
    RowsLayout,
    TowersLayout,
    UprightLayout,
    panel_type_of,
    parse_plan,
    read_plan,
)
from layout.plan_tables import OUR_ASSUMPTION
from layout.power.inverter import EURO_WEIGHTS, LOADS, weighted_efficiency

ROOT = Path(__file__).parents[2]

SITE = '[site]\nname = "tannerfold"\n'
ROWS = '[[layout]]\nname = "rows"\nkind = "rows"\ntilt_deg = 20\nazimuth_deg = 180\npitch_m = 4\n'
FENCE = '[[layout]]\nname = "fence"\nkind = "upright"\nazimuth_deg = 90\npitch_m = 6\n'
TOWERS = '[[layout]]\nname = "towers"\nkind = "towers"\nside_m = 2\nheight_m = 4\nspacing_m = 8\n'
PIECE = "[[layout.panel]]\ncorner = [0, 0, 1]\nalong = [1, 0, 0]\nup = [0, 1, 0]\n"
PIECES = '[[layout]]\nname = "own"\nkind = "pieces"\n' + PIECE


def plan_of(*parts: str) -> Plan:
    return parse_plan("".join(parts), "plan.toml", Path())


def types_of(plan: Plan) -> list[str]:
    return [panel_type_of(plan, layout).name for layout in plan.layouts]


def test_kinds_and_defaults() -> None:
    plan = plan_of(SITE, ROWS, FENCE, TOWERS, PIECES)
    rows, fence, towers, own = plan.layouts
    assert isinstance(rows, RowsLayout)
    assert (rows.clearance_m, rows.panels_high, rows.orientation, rows.panel_gap_m) == (
        0.6,
        1,
        "landscape",
        0.02,
    )
    assert isinstance(fence, UprightLayout)
    assert (fence.clearance_m, fence.panels_high, fence.orientation) == (0.6, 1, "landscape")
    assert isinstance(towers, TowersLayout)
    assert (towers.base_height_m, towers.azimuth_deg) == (0.0, 0.0)
    assert towers.faces == ("north", "east", "south", "west", "top")
    assert isinstance(own, PiecesLayout)
    assert own.panel[0].corner == (0.0, 0.0, 1.0)
    assert own.blocker == ()
    assert plan.title == ""
    assert not plan.panel_given
    assert (plan.run.full_cells, plan.run.repetition) == (False, True)


def test_without_a_panel_each_kind_takes_a_bundled_type() -> None:
    assert types_of(plan_of(SITE, ROWS, FENCE, TOWERS, PIECES)) == [
        "mono_glass",
        "bifacial_glass",
        "mono_glass",
        "mono_glass",
    ]
    assert types_of(plan_of(SITE, PIECES, "bifacial = true\n")) == ["bifacial_glass"]
    assert types_of(plan_of(SITE, PIECES, PIECE, "bifacial = true\n")) == ["bifacial_glass"]


def test_the_plans_panel_serves_all_but_layouts_with_their_own() -> None:
    panel = '[panel]\nname = "thin_film"\n'
    plan = plan_of(SITE, panel, ROWS, FENCE, 'panel = "mono_glass"\n', TOWERS, PIECES)
    assert plan.panel_given
    assert types_of(plan) == ["thin_film", "mono_glass", "thin_film", "thin_film"]
    assert plan.warnings == ("layout[1]: upright panels of a type with bifaciality 0; their rears produce nothing",)


def test_pieces_need_no_plot() -> None:
    text = (ROOT / "examples" / "car_port.toml").read_text(encoding="utf-8")
    assert "[plot]" not in text
    assert read_plan(ROOT / "examples" / "car_port.toml").site.plot is None


def test_integers_are_numbers_and_files_count_from_the_plans_folder() -> None:
    plan = read_plan(ROOT / "examples" / "wood_edge.toml")
    assert isinstance(plan.layouts[0], RowsLayout)
    assert isinstance(plan.layouts[0].tilt_deg, float)
    assert plan.folder == ROOT / "examples"
    assert plan.site.plot is not None
    assert len(plan.site.plot.boundary.interiors) == 1
    assert plan.site.skyline.azimuth_deg.size == 8


def test_a_byte_order_mark_and_windows_line_ends_are_taken(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(b"\xef\xbb\xbf" + (SITE + ROWS).replace("\n", "\r\n").encode())
    assert read_plan(path).layouts[0].name == "rows"


def test_losses_say_where_they_come_from() -> None:
    losses = plan_of("[losses]\nsoiling_pct = 2\n", SITE, ROWS).losses
    assert (losses.soiling_source, losses.wiring_source, losses.availability_source) == (
        "the plan",
        OUR_ASSUMPTION,
        OUR_ASSUMPTION,
    )


def test_no_losses_given_are_our_assumption() -> None:
    losses = LossTable()
    sources = {losses.soiling_source, losses.wiring_source, losses.availability_source}
    assert sources == {OUR_ASSUMPTION}


def test_the_inverters_efficiencies_go_with_the_models_loads() -> None:
    inverter = InverterTable()
    assert inverter.ac_limit_kw is None
    assert len(inverter.efficiency_pct) == len(LOADS)
    field = InverterTable.model_fields["efficiency_pct"]
    for load in LOADS:
        assert f"{100 * load:g}" in str(field.description)
    # A range of the trade for inverters without transformer (common practice, no source).
    curve = [e / 100.0 for e in inverter.efficiency_pct]
    assert 0.96 < weighted_efficiency(curve, EURO_WEIGHTS) < 0.985


def test_a_plan_is_frozen() -> None:
    layout = plan_of(SITE, ROWS).layouts[0]
    with pytest.raises(ValueError, match="frozen"):
        layout.name = "other"
