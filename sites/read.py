"""The tables [site], [site.climate] and [plot] of a plan, and the bundled sites, written the same way."""

import datetime
import re
import zoneinfo
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
import pvlib
from pydantic import BeforeValidator, Discriminator, Field, Tag
from shapely.geometry import Polygon

from sites.climate_limits import check_climate
from sites.errors import Fault, InputError
from sites.geojson import outline_from_geojson
from sites.plot import Obstacle, Plot, outline_polygon, plot_faults
from sites.site import Climate, Location, Site, WeatherSource
from sites.skyline import OPEN_SKYLINE, Skyline, skyline_from_csv, skyline_from_points
from sites.tables import (
    MISSING,
    Number,
    Outline,
    Point,
    Table,
    check_table,
    key_of,
    name_beside_keys,
    nearest,
    number,
    parse_toml,
    read_text,
    shown,
    text,
    whole,
)

LIBRARY = Path(str(resources.files("sites"))) / "library"
PVLIB_PREFIX = "pvlib:"

OUTLINE_ACCEPTS = "at least 3 corners [x, y] in metres"
FAR_FROM_SITE_KM = 5.0
ODD_ZONE_H = 4.0
"""A clock this far from the sun's is in use nowhere; mostly a sign was mixed up."""


def _monthly(value: Any) -> Any:
    """One number stands for all twelve months."""
    return (value,) * 12 if isinstance(value, int | float) and not isinstance(value, bool) else value


Twelve = Annotated[tuple[Number, ...], Field(min_length=12, max_length=12)]
Share = Annotated[float, Field(strict=True, ge=0.0, le=1.0, allow_inf_nan=False)]
TwelveGhi = Annotated[
    tuple[Annotated[float, Field(strict=True, ge=0.0, le=13.0, allow_inf_nan=False)], ...],
    Field(min_length=12, max_length=12),
]
TwelveAir = Annotated[
    tuple[Annotated[float, Field(strict=True, ge=-70.0, le=55.0, allow_inf_nan=False)], ...],
    Field(min_length=12, max_length=12),
]
TwelveWind = Annotated[
    tuple[Annotated[float, Field(strict=True, ge=0.0, le=40.0, allow_inf_nan=False)], ...],
    Field(min_length=12, max_length=12),
]
SkylineKey = Annotated[
    Annotated[str, Tag("a file")] | Annotated[tuple[Point, ...], Tag("a table")],
    Discriminator(lambda value: "a file" if isinstance(value, str) else "a table"),
]


class ClimateTable(Table):
    """[site.climate]"""

    ghi_kwh_per_m2_day: TwelveGhi = key_of(
        "global horizontal irradiation, mean by month", "twelve numbers from 0 to 13, January first"
    )
    air_c: TwelveAir = key_of("air temperature, mean by month", "twelve numbers from -70 to 55, January first")
    wind_m_s: TwelveWind = key_of(
        "wind speed 10 m above ground, mean by month", "twelve numbers from 0 to 40, January first"
    )
    seed: int = whole("the made year's seed; another seed, another year", 1, ge=0, le=999_999)


class SiteTable(Table):
    """[site] with its own keys"""

    latitude_deg: float = number("north positive", ge=-90, le=90)
    longitude_deg: float = number("east positive", ge=-180, le=180)
    elevation_m: float = number("above sea level", ge=-430, le=8900)
    time_zone: str = text("clock of the results", accepts="an IANA time zone such as 'Etc/GMT-1'")
    weather: str | None = text("weather file, or pvlib:NAME for a file that pvlib ships", None, "a file's name")
    weather_label: Literal["start", "middle", "end"] | None = key_of(
        "what a plain CSV file's time stamps mark", "'start', 'middle' or 'end' of the interval", None
    )
    albedo: Annotated[tuple[Share, ...] | None, BeforeValidator(_monthly), Field(min_length=12, max_length=12)] = (
        key_of("share of light that the ground throws back", "a number from 0 to 1, or twelve of them", None)
    )
    skyline: SkylineKey = key_of(
        "height of the horizon by azimuth, degrees",
        "pairs [azimuth, elevation] in degrees, or a CSV file's name",
        (),
    )
    climate: ClimateTable | None = key_of("monthly means for a made year", "a table, [site.climate]", None)


