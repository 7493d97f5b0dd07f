"""How sure a year's energy is: P50, P90, and the range of the difference between layouts.

Each draw multiplies the yearly AC energy of a layout with one factor per cause:

    energy = (bare + gain · reflectance) · weather · soiling · panel type · light

Where the inverter has an AC limit, the factors act before it: reflectance scales what the reflectors add to the DC
power of every hour, the others scale the sum, and the year's energy is read from what the inverter makes of that. Each
factor is log-normal with median 1 and the stated relative standard deviation σ, so ln(factor) has the variance
ln(1 + σ²). Weather, soiling and reflectance are common to all layouts, the panel factor to all layouts of a type, and
the light factor belongs to one layout. What is common cancels out of a difference. Draws of a cause are stratified: n
values at the middle of n equally likely parts, in random order; causes and names start random numbers of their own, so
that a layout's draws do not depend on which others stand in the plan.

Not in it: weather that suits one layout more than another, errors that grow over the life of a plant.
"""

import zlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import combinations
from typing import Any

import numpy as np
from scipy.special import ndtri

from layout.uncertainty_table import UncertaintyTable
from sites.conventions import FloatArray

CAUSES = ("weather", "soiling", "reflectance", "panel", "light")
LOW, HIGH = 0.1, 0.9
"""P90 is exceeded in nine cases of ten: the tenth percentile of the draws."""


RESPONSE_FACTORS = np.array([0.0, 0.3, 0.5, 0.6, *np.arange(0.7, 1.31, 0.05), 1.4, 1.5, 1.7, 2.0, 3.0, 5.0, 10.0])
"""DC power over that of the year for which the inverter is worked out; close where draws are many."""

REFLECTANCE_FACTORS = np.array([0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 1.0, 1.05, 1.1, 1.2, 1.3, 1.5, 2.0, 4.0])
"""The same of what the reflectors add."""


@dataclass(frozen=True, eq=False)
class Response:
    """kwh : (q, r) float, AC energy of the year with the reflectors' part of every hour's DC power times each of
    `REFLECTANCE_FACTORS`, and all of it times each of `RESPONSE_FACTORS`; one row without reflectors."""

    kwh: FloatArray

    def at(self, reflectance: FloatArray, factor: FloatArray) -> FloatArray:
        """AC energy at factors (n,) each [kWh]; linear between those known, beyond them the last."""
        rows = np.stack([np.interp(factor, RESPONSE_FACTORS, row) for row in self.kwh])
        if len(rows) == 1:
            return rows[0]
        place = np.interp(reflectance, REFLECTANCE_FACTORS, np.arange(len(rows)))
        low = np.minimum(place.astype(np.int64), len(rows) - 2)
        draws = np.arange(len(low))
        return rows[low, draws] + (place - low) * (rows[low + 1, draws] - rows[low, draws])


@dataclass(frozen=True)
class Estimate:
    """What is known of one layout: AC energy of the year, the same without reflectors and sheets, panel type; what the
    inverter makes of more or less DC power, None where the one goes by the other."""

    name: str
    energy_kwh: float
    bare_kwh: float
    panel: str
    response: Response | None = None


@dataclass(frozen=True)
class Range:
    """Yearly AC energy of one layout, kWh; wins_fraction : share of draws in which it gives most per m² of plot."""

    p50_kwh: float
    p90_kwh: float
    wins_fraction: float


@dataclass(frozen=True)
class Difference:
    """Energy of ``first`` over that of ``second``, minus 1: exceeded in nine, five and one of ten draws.

    Layouts of a plan share the plot, so it is the same per m² of plot.
    """

    first: str
    second: str
    p90_fraction: float
    p50_fraction: float
    p10_fraction: float


@dataclass(frozen=True)
class Uncertainty:
    """The draws, summed up."""

    layouts: dict[str, Range]
    differences: tuple[Difference, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers and lists."""
        layouts = {name: asdict(found) for name, found in self.layouts.items()}
        return {"layouts": layouts, "differences": [asdict(d) for d in self.differences]}


def factors(pct: float, cause: str, name: str, table: UncertaintyTable) -> FloatArray:
    """Factors of one cause, (draws,) [-]; ``name``: what it belongs to, empty where it is common to all."""
    n, width = table.draws, float(np.sqrt(np.log1p((pct / 100.0) ** 2)))
    start = np.random.SeedSequence([table.seed, CAUSES.index(cause), zlib.crc32(name.encode())])
    even = ndtri((np.arange(n) + 0.5) / n)
    return np.exp(width * np.random.default_rng(start).permutation(even))


def energy_draws(estimates: Sequence[Estimate], table: UncertaintyTable) -> FloatArray:
    """Yearly AC energy, (layouts, draws) [kWh]."""
    common = factors(table.weather_pct, "weather", "", table) * factors(table.soiling_pct, "soiling", "", table)
    reflectance = factors(table.reflectance_pct, "reflectance", "", table)
    out = np.zeros((len(estimates), table.draws))
    for row, e in zip(out, estimates, strict=True):
        own = factors(table.panel_pct, "panel", e.panel, table) * factors(table.light_pct, "light", e.name, table)
        row[:] = (e.bare_kwh + (e.energy_kwh - e.bare_kwh) * reflectance) * common * own
        if e.response is not None:
            row[:] = e.response.at(reflectance, common * own)
    return out


def uncertainty(estimates: Sequence[Estimate], table: UncertaintyTable) -> Uncertainty:
    """P50 and P90 of each layout, each pair's difference, and who wins how often."""
    draws = energy_draws(estimates, table)
    first = np.bincount(draws.argmax(axis=0), minlength=len(draws)) / table.draws if len(draws) else np.zeros(0)
    layouts = {
        e.name: Range(float(np.median(row)), float(np.quantile(row, LOW)), float(share))
        for e, row, share in zip(estimates, draws, first, strict=True)
    }
    pairs = combinations(range(len(draws)), 2)
    return Uncertainty(layouts, tuple(_difference(estimates, draws, i, k) for i, k in pairs))


def _difference(estimates: Sequence[Estimate], draws: FloatArray, i: int, k: int) -> Difference:
    names = estimates[i].name, estimates[k].name
    if estimates[k].energy_kwh <= 0.0:
        return Difference(*names, *(float("nan"),) * 3)
    low, middle, high = np.quantile(draws[i] / draws[k] - 1.0, [LOW, 0.5, HIGH])
    return Difference(*names, float(low), float(middle), float(high))
