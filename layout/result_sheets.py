"""What see-through sheets do to a layout, as a result tells it: the layout with and without them side by side."""

from dataclasses import asdict, dataclass
from typing import Any


def energy_change(after_kwh: float, before_kwh: float) -> float:
    """One energy over another, minus 1; 0 where neither gives anything, infinite where only the second gives nothing.

    >>> energy_change(11.0, 10.0) > 0.0, energy_change(0.0, 0.0), energy_change(1.0, 0.0)
    (True, 0.0, inf)
    """
    if before_kwh > 0.0:
        return after_kwh / before_kwh - 1.0
    return float("inf") if after_kwh > 0.0 else 0.0


@dataclass(frozen=True)
class SheetSide:
    """One side of the comparison: AC energy of the year, light on the fronts before glass, the share of DC energy that
    uneven light costs, and what the hottest and the brightest cell come to (as in `layout.result.Peaks`)."""

    energy_ac_kwh: float
    irradiation_kwh_per_m2: float
    uneven_light_loss_fraction: float
    hottest_cell_c: float
    hottest_cell_still_air_c: float
    peak_cell_light_w_m2: float
    peak_cell_ratio: float


@dataclass(frozen=True)
class SheetEffect:
    """A layout with its see-through sheets and without them; reflectors stay.

    with_sheets, without_sheets : as built, and with the sheets taken away
    freely_cooled : as built, but cooled as if no cover hindered it: what the sheets' light and heat do alone; None
        where the layout has no cover
    cooling_factor : on U0 and U1 of the panels under the cover; 1 without a cover
    """

    with_sheets: SheetSide
    without_sheets: SheetSide
    freely_cooled: SheetSide | None
    cooling_factor: float

    @property
    def energy_fraction(self) -> float:
        """AC energy with the sheets over that without, minus 1."""
        return energy_change(self.with_sheets.energy_ac_kwh, self.without_sheets.energy_ac_kwh)

    @property
    def cooling_energy_fraction(self) -> float:
        """The part of `energy_fraction` that hindered cooling makes."""
        if self.freely_cooled is None:
            return 0.0
        before, cooled = self.without_sheets.energy_ac_kwh, self.freely_cooled.energy_ac_kwh
        return energy_change(before + self.with_sheets.energy_ac_kwh - cooled, before)

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers."""
        return asdict(self)