class NamedSiteTable(Table):
    """[site] with the name of a bundled one"""

    name: str = text("a bundled site", accepts="the name of a bundled site")


class KeepOutTable(Table):
    """[[plot.keep_out]]"""

    outline: Outline = key_of("where nothing may stand", OUTLINE_ACCEPTS)
    name: str = text("what it is", "keep-out")


class ObstacleTable(Table):
    """[[plot.obstacle]]"""

    outline: Outline = key_of("its outline on the map", OUTLINE_ACCEPTS)
    height_m: float = number("above the highest ground under it", gt=0, le=500)
    name: str = text("what it is", "obstacle")


class PlotTable(Table):
    """[plot]"""

    boundary: Outline | None = key_of("corners, x east and y north", OUTLINE_ACCEPTS, None)
    boundary_file: str | None = text("a GeoJSON polygon instead", None, "a GeoJSON file's name")
    setback_m: float = number("strip along the boundary that stays free", 0.0, ge=0, le=1000)
    slope_deg: float = number("of the ground", 0.0, ge=0, le=45)
    slope_azimuth_deg: float = number("the downhill direction", 180.0, ge=0, le=360)
    keep_out: tuple[KeepOutTable, ...] = key_of("where nothing may stand", "tables, [[plot.keep_out]]", ())
    obstacle: tuple[ObstacleTable, ...] = key_of("what throws shadows", "tables, [[plot.obstacle]]", ())


def list_sites() -> tuple[str, ...]:
    """Names of the bundled invented sites."""
    return tuple(sorted(path.stem for path in LIBRARY.glob("*.toml")))


def load_site(name: str, file: str = "site", key: str = "name") -> Site:
    """A bundled site. ``file`` and ``key`` say who asked. Raises InputError for an unknown name."""
    if name not in list_sites():
        raise InputError([Fault(file, key, f"no bundled site {shown(name)}", nearest(name, list_sites()))])
    path = LIBRARY / f"{name}.toml"
    tables = parse_toml(read_text(path, path.name, path.name), path.name)
    faults: list[Fault] = []
    site = build_site(tables.get("site"), tables.get("plot"), LIBRARY, path.name, faults, name=name)
    if site is None:
        raise InputError(faults)
    return site


def build_site(
    site_table: Any,
    plot_table: Any,
    folder: Path,
    file: str,
    faults: list[Fault],
    name: str | None = None,
) -> Site | None:
    """The site that the tables [site] and [plot] (plain dictionaries, None where absent) describe.

    folder : file names in the tables count from here
    file : the plan's name in messages
    name : the place's name; its coordinates where None
    Returns None with every fault added to ``faults``.
    """
    before = len(faults)
    if site_table is None:
        faults.append(Fault(file, "site", MISSING, "a table, [site]"))
    warnings: list[str] = []
    bundled, place = None, None
    if isinstance(site_table, Mapping) and "name" in site_table:
        bundled = _bundled_site(site_table, file, faults)
    elif site_table is not None:
        place = _place(site_table, folder, file, faults, name, warnings)
    location = bundled.location if bundled else place.location if place else None
    plot = _plot(plot_table, folder, file, faults, location, warnings) if plot_table is not None else None
    if len(faults) > before:
        return None
    base = bundled or place
    assert base is not None  # neither only with a fault
    own_plot = base.plot if plot_table is None else plot
    return Site(base.location, base.albedo, base.skyline, own_plot, base.weather, (*base.warnings, *warnings))


