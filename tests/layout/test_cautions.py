"""Cautions on the inverter: told where its limit or its start do not suit the panels, and only there."""

import pytest

from layout.cautions import inverter_cautions
from layout.plan import InverterTable


@pytest.mark.parametrize(
    ("inverter", "not_started", "words"),
    [
        (InverterTable(ac_limit_kw=12_000.0), 0.0, "the panels' 14.7 kW are 0.12 % of its AC limit, 12000 kW"),
        (InverterTable(ac_limit_kw=50.0), 0.0, "29 % of its AC limit"),
        (InverterTable(start_kw=500.0), 1.0, "100 % of the DC energy come in hours below its start, 500 kW"),
        (InverterTable(ac_limit_kw=8.0, start_kw=0.3), 0.004, None),
        (InverterTable(), 0.0, None),
    ],
)
def test_an_inverter_that_does_not_suit_is_told(inverter: InverterTable, not_started: float, words: str | None) -> None:
    lines = inverter_cautions(inverter, 14.7, not_started)
    assert [words in line for line in lines if words] == ([True] if words else [])
    assert bool(lines) == bool(words)
