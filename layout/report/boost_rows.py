"""Rows of the tables on reflectors, on their light and on heat, for the page and the terminal alike."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from layout.report.numbers import NOTHING, number, signed_percent
from layout.report.sentences_boost import boosted
from layout.result import Boost, LayoutResult, LightLedger


@dataclass(frozen=True)
class Rows:
    """heads : after the first column, which holds the layout's name; a line break may stand in each"""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def head_words(self) -> tuple[str, ...]:
        """The heads in one line each."""
        return tuple(head.replace("-\n", "-").replace("\n", " ").strip() for head in self.heads)


SMALLEST_KWH_M2 = 0.05
"""Below this a year's light or energy per m² is told as 0."""

BOOST_HEADS = (
    "area\nm²",
    "AC\nchange",
    "lost to\nshade¹",
    "they\nbring¹",
    "\nrest¹",
    "AC per m²\nof them²",
    "of panel\nwithout²",
    "break-\neven³",
)
BOOST_NOTE = (
    "Area: of the reflectors, mirror side. ¹ kWh a year per m² of panel, both faces of bifacial ones: beam that "
    "shadows take without the reflectors, sunlight that the reflectors bring, and what stays lost (below 0: more is "
    "brought than was lost). ² kWh a year: extra energy per m² of reflector; all energy per m² of panel without "
    "reflectors. ³ What a m² of reflector may cost at most, frame and upkeep included, as a fraction of a m² of panel "
    "that yields as these do."
)


def boost_rows(layouts: Mapping[str, LayoutResult]) -> Rows:
    """What reflectors bring and what a square metre of them is worth."""
    found = {name: pair for name, pair in boosted(layouts).items() if pair[0].reflector_area_m2}
    return Rows(BOOST_HEADS, tuple((name, *_boost_row(r, boost)) for name, (r, boost) in found.items()))


def _boost_row(r: LayoutResult, boost: Boost) -> tuple[str, ...]:
    told = np.isfinite(boost.brought_kwh_per_m2)
    return (
        number(r.reflector_area_m2),
        signed_percent(boost.change(r.energy_ac_kwh)),
        _minus(boost.beam_lost_kwh_per_m2),
        _minus(boost.brought_kwh_per_m2) if told else NOTHING,
        _minus(boost.rest_kwh_per_m2) if told else NOTHING,
        _minus(boost.extra_kwh_per_m2_reflector),
        number(boost.bare_kwh_per_m2_panel),
        number(boost.break_even_fraction, 2) if boost.break_even_fraction > 0 else NOTHING,
    )


def _minus(value: float) -> str:
    """kWh/m²; what is too small to be known is 0."""
    return number(0.0 if abs(value) < SMALLEST_KWH_M2 else value).replace("-", "−")


@dataclass(frozen=True)
class Share:
    """One way that light on the reflectors goes. fraction : of what arrived; key : short name"""

    key: str
    label: str
    fraction: float


def light_shares(ledger: LightLedger) -> tuple[Share, ...]:
    """Where the beam on a layout's reflectors goes; empty where none arrived."""
    if ledger.arrived_kwh <= 0:
        return ()
    parts = (
        ("reached", "reached panels", ledger.reached_kwh),
        ("missed", "missed panels", ledger.missed_kwh),
        ("absorbed", "absorbed", ledger.absorbed_kwh),
        ("masked", "hidden by facets", ledger.masked_kwh),
    )
    return tuple(Share(key, label, max(0.0, kwh) / ledger.arrived_kwh) for key, label, kwh in parts)


LEDGER_NOTE = (
    "Each share is estimated for itself: what arrives and what reaches panels looking back from where it lands, the "
    "rest by following light from the sun. The gap is what the shares miss of the whole."
)
LEDGER_HEADS = ("arrived\nMWh a year", "reached\npanels", "missed\npanels", "absorbed", "hidden by\nfacets", "gap")


def ledger_rows(layouts: Mapping[str, LayoutResult]) -> Rows:
    """A year's beam on the reflectors and where it went, as shares of what arrived."""
    rows = []
    for name, (_, boost) in boosted(layouts).items():
        shares = light_shares(boost.ledger)
        if shares:
            fractions = tuple(f"{100 * share.fraction:.1f} %" for share in shares)
            gap = signed_percent(boost.ledger.gap_fraction, 2)
            rows.append((name, number(boost.ledger.arrived_kwh / 1000.0), *fractions, gap))
    return Rows(LEDGER_HEADS, tuple(rows))


HEAT_HEADS = (
    "hottest\ncell °C",
    "in still\nair °C",
    "limit\n°C",
    "hours\nabove",
    "brightest\ncell W/m²",
    "limit\nW/m²",
    "hours\nabove",
    "over its\npanel's mean",
)
HEAT_NOTE = (
    "From the year's worst hours, traced again at the true sun. In still air: had there been no wind at all. Over its "
    "panel's mean: the most by which a cell outshines its panel, where the panel's mean is above 200 W/m²."
)
DEFAULT_LIMITS_NOTE = (
    "* A limit that the panel's values do not state: 85 °C and 1250 W/m² are ours. The maker's data decide, "
    "and whether the warranty holds under reflected light at all."
)


def heat_rows(layouts: Mapping[str, LayoutResult]) -> Rows:
    """Hottest and brightest cells against the panels' limits."""
    rows = []
    for name, r in layouts.items():
        if r.peaks is None:
            continue
        kind, peaks = r.arrangement.panel_type, r.peaks
        warm, bright = (("" if s else "*") for s in (kind.max_cell_stated, kind.max_light_stated))
        rows.append(
            (
                name,
                f"{peaks.hottest_cell_c:.0f}",
                f"{peaks.hottest_cell_still_air_c:.0f}",
                f"{kind.max_cell_c:g}{warm}",
                number(peaks.hours_above_cell_limit, 1),
                f"{peaks.peak_cell_light_w_m2:.0f}",
                f"{kind.max_light_w_m2:g}{bright}",
                number(peaks.hours_above_light_limit, 1),
                f"{peaks.peak_cell_ratio:.2f}",
            )
        )
    return Rows(HEAT_HEADS, tuple(rows))


def heat_notes(layouts: Mapping[str, LayoutResult]) -> tuple[str, ...]:
    """What to say under the table of heat."""
    ours = any(not r.arrangement.panel_type.limits_stated for r in layouts.values())
    return (HEAT_NOTE, DEFAULT_LIMITS_NOTE) if ours else (HEAT_NOTE,)
