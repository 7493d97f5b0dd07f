"""Cases traced one after the other do not touch each other; pairs that are alike, and pairs that only look so. All roofs
are invented."""

from collections.abc import Callable

import numpy as np
import pytest

import layout.retrofit.pairs
from layout.retrofit.candidates import Found
from layout.retrofit.effects import Effect, Roof, case_effects, pair_effect, trace_roof
from layout.retrofit.pairs import Pairs
from layout.retrofit.refine import Task, cell_limits, problem_of
from layout.retrofit_table import RetrofitTable

Setting = Callable[[dict[str, object], RetrofitTable], tuple[Task, Found]]

FRAMES = {
    "latitude": 39.4, "tilt": 0, "azimuth": 180, "columns": 1, "rows": 2, "gap": 0.02, "row_gap": 1.0, "right": 12,
    "orientation": "landscape", "frame": 22, "wiring": "panel", "top": 8,
}  # fmt: skip

BESIDE = """
[[layout.plane.grid]]
at = [7.0, 1.8]
columns = 1
rows = 2
row_gap_m = 1.0
orientation = "landscape"
frame_tilt_deg = {}
"""

TABLE = RetrofitTable(reflectors=("matt",), sheet_widths_m=(0.5,), sheet_tilts_deg=(30.0,))


def between_rows(found: Found) -> list[tuple[int, int]]:
    """For each grid the sheet before its rear row and the one behind its front row."""
    names = {found.places[c.place].name: k for k, c in enumerate(found.candidates)}
    return [(names[f"in front of panel {k + 1}"], names[f"behind panel {k}"]) for k in (0, 2)]


def traced_pairs(task: Task, found: Found) -> tuple[Roof, Pairs]:
    """Pairs by the effects of the four sheets between rows alone; all others do nothing."""
    roof = trace_roof(task.arrangement, task.conditions, task.settings)
    some = [k for pair in between_rows(found) for k in pair]
    known = dict(zip(some, case_effects(roof, [[found.candidates[k]] for k in some], task.types), strict=True))
    nothing = Effect(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0), ())
    return roof, Pairs.of(roof, found, [known.get(k, nothing) for k in range(len(found.candidates))], task.types)


@pytest.mark.parametrize("other", [22, 12], ids=["alike", "another tilt"])
def test_pairs_are_alike_where_their_panels_are(
    roof_setting: Setting, other: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two grids with the same gaps: the same sheets do the same where frames have the same tilt, else each pair is
    traced itself."""
    monkeypatch.setattr(layout.retrofit.pairs, "ALL_PAIRS", 0)
    task, found = roof_setting(FRAMES | {"path": BESIDE.format(other)}, TABLE)
    roof, pairs = traced_pairs(task, found)
    first, second = (tuple(sorted(pair)) for pair in between_rows(found))
    assert pairs.of_pair[first] == pairs.of_pair[second]  # the sheets lie to one another in the same way
    problem = problem_of(
        roof, found, pairs.effects, task.planes, task.table, cell_limits(task.table, task.arrangement), 1
    )
    problem, known = pairs.traced(problem, [first], None, 1)
    chosen = [*first, *second]
    if other != FRAMES["frame"]:
        assert second not in known.light
        assert second not in problem.pairs
        assert known.unknown(chosen) == [second]
        return
    assert known.unknown(chosen) == []
    (both,) = case_effects(roof, [[found.candidates[k] for k in second]], task.types)
    own = pair_effect(both, pairs.effects[second[0]], pairs.effects[second[1]])
    assert problem.pairs[first][[0, 1]].tolist() == problem.pairs[second][[2, 3]].tolist()
    assert problem.pairs[second][own.panels] == pytest.approx(
        own.dc_kwh, abs=1.5e-3 * roof.dc_kwh.max()
    )  # as near as rays tell
    (change,) = known.light[second]
    assert set(own.panels) == set(change.panels)


def test_what_was_traced_before_does_not_matter(roof_setting: Setting) -> None:
    """Matt sheets keep what they pass on: what one keeps must not be taken for that of another at the same hinge."""
    task, found = roof_setting(FRAMES, TABLE.model_copy(update={"sheet_tilts_deg": (24.0, 46.0)}))
    roof = trace_roof(task.arrangement, task.conditions, task.settings)
    chosen = [[c] for c in found.candidates if found.places[c.place].where.endswith("frames")]
    assert len(chosen) == 6
    together = case_effects(roof, chosen, task.types)
    for case, effect in zip(chosen[1::2], together[1::2], strict=True):
        fresh = trace_roof(task.arrangement, task.conditions, task.settings)
        (alone,) = case_effects(fresh, [case], task.types)
        assert np.array_equal(alone.panels, effect.panels)
        assert alone.light_kwh == pytest.approx(effect.light_kwh, rel=1e-6, abs=1e-6)
        assert alone.dc_kwh == pytest.approx(effect.dc_kwh, rel=1e-6, abs=1e-6)
