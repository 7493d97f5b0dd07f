"""``retrofit`` from the command line on a small invented roof: files, report, parts list to a drawing and back."""

import csv
import io
import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import matplotlib.colors
import numpy as np
import pytest
import shapely
from matplotlib.image import imread
from shapely.geometry import Polygon

import layout.cli
from layout.arrange import arrange
from layout.arrange.roof import planes_of
from layout.cli import main
from layout.plan import RoofLayout, read_plan
from layout.report.figures_retrofit import PART
from layout.report.numbers import JOINER, WIDE_SPACE
from layout.retrofit.parts_back import read_parts
from layout.roof_reflectors import sheet_edges
from layout.run import run_plan

ROOT = Path(__file__).parents[2]

PLAN = """\
title = "Two frames behind one another"
[site]
latitude_deg = 50.4
longitude_deg = 19.3
elevation_m = 260
time_zone = "Etc/GMT-1"
albedo = 0.2
[site.climate]
ghi_kwh_per_m2_day = [1.0, 1.8, 2.9, 4.1, 5.1, 5.4, 5.3, 4.7, 3.2, 1.9, 1.1, 0.8]
air_c = [-1.5, 0.0, 4.0, 9.0, 14.0, 17.0, 19.0, 18.5, 14.0, 9.0, 4.0, 0.0]
wind_m_s = [3.4, 3.4, 3.5, 3.2, 2.9, 2.8, 2.7, 2.6, 2.7, 2.9, 3.2, 3.3]
[[layout]]
name = "shed roof"
kind = "roof"
[[layout.plane]]
name = "deck"
origin = [3.0, -2.0]
height_m = 4.0
tilt_deg = 0
azimuth_deg = 190
outline = [[0, 0], [6, 0], [6, 6], [0, 6]]
edge_clearance_m = 0.3
[[layout.plane.grid]]
at = [1.0, 1.2]
columns = 2
rows = 2
gap_m = 0.02
row_gap_m = 1.0
orientation = "landscape"
frame_tilt_deg = 18
[[layout.plane.path]]
name = "hatch"
outline = [[5.0, 2.0], [5.7, 2.0], [5.7, 3.0], [5.0, 3.0]]
[wiring]
mode = "row"
[prices]
reflector_m2 = 45
years = 20
[retrofit]
sheet_widths_m = [0.4]
sheet_tilts_deg = [20, 45]
strip_widths_m = [0.1]
strip_tilts_deg = [50]
least_gain_kwh = 0.2
price_per_part = 8
price_per_kwh = 0.31
currency = "shells"
"""

STEM = "retrofit-shed-roof"


@dataclass(frozen=True)
class Done:
    """A finished run: its folder, its plan file, what it said, its figures."""

    folder: Path
    plan: Path
    said: str
    data: dict[str, Any]

    def text(self, name: str) -> str:
        """A file as it was before its numbers were tied to their units."""
        return (self.folder / name).read_text(encoding="utf-8").replace(WIDE_SPACE, " ").replace(JOINER, "")


def run(folder: Path, plan: str, capsys: pytest.CaptureFixture[str] | None = None, *more: str) -> Done:
    path = folder / "roof.toml"
    path.write_text(plan, encoding="utf-8")
    assert main(["retrofit", str(path), "--out", str(folder / "out"), *more]) == 0
    data = json.loads((folder / "out" / f"{STEM}.json").read_text(encoding="utf-8"))
    return Done(folder / "out", path, capsys.readouterr().out if capsys else "", data)


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Done:
    """The roof with two parts."""
    return run(tmp_path_factory.mktemp("retrofit"), PLAN)


@pytest.fixture(scope="module")
def nothing(tmp_path_factory: pytest.TempPathFactory) -> Done:
    """The same roof where parts have to earn their price, and do not."""
    return run(tmp_path_factory.mktemp("nothing"), PLAN + 'objective = "money"\n')


def rows(done: Done) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(done.text(f"{STEM}-parts.csv"))))


def test_files_of_a_run(done: Done) -> None:
    expected = {f"{STEM}{end}" for end in (".html", ".json", "-roof.png", "-parts.csv", "-plan.toml")}
    assert {p.name for p in done.folder.iterdir()} == expected
    assert done.data["do_nothing"] is False
    assert len(rows(done)) == len(done.data["parts"]) >= 2


