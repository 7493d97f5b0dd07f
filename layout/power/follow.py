"""Power of strings of panels with every cell followed, by the compiled kernel."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from layout.power.follow_types import Series, Tables, omega_table
from layout.power.panel_model import ANY_VOLTAGE, CELL_RANGE_C, LEAKY_SHARE, PanelModel, check_range
from layout.power.peak import warmth
from layout.power.reverse import reverse_of, reverse_table
from sites.conventions import Float32Array, FloatArray, IntArray


def _plain(values: FloatArray | Float32Array, kind: type[np.floating[Any]]) -> np.ndarray:
    """Values as the kernel is compiled for: another kind of array would have it compiled anew."""
    return np.require(values, kind, ["C_CONTIGUOUS", "WRITEABLE"])


@dataclass(frozen=True, eq=False)
class PanelGroup:
    """Panels of a string that take up the same light.

    groups : (n_points,) int, group of each point, from `layout.power.cells.group_map`
    count : how many there are; scale : area of each over the type's
    """

    groups: IntArray
    count: float = 1.0
    scale: float = 1.0


def series_of(panels: Sequence[PanelGroup], model: PanelModel) -> Series:
    """Panels whose points follow each other in a row of light."""
    parts = model.groups * model.halves
    orders, numbers, start = [], [], 0
    for panel in panels:
        orders.append(start + np.argsort(panel.groups, kind="stable"))
        numbers.append(np.bincount(panel.groups, minlength=parts))
        start += len(panel.groups)
    number = np.concatenate(numbers)
    return Series(
        order=np.concatenate(orders).astype(np.int64),
        bounds=np.concatenate([[0], np.cumsum(number)]).astype(np.int64),
        each=model.cells_in_series / model.groups / number,
        counts=np.array([p.count for p in panels], dtype=np.float64),
        scale=np.array([p.scale for p in panels], dtype=np.float64),
        groups=model.groups,
        halves=model.halves,
        diodes=model.diodes,
    )


def followed_power(
    light_w_m2: Float32Array, panels: Sequence[PanelGroup], model: PanelModel, cell_c: FloatArray | Float32Array
) -> tuple[Float32Array, Float32Array]:
    """Highest power, W, of n hours of a string of panels in series, and its voltage there, V; (n,) float32 each.

    light_w_m2 : (n, points) float32 [W/m²] after the glass's angular loss, of one panel after the other
    cell_c : (n, panels) float [°C]

    The first call on a machine compiles for some seconds; others find that on disk.
    Raises PhysicsError where light or temperature lie outside all that is possible.
    """
    # the compiler takes a moment to load, which only those who work out electricity need
    from layout.power.follow_kernel import follow

    cell = _plain(cell_c, np.float64)
    check_range(light_w_m2, cell)
    power, volts = np.zeros(len(cell)), np.zeros(len(cell))
    light = _plain(light_w_m2, np.float32)
    follow(light, cell, series_of(panels, model), tables_of(model), power, volts)
    return power.astype(np.float32), volts.astype(np.float32)


def tracker_followed_power(
    light_w_m2: Float32Array,
    strings: Sequence[tuple[Sequence[PanelGroup], float]],
    model: PanelModel,
    cell_c: FloatArray | Float32Array,
    window_v: tuple[float, float] = ANY_VOLTAGE,
) -> tuple[Float32Array, Float32Array, Float32Array]:
    """Power, W, of n hours of strings in parallel on one tracker: had each a tracker of its own, as they are were any
    voltage allowed, and within ``window_v``; (n,) float32 each.

    strings : the panels of each, and how many such strings there are
    light_w_m2, cell_c : as of `followed_power`, of the panels of one string after the other
    window_v : lowest and highest voltage that the tracker can hold
    A string that is too dark for the tracker's voltage counts as blocked: it takes nothing back.
    Raises PhysicsError where light or temperature lie outside all that is possible.
    """
    from layout.power.follow_tracker import follow_tracker

    cell = _plain(cell_c, np.float64)
    check_range(light_w_m2, cell)
    found = np.zeros((3, len(cell)))
    first = np.concatenate([[0], np.cumsum([len(panels) for panels, _ in strings])]).astype(np.int64)
    follow_tracker(
        _plain(light_w_m2, np.float32),
        cell,
        first,
        np.array([times for _, times in strings], dtype=np.float64),
        (float(window_v[0]), float(window_v[1])),
        series_of([panel for panels, _ in strings for panel in panels], model),
        tables_of(model),
        found,
    )
    alone, free, held = found.astype(np.float32)
    return alone, free, held


FIRST_USE = "first use on this machine: compiling the electricity, some ten seconds and more on a slow or busy one"


def compiled_before() -> bool:
    """Whether the kernel lies on disk, compiled."""
    from layout.power.follow_kernel import follow

    kept = follow.stats.cache_path
    return kept is not None and any(Path(kept).glob(f"{follow.py_func.__module__.rpartition('.')[2]}.follow-*.nbi"))


@lru_cache(maxsize=32)
def tables_of(model: PanelModel) -> Tables:
    """The kernel's tables of a panel model."""
    kind = model.panel_type
    table = reverse_table(reverse_of(kind))
    warm = warmth(model.cell_diode, np.arange(CELL_RANGE_C[0], CELL_RANGE_C[1] + 2.0))
    return Tables(
        omega=omega_table(),
        reverse=table.by_share,
        breakdown_v=table.reverse.breakdown_v,
        dark_shunt=table.reverse.dark_shunt,
        share_limit=table.share_limit,
        shunt=warm.shunt,
        group_v=kind.voc_v / model.groups,
        rest_v=kind.vmp_v / model.groups,
        warm=np.stack([warm.light_current, warm.saturation, warm.series, warm.ideality, warm.shift], axis=-1),
        per_light=model.per_light.values,
        mismatch=model.mismatch.values,
        peak_volts=model.peak_volts.values,
        leaky=model.leaky_share > LEAKY_SHARE,
    )
