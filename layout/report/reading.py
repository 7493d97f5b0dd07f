"""Expected meter readings beside the light on a layout's cells."""

from dataclasses import asdict, replace

import numpy as np
from rich.box import SIMPLE_HEAD
from rich.table import Table

from layout.bench_reading import BenchReading, Moment
from layout.report.numbers import NOTHING
from layout.report.outputs import Output
from layout.report.tables import WIDTH

SHOWN_PANELS = 24


def with_reading(output: Output, name: str, reading: BenchReading, moment: Moment) -> Output:
    """A layout's light output with its panels' expected watts, volts and temperatures."""
    data = output.data | {"expected": reading.to_dict() | {"moment": asdict(moment)}}
    return replace(output, data=data, show=(*output.show, reading_table(name, reading), *_lines(moment)))


def reading_table(name: str, reading: BenchReading) -> Table:
    """One line per panel, the first ones where there are many."""
    title = f"{name}: what a meter should read"
    table = Table(title=title, box=SIMPLE_HEAD, title_justify="left", title_style="bold", pad_edge=False)
    table.min_width = min(len(title), WIDTH)
    table.add_column("panel")
    for head in ("light used\nW/m²", "watts", "volts", "cell °C", "over\npanel 0"):
        table.add_column(head, justify="right")
    for k in range(min(SHOWN_PANELS, len(reading.watts))):
        row = (reading.light_w_m2, reading.watts, reading.volts, reading.cell_c)
        ratio = f"{reading.ratio[k]:.3f}" if np.isfinite(reading.ratio[k]) else NOTHING
        table.add_row(f"{k}", *(f"{values[k]:.1f}" for values in row), ratio)
    if len(reading.watts) > SHOWN_PANELS:
        table.caption = f"{len(reading.watts) - SHOWN_PANELS} more panels are in the JSON file"
        table.caption_justify = "left"
    return table


def _lines(moment: Moment) -> tuple[str, ...]:
    clear = f" ({' and '.join(moment.clear_sky)} of a clear sky)" if moment.clear_sky else ""
    return (
        f"Expected at DNI {moment.dni:.0f} W/m² and DHI {moment.dhi:.0f} W/m²{clear}, air {moment.air_c:g} °C, wind "
        f"{moment.wind_m_s:g} m/s at the panels, albedo {moment.albedo:.2f}: clean panels as on the data sheet, each "
        "at its best point; diffuse light from an even dome. Light used: what the cells take up behind the glass, "
        "that of the sky and the ground in, light on rears by the bifaciality.",
        "Live DC terminals: measuring at them is work for trained people under the local code.",
    )
