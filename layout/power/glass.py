"""Angular loss of the panel's glass: how much less light enters at a slant than at normal incidence."""

from functools import lru_cache
from typing import TypeVar

import numpy as np
from pvlib.iam import physical

from sites.conventions import Float32Array, FloatArray

GLASS_INDEX = 1.526
"""Refractive index of plain glass (De Soto et al., Solar Energy 80 (2006) 78-88, section 3)."""

_NODES = 4096
"""Nodes over cosθ. Linear interpolation between them is within 1e-6 of the formula (tests/layout)."""

_CHUNK = 1 << 15
"""Values worked at a time, so that they stay in the processor's cache."""

_Array = TypeVar("_Array", FloatArray, Float32Array)


@lru_cache(maxsize=16)
def _table(index: float) -> tuple[Float32Array, Float32Array]:
    """Ratio at the nodes and its step to the next node, (nodes + 2,) each; the last two are guards at cosθ =
    1."""
    cosines = np.minimum(np.arange(_NODES + 3) / _NODES, 1.0)
    ratio = np.nan_to_num(physical(np.degrees(np.arccos(cosines)), n=index))
    ratio[0] = 0.0
    table, step = ratio[:-1].astype(np.float32), np.diff(ratio).astype(np.float32)
    table.flags.writeable = step.flags.writeable = False
    return table, step


def transmission_ratio(cos_theta: _Array, index: float = GLASS_INDEX) -> _Array:
    """Light that enters the glass over what would enter at normal incidence.

    cos_theta : (...) float [-] cosine of the angle of incidence, at most 1; float32 is worked in float32
    index : refractive index of the glass; absorption 4 /m over 2 mm
    Returns (...) float [-], 1 at normal incidence, 0 where cos_theta <= 0.

    Source: De Soto et al. (2006), section 3 (Fresnel and Bouguer), as in ``pvlib.iam.physical``; read from a
    table.

    >>> transmission_ratio(np.array([1.0, 0.5, -0.2])).round(3).tolist()
    [1.0, 0.946, 0.0]
    """
    table, step = _table(index)
    cosines = np.asarray(cos_theta)
    ratio = np.zeros_like(cosines)
    flat, out = cosines.reshape(-1), ratio.reshape(-1)
    for start in range(0, flat.size, _CHUNK):
        place = np.clip(flat[start : start + _CHUNK], 0.0, 1.0)
        place *= _NODES
        node = place.astype(np.int32)
        place -= node
        place *= step[node]
        place += table[node]
        out[start : start + _CHUNK] = place
    return ratio
