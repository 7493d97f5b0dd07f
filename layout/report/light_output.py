"""What ``light`` has to say: beam on every cell at one sun position, as a picture, a table and numbers."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from layout.light.light_map import LightMap
from layout.light.shared_map import SharedMap
from layout.pieces import Scene
from layout.report import tables
from layout.report.figures_light import Cell, all_alike, extreme_cells, light_figure
from layout.report.figures_style import png
from layout.report.files import file_stem
from layout.report.outputs import Output
from sites.conventions import FloatArray

CELL_DECIMALS = 2


@dataclass(frozen=True)
class LightAsked:
    """Sun elevation and azimuth [deg], direct normal irradiance [W/m²]; bounces : as in `light_map`; ground : light by
    way of it is in; per_cell : every cell into the numbers."""

    elevation_deg: float
    azimuth_deg: float
    dni: float
    bounces: int
    ground: bool
    per_cell: bool = False


def light_output(name: str, scene: Scene, seen: SharedMap, asked: LightAsked) -> Output:
    """Beam on one layout at one sun position: means per panel, extremes, a picture."""
    light, panels = seen.light, scene.panels
    faces = [_brighter_face(front, rear) for front, rear in zip(light.total, light.rear, strict=True)]
    lit, rears = [cells for cells, _ in faces], [rear for _, rear in faces]
    dim, bright = extreme_cells(lit)
    title = (
        f"{name}: sun at elevation {asked.elevation_deg:.1f}°, azimuth {asked.azimuth_deg:.1f}°, "
        f"DNI {asked.dni:.0f} W/m²"
    )
    means = {"direct": _means(light.direct)}
    if asked.bounces:
        means |= {"reflected": _means(light.reflected), "total": _means(light.total)}
    if any(cells is not None for cells in light.rear):
        means["rear"] = _means(light.rear)
    picture = png(light_figure(panels, lit, rears, title))
    lines = (
        f"Beam only: {_ways(scene, asked)}; no light of the sky; before the glass.",
        *_shared(seen, len(panels), asked),
        _extremes(dim, bright),
        *_glare(scene),
    )
    table = tables.light_table(name, means)
    data = _numbers(light, asked) | {"brightest_cell": _cell(bright), "dimmest_cell": _cell(dim)}
    return Output(data, {f"light-{file_stem(name)}.png": picture}, (title, table, *lines))


def _extremes(dim: Cell, bright: Cell) -> str:
    """Where it is brightest and dimmest, where there is a difference."""
    if all_alike(dim, bright):
        return f"every cell gets {bright.w_m2:.0f} W/m²"
    return (
        f"brightest cell {bright.w_m2:.0f} W/m² on panel {bright.panel}, "
        f"dimmest {dim.w_m2:.0f} W/m² on panel {dim.panel} (counted from 0)"
    )


def _numbers(light: LightMap, asked: LightAsked) -> dict[str, Any]:
    data: dict[str, Any] = {
        "sun_elevation_deg": asked.elevation_deg,
        "sun_azimuth_deg": asked.azimuth_deg,
        "dni_w_m2": asked.dni,
        "bounces": asked.bounces,
        "via_ground": asked.ground,
        "direct_w_m2": _means(light.direct),
        "reflected_w_m2": _means(light.reflected),
        "total_w_m2": _means(light.total),
        "rear_w_m2": _means(light.rear),
    }
    if asked.per_cell:
        ways = ("direct", "reflected", "total", "rear")
        cells = zip(*(getattr(light, way) for way in ways), strict=True)
        data["per_cell"] = [{f"{way}_w_m2": _each(x) for way, x in zip(ways, four, strict=True)} for four in cells]
    return data


def _each(face: FloatArray | None) -> list[list[float]] | None:
    """Every cell of a face, None where there is no such face."""
    return None if face is None else np.round(face[0], CELL_DECIMALS).tolist()


def _ways(scene: Scene, asked: LightAsked) -> str:
    """The ways by which light came that is in the figures."""
    ways = ["reflectors"] * bool(scene.reflectors) + ["see-through sheets"] * bool(scene.diffusers)
    ways += ["the ground"] * asked.ground
    if not asked.bounces:
        return "straight, nothing that reflectors, sheets or the ground send on"
    limit = f" (up to {asked.bounces} reflectors on its way)" if asked.bounces > 1 else ""
    left_out = "" if asked.ground else "; --ground adds what the ground throws back"
    return f"straight and by way of {' and '.join(ways)}{limit}{left_out}"


def _shared(seen: SharedMap, panels: int, asked: LightAsked) -> tuple[str, ...]:
    """That reflected light was not traced for every panel."""
    if not asked.bounces or seen.traced == panels:
        return ()
    return (
        f"Reflected light was traced on {seen.traced} of {panels} panels; the others have that of one with equal "
        "surroundings, to about 1 % of the DNI ([run] repetition = false traces all).",
    )


def _glare(scene: Scene) -> tuple[str, ...]:
    """The caution that goes with reflected light."""
    if not scene.reflectors:
        return ()
    return ("Light that misses the panels goes elsewhere and can burn and dazzle; it is not in this map.",)


def _cell(cell: Cell) -> dict[str, float]:
    return {"panel": cell.panel, "row": cell.up, "column": cell.along, "w_m2": cell.w_m2}


def _brighter_face(front: FloatArray, rear: FloatArray | None) -> tuple[FloatArray, bool]:
    """The cells of the face with more light, and whether it is the rear."""
    behind = rear is not None and rear[0].mean() > front[0].mean()
    return (rear[0], True) if behind and rear is not None else (front[0], False)


def _means(faces: Sequence[FloatArray | None]) -> FloatArray:
    """(n,) mean of each face's cells, 0 where there is no such face."""
    return np.array([0.0 if cells is None else float(cells[0].mean()) for cells in faces])
