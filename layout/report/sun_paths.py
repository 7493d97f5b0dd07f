"""Where the sun runs through the year, what stands in its way, and the row spacing that it asks for."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from sites.conventions import BoolArray, FloatArray, IntArray, unit_vector
from sites.plot import Plot
from sites.site import Location, Site
from sites.sun import sun_position

YEAR = 2025
"""An ordinary year; the sun's path on a date moves by less than 0.3° from one year to another."""

CURVE_DAY = 21
EYE_HEIGHT_M = 1.5
STEP_MINUTES = 4


@dataclass(frozen=True, eq=False)
class DayPath:
    """The sun on one day of the site's clock.

    label : the months whose 21st runs along this curve
    hour : (n,) float [h] of the site's clock
    elevation_deg, azimuth_deg : (n,) float [deg], below the horizon too
    """

    label: str
    hour: FloatArray
    elevation_deg: FloatArray
    azimuth_deg: FloatArray


def day_path(location: Location, month: int, label: str, step_minutes: int = STEP_MINUTES) -> DayPath:
    """The sun's path on the 21st of a month, from midnight to midnight."""
    midnight = pd.Timestamp(year=YEAR, month=month, day=CURVE_DAY, tz=location.time_zone)
    times = pd.date_range(midnight, periods=24 * 60 // step_minutes + 1, freq=f"{step_minutes}min")
    elevation, azimuth = sun_position(location, times.tz_convert("UTC"))
    hour = np.arange(len(times)) * step_minutes / 60.0
    return DayPath(label, hour, np.asarray(elevation), np.asarray(azimuth))


def month_paths(location: Location) -> tuple[DayPath, ...]:
    """Seven curves from December to June; months on either side of a solstice share one within about 1°."""
    pairs = (
        (12, "Dec"),
        (1, "Jan · Nov"),
        (2, "Feb · Oct"),
        (3, "Mar · Sep"),
        (4, "Apr · Aug"),
        (5, "May · Jul"),
    )
    return tuple(day_path(location, month, label) for month, label in (*pairs, (6, "Jun")))


def eye_point(plot: Plot) -> FloatArray:
    """(3,) float [m]: the plot's middle (inside the boundary in any case), 1.5 m above the ground."""
    middle = plot.boundary.centroid
    if not plot.boundary.covers(middle):
        middle = plot.boundary.representative_point()
    ground = float(plot.ground_z(np.array(middle.x), np.array(middle.y)))
    return np.array([middle.x, middle.y, ground + EYE_HEIGHT_M])


def ground_line(plot: Plot, azimuth_deg: FloatArray) -> FloatArray:
    """Elevation of the rising ground of a slope, degrees, 0 where it falls."""
    uphill = np.cos(np.radians(azimuth_deg - plot.slope_azimuth_deg + 180.0))
    return np.maximum(np.degrees(np.arctan(np.tan(np.radians(plot.slope_deg)) * uphill)), 0.0)


def obstacle_lines(plot: Plot, azimuth_deg: FloatArray) -> tuple[FloatArray, ...]:
    """How high each obstacle stands as seen from ``eye_point``, (n,) float [deg] each, 0 beside it.

    An obstacle is a prism with a flat top: its nearest wall stands highest.
    """
    eye = eye_point(plot)
    far = 2.0 * max(plot.boundary.length, *(_reach(o.outline, eye) for o in plot.obstacles), 1.0)
    ends = eye[:2] + far * unit_vector(np.zeros_like(azimuth_deg), azimuth_deg)[:, :2]
    rays = shapely.linestrings(np.stack([np.broadcast_to(eye[:2], ends.shape), ends], axis=1))
    here = shapely.Point(eye[0], eye[1])
    lines = []
    for obstacle in plot.obstacles:
        distance = shapely.distance(here, shapely.intersection(rays, obstacle.outline.exterior))
        x, y = np.asarray(obstacle.outline.exterior.coords)[:, :2].T
        rise = obstacle.height_m + float(plot.ground_z(x, y).max()) - eye[2]
        angle = np.degrees(np.arctan2(rise, np.maximum(distance, 1e-9)))
        lines.append(np.where(np.isfinite(distance), np.maximum(angle, 0.0), 0.0))
    return tuple(lines)


def _reach(outline: shapely.Polygon, eye: FloatArray) -> float:
    return float(outline.hausdorff_distance(shapely.Point(eye[0], eye[1])))


def horizon_line(site: Site, azimuth_deg: FloatArray) -> FloatArray:
    """Skyline and, on a slope, the rising ground: the higher of both, (n,) float [deg]."""
    line = np.asarray(site.skyline.at(azimuth_deg), dtype=np.float64)
    return line if site.plot is None else np.maximum(line, ground_line(site.plot, azimuth_deg))


@dataclass(frozen=True)
class DayFacts:
    """One day's sun; NaN where it does not rise or does not set.

    highest_deg : its largest elevation; sunrise_h, sunset_h : of the site's clock; sunrise_azimuth_deg
    hours_up : above the level horizon; hours_clear : above skyline and rising ground too
    """

    months: str
    highest_deg: float
    sunrise_h: float
    sunset_h: float
    sunrise_azimuth_deg: float
    hours_up: float
    hours_clear: float


def path_facts(site: Site, path: DayPath) -> DayFacts:
    """When the sun rises and sets on a day, how high it climbs and how long it shines on the plot."""
    up = path.elevation_deg > 0
    clear = up & (path.elevation_deg > horizon_line(site, path.azimuth_deg))
    step = float(path.hour[1] - path.hour[0])
    rise, set_ = np.flatnonzero(~up[:-1] & up[1:]), np.flatnonzero(up[:-1] & ~up[1:])
    return DayFacts(
        path.label,
        float(path.elevation_deg.max()),
        _crossing(path.hour, path.elevation_deg, rise),
        _crossing(path.hour, path.elevation_deg, set_),
        float(path.azimuth_deg[rise[0]]) if rise.size else np.nan,
        float(up[:-1].sum()) * step,
        float(clear[:-1].sum()) * step,
    )


def _crossing(hour: FloatArray, elevation_deg: FloatArray, before: IntArray) -> float:
    """Hour at which the elevation passes 0 after the first of the samples ``before``; NaN without one."""
    if not before.size:
        return float("nan")
    i = int(before[0])
    share = elevation_deg[i] / (elevation_deg[i] - elevation_deg[i + 1])
    return float(hour[i] + share * (hour[i + 1] - hour[i]))


@dataclass(frozen=True, eq=False)
class Spacing:
    """Row spacing without shade from one row on the next at midwinter.

    tilt_deg : (t,) float
    pitch : (t, s) float [slant heights of a row] horizontal, NaN where no pitch is enough
    spans : labels of the s spans of solar time
    sun_up : (s,) bool: the sun is above the horizontal through the whole span
    lowest_deg : (s,) float, lowest sun of each span
    azimuth_deg : the way the rows face
    day : e.g. "21 Dec"
    """

    tilt_deg: FloatArray
    pitch: FloatArray
    spans: tuple[str, ...]
    sun_up: BoolArray
    lowest_deg: FloatArray
    azimuth_deg: float
    day: str


def pitch_without_shade(
    tilt_deg: FloatArray,
    elevation_deg: FloatArray,
    azimuth_deg: FloatArray,
    facing_deg: float,
    slope_deg: float = 0.0,
    slope_azimuth_deg: float = 180.0,
) -> FloatArray:
    """Horizontal pitch of long rows over their slant height at which a row just does not shade the next.

    P/L = (sin β + tan α cos β)/(tan α + t): α the sun's profile angle, β the tilt, t the fall of the ground
    toward the side that the rows face; level ground gives the textbook P/L = cos β + sin β / tan α.

    tilt_deg : (t,) float; elevation_deg, azimuth_deg : (n,) float, sun positions
    Returns (t,) float: the largest over the sun positions; NaN where the sun is down or no pitch is enough.

    >>> float(pitch_without_shade(np.array([40.0]), np.array([26.55]), np.array([180.0]), 180.0)[0].round(4))
    2.0525
    """
    ahead = np.cos(np.radians(azimuth_deg - facing_deg))
    profile = np.tan(np.radians(elevation_deg)) / np.where(ahead > 1e-9, ahead, np.nan)
    fall = np.tan(np.radians(slope_deg)) * np.cos(np.radians(slope_azimuth_deg - facing_deg))
    tilt = np.radians(np.asarray(tilt_deg))[:, None]
    pitch = (np.sin(tilt) + profile * np.cos(tilt)) / (profile + fall)
    reachable = (np.asarray(elevation_deg) > 0) & (profile + fall > 0)
    # A sun behind the rows shades the other way round: it asks nothing of this side.
    pitch = np.where(np.isnan(profile), 0.0, np.where(reachable, pitch, np.inf))
    largest = np.maximum(pitch.max(axis=1), np.cos(tilt[:, 0]))
    return np.where(np.isfinite(largest), largest, np.nan)


def winter_spacing(site: Site, tilts_deg: FloatArray) -> Spacing:
    """Pitch without shade at midwinter, rows facing the equator: noon, 10 to 14 h, 9 to 15 h solar time."""
    north = site.location.latitude_deg >= 0
    path = day_path(site.location, 12 if north else 6, "", step_minutes=1)
    noon = path.hour[np.argmax(path.elevation_deg)]
    facing = 180.0 if north else 0.0
    slope, downhill = (0.0, 180.0) if site.plot is None else (site.plot.slope_deg, site.plot.slope_azimuth_deg)
    pitches, up, lowest = [], [], []
    for half in (0.0, 2.0, 3.0):
        inside = np.abs((path.hour - noon + 12.0) % 24.0 - 12.0) <= half + 1e-6
        elevation, azimuth = path.elevation_deg[inside], path.azimuth_deg[inside]
        pitches.append(pitch_without_shade(tilts_deg, elevation, azimuth, facing, slope, downhill))
        up.append(bool(elevation.min() > 0))
        lowest.append(float(elevation.min()))
    return Spacing(
        np.asarray(tilts_deg, dtype=np.float64),
        np.stack(pitches, axis=1),
        ("noon", "10 to 14 h", "9 to 15 h"),
        np.array(up),
        np.array(lowest),
        facing,
        "21 Dec" if north else "21 Jun",
    )
