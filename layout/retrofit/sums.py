"""A set's electricity from the sum of its parts' light.

Light adds up: the roof's coefficients, the changes by single parts and those by pairs give the coefficients of a set
that was never traced. Electricity does not: the weakest cell of a group and the weakest panel of a string decide. So
it is worked out anew from the summed light, strings and inverter and all, as a layout's year is.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from layout.field import BLOCK_VALUES, Block
from layout.retrofit.effects import Effect, Part, Roof, block_of, part_year
from layout.retrofit.whole import Whole, socket_kwh, string_year
from layout.string_year import PanelYear, trackers_dc_w
from layout.strings import trackers_of
from layout.year_figures import Settings
from sites.conventions import FloatArray


@dataclass(frozen=True, eq=False)
class Summed:
    """A year of a set by its summed light; n panels.

    dc_kwh, light_kwh : (n,) each panel on a tracker of its own, light on its front before the glass
    string_kwh : (strings,) DC of each; ac_kwh : at the socket
    """

    dc_kwh: FloatArray
    light_kwh: FloatArray
    string_kwh: FloatArray
    ac_kwh: float


def summed(roof: Roof, bare: Whole, settings: Settings, changes: Sequence[Part]) -> Summed:
    """The year of the roof with ``changes`` of its light on top, those of every part and pair of a set.

    bare : the roof without parts, traced whole
    """
    evaluator = replace(roof.evaluator, wiring=settings.wiring)
    n = len(roof.dc_kwh)
    dc, light, hours = np.zeros(n), np.zeros(n), np.zeros(len(roof.conditions.albedo))
    kept: dict[int, PanelYear] = {}
    for block in _blocks(roof, changes):
        year = evaluator.block_year(roof.field, block)
        dc[block.panels] = year.panel["dc"]
        light[block.panels] = year.panel["front"] * roof.rectangles.area[block.panels]
        hours += year.hour["dc"]
        kept |= year.kept
    trackers, window = trackers_of(roof.arrangement, settings.wiring), settings.wiring.window_v
    wired = trackers_dc_w(trackers, kept, roof.field, evaluator.model, hours, window).held
    ac = socket_kwh(roof.arrangement, roof.conditions, settings, wired)
    return Summed(dc, light, string_year(bare.strings, kept, roof.field, evaluator), float(ac.sum()))


def _blocks(roof: Roof, changes: Sequence[Part]) -> Iterator[Block]:
    """The roof's panels with their changed coefficients, so many at once as memory allows."""
    for base in roof.base:
        family = roof.field.families[base.family]
        mine = [c for c in changes if c.family == base.family]
        size = max(1, BLOCK_VALUES // (len(roof.conditions.albedo) * family.net.cells))
        for start in range(0, len(base.panels), size):
            panels = base.panels[start : start + size]
            before, after = (getattr(base, name)[:, start : start + size].copy() for name in ("before", "after"))
            for change in mine:
                at = np.searchsorted(panels, change.panels)
                inside = np.flatnonzero(np.isin(change.panels, panels))
                before[:, at[inside]] += change.before[:, inside]
                after[:, at[inside]] += change.after[:, inside]
            yield block_of(roof, Part(base.family, panels, before, after))


def pair_by_sum(roof: Roof, first: Effect, second: Effect) -> FloatArray:
    """What two candidates do to each panel beyond the sum of both where their light adds up, (n,) DC kWh of a year:
    light on one half of a panel's cells is worth more once the other half gets some, too."""
    extra = np.zeros(len(roof.dc_kwh))
    for one, other in product(first.parts, second.parts):
        panels = np.intersect1d(one.panels, other.panels)
        if one.family != other.family or not len(panels):
            continue
        base = next(b for b in roof.base if b.family == one.family)
        sums = [
            sum(getattr(p, name)[:, np.searchsorted(p.panels, panels)].astype(np.float32) for p in (base, one, other))
            for name in ("before", "after")
        ]
        extra[panels] = part_year(roof, Part(one.family, panels, *sums))[0] - roof.dc_kwh[panels]
        for effect in (first, second):
            at = np.flatnonzero(np.isin(effect.panels, panels))
            extra[effect.panels[at]] -= effect.dc_kwh[at]
    return extra


def moved(parts: Sequence[Part], panels: np.ndarray, roof: Roof) -> tuple[Part, ...]:
    """Changes of light where they meet other panels of the same family.

    panels : (n,) int, for each panel of the roof the one that takes its change, -1 where there is none
    """
    found = []
    for part in parts:
        mine = roof.field.families[part.family].traced
        to = panels[part.panels]
        keep = np.flatnonzero(np.isin(to, mine))
        order = keep[np.argsort(to[keep], kind="stable")]
        found.append(replace(part, panels=to[order], before=part.before[:, order], after=part.after[:, order]))
    return tuple(part for part in found if len(part.panels))
