"""The pieces of a scene: flat rectangles, frozen.

up
^----------+
|          |     front normal = along × up, toward the reader
|          |
corner----> along
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import hypot, isfinite
from typing import Any

import numpy as np

from layout.errors import SceneError
from sites.conventions import FloatArray

SQUARE_TOLERANCE = 1e-6
"""Largest cosine between ``along`` and ``up`` that still counts as a right angle."""

BURIED_M = 1e-3
"""Pieces may reach this far below the ground, for rounding."""

WIDEST_DEG = 45.0
"""Facet slopes and turns beyond this are no longer a sheet's texture."""


def _vector(value: Any, name: str) -> FloatArray:
    array = np.array(value, dtype=np.float64)
    if array.shape != (3,) or not isfinite(sum(array.tolist())):
        raise SceneError(f"{name}: found {value!r}; accepted: three finite numbers [x, y, z] in metres")
    array.flags.writeable = False
    return array


@dataclass(frozen=True, eq=False)
class Rectangle:
    """A flat rectangle: ``corner`` (3,) [m], edge vectors ``along`` and ``up`` (3,) [m].

    Raises SceneError where an edge has no length or the edges are not at right angles.
    """

    corner: FloatArray
    along: FloatArray
    up: FloatArray

    def __post_init__(self) -> None:
        for name in ("corner", "along", "up"):
            object.__setattr__(self, name, _vector(getattr(self, name), name))
        # Plain numbers: a plot without end holds ten thousand pieces, and numpy is slow on three.
        along, up = self.along.tolist(), self.up.tolist()
        lengths = hypot(*along), hypot(*up)
        if min(lengths) <= 0:
            raise SceneError(f"along, up: found lengths {lengths[0]:g}, {lengths[1]:g} m; accepted: above 0")
        if abs(sum(a * b for a, b in zip(along, up, strict=True))) > SQUARE_TOLERANCE * lengths[0] * lengths[1]:
            raise SceneError("along, up: found edges not at right angles; accepted: a rectangle")

    @property
    def normal(self) -> FloatArray:
        """(3,) float [-] unit normal of the front."""
        (a, b, c), (d, e, f) = self.along.tolist(), self.up.tolist()
        n = b * f - c * e, c * d - a * f, a * e - b * d
        return np.array(n) / hypot(*n)

    @property
    def area_m2(self) -> float:
        """Area of one side, m²."""
        return float(np.linalg.norm(self.along) * np.linalg.norm(self.up))

    @property
    def centre(self) -> FloatArray:
        """(3,) float [m]."""
        return self.corner + 0.5 * (self.along + self.up)


@dataclass(frozen=True, eq=False)
class Panel(Rectangle):
    """A solar panel: opaque, its front (and its rear where ``bifacial``) divided into cells.

    cells : (n_up, n_along) number of cells along the two edges
    """

    cells: tuple[int, int] = (10, 6)
    bifacial: bool = False

    def __post_init__(self) -> None:
        super().__post_init__()
        cells = tuple(int(c) for c in self.cells)
        if len(cells) != 2 or min(cells) < 1 or any(a != b for a, b in zip(cells, self.cells, strict=True)):
            raise SceneError(f"cells: found {self.cells!r}; accepted: (n_up, n_along), whole numbers from 1")
        object.__setattr__(self, "cells", cells)


@dataclass(frozen=True, eq=False)
class Blocker(Rectangle):
    """Opaque and black on both sides."""


def _share(value: float, name: str, piece: str) -> float:
    if not (np.isfinite(value) and 0.0 <= value <= 1.0):
        raise SceneError(f"{piece}: {name}: found {value!r}; accepted: 0 to 1")
    return float(value)


def _angles(value: Any, name: str, piece: str) -> tuple[float, float]:
    pair = tuple(float(v) for v in np.atleast_1d(np.asarray(value, dtype=np.float64)).reshape(-1))
    if len(pair) != 2 or not all(0.0 <= v <= WIDEST_DEG for v in pair):
        raise SceneError(f"{piece}: {name}: found {value!r}; accepted: two angles (along, up) of 0 to {WIDEST_DEG:g}°")
    return pair[0], pair[1]


