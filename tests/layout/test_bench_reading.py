"""Expected meter readings of single panels against pvlib, and of a shaded one against a free one."""

from pathlib import Path

import numpy as np
import pvlib
import pytest

from layout.arrange import arrange
from layout.bench_reading import BenchReading, Moment, bench_reading, clear_sky, moment_at
from layout.panel_types import load_panel_type
from layout.plan import Plan, parse_plan
from layout.power.panel_model import even_light_power, panel_model

SUN = (48.0, 20.0)
TILT = float(np.degrees(np.arctan2(1.01, 1.44)))

PLAN = """
[site]
name = "corrawindle"
[[layout]]
name = "two"
kind = "pieces"
[[layout.panel]]
corner = [0, 0, 0.8]
along = [-1.1, 0, 0]
up = [0, -1.44, 1.01]
[[layout.panel]]
corner = [30, 0, 0.8]
along = [-1.1, 0, 0]
up = [0, -1.44, 1.01]
{more}
"""
POLE = """
[[layout.blocker]]
corner = [29.4, 0.35, 0.2]
along = [0.18, 0, 0]
up = [0, 0, 1.6]
"""


def plan_of(more: str = "") -> Plan:
    return parse_plan(PLAN.format(more=more), "two.toml", Path())


def reading(more: str = "", **given: float) -> tuple[BenchReading, Moment]:
    plan = plan_of(more)
    moment = moment_at(plan.site, SUN, **given)
    return bench_reading(arrange(plan, plan.layouts[0]), plan.site, moment), moment


def test_a_free_panel_against_pvlib() -> None:
    found, m = reading(dni=820.0, dhi=110.0, air_c=27.0, wind_m_s=2.5)
    zenith = 90.0 - SUN[0]
    angle = float(pvlib.irradiance.aoi(TILT, 0.0, zenith, SUN[1]))
    beam = 820.0 * np.cos(np.radians(angle)) * float(pvlib.iam.physical(angle))
    diffuse = pvlib.iam.marion_diffuse("physical", TILT)
    ghi = 820.0 * np.cos(np.radians(zenith)) + 110.0
    sky = float(pvlib.irradiance.isotropic(TILT, 110.0)) * float(diffuse["sky"])
    ground = float(pvlib.irradiance.get_ground_diffuse(TILT, ghi, m.albedo)) * float(diffuse["ground"])
    # the panel's own shadow on the ground and the site's skyline take a little of the diffuse light
    assert found.light_w_m2[1] == pytest.approx(beam + sky + ground, rel=0.015)
    assert found.cell_c[1] == pytest.approx(
        pvlib.temperature.faiman(found.light_w_m2[1], 27.0, 2.5, 25.0, 6.84), abs=0.1
    )
    kind = load_panel_type("mono_glass")
    even = even_light_power(found.light_w_m2[1:], found.cell_c[1:], panel_model(kind))
    assert found.watts[1] == pytest.approx(float(even[0]), rel=2e-3)
    warmer = found.cell_c[1] - 25.0
    # Vmp falls with temperature about as Voc does, a little faster (common practice, no source)
    assert kind.vmp_v * (1.0 - 0.0036 * warmer) < found.volts[1] < kind.vmp_v * (1.0 - 0.0018 * warmer)


def test_ratio_to_the_first_panel() -> None:
    free, _ = reading()
    assert free.ratio == pytest.approx([1.0, 1.0], abs=2e-3)
    shaded, _ = reading(POLE)
    assert shaded.ratio[0] == 1.0
    assert 0.2 < shaded.ratio[1] < 0.9
    # a shadow across the cells costs more than its share of the light
    assert shaded.ratio[1] < shaded.light_w_m2[1] / shaded.light_w_m2[0] - 0.03


def test_what_is_not_given_is_a_clear_sky() -> None:
    plan = plan_of()
    m = moment_at(plan.site, SUN, dhi=90.0)
    assert m.clear_sky == ("DNI",)
    assert m.dhi == 90.0
    dni, _ = clear_sky(SUN[0], plan.site.location.elevation_m)
    assert m.dni == dni


@pytest.mark.parametrize("elevation", [15.0, 35.0, 60.0])
def test_clear_sky_against_another_published_model(elevation: float) -> None:
    """Ineichen & Perez, Solar Energy 73 (2002) 151-157, by pvlib, at a Linke turbidity of 3."""
    pressure = pvlib.atmosphere.alt2pres(200.0)
    mass = pvlib.atmosphere.get_absolute_airmass(pvlib.atmosphere.get_relative_airmass(90.0 - elevation), pressure)
    other = pvlib.clearsky.ineichen(90.0 - elevation, mass, 3.0, altitude=200.0, dni_extra=1364.0)
    dni, dhi = clear_sky(elevation, 200.0)
    assert dni == pytest.approx(float(other["dni"]), rel=0.1)
    ghi = dni * np.sin(np.radians(elevation)) + dhi
    assert ghi == pytest.approx(float(other["ghi"]), abs=25.0)


def test_no_light_no_ratio() -> None:
    found, _ = reading(dni=0.0, dhi=0.0)
    assert not found.watts.any()
    assert np.isnan(found.ratio).all()
