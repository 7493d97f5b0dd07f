"""Speed of a retrofit: a roof of 40 panels with 300 candidates."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOF = """
title = "Forty panels"
[site]
latitude_deg = 46.3
longitude_deg = 23.4
elevation_m = 310
time_zone = "Etc/GMT-2"
albedo = 0.2
[site.climate]
ghi_kwh_per_m2_day = [1.4, 2.3, 3.6, 4.8, 5.8, 6.2, 6.3, 5.5, 4.1, 2.6, 1.5, 1.2]
air_c = [-1.0, 0.5, 5.2, 10.8, 15.9, 19.2, 21.4, 20.9, 16.3, 10.7, 4.9, 0.3]
wind_m_s = [3.1, 3.2, 3.4, 3.3, 2.9, 2.7, 2.6, 2.5, 2.6, 2.8, 3.0, 3.0]
[[layout]]
name = "hall"
kind = "roof"
[[layout.plane]]
origin = [0.0, 0.0]
height_m = 7.0
tilt_deg = 0
azimuth_deg = 180
outline = [[0, 0], [19, 0], [19, 17], [0, 17]]
edge_clearance_m = 0.5
[[layout.plane.grid]]
at = [1.8, 2.0]
columns = 4
rows = 5
gap_m = 0.02
row_gap_m = 1.3
orientation = "landscape"
frame_tilt_deg = 15
[[layout.plane.grid]]
at = [9.9, 2.0]
columns = 4
rows = 5
gap_m = 0.02
row_gap_m = 1.3
orientation = "landscape"
frame_tilt_deg = 15
[wiring]
mode = "row"
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
    (tmp_path / "roof.toml").write_text(ROOF, encoding="utf-8")
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
