"""What points on a face receive from every part of the sky: straight, by way of sheets, by way of the ground.

One routine for panels and for the places on matt sheets that pass light on to panels.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from layout.geometry.rays import START_OFFSET_M, RayKernel
from layout.light.chains import light_by_sheets, off_sheet
from layout.light.ground import GroundLight, SheetPlaces, gather_each
from layout.light.kept import KeptPlaces
from layout.light.lattice import additive_sequence, cosine_hemisphere, fibonacci_lattice, frame
from layout.light.places import PlaceNet
from layout.light.sheets import MOST_DIFFUSERS, Sheet, sequences
from layout.light.sky_parts import Glass, SkyParts
from layout.pieces import Ground
from sites.conventions import BoolArray, FloatArray, IntArray

MATT_RAYS = 89
"""Hemisphere rays of places on matt sheets."""

EXACT_RAYS = 10946
"""Rays that settle how much an unshaded face sees of sky and ground."""

_DARK, _SKY, _GROUND, _FAR = range(4)


@dataclass(frozen=True, eq=False)
class Engine:
    """A scene ready to be traced. sheet_glass : angular curve of diffusers."""

    kernel: RayKernel
    sheets: tuple[Sheet, ...]
    ground: Ground | None
    sheet_glass: Glass


@dataclass(frozen=True, eq=False)
class Looks:
    """Looks under way: start (r, 3), direction (r, 3), weights (w, r), row of the result (r,), reflectors met so
    far (r,)."""

    start: FloatArray
    direction: FloatArray
    weights: FloatArray
    row: IntArray
    mirrors: IntArray

    def pick(self, keep: IntArray | BoolArray) -> "Looks":
        """Some of them."""
        if keep.dtype == bool and keep.all():
            return self
        return Looks(self.start[keep], self.direction[keep], self.weights[:, keep], self.row[keep], self.mirrors[keep])

    @staticmethod
    def joined(parts: Sequence["Looks"]) -> "Looks":
        """All looks of several."""
        return Looks(
            np.concatenate([p.start for p in parts]),
            np.concatenate([p.direction for p in parts]),
            np.concatenate([p.weights for p in parts], axis=1),
            np.concatenate([p.row for p in parts]),
            np.concatenate([p.mirrors for p in parts]),
        )


@dataclass(frozen=True, eq=False)
class Receiver:
    """Points (p, 3) just off a face with unit normal ``normal``; one result for each glass.

    net : how far apart places on the ground and on matt sheets lie
    ground_light : what is kept of matt sheets and, where light may come by way of it, of the ground
    diffusers : how many of them light may still pass
    """

    engine: Engine
    parts: SkyParts
    points: FloatArray
    normal: FloatArray
    glasses: Sequence[Glass]
    net: PlaceNet
    ground_light: SheetPlaces | None
    diffusers: int = MOST_DIFFUSERS

    def columns(self, which: int = 0, lobes: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Coefficients (glasses, 2m + 4, p) float32, and the part of the first glass's sun columns that came by way
        of sheets, (m, p).

        which : the shift of the hemisphere's rays; lobes : light by way of sheets' lobes as of `by_sheets`, where it
        was worked out otherwise
        """
        m = len(self.parts.sun)
        seen = self._worth_a_look(self.parts.bounces, self.diffusers)
        out = self.hemisphere(which) if seen else self._nothing()
        by_sheets = out[0, :m].copy()  # so far only matt sheets have added sunlight
        self._add_sun(out[:, :m])
        self._add_band(out[:, 2 * m + 2])
        if self.engine.sheets:
            got = self.by_sheets(self.orders()) if lobes is None else lobes
            out[:, :m] += got[:, :m]
            by_sheets += got[0, :m]
            out[:, 2 * m + 2] += self.parts.ring_strength() * got[:, m:].sum(axis=1)
        return out, by_sheets

    def orders(self) -> tuple[tuple[Sheet, ...], ...]:
        """Orders in which sunlight may meet sheets."""
        return tuple(sequences(self.engine.sheets, self.parts.bounces, self.diffusers))

    def by_sheets(
        self, orders: Sequence[tuple[Sheet, ...]], part: tuple[int, int] = (0, 1), number: int = 0
    ) -> np.ndarray:
        """Beams of 1 W/m² by way of sheets' lobes, (glasses, m + ring_rays, p): sun directions, then the ring's.
        part, number : as of `light_by_sheets`."""
        sources = np.concatenate([self.parts.sun, self.parts.ring_directions()])
        e = self.engine
        draws = (self.parts.draws, part, number)
        return light_by_sheets(e.kernel, orders, self.points, self.normal, sources, self.glasses, e.sheet_glass, *draws)

    def straight(self) -> np.ndarray:
        """Straight beams of 1 W/m² on the first glass, (m, p)."""
        out = np.zeros((len(self.glasses), len(self.parts.sun), len(self.points)), dtype=np.float32)
        self._add_sun(out)
        return out[0]

    def _add_sun(self, out: np.ndarray) -> None:
        cosine = self.parts.sun @ self.normal
        up = np.flatnonzero(cosine > 0)
        seen = ~self.engine.kernel.blocked(self.points, self.parts.sun[up])
        for target, glass in zip(out, self.glasses, strict=True):
            target[up] += (cosine[up] * glass(cosine[up])).astype(np.float32)[:, None] * seen

    def _add_band(self, out: np.ndarray) -> None:
        weights, cosine = self.parts.ring_weights(self.normal)
        used = weights > 1e-12
        free = ~self.engine.kernel.blocked(self.points, self.parts.ring_directions()[used])
        for target, glass in zip(out, self.glasses, strict=True):
            target += (weights[used] * glass(cosine[used])).astype(np.float32) @ free

    def _worth_a_look(self, bounces: int, diffusers: int) -> bool:
        """Whether looks that may still meet so many sheets can find light that is wanted: sky, ground, matt sheets."""
        left = {True: bounces, False: diffusers}
        matt = any(s.diffuse_share > 0 and left[s.mirror] > 0 for s in self.engine.sheets)
        return matt or isinstance(self.ground_light, GroundLight) or not self.parts.sun_only

    def _nothing(self) -> np.ndarray:
        return np.zeros((len(self.glasses), self.parts.columns, len(self.points)), dtype=np.float32)

    def hemisphere(self, which: int) -> np.ndarray:
        """Dome, ground, matt sheets and all that sheets' lobes show of them; (glasses, 2m + 4, p) float32."""
        out = self._nothing()
        local = self._hemisphere_rays(which)
        directions = local @ frame(self.normal)
        end = self._free_end(directions)
        weights = self._weights(local, end)
        met = self._meets(directions)
        free = met < 0
        sky, down = end == _SKY, (end == _GROUND) | (end == _FAR)
        out[:, 2 * len(self.parts.sun)] += weights[:, sky].astype(np.float32) @ free[sky]
        follow = free & down[:, None]
        if self.engine.sheets:
            on_sheet = np.zeros(len(self.engine.kernel.rectangles) + 1, dtype=bool)
            for sheet in self.engine.sheets:
                on_sheet |= sheet.member
            follow |= on_sheet[met]
        point, ray = np.nonzero(np.ascontiguousarray(follow.T))
        looks = Looks(self.points[point], directions[ray], weights[:, ray], point, np.zeros_like(point))
        self._walk(looks, met[ray, point].astype(np.int64), out)
        return out

    def _meets(self, directions: FloatArray) -> np.ndarray:
        """What looks (d, 3) from every point meet, (d, p) int: -1 nothing; which rectangle, where that matters."""
        if self.engine.sheets:
            return self.engine.kernel.first_outer(self.points, directions)
        return self.engine.kernel.blocked(self.points, directions).astype(np.int8) - np.int8(1)

    def _hemisphere_rays(self, which: int) -> FloatArray:
        """Rays about +z: of one lattice where they would not meet the ground, of another where they would."""
        axes = frame(self.normal)
        up, down = (self.parts.hemisphere(which, n) for n in (self.parts.dome_rays, self.parts.down_rays))
        return np.concatenate([up[self._free_end(up @ axes) != _GROUND], down[self._free_end(down @ axes) == _GROUND]])

    def _free_end(self, directions: FloatArray) -> IntArray:
        """Where looks (d, 3) end that meet nothing: dark, sky, ground, or level ground far away."""
        below = self._meets_ground(directions)
        far = self._far(directions, below)
        sky = self.parts.above_skyline(directions) & ~below
        return np.select([sky, below, far], [_SKY, _GROUND, _FAR], _DARK)

    def _weights(self, local: FloatArray, end: IntArray) -> FloatArray:
        """Weights (glasses, d) of the hemisphere's rays, so scaled that what an unshaded face receives from sky and
        ground is that of a far finer set of rays."""
        fine = cosine_hemisphere(fibonacci_lattice(EXACT_RAYS))
        fine_end = self._free_end(fine @ frame(self.normal))
        weights = np.stack([glass(local[:, 2]) for glass in self.glasses]) / len(local)
        exact = np.stack([glass(fine[:, 2]) for glass in self.glasses]) / len(fine)
        for kind in (_DARK, _SKY, _GROUND, _FAR):
            chosen = end == kind
            if chosen.any():
                total = weights[:, chosen].sum(axis=1, keepdims=True)
                weights[:, chosen] *= exact[:, fine_end == kind].sum(axis=1, keepdims=True) / total
        return weights

    def _meets_ground(self, directions: FloatArray) -> BoolArray:
        ground = self.engine.ground
        return np.zeros(len(directions), bool) if ground is None else directions @ ground.normal < -1e-9

    def _far(self, directions: FloatArray, below: BoolArray) -> BoolArray:
        """Looks below the horizontal that pass over the edge of a slope: they see level, unshaded ground."""
        return (directions[:, 2] <= 0) & ~below if self.engine.ground is not None else np.zeros_like(below)

    def _walk(self, looks: Looks, met: IntArray, out: np.ndarray) -> None:
        """Follow looks until they end: on the ground, in the sky, on something black, or after the last sheet."""
        last = self.parts.bounces + self.diffusers
        for step in range(last + 1):
            self._end_free(looks.pick(met < 0), out, count_sky=step > 0)
            parts: list[Looks] = []
            for sheet in self.engine.sheets:
                hit = np.flatnonzero(sheet.member[met])
                if sheet.mirror:
                    front = looks.direction[hit] @ sheet.normal < 0
                    hit = hit[front & (looks.mirrors[hit] < self.parts.bounces)]
                else:
                    hit = hit[step - looks.mirrors[hit] < self.diffusers]
                if len(hit):
                    parts.append(self._on_sheet(sheet, looks.pick(hit), met[hit], step, out))
            if not parts or step == last:
                return
            looks = Looks.joined(parts)
            met, _ = self.engine.kernel.first_hit(looks.start, looks.direction)

    def _end_free(self, looks: Looks, out: np.ndarray, count_sky: bool) -> None:
        """Looks that meet nothing: sky, ground, or level ground far away."""
        if not len(looks.row):
            return
        m, p = len(self.parts.sun), len(self.points)
        below = self._meets_ground(looks.direction)
        if count_sky:
            sky = self.parts.above_skyline(looks.direction) & ~below
            for target, w in zip(out, looks.weights, strict=True):
                target[2 * m] += np.bincount(looks.row[sky], w[sky], p)
        far = self._far(looks.direction, below)
        if far.any():
            sun = np.maximum(0.0, self.parts.sun[:, 2]).astype(np.float32)
            for target, w in zip(out, looks.weights, strict=True):
                share = np.bincount(looks.row[far], w[far], p).astype(np.float32)
                target[m : 2 * m] += sun[:, None] * share
                target[2 * m + 1] += share
        self._on_ground(looks.pick(below), out)

    def _on_ground(self, looks: Looks, out: np.ndarray) -> None:
        ground, kept, m = self.engine.ground, self.ground_light, len(self.parts.sun)
        if ground is None or not isinstance(kept, GroundLight) or not len(looks.row):
            return
        n = ground.normal
        height = (looks.start - [0.0, 0.0, ground.height]) @ n
        distance = np.maximum(0.0, height) / -(looks.direction @ n)
        of_hit, light = kept.at(looks.start + distance[:, None] * looks.direction, distance)
        got = gather_each(looks.row, looks.weights, of_hit, light, len(self.points))
        out[:, m : 2 * m] += got[:, :m]
        out[:, 2 * m + 1] += got[:, m]
        out[:, 2 * m + 3] += got[:, m + 1]

    def _on_sheet(self, sheet: Sheet, looks: Looks, met: IntArray, step: int, out: np.ndarray) -> Looks:
        """Add a sheet's matt light and give the looks that go on by its lobe; ``step``: sheets met before."""
        place = self.engine.kernel.meeting(looks.start, looks.direction, met)
        if sheet.diffuse_share > 0:
            for mirrors in np.unique(looks.mirrors):
                same = looks.mirrors == mirrors
                self._matt(sheet, looks.pick(same), place[same], step, out)
        left = self.parts.bounces - int(sheet.mirror), self.diffusers - int(not sheet.mirror)
        if sheet.share == 0 or not self._worth_a_look(*left):
            return looks.pick(np.zeros(0, dtype=np.int64))
        # Facets of one look's sheets are drawn independently of each other.
        facets = additive_sequence(np.arange(len(met)), 2 * (self.parts.bounces + self.diffusers))
        draw = facets[:, 2 * step : 2 * step + 2]
        on, factor = sheet.look_on(looks.direction, draw, self.engine.sheet_glass)
        going = np.flatnonzero(factor > 0)
        start = off_sheet(sheet, place[going], on[going])
        mirrors = looks.mirrors[going] + int(sheet.mirror)
        return Looks(start, on[going], looks.weights[:, going] * factor[going], looks.row[going], mirrors)

    def _matt(self, sheet: Sheet, looks: Looks, place: FloatArray, step: int, out: np.ndarray) -> None:
        """Lambertian light of a sheet: what its places receive, shared out among the looks that meet them, which all
        met as many reflectors."""
        mirrors = int(looks.mirrors[0])
        bounces = self.parts.bounces - mirrors - int(sheet.mirror)
        diffusers = self.diffusers - (step - mirrors) - int(not sheet.mirror)
        facing = np.ones(len(place), dtype=bool) if sheet.mirror else looks.direction @ sheet.normal < 0
        distance = np.linalg.norm(place - looks.start, axis=1)
        for side, chosen in ((1.0, facing), (-1.0, ~facing)):
            if not chosen.any():
                continue
            # A reflector is lit on the side that is looked at, a diffuser on the other.
            normal = sheet.normal * side * (1.0 if sheet.mirror else -1.0)
            picked = looks.pick(chosen)
            shared = (self.engine.sheets.index(sheet), side, bounces, diffusers)
            of_hit, light = self._kept(shared).at(
                place[chosen],
                distance[chosen],
                self._place_net,
                partial(self._pass_on, sheet, normal, bounces, diffusers),
            )
            out += gather_each(picked.row, picked.weights, of_hit, light, len(self.points))

    def _kept(self, shared: tuple[int, float, int, int]) -> KeptPlaces:
        """Places on one side of a sheet, for light that may still meet so many reflectors and diffusers."""
        if self.ground_light is None:
            return KeptPlaces(self.parts.columns)
        return self.ground_light.sheets.setdefault(shared, KeptPlaces(self.parts.columns))

    @property
    def _place_net(self) -> PlaceNet:
        return self.ground_light.net if self.ground_light else self.net

    def _pass_on(
        self, sheet: Sheet, normal: FloatArray, bounces: int, diffusers: int, hits: FloatArray, out: np.ndarray
    ) -> None:
        """Fill in what places on a sheet pass on."""
        glass = np.ones_like if sheet.mirror else self.engine.sheet_glass
        parts, lit = self.parts.coarser(MATT_RAYS, bounces), hits + START_OFFSET_M * normal
        receiver = Receiver(self.engine, parts, lit, normal, (glass,), self.net, self.ground_light, diffusers)
        out[:] = receiver.columns()[0][0].T * np.float32(sheet.diffuse_share)
