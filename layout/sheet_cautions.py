"""The caution lines that go with reflectors and see-through sheets."""

from collections.abc import Sequence

import numpy as np

from layout.arrange.arrangement import Arrangement
from layout.geometry.hinged import corners
from layout.geometry.rectangles import Rectangles
from layout.pieces import Ground, Rectangle
from layout.result import Boost, Peaks

AIR_KG_M3 = 1.25
STORM_M_S = 30.0
"""A wind at which to name the pressure on a sheet; no design value of any code."""


def sheet_cautions(arrangement: Arrangement, peak: Peaks, boost: Boost | None) -> tuple[str, ...]:
    """Lines on burns, warranty, wind, snow and dazzle, each with the number that matters; none without sheets."""
    lines: list[str] = []
    if arrangement.scene.reflectors:
        lines += [_burns(arrangement, peak), _warranty(arrangement, peak), _wind(arrangement)]
        lines.append(_dazzle(arrangement, boost))
    if arrangement.scene.diffusers:
        lines.append(_covers(arrangement, peak))
    return tuple(lines)


def _burns(arrangement: Arrangement, peak: Peaks) -> str:
    if all(r.diffuse == 1.0 for r in arrangement.scene.reflectors):
        return (
            f"Burns: matt sheets do not bundle light (brightest cell {peak.peak_cell_light_w_m2:.0f} W/m²), but they "
            "are as bright as snow; protect eyes and skin at work beside them."
        )
    return (
        f"Burns: reflected light adds up to {peak.peak_cell_light_w_m2:.0f} W/m² on a cell, and perhaps to as much "
        "beside the panels: it burns skin, eyes, dry grass and roofs. Cover the sheets while working; keep people and "
        "all that burns out of it."
    )


def _warranty(arrangement: Arrangement, peak: Peaks) -> str:
    kind = arrangement.panel_type
    none = not kind.max_cell_stated and not kind.max_light_stated
    whose = "whose limits, ours for want of the maker's, are" if none else "rated for"
    ours = " (ours, for want of the maker's)"
    light, heat = (("" if none or s else ours) for s in (kind.max_light_stated, kind.max_cell_stated))
    return (
        f"Warranty: up to {peak.peak_cell_light_w_m2:.0f} W/m² and {peak.hottest_cell_c:.0f} °C "
        f"({peak.hottest_cell_still_air_c:.0f} °C in still air) on cells {whose} {kind.max_light_w_m2:.0f} W/m²{light} "
        f"and {kind.max_cell_c:.0f} °C{heat}. The maker's data decide; a warranty may not cover reflected light at all."
    )


def _wind(arrangement: Arrangement) -> str:
    sheets = arrangement.scene.reflectors
    areas = np.array([sheet.area_m2 for sheet in sheets])
    pressure = 0.5 * AIR_KG_M3 * STORM_M_S**2
    return (
        f"Wind and snow: {len(sheets)} reflectors of up to {areas.max():.1f} m² stand up to "
        f"{height_m(sheets, arrangement.scene.ground):.1f} m above the ground; wind of {STORM_M_S:.0f} m/s presses "
        f"with some {round(pressure, -1):.0f} N on each m² that faces it, before gusts, and flat sheets carry snow. "
        "Local building codes set fixing and foundations; have them checked by a licensed engineer."
    )


def _dazzle(arrangement: Arrangement, boost: Boost | None) -> str:
    told = []
    if boost is not None and boost.ledger.arrived_kwh > 0:
        missed = 100 * boost.ledger.missed_kwh / boost.ledger.arrived_kwh
        told.append(f"{missed:.0f} % of the beam on the reflectors misses the panels and goes elsewhere")
    mirrors = [r.reflectance for r in arrangement.scene.reflectors if max(r.slope_rms) == 0.0 and r.diffuse < 1.0]
    if mirrors:
        told.append(f"a mirror shows the sun with {100 * max(mirrors):.0f} % of its brightness")
    return (
        f"Dazzle: {'; '.join([*told, 'it can dazzle neighbours, roads and aircraft'])}. Where it goes is not worked "
        "out here; local rules decide what is allowed."
    )


def _covers(arrangement: Arrangement, peak: Peaks) -> str:
    sheets = arrangement.scene.diffusers
    area = sum(sheet.area_m2 for sheet in sheets)
    return (
        f"Covers: {len(sheets)} see-through sheets, {area:.0f} m², hinder cooling (hottest cell "
        f"{peak.hottest_cell_c:.0f} °C, {peak.hottest_cell_still_air_c:.0f} °C in still air, limit "
        f"{arrangement.panel_type.max_cell_c:.0f} °C), catch wind and snow, and age; the panel's maker and the local "
        "fire code decide whether panels may be covered."
    )


def height_m(pieces: Sequence[Rectangle], ground: Ground | None) -> float:
    """Highest edge of some pieces above the ground vertically below it, m; 0 without pieces."""
    if not pieces:
        return 0.0
    points = corners(Rectangles.of(pieces))
    floor = ground.z(points[..., 0], points[..., 1]) if ground is not None else 0.0
    return float((points[..., 2] - floor).max())
