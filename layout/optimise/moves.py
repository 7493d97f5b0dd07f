"""Assumptions of a plan, each moved down and up: what is moved, by how much, and who says so."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.conditions import Conditions
from layout.optimise_tables import PricesTable
from layout.panel_type import PanelType
from layout.plan import Plan
from layout.run import plan_settings
from layout.year_figures import Settings

OURS = "our assumption"
BEAM_SHARE = 0.10
"""Share of the beam that changes places with the dome: a hazier or clearer year of the same light on the level."""

AIR_K = 2.0
COOLING_SHARE = 0.2
ALBEDO = 0.05
REFLECTANCE = 0.05
GAMMA_PCT_PER_K = 0.05
BIFACIALITY = 0.05
PRICE_SHARE = 0.2
DISCOUNT_PCT = 1.0

PRICES = {
    "panel": "price of a panel",
    "support_rows": "support of rows",
    "support_upright": "support of upright rows",
    "support_towers": "support of towers",
    "support_other": "support of other layouts",
    "reflector_m2": "price of a m² of reflector",
    "land_m2": "price of a m² of plot",
    "per_kw": "inverter and connection",
    "upkeep_kw_year": "yearly upkeep",
}


@dataclass(frozen=True, eq=False)
class Case:
    """A year of assumptions. panel_... : what is multiplied or added to the datasheet of every panel type."""

    year: Conditions
    settings: Settings
    prices: PricesTable | None
    reflectance_shift: float = 0.0
    power_factor: float = 1.0
    cooling_factor: float = 1.0
    gamma_shift: float = 0.0
    bifaciality_shift: float = 0.0

    def panel(self, kind: PanelType) -> PanelType:
        """The panel type in this case."""
        rear = float(np.clip(kind.bifaciality + self.bifaciality_shift, 0.0, 1.0)) if kind.bifaciality else 0.0
        return replace(
            kind,
            pmax_w=kind.pmax_w * self.power_factor,
            imp_a=kind.imp_a * self.power_factor,
            isc_a=kind.isc_a * self.power_factor,
            u0_w_m2_k=kind.u0_w_m2_k * self.cooling_factor,
            u1_w_s_m3_k=kind.u1_w_s_m3_k * self.cooling_factor,
            gamma_pmax_pct_per_k=kind.gamma_pmax_pct_per_k + self.gamma_shift,
            bifaciality=rear,
        )


@dataclass(frozen=True, eq=False)
class Move:
    """what : in words;  by : how far, for both ends;  source : who says how far;  ends : the case below and above"""

    key: str
    what: str
    by: str
    source: str
    ends: tuple[Case, Case]


def moves(plan: Plan, year: Conditions, built: Sequence[Arrangement]) -> tuple[Move, ...]:
    """What can be moved in this plan. built : the rivals, which say whether reflectors or rear faces occur."""
    base = Case(year, plan_settings(plan), plan.prices)
    doubt = plan.uncertainty
    found = [
        _pair("weather", "sunlight of the year", doubt.weather_pct, "%", _source(plan, "weather_pct"),
              *(replace(base, year=sunnier(year, s * doubt.weather_pct / 100.0)) for s in (-1, 1))),
        _pair("beam", "share of beam in the sunlight, the same on the level", 100 * BEAM_SHARE, "%", OURS,
              *(replace(base, year=clearer(year, s * BEAM_SHARE)) for s in (-1, 1))),
        _pair("air", "air temperature", AIR_K, "K", OURS,
              *(replace(base, year=replace(year, air_c=year.air_c + s * AIR_K)) for s in (-1, 1))),
        _pair("cooling", "cooling by air and wind", 100 * COOLING_SHARE, "%", OURS,
              *(replace(base, cooling_factor=1 + s * COOLING_SHARE) for s in (-1, 1))),
        _pair("albedo", "albedo of the ground", ALBEDO, "", OURS,
              *(replace(base, year=replace(year, albedo=np.clip(year.albedo + s * ALBEDO, 0, 1))) for s in (-1, 1))),
        _pair("soiling", "light that soiling takes", doubt.soiling_pct, "% of all", _source(plan, "soiling_pct"),
              *(_soiled(base, s * doubt.soiling_pct) for s in (-1, 1))),
        _pair("panel_power", "rated power of the panels", doubt.panel_pct, "%", _source(plan, "panel_pct"),
              *(replace(base, power_factor=1 + s * doubt.panel_pct / 100) for s in (-1, 1))),
        _pair("gamma", "temperature coefficient", GAMMA_PCT_PER_K, "%/K", OURS,
              *(replace(base, gamma_shift=s * GAMMA_PCT_PER_K) for s in (-1, 1))),
    ]  # fmt: skip
    if any(a.scene.reflectors for a in built):
        found.append(
            _pair("reflectance", "reflectance of the sheets", REFLECTANCE, "", OURS,
                  *(replace(base, reflectance_shift=s * REFLECTANCE) for s in (-1, 1)))
        )  # fmt: skip
    if any(p.bifacial for a in built for p in a.scene.panels):
        found.append(
            _pair("bifaciality", "bifaciality of the panels", BIFACIALITY, "", OURS,
                  *(replace(base, bifaciality_shift=s * BIFACIALITY) for s in (-1, 1)))
        )  # fmt: skip
    found += _prices(plan, base)
    return tuple(found)


def _source(plan: Plan, key: str) -> str:
    """Who says how uncertain something is."""
    return "the plan" if key in plan.uncertainty.model_fields_set else OURS


def _pair(key: str, what: str, by: float, unit: str, source: str, low: Case, high: Case) -> Move:
    return Move(key, what, f"± {by:g}{' ' if unit else ''}{unit}", source, (low, high))


def sunnier(year: Conditions, share: float) -> Conditions:
    """All light of the sky by so much more."""
    sky = year.sky
    more = {name: getattr(sky, name) * (1.0 + share) for name in ("beam", "dome", "horizon", "ghi", "dni", "dhi")}
    return replace(year, sky=replace(sky, **more))


def clearer(year: Conditions, share: float) -> Conditions:
    """A share of the beam more, taken from the dome (below 0: given to it), so that a level plane gets as much as
    before; where the dome holds less, all of it."""
    sky = year.sky
    height = np.sin(np.radians(np.maximum(sky.sun.elevation_deg, 0.0)))
    level = np.minimum(share * sky.beam * height, sky.dome)
    beam = sky.beam + np.divide(level, height, out=np.zeros_like(level), where=height > 1e-6)
    return replace(year, sky=replace(sky, beam=beam, dome=sky.dome - level))


def _soiled(base: Case, points: float) -> Case:
    losses = base.settings.losses
    dirty = losses.model_copy(update={"soiling_pct": float(np.clip(losses.soiling_pct + points, 0.0, 99.0))})
    return replace(base, settings=replace(base.settings, losses=dirty))


def _prices(plan: Plan, base: Case) -> list[Move]:
    """Each price that the aim counts with."""
    table, prices = plan.optimise, plan.prices
    if prices is None or table is None or "cost_per_kwh" not in (table.objective, table.second):
        return []
    kinds = {f"support_{layout.kind}" for layout in plan.layouts}
    found = []
    for key, what in PRICES.items():
        value = getattr(prices, key)
        if value <= 0 or (key.startswith("support_") and key not in kinds):
            continue
        ends = (replace(base, prices=prices.model_copy(update={key: value * (1 + s * PRICE_SHARE)})) for s in (-1, 1))
        found.append(_pair(key, what, 100 * PRICE_SHARE, "%", OURS, *ends))
    rates = [max(0.0, prices.discount_pct + s * DISCOUNT_PCT) for s in (-1, 1)]
    ends = (replace(base, prices=prices.model_copy(update={"discount_pct": r})) for r in rates)
    return [*found, _pair("discount_pct", "yearly discount rate", DISCOUNT_PCT, "% a year", OURS, *ends)]


def reflecting(arrangement: Arrangement, shift: float) -> Arrangement:
    """The same with another reflectance of every sheet."""
    if shift == 0.0:
        return arrangement
    sheets = tuple(
        replace(r, reflectance=float(np.clip(r.reflectance + shift, 0.0, 1.0))) for r in arrangement.scene.reflectors
    )
    return replace(arrangement, scene=replace(arrangement.scene, reflectors=sheets))
