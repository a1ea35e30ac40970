"""Cells cut by a surface: how much of each face is open, and the piece of wall in each cell.

The surface is where a signed distance, sampled at the corners of the cells, is zero: along edges it is taken
as linear, so a face is open over a polygon. The wall follows from the open faces, because the faces of a
closed volume add up to nothing: its area vector is minus their sum. So a field that rises evenly along an
insulating wall, or straight into a flat electrode, is met exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from pinseat.numerics.octree import Bool, Faces, Float, Int, Octree, Side

NEAR = 0.9
"""A surface farther from the centre than this many edges does not meet the cell (half a diagonal is 0.87)."""
_LEAST_OPEN = 1e-6
_CORNERS = np.array([[i >> 2 & 1, i >> 1 & 1, i & 1] for i in range(8)], np.int64)
_RING = np.array(
    [[0, 1, 3, 2], [4, 5, 7, 6], [0, 1, 5, 4], [2, 3, 7, 6], [0, 2, 6, 4], [1, 3, 7, 5]], np.int64
)


@dataclass(frozen=True, eq=False)
class Corners:
    """Where the signed distance is wanted.

    Attributes
    ----------
    row : (n,) int64 array
        Row of each cell in `index`; -1 for cells that the surface does not reach.
    index : (k, 8) int64 array
        The corners of those cells, into `point`; corner ``4 i + 2 j + k`` lies up x, y, z by i, j, k edges.
    point : (u, 3) array, mm
    """

    row: Int
    index: Int
    point: Float


@dataclass(frozen=True, eq=False)
class Cut:
    """Cells of an octree with the solid taken away.

    Attributes
    ----------
    open_mm2 : (f,) array
        Open area of each face.
    border_mm2 : (b,) array
        Open area at the borders.
    trace_mm : (f,) array
        Length of the line in which the surface crosses each face.
    wall : (n, 3) array, mm2
        Area vector of the wall in each cell, into the liquid.
    distance_mm : (n,) array
        From the wall to the centre, positive when the centre is in the liquid.
    volume_mm3 : (n,) array
        Liquid in each cell.
    """

    open_mm2: Float
    border_mm2: Float
    trace_mm: Float
    wall: Float
    distance_mm: Float
    volume_mm3: Float


def corners(tree: Octree, distance_mm: Float, reach_mm: float = 0.0) -> Corners:
    """Corners of the cells that the surface meets, or may come to meet.

    Parameters
    ----------
    tree : Octree
    distance_mm : (n,) array
        Signed distance of the centres.
    reach_mm : float
        How far the surface may yet move into the liquid.

    Returns
    -------
    Corners
    """
    room = NEAR * tree.edge_mm
    near = np.flatnonzero((distance_mm < room + reach_mm) & (distance_mm > -room))
    place = (tree.corner[near, None, :] + _CORNERS * tree.width[near, None, None]).reshape(-1, 3)
    size = tree.size + 1
    key, index = np.unique((place[:, 0] * size[1] + place[:, 1]) * size[2] + place[:, 2], return_inverse=True)
    rest, z = np.divmod(key, size[2])
    point = tree.low + np.column_stack((*np.divmod(rest, size[1]), z)) * tree.step_mm
    row = np.full(len(tree.width), -1, np.int64)
    row[near] = np.arange(len(near))
    return Corners(row, index.reshape(-1, 8), point)


def cut(tree: Octree, found: Faces, at: Corners, distance_mm: Float, corner_mm: Float) -> Cut:
    """Cut the cells.

    Parameters
    ----------
    tree : Octree
    found : Faces
    at : Corners
    distance_mm : (n,) array
        Signed distance of the centres, positive in the liquid.
    corner_mm : (u,) array
        Signed distance of the corners.

    Returns
    -------
    Cut

    Notes
    -----
    The volume is a third of the sum over faces and wall of area times distance from the centre (divergence
    theorem), exact where the wall in a cell is flat.
    """
    size = len(tree.width)
    open_mm2, trace_mm = np.empty(len(found.first)), np.zeros(len(found.first))
    border_mm2 = np.empty(len(found.border))
    wall, volume = np.zeros((size, 3)), np.zeros(size)
    edge = tree.edge_mm
    _open_faces(
        found.first, found.second, found.side, found.coarse, edge, at.row, at.index, distance_mm, corner_mm,
        open_mm2, trace_mm, wall, volume,
    )  # fmt: skip
    _open_borders(
        found.border, found.border_side, edge, at.row, at.index, distance_mm, corner_mm, border_mm2, wall,
        volume,
    )  # fmt: skip
    away = np.clip(distance_mm, -0.87 * edge, 0.87 * edge)
    area = np.linalg.norm(wall, axis=1)
    volume = np.clip((volume + area * away) / 3.0, 0.0, edge**3)
    return Cut(open_mm2, border_mm2, trace_mm, wall, away, volume)


@njit(cache=True, nogil=True)
def open_share(a: float, b: float, c: float, d: float) -> tuple[float, float]:
    """Share of a unit square that is positive, and the length of the border in it.

    Values at the corners, in order round the square; linear along its edges.
    """
    value = (a, b, c, d)
    x = np.empty(8)
    y = np.empty(8)
    cross_x = np.empty(4)
    cross_y = np.empty(4)
    count, crossings, corner_area = 0, 0, 0.0
    before = 0.0
    for k in range(4):
        here, there = value[k], value[(k + 1) % 4]
        cx = 1.0 if k == 1 or k == 2 else 0.0
        cy = 1.0 if k >= 2 else 0.0
        nx = 1.0 if k == 0 or k == 1 else 0.0
        ny = 1.0 if k == 1 or k == 2 else 0.0
        if here > 0.0:
            x[count], y[count] = cx, cy
            count += 1
        if (here > 0.0) != (there > 0.0):
            part = here / (here - there)
            x[count], y[count] = cx + part * (nx - cx), cy + part * (ny - cy)
            cross_x[crossings], cross_y[crossings] = x[count], y[count]
            count += 1
            crossings += 1
        if here > 0.0:
            last = value[(k + 3) % 4]
            if there <= 0.0 and last <= 0.0:
                corner_area += 0.5 * (here / (here - there)) * (here / (here - last))
    length = 0.0
    if crossings == 2:
        length = np.hypot(cross_x[0] - cross_x[1], cross_y[0] - cross_y[1])
    elif crossings == 4:
        before = a + b + c + d
        if before <= 0.0:
            return corner_area, length
    total = 0.0
    for k in range(count):
        j = (k + 1) % count
        total += x[k] * y[j] - x[j] * y[k]
    return min(max(0.5 * total, 0.0), 1.0), length


def pieces(distance_mm: Float, edge_mm: Float) -> Float:
    """Area of the wall in each cell of small lattices.

    Parameters
    ----------
    distance_mm : (k, m + 1, m + 1, m + 1) array
        Signed distances at the points of each lattice.
    edge_mm : (k,) array
        Edge of its cells.

    Returns
    -------
    (k, m, m, m) array, mm2
    """
    size = distance_mm.shape[1] - 1
    area = np.zeros((len(distance_mm), size, size, size))
    _pieces(np.ascontiguousarray(distance_mm), edge_mm, area)
    return area


@njit(cache=True, nogil=True)
def _pieces(distance_mm: Float, edge_mm: Float, area: Float) -> None:
    value = np.empty(8)
    for n in range(len(area)):
        for i in range(area.shape[1]):
            for j in range(area.shape[1]):
                for k in range(area.shape[1]):
                    for c in range(8):
                        value[c] = distance_mm[n, i + (c >> 2 & 1), j + (c >> 1 & 1), k + (c & 1)]
                    if value.min() > 0.0 or value.max() <= 0.0:
                        continue
                    total = 0.0
                    for axis in range(3):
                        low, high = _RING[2 * axis], _RING[2 * axis + 1]
                        a, _ = open_share(value[low[0]], value[low[1]], value[low[2]], value[low[3]])
                        b, _ = open_share(value[high[0]], value[high[1]], value[high[2]], value[high[3]])
                        total += (a - b) ** 2
                    area[n, i, j, k] = np.sqrt(total) * edge_mm[n] ** 2


@njit(cache=True, nogil=True)
def _share(row: int, side: int, index: Int, corner_mm: Float) -> tuple[float, float]:
    ring = _RING[side]
    return open_share(
        corner_mm[index[row, ring[0]]],
        corner_mm[index[row, ring[1]]],
        corner_mm[index[row, ring[2]]],
        corner_mm[index[row, ring[3]]],
    )


@njit(cache=True, nogil=True)
def _open_faces(
    first: Int,
    second: Int,
    side: Side,
    coarse: Bool,
    edge: Float,
    row: Int,
    index: Int,
    distance_mm: Float,
    corner_mm: Float,
    open_mm2: Float,
    trace_mm: Float,
    wall: Float,
    volume: Float,
) -> None:
    for f in range(len(first)):
        i, j, s = first[f], second[f], side[f]
        share, length = 0.0, 0.0
        if row[i] >= 0:
            share, length = _share(row[i], s, index, corner_mm)
        elif not coarse[f] and row[j] >= 0:
            share, length = _share(row[j], s ^ 1, index, corner_mm)
        elif distance_mm[i] > 0.0:
            share = 1.0
        if share < _LEAST_OPEN:
            share = 0.0
        area = share * edge[i] * edge[i]
        open_mm2[f], trace_mm[f] = area, length * edge[i]
        sign = 1.0 if s % 2 == 1 else -1.0
        wall[i, s // 2] += sign * area
        wall[j, s // 2] -= sign * area
        volume[i] += 0.5 * area * edge[i]
        volume[j] += 0.5 * area * edge[j]


@njit(cache=True, nogil=True)
def _open_borders(
    border: Int,
    side: Side,
    edge: Float,
    row: Int,
    index: Int,
    distance_mm: Float,
    corner_mm: Float,
    border_mm2: Float,
    wall: Float,
    volume: Float,
) -> None:
    for f in range(len(border)):
        i, s = border[f], side[f]
        share = 1.0 if distance_mm[i] > 0.0 else 0.0
        if row[i] >= 0:
            share, _ = _share(row[i], s, index, corner_mm)
        if share < _LEAST_OPEN:
            share = 0.0
        area = share * edge[i] * edge[i]
        border_mm2[f] = area
        wall[i, s // 2] += (1.0 if s % 2 == 1 else -1.0) * area
        volume[i] += 0.5 * area * edge[i]
