"""How panels of a row stand on sloping ground."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pvlib.tracking import calc_surface_orientation

from layout.geometry.attitude import rise_along_row_deg, row_attitude
from layout.pieces import Ground
from sites.conventions import FloatArray, elevation_azimuth

slopes = st.floats(0, 40)
azimuths = st.floats(0, 360)


def gradient_of(slope: float, downhill: float) -> FloatArray:
    ground = Ground(slope_deg=slope, slope_azimuth_deg=downhill)
    return np.array([float(ground.z(1.0, 0.0)), float(ground.z(0.0, 1.0))])


@given(tilt=st.floats(0, 90), azimuth=azimuths)
def test_on_level_ground_the_normal_has_tilt_and_azimuth(tilt: float, azimuth: float) -> None:
    attitude = row_attitude(tilt, azimuth, np.zeros(2))
    expected = [
        np.sin(np.radians(tilt)) * np.sin(np.radians(azimuth)),
        np.sin(np.radians(tilt)) * np.cos(np.radians(azimuth)),
        np.cos(np.radians(tilt)),
    ]
    np.testing.assert_allclose(attitude.normal, expected, atol=1e-7)  # the arc cosine of nearly 1
    assert attitude.along[2] == pytest.approx(0.0, abs=1e-12)


@given(tilt=st.floats(0, 90), azimuth=azimuths, slope=slopes, downhill=azimuths)
def test_on_a_slope(tilt: float, azimuth: float, slope: float, downhill: float) -> None:
    gradient = gradient_of(slope, downhill)
    assume(tilt >= rise_along_row_deg(azimuth, gradient))
    attitude = row_attitude(tilt, azimuth, gradient)
    axes = np.stack([attitude.along, attitude.up, attitude.normal])
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-9)
    np.testing.assert_allclose(np.cross(attitude.along, attitude.up), attitude.normal, atol=1e-9)
    assert attitude.normal[2] == pytest.approx(np.cos(np.radians(tilt)), abs=1e-9)
    assert attitude.up[2] >= -1e-9
    # The row follows the ground and lies across the azimuth on the map.
    assert attitude.along[2] == pytest.approx(float(gradient @ attitude.along[:2]), abs=1e-9)
    assert float(attitude.along[:2] @ attitude.front) == pytest.approx(0.0, abs=1e-9)
    # It faces its azimuth, not away from it.
    assert float(attitude.normal[:2] @ attitude.front) >= -1e-9


@given(turn=st.floats(0.5, 89), azimuth=azimuths, slope=st.floats(0, 30), downhill=azimuths)
def test_plane_of_a_turned_axis(turn: float, azimuth: float, slope: float, downhill: float) -> None:
    # Anderson & Mikofsky, NREL/TP-5K00-76626 (2020): surface tilt and azimuth of a plane turned by an angle
    # about an axis of given tilt and azimuth, as pvlib evaluates it.
    gradient = gradient_of(slope, downhill)
    rise = rise_along_row_deg(azimuth, gradient)
    tilt = np.degrees(np.arccos(np.cos(np.radians(turn)) * np.cos(np.radians(rise))))
    attitude = row_attitude(tilt, azimuth, gradient)
    # That axis points downhill; a positive angle turns the plane to its right.
    forward = attitude.along[:2] if attitude.along[2] <= 0 else -attitude.along[:2]
    axis_azimuth = np.degrees(np.arctan2(*forward)) % 360.0
    right = np.array([forward[1], -forward[0]])
    theta = turn if right @ attitude.front > 0 else -turn
    surface = calc_surface_orientation(np.array([theta]), rise, axis_azimuth)
    elevation, facing = elevation_azimuth(attitude.normal)
    assert 90.0 - float(elevation) == pytest.approx(float(surface["surface_tilt"][0]), abs=1e-5)
    away = (float(facing) - float(surface["surface_azimuth"][0]) + 180.0) % 360.0 - 180.0
    assert away == pytest.approx(0.0, abs=1e-5 / np.sin(np.radians(tilt)))


def test_flatter_than_the_slope_along_the_row_cannot_be() -> None:
    gradient = gradient_of(20.0, 90.0)
    assert rise_along_row_deg(180.0, gradient) == pytest.approx(20.0)
    assert rise_along_row_deg(90.0, gradient) == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(ValueError, match="at least the slope along the row"):
        row_attitude(19.0, 180.0, gradient)
