"""What a meter should read: power, voltage and temperature of each panel at one moment, by the year's own chain.

Panels are taken as clean, each on a tracker of its own; full solution of every cell's curve.
"""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import pandas as pd
import pvlib
from scipy.sparse import csr_array

from layout.arrange.arrangement import Arrangement
from layout.conditions import Conditions
from layout.evaluate import Evaluator
from layout.field import Block, blocks, build_field
from layout.light.sky_parts import SkyParts
from layout.plan import InverterTable, LossTable
from layout.power.full_curve import tracker_power
from layout.power.glass import transmission_ratio
from layout.power.heat import WIND_RECORD_HEIGHT_M, cell_temperature
from layout.power.panel_model import DARK_W_M2
from layout.year import evaluator_of
from layout.year_figures import Settings
from sites.conventions import FloatArray, unit_vector
from sites.site import Site
from sites.sky import SkyYear
from sites.sun import Hours
from sites.weather import WeatherYear

AIR_C = 20.0
WIND_M_S = 1.0
"""Air and wind where none are given; our assumption."""

CLEAR_AOD, CLEAR_WATER_CM = 0.1, 1.4
"""Aerosol optical depth at 700 nm and precipitable water of the clear sky; our assumption of clean, mild air."""

EVERY_CELL_PANELS = 60
"""Layouts of up to this many panels are traced at every cell; larger ones on the year's coarser net."""


@dataclass(frozen=True)
class Moment:
    """elevation_deg, azimuth_deg : of the sun; dni, dhi : W/m²; air_c; wind_m_s : at the panels; albedo [-]

    clear_sky : names of what was not given and is that of a clear sky
    """

    elevation_deg: float
    azimuth_deg: float
    dni: float
    dhi: float
    air_c: float
    wind_m_s: float
    albedo: float
    clear_sky: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class BenchReading:
    """Each panel in the order built, (n,) float.

    light_w_m2 : light that the cells take up, after the glass, rear by bifaciality, mean; watts, volts : at the best
        point; cell_c : panel mean; ratio : watts over the first panel's, NaN where that gives nothing
    """

    light_w_m2: FloatArray
    watts: FloatArray
    volts: FloatArray
    cell_c: FloatArray
    ratio: FloatArray

    def to_dict(self) -> dict[str, Any]:
        """Lists of numbers."""
        return {f.name: getattr(self, f.name).tolist() for f in fields(self)}


def clear_sky(elevation_deg: float, height_m: float) -> tuple[float, float]:
    """DNI and DHI of a clear sky, W/m², from the sun's elevation [deg] and the height above the sea [m].

    Source: Ineichen, Solar Energy 82 (2008) 758-762, through `pvlib.clearsky.simplified_solis`.
    """
    pressure = pvlib.atmosphere.alt2pres(height_m)
    sky = pvlib.clearsky.simplified_solis(elevation_deg, CLEAR_AOD, CLEAR_WATER_CM, pressure)
    return float(sky["dni"]), float(sky["dhi"])


def moment_at(
    site: Site,
    sun: tuple[float, float],
    dni: float | None = None,
    dhi: float | None = None,
    air_c: float | None = None,
    wind_m_s: float | None = None,
) -> Moment:
    """A moment at a site; what is not given is that of a clear sky, of mild air and of a light wind.

    sun : elevation, azimuth [deg]; the albedo is the site's mean, 0.2 where it gives none
    """
    clear_dni, clear_dhi = clear_sky(sun[0], site.location.elevation_m)
    albedo = 0.2 if site.albedo is None else float(np.mean(site.albedo))
    return Moment(
        *sun,
        clear_dni if dni is None else dni,
        clear_dhi if dhi is None else dhi,
        AIR_C if air_c is None else air_c,
        WIND_M_S if wind_m_s is None else wind_m_s,
        albedo,
        tuple(name for name, value in (("DNI", dni), ("DHI", dhi)) if value is None),
    )


def bench_reading(arrangement: Arrangement, site: Site, moment: Moment) -> BenchReading:
    """Expected readings of every panel of a layout.

    Diffuse light comes from an even dome above the skyline and, with the beam, by way of the ground and of reflectors.
    """
    c = _one_moment(site, arrangement, moment)
    evaluator = evaluator_of(arrangement, c, Settings(InverterTable(), LossTable(soiling_pct=0.0)))
    n = len(arrangement.scene.panels)
    field = build_field(arrangement, c, full_cells=n <= EVERY_CELL_PANELS, repetition=True)
    values = {name: np.zeros(n) for name in ("light_w_m2", "watts", "volts", "cell_c")}
    for block in blocks(field, c, transmission_ratio):
        for name, found in _block_reading(block, evaluator, moment).items():
            values[name][block.panels] = found
    values = {name: found[field.of_panel] for name, found in values.items()}
    values["watts"] *= arrangement.area_scale
    first = values["watts"][0]
    return BenchReading(**values, ratio=values["watts"] / first if first > 0.0 else np.full(n, np.nan))


def _block_reading(block: Block, evaluator: Evaluator, moment: Moment) -> dict[str, FloatArray]:
    front, rear, kind = block.front.after, block.rear, evaluator.kind
    used, heat = front * evaluator.cover_colour, front
    if rear is not None:
        used, heat = used + kind.bifaciality * rear.after, heat + rear.after
    columns, b, cells = front.shape
    light, warm = (
        np.maximum(0.0, evaluator.matrix @ x.reshape(columns, -1)).reshape(b, cells).astype(np.float32)
        for x in (used, heat)
    )
    cell_c = cell_temperature(
        warm.mean(axis=1), moment.air_c, moment.wind_m_s, kind.u0_w_m2_k, kind.u1_w_s_m3_k, WIND_RECORD_HEIGHT_M
    )  # no reduction of the wind: it is that at the panels
    held = tracker_power(light[:, None, None], block.family.groups, evaluator.model, cell_c[:, None, None])
    lit = light.max(axis=1) >= DARK_W_M2
    return {"light_w_m2": light.mean(axis=1), "watts": held.power * lit, "volts": held.volts * lit, "cell_c": cell_c}


def _one_moment(site: Site, arrangement: Arrangement, moment: Moment) -> Conditions:
    """A year of one moment."""
    sun, ground = unit_vector(moment.elevation_deg, moment.azimuth_deg), arrangement.scene.ground
    behind = ground is not None and float(sun @ ground.normal) <= 0.0
    names = ("dni", "dhi", "air_c", "wind_m_s", "albedo")
    dni, dhi, air_c, wind, albedo = (np.array([float(getattr(moment, name))]) for name in names)
    ghi = dni * np.sin(np.radians(moment.elevation_deg)) + dhi
    start = pd.DatetimeIndex(["2001-01-01"], tz="UTC")  # no matter when: the sun is given
    hours = Hours(start, 1.0, np.array([moment.elevation_deg]), np.array([moment.azimuth_deg]), np.array([True]))
    sky = SkyYear(hours, np.zeros(1, dtype=np.int64), dni * (not behind), dhi, np.zeros(1), ghi, dni, dhi)
    weather = WeatherYear(start, 1.0, ghi, dni, dhi, air_c, wind, albedo, "one moment")
    return Conditions(
        site=site,
        weather=weather,
        sky=sky,
        parts=SkyParts(sun[None], site.skyline),
        weights=csr_array(np.ones((1, 1))),
        albedo=albedo,
        air_c=air_c,
        wind_m_s=wind,
    )
