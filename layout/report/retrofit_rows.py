"""Tables of a retrofit: panels, strings, months, and what was tried at each place."""

from collections import Counter

import numpy as np

from layout.report.boost_rows import Rows
from layout.report.figures_bars import MONTHS
from layout.report.numbers import NOTHING, joined, number, signed, signed_percent
from layout.report.retrofit_parts import facing_words
from layout.retrofit.refine import Retrofit
from sites.conventions import FloatArray

MOST_PARTS = 4
"""Parts told beside a panel: those that do most to it."""

WORTH_A_WORD = 0.002
"""Share of a month's energy below which a change is told as none."""


def panel_rows(result: Retrofit) -> Rows:
    """Each panel without and with the parts, and what each part does to it."""
    before, after = result.bare.dc_kwh, result.whole.dc_kwh
    light = result.whole.light_kwh / result.bare.light_kwh - 1.0
    shares = panel_shares(result)
    rows = tuple(
        (
            f"{i}", _string_of(result, i), number(before[i]), _change(after[i], before[i]),
            signed_percent(after[i] / before[i] - 1.0), signed_percent(light[i]), _by_part(shares[:, i], before[i]),
        )
        for i in range(len(before))
    )  # fmt: skip
    return Rows(
        ("string", "DC as it stands\nkWh a year", "parts bring\nkWh a year", "that is", "light\non it",
         "of that by number of part\nkWh a year"), rows,
    )  # fmt: skip


def _change(after: float, before: float) -> str:
    """The change, nothing where it is below what tracings differ by."""
    return signed(after - before) if abs(after - before) > 1e-5 * before else "0"


def panel_shares(result: Retrofit) -> FloatArray:
    """What each chosen part does to each panel, (k, n) DC kWh of a year: what two do to one another shared in halves,
    corrected by the tracing of all."""
    shares = result.problem.effect[result.chosen].copy()
    at = {int(i): k for k, i in enumerate(result.chosen)}
    for (i, j), extra in result.problem.pairs.items():
        if i in at and j in at:
            shares[[at[i], at[j]]] += 0.5 * extra
    return shares


def _by_part(gain: FloatArray, standing: float) -> str:
    """The parts that do most to a panel; gain : (k,) of each; standing : the panel's energy as it stands."""
    told = [k for k in np.argsort(-np.abs(gain), kind="stable") if abs(gain[k]) > 1e-4 * standing]
    words = [f"{k + 1}: {signed(float(gain[k]), 2)}" for k in told[:MOST_PARTS]]
    return ", ".join([*words, "…"] if len(told) > MOST_PARTS else words) or NOTHING


def _string_of(result: Retrofit, panel: int) -> str:
    found = [k + 1 for k, s in enumerate(result.bare.strings) if panel in s]
    return f"{found[0]}" if found else "own"


def string_rows(result: Retrofit) -> Rows:
    """Each string without and with the parts."""
    rows = tuple(
        (f"{k + 1}", ", ".join(map(str, s)), number(a), _change(b, a), signed_percent(b / a - 1.0 if a else 0.0))
        for k, (s, a, b) in enumerate(
            zip(result.bare.strings, result.bare.string_kwh, result.whole.string_kwh, strict=True)
        )
    )
    return Rows(("panels", "DC as it stands\nkWh a year", "parts bring\nkWh a year", "that is"), rows)


def month_rows(result: Retrofit) -> Rows:
    """AC energy by month."""
    before, after = result.bare.monthly_ac_kwh, result.whole.monthly_ac_kwh
    return Rows(
        ("AC as it stands\nkWh", "parts bring\nkWh", "that is"),
        tuple(
            (m, number(a), signed(b - a), signed_percent(b / a - 1.0 if a else 0.0))
            for m, a, b in zip(MONTHS, before, after, strict=True)
        ),
    )


def month_words(result: Retrofit) -> str:
    """The months in which the parts help, and those in which they do not."""
    before = result.bare.monthly_ac_kwh
    extra = result.whole.monthly_ac_kwh - before
    best = int(extra.argmax())
    helped = [MONTHS[m] for m in range(12) if extra[m] > WORTH_A_WORD * before[m]]
    taken = [MONTHS[m] for m in range(12) if extra[m] < -WORTH_A_WORD * before[m]]
    if len(helped) == 12:
        line = "They help in every month"
    else:
        line = f"By more than {100 * WORTH_A_WORD:g} % of a month's energy they help in {joined(helped) or 'no month'}"
    line += f", most in {MONTHS[best]} ({signed(float(extra[best]))} kWh at the socket)"
    return line + (f"; they take energy in {joined(taken)}." if taken else "; they take energy in no month.")


def tried_rows(result: Retrofit) -> Rows:
    """The best candidate by itself at every place, and how many fit there."""
    gain = result.problem.gain.sum(axis=1) * result.ac_per_dc
    place = np.array([c.place for c in result.found.candidates], dtype=np.int64)
    rejected = Counter(r.place for r in result.found.rejected)
    rows: list[tuple[str, ...]] = []
    for number_, where in enumerate(result.found.places):
        mine = np.flatnonzero(place == number_)
        if not len(mine):
            continue
        best = int(mine[gain[mine].argmax()])
        c, e = result.found.candidates[best], result.effects[best]
        light = signed(float(e.light_kwh.sum()))
        words = (c.kind.words, facing_words(where.name, c.facing))
        count = (f"{len(mine)}", f"{rejected[where.name]}")
        rows.append((where.name, *words, *count, light, signed(float(gain[best]))))
    rows += _without_room(result, set(place.tolist()), rejected)
    return Rows(
        ("best by itself", "looks to", "tried", "do not\nfit", "light on panels\nkWh a year", "AC gain\nkWh a year"),
        tuple(rows),
    )


def _without_room(result: Retrofit, used: set[int], rejected: Counter[str]) -> list[tuple[str, ...]]:
    """Places where nothing fits, those with the same reason in one line."""
    names: dict[str, list[str]] = {}
    for number_, where in enumerate(result.found.places):
        if number_ not in used:
            reasons = Counter(r.reason for r in result.found.rejected if r.place == where.name)
            names.setdefault(reasons.most_common(1)[0][0] if reasons else "", []).append(where.name)
    rows: list[tuple[str, ...]] = []
    for reason, places in names.items():
        more = f" and {len(places) - 1} more such places" if len(places) > 1 else ""
        why = f"none fits: {reason}" if reason else "none fits"
        rows.append((places[0] + more, why, "", "0", f"{sum(rejected[p] for p in places)}", NOTHING, NOTHING))
    return rows


def best_tried(result: Retrofit, most: int) -> Rows:
    """The same for the places whose best brings most."""
    rows = tried_rows(result)
    gain = result.problem.gain.sum(axis=1) * result.ac_per_dc
    place = np.array([c.place for c in result.found.candidates], dtype=np.int64)
    best = [float(gain[place == p].max()) for p in np.unique(place)]
    return Rows(rows.heads, tuple(rows.rows[int(k)] for k in np.argsort(-np.array(best), kind="stable")[:most]))
