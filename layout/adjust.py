"""Reflectors set by hand each month: the same layout at several angles, and for each month the best of them."""

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from layout.arrange.arrangement import Arrangement
from layout.conditions import Conditions, local_clock
from layout.result import Adjusted
from layout.year import hourly_ac_kw
from layout.year_figures import Settings
from sites.conventions import FloatArray


def best_by_month(
    arranged: Callable[[float], Arrangement], angles_deg: Sequence[float], conditions: Conditions, settings: Settings
) -> Adjusted:
    """A year in which each month stands at its best angle.

    arranged : the layout with its reflectors at an angle, degrees
    """
    ac = np.stack([hourly_ac_kw(arranged(angle), conditions, settings) for angle in angles_deg])
    start = conditions.weather.start
    month = np.asarray(local_clock(conditions.site, start).month)
    sums = np.stack([ac[:, month == m].sum(axis=1) for m in range(1, 13)], axis=1)
    best = sums.argmax(axis=0)
    stitched: FloatArray = ac[best[month - 1], np.arange(len(start))]
    return Adjusted(
        angles_deg=tuple(float(angles_deg[i]) for i in best),
        tried_deg=tuple(float(a) for a in angles_deg),
        ac_kw=pd.Series(stitched, index=start),
        energy_ac_kwh=float(stitched.sum()) * conditions.weather.interval_h,
    )
