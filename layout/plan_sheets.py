"""Reflector and diffuser types of a plan: its own tables, the bundled ones, and who names them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from layout.diffuser_types import (
    DiffuserType,
    diffuser_doubts,
    diffuser_from_values,
    list_diffuser_types,
    load_diffuser_type,
)
from layout.plan_tables import Layout, PiecesLayout
from layout.reflector_types import (
    ReflectorType,
    list_reflector_types,
    load_reflector_type,
    reflector_doubts,
    reflector_from_values,
)
from layout.roof_tables import RoofLayout
from layout.sheet_tables import DiffuserPieceTable, DiffuserTable, ReflectorPieceTable, ReflectorTable
from sites.errors import Fault, InputError
from sites.tables import MISSING, check_table, nearest, shown

T = TypeVar("T", ReflectorTable, DiffuserTable)
K = TypeVar("K", ReflectorType, DiffuserType)

VALUES = {
    "reflector": ("reflectance", "total_reflectance", "slope_rms_deg", "diffuse", "ageing_factor", "soiling_factor"),
    "diffuser": ("transmittance", "heat_transmittance", "spread_rms_deg", "diffuse"),
}


@dataclass(frozen=True, eq=False)
class SheetTypes:
    """A plan's own types by name; bundled ones are found as well.

    known : every name that the plan's layouts may use, those of faulty tables included
    """

    reflectors: Mapping[str, ReflectorType]
    diffusers: Mapping[str, DiffuserType]
    known: Mapping[str, tuple[str, ...]]

    def reflector(self, name: str) -> ReflectorType:
        """A reflector type by name. Raises InputError for an unknown one."""
        return self.reflectors[name] if name in self.reflectors else load_reflector_type(name)

    def diffuser(self, name: str) -> DiffuserType:
        """A diffuser type by name. Raises InputError for an unknown one."""
        return self.diffusers[name] if name in self.diffusers else load_diffuser_type(name)

    def reflector_of(self, piece: ReflectorPieceTable) -> ReflectorType:
        """The type of a [[layout.reflector]]: the one it names, or its own values."""
        if piece.type is not None:
            return self.reflector(piece.type)
        faults: list[Fault] = []
        kind = reflector_from_values("a piece of its own", piece, "", "plan", "reflector", faults)
        if kind is None:
            raise InputError(faults)
        return kind

    def diffuser_of(self, piece: DiffuserPieceTable) -> DiffuserType:
        """The type of a [[layout.diffuser]]: the one it names, or its own values."""
        if piece.type is not None:
            return self.diffuser(piece.type)
        faults: list[Fault] = []
        kind = diffuser_from_values("a piece of its own", piece, "", "plan", "diffuser", faults)
        if kind is None:
            raise InputError(faults)
        return kind


NO_TYPES = SheetTypes({}, {}, {"reflector": (), "diffuser": ()})


def read_sheet_types(data: Mapping[str, Any], file: str, faults: list[Fault], warnings: list[str]) -> SheetTypes:
    """[[reflector]] and [[diffuser]] of a plan, with every fault added to ``faults``."""

    def reflector(table: ReflectorTable, key: str) -> ReflectorType | None:
        kind = reflector_from_values(table.name, table, table.note, file, key, faults)
        warnings.extend(reflector_doubts(kind, key) if kind else [])
        return kind

    def diffuser(table: DiffuserTable, key: str) -> DiffuserType | None:
        kind = diffuser_from_values(table.name, table, table.note, file, key, faults)
        warnings.extend(diffuser_doubts(kind, key) if kind else [])
        return kind

    bundled = {"reflector": list_reflector_types(), "diffuser": list_diffuser_types()}
    return SheetTypes(
        _read("reflector", data, ReflectorTable, reflector, bundled["reflector"], file, faults),
        _read("diffuser", data, DiffuserTable, diffuser, bundled["diffuser"], file, faults),
        {key: (*names, *_names(data.get(key))) for key, names in bundled.items()},
    )


def _read(
    key: str,
    data: Mapping[str, Any],
    model: type[T],
    build: Callable[[T, str], K | None],
    bundled: tuple[str, ...],
    file: str,
    faults: list[Fault],
) -> dict[str, K]:
    tables, kinds, seen = data.get(key, []), {}, set(bundled)
    if not isinstance(tables, list):
        faults.append(Fault(file, key, shown(tables), f"tables, [[{key}]]"))
        return {}
    for i, table in enumerate(tables):
        here = f"{key}[{i}]"
        if not isinstance(table, Mapping):
            faults.append(Fault(file, here, shown(table), f"a table, [[{key}]]"))
            continue
        checked = check_table(model, table, file, here, faults)
        if checked is None:
            continue
        if checked.name in seen:
            again = "the name of a bundled type" if checked.name in bundled else "a name given before"
            faults.append(Fault(file, f"{here}.name", f"{shown(checked.name)}, {again}", "a name of its own"))
        seen.add(checked.name)
        kind = build(checked, here)
        if kind is not None:
            kinds[checked.name] = kind
    return kinds


def _names(tables: Any) -> list[str]:
    """Names of a plan's types, those of faulty tables included."""
    several = tables if isinstance(tables, list) else [tables]
    found = [table.get("name") for table in several if isinstance(table, Mapping)]
    return [name for name in found if isinstance(name, str)]