def _bundled_site(data: Mapping[str, Any], file: str, faults: list[Fault]) -> Site | None:
    """The site that ``name`` means; beside it no other key has a meaning."""
    faults.extend(name_beside_keys(data, SiteTable, file, "site"))
    table = check_table(NamedSiteTable, {"name": data["name"]}, file, "site", faults)
    if table is None:
        return None
    try:
        return load_site(table.name, file, "site.name")
    except InputError as error:
        faults.extend(error.faults)
        return None


def _place(
    data: Any, folder: Path, file: str, faults: list[Fault], name: str | None, warnings: list[str]
) -> Site | None:
    """A site without its plot from the keys of [site]."""
    table = check_table(SiteTable, data, file, "site", faults)
    if table is None:
        return None
    zone_fault = _zone_fault(table, file, warnings)
    if zone_fault is not None:
        faults.append(zone_fault)
    words = f"{abs(table.latitude_deg):.2f}° {'S' if table.latitude_deg < 0 else 'N'}"
    words += f", {abs(table.longitude_deg):.2f}° {'W' if table.longitude_deg < 0 else 'E'}"
    location = Location(name or words, table.latitude_deg, table.longitude_deg, table.elevation_m, table.time_zone)
    weather = _weather(table, folder, file, faults, warnings)
    skyline = _skyline(table.skyline, folder, file, faults)
    albedo = None if table.albedo is None else np.array(table.albedo, dtype=np.float64)
    if albedo is not None and albedo.mean() > 0.6:
        warnings.append(f"site.albedo: a yearly mean of {albedo.mean():.2f} is that of snow all year")
    return Site(location, albedo, skyline, None, weather)


