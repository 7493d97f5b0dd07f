"""Wiring, inverter and availability, and the steps from sunlight to socket."""

from dataclasses import dataclass

import numpy as np

from layout.evaluate import FieldYear
from layout.panel_type import PanelType
from layout.plan import InverterTable, LossTable
from layout.power.inverter import ac_power
from layout.power.method import METHOD
from layout.result import Step
from layout.wiring_tables import PANEL_LEVEL, WiringTable
from sites.conventions import FloatArray

LIMIT_STEP = "AC limit"
"""Label of the step that an AC limit takes."""


@dataclass(frozen=True, eq=False)
class Electricity:
    """(k,) float [kW]: panel_kw at the panels, dc_kw at the inverter, started_kw the same in hours in which it runs,
    inverted_kw before the AC limit, ac_kw at the socket; clipped_kw is what the limit takes from inverted_kw."""

    panel_kw: FloatArray
    dc_kw: FloatArray
    started_kw: FloatArray
    inverted_kw: FloatArray
    ac_kw: FloatArray
    clipped_kw: FloatArray


def electricity(dc_w: FloatArray, capacity_kw: float, inverter: InverterTable, losses: LossTable) -> Electricity:
    """From the panels' power (k,) [W] to the socket."""
    panel_kw = np.asarray(dc_w) / 1000.0
    dc_kw = panel_kw * (1.0 - losses.wiring_pct / 100.0)
    rated = inverter.ac_limit_kw if inverter.ac_limit_kw is not None else capacity_kw
    started_kw = np.where(dc_kw < inverter.start_kw, 0.0, dc_kw)
    curve = np.asarray(inverter.efficiency_pct) / 100.0
    ac_kw, clipped_kw = ac_power(dc_kw, rated, inverter.ac_limit_kw, curve, inverter.start_kw)
    available = 1.0 - losses.availability_pct / 100.0
    return Electricity(panel_kw, dc_kw, started_kw, ac_kw + clipped_kw, ac_kw * available, clipped_kw)


def ledger(
    kind: PanelType,
    capacity_kw: float,
    share: FloatArray,
    open_light: FloatArray,
    year: FieldYear,
    bare_year: FieldYear | None,
    power: Electricity,
    losses: LossTable,
    hours: float,
    covered: bool = False,
    wiring: WiringTable = PANEL_LEVEL,
    cooled: float | None = None,
) -> tuple[Step, ...]:
    """The steps from sunlight to socket; their factors multiply out to the AC energy.

    bare_year : the year without reflectors and diffusers, None where the layout has none
    cooled : DC energy over that without hot water, None where there is none
    share : (n,) area of each panel over the whole; open_light : (n,) kWh/m²
    Light is counted at the panels' rated efficiency: 1 kWh/m² on 1 kW of panels is 1 kWh.
    """
    shown = _light_steps(kind, capacity_kw, share, open_light, year, bare_year, losses, covered)
    shown += [
        ("Cells at weak light", float(year.panel["dc_cool"].sum()), "one-diode model"),
        (
            "Cells warmer or cooler than 25 °C",
            float(year.panel["dc_even"].sum()),
            "Faiman heat, one-diode model",
        ),
        ("Uneven light on cells", float(year.panel["dc"].sum()), METHOD),
        *_wiring_steps(year, wiring, hours),
    ]
    if cooled is not None:
        shown.append(("Panels cooled by hot water", float(power.panel_kw.sum()) * hours, "heat balance"))
    shown += [
        ("Wiring", float(power.dc_kw.sum()) * hours, losses.wiring_source),
        ("Inverter off below its start", float(power.started_kw.sum()) * hours, "inverter"),
        ("Inverter", float(power.inverted_kw.sum()) * hours, "efficiency curve"),
        (LIMIT_STEP, float((power.inverted_kw - power.clipped_kw).sum()) * hours, "inverter"),
        ("Availability", float(power.ac_kw.sum()) * hours, losses.availability_source),
    ]
    steps, before = [], shown[0][1]
    for label, kwh, source in shown:
        steps.append(Step(label, kwh, kwh / before if before else 1.0, source))
        before = kwh
    return tuple(steps)


def _wiring_steps(year: FieldYear, wiring: WiringTable, hours: float) -> list[tuple[str, float, str]]:
    """The steps from panels on trackers of their own to the trackers as wired: label, kWh left, source."""
    shown = [("Strings in series", "series", wiring.source)]
    if wiring.in_parallel:
        shown.append(("Strings in parallel on one tracker", "parallel", wiring.trackers))
    if not wiring.any_voltage:
        shown.append(("Voltages that trackers hold", "wired", wiring.window))
    return [(label, float(year.hour[name].sum()) / 1000.0 * hours, source) for label, name, source in shown]


def _light_steps(
    kind: PanelType,
    capacity_kw: float,
    share: FloatArray,
    open_light: FloatArray,
    year: FieldYear,
    bare_year: FieldYear | None,
    losses: LossTable,
    covered: bool,
) -> list[tuple[str, float, str]]:
    """The steps as far as they are light: label, kWh left, source."""
    dirt = 1.0 - losses.soiling_pct / 100.0
    front = float(year.panel["front"] @ share)
    glass = "Angular loss of the glass" + (", colour of the cover's light" if covered else "")
    unboosted = float(bare_year.panel["front"] @ share) if bare_year else front
    both = front + kind.bifaciality * float(year.panel["rear"] @ share)
    useful = float(year.panel["useful"] @ share)
    shown = [
        ("Open sunlight on the panels' fronts", float(open_light @ share) * capacity_kw, "weather year"),
        ("Shadows of rows, towers, obstacles", unboosted * capacity_kw, "traced"),
    ]
    if bare_year is not None:
        shown.append(("Reflectors and sheets, with their shadows", front * capacity_kw, "traced"))
    if kind.bifaciality > 0:
        shown.append(("Light on the rear faces", both * capacity_kw, "traced"))
    shown += [
        (glass, useful / dirt * capacity_kw, "Fresnel and absorption, per ray"),
        ("Soiling", useful * capacity_kw, losses.soiling_source),
    ]
    return shown
