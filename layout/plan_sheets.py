"""Reflector and diffuser types of a plan: its own tables, the bundled ones, and who names them."""

from collections.abc import Callable, Iterator, Mapping
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


def sheet_faults(layout: Layout, file: str, key: str, warnings: list[str]) -> list[Fault]:
    """Pieces of a layout whose values say too much or too little."""
    if not isinstance(layout, PiecesLayout):
        return []
    faults: list[Fault] = []
    for i, piece in enumerate(layout.reflector):
        here = f"{key}.reflector[{i}]"
        if _own_values(piece, "reflector", file, here, faults):
            mirror = reflector_from_values("", piece, "", file, here, faults)
            warnings.extend(reflector_doubts(mirror, here) if mirror else [])
    for i, sheet in enumerate(layout.diffuser):
        here = f"{key}.diffuser[{i}]"
        if _own_values(sheet, "diffuser", file, here, faults):
            diffuser = diffuser_from_values("", sheet, "", file, here, faults)
            warnings.extend(diffuser_doubts(diffuser, here) if diffuser else [])
    return faults


def _own_values(
    piece: ReflectorPieceTable | DiffuserPieceTable, what: str, file: str, key: str, faults: list[Fault]
) -> bool:
    """Whether a piece has values of its own and no type."""
    beside = [name for name in VALUES[what] if name in piece.model_fields_set]
    if piece.type is None and not beside:
        faults.append(Fault(file, f"{key}.type", MISSING, f"a {what} type, or values of its own"))
    elif piece.type is not None and beside:
        found = f"type beside {', '.join(beside)}"
        faults.append(Fault(file, f"{key}.type", found, "a type or values of its own"))
    return piece.type is None and bool(beside)


def type_faults(layouts: Any, types: SheetTypes, file: str, faults: list[Fault]) -> None:
    """Types that [[layout]] tables name and nobody defines: looked for in the tables as read, so that another fault of
    a layout does not hide them. A key that has told a fault tells no second one."""
    told = {fault.key for fault in faults}
    for index, table in enumerate(_tables(layouts)):
        for key, what, name in _types_named(table):
            known, here = types.known[what], f"layout[{index}].{key}"
            if isinstance(name, str) and name not in known and here not in told:
                faults.append(Fault(file, here, f"no {what} type {shown(name)}", nearest(name, known)))


def _types_named(table: Mapping[str, Any]) -> Iterator[tuple[str, str, Any]]:
    """Key, kind of sheet and name of every type that one layout's table names where its kind may name one."""
    kind = table.get("kind")
    if kind == "pieces":
        for what in VALUES:
            for i, piece in enumerate(_tables(table.get(what))):
                yield f"{what}[{i}].type", what, piece.get("type")
    elif kind == "roof":
        for k, plane in enumerate(_tables(table.get("plane"))):
            for i, sheet in enumerate(_tables(plane.get("reflector"))):
                yield f"plane[{k}].reflector[{i}].type", "reflector", sheet.get("type")
    else:
        for i, booster in enumerate(_tables(table.get("booster"))):
            yield f"booster[{i}].reflector", "reflector", booster.get("reflector")
    for cover in _tables([table.get("cover")]):
        yield "cover.diffuser", "diffuser", cover.get("diffuser")


def _tables(value: Any) -> list[Mapping[str, Any]]:
    """The tables of a list, an empty one in place of anything else; no list, no tables."""
    return [t if isinstance(t, Mapping) else {} for t in value] if isinstance(value, list) else []
