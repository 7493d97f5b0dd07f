"""The README tells every command, plan key and result key, in the words of the program.

``python tests/layout/test_report_readme.py`` prints the table of plan keys for the README.
"""

import re
from pathlib import Path
from typing import Any

import pytest

import layout
from layout.booster_tables import PLACES
from layout.cli import _parser
from layout.hot_water_table import HotWaterTable
from layout.optimise_tables import LimitsTable, OptimiseTable, PositionsTable, PricesTable, VaryTable
from layout.plan import KEYS
from layout.plan_tables import (
    LAYOUT_KINDS,
    InverterTable,
    LossTable,
    NamedPanelTable,
    PanelPieceTable,
    PanelTable,
    PieceTable,
    RunTable,
)
from layout.report.demo import starter_plan
from layout.result import PlanResult
from layout.retrofit_table import RetrofitTable
from layout.roof_tables import ROOF_TABLES
from layout.sheet_tables import (
    CoverTable,
    DiffuserPieceTable,
    DiffuserTable,
    ReflectorPieceTable,
    ReflectorTable,
)
from layout.uncertainty_table import UncertaintyTable
from layout.wiring_tables import StringTable, WiringTable
from sites.read import ClimateTable, KeepOutTable, NamedSiteTable, ObstacleTable, PlotTable, SiteTable
from sites.tables import Table

ROOT = Path(__file__).parents[2]

TABLES: tuple[tuple[str, type[Table]], ...] = (
    ("[site]", NamedSiteTable),
    ("[site]", SiteTable),
    ("[site.climate]", ClimateTable),
    ("[plot]", PlotTable),
    ("[[plot.keep_out]]", KeepOutTable),
    ("[[plot.obstacle]]", ObstacleTable),
    ("[panel]", NamedPanelTable),
    ("[panel]", PanelTable),
    ("[[reflector]]", ReflectorTable),
    ("[[diffuser]]", DiffuserTable),
    ("[inverter]", InverterTable),
    ("[losses]", LossTable),
    ("[wiring]", WiringTable),
    ("[[wiring.string]]", StringTable),
    ("[uncertainty]", UncertaintyTable),
    ("[hot_water]", HotWaterTable),
    ("[run]", RunTable),
    ("[optimise]", OptimiseTable),
    ("[[optimise.vary]]", VaryTable),
    ("[optimise.limits]", LimitsTable),
    ("[optimise.positions]", PositionsTable),
    ("[prices]", PricesTable),
    ("[retrofit]", RetrofitTable),
    *((f'[[layout]] "{kind}"', model) for kind, model in LAYOUT_KINDS.items()),
    ("[[layout.panel]]", PanelPieceTable),
    ("[[layout.blocker]]", PieceTable),
    ("[[layout.reflector]]", ReflectorPieceTable),
    ("[[layout.diffuser]]", DiffuserPieceTable),
    *((f'[[layout.booster]] "{place}"', model) for place, model in PLACES.items()),
    *ROOF_TABLES,
    ("[layout.cover]", CoverTable),
)


def _default(value: Any) -> str:
    """A default as the plan file would say it."""
    if value is None or value == () or value == " " or isinstance(value, Table):
        return "none"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple):
        return "[" + ", ".join(_default(item) for item in value) + "]"
    return f"{value:g}"


def key_rows() -> list[str]:
    """One row of the README's table for each key of a plan file."""
    rows = ["| `title` | one line | text | none |"]
    for name, model in TABLES:
        for key, field in model.model_fields.items():
            extra = field.json_schema_extra
            assert isinstance(extra, dict), f"{model.__name__}.{key} says nothing about itself"
            default = "needed" if field.is_required() else _default(field.default)
            rows.append(f"| {name} `{key}` | {field.description} | {extra['accepts']} | {default} |")
    return rows


@pytest.fixture(scope="module")
def readme() -> str:
    return (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("row", key_rows())
def test_every_plan_key_has_its_row(readme: str, row: str) -> None:
    assert row in readme.splitlines()


def test_no_row_tells_of_a_key_that_is_not_there(readme: str) -> None:
    table = readme.split("## Keys of a plan file")[1].split("\n## ")[0]
    rows = [line for line in table.splitlines() if re.match(r"\| (\[|`title)", line)]
    assert sorted(rows) == sorted(key_rows())


def test_every_table_of_a_plan_is_known_here() -> None:
    told = {re.sub(r"[\[\]\"]", "", name).split()[0].split(".")[0] for name, _ in TABLES} | {"title"}
    assert told == set(KEYS)


def keys_in(value: Any) -> set[str]:
    """Every key of nested mappings."""
    if not isinstance(value, dict):
        return set()
    return set(value) | {key for inner in value.values() for key in keys_in(inner)}


def test_every_key_of_a_boosted_result_has_a_row(readme: str, boosted_result: PlanResult) -> None:
    table = readme.split("## Keys of a result")[1].split("\n## ")[0]
    told = set(re.findall(r"`([a-z0-9_]+)`", table))
    for r in boosted_result.layouts.values():
        found = keys_in(r.to_dict()["boost"]) | {"boost"}
        assert found - told == set()
    mirrored = keys_in(boosted_result.layouts["mirrored"].to_dict()["boost"])
    assert {"adjusted_monthly", "gap_fraction", "break_even_fraction"} <= mirrored


def test_every_result_key_has_a_row(readme: str, small_result: PlanResult) -> None:
    table = readme.split("## Keys of a result")[1].split("\n## ")[0]
    told = set(re.findall(r"`([a-z0-9_]+)`", table))
    found = small_result.to_dict(per_panel=True)
    keys = set(found)
    for told_layout in found["layouts"].values():
        keys |= (
            set(told_layout) | set(told_layout["per_panel"]) | {key for step in told_layout["steps"] for key in step}
        )
        keys |= set(told_layout["limits"]) | set(told_layout["limits"]["worst_hour"])
    keys |= set(small_result.layouts["rows"].frame.columns)
    assert keys - told == set()


def test_every_command_has_a_row_and_no_other_is_promised(readme: str) -> None:
    actions = [a for a in _parser()._actions if a.dest == "command"]
    assert actions[0].choices is not None
    commands = set(actions[0].choices)
    table = readme.split("## Commands")[1].split("\n## ")[0]
    assert set(re.findall(r"`brightacre ([a-z]+)", table)) == commands


def test_two_commands_stand_first(readme: str) -> None:
    blocks = re.findall(r"```sh\n(.*?)```", readme, flags=re.DOTALL)
    assert len(blocks) == 2
    assert all(len(block.strip().splitlines()) == 1 for block in blocks)
    assert "brightacre compare" in blocks[0]
    assert "pytest" in blocks[1]


def test_python_example_runs(
    readme: str, small_result: PlanResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    block = re.findall(r"```python\n(.*?)```", readme, flags=re.DOTALL)[0]
    (tmp_path / "my_plot.toml").write_text(starter_plan(), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(layout, "run_plan", lambda plan: small_result)
    names: dict[str, Any] = {}
    exec(block, names)
    # The panel is tilted by atan(0.5 / 0.9) = 29.05° toward a sun 30° up: 1000 W/m² × cos(60° − 29.05°).
    assert names["m"].total[0].shape == (1, 6, 10)
    assert names["m"].total[0].mean() == pytest.approx(1000 * 0.8576, rel=1e-3)


def test_changelog_comes_last(readme: str) -> None:
    assert re.findall(r"^## (.*)$", readme, flags=re.MULTILINE)[-1] == "Changelog"


if __name__ == "__main__":
    print("\n".join(key_rows()))
