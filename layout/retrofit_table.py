"""The table [retrofit] of a plan: which reflectors around panels that stand on a roof, and what they must not do."""

from typing import Annotated, Literal

from pydantic import Field

from layout.optimise_tables import PricesTable
from sites.tables import Table, key_of, number, text, whole

Width = Annotated[float, Field(strict=True, ge=0.01, le=3.0, allow_inf_nan=False)]
Tilt = Annotated[float, Field(strict=True, ge=0.0, le=90.0, allow_inf_nan=False)]
Widths = Annotated[tuple[Width, ...], Field(min_length=1, max_length=8)]
Tilts = Annotated[tuple[Tilt, ...], Field(min_length=1, max_length=8)]

YEARS = 15
"""Of use, where the plan says nothing. Our assumption."""


class RetrofitTable(Table):
    """[retrofit]"""

    layout: str | None = text("the roof; absent: the plan's only layout of kind roof", None, "the name of a layout")
    reflectors: tuple[str, ...] = key_of(
        "reflector types tried; absent: those of the plan, else 'mirror'", "names of reflector types", ()
    )
    strip_widths_m: Widths = key_of(
        "widths of strips in the gaps between panels, from near to far edge", "1 to 8 numbers from 0.01 to 3",
        (0.04, 0.12, 0.25),
    )  # fmt: skip
    strip_tilts_deg: Tilts = key_of(
        "their tilts against the panels' plane, far edge lifted", "1 to 8 numbers from 0 to 90", (15.0, 40.0, 65.0)
    )
    sheet_widths_m: Widths = key_of(
        "widths of sheets at free edges: eave, ridge, sides, before and behind frames",
        "1 to 8 numbers from 0.01 to 3",
        (0.3, 0.6),
    )
    sheet_tilts_deg: Tilts = key_of(
        "their tilts against the panels' plane, far edge lifted", "1 to 8 numbers from 0 to 90",
        (0.0, 20.0, 40.0, 60.0),
    )  # fmt: skip
    clearance_m: float = number("between a part and panels, obstacles or other parts' places", 0.005, ge=0.002, le=1)
    longest_m: float = number("longest part; longer places get several", 3.0, ge=0.2, le=20)
    objective: Literal["energy", "money"] = key_of(
        "what is made as large as possible: extra AC energy of a year, or its worth less what the parts cost a year",
        "'energy' or 'money'",
        "energy",
    )
    least_gain_kwh: float = number("extra AC energy a year that each place has to bring at least", 1.0, ge=0, le=10_000)
    most_kinds: int = whole("different kinds of parts: type, width and tilt", 3, ge=1, le=50)
    most_kg_per_m2: float = number("weight of all parts over the area of their roof plane", 3.0, gt=0, le=200)
    kg_per_m2: float = number("weight of a part over its own area, with its holders", 6.0, ge=0.1, le=100)
    most_sail_m2: float | None = number("area of all parts, for the wind; absent: no limit", None, ge=0, le=10_000)
    most_money: float | None = number("for all parts; needs prices", None, ge=0)
    price_per_m2: float | None = number(
        "of a part, with its holders; absent: reflector_m2 of [prices] where that is above 0, else no money worked out",
        None, ge=0,
    )  # fmt: skip
    price_per_part: float = number("for cutting and mounting each part", 0.0, ge=0)
    price_per_kwh: float | None = number("worth of a kWh at the socket", None, ge=0)
    years: int | None = whole("of use; absent: those of [prices], else 15", None, ge=1, le=100)
    discount_pct: float | None = number("yearly discount rate; absent: that of [prices], else 0", None, ge=0, le=50)
    degradation_pct: float | None = number(
        "energy lost from year to year; absent: that of [prices], else 0", None, ge=0, le=10
    )
    currency: str = text("of the prices", "money")
    max_cell_c: float | None = number("hottest cell allowed; absent: the panel type's", None, ge=40, le=200)
    max_light_w_m2: float | None = number(
        "brightest light on a cell; absent: the panel type's", None, ge=500, le=100_000
    )

    @property
    def priced(self) -> bool:
        """Whether parts have a price."""
        return self.price_per_m2 is not None


def with_prices(table: RetrofitTable, prices: PricesTable | None) -> RetrofitTable:
    """The table with what it leaves open about money taken from the plan's [prices], else by default."""
    known = {"years": YEARS, "discount_pct": 0.0, "degradation_pct": 0.0}
    if prices is not None:
        known = {key: getattr(prices, key) for key in known}
        if prices.reflector_m2 > 0:
            known["price_per_m2"] = prices.reflector_m2
    return table.model_copy(update={key: value for key, value in known.items() if getattr(table, key) is None})
