"""Sheets hinged at an edge, and how they lie on a plane of ground."""

import numpy as np

from layout.geometry.rectangles import Rectangles
from sites.conventions import FloatArray


def hinged(
    start: FloatArray, end: FloatArray, outward: FloatArray, normal: FloatArray, width: float, angle_deg: float
) -> Rectangles:
    """Sheets that lead away from their hinges, turned out of a plane toward its normal.

        normal ^   / up            start, end : (s, 3) float [m] ends of the hinges
               | /                 outward, normal : (s, 3) float [-] unit, at right angles to each other and to
        hinge  o----> outward          the hinges
                                   width [m]; angle_deg between ``outward`` and the sheet

    The mirror side, along × up, looks back over the hinge: its normal is cos·normal − sin·outward.

    >>> one = hinged(np.zeros((1, 3)), np.eye(3)[:1], -np.eye(3)[1:2], np.eye(3)[2:], 2.0, 90.0)
    >>> (one.up.round(9) + 0.0).tolist(), (one.normal.round(9) + 0.0).tolist()
    ([[0.0, 0.0, 2.0]], [[0.0, 1.0, 0.0]])
    """
    cosine, sine = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    up = width * (cosine * outward + sine * normal)
    along = end - start
    turned = np.einsum("ij,ij->i", np.cross(along, up), cosine * normal - sine * outward) < 0
    corner = np.where(turned[:, None], end, start)
    return Rectangles(corner, np.where(turned[:, None], -along, along), up)


def ground_normal(gradient: FloatArray) -> FloatArray:
    """(3,) float [-] unit normal of a plane; gradient : (2,) rise per metre east and north."""
    n = np.array([-gradient[0], -gradient[1], 1.0])
    return n / np.linalg.norm(n)


def on_plane(points: FloatArray, gradient: FloatArray, lift_m: float) -> FloatArray:
    """Points (..., 2) on the map as points (..., 3) that lie a little above the plane through the origin."""
    return np.concatenate([points, (points @ gradient)[..., None] + lift_m], axis=-1)


def heights(rectangles: Rectangles, gradient: FloatArray) -> FloatArray:
    """Heights (n, 4) [m] of corners above the plane through the origin: corner, + along, + up, + both."""
    points = corners(rectangles)
    return points[..., 2] - points[..., :2] @ gradient


def corners(rectangles: Rectangles) -> FloatArray:
    """Corners (n, 4, 3) [m]: corner, + along, + up, + both."""
    c, a, u = rectangles.corner, rectangles.along, rectangles.up
    return np.stack([c, c + a, c + u, c + a + u], axis=1)
