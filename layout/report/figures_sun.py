"""Sun paths over the skyline, and when in the year beam is lost."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.patheffects import withStroke
from matplotlib.projections.polar import PolarAxes

from layout.report.figures_bars import MONTHS
from layout.report.figures_style import HAIR, INK, OBSTACLE, SOFT, house_style, new_figure
from layout.report.sun_paths import DayPath, horizon_line, month_paths, obstacle_lines
from layout.result import LayoutResult
from sites.conventions import FloatArray
from sites.site import Site

PATH_COLOUR = "#0072B2"
LOSS_MAP = "YlOrBr"
NO_BEAM = "#e4e8ec"
AZIMUTH_STEP_DEG = 0.5
RIM_DEG = 92.0
NAME_STEP_DEG = 7.5
"""Distance of the months' names, in degrees of the disc: the height of a line of their type."""
DAYS = 365
FIRST_DAYS = np.cumsum([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30])
"""Day of the year, from 0, on which each month begins."""


def _sky_disc(axes: PolarAxes) -> None:
    """North up, clockwise; the horizon is the rim, the zenith the middle."""
    axes.set_theta_zero_location("N")
    axes.set_theta_direction(-1)
    axes.set_ylim(0, 90)
    axes.set_yticks([15, 30, 45, 60, 75], [])
    axes.set_xticks(np.radians(np.arange(0, 360, 30)), [])
    axes.grid(color=HAIR, linewidth=0.5)
    axes.spines["polar"].set_color(INK)
    axes.spines["polar"].set_linewidth(1.0)
    halo = [withStroke(linewidth=2.0, foreground="white")]
    for elevation in (30, 60):
        axes.text(0.0, 90 - elevation, f"{elevation}°", fontsize=7, color=SOFT, ha="center", va="center",
                  path_effects=halo, zorder=7)  # fmt: skip
    badge = {"boxstyle": "circle,pad=0.22", "facecolor": "white", "edgecolor": INK, "linewidth": 0.8}
    for letter, azimuth in (("N", 0), ("E", 90), ("S", 180), ("W", 270)):
        axes.text(np.radians(azimuth), 90, letter, fontsize=9, fontweight="bold", ha="center", va="center",
                  bbox=badge, zorder=8)  # fmt: skip


def _raised(axes: PolarAxes, azimuth_deg: FloatArray, elevation_deg: FloatArray, colour: str, hatch: str) -> None:
    """Fill from the horizon up to a line."""
    axes.fill_between(
        np.radians(azimuth_deg),
        90.0 - elevation_deg,
        90.0,
        where=elevation_deg > 0.01,
        facecolor=colour,
        edgecolor=INK,
        linewidth=0.6,
        hatch=hatch,
        alpha=0.92,
        zorder=3,
    )


def _path(axes: PolarAxes, path: DayPath) -> None:
    """One day's curve with a dot at every full hour."""
    radius = np.where(path.elevation_deg > 0, 90.0 - path.elevation_deg, np.nan)
    angle = np.radians(path.azimuth_deg)
    axes.plot(angle, radius, color=PATH_COLOUR, linewidth=1.2, zorder=4)
    full = np.isclose(path.hour % 1.0, 0.0) & (path.elevation_deg > 0) & (path.hour < 24)
    axes.plot(angle[full], radius[full], ".", color=PATH_COLOUR, markersize=3.2, zorder=4)


def _name_paths(axes: PolarAxes, paths: Sequence[DayPath]) -> None:
    """The months' names outside the rim where each curve meets it in the morning, pushed apart if too close.

    A sun that never sets has its name at its lowest point; one that never rises has none.
    """
    spots = [spot for path in paths if (spot := _name_spot(path)) is not None]
    above = np.inf
    for x, y, label in sorted(spots, key=lambda spot: -spot[1]):
        y = min(y, above - NAME_STEP_DEG)
        above = y
        x = np.copysign(max(abs(x), np.sqrt(max(RIM_DEG**2 - y**2, 0.0))), x)
        axes.text(
            np.arctan2(x, y),
            np.hypot(x, y),
            label,
            fontsize=7.5,
            color=PATH_COLOUR,
            ha="left" if x >= 0 else "right",
            va="center",
            zorder=7,
            path_effects=[withStroke(linewidth=2.0, foreground="white")],
        )


def _name_spot(path: DayPath) -> tuple[float, float, str] | None:
    """East and north of a curve's name on the disc, in degrees from the zenith."""
    up = path.elevation_deg > 0
    if not up.any():
        return None
    rising = np.flatnonzero(~up[:-1] & up[1:])
    at = int(rising[0]) + 1 if rising.size else int(np.argmin(path.elevation_deg))
    azimuth = float(path.azimuth_deg[at])
    beside_letter = rising.size and abs((azimuth + 45.0) % 90.0 - 45.0) < 6.0
    radius = 90.0 - float(path.elevation_deg[at]) + (7.5 if beside_letter else 2.5)
    return radius * np.sin(np.radians(azimuth)), radius * np.cos(np.radians(azimuth)), path.label


def _name_hours(axes: PolarAxes, path: DayPath) -> None:
    """Clock hours along the longest day's curve, every third hour, on its outer side."""
    for hour in range(0, 24, 3):
        at = int(np.argmin(np.abs(path.hour - hour)))
        if path.elevation_deg[at] > 4:
            axes.text(
                np.radians(path.azimuth_deg[at]),
                90.0 - path.elevation_deg[at] - 6.5,
                f"{hour} h",
                fontsize=7,
                color=INK,
                ha="center",
                va="center",
                zorder=7,
                path_effects=[withStroke(linewidth=2.0, foreground="white")],
            )


