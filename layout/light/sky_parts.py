"""The parts of the sky that light is traced from, and the columns that coefficients are kept in.

A row of coefficients has 2m + 4 columns for m sun directions:

    sun 0..m-1 | the same by way of the ground | dome | by way of the ground | horizon band | by way of the ground

each for an albedo of 1 and a beam, dome or band of 1 W/m². A year is then one sparse matrix with a row per hour.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.sparse import csr_array, hstack

from layout.light.lattice import cosine_hemisphere, fibonacci_lattice
from sites.conventions import FloatArray, elevation_azimuth, unit_vector
from sites.skyline import Skyline

Glass = Callable[[FloatArray], FloatArray]
"""Angular loss of the glass against normal incidence: cosθ (...) -> ratio (...)."""

HORIZON_BAND_DEG = 1.0
"""The band's light is tested this far above the horizontal or the skyline."""

GOLDEN = 0.618033988749895


@dataclass(frozen=True, eq=False)
class SkyParts:
    """What is traced.

    sun : (m, 3) float unit vectors toward the sun
    skyline : the far horizon
    dome_rays, ring_rays : rays a point over its hemisphere, and round the horizon
    down_rays : the same for the part of the hemisphere that meets the ground, whose light is weak and even; a lattice
        of its own, since one ray in three of a finer lattice is spread far worse
    ground_rays : rays by which places on the ground see the sky; 0 where only the sun's way by the ground matters
    bounces : reflectors that light may meet on its way to a cell
    draws : facets drawn for each sun direction and scattering sheet
    sun_only : leave out the light of dome and horizon where that saves tracing
    sets : different shifts of the hemisphere's rays; neighbouring panels take different ones, so that their
        errors do not add up
    """

    sun: FloatArray
    skyline: Skyline = field(default_factory=lambda: Skyline(np.zeros(0), np.zeros(0)))
    dome_rays: int = 610
    down_rays: int = 233
    ring_rays: int = 72
    ground_rays: int = 89
    sets: int = 4
    bounces: int = 1
    draws: int = 21
    sun_only: bool = False
    seed: int = 7

    @property
    def columns(self) -> int:
        """Columns of a coefficient row."""
        return 2 * len(self.sun) + 4

    def hemisphere(self, which: int, rays: int) -> FloatArray:
        """Set ``which`` of at least ``rays`` cosine-weighted directions about +z, (rays, 3)."""
        start = (
            (self.seed * 0.754877666 + which * GOLDEN) % 1.0,
            (self.seed * 0.569840291 + which / 7.0) % 1.0,
        )
        return cosine_hemisphere(fibonacci_lattice(rays, start))

    def ring(self) -> FloatArray:
        """Azimuths round the horizon, (ring_rays,) degrees."""
        return (np.arange(self.ring_rays, dtype=np.float64) + 0.5) * (360.0 / max(1, self.ring_rays))

    def ring_directions(self) -> FloatArray:
        """Where the band's visibility is tested, (ring_rays, 3)."""
        azimuth = self.ring()
        return unit_vector(np.maximum(0.0, self.skyline.at(azimuth)) + HORIZON_BAND_DEG, azimuth)

    def above_skyline(self, directions: FloatArray) -> np.ndarray:
        """Which directions (d, 3) look at the sky, (d,) bool."""
        elevation, azimuth = elevation_azimuth(directions)
        return elevation > np.maximum(0.0, self.skyline.at(azimuth))

    def ring_strength(self) -> float:
        """Beam of each of the ring's directions that together make a band of 1 W/m² on an upright plane; 0 without a
        ring."""
        total = float(np.maximum(0.0, np.cos(np.radians(self.ring()))).sum())
        return 1.0 / total if total > 0 else 0.0

    def coarser(self, dome_rays: int, bounces: int) -> "SkyParts":
        """The same sky by fewer rays, for places that only pass light on after ``bounces`` reflectors at most."""
        return replace(self, dome_rays=dome_rays, down_rays=dome_rays, sets=1, bounces=bounces)

    def ring_weights(self, normal: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Share of the band's light on a plane that each ring azimuth brings, and the cosine of its incidence.

        The weights add up to sin(tilt): what an unshaded plane gets from a band of 1 W/m² (Perez et al. 1990,
        third term). (ring_rays,), (ring_rays,).
        """
        azimuth = np.radians(self.ring())
        cosine = np.maximum(0.0, normal[0] * np.sin(azimuth) + normal[1] * np.cos(azimuth))
        total = cosine.sum()
        sin_tilt = float(np.hypot(normal[0], normal[1]))
        return (cosine * (sin_tilt / total) if total > 0 else cosine), cosine


def sky_matrix(
    weights: csr_array, beam: FloatArray, dome: FloatArray, horizon: FloatArray, albedo: FloatArray
) -> csr_array:
    """The sky year in the columns of the coefficients.

    weights : (k, m) interpolation weights of k hours on m sun directions
    beam, dome, horizon : (k,) W/m²; albedo : (k,) [-]
    Returns (k, 2m + 4) float32.
    """
    sun = csr_array(weights.multiply(beam[:, None]))
    sun_ground = csr_array(sun.multiply(albedo[:, None]))
    rest = np.stack([dome, albedo * dome, horizon, albedo * horizon], axis=1)
    return csr_array(hstack([sun, sun_ground, csr_array(rest)], format="csr").astype(np.float32))
