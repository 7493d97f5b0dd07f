"""The chosen parts of a retrofit: numbered, told as lines, and as rows of the report's tables."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layout.report.boost_rows import Rows
from layout.report.numbers import NOTHING, number, signed
from layout.retrofit.candidates import Candidate
from layout.retrofit.parts_back import Sheet
from layout.retrofit.payback import Payback, payback
from layout.retrofit.refine import Retrofit, Task, part_money
from layout.roof_reflectors import far_edge, sheet_told
from layout.roof_shapes import RoofPlane
from sites.conventions import FloatArray

GAP = "gap between "


@dataclass(frozen=True, eq=False)
class PartLine:
    """One numbered place with its parts.

    looks_to : the panels that its light goes to;  sheets : one, or two back to back
    gain_kwh : AC in a year, shared out from the model's effects;  money : None without prices
    """

    number: int
    place: str
    looks_to: str
    part: Candidate
    plane: RoofPlane
    sheets: tuple[Sheet, ...]
    gain_kwh: float
    kg: float
    money: Payback | None

    @property
    def pieces(self) -> str:
        """How many of what length, m."""
        return f"{self.part.parts} × {self.sheets[0].piece_mm / 1000:.3f}"


def part_lines(result: Retrofit, task: Task) -> tuple[PartLine, ...]:
    """The chosen parts, numbered from 1."""
    cost = part_money(result.parts, task.table)
    names = plane_names(task.planes)
    lines = []
    for k, (part, gain) in enumerate(zip(result.parts, result.part_gain_kwh, strict=True)):
        place, plane = result.found.places[part.place].name, task.planes[part.plane]
        money = payback(float(cost[k]), float(gain), task.table)
        kg = part.area_m2 * task.table.kg_per_m2
        towards = _sides(place, part.facing)
        sheets = _sheets(k + 1, place, towards, part, (plane, names[part.plane]), kg, float(gain), money)
        looks_to = " and ".join(towards)
        lines.append(PartLine(k + 1, place, looks_to, part, plane, sheets, float(gain), kg, money))
    return tuple(lines)


def _sides(place: str, facing: str) -> list[str]:
    """Which panels each sheet of a place looks to, in the order of its sheets."""
    if not place.startswith(GAP):
        return [facing]
    first, second = place.removeprefix(GAP).split(" and ")
    return {"first side": [first], "second side": [second]}.get(facing, [first, second])


def plane_names(planes: Sequence[RoofPlane]) -> tuple[str, ...]:
    """The planes' names; planes of one name are told apart by their place in the plan, counted from 0."""
    counts = Counter(plane.table.name for plane in planes)
    names = enumerate(plane.table.name for plane in planes)
    return tuple(f"{name} ({k})" if counts[name] > 1 else name for k, name in names)


def facing_words(place: str, facing: str) -> str:
    """The panels that the sheets of a place look to."""
    return " and ".join(_sides(place, facing))


def _sheets(
    number_: int, place: str, towards: Sequence[str], part: Candidate, named: tuple[RoofPlane, str], kg: float,
    gain: float, money: Payback | None,
) -> tuple[Sheet, ...]:  # fmt: skip
    """The sheets of a place, as the parts list tells them: a and b where there are two. named : plane and its name"""
    s, several, (plane, plane_name) = part.sheets, len(part.sheets), named
    found = []
    for k in range(several):
        name = f"{number_}" if several == 1 else f"{number_}{'ab'[k]}"
        table = sheet_told(plane, (s.corner[k], s.along[k], s.up[k]), name, part.kind.reflector)
        found.append(
            Sheet(
                table=table,
                plane=part.plane,
                plane_name=plane_name,
                place=place,
                looks_to=towards[k],
                far=far_edge(table, plane),
                pieces=part.parts // several,
                piece_mm=int(np.floor(part.part_m * 1000.0 + 1e-6)),
                area_m2=float(s.area[k]),
                weight_kg=kg / several,
                gain_kwh=gain if k == 0 else None,
                price=None if money is None else money.cost / several,
            )
        )
    return tuple(found)


def sheets_of(lines: Sequence[PartLine]) -> tuple[Sheet, ...]:
    """All sheets in the order of their numbers."""
    return tuple(sheet for line in lines for sheet in line.sheets)


