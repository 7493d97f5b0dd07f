"""Light of places, traced when a ray first meets them and kept for all that follow."""

from collections.abc import Callable

import numpy as np

from layout.light.places import PlaceNet, distinct, net_keys, representatives
from sites.conventions import FloatArray, IntArray

PLACES_AT_ONCE = 8192
"""Places traced together: bounds the memory of their shadows."""

Trace = Callable[[FloatArray, np.ndarray], None]
"""points (n, 3) [m], rows (n, columns) float32 to fill with their light"""


class KeptPlaces:
    """Rows of ``columns`` numbers for places. Not frozen: it grows. One tracer uses it at a time."""

    def __init__(self, columns: int) -> None:
        self._keys = np.zeros(0, dtype=np.int64)  # rising
        self._place_of_key = np.zeros(0, dtype=np.int64)
        self._light = np.zeros((0, columns), dtype=np.float32)  # grows ahead of the places

    def at(self, hits: FloatArray, distance: FloatArray, net: PlaceNet, trace: Trace) -> tuple[IntArray, np.ndarray]:
        """Light of the places that rays meet.

        hits : (r, 3) [m]; distance : (r,) [m] from where they come; trace : works out places not met before
        Returns the place of each ray (r,) and the light of the g places known so far, (g, columns) float32.
        """
        of_hit, keys = distinct(net_keys(hits, distance, net))
        where = np.searchsorted(self._keys, keys)
        known = where < len(self._keys)
        known[known] = self._keys[where[known]] == keys[known]
        place = np.zeros(len(keys), dtype=np.int64)
        place[known] = self._place_of_key[where[known]]
        new, count = np.flatnonzero(~known), len(self._keys)
        if len(new):
            place[new] = count + np.arange(len(new))
            rays = np.flatnonzero(~known[of_hit])
            chosen = rays[representatives(place[of_hit[rays]] - count, len(new))]
            self._grow(count + len(new))
            for start in range(0, len(new), PLACES_AT_ONCE):
                part = chosen[start : start + PLACES_AT_ONCE]
                trace(hits[part], self._light[count + start : count + start + len(part)])
            order = np.argsort(keys[new])
            before = where[new][order]
            self._keys = np.insert(self._keys, before, keys[new][order])
            self._place_of_key = np.insert(self._place_of_key, before, place[new][order])
        return place[of_hit], self._light[: count + len(new)]

    def _grow(self, count: int) -> None:
        """Room for so many places; each growth is by half, so that copying stays cheap."""
        if count > len(self._light):
            room = np.zeros((max(count, len(self._light) * 3 // 2), self._light.shape[1]), dtype=np.float32)
            room[: len(self._light)] = self._light
            self._light = room
