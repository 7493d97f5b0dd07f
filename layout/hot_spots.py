"""The worst hot spots of a layout, from the hours that were traced again at the true sun, every cell."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layout.conditions import Conditions
from layout.evaluate import stress_of
from layout.field import Block
from layout.power.hot_spot import HotSpot, hot_spot, hot_spot_cautions
from layout.power.panel_model import PanelModel
from layout.result import HotSpotHour, HotSpots
from sites.conventions import FloatArray, IntArray

PANELS_EACH_HOUR = 6
"""Panels of a block looked at in each hour: which cell turns hottest is only guessed before. Our choice."""


def hot_spots(
    seen: Sequence[tuple[Block, FloatArray]],
    at: Conditions,
    model: PanelModel,
    in_series: int,
    pairs: tuple[IntArray, IntArray],
) -> HotSpots:
    """Hot spots with working and with failed bypass diodes, each at its own worst hour.

    seen : blocks of panels with the light that their cells use, (hours, panels, cells) [W/m²]; in each hour those
        panels of a block that are most prone to a hot spot are looked at
    in_series : panels in the longest string; the others lie in the light of the panel's brightest cell
    pairs : place among the hours and number of panels that are looked at whatever their light, (n,) each
    """
    cases = zip(*(_block_hot_spots(block, light, at, model, in_series, pairs) for block, light in seen), strict=True)
    working, failed = (max(found, key=_Found.hottest) for found in cases)
    lines = hot_spot_cautions(working.spots, failed.spots, model)
    return HotSpots(working.hour(at), failed.hour(at), lines)


@dataclass(frozen=True, eq=False)
class _Found:
    """Panel-hours in which a cell takes up power; spots, hours, panels : (n,) each."""

    spots: HotSpot
    hours: IntArray
    panels: IntArray

    @classmethod
    def of(cls, spots: HotSpot, hours: IntArray, panels: IntArray) -> "_Found":
        """Those among panel-hours in which a cell takes up power."""
        some = np.flatnonzero(spots.taken_up_w > 0.0)
        taking = HotSpot(spots.cell[some], spots.taken_up_w[some], spots.cell_c[some])
        return cls(taking, hours[some], panels[some])

    def hottest(self) -> float:
        """Temperature of the warmest such cell, °C."""
        return float(self.spots.cell_c.max(initial=-np.inf))

    def hour(self, at: Conditions) -> HotSpotHour | None:
        """The hour with the warmest such cell."""
        if not len(self.hours):
            return None
        worst = int(self.spots.cell_c.argmax())
        taken, warm = float(self.spots.taken_up_w[worst]), float(self.spots.cell_c[worst])
        return HotSpotHour(at.sky.sun.start[int(self.hours[worst])], int(self.panels[worst]), taken, warm)


def _block_hot_spots(
    block: Block, light: FloatArray, at: Conditions, model: PanelModel, in_series: int, pairs: tuple[IntArray, IntArray]
) -> tuple[_Found, _Found]:
    """With working and with failed diodes."""
    chosen = np.zeros(light.shape[:2], dtype=bool)
    np.put_along_axis(chosen, np.argsort(-stress_of(light), axis=1, kind="stable")[:, :PANELS_EACH_HOUR], True, axis=1)
    pair, own = np.nonzero(pairs[1][:, None] == block.panels)
    chosen[pairs[0][pair], own] = True
    hours, place = np.nonzero(chosen)
    cells, panels = light[hours, place].astype(np.float32), block.panels[place]
    args = (cells, block.family.groups, model, at.air_c[hours], at.wind_m_s[hours], in_series)
    working = _Found.of(hot_spot(*args), hours, panels)
    return working, _Found.of(hot_spot(*args, diodes=False), hours, panels) if model.diodes else working