@dataclass(frozen=True, eq=False)
class Reflector(Rectangle):
    """A sheet of tiny mirror facets; its front reflects, its rear is black.

    reflectance : of the facets, solar-weighted, 0 to 1 [-]
    slope_rms : rms slope of the facets in the direction of ``along`` and of ``up`` [deg]; (0, 0) is a plane mirror
    diffuse : share of the reflectance that leaves Lambertian [-]
    """

    reflectance: float = 0.9
    slope_rms: tuple[float, float] = (0.0, 0.0)
    diffuse: float = 0.0

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "reflectance", _share(self.reflectance, "reflectance", "Reflector"))
        object.__setattr__(self, "diffuse", _share(self.diffuse, "diffuse", "Reflector"))
        object.__setattr__(self, "slope_rms", _angles(self.slope_rms, "slope_rms", "Reflector"))


@dataclass(frozen=True, eq=False)
class Diffuser(Rectangle):
    """A see-through sheet that turns the light passing it, from either side.

    transmittance : at normal incidence [-]; heat_transmittance : of the sunlight that cells cannot use [-]
    spread_rms : rms turn in the direction of ``along`` and of ``up`` [deg]; (0, 0) only weakens
    diffuse : share of the transmitted light that leaves Lambertian on the far side [-]
    """

    transmittance: float = 0.9
    heat_transmittance: float = 0.9
    spread_rms: tuple[float, float] = (0.0, 0.0)
    diffuse: float = 0.0

    def __post_init__(self) -> None:
        super().__post_init__()
        for name in ("transmittance", "heat_transmittance", "diffuse"):
            object.__setattr__(self, name, _share(getattr(self, name), name, "Diffuser"))
        object.__setattr__(self, "spread_rms", _angles(self.spread_rms, "spread_rms", "Diffuser"))


@dataclass(frozen=True)
class Ground:
    """A Lambertian plane through (0, 0, ``height``) without end.

    albedo [-]; height [m]; slope_deg [deg] from the horizontal; slope_azimuth_deg [deg] the downhill direction.
    """

    albedo: float = 0.2
    height: float = 0.0
    slope_deg: float = 0.0
    slope_azimuth_deg: float = 180.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.albedo <= 1.0:
            raise SceneError(f"albedo: found {self.albedo!r}; accepted: 0 to 1")
        if not 0.0 <= self.slope_deg < 60.0:
            raise SceneError(f"slope_deg: found {self.slope_deg!r}; accepted: 0 to below 60")

    @property
    def normal(self) -> FloatArray:
        """(3,) float [-] unit normal, upward."""
        slope, azimuth = np.radians(self.slope_deg), np.radians(self.slope_azimuth_deg)
        return np.array([np.sin(slope) * np.sin(azimuth), np.sin(slope) * np.cos(azimuth), np.cos(slope)])

    def z(self, x: FloatArray | float, y: FloatArray | float) -> FloatArray:
        """Height of the plane at (x, y), m; any shape."""
        n = self.normal
        return self.height - (n[0] * np.asarray(x, float) + n[1] * np.asarray(y, float)) / n[2]


@dataclass(frozen=True, eq=False)
class Scene:
    """All that stands at one place. ``ground=None``: nothing below, light neither comes from there nor ends."""

    panels: Sequence[Panel] = field(default_factory=tuple)
    reflectors: Sequence[Reflector] = field(default_factory=tuple)
    diffusers: Sequence[Diffuser] = field(default_factory=tuple)
    blockers: Sequence[Blocker] = field(default_factory=tuple)
    ground: Ground | None = None

    def __post_init__(self) -> None:
        for name in ("panels", "reflectors", "diffusers", "blockers"):
            object.__setattr__(self, name, tuple(getattr(self, name)))
        if self.ground is None or not self.pieces:
            return
        corner, along, up = (np.array([getattr(p, k) for p in self.pieces]) for k in ("corner", "along", "up"))
        corners = np.stack([corner, corner + along, corner + up, corner + along + up])
        depth = self.ground.z(corners[..., 0], corners[..., 1]) - corners[..., 2]
        worst = int(np.argmax(depth.max(axis=0)))
        if depth[:, worst].max() > BURIED_M:
            raise SceneError(
                f"piece {worst + 1}: found {depth[:, worst].max():.3f} m below the ground; accepted: above it"
            )

    @property
    def pieces(self) -> tuple[Rectangle, ...]:
        """Every rectangle: panels first, then reflectors, diffusers and blockers."""
        return (*self.panels, *self.reflectors, *self.diffusers, *self.blockers)
