"""East and west face of an upright panel under an even sky over level open ground."""

import numpy as np
import pytest
from scipy.sparse import csr_array, eye_array

from layout.geometry.rectangles import Rectangles
from layout.light.coefficients import engine_of, light_coefficients
from layout.light.net import Net
from layout.light.sky_parts import SkyParts, sky_matrix
from layout.pieces import Ground, Panel, Scene
from sites.conventions import unit_vector

ELEVATION = np.array([4.0, 15.0, 30.0, 48.0, 66.0])
AZIMUTH = np.array([72.0, 112.0, 181.5, 263.0, 231.0])
DNI, DHI = np.array([310.0, 560.0, 0.0, 790.0, 870.0]), np.array([40.0, 95.0, 220.0, 110.0, 90.0])


@pytest.mark.parametrize("albedo", [0.0, 0.2, 0.65])
def test_both_faces_together(albedo: float) -> None:
    """East plus west = DNI·sin(zenith)·|sin(azimuth)| + DHI + albedo·GHI: an identity (each face sees half of the sky
    and half of the ground), ground unshaded."""
    panel = Panel((0, 0, 400), (0, 1, 0), (0, 0, 1), cells=(1, 1), bifacial=True)
    engine = engine_of(Scene([panel], ground=Ground(albedo)), np.ones_like)
    parts = SkyParts(unit_vector(ELEVATION, AZIMUTH))
    n = len(ELEVATION)
    matrix = sky_matrix(csr_array(eye_array(n)), DNI, DHI, np.zeros(n), np.full(n, albedo))
    args = engine, parts, Rectangles.of([panel]), Net(1, 1), np.ones_like
    faces = [matrix @ light_coefficients(*args, rear=rear).before[:, 0, 0] for rear in (False, True)]
    ghi = DNI * np.sin(np.radians(ELEVATION)) + DHI
    beam = DNI * np.cos(np.radians(ELEVATION)) * np.abs(np.sin(np.radians(AZIMUTH)))
    assert faces[0] + faces[1] == pytest.approx(beam + DHI + albedo * ghi, rel=2e-3)
