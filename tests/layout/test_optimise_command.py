"""The command `optimise`: its answer is what `compare` gives on the plan it writes; stopped, it goes on."""

import csv
import json
import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from layout.cli import main
from layout.optimise.answer import find_answer
from layout.optimise.command import answer_data, shown
from layout.optimise.study import store_path
from layout.plan import parse_plan, read_plan
from layout.report.files import to_json
from layout.run import run_plan

PLAN = """
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [15, -1], [17, 11], [2, 14]]
setback_m = 0.4
[[plot.obstacle]]
outline = [[11, 6], [13, 6], [13, 7.5], [11, 7.5]]
height_m = 2.2
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 22
azimuth_deg = 0
pitch_m = 3.4
{booster}
{towers}
[optimise]
evaluations = {evaluations}
{vary_towers}
[[optimise.vary]]
layout = "rows"
key = "pitch_m"
low = 2.4
high = 5
step = 0.2
{vary_reflector}
"""
BOOSTER = """
[[layout.booster]]
reflector = "mirror"
place = "aisle"
width_m = 0.5
tilt_deg = 15
"""
VARY_REFLECTOR = """
[[optimise.vary]]
layout = "rows"
key = "booster[0].reflector"
choices = ["mirror", "matt"]
"""
TOWERS = """
[[layout]]
name = "towers"
kind = "towers"
side_m = 1.15
height_m = 1.8
base_height_m = 0.4
spacing_m = 4
"""
VARY_TOWERS = """
[[optimise.vary]]
layout = "towers"
key = "spacing_m"
low = 3
high = 8
step = 0.5
"""
ROWS_ALONE = PLAN.format(booster="", towers="", vary_towers="", vary_reflector="", evaluations=8)
FEW = PLAN.format(booster="", towers=TOWERS, vary_towers=VARY_TOWERS, vary_reflector="", evaluations=5)
BOTH = PLAN.format(
    booster=BOOSTER, towers=TOWERS, vary_towers=VARY_TOWERS, vary_reflector=VARY_REFLECTOR, evaluations=8
)
PLACES = "[optimise.positions]\nrows_net_m = 0.5\nsites_net_m = 3\ntime_s = 20\ngap_pct = 2\n"
LIMITS = "[optimise.limits]\npanels = 26\naisle_m = 0.5\n"


def by_command(folder: Path, text: str) -> dict[str, Any]:
    """The answer's numbers as the command writes them; files lie in ``folder``."""
    (folder / "plan.toml").write_text(text)
    assert main(["optimise", str(folder / "plan.toml"), "--out", str(folder)]) == 0
    data: dict[str, Any] = json.loads((folder / "optimise.json").read_text())
    return data


def answered(folder: Path, text: str) -> dict[str, Any]:
    """The same without the report."""
    data: dict[str, Any] = json.loads(
        to_json(answer_data(find_answer(parse_plan(text, "plan.toml", folder), text, folder)))
    )
    return data


@pytest.mark.long
def test_the_answer_is_what_compare_gives_on_the_plan_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = by_command(tmp_path, BOTH + LIMITS + PLACES)
    said = " ".join(capsys.readouterr().out.split())
    assert "warning" not in said
    result = run_plan(read_plan(tmp_path / found["plan_file"]))
    assert set(result.layouts) == set(found["layouts"]) == {"rows", "towers"}
    for name, told in found["layouts"].items():
        compared = result.layouts[name]
        for key in ("panels", "dc_capacity_kw", "reflector_area_m2", "energy_ac_kwh", "kwh_per_m2_plot"):
            assert told["figures"][key] == pytest.approx(getattr(compared, key), rel=1e-9), (name, key)
        assert told["figures"]["panels"] <= 26
        assert told["figures"]["aisle_m"] >= 0.5
        places = told["positions"]
        assert abs(places["rounds"][-1]["difference_fraction"]) <= 0.01
        assert 0.0 <= places["gap_fraction"] <= 0.02 + 1e-9 or places["timed_out"]
        assert places["taken"] == (places["figures"]["energy_ac_kwh"] > told["traced"][0]["figures"]["energy_ac_kwh"])
        lines = list(csv.DictReader((tmp_path / f"optimise-{name}-positions.csv").read_text().splitlines()))
        panels = [line for line in lines if line["what"] == "panel"]
        assert len(panels) == told["figures"]["panels"]
        shapes = json.loads((tmp_path / f"optimise-{name}-positions.geojson").read_text())["features"]
        assert len(shapes) == len(lines)
    best = max(found["layouts"], key=lambda n: result.layouts[n].kwh_per_m2_plot)
    assert found["best_layout"] == best
    again = answered(tmp_path, BOTH + LIMITS + PLACES)
    assert [told["worked_out_now"] for told in again["layouts"].values()] == [0, 0]
    assert again["layouts"]["rows"]["figures"] == found["layouts"]["rows"]["figures"]


