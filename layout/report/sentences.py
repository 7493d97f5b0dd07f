"""The result in five plain sentences: who leads, by how much, how sure, and what could overturn it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from layout.report.money_rows import money_figures
from layout.report.numbers import joined, number, percent, percent_beside
from layout.report.sentences_boost import BOOSTED_LIGHT_ERROR_PCT, boosted
from layout.result import LayoutResult, PlanResult

LIGHT_ERROR_PCT = 0.3
"""Largest error of a field's mean yearly light against tracing every hour, as the tests assert it."""

TIE_FRACTION = 0.02
"""Leads below this are called too close to call: our choice, several times the error of the light and wide
enough for what another year's weather does to layouts of different shape."""

RANKED = ("kwh_per_m2_plot", "kwh_per_m2_panel", "kwh_per_kw")
"""The three yardsticks."""

GENERAL_CAUTIONS = (
    "This is a comparison of light and energy, not a design to build from: structure, foundations, wind and "
    "snow load, wiring and grid connection follow local codes and belong to licensed engineers and "
    "electricians.",
    "Isolation of live wiring, fire access paths and work at heights: local codes govern them.",
)


@dataclass(frozen=True)
class Lead:
    """Who is first by one yardstick.

    second is empty where there is only one layout to rank; fraction : first over second, minus 1
    """

    first: str
    value: float
    second: str
    second_value: float
    fraction: float

    @property
    def tie(self) -> bool:
        """The lead is too small to be called one."""
        return bool(self.second) and self.fraction < TIE_FRACTION


def lead(layouts: Mapping[str, LayoutResult], key: str) -> Lead | None:
    """Ranking by one result key; layouts without panels or that number are left out, None if all are."""
    values = {name: getattr(r, key) for name, r in layouts.items() if r.panels > 0}
    ranked = sorted((n for n in values if np.isfinite(values[n])), key=lambda n: -values[n])
    if not ranked:
        return None
    first = ranked[0]
    if len(ranked) == 1:
        return Lead(first, values[first], "", np.nan, np.inf)
    second = ranked[1]
    fraction = values[first] / values[second] - 1.0 if values[second] > 0 else np.inf
    return Lead(first, values[first], second, values[second], fraction)


def named(name: str) -> str:
    """A layout's name in running text."""
    return f"“{name}”"


def _share(fraction: float) -> str:
    """How much more, in words that stay readable from 2 % to tenfold."""
    if not np.isfinite(fraction):
        return "far more"
    if fraction >= 1.5:
        return f"{1 + fraction:.1f} times as much"
    near = percent(fraction, 1)
    told = fraction < 0.1 and near != percent(TIE_FRACTION, 1)
    return f"{near if told else percent_beside(fraction, TIE_FRACTION)} more"


def _ranking(found: Lead | None, per: str, unit: str) -> str:
    if found is None:
        return f"Per {per} there is nothing to say: the plan has none."
    if found.value <= 0:
        return f"Per {per}, no layout gives any energy; the warnings and cautions tell why."
    value = f"{number(found.value)} {unit} a year"
    if not found.second:
        return f"Per {per}, {named(found.first)} gives {value}; there is no other layout to rank it against."
    second = f"{named(found.second)} ({number(found.second_value)})"
    if found.tie:
        apart = percent_beside(found.fraction, TIE_FRACTION, 1)
        return f"Per {per}, {named(found.first)} ({value}) and {second} are too close to call: {apart} apart."
    than = "as" if found.fraction >= 1.5 and np.isfinite(found.fraction) else "than"
    return f"Per {per}, {named(found.first)} gives most: {value}, {_share(found.fraction)} {than} {second}."


