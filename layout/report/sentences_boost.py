"""What reflectors and see-through sheets bring, in plain sentences."""

from collections.abc import Mapping, Sequence

from layout.report.numbers import joined, number, percent, signed, signed_percent
from layout.result import Adjusted, Boost, LayoutResult
from layout.result_sheets import SheetEffect

BOOSTED_LIGHT_ERROR_PCT = 0.5
"""Largest error of a boosted field's mean yearly light against tracing every hour, as the tests assert it."""

NOTHING_FRACTION = BOOSTED_LIGHT_ERROR_PCT / 100.0
"""Changes of the year's energy up to this are called nothing."""

LEAST_SHADOW_KWH_M2 = 1.0
"""Shadows that take less beam than this a year are not worth giving back: our choice."""

HARDLY_SHARE = 0.9
"""A fixed reflector that keeps this share of the adjusted one's gain hardly needs touching: our choice."""


def boosted(layouts: Mapping[str, LayoutResult]) -> dict[str, tuple[LayoutResult, Boost]]:
    """The layouts with reflectors or see-through sheets, and what these do."""
    return {name: (r, r.boost) for name, r in layouts.items() if r.boost is not None}


def sheets_named(result: LayoutResult) -> str:
    """What a layout has beside its panels, in words."""
    scene = result.arrangement.scene
    words = ["reflectors"] * bool(scene.reflectors) + ["see-through sheets"] * bool(scene.diffusers)
    return joined(words)


def scatters(result: LayoutResult) -> bool:
    """Whether any reflector spreads the light; false where all are plane mirrors."""
    return any(max(r.slope_rms) > 0 or r.diffuse > 0 for r in result.arrangement.scene.reflectors)


def boost_sentences(layouts: Mapping[str, LayoutResult]) -> tuple[str, ...]:
    """One sentence on each layout's reflectors and on its see-through sheets, then shadows of towers and setting by
    hand, where the plan has them."""
    found = boosted(layouts)
    lines = [_brings(name, r, boost) for name, (r, boost) in found.items() if r.reflector_area_m2]
    lines += [_see_through(name, r.sheets) for name, (r, _) in found.items() if r.sheets is not None]
    return (*lines, *_shadow_sentence(found), *_tracking_sentence(found))


def _brings(name: str, r: LayoutResult, boost: Boost) -> str:
    gain = boost.change(r.energy_ac_kwh)
    extra = abs(r.energy_ac_kwh - boost.bare_energy_ac_kwh)
    area = number(r.reflector_area_m2)
    its = f"“{name}”: its {area} m² of reflectors"
    each = f"{signed(boost.extra_kwh_per_m2_reflector)} kWh a year"
    panel = f"a m² of panel without reflectors gives {number(boost.bare_kwh_per_m2_panel)}"
    if gain < -NOTHING_FRACTION:
        light = number(boost.brought_kwh_per_m2) + " kWh of sunlight per m² of panel" if not _sheets(r) else "light"
        return (
            f"{its} cost energy: {percent(-gain)} less AC than the same panels without them ({number(extra)} kWh a "
            f"year); they bring {light}, but their shadows, the sky they hide and the unevenness they make take more, "
            "so they are not worth having at any price."
        )
    if gain <= NOTHING_FRACTION:
        return f"{its} bring nothing to speak of: {signed_percent(gain)} AC, {each} per m² of reflector where {panel}."
    return (
        f"{its} bring {percent(gain)} more AC energy ({number(extra)} kWh a year); a m² of reflector brings "
        f"{number(boost.extra_kwh_per_m2_reflector)} kWh a year where {panel}, so it breaks even with more panels "
        f"while it costs, frame and upkeep included, less than {number(boost.break_even_fraction, 2)} of a m² of panel."
    )


def _sheets(r: LayoutResult) -> bool:
    return bool(r.arrangement.scene.diffusers)


