"""Voltage of many cells at a given current, forward and reverse: the numeric kernel of the full solution.

Single precision, cells first and panel-hours last, so that sums over cells run through whole vectors.
"""

from dataclasses import dataclass

import numpy as np

from layout.power.diode import DiodeParameters
from layout.power.peak import warmth
from layout.power.reverse import ReverseTable
from sites.conventions import Float32Array, FloatArray

LEAST_SUNS = 1e-4
"""Darker cells count as this bright (0.1 W/m²), so that nothing is divided by 0."""


@dataclass(frozen=True, eq=False)
class Cells:
    """Cells at their light and temperature, made ready for any current.

    All (points, parts, n) float32 unless said: ``full`` light current [A]; ``start`` and ``step``: z = start
    - step · current of `layout.power.peak`; ``base`` [-]: diode voltage over a is base + ln ω; ``leak``
    [1/A]: y of the reverse table over the current beyond ``full``; ``row`` of that table. ``series``,
    ``ideality`` (parts or 1, n): of one cell. ``weight`` (points, parts): cells that a point stands for.
    """

    full: Float32Array
    start: Float32Array
    step: Float32Array
    base: Float32Array
    leak: Float32Array
    row: np.ndarray
    series: Float32Array
    ideality: Float32Array
    weight: Float32Array
    table: ReverseTable


def prepare_cells(
    light_w_m2: Float32Array,
    cell_c: FloatArray | Float32Array,
    weight: Float32Array,
    cell: DiodeParameters,
    table: ReverseTable,
) -> Cells:
    """Cells at their light.

    light_w_m2 : (points, parts, n) float32 [W/m²], each part a string of cells in series
    cell_c : (parts or 1, n) float [°C]; weight : (points, parts) float32, cells that each point stands for
    cell : one-diode parameters of one cell
    """
    suns = np.maximum(light_w_m2 * np.float32(1e-3), np.float32(LEAST_SUNS))
    warm = warmth(cell, np.asarray(cell_c, dtype=np.float64))
    unit = warm.shunt * warm.ideality
    step = 1.0 / (suns * unit.astype(np.float32))
    base = np.log(suns) + warm.shift.astype(np.float32)
    start = (warm.light_current / unit).astype(np.float32) + warm.saturation.astype(np.float32) * step - base
    row, share = table.place(suns)
    leak = np.float32(-1.0 / (warm.shunt * table.reverse.breakdown_v)) / share
    return Cells(
        full=suns * warm.light_current.astype(np.float32),
        start=start,
        step=step,
        base=base,
        leak=leak,
        row=row,
        series=warm.series.astype(np.float32),
        ideality=warm.ideality.astype(np.float32),
        weight=weight.astype(np.float32),
        table=table,
    )


def diode_volts(cells: Cells, current: Float32Array) -> Float32Array:
    """Voltage across each cell's diode, (points, parts, n) [V], at ``current`` (parts, n) [A] through each
    part."""
    z = cells.step * current
    np.subtract(cells.start, z, out=z)
    volts = log_omega(z)
    volts += cells.base
    volts *= cells.ideality
    excess = current - cells.full
    backward = np.flatnonzero(excess > 0.0)
    if len(backward):
        y = excess.take(backward)
        y *= cells.leak.take(backward)
        volts.reshape(-1)[backward] = cells.table.volts(y, cells.row.take(backward))
    return volts


def part_volts(cells: Cells, current: Float32Array) -> Float32Array:
    """Voltage of each part, (parts, n) [V], at ``current`` (parts, n) [A]."""
    volts = np.einsum("cpn,cp->pn", diode_volts(cells, current), cells.weight)
    volts -= cells.weight.sum(axis=0)[:, None] * cells.series * current
    return volts


def log_omega(z: Float32Array) -> Float32Array:
    """ln ω with ω + ln ω = z: as `layout.power.peak.wright_omega`; overwrites z."""
    np.maximum(z, np.float32(-80.0), out=z)
    small = np.exp(np.minimum(z, np.float32(1.0)))
    small /= 1.0 + np.float32(0.632) * small
    omega = np.maximum(z, np.float32(1.0))
    omega -= np.log(omega)
    np.copyto(omega, small, where=z < 1.0)
    # one step of Newton's method: within 2e-5 A of the explicit curve at any voltage
    z += 1.0
    z -= np.log(omega)
    z /= 1.0 + omega
    omega *= z
    return np.log(omega, out=omega)
