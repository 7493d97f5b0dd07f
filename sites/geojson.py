"""A plot's boundary from GeoJSON (RFC 7946): WGS 84 longitude and latitude turned into local metres.

Local metres: azimuthal equidistant about the polygon's centroid (x east, y north; (0, 0) is the centroid).
Over a plot of a kilometre lengths across the radius are true to 4 parts in 10⁹, so areas are too.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyproj
from shapely.geometry import Polygon

from sites.conventions import FloatArray
from sites.errors import Fault, InputError
from sites.plot import outline_polygon
from sites.tables import shown

RING_ACCEPTED = "a ring of at least 4 positions [longitude, latitude], the last one equal to the first"


@dataclass(frozen=True, eq=False)
class GeoOutline:
    """A boundary and where on Earth its origin lies.

    polygon : in local metres;  longitude_deg, latitude_deg : [deg] of (0, 0)
    """

    polygon: Polygon
    longitude_deg: float
    latitude_deg: float


def outline_from_geojson(content: str, file: str) -> GeoOutline:
    """The one polygon of a GeoJSON file's content.

    Accepts a Polygon, a Feature with one, or a FeatureCollection with one such feature. A closed ring is
    taken either way round (RFC 7946, section 3.1.6). Raises InputError.
    """
    try:
        data = json.loads(content)
    except RecursionError:
        raise InputError([Fault(file, "file", "lists nested without end", "GeoJSON")]) from None
    except ValueError as error:
        line = getattr(error, "lineno", None)
        message = getattr(error, "msg", "a number beyond all use")
        key = "file" if line is None else f"line {line}"
        raise InputError([Fault(file, key, f"invalid JSON ({message})", "GeoJSON")]) from None
    geometry, key = _polygon_geometry(data, file)
    rings = _rings(geometry.get("coordinates"), file, f"{key}coordinates")
    longitude, latitude = _centroid(rings[0])
    local = pyproj.Proj(proj="aeqd", lon_0=longitude, lat_0=latitude, ellps="WGS84")
    metres = [list(zip(*local(ring[:, 0], ring[:, 1]), strict=True)) for ring in rings]
    faults: list[Fault] = []
    polygon = outline_polygon(metres[0], file, f"{key}coordinates", faults, holes=metres[1:])
    if polygon is None:
        raise InputError(faults)
    return GeoOutline(polygon, longitude, latitude)


def _polygon_geometry(data: Any, file: str) -> tuple[dict[str, Any], str]:
    """The Polygon object inside and the dotted path to it."""
    accepted = "a Polygon, a Feature with one, or a FeatureCollection with one such feature"
    key = ""
    if isinstance(data, dict) and "crs" in data:
        found = "a member that RFC 7946 does not know"
        raise InputError([Fault(file, "crs", found, "WGS 84 longitude and latitude, no crs member")])
    if isinstance(data, dict) and data.get("type") == "FeatureCollection":
        features = data.get("features")
        if not isinstance(features, list) or len(features) != 1:
            found = f"{len(features)} features" if isinstance(features, list) else shown(features)
            raise InputError([Fault(file, "features", found, accepted)])
        data, key = features[0], "features[0]."
    if isinstance(data, dict) and data.get("type") == "Feature":
        data, key = data.get("geometry"), f"{key}geometry."
    if not isinstance(data, dict) or data.get("type") != "Polygon":
        found = shown(data.get("type")) if isinstance(data, dict) else shown(data)
        raise InputError([Fault(file, f"{key}type", found, accepted)])
    return data, key


def _rings(coordinates: Any, file: str, key: str) -> list[FloatArray]:
    """The rings as (n, 2) arrays of degrees; outer ring first."""
    if not isinstance(coordinates, list) or not coordinates:
        raise InputError([Fault(file, key, shown(coordinates), f"a list, {RING_ACCEPTED}")])
    faults = [f for i, ring in enumerate(coordinates) for f in _ring_faults(ring, file, f"{key}[{i}]")]
    if faults:
        raise InputError(faults)
    return [np.array([position[:2] for position in ring], dtype=np.float64) for ring in coordinates]


def _ring_faults(ring: Any, file: str, key: str) -> list[Fault]:
    if not isinstance(ring, list) or len(ring) < 4:
        return [Fault(file, key, shown(ring), RING_ACCEPTED)]
    faults = []
    for i, position in enumerate(ring):
        if not _is_position(position):
            accepted = "[longitude -180 to 180, latitude -90 to 90]"
            faults.append(Fault(file, f"{key}[{i}]", shown(position), accepted))
    if not faults and ring[0] != ring[-1]:
        faults.append(Fault(file, key, "a ring that is not closed", RING_ACCEPTED))
    return faults


def _is_position(position: Any) -> bool:
    if not isinstance(position, list) or not 2 <= len(position) <= 3:
        return False
    if any(isinstance(c, bool) or not isinstance(c, int | float) for c in position):
        return False
    return -180.0 <= position[0] <= 180.0 and -90.0 <= position[1] <= 90.0


def _centroid(ring: Sequence[Any] | FloatArray) -> tuple[float, float]:
    """Longitude and latitude of a ring's area centroid; of its corners' mean where it has no area."""
    ring = np.asarray(ring)
    centre = ring[:-1].mean(axis=0)
    polygon = Polygon(ring - centre)
    if polygon.area > 0.0:
        centre = centre + np.array(polygon.centroid.coords[0])
    return float(centre[0]), float(centre[1])
