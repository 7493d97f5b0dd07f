"""The table [uncertainty] of a plan file. Its figures are ours unless the plan says otherwise."""

from sites.tables import Table, number, whole

LARGEST_PCT = 50.0


class UncertaintyTable(Table):
    """[uncertainty]; standard deviations, one in three cases lies further off"""

    weather_pct: float = number("a year's energy about the long-term mean", 5.0, ge=0, le=LARGEST_PCT)
    light_pct: float = number("light on a layout's panels, of each layout by itself", 1.0, ge=0, le=LARGEST_PCT)
    panel_pct: float = number("power of a panel type against its datasheet", 2.0, ge=0, le=LARGEST_PCT)
    reflectance_pct: float = number("what reflectors and sheets add", 3.0, ge=0, le=LARGEST_PCT)
    soiling_pct: float = number("light that soiling leaves", 1.0, ge=0, le=LARGEST_PCT)
    draws: int = whole("cases drawn", 10_000, ge=100, le=100_000)
    seed: int = whole("start of the random numbers", 1, ge=0, le=999_999)

    def source(self, key: str) -> str:
        """Where a figure comes from."""
        return "the plan" if key in self.model_fields_set else "our assumption, common practice, no source"
