"""Rectangles as plain arrays: the form in which geometry is computed."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from layout.pieces import Rectangle
from sites.conventions import FloatArray, IntArray


class HasEdges(Protocol):
    """Anything with a corner and two edges, (3,) float [m] each."""

    @property
    def corner(self) -> FloatArray: ...
    @property
    def along(self) -> FloatArray: ...
    @property
    def up(self) -> FloatArray: ...


@dataclass(frozen=True, eq=False)
class Rectangles:
    """n rectangles: ``corner``, ``along``, ``up`` : (n, 3) float [m]."""

    corner: FloatArray
    along: FloatArray
    up: FloatArray

    @classmethod
    def of(cls, pieces: Sequence[Rectangle]) -> "Rectangles":
        """The arrays of a sequence of pieces, in their order."""
        shape = (len(pieces), 3)
        return cls(
            np.array([p.corner for p in pieces], dtype=np.float64).reshape(shape),
            np.array([p.along for p in pieces], dtype=np.float64).reshape(shape),
            np.array([p.up for p in pieces], dtype=np.float64).reshape(shape),
        )

    @classmethod
    def of_edges(cls, things: Sequence[HasEdges]) -> "Rectangles":
        """The same of anything with these three vectors."""
        shape = (len(things), 3)
        return cls(*(np.array([getattr(t, f) for t in things]).reshape(shape) for f in ("corner", "along", "up")))

    def joined(self, other: "Rectangles") -> "Rectangles":
        """These and then the others."""
        pairs = ((getattr(self, f), getattr(other, f)) for f in ("corner", "along", "up"))
        return Rectangles(*(np.concatenate(pair) for pair in pairs))

    def __len__(self) -> int:
        return len(self.corner)

    def __getitem__(self, index: IntArray | slice) -> "Rectangles":
        return Rectangles(self.corner[index], self.along[index], self.up[index])

    @property
    def normal(self) -> FloatArray:
        """(n, 3) float [-] unit normals of the fronts."""
        n = np.cross(self.along, self.up)
        return n / np.linalg.norm(n, axis=-1, keepdims=True)

    @property
    def area(self) -> FloatArray:
        """(n,) float [m²] of one side."""
        return np.linalg.norm(self.along, axis=-1) * np.linalg.norm(self.up, axis=-1)

    def points(self, up_share: FloatArray, along_share: FloatArray) -> FloatArray:
        """Points at shares (k,) of the edges: (n, k, 3) float [m]."""
        return (
            self.corner[:, None]
            + up_share[None, :, None] * self.up[:, None]
            + along_share[None, :, None] * self.along[:, None]
        )
