"""Voltage of many cells at given currents, forward and reverse.

Single precision, cells first and panel-hours last, so that sums over cells run through whole vectors.
"""

from dataclasses import dataclass

import numpy as np

from layout.power.cell_kernel import strings_volts
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
    size: Float32Array | float = 1.0,
) -> Cells:
    """Cells at their light.

    light_w_m2 : (points, parts, n) float32 [W/m²], each part a string of cells in series
    cell_c : (parts or 1, n) float [°C]; weight : (points, parts) float32, cells that each point stands for
    cell : one-diode parameters of one cell
    size : (parts, 1), area of the cells over that; currents go with it
    """
    scale = np.asarray(size, dtype=np.float32)
    suns = np.maximum(light_w_m2 * np.float32(1e-3), np.float32(LEAST_SUNS))
    warm = warmth(cell, np.asarray(cell_c, dtype=np.float64))
    unit = warm.shunt * warm.ideality
    step = 1.0 / (suns * unit.astype(np.float32))
    base = np.log(suns) + warm.shift.astype(np.float32)
    start = (warm.light_current / unit).astype(np.float32) + warm.saturation.astype(np.float32) * step - base
    row, share = table.place(suns)
    leak = np.float32(-1.0 / (warm.shunt * table.reverse.breakdown_v)) / share
    return Cells(
        full=suns * (warm.light_current.astype(np.float32) * scale),
        start=start,
        step=step / scale,
        base=base,
        leak=leak / scale,
        row=row,
        series=warm.series.astype(np.float32) / scale,
        ideality=warm.ideality.astype(np.float32),
        weight=weight.astype(np.float32),
        table=table,
    )


def diode_volts(cells: Cells, current: Float32Array) -> Float32Array:
    """Voltage across each cell's diode, (points, parts, n) [V], at ``current`` (parts, n) [A] through each
    part."""
    points, parts, n = cells.full.shape
    each = (1, points * parts, n)
    one = np.ones((points * parts, n), dtype=np.float32)
    volts = np.zeros(each, dtype=np.float32)
    strings_volts(
        np.tile(current, (points, 1))[None],
        tuple(values.reshape(each) for values in (cells.full, cells.start, cells.step, cells.base, cells.leak)),
        cells.row.reshape(each),
        np.zeros_like(one),
        one * np.tile(np.broadcast_to(cells.ideality, (parts, n)), (points, 1)),
        one[None, :, 0],
        *cells.table.compiled,
        volts,
    )
    return volts.reshape(points, parts, n)


def part_volts(cells: Cells, current: Float32Array) -> Float32Array:
    """Voltage of each part, (k, parts, n) [V], at ``current`` (k, parts, n) [A]."""
    volts, parts = np.zeros_like(current), cells.full.shape[1:]
    strings_volts(
        np.ascontiguousarray(current),
        (cells.full, cells.start, cells.step, cells.base, cells.leak),
        cells.row,
        np.ascontiguousarray(np.broadcast_to(cells.series, parts)),
        np.ascontiguousarray(np.broadcast_to(cells.ideality, parts)),
        cells.weight,
        *cells.table.compiled,
        volts,
    )
    return volts
