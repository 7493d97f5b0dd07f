"""What the compiled kernel `layout.power.follow_kernel` works on."""

from typing import NamedTuple

import numpy as np

from sites.conventions import FloatArray, IntArray

FINE_FROM, FINE_TO, FINE_STEP = -20.0, 64.0, 1.0 / 16.0
WIDE_TO, WIDE_STEP = 4096.0, 4.0
"""Nodes of the table of ln ω over z. Read linearly it is within 8e-5 below 64 and within 5e-4 above; times a, some 26
mV a cell, that is 0.01 mV."""

FINE_NODES = round((FINE_TO - FINE_FROM) / FINE_STEP) + 1


class Tables(NamedTuple):
    """omega : ln ω at its nodes; reverse : (share nodes, volt nodes) of `layout.power.reverse`; breakdown_v < 0;
    dark_shunt, share_limit : ends of its rows; shunt : of a cell [1/ohm]; group_v : voltage of a group at rest."""

    omega: FloatArray
    reverse: FloatArray
    breakdown_v: float
    dark_shunt: float
    share_limit: float
    shunt: float
    group_v: float


class Levels(NamedTuple):
    """Of each part (parts, ...): values (parts, levels, 6) light current, start, step, base, leak, cells; row (parts,
    levels) of the reverse table; number (parts,) of levels; cells (parts,) in all; series, ideality (parts,) of a
    cell."""

    values: FloatArray
    row: IntArray
    number: IntArray
    cells: FloatArray
    series: FloatArray
    ideality: FloatArray


class Curves(NamedTuple):
    """Nodes, rising in current: of parts (parts, nodes) current, volts, how many; of groups (groups, nodes) current,
    volts, current of the first half, how many."""

    part_i: FloatArray
    part_v: FloatArray
    part_n: IntArray
    group_i: FloatArray
    group_v: FloatArray
    first_i: FloatArray
    group_n: IntArray


def omega_table() -> FloatArray:
    """ln ω at the nodes, fine ones first."""
    fine = np.arange(FINE_FROM, FINE_TO + 0.5 * FINE_STEP, FINE_STEP)
    z = np.concatenate([fine, np.arange(FINE_TO, WIDE_TO + 0.5 * WIDE_STEP, WIDE_STEP)])
    logs = np.where(z < 1.0, np.minimum(z, 0.0) - 0.5, np.log(np.maximum(z, 1.0)))
    for _ in range(60):  # Newton's method for y + exp(y) = z
        logs = logs - (logs + np.exp(logs) - z) / (1.0 + np.exp(logs))
    return np.asarray(logs)
