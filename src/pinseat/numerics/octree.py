"""A box cut into cubes, eight by eight, fine where it is asked for.

Cells are held in Morton order (Morton 1966): each covers one stretch of the curve, so the cell at any place
is found by one binary search, whatever its size. Neighbours that share a face differ by at most one halving.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

Float = NDArray[np.float64]
Int = NDArray[np.int64]
Bool = NDArray[np.bool_]
Side = NDArray[np.int8]
Refine = Callable[[Float, float], Bool]
"""Given centres (n, 3) and the edge of cells, whether each is to be cut in eight."""

MOST_CELLS = 20_000_000
"""More than any case needs; a wrong unit is the usual reason to come here."""
_SIDES = np.array([[-1, 0, 0], [1, 0, 0], [0, -1, 0], [0, 1, 0], [0, 0, -1], [0, 0, 1]], np.int64)


@dataclass(frozen=True, eq=False)
class Octree:
    """Cells of an octree.

    Attributes
    ----------
    low : (3,) array
        Corner of the box, mm.
    step_mm : float
        Edge of the smallest possible cell: places are counted in it.
    size : (3,) int array
        Of the box, in steps.
    corner : (n, 3) int64 array
        Lower corner of each cell, in steps.
    width : (n,) int64 array
        Edge of each cell, in steps: a power of two.
    code : (n,) int64 array
        Morton code of the corner; increasing.
    """

    low: Float
    step_mm: float
    size: Int
    corner: Int
    width: Int
    code: Int

    @property
    def edge_mm(self) -> Float:
        """Edge of each cell."""
        return np.asarray(self.width * self.step_mm)

    @property
    def centre(self) -> Float:
        """Centre of each cell, mm, shape (n, 3)."""
        return np.asarray(self.low + (self.corner + 0.5 * self.width[:, None]) * self.step_mm)


@dataclass(frozen=True, eq=False)
class Faces:
    """What lies between cells, and between cells and the borders of the box.

    Attributes
    ----------
    first, second : (f,) int64 arrays
        Cells on either side. `first` is never the larger one.
    side : (f,) int8 array
        Which side of `first` the face is: 0 to 5 for -x, +x, -y, +y, -z, +z.
    coarse : (f,) bool array
        Whether `second` is twice as wide: then the face is a quarter of its side.
    border : (b,) int64 array
        Cells at a border of the box, once for each border.
    border_side : (b,) int8 array
    """

    first: Int
    second: Int
    side: Side
    coarse: Bool
    border: Int
    border_side: Side


def grow(low: Float, high: Float, largest_mm: float, halvings: int, refine: Refine) -> Octree:
    """Cut a box into cells.

    Parameters
    ----------
    low, high : (3,) arrays, mm
        Corners of the box; the high one moves out to a whole number of largest cells.
    largest_mm : float
    halvings : int
        How often the largest cell may be halved.
    refine : callable
        Asked level by level, of cells that have not been cut.

    Returns
    -------
    Octree

    Raises
    ------
    ValueError
        If there would be more than :data:`MOST_CELLS`.

    Examples
    --------
    >>> tree = grow(np.zeros(3), np.ones(3), 1.0, 2, lambda p, h: p[:, 0] < 0.6)
    >>> tree.width.tolist().count(1), len(tree.width)
    (32, 36)
    """
    low = np.asarray(low, float)
    shape = np.maximum(np.ceil((np.asarray(high, float) - low) / largest_mm - 1e-6), 1.0).astype(np.int64)
    if shape.prod() > MOST_CELLS:
        raise ValueError(f"more than {MOST_CELLS:,} cells")
    cut = _cut_cells(low, shape, largest_mm, halvings, refine)
    corners, widths = [], []
    nodes = _grid(shape)
    for level, chosen in enumerate([*cut, np.empty(0, np.int64)]):
        keys = _key(nodes, shape << level)
        leaf = ~np.isin(keys, chosen)
        corners.append(nodes[leaf] << (halvings - level))
        widths.append(np.full(int(leaf.sum()), 1 << (halvings - level), np.int64))
        nodes = _children(nodes[~leaf])
    corner, width = np.concatenate(corners), np.concatenate(widths)
    code = _morton(corner)
    order = np.argsort(code, kind="stable")
    return Octree(
        low,
        largest_mm / (1 << halvings),
        shape << halvings,
        np.ascontiguousarray(corner[order]),
        width[order],
        code[order],
    )


def faces(tree: Octree) -> Faces:
    """Find what lies between the cells.

    Parameters
    ----------
    tree : Octree

    Returns
    -------
    Faces

    Examples
    --------
    >>> two = grow(np.zeros(3), np.array([2.0, 1.0, 1.0]), 1.0, 1, lambda p, h: p[:, 0] < 1.0)
    >>> found = faces(two)
    >>> len(found.first), int(found.coarse.sum()), len(found.border)
    (16, 4, 25)
    """
    size = 6 * len(tree.width)
    first, second = np.empty(size, np.int64), np.empty(size, np.int64)
    side, kind = np.empty(size, np.int8), np.empty(size, np.int8)
    count = _find_faces(tree.corner, tree.width, tree.code, tree.size, first, second, side, kind)
    first, second, side, kind = first[:count], second[:count], side[:count], kind[:count]
    inner = kind < 2
    return Faces(first[inner], second[inner], side[inner], kind[inner] == 1, first[~inner], side[~inner])


def _cut_cells(low: Float, shape: Int, largest_mm: float, halvings: int, refine: Refine) -> list[Int]:
    """Keys of the cells to be cut on each level, so that neighbours differ by one halving at most."""
    cut, nodes, total = [], _grid(shape), 0
    for level in range(halvings):
        edge = largest_mm / (1 << level)
        wanted = np.asarray(refine(low + (nodes + 0.5) * edge, edge), bool)
        cut.append(nodes[wanted])
        total += 8 * len(cut[-1])
        if total > MOST_CELLS:
            raise ValueError(f"more than {MOST_CELLS:,} cells")
        nodes = _children(cut[-1])
    keys = [np.empty(0, np.int64)] * halvings
    finer = np.empty((0, 3), np.int64)
    for level in reversed(range(halvings)):
        chosen = np.unique(_key(np.concatenate((cut[level], finer)), shape << level))
        keys[level] = chosen
        own = _place(chosen, shape << level)
        around = np.concatenate([own, *(own + side for side in _SIDES)])
        inside = ((around >= 0) & (around < (shape << level))).all(axis=1)
        finer = np.unique(around[inside] >> 1, axis=0) if level else around
    return keys


def _grid(shape: Int) -> Int:
    return np.stack(np.meshgrid(*(np.arange(n) for n in shape), indexing="ij"), axis=-1).reshape(-1, 3)


def _children(nodes: Int) -> Int:
    offsets = _grid(np.array([2, 2, 2]))
    return np.asarray((2 * nodes[:, None, :] + offsets).reshape(-1, 3))


def _key(nodes: Int, size: Int) -> Int:
    return np.asarray((nodes[:, 0] * size[1] + nodes[:, 1]) * size[2] + nodes[:, 2])


def _place(key: Int, size: Int) -> Int:
    rest, z = np.divmod(key, size[2])
    return np.column_stack((*np.divmod(rest, size[1]), z))


@njit(cache=True, nogil=True)
def _spread(value: int) -> int:
    """The bits of a whole number below 2^21, two zeros between each."""
    x = value & 0x1FFFFF
    x = (x | (x << 32)) & 0x1F00000000FFFF
    x = (x | (x << 16)) & 0x1F0000FF0000FF
    x = (x | (x << 8)) & 0x100F00F00F00F00F
    x = (x | (x << 4)) & 0x10C30C30C30C30C3
    return (x | (x << 2)) & 0x1249249249249249


@njit(cache=True, nogil=True)
def _morton(corner: Int) -> Int:
    code = np.empty(len(corner), np.int64)
    for i in range(len(corner)):
        code[i] = (_spread(corner[i, 0]) << 2) | (_spread(corner[i, 1]) << 1) | _spread(corner[i, 2])
    return code


@njit(cache=True, nogil=True)
def _find_faces(
    corner: Int, width: Int, code: Int, size: Int, first: Int, second: Int, side: Side, kind: Side
) -> int:
    """Fill the faces: kind 0 between equals, 1 towards a cell twice as wide, 2 at a border."""
    count = 0
    for i in range(len(width)):
        for s in range(6):
            axis, up = s // 2, s % 2
            x, y, z = corner[i, 0], corner[i, 1], corner[i, 2]
            shift = width[i] if up == 1 else -1
            if axis == 0:
                x += shift
            elif axis == 1:
                y += shift
            else:
                z += shift
            place = (x, y, z)[axis]
            if place < 0 or place >= size[axis]:
                first[count], second[count], side[count], kind[count] = i, -1, s, 2
                count += 1
                continue
            at = (_spread(x) << 2) | (_spread(y) << 1) | _spread(z)
            j = np.searchsorted(code, at, side="right") - 1
            if width[j] < width[i] or (width[j] == width[i] and up == 0):
                continue
            first[count], second[count], side[count] = i, j, s
            kind[count] = 0 if width[j] == width[i] else 1
            count += 1
    return count
