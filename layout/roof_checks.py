"""What is wrong with a roof once its panels are known: outlines, panels beyond the roof, panels in one another."""

import numpy as np
import shapely
from shapely.geometry import Polygon

from layout.geometry.crossings import crossing_pairs
from layout.geometry.hinged import corners
from layout.geometry.rectangles import Rectangles
from layout.panel_type import PanelType
from layout.roof_reflectors import reflector_faults
from layout.roof_shapes import RoofPanel, RoofPlane, roof_panels, roof_planes
from layout.roof_tables import RoofLayout
from sites.conventions import LENGTH_TOLERANCE_M
from sites.errors import Fault
from sites.plot import FARTHEST_M, Plot, outline_polygon

MOST_PANELS = 5_000


def roof_faults(layout: RoofLayout, kind: PanelType, plot: Plot | None, file: str, key: str) -> list[Fault]:
    """Every fault of a roof; ``key`` is the layout's dotted path."""
    faults = _outline_faults(layout, file, key)
    count = sum(len(p.panel) + sum(g.rows * g.columns for g in p.grid) for p in layout.plane)
    if not 1 <= count <= MOST_PANELS:
        accepted = f"1 to {MOST_PANELS:,} panels, as [[layout.plane.grid]] or [[layout.plane.panel]]"
        faults.append(Fault(file, f"{key}.plane", f"{count:,} panels", accepted))
    if faults:
        return faults
    gradient = (0.0, 0.0) if plot is None else (float(plot.gradient[0]), float(plot.gradient[1]))
    planes = roof_planes(layout, gradient)
    faults.extend(_low_planes(planes, gradient, file, key))
    panels = roof_panels(layout, planes, kind)
    faults.extend(_off_the_roof(planes, panels, file, key))
    faults = faults or _in_one_another(panels, file, key)
    return faults or reflector_faults(planes, Rectangles.of_edges(panels), file, key)


def _outline_faults(layout: RoofLayout, file: str, key: str) -> list[Fault]:
    """Outlines that enclose nothing or cross themselves; obstacles and paths off the roof."""
    faults: list[Fault] = []
    for i, plane in enumerate(layout.plane):
        here = f"{key}.plane[{i}]"
        if max(abs(c) for c in plane.origin) > FARTHEST_M:
            found = f"{max(abs(c) for c in plane.origin):,.0f} m from the origin"
            faults.append(Fault(file, f"{here}.origin", found, f"up to {FARTHEST_M:,.0f} m"))
        roof = outline_polygon(plane.outline, file, f"{here}.outline", faults)
        for name in ("obstacle", "path"):
            for k, part in enumerate(getattr(plane, name)):
                at = f"{here}.{name}[{k}].outline"
                shape = outline_polygon(part.outline, file, at, faults)
                if shape and roof and shape.intersection(roof).area <= LENGTH_TOLERANCE_M:
                    faults.append(Fault(file, at, "an outline wholly off the roof", "one that overlaps the plane's"))
    return faults


def _low_planes(planes: tuple[RoofPlane, ...], gradient: tuple[float, float], file: str, key: str) -> list[Fault]:
    faults = []
    for i, plane in enumerate(planes):
        points = plane.points(np.array(plane.outline.exterior.coords))
        low = float((points[:, 2] - points[:, :2] @ np.array(gradient)).min())
        if low < -LENGTH_TOLERANCE_M:
            accepted = "a height at which the whole outline lies above the ground"
            faults.append(Fault(file, f"{key}.plane[{i}].height_m", f"a plane {-low:.2f} m below ground", accepted))
    return faults


def _off_the_roof(planes: tuple[RoofPlane, ...], panels: tuple[RoofPanel, ...], file: str, key: str) -> list[Fault]:
    """Panels that reach beyond their plane's outline or stand in an obstacle, told once a table."""
    faults: dict[str, Fault] = {}
    shapes = corners(Rectangles.of_edges(panels))
    for panel, points in zip(panels, shapes, strict=True):
        plane = planes[panel.plane]
        hull = shapely.MultiPoint(plane.flat(points)).convex_hull
        path = f"{key}.{panel.key}"
        if not plane.outline.buffer(1e-6).covers(hull):
            accepted = "panels within the plane's outline"
            faults.setdefault(path, Fault(file, path, "a panel that reaches beyond the roof", accepted))
        for obstacle in plane.table.obstacle:
            if Polygon(obstacle.outline).intersection(hull).area > LENGTH_TOLERANCE_M:
                accepted = f"panels clear of '{obstacle.name}'"
                faults.setdefault(path, Fault(file, path, "a panel that stands in an obstacle", accepted))
    return list(faults.values())


def _in_one_another(panels: tuple[RoofPanel, ...], file: str, key: str) -> list[Fault]:
    shapes = Rectangles.of_edges(panels)
    first, second = crossing_pairs(shapes, shapes)
    pairs = np.flatnonzero(first < second)
    if not len(pairs):
        return []
    one, other = int(first[pairs[0]]), int(second[pairs[0]])
    found = f"panel {other} that runs into panel {one}; {len(pairs)} such pairs, panels counted from 0 as built"
    return [Fault(file, f"{key}.{panels[other].key}", found, "panels clear of one another")]
