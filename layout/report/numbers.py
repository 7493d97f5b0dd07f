"""Numbers as people read them."""

import math
import re

NOTHING = "–"
"""Stands where there is no number."""

WIDE_SPACE, JOINER = "\u00a0", "\u2060"
"""A space at which no line breaks, and a mark without width that keeps a line from breaking where it stands."""

UNIT = r"(?:[kM]?Wh|k?W|%|°C|m²|[cmk]?m|kg|V|A|K|N|h|years?)"
_BEFORE_UNIT = re.compile(rf"(?<=\d) (?={UNIT}(?![\w²]))")
_IN_UNIT = re.compile(r"(?<![\w²])([kM]?Wh|k?W|m|%|kg)/(m²K|m²|kW|K|s|h)(?![\w²])")


def spaced(text: str) -> str:
    """Text in which no line breaks between a number and its unit.

    >>> spaced("3.1 kWh, 5 % more, 7 panels") == "3.1\u00a0kWh, 5\u00a0% more, 7 panels"
    True
    """
    return _BEFORE_UNIT.sub(WIDE_SPACE, text)


def glued(text: str) -> str:
    """Text in which no line breaks between a number and its unit, nor inside a unit.

    >>> glued("3.1 kWh/m² of plot, 7 panels") == "3.1\u00a0kWh\u2060/\u2060m² of plot, 7 panels"
    True
    """
    return _IN_UNIT.sub(rf"\1{JOINER}/{JOINER}\2", spaced(text))


def number(value: float, digits: int = 3) -> str:
    """At least ``digits`` significant digits, whole numbers never cut; from five digits on in threes.

    >>> number(0.01234), number(3.14159), number(163.2), number(48321.7), number(float("nan"))
    ('0.0123', '3.14', '163', '48\u202f322', '–')
    """
    if not math.isfinite(value):
        return NOTHING
    if value == 0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:,.{decimals}f}"
    return text.replace(",", "\u202f" if abs(value) >= 10_000 else "")


def percent(fraction: float, decimals: int = 1) -> str:
    """A fraction in percent.

    >>> percent(0.1234), percent(-0.002), percent(-0.00001), percent(float("nan"))
    ('12.3 %', '-0.2 %', '0.0 %', '–')
    """
    # + 0.0 turns a rounded "-0" into 0
    return f"{round(100 * fraction, decimals) + 0.0:.{decimals}f} %" if math.isfinite(fraction) else NOTHING


def percent_beside(fraction: float, mark: float, decimals: int = 0) -> str:
    """A fraction in percent that has to be told from ``mark``, a fraction that the text names beside it: by as many
    decimals as show on which side it lies, at most two more, else in words.

    >>> percent_beside(0.134, 0.02), percent_beside(0.0231, 0.02), percent_beside(0.01992, 0.02)
    ('13 %', '2.3 %', '1.99 %')
    >>> percent_beside(0.020001, 0.02), percent_beside(0.019999, 0.02), percent_beside(0.02, 0.02)
    ('just above 2 %', 'just below 2 %', '2 %')
    """
    if fraction == mark or not math.isfinite(fraction):
        return percent(fraction, decimals)
    for shown in range(decimals, decimals + 3):
        text = percent(fraction, shown)
        if text != percent(mark, shown):
            return text
    return f"just {'above' if fraction > mark else 'below'} {100 * mark:g} %"


def signed(value: float, digits: int = 3) -> str:
    """A number with its sign, a true minus.

    >>> signed(1.085), signed(-84.02), signed(0.0)
    ('+1.08', '−84.0', '0')
    """
    if not math.isfinite(value) or value == 0:
        return number(value, digits)
    return ("+" if value > 0 else "−") + number(abs(value), digits)


def signed_percent(fraction: float, decimals: int = 1) -> str:
    """A change in percent with its sign.

    >>> signed_percent(0.0312), signed_percent(-0.002), signed_percent(1e-9)
    ('+3.1 %', '−0.2 %', '0.0 %')
    """
    if not math.isfinite(fraction):
        return NOTHING
    text = f"{100 * abs(fraction):.{decimals}f} %"
    return text if float(text[:-2]) == 0 else ("+" if fraction > 0 else "−") + text


def joined(items: list[str]) -> str:
    """A list in words.

    >>> joined(["a"]), joined(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    return items[0] if len(items) == 1 else ", ".join(items[:-1]) + " and " + items[-1] if items else ""
