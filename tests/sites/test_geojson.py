"""GeoJSON boundaries against geodesics on the ellipsoid (Karney, J. Geodesy 87 (2013) 43, by pyproj.Geod)."""

import json
from typing import Any

import numpy as np
import pyproj
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.errors import InputError
from sites.geojson import outline_from_geojson

GEOD = pyproj.Geod(ellps="WGS84")


def feature(ring: list[list[float]], *holes: list[list[float]]) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": {},
        "geometry": {"type": "Polygon", "coordinates": [ring, *holes]},
    }


def ring_around(longitude: float, latitude: float, bearings: list[float], distance: float) -> list[list[float]]:
    n = len(bearings)
    lon, lat, _ = GEOD.fwd([longitude] * n, [latitude] * n, bearings, [distance] * n)
    ring = [list(p) for p in zip(lon, lat, strict=True)]
    return [*ring, ring[0]]


@settings(deadline=None)
@given(
    longitude=st.floats(-179, 179),
    latitude=st.floats(-75, 75),
    size=st.floats(20, 800),
    turn=st.floats(0, 60),
)
def test_lengths_areas_and_north_are_true(longitude: float, latitude: float, size: float, turn: float) -> None:
    bearings = [turn, turn + 80, turn + 160, turn + 230, turn + 310]
    ring = ring_around(longitude, latitude, bearings, size)
    outline = outline_from_geojson(json.dumps(feature(ring)), "plot.geojson")
    area, _ = GEOD.geometry_area_perimeter(outline_geo(ring))
    assert outline.polygon.area == pytest.approx(abs(area), rel=1e-6)
    # From the origin every corner lies at its true distance and bearing.
    corners = np.asarray(outline.polygon.exterior.coords)[:-1]
    lon, lat = np.array(ring[:-1]).T
    n = len(lon)
    bearing, _, distance = GEOD.inv([outline.longitude_deg] * n, [outline.latitude_deg] * n, lon, lat)
    expected = np.column_stack([distance * np.sin(np.radians(bearing)), distance * np.cos(np.radians(bearing))])
    order = [int(np.argmin(np.hypot(*(corners - e).T))) for e in expected]
    np.testing.assert_allclose(corners[order], expected, atol=1e-5)
    centroid = outline.polygon.centroid
    assert np.hypot(centroid.x, centroid.y) < 2e-4 * size


def outline_geo(ring: list[list[float]]) -> Any:
    from shapely.geometry import Polygon

    return Polygon(ring)


def test_a_thousandth_of_a_degree_at_the_equator() -> None:
    # WGS 84: a = 6378137 m, e² = 0.00669437999 (NIMA TR8350.2, from memory); one degree of the equator is
    # a·π/180, one of a meridian there a(1 − e²)·π/180.
    ring = [[9.0, -0.0005], [9.001, -0.0005], [9.001, 0.0005], [9.0, 0.0005], [9.0, -0.0005]]
    west, south, east, north = outline_from_geojson(json.dumps(feature(ring)), "plot.geojson").polygon.bounds
    assert east - west == pytest.approx(6378137.0 * np.pi / 180.0 / 1000.0, rel=1e-6)
    assert north - south == pytest.approx(6378137.0 * (1 - 0.00669437999) * np.pi / 180.0 / 1000.0, rel=1e-6)


def test_holes_stay_holes() -> None:
    ring = ring_around(20.0, 50.0, [45, 135, 225, 315], 50.0)
    hole = ring_around(20.0, 50.0, [45, 135, 225, 315], 10.0)
    polygon = outline_from_geojson(json.dumps(feature(ring, hole)), "plot.geojson").polygon
    assert len(polygon.interiors) == 1
    assert polygon.area == pytest.approx(5000.0 - 200.0, rel=1e-5)


@pytest.mark.parametrize("wrap", [lambda f: f, lambda f: f["geometry"], lambda f: collection(f)])
def test_polygon_feature_and_collection(wrap: Any) -> None:
    ring = ring_around(-60.0, -30.0, [0, 90, 180, 270], 30.0)
    polygon = outline_from_geojson(json.dumps(wrap(feature(ring))), "plot.geojson").polygon
    assert polygon.area == pytest.approx(1800.0, rel=1e-5)


def test_clockwise_ring_and_heights_are_taken() -> None:
    ring = [[*p, 412.5] for p in ring_around(5.0, 45.0, [0, 90, 180, 270], 30.0)]
    assert outline_from_geojson(json.dumps(feature(ring)), "f").polygon.exterior.is_ccw


def collection(*features: Any) -> dict[str, Any]:
    return {"type": "FeatureCollection", "features": list(features)}


