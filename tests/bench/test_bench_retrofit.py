"""Speed of a retrofit: a roof of 40 panels with 300 candidates."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

TEXT = (Path(__file__).parents[1] / "layout" / "roof_plan.txt").read_text(encoding="utf-8")

ROOF = {"latitude": 46.3, "wiring": "row", "tilt": 0, "azimuth": 180, "right": 19, "top": 17, "edge": 0.5}

GRID = {"columns": 4, "rows": 5, "gap": 0.02, "row_gap": 1.3, "orientation": "landscape", "frame": 15}

TABLE = """
[retrofit]
sheet_widths_m = [0.3, 0.6]
sheet_tilts_deg = [0, 10, 20, 30, 40, 55]
strip_widths_m = [0.1, 0.2]
strip_tilts_deg = [30, 50, 70]
most_kinds = 3
"""

RUN = """
import json, resource, sys, time
from pathlib import Path
from layout.plan import read_plan
from layout.retrofit.command import found_of, retrofit_command
def cpu_s():
    both = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in both)
if __name__ == "__main__":
    plan = read_plan(Path(sys.argv[1]))
    found = found_of(plan)
    wall, cpu = time.perf_counter(), cpu_s()
    output = retrofit_command(plan)
    print(json.dumps({
        "candidates": len(found.candidates), "wall_s": time.perf_counter() - wall, "cpu_s": cpu_s() - cpu,
        "gain_kwh": output.data["gain_kwh"], "rounds": len(output.data["rounds"]),
    }))
"""


@pytest.mark.bench
def test_forty_panels_with_three_hundred_candidates(tmp_path: Path) -> None:
    """At most 60 s on 2 cores, report and pictures in."""
    roof, grid = (part.partition("\n")[2] for part in ("\n" + TEXT).split("---"))
    grids = "".join(grid.format(**GRID, at=at) for at in ([1.8, 2.0], [9.9, 2.0]))
    (tmp_path / "roof.toml").write_text(roof.format(**ROOF) + grids + TABLE, encoding="utf-8")
    (tmp_path / "run.py").write_text(RUN, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(tmp_path / "run.py"), str(tmp_path / "roof.toml")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    print(
        f"\n{told['candidates']} candidates: {told['wall_s']:.1f} s, {told['cpu_s']:.1f} s of computing, "
        f"{told['rounds']} sets traced whole, gain {told['gain_kwh']:.1f} kWh"
    )
    assert told["candidates"] >= 300
    assert told["wall_s"] <= 60
