"""Sunlight that reaches a point by way of sheets.

A sheet's facet sends the sun's light in one direction, whatever place it hits. So directions are worked out first,
from the sun down to the receiver; then each receiver looks back along the last of them, and where the look meets
the right sheet, and from there the next, and at the end the sun, light arrives.

    sun  ---s--->  sheet 2  ---o2--->  sheet 1  ---o1--->  receiver looks along −o1
"""

from collections.abc import Sequence

import numpy as np

from layout.geometry.rays import START_OFFSET_M, RayKernel
from layout.light.lattice import draw_points
from layout.light.sheets import Sheet
from layout.light.sky_parts import Glass
from sites.conventions import FloatArray, IntArray

RAYS_AT_ONCE = 1 << 20
"""Looks traced together: enough to hide the cost of a call, few enough to fit into memory."""


def light_by_sheets(
    kernel: RayKernel,
    orders: Sequence[tuple[Sheet, ...]],
    points: FloatArray,
    normal: FloatArray,
    sources: FloatArray,
    glasses: Sequence[Glass],
    sheet_glass: Glass,
    draws: int,
    part: tuple[int, int] = (0, 1),
    number: int = 0,
) -> np.ndarray:
    """Irradiance at points from beams of 1 W/m² by way of sheets.

    orders : sheets in the order that a look back from the receiver meets them
    points : (p, 3) just off a face of unit normal ``normal``; sources : (s, 3) unit toward each beam
    glasses : one result each; sheet_glass : angular curve of diffusers
    part : (k, n): only every n-th draw from k on and what these add to the whole, so that points can take turns
    number : set of draws, as of `draw_points`
    Returns (len(glasses), s, p) float32.
    """
    out = np.zeros((len(glasses), len(sources), len(points)), dtype=np.float32)
    at_once = max(1, RAYS_AT_ONCE // max(1, len(points)))
    for order in orders:
        element = draw_points(len(sources), draws, [not s.smooth for s in order], number)
        whole, element = element.shape[1], element[:, part[0] :: part[1]]
        beams = len(sources) * element.shape[1]
        for start in range(0, beams, at_once):
            # Source by source, so that a block fills few rows of the result.
            source, draw = np.divmod(np.arange(start, min(start + at_once, beams)), element.shape[1])
            looks, strength = _looks(order, sources[source], element[source, draw], sheet_glass)
            cosine = looks[0] @ normal
            lit = np.flatnonzero((strength > 0) & (cosine > 1e-9))
            source, gain, cosine = source[lit], (strength * cosine)[lit] / whole, cosine[lit]
            beam, point = _follow(kernel, order, points, [k[lit] for k in looks], sources[source])
            if not len(beam):
                continue
            first, rows = source[0], source[-1] - source[0] + 1
            place = (source[beam] - first) * len(points) + point
            for target, glass in zip(out, glasses, strict=True):
                light = np.bincount(place, (gain * glass(cosine))[beam], rows * len(points))
                target[first : first + rows] += light.reshape(rows, -1).astype(np.float32)
    return out


def _looks(
    order: Sequence[Sheet], sources: FloatArray, draws: FloatArray, glass: Glass
) -> tuple[list[FloatArray], FloatArray]:
    """Directions to look in from the receiver and from each sheet but the last, and the strength that arrives on a
    plane facing the look; draws (s, sheets, 2)."""
    toward, strength, looks = sources, np.ones(len(sources)), []
    for k in range(len(order) - 1, -1, -1):
        leaves, factor = order[k].scatter(toward, draws[:, k], glass)
        strength = strength * factor
        toward = -leaves
        looks.append(toward)
    return looks[::-1], strength


def _follow(
    kernel: RayKernel,
    order: Sequence[Sheet],
    points: FloatArray,
    looks: Sequence[FloatArray],
    sources: FloatArray,
) -> tuple[IntArray, IntArray]:
    """Pairs (source, point) whose look meets all sheets in order and then the source."""
    first = kernel.first_outer(points, looks[0])
    source, point = np.nonzero(order[0].member[first])
    if not len(source):
        return source, point
    index = first[source, point].astype(np.int64)
    place = _places(kernel, order[0], points, looks[0], source, point, index)
    for sheet, before, look in zip(order[1:], order[:-1], looks[1:], strict=True):
        start = off_sheet(before, place, look[source])
        index, _ = kernel.first_hit(start, look[source])
        keep = np.flatnonzero(sheet.member[index])
        source, point, index = source[keep], point[keep], index[keep]
        place = kernel.meeting(start[keep], look[source], index)
    side = START_OFFSET_M * np.sign(sources @ order[-1].normal)
    start = place + (side[:, None] * order[-1].normal)[source]
    free = ~kernel.blocked_pairs(start, sources[source])
    return source[free], point[free]


def _places(
    kernel: RayKernel,
    sheet: Sheet,
    points: FloatArray,
    looks: FloatArray,
    way: IntArray,
    point: IntArray,
    index: IntArray,
) -> FloatArray:
    """Where looks (s, 3) from points (p, 3) meet a sheet's rectangles, for pairs way, point, rectangle (r,); (r, 3).
    They share one normal, so that distances take products per look and per point only."""
    plane = kernel.rectangles.corner @ sheet.normal
    distance = (plane[index] - (points @ sheet.normal)[point]) / (looks @ sheet.normal)[way]
    return points[point] + distance[:, None] * looks[way]


def off_sheet(sheet: Sheet, places: FloatArray, directions: FloatArray) -> FloatArray:
    """Places just off the side of a sheet that directions leave from; (r, 3) each."""
    side = np.sign(directions @ sheet.normal)
    return places + START_OFFSET_M * side[:, None] * sheet.normal
