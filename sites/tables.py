"""Tables of a TOML file against their models: every fault found, each with its dotted key.

A model's fields carry their meaning, what they accept and, in the field's name, their unit. Numbers are taken
as they stand: no text or truth value is turned into a number.
"""

import datetime
import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails

from sites.errors import Fault, InputError

MISSING = "nothing"
"""Found, where something that has to be there is not."""

UNKNOWN = "an unknown key"

SLIP = " (nearest known)"

NEAR = 0.7
"""Likeness (difflib's ratio) from which a word counts as a slip of another; a common unit is not enough."""

LONGEST_FOUND = 60
"""Letters of a wrong value that are shown."""

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Point = tuple[Number, Number]
Vector = tuple[Number, Number, Number]
Outline = Annotated[tuple[Point, ...], Field(min_length=3)]


class Table(BaseModel):
    """A table of an input file: frozen, and unknown keys are faults."""

    model_config = ConfigDict(extra="forbid", frozen=True)


T = TypeVar("T", bound=Table)


def key_of(meaning: str, accepts: str, default: Any = ..., **limits: Any) -> Any:
    """A key of any kind, with its meaning and what it accepts."""
    return Field(default, description=meaning, json_schema_extra={"accepts": accepts}, **limits)


def number(
    meaning: str,
    default: Any = ...,
    *,
    ge: float | None = None,
    gt: float | None = None,
    le: float | None = None,
    lt: float | None = None,
) -> Any:
    """A finite number within limits."""
    accepts = _range_text("a number", ge, gt, le, lt)
    return key_of(meaning, accepts, default, strict=True, allow_inf_nan=False, ge=ge, gt=gt, le=le, lt=lt)


def whole(meaning: str, default: Any = ..., *, ge: int | None = None, le: int | None = None) -> Any:
    """A whole number within limits."""
    return key_of(meaning, _range_text("a whole number", ge, None, le, None), default, strict=True, ge=ge, le=le)


def text(meaning: str, default: Any = ..., accepts: str = "text") -> Any:
    """A line of text that is not empty."""
    return key_of(meaning, accepts, default, strict=True, min_length=1, max_length=500)


def flag(meaning: str, default: Any = ...) -> Any:
    """true or false."""
    return key_of(meaning, "true or false", default, strict=True)


def _range_text(kind: str, ge: float | None, gt: float | None, le: float | None, lt: float | None) -> str:
    low = f"from {ge:g}" if ge is not None else f"above {gt:g}" if gt is not None else ""
    high = f"to {le:g}" if le is not None else f"to below {lt:g}" if lt is not None else ""
    return " ".join(part for part in (kind, low, high) if part)


def shown(value: Any) -> str:
    """A wrong value as the user may recognise it, on one line and not too long.

    >>> shown(True), shown("a\\nb"), shown({"x": 1}), shown([1, 2])
    ('true', "'a\\\\nb'", 'a table', '[1, 2]')
    """
    if value is None:
        return MISSING
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, int) and value.bit_length() > 100:
        return "a whole number beyond all use"
    if isinstance(value, list | tuple):
        inside = f"[{', '.join(shown(v) for v in value[:9])}]"
        return inside if len(value) < 9 and len(inside) <= LONGEST_FOUND else f"a list of {len(value)}"
    if isinstance(value, datetime.date | datetime.time):
        return f"a date or time, {value.isoformat()}"
    words = repr(value)
    return words if len(words) <= LONGEST_FOUND else f"{words[: LONGEST_FOUND - 3]}..."


def nearest(word: str, known: Iterable[str]) -> str:
    """What is accepted in place of an unknown word: the nearest known ones, or all.

    >>> nearest("pich_m", ["pitch_m", "tilt_deg"]), nearest("qqq", ["b", "a"])
    ("'pitch_m' (nearest known)", "'a', 'b'")
    """
    known = sorted(known)
    close = difflib.get_close_matches(word, known, n=1, cutoff=NEAR)
    if close:
        return f"{close[0]!r}{SLIP}"
    return ", ".join(repr(k) for k in known) if known else "nothing"


def unknown_key(file: str, key: str, word: str, known: Iterable[str]) -> Fault:
    """The fault of a key that means nothing."""
    return Fault(file, f"{key}.{word}" if key else word, UNKNOWN, nearest(word, known))


