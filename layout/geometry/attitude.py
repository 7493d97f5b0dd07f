"""How a row of panels stands on a plane of ground.

The row's axis follows the ground and lies across the azimuth on the map; the panels' tilt is that of their
plane against the horizontal. ``along`` and ``up`` stay at right angles, so panels stay rectangles:

        up ^                           f : horizontal, toward the azimuth
           |   n = along × up          e : at right angles to f and to along, upward
    f <----+                           n = sin φ f + cos φ e,  cos φ = cos(tilt) / cos(rise of along)
"""

from dataclasses import dataclass

import numpy as np

from sites.conventions import FloatArray


@dataclass(frozen=True, eq=False)
class RowAttitude:
    """Unit vectors of the panels of a row: along, up, normal (3,), and the azimuth on the map, front (2,)."""

    along: FloatArray
    up: FloatArray
    normal: FloatArray
    front: FloatArray

    @property
    def axis(self) -> FloatArray:
        """(2,) float [-] the row's direction on the map."""
        return np.array([-self.front[1], self.front[0]])


def azimuth_vector(azimuth_deg: float) -> FloatArray:
    """(2,) float [-] unit vector on the map toward an azimuth."""
    azimuth = np.radians(azimuth_deg)
    return np.array([np.sin(azimuth), np.cos(azimuth)])


def rise_along_row_deg(azimuth_deg: float, gradient: FloatArray) -> float:
    """Angle by which the ground rises or falls along rows of this azimuth, degrees, at least 0.

    gradient : (2,) float [-] rise of the ground per metre east and north
    """
    front = azimuth_vector(azimuth_deg)
    return float(np.degrees(np.arctan(abs(gradient @ np.array([-front[1], front[0]])))))


def row_attitude(tilt_deg: float, azimuth_deg: float, gradient: FloatArray) -> RowAttitude:
    """Attitude of panels in a row on sloping ground.

    tilt_deg : [deg] at least ``rise_along_row_deg``; a plane that holds the axis cannot lie flatter
    gradient : (2,) float [-] rise of the ground per metre east and north

    >>> row_attitude(90.0, 180.0, np.zeros(2)).normal.round(9).tolist()
    [0.0, -1.0, 0.0]
    """
    front = azimuth_vector(azimuth_deg)
    axis = np.array([-front[1], front[0]])
    along = np.array([*axis, gradient @ axis])
    along /= np.linalg.norm(along)
    f = np.array([*front, 0.0])
    e = np.cross(f, along)
    cosine = np.cos(np.radians(tilt_deg)) / e[2]
    if cosine > 1.0 + 1e-9:
        raise ValueError(f"tilt_deg: found {tilt_deg!r}; accepted: at least the slope along the row")
    turn = np.arccos(np.clip(cosine, -1.0, 1.0))
    normal = np.sin(turn) * f + np.cos(turn) * e
    return RowAttitude(along, np.cross(normal, along), normal, front)