def test_without_a_limit_it_warns_and_tells_what_would_make_the_question_real(tmp_path: Path) -> None:
    answer = find_answer(parse_plan(ROWS_ALONE, "plan.toml", tmp_path), ROWS_ALONE, tmp_path)
    said = " ".join(line for line in shown(answer) if isinstance(line, str))
    assert said.startswith("warning: the plan has no [optimise.limits]")
    assert "Best by energy per m² of plot: rows." in said
    found = answer_data(answer)["layouts"]["rows"]
    (held,) = found["on_a_bound"]
    assert (held["key"], held["bound"], held["value"]) == ("pitch_m", "low", 2.4)
    assert held["gain"] is None or held["gain"] > 0
    assert list(held["real"]) == ["panels", "dc_capacity_kw", "aisle_m"]
    assert "rows: pitch lies on its low bound, 2.4 m;" in said
    assert found["positions"] is None


def test_a_layout_that_cannot_keep_the_limits_is_left_out(tmp_path: Path) -> None:
    text = FEW + "[optimise.limits]\nheight_m = 1.9\n"
    answer = find_answer(parse_plan(text, "plan.toml", tmp_path), text, tmp_path)
    assert set(answer.layouts) == {"rows"}
    (why,) = answer.left_out["towers"]
    assert why.startswith("optimise.limits.height_m: 1.9, and at best 2.2 on 'towers', 0.3 too much")
    assert any("towers: left out, its limits cannot be met" in line for line in shown(answer) if isinstance(line, str))


def test_limits_that_no_layout_keeps_are_all_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "plan.toml").write_text(FEW + "[optimise.limits]\nheight_m = 0.5\n")
    assert main(["optimise", str(tmp_path / "plan.toml"), "--out", str(tmp_path)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 2
    assert all("optimise.limits.height_m: found 0.5, and at best" in line for line in lines)
    assert not (tmp_path / "optimise.json").exists()


def started(folder: Path) -> "subprocess.Popen[str]":
    (folder / "plan.toml").write_text(ROWS_ALONE + LIMITS)
    script = "import sys; from layout.start import main; sys.exit(main())"
    words = ["optimise", str(folder / "plan.toml"), "--out", str(folder)]
    heard = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)  # tests begun in the background do not hear it
    command = [sys.executable, "-c", script, *words]
    return subprocess.Popen(command, stderr=subprocess.PIPE, text=True, preexec_fn=heard)


def kept_lines(folder: Path, least: int) -> int:
    """Finished evaluations once there are so many, or after two minutes."""
    path, deadline = store_path(folder), time.monotonic() + 120
    while time.monotonic() < deadline and (not path.exists() or path.read_bytes().count(b"\n") < least):
        time.sleep(0.02)
    return path.read_bytes().count(b"\n")


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The answer of a run that nothing stops."""
    return answered(tmp_path_factory.mktemp("whole"), ROWS_ALONE + LIMITS)["layouts"]["rows"]


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT], ids=["killed", "stopped"])
def test_a_run_that_ends_early_loses_no_finished_evaluation(
    how: signal.Signals, tmp_path: Path, whole: dict[str, Any]
) -> None:
    child = started(tmp_path)
    kept = kept_lines(tmp_path, 3)
    os.kill(child.pid, how)
    error = child.communicate(timeout=120)[1]
    assert kept >= 3
    if how is signal.SIGINT:
        assert child.returncode == 130
        assert error.strip() == "stopped; nothing half-written"
    assert not (tmp_path / "optimise.json").exists()
    again = answered(tmp_path, ROWS_ALONE + LIMITS)["layouts"]["rows"]
    assert again["worked_out_now"] <= whole["worked_out_now"] - kept
    assert again["best"] == whole["best"]
    assert again["figures"] == whole["figures"]


def test_a_plan_without_the_table_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "plan.toml").write_text(ROWS_ALONE[: ROWS_ALONE.index("[optimise]")])
    assert main(["optimise", str(tmp_path / "plan.toml"), "--out", str(tmp_path)]) == 2
    assert "optimise: found nothing; accepted: a table, [optimise]" in capsys.readouterr().err
