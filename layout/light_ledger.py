"""Where the sunlight that meets reflectors goes: each share estimated on its own, so that they can be held against
each other.

What arrives and what reaches panels is looked at backward, from the receiver (`layout.reached_light`); what misses, is
absorbed or lost to facet masking comes from light followed forward from the sun.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import qmc

from layout.conditions import Conditions
from layout.field import Field
from layout.geometry.rays import START_OFFSET_M
from layout.geometry.rectangles import Rectangles
from layout.light.lattice import cosine_hemisphere
from layout.light.sheets import Sheet
from layout.reached_light import reached_beam
from layout.result import LightLedger
from sites.conventions import FloatArray, IntArray

PARCELS_LOG2 = 18
"""Parcels of light followed, 2 to this power, as the points of a scrambled Sobol sequence ask for (Owen, Journal of
Complexity 14 (1998) 466-489; from memory). Experiment: tests/layout/test_light_ledger.py prints how far the gap moves
from seed to seed."""


def light_ledger(field: Field, conditions: Conditions, arriving: FloatArray, seed: int = 1) -> LightLedger:
    """The ledger of a layout's reflectors, all zero where it has none, or see-through sheets beside them: light that
    passes these is not followed here. arriving : (m, n) of `arriving_beam`."""
    scene, light = field.arrangement.scene, conditions.sun_light()
    if not scene.reflectors or scene.diffusers:
        return LightLedger(0.0, 0.0, 0.0, 0.0, 0.0)
    sheets = Rectangles.of(scene.reflectors)
    arrived = float((arriving @ sheets.area) @ light)
    missed, absorbed, masked = _forward(field, sheets, conditions, light, seed)
    return LightLedger(arrived, float(reached_beam(field, conditions) @ light), missed, absorbed, masked)


@dataclass(frozen=True, eq=False)
class _Parcels:
    """Parcels of light on their way: place (r, 3), toward the light (r, 3), reflector met (r,), kWh (r,), and the
    points of the unit cube that decide over their reflections to come, three each, (r, 3 × reflections)."""

    place: FloatArray
    toward: FloatArray
    sheet: IntArray
    kwh: FloatArray
    draws: FloatArray

    def pick(self, keep: np.ndarray) -> "_Parcels":
        """Some of them."""
        return _Parcels(self.place[keep], self.toward[keep], self.sheet[keep], self.kwh[keep], self.draws[keep])


def _forward(
    field: Field, sheets: Rectangles, c: Conditions, light: FloatArray, seed: int
) -> tuple[float, float, float]:
    """Missed, absorbed and masked light, kWh a year, of parcels followed from the sun."""
    kernel, scene = field.engine.kernel, field.arrangement.scene
    n_panels, kinds = len(scene.panels), _kind_of(field)
    both = np.array([p.bifacial for p in scene.panels], dtype=bool)
    draws = qmc.Sobol(4 + 3 * c.parts.bounces, seed=seed).random_base2(PARCELS_LOG2)
    parcels = _from_the_sun(sheets, c, light, draws)
    parcels = parcels.pick(~kernel.blocked_pairs(parcels.place, parcels.toward))
    missed = absorbed = masked = 0.0
    for bounce in range(c.parts.bounces):
        leaves, kept, dark = _leave(parcels, kinds)
        absorbed += dark
        masked += float((parcels.kwh - kept).sum()) - dark
        met, _ = kernel.first_hit(parcels.place, leaves)
        panel = np.zeros(len(met), dtype=bool)
        hit = (met >= 0) & (met < n_panels)
        front = np.einsum("ij,ij->i", leaves[hit], field.rectangles.normal[met[hit]]) < 0
        panel[hit] = front | both[met[hit]]
        again = (met >= n_panels) & (met < n_panels + len(sheets))
        again[again] = np.einsum("ij,ij->i", leaves[again], sheets.normal[met[again] - n_panels]) < 0
        if bounce == c.parts.bounces - 1:
            again[:] = False  # light that would have to bounce once more counts as missed
        missed += float(kept[~panel & ~again].sum())
        index = met[again] - n_panels
        place = kernel.meeting(parcels.place[again], leaves[again], met[again]) + START_OFFSET_M * sheets.normal[index]
        parcels = _Parcels(place, -leaves[again], index, kept[again], parcels.draws[again, 3:])
    return missed, absorbed, masked


def _from_the_sun(sheets: Rectangles, c: Conditions, light: FloatArray, draws: FloatArray) -> _Parcels:
    """Equal parcels on reflectors' fronts. Points (r, 4 + ...) choose attitude and sun direction by the year's beam on
    all sheets of it, then the sheet by its area, then the place on it."""
    _, kind = np.unique(np.round(sheets.normal, 7), axis=0, return_inverse=True)
    kind = kind.reshape(-1)
    order = np.argsort(kind, kind="stable")
    starts = np.searchsorted(kind[order], np.arange(kind.max() + 2))
    normal, area = sheets.normal[order[starts[:-1]]], np.concatenate([[0.0], sheets.area[order].cumsum()])
    of_kind = area[starts[1:]] - area[starts[:-1]]
    share = (np.maximum(0.0, normal @ c.parts.sun.T) * light * of_kind[:, None]).reshape(-1).cumsum()
    chosen = np.searchsorted(share, draws[:, 0] * share[-1], side="right").clip(max=len(share) - 1)
    attitude, node = np.divmod(chosen, len(light))
    wanted = area[starts[attitude]] + draws[:, 1] * of_kind[attitude]
    sheet = order[(np.searchsorted(area, wanted, side="right") - 1).clip(starts[attitude], starts[attitude + 1] - 1)]
    place = sheets.corner[sheet] + draws[:, 2:3] * sheets.along[sheet] + draws[:, 3:4] * sheets.up[sheet]
    kwh = np.full(len(draws), share[-1] / len(draws))
    return _Parcels(place + START_OFFSET_M * sheets.normal[sheet], c.parts.sun[node], sheet, kwh, draws[:, 4:])


def _kind_of(field: Field) -> list[tuple[Sheet, IntArray]]:
    """Each kind of reflector with the numbers of its sheets among the reflectors."""
    n_panels = len(field.arrangement.scene.panels)
    return [(s, np.flatnonzero(s.member) - n_panels) for s in field.engine.sheets if s.mirror]


def _leave(parcels: _Parcels, kinds: list[tuple[Sheet, IntArray]]) -> tuple[FloatArray, FloatArray, float]:
    """Directions in which parcels leave, what is left of each, and what the sheets absorbed in all.

    A parcel leaves by the lobe or Lambertian by the shares of the two; the lobe's weight differs from draw to draw and
    is right in the mean.
    """
    leaves, kept, absorbed = np.zeros_like(parcels.place), np.zeros(len(parcels.kwh)), 0.0
    for sheet, members in kinds:
        mine = np.flatnonzero(np.isin(parcels.sheet, members))
        total = sheet.share + sheet.diffuse_share
        absorbed += float(parcels.kwh[mine].sum()) * (1.0 - total)
        if total == 0 or not len(mine):
            leaves[mine] = sheet.normal
            continue
        matt = parcels.draws[mine, 0] < sheet.diffuse_share / total
        lobe, flat = mine[~matt], mine[matt]
        leaves[flat] = cosine_hemisphere(parcels.draws[flat, 1:3]) @ sheet.axes
        kept[flat] = parcels.kwh[flat] * total
        out, strength = sheet.scatter(parcels.toward[lobe], parcels.draws[lobe, 1:3], np.ones_like)
        reach = np.abs(out @ sheet.normal) / np.abs(parcels.toward[lobe] @ sheet.normal)
        leaves[lobe] = out
        kept[lobe] = parcels.kwh[lobe] * total * (strength * reach / sheet.share if sheet.share > 0 else 0.0)
    return leaves, kept, absorbed