def _how_sure(result: PlanResult, leads: list[Lead]) -> str:
    doubt = result.plan.uncertainty
    source = "our assumption" if "weather_pct" not in doubt.model_fields_set else "the plan's figure"
    made = result.plan.site.weather.path is None
    weather = "one year made from monthly means" if made else "one weather year"
    ranked = [found for found in leads if found.second and found.value > 0]
    if not ranked:
        verdict = "so the kWh are good to about that spread"
    elif any(found.tie for found in ranked):
        verdict = f"so leads of {100 * TIE_FRACTION:g} % and more stand and the smaller ones above are ties"
    else:
        verdict = "so the order stands for this weather"
    error = BOOSTED_LIGHT_ERROR_PCT if boosted(result.layouts) else LIGHT_ERROR_PCT
    return (
        f"How sure: all figures rest on {weather}; light on the panels agrees within {error:g} % "
        f"with tracing every hour by itself, and years differ by about {doubt.weather_pct:g} % "
        f"({source}), which moves all layouts much alike, {verdict}{_draws(result, ranked)}."
    )


def _draws(result: PlanResult, ranked: list[Lead]) -> str:
    """How often the leader per m² of plot stays ahead when everything uncertain is drawn."""
    found = lead(result.layouts, "kwh_per_m2_plot")
    if found is None or found not in ranked:
        return ""
    share = result.uncertainty.layouts[found.first].wins_fraction
    return f"; per m² of plot {named(found.first)} stays first in {100 * share:.0f} % of the draws"


def _endless_turn(layouts: Mapping[str, LayoutResult]) -> str | None:
    """What building the same all round would change on the plot."""
    alone, endless = lead(layouts, "kwh_per_m2_plot"), lead(layouts, "kwh_per_m2_plot_endless")
    if alone is None or endless is None or not endless.second or not alone.second:
        return None
    if endless.first != alone.first:
        return (
            f"neighbours who build the same (per m² of plot {named(endless.first)} then leads with "
            f"{number(endless.value)} kWh)"
        )
    if endless.fraction < 0.7 * alone.fraction:
        return (
            f"neighbours who build the same (the lead per m² of plot then falls from "
            f"{100 * alone.fraction:.0f} to {100 * endless.fraction:.0f} %)"
        )
    return None


def _cost_turn(result: PlanResult) -> str | None:
    """Cost: by the plan's prices, or, without any, of panels and structure where the leader on the plot needs more."""
    layouts, found = result.layouts, lead(result.layouts, "kwh_per_m2_plot")
    if found is None or not found.second:
        return None
    each = {name: f["money_per_kwh"] for name, f in money_figures(result).items() if f["money_per_kwh"] is not None}
    if found.first in each:
        cheapest = min(each, key=lambda name: each[name])
        if cheapest == found.first:
            return f"other prices than the plan's (by these a kWh of {named(cheapest)} costs least, too)"
        return (
            f"cost (by the plan's prices a kWh of {named(cheapest)} costs least, {number(each[cheapest])} against "
            f"{number(each[found.first])} of {named(found.first)})"
        )
    ratio = layouts[found.first].dc_capacity_kw / max(layouts[found.second].dc_capacity_kw, 1e-9)
    if ratio > 1.1:
        return (
            f"cost, which is not in these figures ({named(found.first)} takes {ratio:.1f} times the panel "
            f"power of {named(found.second)}, and its structure)"
        )
    return "the cost of panels and structure, which is not in these figures"


def _ground_turn(layouts: Mapping[str, LayoutResult]) -> str | None:
    """Albedo, where rear faces earn a share worth naming."""
    shares = {
        name: r.rear_irradiation_kwh_per_m2 / (r.irradiation_kwh_per_m2 + r.rear_irradiation_kwh_per_m2)
        for name, r in layouts.items()
        if r.panels > 0 and r.rear_irradiation_kwh_per_m2 > 0
    }
    names = [named(name) for name, share in shares.items() if share > 0.08]
    if not names:
        return None
    return f"ground brighter or duller than assumed (rear faces take part of the light of {joined(names)})"


def _reflector_turn(layouts: Mapping[str, LayoutResult]) -> str | None:
    """What reflectors cost and how they age, where a leader has any."""
    firsts = [found.first for key in RANKED if (found := lead(layouts, key)) is not None]
    if not any(layouts[name].reflector_area_m2 for name in firsts):
        return None
    return "the price of reflectors, of their frames and of keeping them clean"


