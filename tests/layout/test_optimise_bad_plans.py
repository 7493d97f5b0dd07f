"""Wrong tables [optimise] and [prices]: each with the lines that tell what is wrong, and no others."""

from pathlib import Path

import pytest

from layout.plan import parse_plan
from sites.errors import InputError

GOOD = """\
[site]
name = "corrawindle"
[plot]
boundary = [[0, 0], [36, 0], [36, 27], [0, 27]]
[[layout]]
name = "rows"
kind = "rows"
tilt_deg = 24
azimuth_deg = 0
pitch_m = 5
[[layout.booster]]
reflector = "mirror"
place = "aisle"
width_m = 0.9
tilt_deg = 15
[[layout]]
name = "towers"
kind = "towers"
side_m = 1.5
height_m = 2.5
spacing_m = 6
[[layout]]
name = "set"
kind = "rows"
tilt_deg = 24
azimuth_deg = 0
pitch_m = 5
positions_m = [-20, -10]
[[layout]]
name = "own"
kind = "pieces"
[[layout.panel]]
corner = [1, 1, 0.5]
along = [1, 0, 0]
up = [0, 0.8, 0.6]
"""

VARY = '[[optimise.vary]]\nlayout = "rows"\nkey = "pitch_m"\nlow = 4\nhigh = 8\n'


def cases() -> list[tuple[str, str, list[str]]]:
    """Name, what is added to the good plan, lines of the message."""
    text = (Path(__file__).parent / "bad_optimise.txt").read_text(encoding="utf-8")
    found = []
    for case in text.split("== ")[1:]:
        name, *lines = [line for line in case.splitlines() if line]
        added = "\n".join(VARY if line == "+ {VARY}" else line[2:] for line in lines if line[0] == "+")
        found.append((name, added, [line[2:] for line in lines if line[0] == "!"]))
    return found


@pytest.mark.parametrize(("name", "added", "message"), cases(), ids=lambda v: v if isinstance(v, str) else "")
def test_the_message_tells_what_is_wrong(name: str, added: str, message: list[str]) -> None:
    with pytest.raises(InputError) as told:
        parse_plan(GOOD + added, "bad.toml", Path())
    assert str(told.value).splitlines() == message, name


def test_the_plan_is_good_without_them() -> None:
    plan = parse_plan(f"{GOOD}[optimise]\n{VARY}[prices]\npanel = 80\n", "bad.toml", Path())
    assert plan.optimise is not None
    assert plan.prices is not None
