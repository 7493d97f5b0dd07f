"""See-through sheets: the same layout with and without them, by the figures that they are bought or feared for."""

from layout.evaluate import Evaluator, FieldYear
from layout.field import Field
from layout.ledger import Electricity
from layout.peaks import peaks
from layout.power.glass import transmission_ratio
from layout.result import Peaks
from layout.result_sheets import SheetSide


def sheet_side(
    field: Field, evaluator: Evaluator, year: FieldYear, power: Electricity, peak: Peaks | None = None
) -> SheetSide:
    """One side of the comparison. peak : of the same layout; None: the worst hours are traced again here."""
    peak = peak or peaks(field, evaluator, year, transmission_ratio)
    area = field.rectangles.area
    return SheetSide(
        energy_ac_kwh=float(power.ac_kw.sum()) * evaluator.conditions.weather.interval_h,
        irradiation_kwh_per_m2=float(year.panel["front"] @ area / area.sum()),
        uneven_light_loss_fraction=1.0 - float(year.panel["dc"].sum() / year.panel["dc_even"].sum()),
        hottest_cell_c=peak.hottest_cell_c,
        hottest_cell_still_air_c=peak.hottest_cell_still_air_c,
        peak_cell_light_w_m2=peak.peak_cell_light_w_m2,
        peak_cell_ratio=peak.peak_cell_ratio,
    )