def check_table(model: type[T], data: Any, file: str, key: str, faults: list[Fault]) -> T | None:
    """The table as its model, or None with every fault added to ``faults``.

    key : dotted path of the table in the file, "" for the file's own top level
    """
    if not isinstance(data, Mapping):
        faults.append(Fault(file, key, shown(data), f"a table, [{key}]"))
        return None
    try:
        return model.model_validate(dict(data))
    except ValidationError as error:
        details = error.errors(include_url=False, include_context=False)
        faults.extend(_told_once([_fault(detail, model, data, file, key) for detail in details]))
        return None


def name_beside_keys(data: Mapping[str, Any], model: type[Table], file: str, key: str) -> list[Fault]:
    """Faults of a table that names a bundled thing and has other keys too, known in ``model`` or not."""
    known = {**model.model_fields, "name": None}
    faults = [unknown_key(file, key, word, known) for word in data if word not in known]
    beside = [word for word in data if word in model.model_fields]
    if beside:
        accepted = "name alone, or all keys but name"
        faults.append(Fault(file, f"{key}.name", f"name beside {', '.join(beside)}", accepted))
    return faults


def _told_once(found: list[Fault]) -> list[Fault]:
    """One fault a key, and none of a list or table for what a part of it tells."""
    by_key: dict[str, Fault] = {}
    for fault in found:
        by_key.setdefault(fault.key, fault)
    parts = [
        fault for key, fault in by_key.items() if not any(other.startswith((f"{key}[", f"{key}.")) for other in by_key)
    ]
    return without_misspelt(parts)


def without_misspelt(faults: Iterable[Fault]) -> list[Fault]:
    """The faults without those of missing keys that an unknown key is a slip of: one slip, one line."""
    faults = list(faults)
    meant = set()
    for fault in faults:
        if fault.found == UNKNOWN and fault.accepted.endswith(SLIP):
            table, _, _ = fault.key.rpartition(".")
            word = fault.accepted.removesuffix(SLIP).strip("'")
            meant.add(f"{table}.{word}" if table else word)
    return [fault for fault in faults if not (fault.found == MISSING and fault.key in meant)]


def _fault(detail: ErrorDetails, model: type[Table], data: Mapping[str, Any], file: str, key: str) -> Fault:
    """One pydantic error as a fault."""
    loc = detail["loc"]
    owner, accepts, value = model, "", data
    path = key
    for depth, part in enumerate(loc):
        last = depth == len(loc) - 1
        if isinstance(part, int):
            if isinstance(value, list | tuple) and part < len(value):
                path, value = f"{path}[{part}]", value[part]
        elif isinstance(value, Mapping) and (part in value or last):
            if detail["type"] == "extra_forbidden" and last:
                return unknown_key(file, path, part, owner.model_fields)
            path = f"{path}.{part}" if path else part
            value = value.get(part, _ABSENT)
            if part in owner.model_fields:
                field = owner.model_fields[part]
                extra = field.json_schema_extra
                accepts = str(extra.get("accepts", "")) if isinstance(extra, dict) else ""
                owner = _inner_model(field.annotation) or owner
    if value is _ABSENT:
        return Fault(file, path, MISSING, accepts)
    return Fault(file, path, shown(value), accepts)


_ABSENT: Any = object()


def _inner_model(annotation: Any) -> type[Table] | None:
    """The Table inside ``Table | None`` or ``tuple[Table, ...]``, if any."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        inner = _inner_model(argument)
        if inner is not None:
            return inner
    return None


def parse_toml(source: str, file: str) -> dict[str, Any]:
    """TOML text as plain dictionaries.

    Raises InputError with the line where the parser gives one.
    """
    try:
        return tomllib.loads(source)
    except RecursionError:
        raise InputError([Fault(file, "file", "lists nested without end", "a TOML file")]) from None
    except ValueError as error:
        message = str(error)
        place = re.search(r"\s*\(at (line \d+)?.*\)$", message)
        key = "file" if place is None else place[1] or "last line"
        what = message[: place.start()] if place else message
        raise InputError([Fault(file, key, f"invalid TOML ({what})", "TOML")]) from None


def read_text(path: Path, given: str, file: str, key: str = "file", accepted: str = "a file") -> str:
    """A text file's content. Raises InputError where it cannot be read or is not UTF-8 text.

    given : the file's name as the user wrote it;  file, key : where the user wrote it
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError([Fault(file, key, f"{given!r}, not UTF-8 text", "a text file in UTF-8")]) from None
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = "no such file" if isinstance(error, FileNotFoundError) else _reason(error)
        raise InputError([Fault(file, key, f"{given!r}, {reason}", accepted)]) from None


def _reason(error: OSError | ValueError) -> str:
    return (getattr(error, "strerror", None) or "unusable name").lower()
