"""Sunlight in two parts: what silicon cells can use, and the rest, which only warms them.

A cover's ``transmittance`` T is that of all sunlight by power, its ``heat_transmittance`` H that of the part that
cells cannot use. With the share u = 0.81 of the power in the usable part and that part's transmittance U,

    T = u·U + (1 − u)·H,     0 ≤ U ≤ 1     so     (T − u)/(1 − u) ≤ H ≤ T/(1 − u).

A cover that passes much of the light cannot hold back more heat than the light it loses: with T = 0.9 at most half.
"""

USABLE_SHARE = 0.81
"""Share of the power below 1107 nm in the global standard spectrum (ASTM G173-03): 0.8075, rounded."""

BAND_EDGE_NM = 1107.0
"""Silicon's band gap of 1.12 eV as a wavelength."""


def heat_transmittance_range(transmittance: float) -> tuple[float, float]:
    """Least and largest heat transmittance that a cover of some transmittance can have.

    >>> [round(x, 3) for x in heat_transmittance_range(0.9)], heat_transmittance_range(0.5)
    ([0.474, 1.0], (0.0, 1.0))
    """
    rest = 1.0 - USABLE_SHARE
    return max(0.0, (transmittance - USABLE_SHARE) / rest), min(1.0, transmittance / rest)


def usable_transmittance(transmittance: float, heat_transmittance: float) -> float:
    """Transmittance of the part that cells can use; it makes the current, ``transmittance`` makes the heat.

    >>> round(usable_transmittance(0.86, 0.74), 3)
    0.888
    """
    return (transmittance - (1.0 - USABLE_SHARE) * heat_transmittance) / USABLE_SHARE
