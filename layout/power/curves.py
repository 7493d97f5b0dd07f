"""Algebra of tabulated current-voltage curves: many at once, nodes first, (nodes, ...) each."""

from collections.abc import Sequence

import numpy as np

from sites.conventions import Float32Array


def interpolate(x: Float32Array, xp: Float32Array, fp: Float32Array) -> Float32Array:
    """Values of tabulated functions, each column its own table, linear between nodes and, for one
    more interval, beyond the ends.

    x : (k, ...); xp : (j, ...) not falling along the first axis; fp : (j, ...) values at xp. Returns (k,
        ...).
    """
    place = np.zeros(x.shape, dtype=np.uint8 if len(xp) < 256 else np.uint16)
    for node in xp[1:-1]:
        place += (x >= node).view(np.uint8)
    columns = x[0].size
    flat = place.reshape(len(x), -1).astype(np.int32)
    flat *= columns
    flat += np.arange(columns, dtype=np.int32)
    xs, fs = xp.reshape(-1), fp.reshape(-1)
    x0, f0 = xs.take(flat), fs.take(flat)
    flat += columns
    width = xs.take(flat) - x0
    np.maximum(width, np.float32(1e-12), out=width)
    share = x.reshape(len(x), -1) - x0
    share /= width
    np.clip(share, np.float32(-1.0), np.float32(2.0), out=share)
    share *= fs.take(flat) - f0
    share += f0
    return share.reshape(x.shape)


def by_current(current: Float32Array, volts: Float32Array) -> tuple[Float32Array, Float32Array]:
    """Nodes in rising order of current; both (j, ...)."""
    order = np.argsort(current, axis=0)
    return np.take_along_axis(current, order, axis=0), np.take_along_axis(volts, order, axis=0)


def merge(
    first: tuple[Float32Array, Float32Array], second: tuple[Float32Array, Float32Array]
) -> tuple[Float32Array, Float32Array]:
    """One curve's nodes (current, volts) from two sets of its nodes."""
    return by_current(*(np.concatenate(pair, axis=0) for pair in zip(first, second, strict=True)))


def current_at(volts: Float32Array, curve: tuple[Float32Array, Float32Array]) -> Float32Array:
    """Current of a curve (current, volts), nodes in rising order of current, at given voltages (k, ...)."""
    return interpolate(-volts, -curve[1], curve[0])


def in_parallel(curves: Sequence[tuple[Float32Array, Float32Array]]) -> tuple[Float32Array, Float32Array]:
    """Curves in parallel: currents summed at equal voltage. Each (current, volts), rising in current; nodes
    of all are kept."""
    volts = np.concatenate([curve[1] for curve in curves], axis=0)
    parts = []
    for i, (current, own) in enumerate(curves):
        at = [current if i == k else current_at(other[1], (current, own)) for k, other in enumerate(curves)]
        parts.append(np.concatenate(at, axis=0))
    return by_current(np.sum(parts, axis=0), volts)