def _limits_turn(layouts: Mapping[str, LayoutResult]) -> str | None:
    """Panels' limits that a leader passes."""
    firsts = dict.fromkeys(found.first for key in RANKED if (found := lead(layouts, key)) is not None)
    beyond = [
        named(n) for n in firsts if (p := layouts[n].peaks) and p.hours_above_cell_limit + p.hours_above_light_limit
    ]
    return f"panels' makers, whose limits some cells of {joined(beyond)} pass" if beyond else None


def _aisle_turn(layouts: Mapping[str, LayoutResult]) -> str | None:
    """Access, where there is a choice of layouts on a plot."""
    if lead(layouts, "kwh_per_m2_plot") is None or len(layouts) < 2:
        return None
    return "wider aisles for machines and upkeep than the plan leaves"


def _untried_turn(layouts: Mapping[str, LayoutResult]) -> str | None:
    """What may beat a layout that was looked at alone."""
    return "a layout that was not tried, since there is only this one" if len(layouts) == 1 else None


def _surroundings_turn(layouts: Mapping[str, LayoutResult]) -> str | None:
    return "trees or houses beside it that the plan does not hold"


Turn = Callable[[Mapping[str, LayoutResult]], str | None]
TURNS_BEFORE_COST: tuple[Turn, ...] = (_untried_turn, _endless_turn)
TURNS_AFTER_COST: tuple[Turn, ...] = (_reflector_turn, _limits_turn, _ground_turn, _aisle_turn, _surroundings_turn)


def five_sentences(result: PlanResult) -> tuple[str, str, str, str, str]:
    """Leader per m² of plot, per m² of panel, per kW; how sure; what could overturn it."""
    layouts = result.layouts
    leads = [lead(layouts, key) for key in RANKED]
    turns = [turn(layouts) for turn in TURNS_BEFORE_COST]
    turns += [_cost_turn(result), *(turn(layouts) for turn in TURNS_AFTER_COST)]
    return (
        _ranking(leads[0], "m² of plot", "kWh"),
        _ranking(leads[1], "m² of panel", "kWh"),
        _ranking(leads[2], "kW of rated power", "kWh"),
        _how_sure(result, [found for found in leads if found is not None]),
        "What could overturn it: " + joined([text for text in turns if text is not None]) + ".",
    )


def endless_sentence(result: PlanResult) -> str:
    """Why the lone and the endless figure differ."""
    shares = [
        f"{named(name)} {100 * r.light_from_beyond_plot_fraction:.0f} %"
        for name, r in result.layouts.items()
        if np.isfinite(r.light_from_beyond_plot_fraction)
    ]
    taken = f" (their share of all beam: {', '.join(shares)})" if shares else ""
    return (
        "The two differ because panels at the edge of a lone plot catch light that would have reached the "
        f"ground beyond the boundary{taken}, light that neighbours with the same pattern would take and "
        "shade; on the other hand a lone plot has setbacks, corners and obstacles where nothing stands, "
        "and an endless pattern has none."
    )


def layout_cautions(result: PlanResult, topics: Sequence[str] = ()) -> dict[str, tuple[str, ...]]:
    """The layouts' cautions, each line once with the layouts that it is about.

    topics : only cautions that begin with one of these words and a colon (default all)
    """
    about: dict[str, list[str]] = {}
    for name, r in result.layouts.items():
        for line in r.cautions:
            if not topics or line.split(":")[0] in topics:
                about.setdefault(line, []).append(name)
    return {line: tuple(names) for line, names in about.items()}


def all_cautions(result: PlanResult) -> tuple[str, ...]:
    """Every caution of the layouts, then what holds for any of them."""
    every = tuple(result.layouts)
    about = layout_cautions(result)
    lines = (line if names == every else f"{', '.join(names)}: {line}" for line, names in about.items())
    return (*lines, *GENERAL_CAUTIONS)