def total_money(lines: Sequence[PartLine], result: Retrofit, task: Task) -> Payback | None:
    """Money of all parts with the gain of the whole tracing; None without prices or parts."""
    if not lines:
        return None
    return payback(float(part_money(result.parts, task.table).sum()), result.gain_kwh, task.table)


def build_rows(lines: Sequence[PartLine], whole: Payback | None, currency: str) -> Rows:
    """What to build: a line a place and one for all; prices where the plan gives them."""
    heads = ["what", "where", "looks to", "pieces ×\nlength, m", "area\nm²", "weight\nkg", "AC gain\nkWh a year"]
    heads += [f"price\n{currency}", "pays back\nin years"] if whole else []
    rows = [
        (
            f"{x.number}", x.part.kind.words, x.place, x.looks_to, x.pieces, number(x.part.area_m2), number(x.kg),
            signed(x.gain_kwh), *(_money_cells(x.money) if whole else ()),
        )
        for x in lines
    ]  # fmt: skip
    area, kg, gain = (sum(v) for v in zip(*((x.part.area_m2, x.kg, x.gain_kwh) for x in lines), strict=True))
    rows.append(
        (
            "all", f"kinds: {len({x.part.kind for x in lines})}", "", "", f"{sum(x.part.parts for x in lines)}",
            number(area), number(kg), signed(gain), *(_money_cells(whole) if whole else ()),
        )
    )  # fmt: skip
    return Rows(tuple(heads), tuple(rows))


def _money_cells(money: Payback | None) -> tuple[str, str]:
    if money is None:
        return NOTHING, NOTHING
    return number(money.cost), years_words(money)


def years_words(money: Payback) -> str:
    """Years until parts have paid back."""
    if money.years is None:
        return NOTHING
    return number(money.years) if np.isfinite(money.years) else "never"


def place_rows(lines: Sequence[PartLine]) -> Rows:
    """Where each sheet goes: the corners that a builder measures out, metres on the plane."""
    return Rows(
        ("roof plane", "near edge from\nright, up, above m", "near edge to\nright, up, above m",
         "far edge from\nright, up, above m", "far edge to\nright, up, above m", "width\nmm", "turned up\n°"),
        tuple(
            (
                s.table.name, s.plane_name, _point(s.table.near_from), _point(s.table.near_to), _point(s.far[0]),
                _point(s.far[1]), f"{s.table.width_m * 1000:g}", f"{s.table.tilt_deg:g}",
            )
            for s in sheets_of(lines)
        ),
    )  # fmt: skip


def _point(place: Sequence[float] | FloatArray) -> str:
    return ", ".join(f"{round(float(v), 3) + 0.0:.3f}" for v in place)


def cutting_rows(lines: Sequence[PartLine]) -> Rows:
    """Widths and lengths to cut, with how many of each and for which numbers."""
    counts: Counter[tuple[str, float, int]] = Counter()
    numbers: dict[tuple[str, float, int], list[int]] = {}
    for x in lines:
        key = (x.part.kind.reflector, x.part.kind.width_m, x.sheets[0].piece_mm)
        counts[key] += x.part.parts
        numbers.setdefault(key, []).append(x.number)
    return Rows(
        ("width\nmm", "length\nmm", "pieces", "area together\nm²", "for numbers"),
        tuple(
            (
                name, f"{width * 1000:g}", f"{length}", f"{counts[name, width, length]}",
                number(counts[name, width, length] * width * length / 1000.0),
                ", ".join(map(str, numbers[name, width, length])),
            )
            for name, width, length in sorted(counts)
        ),
    )  # fmt: skip


def part_texts(lines: Sequence[PartLine], currency: str) -> list[str]:
    """The parts in lines of text: too wide for a table in a terminal."""
    return [
        f"{x.number}. {x.place}: {x.pieces} m of {x.part.kind.words}, {number(x.part.area_m2)} m², {number(x.kg)} kg; "
        f"looks to {x.looks_to}; {signed(x.gain_kwh)} kWh a year at the socket"
        + ("" if x.money is None else f"; price {number(x.money.cost)} {currency}")
        for x in lines
    ]
