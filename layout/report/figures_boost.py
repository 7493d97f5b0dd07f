"""When in the year reflectors bring energy: month by hour, as they stand and set by hand each month."""

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import Normalize
from matplotlib.figure import Figure

from layout.report.figures_bars import MONTHS
from layout.report.figures_style import house_style, new_figure
from layout.report.numbers import signed_percent
from layout.report.sentences_boost import boosted
from layout.result import Boost, LayoutResult
from sites.conventions import FloatArray

WIDTH_IN = 7.6
GAIN_MAP = "PuOr_r"
"""Orange above 0, purple below: told apart by every kind of colour vision (a ColorBrewer map)."""

HOURS_DAY = 24
TITLE_LETTERS = 36


@dataclass(frozen=True, eq=False)
class GainMap:
    """gain : (24, 12) float [W per m² of reflector], mean by hour and month of the site's clock
    angles_deg : (12,) where the reflectors are set each month, else empty"""

    title: str
    gain: FloatArray
    angles_deg: tuple[float, ...] = ()


def month_hour_grid(times: pd.DatetimeIndex, values: FloatArray, time_zone: str) -> FloatArray:
    """(24, 12) float: mean of ``values`` by hour and month of the site's clock, NaN where there is none."""
    local = times.tz_convert(time_zone)
    total, count = np.zeros((HOURS_DAY, 12)), np.zeros((HOURS_DAY, 12))
    np.add.at(total, (local.hour, local.month - 1), values)
    np.add.at(count, (local.hour, local.month - 1), 1.0)
    return np.where(count > 0, total / np.maximum(count, 1.0), np.nan)


def gain_maps(layouts: Mapping[str, LayoutResult], time_zone: str) -> list[tuple[GainMap, ...]]:
    """For each layout with reflectors its map as it stands, and beside it the adjusted one where there is one."""
    found = []
    for name, (r, boost) in boosted(layouts).items():
        if r.reflector_area_m2:
            alone = _gain(r, boost, r.frame["ac_kw"], time_zone)
            maps = [GainMap(_title(f"{name}: {signed_percent(boost.change(r.energy_ac_kwh))}"), alone)]
            if boost.adjusted is not None:
                change = signed_percent(boost.change(boost.adjusted.energy_ac_kwh))
                moved = _gain(r, boost, boost.adjusted.ac_kw, time_zone)
                maps.append(GainMap(_title(f"{name}, set each month: {change}"), moved, boost.adjusted.angles_deg))
            found.append(tuple(maps))
    return found


def _title(text: str) -> str:
    return textwrap.fill(text.replace(" %", "\u00a0%"), TITLE_LETTERS)


def _gain(r: LayoutResult, boost: Boost, ac_kw: "pd.Series[float]", time_zone: str) -> FloatArray:
    assert isinstance(r.frame.index, pd.DatetimeIndex)
    extra = (ac_kw - boost.bare_ac_kw).to_numpy(dtype=np.float64) * 1000.0 / r.reflector_area_m2
    return month_hour_grid(r.frame.index, extra, time_zone)


def _places(maps: Sequence[tuple[GainMap, ...]]) -> list[tuple[int, int, GainMap]]:
    """Line, column and map; two columns, the two maps of one layout side by side."""
    out, line, column = [], 0, 0
    for group in maps:
        if column + len(group) > 2:
            line, column = line + 1, 0
        for one in group:
            out.append((line, column, one))
            column += 1
    return out


def _hours(maps: Sequence[GainMap]) -> tuple[int, int]:
    """First and last hour in which any map has a change."""
    used = np.flatnonzero(np.any([np.nan_to_num(np.abs(m.gain)).max(axis=1) > 0 for m in maps], axis=0))
    return (int(used[0]), int(used[-1]) + 1) if used.size else (0, HOURS_DAY)


def _month_labels(one: GainMap, axes: Axes) -> None:
    """Months by their first letter, with each month's angle below where there are any."""
    angles = [f"\n{angle:.0f}°" for angle in one.angles_deg] or [""] * 12
    axes.set_xticks(np.arange(12) + 0.5, [f"{m[0]}{a}" for m, a in zip(MONTHS, angles, strict=True)], fontsize=7.5)
    axes.tick_params(axis="x", length=0, pad=2)


@house_style
def gain_figure(layouts: Mapping[str, LayoutResult], time_zone: str) -> Figure:
    """AC power with reflectors less that without, per m² of reflector, by month and hour; a scale for each layout."""
    maps = gain_maps(layouts, time_zone)
    placed = _places(maps)
    lines = placed[-1][0] + 1 if placed else 1
    title_lines = max((one.title.count("\n") + 1 for _, _, one in placed), default=1)
    each, head, gap = 1.45, 0.15 + 0.15 * title_lines, 0.40
    tall = lines * (each + head + gap)
    figure = new_figure(WIDTH_IN, tall)
    hours = _hours([one for _, _, one in placed])
    most = {id(one): max(_largest(group), 1e-6) for group in maps for one in group}
    for line, column, one in placed:
        bottom = tall - (line + 1) * (each + head) - line * gap
        left = 0.06 + 0.485 * column
        axes = figure.add_axes((left, bottom / tall, 0.385, each / tall))
        image = axes.imshow(
            one.gain,
            origin="lower",
            aspect="auto",
            extent=(0, 12, 0, HOURS_DAY),
            cmap=GAIN_MAP,
            norm=Normalize(-most[id(one)], most[id(one)]),
            interpolation="nearest",
        )
        axes.set_ylim(*hours)
        axes.set_yticks([h for h in range(0, 25, 3) if hours[0] <= h <= hours[1]])
        axes.tick_params(axis="y", labelsize=8, length=3)
        axes.set_title(one.title, fontsize=9, pad=4)
        _month_labels(one, axes)
        bar = figure.add_axes((left + 0.392, bottom / tall, 0.011, each / tall))
        figure.colorbar(image, cax=bar)
        bar.locator_params(nbins=5)
        bar.tick_params(labelsize=7, length=2, pad=2)
        bar.set_title("W/m²", fontsize=7, fontweight="normal", pad=4)
    if placed:
        middle = 0.5 * (1 + gap / tall)
        figure.text(0.004, middle, "hour of the site's clock", rotation=90, va="center", fontsize=8)
    return figure


def _largest(group: Sequence[GainMap]) -> float:
    return max(float(np.nanmax(np.abs(one.gain))) for one in group)
