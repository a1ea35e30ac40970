"""What stands over a place: straight lines along z against every triangle of a mesh.

The triangles are sorted into square cells seen along z; a line asks those of its own cell. In double
precision, and for lines along one axis several times faster than a tree made for rays of every direction.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from pinseat.mesh.model import Mesh

CHUNK = 16_384
"""Points looked at in one go; the answer does not depend on how many threads share the chunks."""
TRIANGLES_A_CELL = 2.0
"""How many there would be, were they spread evenly and without overlap."""


def covered(mesh: Mesh, points: ArrayLike) -> NDArray[np.bool_]:
    """Whether some triangle stands above each point, along z.

    Parameters
    ----------
    mesh : Mesh
        Both sides of a triangle count; edge-on it counts as its neighbours do.
    points : (n, 3) array, mm

    Returns
    -------
    (n,) bool array
        False for a point on the uppermost triangle.

    Examples
    --------
    >>> flat = Mesh(np.array([[0.0, 0, 5], [4, 0, 5], [0, 4, 5]]), np.array([[0, 1, 2]], np.int32))
    >>> covered(flat, [[1.0, 1.0, 2.0], [1.0, 1.0, 6.0], [9.0, 1.0, 2.0]]).tolist()
    [True, False, False]
    """
    p = np.ascontiguousarray(points, np.float64).reshape(-1, 3)
    out = np.zeros(len(p), bool)
    if not len(mesh.faces) or not len(p):
        return out
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    corner, wide = low[:, :2].min(axis=0), np.ptp(np.concatenate((low, high))[:, :2], axis=0)
    size = max(float(np.sqrt(wide.prod() * TRIANGLES_A_CELL / len(a))), 1e-3 * float(wide.max()), 1e-9)
    cells = np.floor(wide / size).astype(np.int64) + 1
    first = ((low[:, :2] - corner) / size).astype(np.int32)
    last = ((high[:, :2] - corner) / size).astype(np.int32)
    start, held, top = _sorted(first, last, high[:, 2], cells)

    def run(begin: int) -> None:
        part = slice(begin, begin + CHUNK)
        _look_up(p[part], corner, size, cells, start, held, top, mesh.vertices, mesh.faces, out[part])

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(run, range(0, len(p), CHUNK)))
    return out


_kernel = njit(cache=True, nogil=True)


@_kernel
def _sorted(first, last, high, cells):  # type: ignore[no-untyped-def]
    """Where each cell's triangles begin, the triangles cell by cell, and the highest place of each cell."""
    start = np.zeros(cells[0] * cells[1] + 1, np.int64)
    top = np.full(cells[0] * cells[1], -np.inf)
    for f in range(len(first)):
        for i in range(first[f, 0], last[f, 0] + 1):
            for j in range(first[f, 1], last[f, 1] + 1):
                at = i * cells[1] + j
                start[at + 1] += 1
                top[at] = max(top[at], high[f])
    start = np.cumsum(start)
    free, held = start[:-1].copy(), np.empty(start[-1], np.int32)
    for f in range(len(first)):
        for i in range(first[f, 0], last[f, 0] + 1):
            for j in range(first[f, 1], last[f, 1] + 1):
                at = i * cells[1] + j
                held[free[at]] = f
                free[at] += 1
    return start, held, top


@_kernel
def _look_up(points, corner, size, cells, start, held, top, vertices, faces, out):  # type: ignore[no-untyped-def]
    for n in range(len(points)):
        x, y, z = points[n, 0], points[n, 1], points[n, 2]
        i, j = int(np.floor((x - corner[0]) / size)), int(np.floor((y - corner[1]) / size))
        if i < 0 or j < 0 or i >= cells[0] or j >= cells[1] or top[i * cells[1] + j] <= z:
            continue
        for at in range(start[i * cells[1] + j], start[i * cells[1] + j + 1]):
            a, b, c = vertices[faces[held[at], 0]], vertices[faces[held[at], 1]], vertices[faces[held[at], 2]]
            u = (b[0] - x) * (c[1] - y) - (b[1] - y) * (c[0] - x)
            v = (c[0] - x) * (a[1] - y) - (c[1] - y) * (a[0] - x)
            w = (a[0] - x) * (b[1] - y) - (a[1] - y) * (b[0] - x)
            on = (u >= 0.0 and v >= 0.0 and w >= 0.0) or (u <= 0.0 and v <= 0.0 and w <= 0.0)
            area = u + v + w
            if on and area != 0.0 and (u * a[2] + v * b[2] + w * c[2]) / area > z:
                out[n] = True
                break
