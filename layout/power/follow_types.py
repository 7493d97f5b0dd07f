"""What the compiled kernel that follows cells works on: `layout.power.follow_kernel` and the files beside it."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numba import njit

from sites.conventions import Float32Array, FloatArray, IntArray

FINE_FROM, FINE_TO, FINE_STEP = -20.0, 64.0, 1.0 / 16.0
WIDE_TO, WIDE_STEP = 4096.0, 4.0
FAR_TO, FAR_STEP = 262_144.0, 256.0
"""Nodes of the table of ln ω over z, three ranges of them. Read linearly it is within 8e-5 below 64 and within 5e-4
above; times a, some 26 mV a cell, that is 0.01 mV. Far: where a cell carries much less than its light current."""

FINE_NODES = round((FINE_TO - FINE_FROM) / FINE_STEP) + 1
FAR_NODE = FINE_NODES + round((WIDE_TO - FINE_TO) / WIDE_STEP) + 1
"""Place of the first far node."""

NET = 40
"""String currents on which maxima are looked for."""

PART_NODES = 24
GROUP_NODES = 2 * PART_NODES
"""Most nodes of a part's and of a group's curve."""


_OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy", "fastmath": True}
_INNER: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
_LENT: dict[str, Any] = {"_nrt": False}
"""Without counting who holds the arrays of `Work`, which outlive every call: that costs more than what is done."""


class Tables(NamedTuple):
    """Of a panel type. omega : ln ω at its nodes; reverse : (share nodes, volt nodes) of `layout.power.reverse`;
    breakdown_v < 0; dark_shunt, share_limit : ends of its rows; shunt : of a cell [1/ohm]; group_v, rest_v : voltage
    of a group at rest and at the best point; warm : (temperatures, 5) of a cell, as layout.power.peak.Warmth;
    per_light, mismatch, peak_volts : tables of the whole panel, flat, as layout.power.panel_model.LightHeatTable;
    leaky : whether cells leak so much that maxima lie far from knees"""

    omega: FloatArray
    reverse: Float32Array
    breakdown_v: float
    dark_shunt: float
    share_limit: float
    shunt: float
    group_v: float
    rest_v: float
    warm: FloatArray
    per_light: Float32Array
    mismatch: Float32Array
    peak_volts: Float32Array
    leaky: bool


class Series(NamedTuple):
    """How points of light make up strings. A part is a string of cells in series: a group, or a half of one.

    order : (points,) place in a row of light of the points, part by part; bounds : (parts + 1,) where each part's
    begin; each : (parts,) cells that a point stands for; counts : (panels,) panels that each stands for; scale :
    (panels,) area over the type's; groups, halves : of a panel; diodes : whether each group has one
    """

    order: IntArray
    bounds: IntArray
    each: FloatArray
    counts: FloatArray
    scale: FloatArray
    groups: int
    halves: int
    diodes: bool


FULL, START, STEP, BASE, LEAK, CELLS, ROW = range(7)
"""Places of a level's values in `Work.level`: light current, the four terms of its curve, cells, row of the reverse
table. One array: they are read together, and handing over many arrays costs more than small work on them."""


class Work(NamedTuple):
    """Room for one hour. level : (parts, levels, 7); of each part: how many levels, series resistance of all its
    cells, ideality of one. Curves, nodes rising in current: of parts (parts, nodes), of groups (groups, nodes), with
    the current of the first half. Of groups: share of the current through the first half, whether the diode carries
    it, current of the weakest level, rank by that. Of the string: net of currents, voltage and power there, which
    maxima were looked at. Groups lit alike are followed once: ``kind`` (groups,) names one of each kind, from the
    string's first group's place on, ``kinds`` how many kinds there are, ``times`` how many groups are like this
    one."""

    level: FloatArray
    number: IntArray
    drop: FloatArray
    ideality: FloatArray
    part_i: FloatArray
    part_v: FloatArray
    part_n: IntArray
    group_i: FloatArray
    group_v: FloatArray
    first_i: FloatArray
    group_n: IntArray
    share: FloatArray
    off: np.ndarray
    weak: FloatArray
    rank: IntArray
    kind: IntArray
    kinds: IntArray
    times: FloatArray
    line: FloatArray
    net: FloatArray
    volts: FloatArray
    power: FloatArray
    used: IntArray
    warm: FloatArray


def entry(function: Callable[..., Any]) -> Any:
    """A compiled function to call, kept on disk for the next run where there is a place to keep it."""
    try:
        kept = njit(cache=True, **_OPTIONS)(function)
    except RuntimeError:  # neither the program's own folder nor the user's can be written
        return njit(**_OPTIONS)(function)
    drop_older(Path(kept.stats.cache_path), f"{function.__module__.rpartition('.')[2]}.{function.__name__}-*.nbi")
    return kept


def drop_older(folder: Path, names: str) -> None:
    """Remove what was compiled before any file of this package was last changed: numba itself looks only at the file
    of the function called, but constants and functions of the others are compiled in."""
    changed = max(source.stat().st_mtime for source in Path(__file__).parent.glob("*.py"))
    for index in folder.glob(names):
        with suppress(OSError):  # another process may be quicker; what cannot be removed stays
            if index.stat().st_mtime < changed:
                index.unlink()


def compiled(function: Callable[..., Any]) -> Any:
    """A function for compiled ones alone: without what calls from Python need it compiles a third faster."""
    return njit(**_OPTIONS, **_INNER, **_LENT)(function)


def inlined(function: Callable[..., Any]) -> Any:
    """The same, written out where it is called: handing over all of `Work` costs more than a small one's work."""
    return njit(**_OPTIONS, **_INNER, **_LENT, forceinline=True)(function)


@njit(**_OPTIONS, **_INNER)
def work_room(s: Series) -> Work:
    """Room for the strings' hours."""
    panels = len(s.counts)
    parts, groups, most = panels * s.groups * s.halves, panels * s.groups, 0
    for p in range(parts):
        most = max(most, s.bounds[p + 1] - s.bounds[p])
    part, group = (parts, PART_NODES), (groups, GROUP_NODES)
    return Work(
        np.zeros((parts, most, ROW + 1)), np.zeros(parts, np.int64), np.zeros(parts), np.zeros(parts),
        np.zeros(part), np.zeros(part), np.zeros(parts, np.int64),
        np.zeros(group), np.zeros(group), np.zeros(group), np.zeros(groups, np.int64),
        np.zeros(groups), np.zeros(groups, np.bool_), np.zeros(groups), np.zeros(groups, np.int64),
        np.zeros(groups, np.int64), np.zeros(groups, np.int64), np.zeros(groups),
        np.zeros(most + 1), np.zeros(NET), np.zeros(NET), np.zeros(NET), np.zeros(NET, np.int64), np.zeros(5),
    )  # fmt: skip


def omega_table() -> FloatArray:
    """ln ω at the nodes, fine ones first."""
    fine = np.arange(FINE_FROM, FINE_TO + 0.5 * FINE_STEP, FINE_STEP)
    wide = np.arange(FINE_TO, WIDE_TO + 0.5 * WIDE_STEP, WIDE_STEP)
    z = np.concatenate([fine, wide, np.arange(WIDE_TO, FAR_TO + 0.5 * FAR_STEP, FAR_STEP)])
    logs = np.where(z < 1.0, np.minimum(z, 0.0) - 0.5, np.log(np.maximum(z, 1.0)))
    for _ in range(60):  # Newton's method for y + exp(y) = z
        logs = logs - (logs + np.exp(logs) - z) / (1.0 + np.exp(logs))
    return np.asarray(logs)
