"""Algebra of tabulated current-voltage curves: many at once, nodes first, (nodes, ...) each."""

import numpy as np

from layout.power.curve_kernel import join_columns, order_columns, read_columns
from sites.conventions import Float32Array


def interpolate(x: Float32Array, xp: Float32Array, fp: Float32Array) -> Float32Array:
    """Values of tabulated functions, each column its own table, linear between nodes and, for one
    more interval, beyond the ends.

    x : (k, ...); xp : (j, ...) not falling along the first axis; fp : (j, ...) values at xp. Returns (k,
        ...).
    """
    values = np.zeros(x.shape, dtype=np.float32)
    read_columns(_flat(x), _flat(xp), _flat(fp), values.reshape(len(x), -1))
    return values


def _flat(values: Float32Array) -> Float32Array:
    """Nodes first, all curves in one axis behind, as the compiled functions take them."""
    return np.ascontiguousarray(values).reshape(len(values), -1)


def by_current(current: Float32Array, volts: Float32Array) -> tuple[Float32Array, Float32Array]:
    """Nodes in rising order of current; both (j, ...)."""
    ordered = np.zeros(current.shape, dtype=np.float32), np.zeros(current.shape, dtype=np.float32)
    order_columns(_flat(current), _flat(volts), _flat(ordered[0]), _flat(ordered[1]))
    return ordered


def merge(
    first: tuple[Float32Array, Float32Array], second: tuple[Float32Array, Float32Array]
) -> tuple[Float32Array, Float32Array]:
    """One curve's nodes (current, volts) from two sets of its nodes."""
    return by_current(*(np.concatenate(pair, axis=0) for pair in zip(first, second, strict=True)))


def current_at(volts: Float32Array, curve: tuple[Float32Array, Float32Array]) -> Float32Array:
    """Current of a curve (current, volts), nodes in rising order of current, at given voltages (k, ...)."""
    return interpolate(-volts, -curve[1], curve[0])


def in_parallel(current: Float32Array, volts: Float32Array) -> tuple[Float32Array, Float32Array]:
    """Curves in parallel: currents summed at equal voltage. (j, m, s, n) each, s curves to be summed; current rising,
    volts falling along j. Returns current and volts, (s · j, m, n): nodes of all curves are kept."""
    nodes, many, curves, n = current.shape
    shape = (curves * nodes, many, n)
    joined = np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32)
    join_columns(np.ascontiguousarray(current), np.ascontiguousarray(volts), *joined)
    return joined
