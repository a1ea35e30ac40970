"""Bodies with sharp edges and known walls, made from closed forms: cones, blocks, a box cut out."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from pinseat.mesh.model import Mesh

Point = tuple[float, float, float]


def revolved(profile: Sequence[tuple[float, float]], edge_mm: float) -> Mesh:
    """A profile (radius, height), top first, turned round z; open below, sharp at each of its points."""
    line = [np.array(profile[0])]
    for a, b in pairwise(profile):
        count = max(round(float(np.hypot(b[0] - a[0], b[1] - a[1])) / edge_mm), 1)
        line += [np.array(a) + (np.array(b) - np.array(a)) * k / count for k in range(1, count + 1)]
    r, z = np.array(line).T
    around = round(2.0 * np.pi * float(np.median(r)) / edge_mm)
    turn = 2.0 * np.pi * np.arange(around) / around
    points = np.stack(
        (np.outer(r, np.cos(turn)), np.outer(r, np.sin(turn)), np.outer(z, np.ones(around))), -1
    )
    i, j = np.meshgrid(np.arange(len(r) - 1), np.arange(around), indexing="ij")
    a, b = i * around + j, i * around + (j + 1) % around
    c, d = a + around, b + around
    faces = np.concatenate((np.stack((a, c, b), -1), np.stack((b, c, d), -1))).reshape(-1, 3)
    return welded(points.reshape(-1, 3), faces)


def patchwork(quads: Sequence[tuple[Sequence[Point], int, int]]) -> Mesh:
    """Four-cornered pieces as grids, welded where they meet: corners counter-clockwise from outside, steps
    along the first and the second side.
    """
    points, faces, start = [], [], 0
    for corners, n, m in quads:
        p = np.array(corners, float)
        u, v = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, m + 1), indexing="ij")
        u, v = u[..., None], v[..., None]
        grid = p[0] * (1 - u) * (1 - v) + p[1] * u * (1 - v) + p[2] * u * v + p[3] * (1 - u) * v
        i, j = np.meshgrid(np.arange(n), np.arange(m), indexing="ij")
        a = start + i * (m + 1) + j
        b, c, d = a + m + 1, a + m + 2, a + 1
        points.append(grid.reshape(-1, 3))
        faces += [np.stack((a, b, c), -1).reshape(-1, 3), np.stack((a, c, d), -1).reshape(-1, 3)]
        start += (n + 1) * (m + 1)
    return welded(np.concatenate(points), np.concatenate(faces))


def welded(points: np.ndarray, faces: np.ndarray) -> Mesh:
    """Join points that coincide and drop triangles that collapse."""
    _, first, inverse = np.unique(points.round(6), axis=0, return_index=True, return_inverse=True)
    faces = inverse.reshape(-1)[faces]
    whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return Mesh(points[first], faces[whole].astype(np.int32))


def noisy(mesh: Mesh, noise_mm: float, seed: int = 1) -> Mesh:
    """White noise on every point, in all three directions."""
    shift = np.random.default_rng(seed).normal(0.0, noise_mm, mesh.vertices.shape)
    return Mesh(mesh.vertices + shift, mesh.faces)


def turned(mesh: Mesh, rotation: np.ndarray, shift: np.ndarray) -> Mesh:
    """The same body elsewhere."""
    return Mesh(mesh.vertices @ rotation.T + shift, mesh.faces)


def frustum(taper_deg: float, edge_mm: float, radius_mm: float = 4.0, height_mm: float = 4.0) -> Mesh:
    """A cone cut off: flat top, wall that leans by the taper, flat shoulder 1 mm wide, and a skirt."""
    top = radius_mm - height_mm * np.tan(np.radians(taper_deg))
    outer = radius_mm + 1.0
    return revolved(
        [(0.0, height_mm), (top, height_mm), (radius_mm, 0.0), (outer, 0.0), (outer, -2.0)], edge_mm
    )


def pyramid(
    tapers_deg: tuple[float, float], edge_mm: float, half_mm: float = 3.0, height_mm: float = 4.0
) -> Mesh:
    """A block whose walls towards +x and -x lean by two tapers, the other two not; on a flat shoulder."""
    h, a = height_mm, half_mm
    right, left = (a - h * np.tan(np.radians(t)) for t in tapers_deg)
    n, m = round(2 * a / edge_mm), round(h / edge_mm)
    w = a + 1.0
    k = round(1.0 / edge_mm)
    return patchwork(
        [
            (((a, -a, 0), (a, a, 0), (right, a, h), (right, -a, h)), n, m),
            (((-a, a, 0), (-a, -a, 0), (-left, -a, h), (-left, a, h)), n, m),
            (((a, a, 0), (-a, a, 0), (-left, a, h), (right, a, h)), n, m),
            (((-a, -a, 0), (a, -a, 0), (right, -a, h), (-left, -a, h)), n, m),
            (((-left, -a, h), (right, -a, h), (right, a, h), (-left, a, h)), n, n),
            (((w, -w, 0), (w, w, 0), (a, a, 0), (a, -a, 0)), n, k),
            (((-w, w, 0), (-w, -w, 0), (-a, -a, 0), (-a, a, 0)), n, k),
            (((w, w, 0), (-w, w, 0), (-a, a, 0), (a, a, 0)), n, k),
            (((-w, -w, 0), (w, -w, 0), (a, -a, 0), (-a, -a, 0)), n, k),
        ]
    )


def box_groove(
    edge_mm: float,
    length_mm: float = 3.0,
    width_mm: float = 1.2,
    depth_mm: float = 0.8,
    height_mm: float = 5.0,
) -> Mesh:
    """A wall facing +y, 5 mm wide, with a box cut into it from the top; the box ends in a floor."""
    x, g, h = 2.5, width_mm / 2.0, height_mm
    z, d = h - length_mm, depth_mm

    def n(size: float) -> int:
        return max(round(size / edge_mm), 1)

    def wall(x0: float, x1: float, z0: float, z1: float, y: float = 0.0) -> tuple[Sequence[Point], int, int]:
        return ((x1, y, z0), (x0, y, z0), (x0, y, z1), (x1, y, z1)), n(x1 - x0), n(z1 - z0)

    def top(x0: float, x1: float, y0: float, y1: float, level: float = h) -> tuple[Sequence[Point], int, int]:
        corners = ((x0, y0, level), (x1, y0, level), (x1, y1, level), (x0, y1, level))
        return corners, n(x1 - x0), n(y1 - y0)

    return patchwork(
        [
            wall(-x, -g, 0, z),
            wall(-g, g, 0, z),
            wall(g, x, 0, z),
            wall(-x, -g, z, h),
            wall(g, x, z, h),
            wall(-g, g, z, h, -d),
            (((-g, -d, z), (-g, 0, z), (-g, 0, h), (-g, -d, h)), n(d), n(h - z)),
            (((g, 0, z), (g, -d, z), (g, -d, h), (g, 0, h)), n(d), n(h - z)),
            top(-g, g, -d, 0, z),
            top(-x, -g, -d, 0),
            top(g, x, -d, 0),
            top(-x, -g, -2, -d),
            top(-g, g, -2, -d),
            top(g, x, -2, -d),
        ]
    )
