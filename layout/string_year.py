"""A year of strings and trackers: the light of their panels is kept block by block, then trackers are worked out."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from layout.field import Block, Field
from layout.geometry.rays import worker_count
from layout.power.follow import PanelGroup, followed_power, tracker_followed_power
from layout.power.panel_model import ANY_VOLTAGE, PanelModel
from layout.strings import Tracker
from sites.conventions import Float32Array, FloatArray, IntArray

Members = tuple[tuple[int, float], ...]
"""The panels of a string: number of the traced panel, area over the type's."""

_HOURS_AT_ONCE = 1024


@dataclass(frozen=True, eq=False)
class PanelYear:
    """What strings need of one traced panel; k hours.

    light : (k, points) float32 [W/m²] of every net cell; groups : (points,) int, their groups
    cell_c : (k,) float32 [°C]
    dc_w : (k,) [W], of a panel of the type's size on a tracker of its own
    """

    light: Float32Array
    groups: IntArray
    cell_c: Float32Array
    dc_w: FloatArray


def panel_years(block: Block, light: np.ndarray, panel_c: FloatArray, dc_w: FloatArray) -> dict[int, PanelYear]:
    """The panels of a block by number. light : (k, b, cells) W/m²; panel_c, dc_w : (k, b)."""
    return {
        int(number): PanelYear(
            np.ascontiguousarray(light[:, i], dtype=np.float32),
            block.family.groups,
            panel_c[:, i].astype(np.float32),
            dc_w[:, i],
        )
        for i, number in enumerate(block.panels)
    }


@dataclass(frozen=True, eq=False)
class Wired:
    """DC power of a layout, (k,) [W] each: series, had each string a tracker of its own; parallel, with its strings on
    their trackers, were any voltage allowed; held, as it is, within the trackers' voltages."""

    series: FloatArray
    parallel: FloatArray
    held: FloatArray


def trackers_dc_w(
    trackers: tuple[Tracker, ...],
    kept: dict[int, PanelYear],
    field: Field,
    model: PanelModel,
    dc_w: FloatArray,
    window_v: tuple[float, float] = ANY_VOLTAGE,
    times: Sequence[float] | FloatArray | None = None,
) -> Wired:
    """DC power of a layout with its strings on their trackers.

    kept : by number of traced panel; dc_w : (k,) [W], the layout with every panel on a tracker of its own
    window_v : lowest and highest voltage that a tracker holds; times : how many trackers each stands for (default: 1)
    Trackers whose panels stand for each other in equal numbers are worked out once.
    """
    scale = field.arrangement.area_scale

    def members(string: IntArray) -> Members:
        return tuple(sorted((int(field.of_panel[p]), float(scale[p])) for p in string))

    alike: defaultdict[tuple[Members, ...], float] = defaultdict(float)
    for tracker, many in zip(trackers, np.ones(len(trackers)) if times is None else times, strict=True):
        alike[tuple(sorted(members(s) for s in tracker))] += many

    def gain(strings: tuple[Members, ...]) -> FloatArray:
        """Power (3, k) in series, in parallel, within the window, less that of the panels alone, never above 0."""
        alone = np.sum([kept[panel].dc_w * size for string in strings for panel, size in string], axis=0)
        found = np.stack(_tracker_w(strings, kept, model, window_v)) - alone
        return np.minimum.accumulate(np.minimum(found, 0.0), axis=0)

    total = np.tile(np.asarray(dc_w, dtype=np.float64), (3, 1))
    with ThreadPoolExecutor(worker_count()) as pool:
        for many, difference in zip(alike.values(), pool.map(gain, alike), strict=True):
            total += many * difference
    return Wired(*np.maximum(total, 0.0))


def strings_dc_w(
    strings: tuple[IntArray, ...], kept: dict[int, PanelYear], field: Field, model: PanelModel, dc_w: FloatArray
) -> FloatArray:
    """DC power of a layout, (k,) [W], with its strings in series, a tracker each; as `trackers_dc_w`."""
    return trackers_dc_w(tuple((s,) for s in strings), kept, field, model, dc_w).series


def _tracker_w(
    strings: tuple[Members, ...], kept: dict[int, PanelYear], model: PanelModel, window_v: tuple[float, float]
) -> tuple[FloatArray | Float32Array, ...]:
    """Power (k,) of one tracker's strings: a tracker each, in parallel, within the window. Equal strings are worked out
    once, as are equal panels of a string."""
    distinct = Counter(strings)
    panels = [Counter(string) for string in distinct]
    years = [kept[panel] for string in panels for panel, _ in string]
    made = [[PanelGroup(kept[p].groups, count, size) for (p, size), count in string.items()] for string in panels]
    power = np.zeros((3, len(years[0].cell_c)))
    for start in range(0, power.shape[1], _HOURS_AT_ONCE):
        part = slice(start, start + _HOURS_AT_ONCE)
        light = np.concatenate([y.light[part] for y in years], axis=1)
        cell_c = np.stack([y.cell_c[part] for y in years], axis=1)
        if len(strings) == 1 and window_v == ANY_VOLTAGE:
            power[:, part] = followed_power(light, made[0], model, cell_c)[0]
        else:
            each = list(zip(made, distinct.values(), strict=True))
            power[:, part] = tracker_followed_power(light, each, model, cell_c, window_v)
    return tuple(power)
