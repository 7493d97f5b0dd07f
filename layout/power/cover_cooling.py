"""How a cover near a panel hinders its cooling."""

from dataclasses import replace

import numpy as np

from layout.panel_type import PanelType

HINDRANCE = 0.4
"""Share of the panel's heat loss that a cover lying on it takes away: most of what the front, one of two sides, gives
off. Our assumption; glazed collectors, which hinder the front alone, lose heat about so much less."""

FADE_M = 0.1
"""Gap over which the hindrance falls to a third; boundary layers on panels are centimetres thick. Our assumption."""


def cooling_factor(gap_m: float) -> float:
    """Factor on U0 and U1 of a panel with a cover at a gap; our assumption.

    >>> round(cooling_factor(0.0), 2), round(cooling_factor(0.05), 2), round(cooling_factor(1.0), 2)
    (0.6, 0.76, 1.0)
    """
    return float(1.0 - HINDRANCE * np.exp(-gap_m / FADE_M))


def covered_cooling(kind: PanelType, gap_m: float) -> PanelType:
    """The panel type with its heat loss as hindered by a cover."""
    factor = cooling_factor(gap_m)
    return replace(kind, u0_w_m2_k=kind.u0_w_m2_k * factor, u1_w_s_m3_k=kind.u1_w_s_m3_k * factor)
