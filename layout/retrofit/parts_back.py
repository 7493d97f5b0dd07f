"""The parts list as a builder gets it, and back: to a CSV file, from one, and into a plan that stands by itself."""

import csv
import io
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layout.optimise.write_plan import to_toml
from layout.roof_tables import RoofReflectorTable
from sites.conventions import FloatArray
from sites.errors import Fault, InputError
from sites.tables import MISSING, check_table, shown

ENDS = ("near_from", "near_to", "far_from", "far_to")
WAYS = ("right", "up", "above")
NEEDED = (
    "number", "plane", "reflector", "width_mm", "tilt_deg",
    *(f"{end}_{way}_m" for end in ENDS[:2] for way in WAYS),
)  # fmt: skip
"""Columns without which no sheet can be put back; the others may be missing."""

COLUMNS = (
    "number", "plane", "plane_name", "place", "looks_to", "reflector", "width_mm", "tilt_deg", "pieces",
    "piece_length_mm", *(f"{end}_{way}_m" for end in ENDS for way in WAYS), "area_m2", "weight_kg",
    "gain_kwh_a_year", "price", "currency",
)  # fmt: skip

MOST_LINES = 5_000

HEAD = """\
# A plan with reflectors on its roof, [[layout.plane.reflector]], named by the numbers of their parts list.
# Comments of the plan that it was made from are not in it.

"""


@dataclass(frozen=True, eq=False)
class Sheet:
    """One sheet of the parts list: a numbered place has one, or two back to back, a and b.

    table : as the plan tells it, its name the number;  plane : counted from 0
    far : (2, 3) [m] ends of the far edge: right, up, above the roof
    pieces, piece_mm : what it is made of, whole millimetres rounded down, so that the pieces fit in
    gain_kwh : of the numbered place, AC in a year, told with its first sheet; price : None without prices
    """

    table: RoofReflectorTable
    plane: int
    plane_name: str
    place: str
    looks_to: str
    far: FloatArray
    pieces: int
    piece_mm: int
    area_m2: float
    weight_kg: float
    gain_kwh: float | None
    price: float | None


def parts_csv(sheets: Sequence[Sheet], currency: str = "") -> str:
    """The parts list, a line a sheet."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for x in sheets:
        t = x.table
        ends = [*t.near_from, *t.near_to, *x.far.ravel()]
        writer.writerow(
            [t.name, x.plane, x.plane_name, x.place, x.looks_to, t.type, f"{t.width_m * 1000:g}", f"{t.tilt_deg:g}",
             x.pieces, x.piece_mm, *(f"{v + 0.0:.3f}" for v in ends), f"{x.area_m2:.3f}", f"{x.weight_kg:.2f}",
             *("" if v is None else f"{v:.2f}" for v in (x.gain_kwh, x.price)),
             "" if x.price is None else currency]
        )  # fmt: skip
    return text.getvalue()


def read_parts(text: str, file: str, planes: int) -> tuple[tuple[int, RoofReflectorTable], ...]:
    """Sheets of a parts list with the plane that each stands on; planes : how many the roof has.

    Columns may stand in any order, those beyond NEEDED may be missing. Raises InputError with every fault found.
    """
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    heads = [h.strip() for h in reader.fieldnames or ()]
    faults = [Fault(file, "line 1", f"no column {name!r}", "a parts list as retrofit writes it")
              for name in NEEDED if name not in heads]  # fmt: skip
    if faults:
        raise InputError(faults)
    found: list[tuple[int, RoofReflectorTable]] = []
    for row in reader:
        line = {(k or "").strip(): (v or "").strip() for k, v in row.items() if not isinstance(v, list)}
        if not any(line.values()):
            continue
        sheet = _sheet_of(line, f"line {reader.line_num}", file, planes, faults)
        if sheet is not None:
            found.append(sheet)
    if not faults and not 1 <= len(found) <= MOST_LINES:
        faults.append(Fault(file, "file", f"{len(found)} parts", f"1 to {MOST_LINES:,}"))
    if faults:
        raise InputError(faults)
    return tuple(found)


def _sheet_of(
    line: Mapping[str, str], where: str, file: str, planes: int, faults: list[Fault]
) -> tuple[int, RoofReflectorTable] | None:
    """One line as plane and sheet; None where it has a fault."""
    before = len(faults)
    values: dict[str, float] = {}
    for name in NEEDED:
        if name in ("number", "reflector"):
            if not line[name]:
                faults.append(Fault(file, f"{where}, {name}", MISSING, "text"))
            continue
        try:
            values[name] = float(line[name])
        except ValueError:
            found = shown(line[name]) if line[name] else MISSING
            faults.append(Fault(file, f"{where}, {name}", found, "a number, point as decimal sign"))
    plane = values.get("plane")
    if plane is not None and plane not in range(planes):
        accepted = "0" if planes == 1 else f"a whole number from 0 to {planes - 1}, the roof's planes in order"
        faults.append(Fault(file, f"{where}, plane", line["plane"], accepted))
    if len(faults) > before:
        return None
    ends = {end: tuple(values[f"{end}_{way}_m"] for way in WAYS) for end in ENDS[:2]}
    told: dict[str, Any] = {"name": line["number"], "type": line["reflector"], **ends}
    told |= {"width_m": round(values["width_mm"] / 1000.0, 6), "tilt_deg": values["tilt_deg"]}
    table = check_table(RoofReflectorTable, told, file, where, faults)
    return None if table is None else (int(values["plane"]), table)


def plan_with_parts(
    data: Mapping[str, Any], folder: Path, layout: str, sheets: Sequence[tuple[int, RoofReflectorTable]]
) -> str:
    """A plan's text with sheets on the planes of its roof ``layout``, beside those that stand there already.

    data : the plan's tables as read; folder : what file names in them count from; they are told with their whole path
    Every panel is traced by itself, as a retrofit does, so that the plan's year is that of the retrofit.
    """
    made = _with_whole_paths(data, folder)
    roof = next(table for table in made["layout"] if table["name"] == layout)
    for plane, sheet in sheets:
        told = {key: _plain(value) for key, value in sheet.model_dump().items()}
        roof["plane"][plane].setdefault("reflector", []).append(told)
    made["run"] = {**made.get("run", {}), "repetition": False}
    return HEAD + to_toml(made)


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _with_whole_paths(data: Mapping[str, Any], folder: Path) -> dict[str, Any]:
    """The same tables, files named so that the plan may lie in any folder."""
    made: dict[str, Any] = deepcopy(dict(data))
    for table, key in (("site", "weather"), ("site", "skyline"), ("plot", "boundary_file")):
        name = made.get(table, {}).get(key)
        if isinstance(name, str) and not name.startswith("pvlib:"):
            made[table][key] = str((folder / name).resolve())
    return made
