"""Rays against rectangles: the only user of the ray kernel (Embree through embreex, single precision)."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import NDArray

from layout.geometry.rectangles import Rectangles
from sites.conventions import BoolArray, FloatArray, IntArray

START_OFFSET_M = 1e-4
"""Rays start this far off their own surface. Coordinates are taken from the scene's middle, so that single
precision resolves 1e-5 m in scenes of up to 150 m."""

CHUNK_RAYS = 1 << 18
"""Rays per call of the kernel: large enough to hide the call, small enough to share between cores."""

RAYS_PER_CALL = 1 << 12
"""Where fewer rays share a direction, several directions go into one call."""

_most_threads: int | None = None


def limit_threads(most: int) -> None:
    """Use no more threads than this in the present process, whatever the cores."""
    global _most_threads
    _most_threads = most


def worker_count() -> int:
    """Threads for ray work: the cores this process may use, or fewer if ``limit_threads`` says so."""
    cores = max(1, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1)
    return cores if _most_threads is None else min(cores, _most_threads)


FEWEST_SHARED_RAYS = 1 << 13
"""With fewer the kernel is done about as soon as a second thread has begun (a millisecond). Our choice."""


def _share_out(work: Callable[[range], None], n: int, rays: int) -> None:
    """Let each core work on its part of 0..n−1. rays : of all parts together"""
    workers = min(worker_count(), n) if rays >= FEWEST_SHARED_RAYS else 1
    if workers <= 1:
        work(range(n))
        return
    with ThreadPoolExecutor(workers) as pool:
        for _ in pool.map(lambda w: work(range(w, n, workers)), range(workers)):
            pass


def _in_chunks(work: Callable[[int], None], n: int) -> None:
    """Work on chunks of 0..n−1, told by their starts, several at once where there are several."""
    starts = range(0, n, CHUNK_RAYS)
    if len(starts) <= 1:
        for start in starts:
            work(start)
        return
    with ThreadPoolExecutor(worker_count()) as pool:
        for _ in pool.map(work, starts):
            pass


class RayKernel:
    """A set of opaque rectangles that rays can be asked about. The kernel frees the interpreter lock,
    so calls from several threads run at once."""

    def __init__(self, rectangles: Rectangles) -> None:
        self.rectangles = rectangles
        self.normals = rectangles.normal
        self.centre = np.zeros(3)
        self._scene: EmbreeScene | None = None
        if len(rectangles):
            a, u, v = rectangles.corner, rectangles.along, rectangles.up
            self.centre = (a + 0.5 * (u + v)).mean(axis=0)
            a = a - self.centre
            triangles = np.stack(
                [np.stack([a, a + u, a + u + v], axis=1), np.stack([a, a + u + v, a + v], axis=1)], axis=1
            )
            self._scene = EmbreeScene()
            self._mesh = TriangleMesh(self._scene, triangles.reshape(-1, 3, 3).astype(np.float32))

    def _local(self, points: FloatArray) -> np.ndarray:
        return np.ascontiguousarray(points - self.centre, dtype=np.float32)

    def blocked(self, points: FloatArray, directions: FloatArray) -> BoolArray:
        """Whether anything stands in the way from every point along every direction.

        points : (p, 3) [m], already off their own surface; directions : (d, 3) unit
        Returns (d, p) bool.
        """
        out = np.zeros((len(directions), len(points)), dtype=bool)
        if self._scene is None or not out.size:
            return out
        self._each_way(points, directions, "OCCLUDED", lambda part, hit: np.greater_equal(hit, 0, out=out[part]))
        return out

    def blocked_pairs(self, points: FloatArray, directions: FloatArray) -> BoolArray:
        """Whether anything stands in the way of ray i from point i along direction i; (r, 3), (r, 3) -> (r,)."""
        out = np.zeros(len(points), dtype=bool)
        if self._scene is None:
            return out
        scene = self._scene

        def one(start: int) -> None:
            part = slice(start, start + CHUNK_RAYS)
            d = np.ascontiguousarray(directions[part], dtype=np.float32)
            out[part] = scene.run(self._local(points[part]), d, query="OCCLUDED") >= 0

        _in_chunks(one, len(points))
        return out

    def first_outer(self, points: FloatArray, directions: FloatArray) -> NDArray[np.int32]:
        """The nearest rectangle from every point along every direction; (p, 3), (d, 3) -> (d, p) int32, -1 where
        none."""
        out = np.full((len(directions), len(points)), -1, dtype=np.int32)
        if self._scene is None or not out.size:
            return out
        # Two triangles a rectangle; the shift keeps "none", -1, at -1.
        self._each_way(points, directions, "INTERSECT", lambda part, hit: np.right_shift(hit, 1, out=out[part]))
        return out

    def _each_way(
        self, points: FloatArray, directions: FloatArray, query: str, take: Callable[[slice, np.ndarray], object]
    ) -> None:
        """Hand over what the kernel finds from every point along directions ``part``, (directions, points). Where
        points are few, one call of the kernel takes several directions."""
        scene, local = self._scene, self._local(points)
        assert scene is not None
        d32 = np.ascontiguousarray(directions, dtype=np.float32)
        at_once = max(1, RAYS_PER_CALL // len(local))
        origins = np.tile(local, (min(at_once, len(d32)), 1)) if at_once > 1 else local

        def some(chosen: range) -> None:
            for k in chosen:
                part = slice(k * at_once, min((k + 1) * at_once, len(d32)))
                ways = d32[part]
                if len(ways) > 1:
                    hit = scene.run(origins[: len(ways) * len(local)], np.repeat(ways, len(local), axis=0), query=query)
                else:
                    hit = scene.run(local, ways, query=query)
                take(part, hit.reshape(len(ways), -1))

        _share_out(some, -(-len(d32) // at_once), len(d32) * len(local))

    def meeting(self, points: FloatArray, directions: FloatArray, index: IntArray) -> FloatArray:
        """Where rays (r, 3) meet the planes of rectangles ``index`` (r,), in double precision; (r, 3)."""
        n = self.normals[index]
        offset = np.einsum("ij,ij->i", self.rectangles.corner[index] - points, n)
        return points + (offset / np.einsum("ij,ij->i", directions, n))[:, None] * directions

    def first_hit(self, points: FloatArray, directions: FloatArray) -> tuple[IntArray, FloatArray]:
        """The nearest rectangle along each ray; (r, 3), (r, 3) -> index (r,) int, -1 where none, and
        distance (r,) float [m], inf where none (worked out in double precision from the plane)."""
        index = np.full(len(points), -1, dtype=np.int64)
        distance = np.full(len(points), np.inf)
        if self._scene is None:
            return index, distance
        scene = self._scene

        def one(start: int) -> None:
            part = slice(start, start + CHUNK_RAYS)
            d = np.ascontiguousarray(directions[part], dtype=np.float32)
            hit = scene.run(self._local(points[part]), d, query="INTERSECT")
            index[part] = np.where(hit >= 0, hit // 2, -1)

        _in_chunks(one, len(points))
        found = np.flatnonzero(index >= 0)
        n = self.normals[index[found]]
        offset = np.einsum("ij,ij->i", self.rectangles.corner[index[found]] - points[found], n)
        distance[found] = offset / np.einsum("ij,ij->i", directions[found], n)
        return index, distance
