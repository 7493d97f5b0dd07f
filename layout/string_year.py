"""A year of strings in series: the light of their panels is kept block by block, then strings are worked out."""

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from layout.field import Block, Field
from layout.geometry.rays import worker_count
from layout.power.method import follows_cells
from layout.power.panel_model import PanelModel
from layout.power.string_rule import string_rule_power
from layout.power.uneven import series_dc_power
from sites.conventions import Float32Array, FloatArray, IntArray

_HOURS_AT_ONCE = 1024


@dataclass(frozen=True, eq=False)
class PanelYear:
    """What strings need of one traced panel; k hours.

    light : (parts, k) float32 [W/m²], the weakest cell of each part of a group; of every net cell where the year
        follows the cells
    groups : (parts,) int, the parts' groups; cell_c : (k,) float32 [°C]
    dc_w : (k,) [W], of a panel of the type's size on a tracker of its own
    """

    light: Float32Array
    groups: IntArray
    cell_c: Float32Array
    dc_w: FloatArray


def panel_years(
    block: Block, light: np.ndarray, panel_c: FloatArray, dc_w: FloatArray, model: PanelModel
) -> dict[int, PanelYear]:
    """The panels of a block by number. light : (k, b, cells) W/m²; panel_c, dc_w : (k, b)."""
    groups = block.family.groups
    order = np.argsort(groups, kind="stable")
    parts = groups if follows_cells(model) else np.arange(model.groups * model.halves)
    bounds = np.searchsorted(groups[order], np.arange(len(parts) + 1))

    def deciding(panel: int) -> Float32Array:
        points = np.ascontiguousarray(light[:, panel].T, dtype=np.float32)
        if parts is groups:
            return points
        return np.stack([points[order[a:b]].min(axis=0) for a, b in pairwise(bounds)])

    return {
        int(number): PanelYear(deciding(i), parts, panel_c[:, i].astype(np.float32), dc_w[:, i])
        for i, number in enumerate(block.panels)
    }


def strings_dc_w(
    strings: tuple[IntArray, ...], kept: dict[int, PanelYear], field: Field, model: PanelModel, dc_w: FloatArray
) -> FloatArray:
    """DC power of a layout, (k,) [W], with its strings in series.

    kept : by number of traced panel; dc_w : (k,) [W], the layout with every panel on a tracker of its own
    Strings of panels that stand for each other in equal numbers are worked out once.
    """
    scale = field.arrangement.area_scale
    alike = Counter(tuple(sorted((int(field.of_panel[p]), float(scale[p])) for p in s)) for s in strings)

    def gain(members: tuple[tuple[int, float], ...]) -> FloatArray:
        """Power in series less that of the panels alone."""
        alone = np.sum([kept[panel].dc_w * size for panel, size in members], axis=0)
        return _series_w(members, kept, model) - alone

    total = np.array(dc_w, dtype=np.float64)
    with ThreadPoolExecutor(worker_count()) as pool:
        for times, difference in zip(alike.values(), pool.map(gain, alike), strict=True):
            total += times * np.minimum(difference, 0.0)  # series power is never above the panels' own best
    return np.maximum(total, 0.0)


def _series_w(members: tuple[tuple[int, float], ...], kept: dict[int, PanelYear], model: PanelModel) -> FloatArray:
    if not follows_cells(model):
        merged = Counter(members)
        years = [kept[panel] for panel, _ in merged]
        light = np.stack([y.light for y in years], axis=1)
        counts, scale = np.array(list(merged.values())), np.array([s for _, s in merged])
        return string_rule_power(light, model, np.stack([y.cell_c for y in years]), counts, scale).astype(np.float64)
    years = [kept[panel] for panel, _ in members]
    hours = len(years[0].cell_c)
    power = np.zeros(hours)
    for start in range(0, hours, _HOURS_AT_ONCE):
        part = slice(start, start + _HOURS_AT_ONCE)
        light = np.stack([y.light[:, part].T for y in years], axis=1)
        cell_c = np.stack([y.cell_c[part] for y in years], axis=1)
        power[part] = series_dc_power(light, years[0].groups, model, cell_c)
    return power * members[0][1]