def _sloping(site: Site) -> bool:
    return site.plot is not None and site.plot.slope_deg > 0


@house_style
def sun_path_figure(site: Site) -> Figure:
    """The sky seen from the plot's middle: sun paths, skyline, obstacles."""
    figure = new_figure(4.6, 5.1)
    axes = figure.add_axes((0.04, 0.19, 0.77, 0.77 * 4.6 / 5.1), projection="polar")
    assert isinstance(axes, PolarAxes)
    _sky_disc(axes)
    azimuth = np.arange(0.0, 360.0 + AZIMUTH_STEP_DEG, AZIMUTH_STEP_DEG)
    skyline = horizon_line(site, azimuth)
    paths = month_paths(site.location)
    handles: list[Line2D | Patch] = [
        Line2D([], [], color=PATH_COLOUR, marker=".", label="sun on the 21st, dots at full hours")
    ]
    if np.any(skyline > 0.01):
        _raised(axes, azimuth, skyline, "#c8ccd0", "")
        handles.append(
            Patch(
                facecolor="#c8ccd0",
                edgecolor=INK,
                label="skyline and rising ground" if _sloping(site) else "skyline",
            )
        )
    if site.plot is not None and site.plot.obstacles:
        for line in obstacle_lines(site.plot, azimuth):
            _raised(axes, azimuth, line, OBSTACLE, "....")
        handles.append(
            Patch(
                facecolor=OBSTACLE,
                edgecolor=INK,
                hatch="....",
                label="obstacles from the plot's middle, 1.5 m up",
            )
        )
    for path in paths:
        _path(axes, path)
    _name_paths(axes, paths)
    _name_hours(axes, max(paths, key=lambda p: float(p.elevation_deg.max())))
    figure.legend(handles=handles, loc="lower left", bbox_to_anchor=(0.02, 0.0), fontsize=8)
    return figure


def day_hour_grid(times: pd.DatetimeIndex, values: FloatArray, time_zone: str) -> FloatArray:
    """(24, 365) float: mean of ``values`` (NaN left out) by hour and day of the year of the site's clock.

    29 February counts as the 28th, so that a month always begins at the same column.
    """
    local = times.tz_convert(time_zone)
    leap = (local.month == 2) & (local.day == 29)
    day = FIRST_DAYS[local.month - 1] + local.day.to_numpy() - 1 - leap
    total, count = np.zeros((24, DAYS)), np.zeros((24, DAYS))
    known = np.isfinite(values)
    np.add.at(total, (local.hour[known], day[known]), values[known])
    np.add.at(count, (local.hour[known], day[known]), 1.0)
    return np.where(count > 0, total / np.maximum(count, 1.0), np.nan)


def _month_axis(axes: Axes, labelled: bool) -> None:
    axes.set_xticks(FIRST_DAYS + 15, MONTHS if labelled else [], fontsize=8)
    axes.set_xticks([*FIRST_DAYS, DAYS], minor=True)
    axes.tick_params(axis="x", which="major", length=0)
    axes.tick_params(axis="x", which="minor", length=3)


@house_style
def beam_lost_figure(layouts: Mapping[str, LayoutResult], time_zone: str) -> Figure:
    """Share of the beam that something keeps off the panels, both faces of bifacial ones, by day and hour."""
    names = list(layouts)
    each, head, foot = 1.18, 0.28, 0.78
    tall = len(names) * (each + head) + foot
    figure = new_figure(4.6, tall)
    image = None
    grids = {n: _lost(layouts[n], time_zone) for n in names}
    hours = _hours_shown(list(grids.values()))
    for i, name in enumerate(names):
        bottom = (tall - (i + 1) * (each + head)) / tall
        axes = figure.add_axes((0.115, bottom, 0.865, each / tall))
        axes.set_facecolor(NO_BEAM)
        image = axes.imshow(
            100.0 * grids[name],
            origin="lower",
            aspect="auto",
            extent=(0, DAYS, 0, 24),
            cmap=LOSS_MAP,
            vmin=0,
            vmax=100,
            interpolation="nearest",
        )
        axes.set_ylim(*hours)
        axes.set_yticks([h for h in range(0, 25, 3) if hours[0] <= h <= hours[1]])
        axes.tick_params(axis="y", labelsize=8, length=3)
        axes.set_title(name, fontsize=9, pad=3)
        _month_axis(axes, i == len(names) - 1)
    if image is not None:
        bar = figure.add_axes((0.115, 0.36 / tall, 0.80, 0.10 / tall))
        figure.colorbar(image, cax=bar, orientation="horizontal", format="{x:.0f} %")
        bar.tick_params(labelsize=8, length=2)
        bar.set_xlabel("share of the beam lost (grey: no beam on the panels)", fontsize=8, labelpad=2)
        figure.text(0.005, 0.5 * (1 + foot / tall), "hour of the site's clock", rotation=90, va="center", fontsize=8)
    return figure


def _lost(result: LayoutResult, time_zone: str) -> FloatArray:
    frame = result.frame
    assert isinstance(frame.index, pd.DatetimeIndex)
    return day_hour_grid(frame.index, frame["beam_lost_fraction"].to_numpy(dtype=np.float64), time_zone)


def _hours_shown(grids: Sequence[FloatArray]) -> tuple[int, int]:
    """First and last hour in which any layout has beam."""
    used = np.flatnonzero(np.any([np.isfinite(g).any(axis=1) for g in grids], axis=0))
    return (int(used[0]), int(used[-1]) + 1) if used.size else (0, 24)