def _zone_fault(table: SiteTable, file: str, warnings: list[str]) -> Fault | None:
    """A time zone that does not exist; a warning where it does not go with the longitude."""
    accepted = "an IANA time zone such as 'Etc/GMT-1'"
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_+-]*(/[A-Za-z0-9_+-]+)*", table.time_zone):
        return Fault(file, "site.time_zone", shown(table.time_zone), accepted)
    try:
        zone = zoneinfo.ZoneInfo(table.time_zone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return Fault(file, "site.time_zone", shown(table.time_zone), accepted)
    offset = datetime.datetime(2021, 1, 1, tzinfo=zone).utcoffset()
    hours = offset.total_seconds() / 3600.0 if offset else 0.0
    apart = (hours - table.longitude_deg / 15.0 + 12.0) % 24.0 - 12.0
    if abs(apart) > ODD_ZONE_H:
        warnings.append(
            f"site.time_zone: {table.time_zone} is {abs(apart):.1f} h away from the sun's time at "
            f"{table.longitude_deg:g}° (in names like Etc/GMT-1 the sign counts westward)"
        )
    return None


def _weather(table: SiteTable, folder: Path, file: str, faults: list[Fault], warnings: list[str]) -> WeatherSource:
    """Where the weather comes from: a file that is there, or a climate."""
    climate = None
    if table.climate is not None:
        climate = Climate(*(np.array(v, dtype=np.float64) for v in _climate_columns(table.climate)))
        check_climate(climate, table.latitude_deg, file, faults, warnings)
    if table.weather is None:
        if climate is None:
            faults.append(Fault(file, "site.weather", MISSING, "a weather file, or a table [site.climate]"))
        if table.weather_label is not None:
            found = "a key without a weather file"
            faults.append(
                Fault(file, "site.weather_label", found, "weather_label only beside a plain CSV weather file")
            )
        return WeatherSource(None, None, climate, table.climate.seed if table.climate else 1)
    if climate is not None:
        found = "a table beside a weather file"
        faults.append(Fault(file, "site.climate", found, "either weather or [site.climate]"))
    path = _weather_path(table.weather, folder)
    if not path.is_file():
        accepted = "a weather file, its name counted from the plan's folder"
        faults.append(Fault(file, "site.weather", f"{shown(table.weather)}, no such file", accepted))
    return WeatherSource(path, table.weather_label, None)


def _weather_path(name: str, folder: Path) -> Path:
    if name.startswith(PVLIB_PREFIX):
        return Path(pvlib.__file__).parent / "data" / Path(name.removeprefix(PVLIB_PREFIX)).name
    return folder / name.replace("\0", "")


def _climate_columns(table: ClimateTable) -> tuple[tuple[float, ...], ...]:
    return table.ghi_kwh_per_m2_day, table.air_c, table.wind_m_s


def _skyline(value: str | tuple[tuple[float, float], ...], folder: Path, file: str, faults: list[Fault]) -> Skyline:
    try:
        if isinstance(value, str):
            content = read_text(folder / value, value, file, "site.skyline", "a CSV file's name")
            return skyline_from_csv(content, value)
        return skyline_from_points(value, file, "site.skyline")
    except InputError as error:
        faults.extend(error.faults)
        return OPEN_SKYLINE


def _plot(
    data: Any, folder: Path, file: str, faults: list[Fault], location: Location | None, warnings: list[str]
) -> Plot | None:
    """The plot of a table [plot], or None with faults."""
    table = check_table(PlotTable, data, file, "plot", faults)
    if table is None:
        return None
    before = len(faults)
    boundary = _boundary(table, folder, file, faults, location, warnings)
    keep_outs = [
        outline_polygon(k.outline, file, f"plot.keep_out[{i}].outline", faults) for i, k in enumerate(table.keep_out)
    ]
    outlines = [
        outline_polygon(o.outline, file, f"plot.obstacle[{i}].outline", faults) for i, o in enumerate(table.obstacle)
    ]
    if boundary is None or len(faults) > before:
        return None
    obstacles = tuple(
        Obstacle(outline, o.height_m, o.name)
        for o, outline in zip(table.obstacle, outlines, strict=True)
        if outline is not None
    )
    plot = Plot(
        boundary,
        table.setback_m,
        tuple(k for k in keep_outs if k is not None),
        obstacles,
        table.slope_deg,
        table.slope_azimuth_deg,
    )
    faults.extend(plot_faults(plot, file))
    return plot


def _boundary(
    table: PlotTable,
    folder: Path,
    file: str,
    faults: list[Fault],
    location: Location | None,
    warnings: list[str],
) -> Polygon | None:
    """The boundary from the table or its GeoJSON file."""
    if (table.boundary is None) == (table.boundary_file is None):
        found = MISSING if table.boundary is None else "both boundary and boundary_file"
        faults.append(Fault(file, "plot.boundary", found, "boundary or boundary_file, one of them"))
        return None
    if table.boundary is not None:
        return outline_polygon(table.boundary, file, "plot.boundary", faults)
    assert table.boundary_file is not None
    try:
        name = table.boundary_file
        content = read_text(folder / name, name, file, "plot.boundary_file", "a GeoJSON file's name")
        outline = outline_from_geojson(content, table.boundary_file)
    except InputError as error:
        faults.extend(error.faults)
        return None
    if location is not None:
        distance = _distance_km(location, outline.longitude_deg, outline.latitude_deg)
        if distance > FAR_FROM_SITE_KM:
            warnings.append(f"plot.boundary_file: the plot lies {distance:,.0f} km from the site's coordinates")
    return outline.polygon


def _distance_km(location: Location, longitude_deg: float, latitude_deg: float) -> float:
    """Great-circle distance on a sphere of 6371 km (haversine formula)."""
    phi1, phi2 = np.radians([location.latitude_deg, latitude_deg])
    turn = np.radians(longitude_deg - location.longitude_deg)
    h = np.sin((phi2 - phi1) / 2) ** 2 + np.cos(phi1) * np.cos(phi2) * np.sin(turn / 2) ** 2
    return float(2.0 * 6371.0 * np.arcsin(np.sqrt(min(1.0, h))))
