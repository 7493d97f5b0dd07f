"""Two small plans, one with reflectors, each worked out once for all tests of reports and commands; roofs."""

from collections.abc import Callable
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path

import pytest

from layout.arrange import arrange
from layout.arrange.roof import planes_of
from layout.conditions import Conditions, conditions
from layout.plan import RoofLayout, panel_type_of, parse_plan, read_plan
from layout.report.numbers import JOINER, WIDE_SPACE
from layout.result import PlanResult
from layout.retrofit.candidates import Found, find_candidates
from layout.retrofit.places import places_of
from layout.retrofit.refine import Task
from layout.retrofit_table import RetrofitTable
from layout.roof_shapes import roof_panels
from layout.run import plan_settings, run_plan
from sites.weather_files import load_weather

SMALL_PLAN = """\
title = "Orchard corner <two & three>"

[site]
name = "corrawindle"

[plot]
boundary = [[0, 0], [11, -2], [13, 8], [2, 9]]
setback_m = 0.4
slope_deg = 6
slope_azimuth_deg = 330

[[plot.obstacle]]
name = "pump house"
outline = [[9, 4.5], [11, 4.5], [11, 6], [9, 6]]
height_m = 2.6

[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 22
azimuth_deg = 0
pitch_m = 3.4

[[layout]]
name = "upright"
kind = "upright"
azimuth_deg = 85
pitch_m = 5

[[layout]]
name = "towers"
kind = "towers"
side_m = 1.15
height_m = 1.8
base_height_m = 0.4
spacing_m = 5.5
"""

BOOSTED_PLAN = """\
title = "Yard with reflectors"

[site]
name = "corrawindle"

[plot]
boundary = [[0, 0], [6, 0], [6, 5], [0, 5]]

[[layout]]
name = "mirrored"
kind = "rows"
tilt_deg = 40
azimuth_deg = 0
pitch_m = 3.4

[[layout.booster]]
reflector = "mirror"
place = "aisle"
width_m = 1.2
tilt_deg = 10
adjust = "monthly"

[[layout]]
name = "winged"
kind = "rows"
tilt_deg = 22
azimuth_deg = 0
pitch_m = 6
panel_gap_m = 0.9

[[layout.booster]]
reflector = "one_way_spreader"
place = "wings"
sides = ["left", "right"]
depth_m = 0.6
opening_deg = 60

[[layout]]
name = "towers"
kind = "towers"
side_m = 1.1
height_m = 1.8
base_height_m = 0.4
spacing_m = 3.4

[[layout.booster]]
reflector = "matt"
place = "between"
width_m = 1.0
tilt_deg = 10
faces = ["north", "east"]

[[layout.booster]]
reflector = "mirror"
place = "posts"
width_m = 1.0
height_m = 1.0
azimuth_deg = 0

[[layout]]
name = "covered"
kind = "rows"
tilt_deg = 22
azimuth_deg = 0
pitch_m = 6

[layout.cover]
diffuser = "satin_spreader"
gap_m = 0.04
"""

Edits = list[tuple[str, str]]


@dataclass(frozen=True)
class WrongPlan:
    """edits : whole lines (old, new) of the module's good plan;  message : the lines that tell what is wrong"""

    name: str
    edits: Edits
    message: list[str]


def wrong_plans(path: Path) -> list[WrongPlan]:
    """The cases of a file: == name, - old lines, + new lines, ! message."""
    cases = []
    for case in path.read_text(encoding="utf-8").split("== ")[1:]:
        name, *lines = [line for line in case.splitlines() if line]
        blocks: list[tuple[str, list[str]]] = []
        for line in lines:
            if not blocks or blocks[-1][0] != line[0]:
                blocks.append((line[0], []))
            blocks[-1][1].append(line[2:])
        parts = ["\n".join(lines) for mark, lines in blocks if mark in "-+"]
        cases.append(WrongPlan(name, list(zip(parts[::2], parts[1::2], strict=True)), blocks[-1][1]))
    return cases


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """A test that asks for ``wrong`` gets each case of its module's file WRONG_PLANS."""
    if "wrong" in metafunc.fixturenames:
        cases = wrong_plans(metafunc.definition.path.with_name(metafunc.module.WRONG_PLANS))
        names = [case.name for case in cases]
        assert len(set(names)) == len(names) >= metafunc.module.AT_LEAST
        metafunc.parametrize("wrong", cases, ids=names)


