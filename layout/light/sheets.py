"""Sheets that turn light: reflectors and diffusers, gathered by attitude and kind."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import ndtri

from layout.light.sky_parts import Glass
from layout.optics.facets import facet_normals, lobe_weights
from layout.pieces import Diffuser, Reflector, Scene
from sites.conventions import BoolArray, FloatArray

MOST_DIFFUSERS = 1
"""Diffusers that one path may pass, besides its reflectors."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """Sheets of one attitude and kind.

    member : (r + 1,) bool over the scene's rectangles; the last entry stands for "nothing hit" and is False
    axes : (3, 3) rows along, up, normal, unit
    mirror : True for reflectors (front only), False for diffusers (either side)
    texture : facet slopes or turns (along, up) [deg]
    share, diffuse_share : of the light that leaves by the texture's lobe, and Lambertian
    """

    member: BoolArray
    axes: FloatArray
    mirror: bool
    texture: tuple[float, float]
    share: float
    diffuse_share: float

    @property
    def normal(self) -> FloatArray:
        """(3,) float."""
        return self.axes[2]

    @property
    def smooth(self) -> bool:
        """Whether one draw says all."""
        return max(self.texture) == 0.0

    def scatter(self, sources: FloatArray, points: FloatArray, glass: Glass) -> tuple[FloatArray, FloatArray]:
        """Light from directions ``sources`` (s, 3) by draws ``points`` (s, 2) of the unit square.

        Returns the directions in which it leaves (s, 3) and, per unit of irradiance normal to the source, what a
        receiver facing it gets (s,): weight / |o·n|.
        """
        local = sources @ self.axes.T
        if self.mirror:
            out, weight = lobe_weights(self.texture, local, facet_normals(self.texture, points))
        else:
            out = turned(-local, self.texture, points)
            passes = (out[:, 2] * local[:, 2] < 0) & (np.abs(out[:, 2]) > 1e-6)
            cosine = np.abs(local[:, 2])
            weight = np.where(passes, cosine * glass(cosine), 0.0)
        reach = np.abs(out[:, 2])
        strength = np.divide(weight, reach, out=np.zeros_like(weight), where=weight > 0)
        return out @ self.axes, self.share * strength

    def look_on(self, looks: FloatArray, points: FloatArray, glass: Glass) -> tuple[FloatArray, FloatArray]:
        """Where a look (r, 3) that meets the sheet goes on, and the factor (r,) on the radiance found there.

        The same light as `scatter`'s, read from the receiver's side: exactly for reflectors and for diffusers of equal
        spreads. Turns about slanting rays have no exact reverse where the spreads differ: with (25°, 5°) sky light by
        way of a diffuser comes out 2 to 3 % too bright (tests/invariants/test_reflector_invariants.py).
        """
        back = -looks @ self.axes.T
        if not self.mirror:
            # Light comes from where the look goes on, at its own angle to the sheet.
            on = turned(-back, self.texture, points)
            passes = (on[:, 2] * back[:, 2] < 0) & (np.abs(back[:, 2]) > 1e-6)
            cosine, reach = np.abs(on[:, 2]), np.abs(back[:, 2])
            factor = np.divide(cosine * glass(cosine), reach, out=np.zeros_like(reach), where=passes)
            return on @ self.axes, self.share * factor
        facets = facet_normals(self.texture, points)
        on, weight = lobe_weights(self.texture, back, facets)
        return on @ self.axes, self.share * np.divide(weight, back[:, 2], out=np.zeros_like(weight), where=weight > 0)


def turned(directions: FloatArray, spread_deg: tuple[float, float], points: FloatArray) -> FloatArray:
    """Directions (r, 3) turned by Gaussian angles about the local axes; points (r, 2) of the unit square."""
    if max(spread_deg) == 0.0:
        return directions
    first = np.cross(np.array([0.0, 1.0, 0.0]), directions)
    length = np.linalg.norm(first, axis=1, keepdims=True)
    first = np.where(length > 1e-9, first / np.maximum(length, 1e-9), np.array([1.0, 0.0, 0.0]))
    # Keep `first` on the side of +x, so that the along spread stays along.
    first = np.where(first[:, :1] < 0, -first, first)
    second = np.cross(directions, first)
    second = np.where(second[:, 1:2] < 0, -second, second)
    angles = np.radians(np.asarray(spread_deg)) * ndtri(np.clip(points, 1e-9, 1 - 1e-9))
    cosine, sine = np.cos(angles), np.sin(angles)
    # Tangents of the angles are laid off along both axes; this form keeps turns past 90° turned back.
    out = cosine.prod(axis=1, keepdims=True) * directions
    out += (sine[:, 0] * cosine[:, 1])[:, None] * first + (cosine[:, 0] * sine[:, 1])[:, None] * second
    return out / np.linalg.norm(out, axis=1, keepdims=True)


def sheets_of(scene: Scene) -> tuple[Sheet, ...]:
    """Gather the reflectors and diffusers of a scene; rectangle numbers are those of ``scene.pieces``."""
    kinds: dict[tuple[object, ...], list[int]] = {}
    attitudes: dict[bytes, tuple[float, ...]] = {}  # most sheets have the same edges as many others
    for i, piece in enumerate(scene.pieces):
        if isinstance(piece, Reflector | Diffuser):
            edges = piece.along.tobytes() + piece.up.tobytes()
            if edges not in attitudes:
                attitudes[edges] = tuple(np.round(_axes(piece), 7).reshape(-1).tolist())
            kinds.setdefault(_kind(piece, attitudes[edges]), []).append(i)
    return tuple(_sheet(scene, members) for members in kinds.values())


def _axes(piece: Reflector | Diffuser) -> FloatArray:
    along, up = piece.along / np.linalg.norm(piece.along), piece.up / np.linalg.norm(piece.up)
    return np.stack([along, up, piece.normal])


def _kind(piece: Reflector | Diffuser, attitude: tuple[float, ...]) -> tuple[object, ...]:
    if isinstance(piece, Reflector):
        return ("reflector", piece.reflectance, piece.slope_rms, piece.diffuse, *attitude)
    return ("diffuser", piece.transmittance, piece.spread_rms, piece.diffuse, *attitude)


def _sheet(scene: Scene, members: Sequence[int]) -> Sheet:
    piece = scene.pieces[members[0]]
    member = np.zeros(len(scene.pieces) + 1, dtype=bool)
    member[list(members)] = True
    if isinstance(piece, Reflector):
        total, texture, diffuse = piece.reflectance, piece.slope_rms, piece.diffuse
    else:
        assert isinstance(piece, Diffuser)
        total, texture, diffuse = piece.transmittance, piece.spread_rms, piece.diffuse
    return Sheet(member, _axes(piece), isinstance(piece, Reflector), texture, total * (1.0 - diffuse), total * diffuse)


def sequences(sheets: Sequence[Sheet], bounces: int, diffusers: int = MOST_DIFFUSERS) -> Iterator[tuple[Sheet, ...]]:
    """Orders in which light may meet sheets, nearest to the receiver first: up to ``bounces`` reflectors and
    ``diffusers`` diffusers."""
    useful = [s for s in sheets if s.share > 0]
    for length in range(1, bounces + diffusers + 1):
        for order in product(useful, repeat=length):
            mirrors = sum(s.mirror for s in order)
            if mirrors <= bounces and length - mirrors <= diffusers:
                yield order