def test_the_plan_it_writes_gives_the_same_year(done: Done) -> None:
    """``yield`` on the written plan: AC energy with and without the parts as the retrofit traced them, to rounding."""
    plan = read_plan(done.folder / f"{STEM}-plan.toml")
    result = run_plan(plan, only=["shed roof"]).layouts["shed roof"]
    assert result.energy_ac_kwh == pytest.approx(done.data["energy_ac_with_parts_kwh"], rel=2e-6)
    assert result.boost is not None
    assert result.boost.bare_energy_ac_kwh == pytest.approx(done.data["energy_ac_kwh"], rel=2e-6)
    gain = result.energy_ac_kwh - result.boost.bare_energy_ac_kwh
    assert gain == pytest.approx(done.data["gain_kwh"], rel=1e-3)
    assert result.reflector_area_m2 == pytest.approx(done.data["reflector_area_m2"], rel=1e-3)
    assert result.string_mismatch_loss_fraction is not None


def test_light_takes_the_written_plan(done: Done, tmp_path: Path) -> None:
    arguments = ["--elevation", "35", "--azimuth", "185", "--out", str(tmp_path)]
    assert main(["light", str(done.folder / f"{STEM}-plan.toml"), *arguments]) == 0


def test_the_written_plan_gives_no_more(done: Done, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where parts stand already no other is put into them."""
    plan = read_plan(done.folder / f"{STEM}-plan.toml")
    assert plan.retrofit is not None
    again = run(tmp_path, done.text(f"{STEM}-plan.toml"), capsys)
    assert again.data["energy_ac_kwh"] == pytest.approx(done.data["energy_ac_with_parts_kwh"], rel=2e-6)
    taken = {p["place"] for p in done.data["parts"]}
    assert not taken & {p["place"] for p in again.data["parts"]}


def test_the_list_traced_gives_the_same_gain(done: Done, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    parts = done.folder / f"{STEM}-parts.csv"
    assert main(["retrofit", str(done.plan), "--parts", str(parts), "--out", str(tmp_path)]) == 0
    data = json.loads((tmp_path / f"{STEM}-as-listed.json").read_text(encoding="utf-8"))
    assert data["gain_kwh"] == pytest.approx(done.data["gain_kwh"], rel=1e-3)
    assert data["limits"]["passed"] == []
    assert data["not_clear"] == []
    still = data["limits"]["hottest_cell_still_air_c"]
    assert still == pytest.approx(done.data["limits"]["hottest_cell_still_air_c"], abs=0.2)
    assert still > data["limits"]["hottest_cell_c"]
    assert (tmp_path / f"{STEM}-plan.toml").read_text() == done.text(f"{STEM}-plan.toml")
    assert "Do not build" not in capsys.readouterr().out


def test_a_list_changed_for_the_worse_is_told(done: Done, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sheets made wide and steep, which shade; one more over the hatch and one along the roof's edge."""
    lines = done.text(f"{STEM}-parts.csv").splitlines()
    table = list(csv.reader(lines))
    wide, tilt = table[0].index("width_mm"), table[0].index("tilt_deg")
    for row in table[1:]:
        row[wide], row[tilt] = "400", "80"
    for number, right, up in (("over", "5.3", "2.4"), ("edge", "5.75", "4.5"), ("off", "5.75", "5.0")):
        told = dict.fromkeys(table[0], "0.4") | {"number": number, "plane": "0", "reflector": "mirror"}
        told |= {"width_mm": "500" if number == "off" else "200", "tilt_deg": "30"}
        told |= {"near_from_right_m": right, "near_to_right_m": right, "near_to_up_m": up}
        told["near_from_up_m"] = f"{float(up) + 0.4:.1f}"
        table.append([told[name] for name in table[0]])
    path = tmp_path / "changed.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(table)
    assert main(["retrofit", str(done.plan), "--parts", str(path), "--out", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    data = json.loads((tmp_path / f"{STEM}-as-listed.json").read_text(encoding="utf-8"))
    assert data["gain_kwh"] < 0
    assert "They take energy from" in said
    reasons = {
        "over": "lies in 'hatch'",
        "edge": "reaches into the 0.3 m along the roof's edge",
        "off": "reaches beyond the roof's outline",
    }
    assert {x["number"]: x["reason"] for x in data["not_clear"]} == reasons
    lines = said.splitlines()
    assert [f"Do not build {number} there: it {why}." in lines for number, why in reasons.items()] == [True] * 3


def test_heat_without_wind_is_told(done: Done) -> None:
    """Of the same light: without wind the heat over U0 alone, Faiman 2008; hotter than in any wind."""
    limits = done.data["limits"]
    page = done.text(f"{STEM}.html")
    for name in ("hottest_cell_still_air_c", "hottest_cell_without_parts_still_air_c"):
        assert f"{limits[name]:.0f} °C" in page[page.index("Had there been no wind") :]
    assert limits["hottest_cell_without_parts_still_air_c"] > limits["hottest_cell_without_parts_c"] + 5.0
    assert limits["hottest_cell_still_air_c"] >= limits["hottest_cell_c"] + 5.0


def test_a_list_for_another_roof_is_told(done: Done, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "list.csv"
    path.write_text(done.text(f"{STEM}-parts.csv").replace(",mirror,", ",miror,"), encoding="utf-8")
    assert main(["retrofit", str(done.plan), "--parts", str(path), "--out", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) == len(rows(done))
    assert all("no reflector type 'miror'" in line for line in told)
    assert main(["retrofit", str(done.plan), "--parts", str(tmp_path / "none.csv")]) == 2
    assert "no such file; accepted: a parts list" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def pixels_to_metres(picture: np.ndarray, outline: Polygon) -> Callable[[np.ndarray], np.ndarray]:
    """Read as from paper: the roof's outline, drawn black, is the longest dark line each way."""
    dark = picture[..., :3].max(axis=2) < 0.3
    across, down = dark.sum(axis=1), dark.sum(axis=0)
    lines = [np.flatnonzero(count > 0.8 * count.max()) for count in (across, down)]
    (top, bottom), (left, right) = ((line[0], line[-1]) for line in lines)
    low, high = np.array(outline.bounds[:2]), np.array(outline.bounds[2:])
    scale = (high - low) / np.array([right - left, bottom - top])
    return lambda at: low + (np.stack([at[:, 1] - left, bottom - at[:, 0]], axis=1)) * scale


def test_the_drawing_shows_what_the_list_says(done: Done) -> None:
    """The parts list taken to the drawing on paper: what is orange on it is what the list's corners enclose."""
    picture = imread(done.folder / f"{STEM}-roof.png")
    metres = pixels_to_metres(picture, Polygon([(0, 0), (6, 0), (6, 6), (0, 6)]))
    edge = np.array(matplotlib.colors.to_rgb(PART))
    orange = np.abs(picture[..., :3] - edge).max(axis=2) < 0.05  # the near edges, drawn thick
    seen = metres(np.argwhere(orange))
    assert len(seen) > 500
    near = []
    for row in rows(done):
        a, b = (np.array([float(row[f"near_{end}_{way}_m"]) for way in ("right", "up")]) for end in ("from", "to"))
        near.append((a, b))
        line = a + np.linspace(0.02, 0.98, 40)[:, None] * (b - a)
        away = np.linalg.norm(seen[None] - line[:, None], axis=2).min(axis=1)
        hidden = away > 0.03
        assert hidden.sum() <= 4, "the number's ring hides a little of the line, no more"
    shapes = [
        Polygon([[float(row[f"{end}_right_m"]), float(row[f"{end}_up_m"])] for end in
                 ("near_from", "near_to", "far_to", "far_from")])
        for row in rows(done)
    ]  # fmt: skip
    fill = np.abs(picture[..., :3] - (0.55 * edge + 0.45 * np.array([0.94, 0.93, 0.9]))).max(axis=2) < 0.06
    inside = metres(np.argwhere(fill))
    assert len(inside) > 2000
    drawn = [any(shape.buffer(0.03).covers(p) for shape in shapes) for p in shapely.points(inside[::37])]
    assert all(drawn)
    covered = sum(shape.area for shape in shapes)
    pixel = float(np.prod(metres(np.array([[1, 0]])) - metres(np.array([[0, 1]]))))
    assert len(inside) * abs(pixel) == pytest.approx(covered, rel=0.15)  # numbers and thick edges hide the rest


def test_the_list_stands_where_the_plan_has_its_reflectors(done: Done) -> None:
    plan = read_plan(done.folder / f"{STEM}-plan.toml")
    roof = plan.layouts[0]
    assert isinstance(roof, RoofLayout)
    planes = planes_of(plan, roof)
    listed = read_parts(done.text(f"{STEM}-parts.csv"), "list.csv", 1)
    pieces = arrange(plan, roof).scene.reflectors
    assert len(listed) == len(pieces)
    for (number, table), piece in zip(listed, pieces, strict=True):
        for ours, theirs in zip(sheet_edges(planes[number], table), (piece.corner, piece.along, piece.up), strict=True):
            assert np.abs(ours - theirs).max() < 1e-9


def test_every_number_of_the_report_has_its_unit_and_its_part(done: Done) -> None:
    page = done.text(f"{STEM}.html")
    for table in re.findall(r"<table>(.*?)</table>", page, flags=re.DOTALL):
        heads = re.findall(r"<th(?: [^>]*)?>(.*?)</th>", table)
        for row in re.findall(r"<tr><td>(.*?)</tr>", table, flags=re.DOTALL):
            cells = re.findall(r"(?:^|<td[^>]*>)(.*?)</td>", row)
            assert len(cells) == len(heads)
            for head, cell in zip(heads, cells, strict=True):
                if re.fullmatch(r"[+−–]?[\d.\u202f]+( × [\d.]+)?", cell) and cell != "–":
                    assert has_unit(head), f"{head}: {cell}"
    parts = done.data["parts"]
    for part in parts:
        assert f"<tr><td>{part['number']}</td><td>{part['reflector']}, " in page
        for sheet in part["sheets"]:
            near = ", ".join(f"{v:.3f}" for v in sheet["near_edge_from_m"])
            assert near in page


def has_unit(head: str) -> bool:
    """Units, or words for counts and numbers of things."""
    units = r"\b(kWh|m|m²|mm|kg|°|years|shells)\b|°$|%"
    counts = {"number", "panel", "string", "pieces", "for numbers", "panels", "tried", "do not fit"}
    return bool(re.search(units, head)) or head in counts


def test_figures_of_the_report_add_up(done: Done) -> None:
    data = done.data
    parts, panels = data["parts"], data["panels"]
    told = sum(p["gain_kwh"] for p in parts) + data["strings_and_rest_kwh"]
    assert told == pytest.approx(data["gain_kwh"], abs=1e-9)
    assert sum(data["monthly_gain_kwh"]) == pytest.approx(data["gain_kwh"], abs=1e-9)
    listed = rows(done)
    assert sum(float(r["area_m2"]) for r in listed) == pytest.approx(data["reflector_area_m2"], abs=0.001 * len(listed))
    assert sum(float(r["price"]) for r in listed) == pytest.approx(data["money"]["cost"], abs=0.01)
    for panel in panels:
        by_part = sum(panel["gain_by_part_kwh"].values())
        assert by_part == pytest.approx(panel["gain_kwh"], abs=0.05 * abs(panel["gain_kwh"]) + 0.05)


def test_money_is_told_plainly(done: Done, nothing: Done) -> None:
    """45 a m² and 8 a part, 0.31 a kWh, 20 years at 5 %: what two small sheets bring does not pay."""
    money, parts = done.data["money"], done.data["parts"]
    pieces = sum(s["pieces"] for p in parts for s in p["sheets"])
    assert money["cost"] == pytest.approx(45 * done.data["reflector_area_m2"] + 8 * pieces)
    assert money["worth_first_year"] == pytest.approx(0.31 * done.data["gain_kwh"])
    assert done.data["payback_years"] == pytest.approx(money["cost"] / money["worth_first_year"])
    assert money["net_present_worth"] < 0
    page = done.text(f"{STEM}.html")
    assert "They do not pay: as money, do nothing." in page
    assert nothing.data["do_nothing"] is True
    assert nothing.data["parts"] == []
    assert "<li>Do nothing: no set of reflectors around these panels is worth what it costs" in nothing.text(
        f"{STEM}.html"
    )
    assert {p.name for p in nothing.folder.iterdir()} == {f"{STEM}{end}" for end in (".html", ".json", "-roof.png")}


def test_cautions_name_their_numbers(done: Done) -> None:
    page = done.text(f"{STEM}.html")
    cautions = page[page.index("<h2>Cautions</h2>") :]
    lines = re.findall(r"<li>(.*?)</li>", cautions, flags=re.DOTALL)
    heads = {line.split(":")[0]: line for line in lines}
    assert {"Warranty", "Roof edge", "DC wiring", "Wind and snow", "Glare", "Burns"} <= set(heads)
    units = {"Warranty": "W/m²", "Roof edge": "m above", "DC wiring": "V", "Wind and snow": "kg", "Glare": "%"}
    for name, unit in units.items():
        assert re.search(rf"\d {unit}", heads[name]), heads[name]
    assert "licensed" in heads["DC wiring"]
    assert "local code" in heads["Roof edge"]


@pytest.mark.parametrize("label", ["what each part does", "sets traced whole"])
def test_ctrl_c_leaves_nothing(
    label: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the midst of the work of several processes, and between two rounds."""

    @contextmanager
    def stopping() -> Iterator[Callable[[str, int, int], None]]:
        def told(word: str, done: int, total: int) -> None:
            if word == label:
                raise KeyboardInterrupt

        yield told

    monkeypatch.setattr(layout.cli, "_progress", stopping)
    path = tmp_path / "roof.toml"
    path.write_text(PLAN.replace("columns = 2", "columns = 1"), encoding="utf-8")
    assert main(["retrofit", str(path), "--out", str(tmp_path / "out")]) == 130
    assert capsys.readouterr().err == "stopped; nothing half-written\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["roof.toml"]


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ('kind = "roof"', 'kind = "pieces"', None),
        ("[retrofit]", '[retrofit]\nlayout = "shed"', "retrofit.layout: found 'shed'; accepted: 'shed roof'"),
    ],
)
def test_wrong_plans_end_with_a_line(
    old: str, new: str, line: str | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "roof.toml"
    path.write_text(PLAN.replace(old, new), encoding="utf-8")
    assert main(["retrofit", str(path), "--out", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err.splitlines()
    assert told
    assert line is None or told == [f"{path}: {line}"]
    assert not (tmp_path / "out").exists()


def test_a_plan_without_a_roof_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "rows.toml"
    assert main(["new", str(path)]) == 0
    capsys.readouterr()
    assert main(["retrofit", str(path)]) == 2
    told = capsys.readouterr().err
    assert "layout: found no layout of kind 'roof'; accepted: at least one layout of kind 'roof'" in told


@pytest.mark.long
@pytest.mark.parametrize("name", ["pitched_roof", "flat_roof"])
def test_bundled_roofs(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both example roofs as a new user runs them; where parts are chosen, the written plan gives the same year."""
    assert main(["retrofit", str(ROOT / "examples" / f"{name}.toml"), "--out", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    (path,) = tmp_path.glob("retrofit-*.json")
    data = json.loads(path.read_text(encoding="utf-8"))
    assert said.startswith("Do nothing") == data["do_nothing"]
    assert all(len(line.replace(str(tmp_path), "out")) <= 100 for line in said.splitlines())
    if not data["do_nothing"]:
        plan = read_plan(next(tmp_path.glob("*-plan.toml")))
        result = run_plan(plan, only=[data["layout"]]).layouts[data["layout"]]
        assert result.energy_ac_kwh == pytest.approx(data["energy_ac_with_parts_kwh"], rel=2e-6)


def test_lines_keep_apart_on_the_drawing(done: Done) -> None:
    """Numbers of parts stand on their parts, in order."""
    numbers = [int(row["number"].rstrip("ab")) for row in rows(done)]
    assert all(b - a in (0, 1) for a, b in pairwise(numbers))
    assert numbers[0] == 1
