"""Results as files: a plan with the best shapes in it, and corners for a surveyor."""

import csv
import io
import json
import re
from collections.abc import Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any

import numpy as np
import pyproj

from layout.arrange.arrangement import Arrangement
from layout.optimise_tables import Value, set_values
from layout.plan import Layout
from sites.conventions import elevation_azimuth

FILE_KEYS = ("boundary_file", "weather_file", "file")
BARE = re.compile(r"^[A-Za-z0-9_-]+$")


def plan_with(
    data: Mapping[str, Any],
    folder: Path,
    best: Mapping[str, Mapping[str, Value]],
    placed: Mapping[str, Mapping[str, Any]] | None = None,
) -> dict[str, Any]:
    """A plan's tables with the best values by layout; its own search left out, files by their whole path.

    placed : keys that give places of rows or towers, by layout
    """
    made = {k: deepcopy(v) for k, v in data.items() if k != "optimise"}
    for table in made.values():
        if isinstance(table, dict):
            for key in [k for k in table if k in FILE_KEYS]:
                table[key] = str((folder / table[key]).resolve())
    for layout in made["layout"]:
        set_values(layout, layout.get("booster", []), best.get(layout["name"], {}))
        for key, places in (placed or {}).get(layout["name"], {}).items():
            layout[key] = (
                [list(p) if isinstance(p, tuple) else p for p in places] if isinstance(places, tuple) else places
            )
    return made


def plain_table(layout: Layout) -> dict[str, Any]:
    """A layout's table with what differs from its defaults."""
    return {k: _plain(v) for k, v in layout.model_dump(exclude_defaults=True).items()}


def _plain(value: Any) -> Any:
    """Tuples as lists, for TOML."""
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    return [_plain(v) for v in value] if isinstance(value, list | tuple) else value


def to_toml(data: Mapping[str, Any]) -> str:
    """Tables as TOML text.

    >>> print(to_toml({"a": 1, "t": {"b": [1.5, True]}, "x": [{"c": "d"}]}).strip())
    a = 1
    <BLANKLINE>
    [t]
    b = [1.5, true]
    <BLANKLINE>
    [[x]]
    c = "d"
    """
    return "\n".join(_lines(data, "")) + "\n"


def _lines(table: Mapping[str, Any], path: str) -> list[str]:
    plain = {k: v for k, v in table.items() if not _is_table(v)}
    lines = [f"{_key(k)} = {_value(v)}" for k, v in plain.items()]
    for key, value in table.items():
        name = f"{path}.{_key(key)}" if path else _key(key)
        if isinstance(value, Mapping):
            lines += ["", f"[{name}]", *_lines(value, name)]
        elif _is_table(value):
            for item in value:
                lines += ["", f"[[{name}]]", *_lines(item, name)]
    return lines


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping) or (isinstance(value, list) and bool(value) and isinstance(value[0], Mapping))


def _key(word: str) -> str:
    return word if BARE.match(word) else json.dumps(word, ensure_ascii=False)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return repr(value) if isinstance(value, int | float) else str(value)


def corners_csv(arrangement: Arrangement) -> str:
    """Corners of every panel and reflector in metres on the plan's map, tilt and azimuth, one line each."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    corners = [f"{axis}{i}_m" for i in range(1, 5) for axis in "xyz"]
    writer.writerow(["what", "number", *corners, "tilt_deg", "azimuth_deg"])
    for what, number, points, tilt, azimuth in _pieces(arrangement):
        row = [f"{v:.3f}" for v in points.ravel()]
        writer.writerow([what, number, *row, f"{tilt:.2f}", f"{azimuth:.2f}"])
    return text.getvalue()


def corners_geojson(arrangement: Arrangement, longitude_deg: float, latitude_deg: float) -> str:
    """The same as GeoJSON (RFC 7946): longitude, latitude, height above the plan's zero level.

    longitude_deg, latitude_deg : of the map's origin; the map is azimuthal equidistant about it, WGS 84
    """
    features = []
    local = pyproj.Proj(proj="aeqd", lon_0=longitude_deg, lat_0=latitude_deg, ellps="WGS84")
    for what, number, points, tilt, azimuth in _pieces(arrangement):
        around = points[[0, 1, 2, 3, 0]]
        ring = np.column_stack([*local(around[:, 0], around[:, 1], inverse=True), around[:, 2]])
        # RFC 7946: outer rings run counterclockwise.
        x, y = ring[:, 0], ring[:, 1]
        if (x[:-1] * y[1:] - x[1:] * y[:-1]).sum() < 0:
            ring = ring[::-1]
        geometry = {"type": "Polygon", "coordinates": [[[round(a, 9), round(b, 9), round(c, 3)] for a, b, c in ring]]}
        properties = {"what": what, "number": number, "tilt_deg": round(tilt, 2), "azimuth_deg": round(azimuth, 2)}
        features.append({"type": "Feature", "geometry": geometry, "properties": properties})
    return json.dumps({"type": "FeatureCollection", "features": features}) + "\n"


def _pieces(arrangement: Arrangement) -> list[tuple[str, int, np.ndarray, float, float]]:
    """What it is, its number, corners (4, 3), tilt and azimuth of its front."""
    found = []
    for what, pieces in (("panel", arrangement.scene.panels), ("reflector", arrangement.scene.reflectors)):
        for number, p in enumerate(pieces):
            points = np.stack([p.corner, p.corner + p.along, p.corner + p.along + p.up, p.corner + p.up])
            elevation, azimuth = elevation_azimuth(p.normal[None])
            found.append((what, number, points, 90.0 - float(elevation[0]), float(azimuth[0]) % 360.0))
    return found
