"""Commands: what they print, write and return."""

import csv
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import layout.cli
from layout.arrange import arrange
from layout.cli import main
from layout.light.light_map import light_map
from layout.plan import read_plan
from layout.report.demo import DEMO_PLAN
from layout.result import PlanResult
from sites.conventions import unit_vector
from sites.read import list_sites

PNG = b"\x89PNG\r\n"


@pytest.fixture
def worked_out(monkeypatch: pytest.MonkeyPatch, small_result: PlanResult) -> PlanResult:
    """``run_plan`` gives the year that was worked out before, for the layouts asked for."""

    def known(plan: Any, progress: Any = None, only: Any = None, processes: int = 1) -> PlanResult:
        layouts = {n: r for n, r in small_result.layouts.items() if only is None or n in only}
        return PlanResult(plan, layouts, small_result.weather_notes, plan.warnings)

    monkeypatch.setattr(layout.cli, "run_plan", known)
    return small_result


def files(folder: Path) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def test_compare(
    worked_out: PlanResult, small_plan_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, extra = tmp_path / "out", tmp_path / "numbers.json"
    assert main(["compare", str(small_plan_path), "--out", str(out), "--json", str(extra), "--per-panel"]) == 0
    shown = capsys.readouterr()
    assert max(map(len, shown.out.splitlines())) <= 100 + len(str(tmp_path))
    table = [line for line in shown.out.splitlines() if not line.startswith("wrote")]
    assert max(map(len, table)) <= 100
    for name in worked_out.layouts:
        assert name in shown.out
    assert "caution:" in shown.out
    assert shown.err == ""
    assert files(out) == ["compare.html", "compare.json"]
    data = json.loads(extra.read_text(encoding="utf-8"))
    assert data == json.loads((out / "compare.json").read_text(encoding="utf-8"))
    assert len(data["sentences"]) == 5
    for name, r in worked_out.layouts.items():
        told = data["layouts"][name]
        assert told["energy_ac_kwh"] == pytest.approx(r.energy_ac_kwh)
        assert len(told["per_panel"]["front_kwh_per_m2"]) == r.panels
        assert sum(told["monthly_energy_ac_kwh"]) == pytest.approx(r.energy_ac_kwh)


def test_compare_with_reflectors(
    monkeypatch: pytest.MonkeyPatch,
    boosted_result: PlanResult,
    boosted_plan_path: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(layout.cli, "run_plan", lambda plan, progress, processes: boosted_result)
    assert main(["compare", str(boosted_plan_path), "--out", str(tmp_path)]) == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if not line.startswith("wrote")]
    assert max(map(len, lines)) <= 100
    shown = " ".join(" ".join(lines).split())
    for words in ("What reflectors bring", "Where the light on the reflectors goes", "Heat and bright spots"):
        assert words in shown
    data = json.loads((tmp_path / "compare.json").read_text(encoding="utf-8"))
    assert len(data["sentences"]) == 5 + len(boosted_result.layouts) + 2
    assert all(sentence in shown for sentence in data["sentences"])


def test_per_panel_only_where_asked_for(worked_out: PlanResult, small_plan_path: Path, tmp_path: Path) -> None:
    main(["compare", str(small_plan_path), "--out", str(tmp_path)])
    data = json.loads((tmp_path / "compare.json").read_text(encoding="utf-8"))
    assert all("per_panel" not in told for told in data["layouts"].values())


def test_yield(
    worked_out: PlanResult, small_plan_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["yield", str(small_plan_path), "upright", "--out", str(tmp_path)]) == 0
    shown = capsys.readouterr().out
    for words in ("months of the site's clock", "steps from sunlight to socket", "Light on the rear faces"):
        assert words in " ".join(shown.split())
    assert files(tmp_path) == ["yield-upright-hourly.csv", "yield-upright.html", "yield-upright.json"]
    r = worked_out.layouts["upright"]
    with (tmp_path / "yield-upright-hourly.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == len(r.frame)
    assert rows[0]["start_utc"].endswith("Z")
    energy = sum(float(row["ac_kw"]) * float(row["interval_h"]) for row in rows)
    assert energy == pytest.approx(r.energy_ac_kwh, rel=1e-4)


def test_light_at_a_sun_position(small_plan_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    numbers = tmp_path / "light.json"
    command = ["light", str(small_plan_path), "rows", "--elevation", "50", "--azimuth", "0", "--dni", "800"]
    assert main([*command, "--out", str(tmp_path), "--json", str(numbers)]) == 0
    told = json.loads(numbers.read_text(encoding="utf-8"))["layouts"]["rows"]
    plan = read_plan(small_plan_path)
    normal = arrange(plan, plan.layouts[0]).scene.panels[0].normal
    assert max(told["direct_w_m2"]) == pytest.approx(800 * normal @ unit_vector(50.0, 0.0), rel=1e-3)
    assert told["brightest_cell"]["w_m2"] >= max(told["direct_w_m2"]) - 1e-6
    assert max(told["reflected_w_m2"]) == 0.0
    assert told["total_w_m2"] == told["direct_w_m2"]
    assert "per_cell" not in told
    expected = told["expected"]
    assert expected["moment"]["dni"] == 800
    assert expected["ratio"][0] == 1.0
    assert {len(expected[key]) for key in ("watts", "volts", "cell_c", "light_w_m2")} == {len(told["direct_w_m2"])}
    assert (tmp_path / "light-rows.png").read_bytes().startswith(PNG)
    shown = capsys.readouterr().out
    assert "Beam only" in shown
    assert "what a meter should read" in shown


def test_light_by_way_of_the_ground_and_at_a_time(small_plan_path: Path, tmp_path: Path) -> None:
    text = small_plan_path.read_text(encoding="utf-8").replace("[11, -2], [13, 8], [2, 9]", "[4, 0], [4, 4], [0, 4]")
    text = text.replace("[9, 4.5], [11, 4.5], [11, 6], [9, 6]", "[3, 3], [4, 3], [4, 4], [3, 4]")
    (tmp_path / "corner.toml").write_text(text, encoding="utf-8")
    numbers = tmp_path / "light.json"
    command = ["light", str(tmp_path / "corner.toml"), "upright", "--at", "2025-01-14T08:30", "--ground"]
    assert main([*command, "--out", str(tmp_path), "--json", str(numbers)]) == 0
    told = json.loads(numbers.read_text(encoding="utf-8"))["layouts"]["upright"]
    assert 20 < told["sun_elevation_deg"] < 60
    assert 60 < told["sun_azimuth_deg"] < 120  # a summer morning in the south: the sun in the east
    assert min(told["reflected_w_m2"]) > 0
    assert told["via_ground"]
    assert max(told["rear_w_m2"]) < max(told["direct_w_m2"])


def test_light_by_way_of_reflectors(
    boosted_plan_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    numbers = tmp_path / "light.json"
    command = ["light", str(boosted_plan_path), "winged", "--elevation", "60", "--azimuth", "0", "--dni", "800"]
    assert main([*command, "--per-cell", "--out", str(tmp_path), "--json", str(numbers)]) == 0
    told = json.loads(numbers.read_text(encoding="utf-8"))["layouts"]["winged"]
    plan = read_plan(boosted_plan_path)
    scene = arrange(plan, next(one for one in plan.layouts if one.name == "winged")).scene
    alone = light_map(replace(scene, ground=None), [60.0], [0.0], 800.0)
    for way in ("direct", "reflected", "total"):
        cells = np.array([panel[f"{way}_w_m2"] for panel in told["per_cell"]])
        assert cells == pytest.approx(np.array([x[0] for x in getattr(alone, way)]), abs=0.01 * 800.0)
        assert told[f"{way}_w_m2"] == pytest.approx(cells.mean(axis=(1, 2)).tolist(), abs=0.01)
    assert min(told["reflected_w_m2"]) > 20.0
    assert told["brightest_cell"]["w_m2"] == pytest.approx(cells.max(), abs=0.01)
    assert told["dimmest_cell"]["w_m2"] == pytest.approx(cells.min(), abs=0.01)
    shown = " ".join(capsys.readouterr().out.split())
    assert "by way of reflectors; --ground adds" in shown
    assert "can burn and dazzle" in shown
    assert main([*command, "--bounces", "0", "--out", str(tmp_path), "--json", str(numbers)]) == 0
    told = json.loads(numbers.read_text(encoding="utf-8"))["layouts"]["winged"]
    assert max(told["reflected_w_m2"]) == 0.0
    assert told["bounces"] == 0


def test_light_tells_its_progress(boosted_plan_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[str, int, int]] = []

    @contextmanager
    def bars() -> Iterator[Any]:
        yield lambda label, done, total: seen.append((label, done, total))

    monkeypatch.setattr(layout.cli, "_progress", bars)
    main(["light", str(boosted_plan_path), "mirrored", "--elevation", "60", "--azimuth", "0", "--out", str(tmp_path)])
    assert {label for label, _, _ in seen} == {"light on mirrored"}
    assert seen[-1][1] == seen[-1][2] > 6


def test_a_time_with_its_own_zone_is_the_same_moment(small_plan_path: Path, tmp_path: Path) -> None:
    suns = []
    for time in ("2025-01-14T08:30", "2025-01-13T22:30+00:00"):  # the site's clock is 10 h ahead
        numbers = tmp_path / "light.json"
        command = ["light", str(small_plan_path), "rows", "--at", time, "--out", str(tmp_path)]
        assert main([*command, "--json", str(numbers)]) == 0
        told = json.loads(numbers.read_text(encoding="utf-8"))["layouts"]["rows"]
        suns.append((told["sun_elevation_deg"], told["sun_azimuth_deg"]))
    assert suns[0] == suns[1]


@pytest.mark.parametrize("site", list_sites())
def test_sun_of_bundled_sites(site: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sun", site, "--out", str(tmp_path), "--json", str(tmp_path / "sun.json")]) == 0
    shown = capsys.readouterr().out
    assert "pitch without shade" in shown
    assert (tmp_path / f"sun-{site}.png").read_bytes().startswith(PNG)
    data = json.loads((tmp_path / "sun.json").read_text(encoding="utf-8"))
    assert len(data["days"]) == 7
    assert len(data["spacing"]["pitch_over_slant_height"]) == len(data["spacing"]["tilt_deg"])


def test_sun_of_a_plan(small_plan_path: Path, tmp_path: Path) -> None:
    assert main(["sun", str(small_plan_path), "--out", str(tmp_path)]) == 0
    assert files(tmp_path) == ["sun-small.png"]


def test_check_of_a_sound_plan(small_plan_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(small_plan_path), "--json", str(tmp_path / "check.json")]) == 0
    assert "nothing is wrong" in capsys.readouterr().out
    data = json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))
    assert data["ok"]
    assert data["layouts"]["towers"]["panels"] > 0


def test_where_files_cannot_lie_is_told_before_any_work(
    small_plan_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(layout.cli, "run_plan", None)
    taken = tmp_path / "notes.txt"
    taken.write_text("mine", encoding="utf-8")
    assert main(["compare", str(small_plan_path), "--out", str(taken), "--json", str(tmp_path)]) == 2
    assert capsys.readouterr().err.splitlines() == [
        f"command line: --out: found {taken}, a file; accepted: a folder, there already or new",
        f"command line: --json: found {tmp_path}, a folder; accepted: a file's name",
    ]
    assert taken.read_text(encoding="utf-8") == "mine"


def test_check_warns_of_an_inverter_that_does_not_suit(
    small_plan_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = tmp_path / "plan.toml"
    wiring = '[inverter]\nac_limit_kw = 9000\n[wiring]\nmode = "row"\ntracker_min_v = 1500\n'
    plan.write_text(small_plan_path.read_text(encoding="utf-8") + wiring, encoding="utf-8")
    assert main(["check", str(plan)]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    for name in ("rows", "upright", "towers"):
        assert f"warning: {name}: Trackers: strings work best somewhere between" in shown
        assert f"warning: {name}: Inverter: the panels'" in shown
    assert shown.endswith("nothing is wrong; 6 warnings")
    plan.write_text(plan.read_text(encoding="utf-8").replace("9000", "6").replace("1500", "30"), encoding="utf-8")
    assert main(["check", str(plan)]) == 0
    assert "warning" not in capsys.readouterr().out


def test_check_tells_all_faults_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = tmp_path / "wrong.toml"
    text = DEMO_PLAN.read_text(encoding="utf-8")
    plan.write_text(text.replace("tilt_deg = ", "tilt_deg = -").replace("spacing_m", "spacing"), encoding="utf-8")
    assert main(["check", str(plan), "--json", str(tmp_path / "check.json")]) == 2
    shown = capsys.readouterr()
    lines = shown.err.splitlines()
    assert any("layout[0].tilt_deg" in line for line in lines)
    assert any("spacing_m" in line for line in lines)
    assert all("found" in line and "accepted" in line for line in lines)
    data = json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))
    assert not data["ok"]
    assert len(data["faults"]) == len(lines)


def test_new_writes_a_plan_that_is_right_and_never_overwrites(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "my.toml"
    assert main(["new", str(path)]) == 0
    assert read_plan(path).layouts
    path.write_text("mine", encoding="utf-8")
    assert main(["new", str(path)]) == 2
    assert path.read_text(encoding="utf-8") == "mine"
    assert "there already" in capsys.readouterr().err


def test_sites(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sites", "--out", str(tmp_path)]) == 0
    shown = capsys.readouterr().out
    assert all(name in shown for name in list_sites())
    data = json.loads((tmp_path / "sites.json").read_text(encoding="utf-8"))
    assert set(data["sites"]) == set(list_sites())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["light", "PLAN"], ["--elevation: found nothing", "--azimuth: found nothing"]),
        (["light", "PLAN", "--elevation", "-3", "--azimuth", "400"], ["found -3", "found 400"]),
        (["light", "PLAN", "--elevation", "nan", "--azimuth", "10"], ["--elevation: found nan"]),
        (["light", "PLAN", "--at", "noon"], ["--at: found 'noon'"]),
        (["light", "PLAN", "--at", "9999-12-31T23:59"], ["--at"]),
        (["light", "PLAN", "--at", "2025-01-14T01:00"], ["the sun at elevation -"]),
        (["light", "PLAN", "--at", "2025-01-14T09:00", "--azimuth", "9"], ["--at: found a sun position"]),
        (["light", "PLAN", "--elevation", "9", "--azimuth", "9", "--dni", "-1"], ["--dni: found -1"]),
        (
            ["light", "PLAN", "--elevation", "9", "--azimuth", "9", "--dhi", "-1", "--air-c", "90", "--wind", "nan"],
            ["--dhi: found -1", "--air-c: found 90", "--wind: found nan"],
        ),
        (["light", "PLAN", "--elevation", "9", "--azimuth", "9", "--bounces", "9"], ["--bounces: found 9"]),
        (["light", "PLAN", "row", "--elevation", "9", "--azimuth", "9"], ["'rows' (nearest known)"]),
        (["yield", "PLAN", "tower"], ["'towers' (nearest known)"]),
        (["sun", "ylverheim"], ["'ylverhem' (nearest known)"]),
        (["sun", "nowhere.toml"], ["nowhere.toml: file: found"]),
        (["compare", "nowhere.toml"], ["no such file"]),
        (["check", "."], ["accepted"]),
    ],
)
def test_bad_input_is_one_line_a_fault(
    arguments: list[str],
    words: list[str],
    small_plan_path: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    filled = [str(small_plan_path) if a == "PLAN" else a for a in arguments]
    assert main([*filled, "--out", str(tmp_path / "out")]) == 2
    shown = capsys.readouterr()
    assert len(shown.err.splitlines()) == len(words)
    for word in words:
        assert word in shown.err
    assert "Traceback" not in shown.err
    assert shown.out == ""
    assert "check" in arguments or not (tmp_path / "out").exists()


def test_a_folder_that_cannot_be_made_is_one_line(
    worked_out: PlanResult, small_plan_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "taken").write_text("a file")
    assert main(["compare", str(small_plan_path), "--out", str(tmp_path / "taken")]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_ctrl_c_leaves_nothing(
    small_plan_path: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def stopped(*_: Any, **__: Any) -> PlanResult:
        raise KeyboardInterrupt

    monkeypatch.setattr(layout.cli, "run_plan", stopped)
    assert main(["compare", str(small_plan_path), "--out", str(tmp_path / "out")]) == 130
    assert capsys.readouterr().err == "stopped; nothing half-written\n"
    assert files(tmp_path) == []


def test_no_command_and_unknown_command_say_how(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in ([], ["comparre"]):
        with pytest.raises(SystemExit) as stop:
            main(arguments)
        assert stop.value.code == 2
    assert "usage: brightacre" in capsys.readouterr().err


def run(arguments: list[str], folder: Path, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """The command in a process of its own."""
    code = "import sys; from layout.cli import main; sys.exit(main())"
    env = os.environ | environment
    return subprocess.run(
        [sys.executable, "-c", code, *arguments], cwd=folder, env=env, capture_output=True, check=False
    )


def test_output_is_utf8_whatever_the_terminal_says(tmp_path: Path) -> None:
    done = run(["sites"], tmp_path, PYTHONIOENCODING="ascii", LC_ALL="C")
    assert done.returncode == 0
    assert "plot m²" in done.stdout.decode("utf-8")
    assert done.stderr == b""


def test_a_reader_that_goes_away_is_no_error(tmp_path: Path) -> None:
    code = "import sys; from layout.cli import main; sys.exit(main(['sites', '--out', 'o']))"
    process = subprocess.Popen(
        [sys.executable, "-c", code], cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    error = process.stderr.read()
    process.wait()
    process.stderr.close()
    assert b"Traceback" not in error
    assert process.returncode == 1
    assert files(tmp_path) == ["o/sites.json"]
