"""When strings on one tracker give what each would give on a tracker of its own."""

from collections.abc import Sequence

import numpy as np

from sites.conventions import Float32Array

SAME_VOLTS = 0.004
"""Strings whose own best voltages differ by less than this share count as holding each other back by nothing. Power
falls off from its maximum as about 14 times the square of the relative voltage: 0.00006 at half this share."""

EDGE = 0.01
"""Within this share of an edge of the tracker's voltages the even-light voltage does not tell on which side the
maximum lies."""


def undisturbed(
    strings: Sequence[tuple[Float32Array, np.ndarray, np.ndarray]], window_v: tuple[float, float]
) -> np.ndarray:
    """Hours in which strings on one tracker give what they would give alone; (n,) bool.

    strings : of each, the voltage at the maximum of its mean light, whether it is nearly evenly lit, whether it is dark
    """
    volts = np.stack([v for v, _, _ in strings])
    lowest, highest = volts.min(axis=0), volts.max(axis=0)
    mild = np.all([m & ~d for _, m, d in strings], axis=0)
    inside = (lowest >= window_v[0] * (1.0 + EDGE)) & (highest <= window_v[1] * (1.0 - EDGE))
    found: np.ndarray = np.all([d for _, _, d in strings], axis=0)
    return found | (mild & inside & (highest - lowest <= SAME_VOLTS * highest))
