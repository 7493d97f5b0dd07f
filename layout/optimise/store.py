"""Finished evaluations on disk, one JSON line each, written at once: a search that is stopped goes on from them."""

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import layout
from layout.conditions import Conditions

ENGINE = ("arrange", "geometry", "light", "optics", "power", "optimise")


def engine_version() -> str:
    """Hash of the program's own text in all that an evaluation rests on."""
    root, digest = Path(layout.__file__).parent, hashlib.sha256()
    files = [*root.glob("*.py"), *(f for folder in ENGINE for f in (root / folder).glob("*.py"))]
    for path in sorted(files):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def problem_key(plan_data: Mapping[str, Any], year: Conditions) -> str:
    """What an evaluation belongs to: the plan without aims and prices, its weather, the engine.

    plan_data : the plan file's tables
    """
    kept = {k: v for k, v in plan_data.items() if k not in ("optimise", "prices", "title")}
    digest = hashlib.sha256(json.dumps(kept, sort_keys=True, default=str).encode())
    for values in (year.sky.beam, year.sky.dome, year.sky.horizon, year.albedo, year.air_c, year.wind_m_s):
        digest.update(values.tobytes())
    digest.update(engine_version().encode())
    return digest.hexdigest()[:24]


@dataclass(eq=False)
class Store:
    """Evaluations of one problem, in the order they were made. Not frozen: it grows.

    A line half written by a process that was killed is passed over.
    """

    path: Path
    key: str
    known: dict[str, dict[str, Any]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.path.exists():
            for line in self.path.read_text(encoding="utf-8").splitlines():
                try:
                    entry = json.loads(line)
                except json.JSONDecodeError:
                    continue
                if isinstance(entry, dict) and entry.get("key") == self.key:
                    self.known[entry["point"]] = entry["figures"]

    @staticmethod
    def point(what: str, name: str, values: Mapping[str, Any], peaks: bool) -> str:
        """The name of an evaluation. what : bay, whole or positions;  name : of the layout"""
        rounded = {k: round(v, 9) if isinstance(v, float) else v for k, v in sorted(values.items())}
        return json.dumps([what, name, rounded, peaks])

    def add(self, point: str, figures: dict[str, Any]) -> None:
        """Keep one evaluation, on disk before this returns."""
        self.known[point] = figures
        self.path.parent.mkdir(parents=True, exist_ok=True)
        line = json.dumps({"key": self.key, "point": point, "figures": figures}) + "\n"
        handle = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
        try:
            size = os.fstat(handle).st_size
            if size and os.pread(handle, 1, size - 1) != b"\n":
                line = "\n" + line  # the last one was cut off
            os.write(handle, line.encode("utf-8"))
            os.fsync(handle)
        finally:
            os.close(handle)