def sheet_faults(layout: Layout, types: SheetTypes, file: str, key: str, warnings: list[str]) -> list[Fault]:
    """Types that a layout names and nobody defines, and pieces whose values say too much or too little."""
    faults = []
    if isinstance(layout, PiecesLayout):
        faults.extend(_piece_faults(layout, types, file, key, warnings))
    elif isinstance(layout, RoofLayout):
        for k, plane in enumerate(layout.plane):
            for i, sheet in enumerate(plane.reflector):
                here = f"{key}.plane[{k}].reflector[{i}].type"
                faults.extend(_unknown(sheet.type, "reflector", types, file, here))
    else:
        for i, booster in enumerate(layout.booster):
            faults.extend(_unknown(booster.reflector, "reflector", types, file, f"{key}.booster[{i}].reflector"))
    if layout.cover is not None:
        faults.extend(_unknown(layout.cover.diffuser, "diffuser", types, file, f"{key}.cover.diffuser"))
    return faults


def _piece_faults(layout: PiecesLayout, types: SheetTypes, file: str, key: str, warnings: list[str]) -> list[Fault]:
    faults: list[Fault] = []
    for i, piece in enumerate(layout.reflector):
        here = f"{key}.reflector[{i}]"
        named = _named(piece, "reflector", types, file, here)
        faults.extend(named or [])
        if named is None:
            mirror = reflector_from_values("", piece, "", file, here, faults)
            warnings.extend(reflector_doubts(mirror, here) if mirror else [])
    for i, sheet in enumerate(layout.diffuser):
        here = f"{key}.diffuser[{i}]"
        named = _named(sheet, "diffuser", types, file, here)
        faults.extend(named or [])
        if named is None:
            diffuser = diffuser_from_values("", sheet, "", file, here, faults)
            warnings.extend(diffuser_doubts(diffuser, here) if diffuser else [])
    return faults


def _named(
    piece: ReflectorPieceTable | DiffuserPieceTable, what: str, types: SheetTypes, file: str, key: str
) -> list[Fault] | None:
    """Faults of a piece's way to tell its type; None where it has values of its own."""
    beside = [name for name in VALUES[what] if name in piece.model_fields_set]
    if piece.type is None:
        return None if beside else [Fault(file, f"{key}.type", MISSING, f"a {what} type, or values of its own")]
    if beside:
        found = f"type beside {', '.join(beside)}"
        return [Fault(file, f"{key}.type", found, "a type or values of its own")]
    return _unknown(piece.type, what, types, file, f"{key}.type")


def _unknown(name: str, what: str, types: SheetTypes, file: str, key: str) -> list[Fault]:
    known = types.known[what]
    return [] if name in known else [Fault(file, key, f"no {what} type {shown(name)}", nearest(name, known))]
