"""Choices given up once their pairs are traced: the set found is worth no less for it. On an invented roof of frames."""

from collections.abc import Callable

import pytest

import layout.retrofit.pairs
import layout.retrofit.search
from layout.retrofit.candidates import Found
from layout.retrofit.refine import Retrofit, Task, retrofit
from layout.retrofit.search import PAIR_TURNS, SOLVER_GAP, TURNS
from layout.retrofit_table import RetrofitTable

Setting = Callable[[dict[str, object], RetrofitTable], tuple[Task, Found]]

FRAMES = {
    "latitude": 52.3, "tilt": 0, "azimuth": 175, "columns": 2, "rows": 2, "gap": 0.02, "row_gap": 1.0,
    "orientation": "landscape", "frame": 20, "wiring": "panel",
}  # fmt: skip

TABLE = RetrofitTable(sheet_widths_m=(0.3, 0.6), sheet_tilts_deg=(10.0, 30.0), strip_widths_m=(0.1,))


def worth(result: Retrofit) -> float:
    """Of the set found, in the objective's unit."""
    p = result.problem
    return p.worth * result.gain_kwh / result.ac_per_dc - float(p.price[result.chosen].sum())


@pytest.mark.long
def test_giving_up_choices_at_once_loses_nothing(roof_setting: Setting, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sheets before a row and behind the next take much of each other's light: choices are given up for that, and the
    set found is worth as much as where each choice's electricity is worked out."""
    task, found = roof_setting(FRAMES, TABLE)
    summed, traced = layout.retrofit.search.summed, layout.retrofit.pairs.case_effects
    counts = {"sums": 0, "pairs": 0}

    def counting(name, work):  # type: ignore[no-untyped-def]
        def one(*args):  # type: ignore[no-untyped-def]
            counts[name] += 1
            return work(*args)

        return one

    monkeypatch.setattr(layout.retrofit.search, "summed", counting("sums", summed))
    monkeypatch.setattr(layout.retrofit.pairs, "case_effects", counting("pairs", traced))
    few = retrofit(task, found, processes=1)
    few_counts = counts.copy()
    monkeypatch.setattr(layout.retrofit.search, "PAIR_TURNS", 0)
    every = retrofit(task, found, processes=1)
    print(f"{len(found.candidates)} candidates: {worth(few):.2f} with {few_counts}, {worth(every):.2f} with all "
          f"{counts} less these")  # fmt: skip
    assert PAIR_TURNS < TURNS
    assert len(few.chosen)
    assert few_counts["sums"] < counts["sums"] - few_counts["sums"]
    assert worth(few) >= worth(every) * (1.0 - SOLVER_GAP)
