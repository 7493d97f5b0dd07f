"""Wrong plans: each with the one line that tells what is wrong, and no other."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from layout.arrange import arrange
from layout.plan import parse_plan, read_plan
from sites.errors import InputError

GOOD = """\
title = "good"
[site]
latitude_deg = 41.2
longitude_deg = 16.1
elevation_m = 220
time_zone = "Etc/GMT-1"
albedo = 0.2
skyline = [[10, 3.0], [200, 1.0]]
[site.climate]
ghi_kwh_per_m2_day = [1.9, 2.7, 3.9, 5.0, 6.2, 6.9, 7.1, 6.2, 4.7, 3.3, 2.1, 1.6]
air_c = [6, 7, 9, 13, 18, 22, 25, 25, 21, 16, 11, 7]
wind_m_s = [4, 4, 4, 4, 3, 3, 3, 3, 3, 4, 4, 4]
[plot]
boundary = [[0, 0], [40, 0], [40, 30], [0, 30]]
setback_m = 2
slope_deg = 0
slope_azimuth_deg = 180
[[plot.keep_out]]
outline = [[5, 5], [9, 5], [9, 9]]
[[plot.obstacle]]
outline = [[30, 20], [36, 20], [36, 26], [30, 26]]
height_m = 4
[panel]
length_m = 1.8
width_m = 1.1
cells = [20, 6]
half_cut = true
bypass_groups = 3
pmax_w = 420
vmp_v = 32.3
imp_a = 13.0
voc_v = 38.6
isc_a = 13.75
alpha_isc_pct_per_k = 0.05
beta_voc_pct_per_k = -0.26
gamma_pmax_pct_per_k = -0.34
[inverter]
ac_limit_kw = 60
[losses]
soiling_pct = 2
[run]
repetition = true
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 25
azimuth_deg = 180
pitch_m = 4
[[layout]]
name = "fence"
kind = "upright"
azimuth_deg = 90
pitch_m = 6
panel = "bifacial_glass"
[[layout]]
name = "towers"
kind = "towers"
side_m = 2
height_m = 4
spacing_m = 7
[[layout]]
name = "own"
kind = "pieces"
[[layout.panel]]
corner = [1, 1, 0.5]
along = [1, 0, 0]
up = [0, 0.8, 0.6]
"""

SITE = GOOD[GOOD.index("[site]") : GOOD.index("[plot]")]
CLIMATE = GOOD[GOOD.index("[site.climate]") : GOOD.index("[plot]")]
PLOT = GOOD[GOOD.index("[plot]") : GOOD.index("[panel]")]
BOUNDARY = "boundary = [[0, 0], [40, 0], [40, 30], [0, 30]]"
DATASHEET = GOOD[GOOD.index("length_m") : GOOD.index("[inverter]")]
LAYOUTS = GOOD[GOOD.index("[[layout]]") :]
PIECES = GOOD[GOOD.index("[[layout.panel]]") :]

DIGITS = "9" * 400

BLOCKS = {
    "{SITE}": SITE,
    "{CLIMATE}": CLIMATE,
    "{PLOT}": PLOT,
    "{DATASHEET}": DATASHEET,
    "{LAYOUTS}": LAYOUTS,
    "{PIECES}": PIECES,
    "{BOUNDARY}": BOUNDARY,
    "{DIGITS}": DIGITS,
}


@dataclass(frozen=True)
class Wrong:
    """A wrong plan: edits (old, new) of whole lines or parts of one, and the lines of its message."""

    name: str
    edits: list[tuple[str, str]]
    message: list[str]


def wrong_plans() -> list[Wrong]:
    """The cases of bad_plans.txt."""
    cases = []
    text = (Path(__file__).parent / "bad_plans.txt").read_text(encoding="utf-8")
    for case in text.split("== ")[1:]:
        name, *lines = case.splitlines()
        pieces: list[tuple[str, list[str]]] = []
        for line in filter(None, lines):
            if not pieces or pieces[-1][0] != line[0]:
                pieces.append((line[0], []))
            pieces[-1][1].append(line[2:])
        parts = [_block(lines) for mark, lines in pieces if mark in "-+"]
        edits = list(zip(parts[::2], parts[1::2], strict=True))
        cases.append(Wrong(name, edits, pieces[-1][1]))
    return cases


def _block(lines: list[str]) -> str:
    text = "\n".join(lines)
    for name, block in BLOCKS.items():
        text = text.replace(name, block.rstrip("\n"))
    return text


WRONG = wrong_plans()

FILES = {
    "year.csv": "time,ghi,dni,dhi,air_c,wind_m_s\n",
    "header.csv": "direction,height\n10,3\n",
    "line.csv": "# far hills\nazimuth_deg,elevation_deg\n10,3\n20,high\n",
    "order.csv": "azimuth_deg,elevation_deg\n\n90,3\n20,4\n",
    "point.geojson": '{"type": "Point", "coordinates": [16.1, 41.2]}',
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, content in FILES.items():
        (tmp_path / name).write_text(content, encoding="utf-8")
    return tmp_path


def test_the_plan_that_all_are_made_from_is_good(folder: Path) -> None:
    assert parse_plan(GOOD, "good.toml", folder).warnings == ()


def edited(edits: list[tuple[str, str]]) -> str:
    """The good plan with some of its text replaced."""
    plan = GOOD
    for old, new in edits:
        assert old in plan
        plan = plan.replace(old, new, 1)
    return plan


def test_there_are_many() -> None:
    assert len({case.name for case in WRONG}) == len(WRONG) >= 100


@pytest.mark.parametrize("case", WRONG, ids=lambda case: case.name)
def test_wrong_plan(case: Wrong, folder: Path) -> None:
    with pytest.raises(InputError) as error:
        parse_plan(edited(case.edits), "bad.toml", folder)
    assert str(error.value).splitlines() == case.message


def test_all_faults_at_once(folder: Path) -> None:
    plan = GOOD.replace("latitude_deg = 41.2", "latitude_deg = 95").replace("setback_m = 2", "setback_m = -1")
    plan = plan.replace("vmp_v = 32.3", "vmp_v = 42.3").replace("pitch_m = 6", "pitch_m = 600")
    plan = plan.replace("[run]", "[runs]").replace("spacing_m = 7", "spacing_m = 1")
    with pytest.raises(InputError) as error:
        parse_plan(plan, "bad.toml", folder)
    assert [fault.key for fault in error.value.faults] == [
        "runs",
        "panel.vmp_v",
        "panel.pmax_w",
        "layout[1].pitch_m",
        "site.latitude_deg",
        "plot.setback_m",
    ]


def message(path: Path) -> str:
    with pytest.raises(InputError) as error:
        read_plan(path)
    return str(error.value)


def test_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "none.toml"
    assert message(path) == f"{path}: file: found {str(path)!r}, no such file; accepted: a plan file"


def test_folder_for_a_file(tmp_path: Path) -> None:
    assert message(tmp_path).endswith("is a directory; accepted: a plan file")


def test_no_text(tmp_path: Path) -> None:
    path = tmp_path / "photo.toml"
    path.write_bytes(b"\xff\xd8\xff\xe0\x00\x10")
    assert message(path).endswith("not UTF-8 text; accepted: a text file in UTF-8")


TINY = edited(
    [(BOUNDARY, "boundary = [[0, 0], [1.7, 0], [1.7, 1.9], [0, 1.9]]"), ("setback_m = 2", "setback_m = 0")]
).replace(PLOT[PLOT.index("[[plot.keep_out]]") :], "")


@pytest.mark.parametrize(
    ("index", "line"),
    [
        (
            0,
            "room for a single panel; 1 more panel of the same pattern touches the plot but does not fit: ",
        ),
        (
            2,
            "room for a single panel; 1 more tower of the same pattern touches the plot but does not fit: ",
        ),
    ],
)
def test_no_room_for_a_single_panel(index: int, line: str, folder: Path) -> None:
    plan = parse_plan(TINY, "bad.toml", folder)
    with pytest.raises(InputError) as error:
        arrange(plan, plan.layouts[index])
    assert line in str(error.value)
    assert f"bad.toml: layout[{index}]: found no " in str(error.value)
    assert "across the boundary; accepted: a layout of which some part fits on the plot" in str(error.value)
