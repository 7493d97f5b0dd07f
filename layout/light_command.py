"""The command ``light``: its options, where the sun stands, and each layout's light map and expected readings."""

import datetime
import zoneinfo
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from layout.arrange import Arrangement, arrange
from layout.bench_reading import Moment, bench_reading, moment_at
from layout.light.shared_map import SharedMap, shared_light_map
from layout.pieces import Scene
from layout.plan import Layout, Plan
from layout.report.light_output import LightAsked, light_output
from layout.report.outputs import Output, joined
from layout.report.reading import with_reading
from layout.report.sun_paths import horizon_line
from layout.workers import Told
from sites.errors import Fault, InputError
from sites.site import Site
from sites.sun import sun_position
from sites.tables import shown

OPTION = "command line"
"""Stands for the file's name where a fault lies in an option."""

BOUNCES = range(4)
"""Reflectors that light may meet on its way; each costs as much again as all before it times the kinds of sheets."""


@dataclass(frozen=True)
class LightOptions:
    """The options of ``light``, as on the command line: None where not given."""

    at: str | None
    elevation: float | None
    azimuth: float | None
    dni: float | None
    dhi: float | None
    air_c: float | None
    wind: float | None
    ground: bool
    bounces: int
    per_cell: bool


def light_command(plan: Plan, layouts: Sequence[Layout], options: LightOptions, told: Told | None = None) -> Output:
    """Beam on the cells at one sun position, and each panel's expected watts, volts and temperature.

    Raises InputError where an option is beyond what is possible.
    """
    sun = _sun(options, plan.site)
    moment = moment_at(plan.site, sun, options.dni, options.dhi, options.air_c, options.wind)
    parts = {}
    for layout in layouts:
        arrangement = arrange(plan, layout)
        asked = _asked(options, arrangement.scene, moment)
        seen = _seen(arrangement, asked, plan, told)
        output = light_output(layout.name, arrangement.scene, seen, asked)
        reading = bench_reading(arrangement, plan.site, moment)
        parts[layout.name] = with_reading(output, layout.name, reading, moment)
    return joined(parts)


def _asked(options: LightOptions, scene: Scene, moment: Moment) -> LightAsked:
    """What is worked out for a layout: light by way of sheets where it has any, of the ground on request."""
    bounces = options.bounces if options.ground or scene.reflectors or scene.diffusers else 0
    ground = options.ground and bounces > 0
    return LightAsked(moment.elevation_deg, moment.azimuth_deg, moment.dni, bounces, ground, options.per_cell)


def _seen(arrangement: Arrangement, asked: LightAsked, plan: Plan, told: Told | None) -> SharedMap:
    """The light map of a layout, its progress told."""

    def tick(done: int, total: int) -> None:
        if told is not None:
            told(f"light on {arrangement.name}", done, total)

    sun = asked.elevation_deg, asked.azimuth_deg
    return shared_light_map(arrangement.scene, sun, asked.dni, asked.bounces, asked.ground, plan.run.repetition, tick)


def _sun(options: LightOptions, site: Site) -> tuple[float, float]:
    """Elevation and azimuth from ``--at`` or from the two numbers. Raises InputError with the faults of all options."""
    faults = _weather_faults(options)
    elevation, azimuth = options.elevation, options.azimuth
    if options.at is not None:
        if elevation is not None or azimuth is not None:
            faults.append(Fault(OPTION, "--at", "a sun position beside it", "a time or a sun position"))
        if faults:
            raise InputError(faults)
        return _sun_at(options.at, site)
    if elevation is None or not 0 < elevation <= 90:
        found = "nothing" if elevation is None else f"{elevation:g}"
        faults.append(Fault(OPTION, "--elevation", found, "degrees above 0 to 90, or --at TIME"))
    if azimuth is None or not 0 <= azimuth <= 360:
        found = "nothing" if azimuth is None else f"{azimuth:g}"
        faults.append(Fault(OPTION, "--azimuth", found, "degrees from 0 to 360, clockwise from north"))
    if faults or elevation is None or azimuth is None:
        raise InputError(faults)
    return elevation, azimuth


def _weather_faults(options: LightOptions) -> list[Fault]:
    """Light, air, wind and bounces beyond what is possible."""
    limits = {
        "--dni": (options.dni, -1e-9, 1500.0, "W/m² from 0 to 1500"),
        "--dhi": (options.dhi, -1e-9, 800.0, "W/m² from 0 to 800"),
        "--air-c": (options.air_c, -60.0, 60.0, "°C above -60 to 60"),
        "--wind": (options.wind, -1e-9, 50.0, "m/s from 0 to 50"),
    }
    faults = [
        Fault(OPTION, option, f"{value:g}", accepted)
        for option, (value, low, high, accepted) in limits.items()
        if value is not None and not low < value <= high
    ]
    if options.bounces not in BOUNCES:
        faults.append(Fault(OPTION, "--bounces", f"{options.bounces}", f"{BOUNCES[0]} to {BOUNCES[-1]}"))
    return faults


def _sun_at(text: str, site: Site) -> tuple[float, float]:
    """Where the sun stands at a time; without a zone, the site's clock. Raises InputError, by night too."""
    try:
        time = datetime.datetime.fromisoformat(text)
        if time.tzinfo is None:
            time = time.replace(tzinfo=zoneinfo.ZoneInfo(site.location.time_zone))
        moment = pd.DatetimeIndex([pd.Timestamp(time).tz_convert("UTC")])
    except (ValueError, OverflowError):
        accepted = "a time such as 2025-03-21T10:30, the site's clock unless it carries a zone"
        raise InputError([Fault(OPTION, "--at", shown(text), accepted)]) from None
    elevation, azimuth = (values[0] for values in sun_position(site.location, moment))
    horizon = float(horizon_line(site, np.array([azimuth]))[0])
    if elevation <= horizon:
        found = f"{text}, the sun at elevation {elevation:.1f}°, azimuth {azimuth:.0f}°"
        raise InputError([Fault(OPTION, "--at", found, f"a time with the sun above {horizon:.1f}°")])
    return float(elevation), float(azimuth)