def _see_through(name: str, effect: SheetEffect) -> str:
    """What a layout's covers and other see-through sheets do, reflectors left as they are."""
    built, without, cool = effect.with_sheets, effect.without_sheets, effect.freely_cooled
    share, kwh = effect.energy_fraction, abs(built.energy_ac_kwh - without.energy_ac_kwh)
    its = f"“{name}”: its {'cover' if cool else 'see-through sheets'}"
    cost, bring = ("costs", "brings") if cool else ("cost", "bring")
    if abs(share) <= NOTHING_FRACTION:
        told = f"{its} {'leaves' if cool else 'leave'} the energy as it is ({signed_percent(share)} AC)"
    elif share < 0:
        told = f"{its} {cost} {percent(-share)} of the AC energy ({number(kwh)} kWh a year)"
        if cool:
            hindered = -effect.cooling_energy_fraction
            told += (
                f": {percent(-share - hindered)} by what it does to the light, {percent(hindered)} by hindering cooling"
            )
    else:
        told = f"{its} {bring} {percent(share)} more AC energy ({number(kwh)} kWh a year)"
    warm = f"the hottest cell comes to {built.hottest_cell_c:.0f} °C, without to {without.hottest_cell_c:.0f} °C"
    if cool:
        warm += f", and to {cool.hottest_cell_c:.0f} °C did the cover not hold the warmth in"
    light = (
        f"the brightest cell gets {built.peak_cell_light_w_m2:.0f} instead of {without.peak_cell_light_w_m2:.0f} W/m²"
    )
    return f"{told}; {warm}; {light}."


def _shadow_sentence(found: Mapping[str, tuple[LayoutResult, Boost]]) -> tuple[str, ...]:
    """Whether reflectors give back what shadows take from towers."""
    answers = []
    for name, (r, boost) in found.items():
        if r.kind != "towers" or not r.reflector_area_m2 or _sheets(r):
            continue
        lost, brought = boost.beam_lost_kwh_per_m2, boost.brought_kwh_per_m2
        if lost < LEAST_SHADOW_KWH_M2:
            answers.append(f"in “{name}” hardly any shadow falls; the reflectors bring {number(brought)} kWh on top")
            continue
        back = f" ({100 * brought / lost:.0f} %)"
        word = "yes" if brought >= lost else "partly" if brought >= 0.2 * lost else "hardly"
        rest = f", {number(-boost.rest_kwh_per_m2)} more than was lost"
        if boost.rest_kwh_per_m2 > 0:
            rest = f", {number(boost.rest_kwh_per_m2)} stay lost"
        answers.append(
            f"{word} in “{name}”: shadows take {number(lost)} kWh of beam a year per m² of panel, the reflectors bring "
            f"{number(brought)}{back}{rest}"
        )
    if not answers:
        return ()
    return ("Can reflectors give back what shadows take from a tower? " + _capital("; ".join(answers)) + ".",)


def _tracking_sentence(found: Mapping[str, tuple[LayoutResult, Boost]]) -> tuple[str, ...]:
    """What setting reflectors by hand each month adds to leaving them alone."""
    asked = {n: (r, b, b.adjusted) for n, (r, b) in found.items() if b.adjusted is not None and r.reflector_area_m2}
    if not asked:
        return ()
    scattering = [name for name, (r, _, _) in asked.items() if scatters(r)]
    question = "Does a scattering reflector need no tracking?" if scattering else "Do the reflectors need tracking?"
    shares = [_share_alone(*asked[name]) for name in scattering or asked]
    verdict = _verdict([share for share in shares if share is not None], "it" if scattering else "they")
    answers = []
    for name, (r, boost, adjusted) in asked.items():
        kind = "scattering" if scatters(r) else "plane mirror"
        answers.append(f"“{name}” ({kind}): {_alone_and_set(r, boost, adjusted)}")
    return (f"{question} {verdict}{'; '.join(answers)}.",)


def _verdict(shares: Sequence[float], who: str) -> str:
    """The answer in short, from the shares of the gain that come without setting; empty where nothing is gained."""
    if not shares:
        return ""
    if min(shares) >= HARDLY_SHARE:
        return f"Here {who} hardly {'needs' if who == 'it' else 'need'} any: "
    if max(shares) < HARDLY_SHARE:
        return f"Here {who} {'gains' if who == 'it' else 'gain'} by being set: "
    return "It depends: "


def _share_alone(r: LayoutResult, boost: Boost, adjusted: Adjusted) -> float | None:
    """Share of the gain with setting that comes without it; None where setting gains nothing to speak of."""
    alone, moved = boost.change(r.energy_ac_kwh), boost.change(adjusted.energy_ac_kwh)
    return alone / moved if moved > NOTHING_FRACTION else None


def _alone_and_set(r: LayoutResult, boost: Boost, adjusted: Adjusted) -> str:
    alone, moved = boost.change(r.energy_ac_kwh), boost.change(adjusted.energy_ac_kwh)
    told = f"left alone {signed_percent(alone)} AC, set by hand to each month's best angle {signed_percent(moved)}"
    share = _share_alone(r, boost, adjusted)
    if share is None:
        return f"{told}, so it pays neither way"
    if alone <= 0:
        return f"{told}, so the gain comes only with setting it"
    only = "only " if share < 0.5 else ""
    return f"{told}, so {only}{min(100.0, 100 * share):.0f} % of the gain comes without touching it"


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