@pytest.fixture(scope="session")
def edited() -> Callable[[str, Edits], str]:
    """A plan with some of its lines replaced, each once."""

    def edit(plan: str, edits: Edits) -> str:
        for old, new in edits:
            assert plan.count(f"{old}\n") >= 1, old
            plan = plan.replace(f"{old}\n", f"{new}\n" if new else "", 1)
        return plan

    return edit


VOID = {"meta", "img", "br", "link", "hr"}


class PageReader(HTMLParser):
    """A page's tags, which must be in balance, its texts, its pictures and the findings that it opens with."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[str] = []
        self.images: list[dict[str, str | None]] = []
        self.texts: list[str] = []
        self.findings: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append(tag)
        if tag == "img":
            self.images.append(dict(attrs))
        if tag == "li" and "ol" in self.open:
            self.findings.append("")
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] != "style":
            self.texts.append(data)
            if "ol" in self.open and self.open[-1] == "li":
                self.findings[-1] += data


def may_break(text: str) -> str:
    """Text as it was before its numbers were tied to their units."""
    return text.replace(WIDE_SPACE, " ").replace(JOINER, "")


@pytest.fixture(scope="session")
def read_page() -> Callable[[str], PageReader]:
    """Takes a page apart."""

    def read(page: str) -> PageReader:
        reader = PageReader()
        reader.feed(may_break(page))
        reader.close()
        assert reader.open == []
        return reader

    return read


@pytest.fixture(scope="session")
def small_plan_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small plan as a file."""
    path = tmp_path_factory.mktemp("small") / "small.toml"
    path.write_text(SMALL_PLAN, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def small_result(small_plan_path: Path) -> PlanResult:
    """The small plan's year."""
    return run_plan(read_plan(small_plan_path))


@pytest.fixture(scope="session")
def boosted_plan_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small plan with reflectors and covers as a file."""
    path = tmp_path_factory.mktemp("boosted") / "boosted.toml"
    path.write_text(BOOSTED_PLAN, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def boosted_result(boosted_plan_path: Path) -> PlanResult:
    """Its year."""
    return run_plan(read_plan(boosted_plan_path), processes=2)


@pytest.fixture(scope="session")
def roof_setting() -> Callable[[dict[str, object], RetrofitTable], tuple[Task, Found]]:
    """A roof by the values of its plan (roof_plan.txt), and what might be put there."""
    text = (Path(__file__).parent / "roof_plan.txt").read_text(encoding="utf-8")
    roof, grid = (part.partition("\n")[2] for part in ("\n" + text).split("---"))
    years: dict[object, Conditions] = {}  # the plans' places differ in latitude alone

    def setting(values: dict[str, object], table: RetrofitTable) -> tuple[Task, Found]:
        values = {"right": 9, "top": 7, "edge": 0.0, "at": [1.6, 1.8]} | values
        path = values.pop("path", "")
        plan = parse_plan(roof.format(**values) + grid.format(**values) + str(path), "roof.toml", Path("."))
        layout = plan.layouts[0]
        assert isinstance(layout, RoofLayout)
        arrangement, planes = arrange(plan, layout), planes_of(plan, layout)
        panels = roof_panels(layout, planes, panel_type_of(plan, layout))
        places = places_of(arrangement.scene.panels, panels, planes)
        found = find_candidates(places, planes, arrangement.scene, table, table.reflectors or ("mirror",))
        latitude = values["latitude"]
        if latitude not in years:
            years[latitude] = conditions(plan.site, load_weather(plan.site))
        return Task(arrangement, planes, years[latitude], plan_settings(plan), plan.sheets, table), found

    return setting


DEAR_MODULES = (
    "test_endless",
    "test_optimise_bay",
    "test_optimise_sensitivity",
    "test_report_optimise",
    "test_sheet_effect",
)
"""Their fixtures take seconds."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests that need the boosted year, or one dear fixture of their file, stay in one process, where tests are shared
    out to several."""
    for item in items:
        if "boosted_result" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.xdist_group("boosted"))
        elif item.path.stem in DEAR_MODULES:
            item.add_marker(pytest.mark.xdist_group(item.path.stem))