RING = [[0.0, 0.0], [0.001, 0.0], [0.001, 0.001], [0.0, 0.0]]
BOW = [[0.0, 0.0], [0.001, 0.001], [0.001, 0.0], [0.0, 0.001], [0.0, 0.0]]
KINDS = "a Polygon, a Feature with one, or a FeatureCollection with one such feature"
CLOSED = "a ring of at least 4 positions [longitude, latitude], the last one equal to the first"
CORNER = "[longitude -180 to 180, latitude -90 to 90]"


@pytest.mark.parametrize(
    ("data", "line"),
    [
        ([], f"type: found []; accepted: {KINDS}"),
        ({"type": "LineString", "coordinates": RING}, f"type: found 'LineString'; accepted: {KINDS}"),
        ({"type": "Feature", "geometry": None}, f"geometry.type: found nothing; accepted: {KINDS}"),
        (collection(), f"features: found 0 features; accepted: {KINDS}"),
        (collection(feature(RING), feature(RING)), f"features: found 2 features; accepted: {KINDS}"),
        ({"type": "FeatureCollection"}, f"features: found nothing; accepted: {KINDS}"),
        (collection(7), f"features[0].type: found 7; accepted: {KINDS}"),
        ({"type": "Polygon"}, f"coordinates: found nothing; accepted: a list, {CLOSED}"),
        (
            {"type": "Polygon", "coordinates": [RING[:3]]},
            f"coordinates[0]: found [[0.0, 0.0], [0.001, 0.0], [0.001, 0.001]]; accepted: {CLOSED}",
        ),
        (
            {"type": "Polygon", "coordinates": [[*RING[:3], [0.0, 0.1]]]},
            f"coordinates[0]: found a ring that is not closed; accepted: {CLOSED}",
        ),
        (
            {"type": "Polygon", "coordinates": [[[0, 0], [0, 91], [1, 1], [0, 0]]]},
            f"coordinates[0][1]: found [0, 91]; accepted: {CORNER}",
        ),
        (
            {"type": "Polygon", "coordinates": [[[0, 0], [512000.0, 5300000.0], [1, 1], [0, 0]]]},
            f"coordinates[0][1]: found [512000.0, 5300000.0]; accepted: {CORNER}",
        ),
        (
            {"type": "Polygon", "coordinates": [[[0, 0], ["1", 1], [1, 1], [0, 0]]]},
            f"coordinates[0][1]: found ['1', 1]; accepted: {CORNER}",
        ),
        (
            {"type": "Polygon", "coordinates": [BOW]},
            "coordinates: found an outline that crosses or touches itself near (0, 0); "
            "accepted: corners in order, lines that neither cross nor touch",
        ),
        (
            {"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 0]]]},
            "coordinates: found a corner 74,213 m from the origin; accepted: metres, up to 20,000 from the origin",
        ),
        (
            {"type": "Polygon", "coordinates": [[[0, 0], [0, 0], [0, 0], [0, 0]]]},
            "coordinates: found 1 different corners; accepted: at least 3",
        ),
        (
            {"type": "Polygon", "coordinates": [RING], "crs": {"type": "name"}},
            "crs: found a member that RFC 7946 does not know; accepted: WGS 84 longitude and latitude, no crs member",
        ),
    ],
)
def test_wrong_geojson(data: Any, line: str) -> None:
    with pytest.raises(InputError) as error:
        outline_from_geojson(json.dumps(data), "plot.geojson")
    assert str(error.value) == f"plot.geojson: {line}"


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (
            "{",
            "line 1: found invalid JSON (Expecting property name enclosed in double quotes); accepted: GeoJSON",
        ),
        ("[" * 100000, "file: found lists nested without end; accepted: GeoJSON"),
        ("9" * 5000, "file: found invalid JSON (a number beyond all use); accepted: GeoJSON"),
    ],
)
def test_no_json(content: str, line: str) -> None:
    with pytest.raises(InputError) as error:
        outline_from_geojson(content, "plot.geojson")
    assert str(error.value) == f"plot.geojson: {line}"


json_values = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.sampled_from(["type", "coordinates", "geometry", "features"]), inner, max_size=3),
    ),
    max_leaves=8,
)


@given(value=json_values, where=st.sampled_from(["all", "geometry", "coordinates", "ring", "position"]))
def test_anything_else_is_an_input_error_or_a_polygon(value: Any, where: str) -> None:
    data: Any = feature([list(p) for p in RING])
    if where == "all":
        data = value
    elif where == "geometry":
        data["geometry"] = value
    elif where == "coordinates":
        data["geometry"]["coordinates"] = value
    elif where == "ring":
        data["geometry"]["coordinates"][0] = value
    else:
        data["geometry"]["coordinates"][0][1] = value
    try:
        outline = outline_from_geojson(json.dumps(data), "plot.geojson")
    except InputError:
        return
    assert outline.polygon.area > 0
