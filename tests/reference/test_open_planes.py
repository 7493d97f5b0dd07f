"""A year on unshaded planes of 10 tilts × 8 azimuths against pvlib's Perez-Driesse transposition (Driesse, Jensen &
Perez, Solar Energy 267 (2024) 112093), on the TMY3 years that pvlib ships, open ground."""

from pathlib import Path

import numpy as np
import pvlib
import pytest
from pvlib.irradiance import get_total_irradiance

from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of, light_coefficients
from layout.light.net import Net
from layout.light.sky_parts import SkyParts, sky_matrix
from layout.pieces import Ground, Panel, Scene
from sites.sky import sky_year
from sites.skyline import OPEN_SKYLINE
from sites.sun import extraterrestrial, sun_grid
from sites.weather_files import read_tmy3

DATA = Path(pvlib.__file__).parent / "data"
TILTS, AZIMUTHS, ALBEDO = np.arange(0, 91, 10), np.arange(0, 360, 45), 0.2


def planes():
    """One panel for each attitude, so high up that its own shadow on the ground counts for nothing."""
    panels = []
    for tilt in np.radians(TILTS):
        for azimuth in np.radians(AZIMUTHS):
            front = np.array([np.sin(azimuth), np.cos(azimuth), 0.0])
            up = -np.cos(tilt) * front + np.sin(tilt) * np.array([0.0, 0.0, 1.0])
            panels.append(Panel((0, 0, 150), (-front[1], front[0], 0.0), up, cells=(1, 1)))
    return panels


@pytest.mark.parametrize("station", ["723170TYA.CSV", "703165TY.csv"])
def test_year_on_open_planes(station):
    weather, place = read_tmy3(DATA / station)
    sky = sky_year(weather, place, OPEN_SKYLINE)
    grid = sun_grid(place.latitude_deg, sky.sun.elevation_deg, sky.sun.azimuth_deg)
    n = len(sky.beam)
    matrix = sky_matrix(grid.weights, sky.beam, sky.dome, sky.horizon, np.full(n, ALBEDO))
    panels = planes()
    ours = np.zeros(len(panels))
    for k, panel in enumerate(panels):  # one at a time: nothing else stands there
        scene = Scene([panel], ground=Ground(ALBEDO))
        engine, parts = engine_of(scene, np.ones_like), SkyParts(grid.vectors)
        c = light_coefficients(engine, parts, Rectangles.of([panel]), Net(1, 1), np.ones_like).before
        ours[k] = np.maximum(0.0, matrix @ c[:, 0, 0]).sum() / 1000.0
    ghi = sky.dni * np.sin(np.radians(sky.sun.elevation_deg)) + sky.dhi
    theirs = np.array(
        [
            np.sum(
                get_total_irradiance(
                    float(tilt),
                    float(azimuth),
                    90.0 - sky.sun.elevation_deg,
                    sky.sun.azimuth_deg,
                    sky.dni,
                    ghi,
                    sky.dhi,
                    dni_extra=extraterrestrial(sky.sun.start),
                    albedo=ALBEDO,
                    model="perez-driesse",
                )["poa_global"]
            )
            / 1000.0
            for tilt in TILTS
            for azimuth in AZIMUTHS
        ]
    )
    off = 100 * (ours / theirs - 1)
    worst = int(np.abs(off).argmax())
    where = TILTS[worst // 8], AZIMUTHS[worst % 8]
    print(f"{place.name}: off max {np.abs(off).max():.3f} % at {where}, mean {off.mean():+.3f} %")
    assert np.abs(off).max() < 0.3
