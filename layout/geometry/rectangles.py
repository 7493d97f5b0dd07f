"""Rectangles as plain arrays: the form in which geometry is computed."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layout.pieces import Rectangle
from sites.conventions import FloatArray, IntArray


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
