"""Reflectors set by hand each month: the same layout at several angles, and for each month the best of them."""

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from layout.arrange import arrange
from layout.arrange.arrangement import Arrangement
from layout.booster_tables import ANGLES, Booster, PostsBooster
from layout.conditions import Conditions, local_clock
from layout.plan import Layout, PiecesLayout, Plan, RoofLayout
from layout.result import Adjusted
from layout.year import hourly_ac_kw
from layout.year_figures import Settings
from sites.conventions import FloatArray
from sites.errors import InputError

STEPS_DEG = (-30.0, -20.0, -10.0, 0.0, 10.0, 20.0, 30.0)
"""Angles tried around the plan's."""


def wants_adjusting(layout: Layout) -> bool:
    """Whether the plan asks what setting reflectors by hand each month would bring."""
    return any(_adjustable(b) for b in _boosters(layout))


def monthly(plan: Plan, layout: Layout, conditions: Conditions, settings: Settings) -> Adjusted:
    """The layout with its adjustable reflectors at each month's best angle; all are turned by the same steps, and the
    angles told are those of the first."""
    first = next(b for b in _boosters(layout) if _adjustable(b))
    steps = {_moved(first, step): step for step in STEPS_DEG}

    def arranged(angle: float) -> Arrangement:
        moved = [_at(b, _moved(b, steps[angle])) if _adjustable(b) else b for b in _boosters(layout)]
        return arrange(plan, layout.model_copy(update={"booster": tuple(moved)}))

    return best_by_month(arranged, sorted(steps), conditions, settings)


def _boosters(layout: Layout) -> tuple[Booster, ...]:
    return () if isinstance(layout, PiecesLayout | RoofLayout) else layout.booster


def _adjustable(booster: Booster) -> bool:
    return not isinstance(booster, PostsBooster) and booster.adjust == "monthly"


def _moved(booster: Booster, step: float) -> float:
    key, most = ANGLES[booster.place]
    return float(np.clip(getattr(booster, key) + step, 0.0, most))


def _at(booster: Booster, angle: float) -> Booster:
    return booster.model_copy(update={ANGLES[booster.place][0]: angle})


def best_by_month(
    arranged: Callable[[float], Arrangement], angles_deg: Sequence[float], conditions: Conditions, settings: Settings
) -> Adjusted:
    """A year in which each month stands at its best angle.

    arranged : the layout with its reflectors at an angle, degrees
    """
    built = [(angle, arrangement) for angle in angles_deg if (arrangement := _if_it_fits(arranged, angle)) is not None]
    angles_deg = [angle for angle, _ in built]
    ac = np.stack([hourly_ac_kw(arrangement, conditions, settings) for _, arrangement in built])
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


def _if_it_fits(arranged: Callable[[float], Arrangement], angle: float) -> Arrangement | None:
    """The layout at an angle; None where no sheet finds room at it. The plan's own angle has been built before."""
    try:
        return arranged(angle)
    except InputError:
        return None
