"""How far each place of a grid is from a surface and from everything under it: a feature transform.

What lies under the surface, along the draw, counts as filled: a place beside a tooth, below its widest line,
is as far away as the plumb line that hangs from there. So the distance to a point q of the surface is that to
the half-line below it, ``D² = dx² + dy² + max(0, z - q_z)²``, and the least over all points is the distance
to the blocked-out cast. No fill has to be built.

Each place of the grid keeps which point is nearest; neighbours hand theirs on: column after column from each
of the four corners of the plan, and in each column up and down (Danielsson). The distance itself is always
that to the point, not to its cell. Places well inside, and those too high over everything about them to be
within reach, are passed over.

References
----------
P.-E. Danielsson, Euclidean distance mapping, Computer Graphics and Image Processing 14 (1980) 227, from
memory.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter, minimum_filter

from pinseat.errors import TrayError

Float = NDArray[np.float64]
Field = NDArray[np.float32]
Count = NDArray[np.int32]

SLABS = 2
"""Pieces that the grid is worked on in at the same time; fixed, so that the answer is."""
MOST_CELLS = 40_000_000
"""A finer grid would not fit a bench machine."""


@dataclass(frozen=True, eq=False)
class Grid:
    """A regular grid in the frame of the tray.

    Attributes
    ----------
    low : (3,) array, mm
        Its first node.
    shape : (nx, ny, nz)
    step_mm : float
    """

    low: Float
    shape: tuple[int, int, int]
    step_mm: float

    def nodes(self, axis: int) -> Float:
        """Coordinates of the nodes along an axis, mm."""
        return np.asarray(self.low[axis] + self.step_mm * np.arange(self.shape[axis]))

    def cells(self, points: Float) -> Float:
        """Points in steps of the grid from its first node; shape (n, 3)."""
        return np.asarray((points - self.low) / self.step_mm)


def grid_round(low: Float, high: Float, step_mm: float) -> Grid:
    """The grid that covers a box.

    Parameters
    ----------
    low, high : (3,) array, mm
    step_mm : float

    Returns
    -------
    Grid

    Raises
    ------
    TrayError
        If it would have more than :data:`MOST_CELLS` nodes.
    """
    number = np.ceil((high - low) / step_mm).astype(int) + 1
    if number.prod() > MOST_CELLS:
        raise TrayError(
            "the grid is too fine for this scan",
            where="tray.grid_mm",
            value=f"{step_mm:g} mm on {' x '.join(f'{x:.0f}' for x in high - low)} mm",
            limit=f"{MOST_CELLS / 1e6:.0f} million nodes",
            do="state a coarser grid_mm",
        )
    return Grid(np.asarray(low, float), (int(number[0]), int(number[1]), int(number[2])), step_mm)


def plumb_distance(grid: Grid, points: Float, reach_mm: float) -> Field:
    """Distance of each node from points and from the half-lines below them.

    Parameters
    ----------
    grid : Grid
    points : (n, 3) array, mm
        Of the surface, in the frame; close enough that gaps between them do not matter.
    reach_mm : float
        Farther nodes get `reach_mm`.

    Returns
    -------
    (nx, ny, nz) float32 array, mm
        Nothing but small values inside: only what stands clear of the surface means anything.

    Examples
    --------
    >>> grid = grid_round(np.zeros(3), np.array([4.0, 4.0, 4.0]), 1.0)
    >>> far = plumb_distance(grid, np.array([[1.0, 1.0, 2.0]]), 9.0)
    >>> float(far[1, 1, 4]), float(far[4, 1, 0]), float(far[4, 1, 2])
    (2.0, 3.0, 3.0)
    """
    at = np.ascontiguousarray(grid.cells(points), np.float32)
    reach = reach_mm / grid.step_mm
    floor, ceiling = _spans(at, grid.shape, reach)
    out = np.empty(grid.shape, np.float32)
    halo = int(np.ceil(reach)) + 1
    parts = np.linspace(0, grid.shape[0], SLABS + 1).astype(int)

    def run(first: int, last: int) -> None:
        """One slab with as much beside it as can matter: what comes out is the same as in one piece."""
        low, high = max(first - halo, 0), min(last + halo, grid.shape[0])
        shape = (high - low, *grid.shape[1:])
        nearest = np.full(shape, -1, np.int32)
        square = np.full(shape, reach**2, np.float32)
        spans = floor[low:high], ceiling[low:high]
        _seed(at, low, *spans, nearest, square)
        _hand_on(at, low, *spans, nearest, square)
        _ask_around(at, low, *spans, nearest, square)
        out[first:last] = square[first - low : last - low]

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(run, parts[:-1].tolist(), parts[1:].tolist()))
    np.sqrt(out, out=out)
    out *= np.float32(grid.step_mm)
    return out


def _spans(at: Field, shape: tuple[int, int, int], reach: float) -> tuple[Count, Count]:
    """In each column the first node that is not well inside, and the first one that is out of reach."""
    column = np.rint(at[:, :2]).astype(np.int64)
    inside = (column >= 0).all(axis=1) & (column < shape[:2]).all(axis=1)
    top = np.full(shape[:2], -np.inf, np.float32)
    np.maximum.at(top, (column[inside, 0], column[inside, 1]), at[inside, 2])
    low = minimum_filter(top, size=3, mode="constant", cval=-np.inf) - 1.0
    high = maximum_filter(top, size=2 * int(np.ceil(reach)) + 3, mode="constant", cval=-np.inf) + reach + 1.0
    floor = np.ceil(np.clip(low, 0.0, shape[2])).astype(np.int32)
    return floor, np.maximum(np.ceil(np.clip(high, 0.0, shape[2])).astype(np.int32), floor)


@njit(cache=True, nogil=True, inline="always")
def _square(at, q, x, y, z):  # type: ignore[no-untyped-def]
    dx, dy, dz = x - at[q, 0], y - at[q, 1], z - at[q, 2]
    far = dx * dx + dy * dy
    if dz > 0.0:
        far += dz * dz
    return far


@njit(cache=True, nogil=True)
def _seed(at, first, floor, ceiling, nearest, square):  # type: ignore[no-untyped-def]
    nx, ny, nz = nearest.shape
    for i in range(nx):
        for j in range(ny):
            square[i, j, : floor[i, j]] = 0.0
    for q in range(at.shape[0]):
        i0, j0, k0 = int(np.floor(at[q, 0])) - first, int(np.floor(at[q, 1])), int(np.floor(at[q, 2]))
        for i in range(max(i0, 0), min(i0 + 2, nx)):
            for j in range(max(j0, 0), min(j0 + 2, ny)):
                for k in range(max(k0, floor[i, j]), min(max(k0, 0) + 2, nz)):
                    far = np.float32(_square(at, q, i + first, j, k))
                    if far < square[i, j, k]:
                        square[i, j, k] = far
                        nearest[i, j, k] = q


@njit(cache=True, nogil=True)
def _hand_on(at, first, floor, ceiling, nearest, square):  # type: ignore[no-untyped-def]
    """Four passes, one from each corner of the plan; each place asks the two columns it was reached from and
    the place below, then the place above.
    """
    nx, ny, _ = nearest.shape
    for turn in range(4):
        di = 1 if turn & 1 else -1
        dj = 1 if turn & 2 else -1
        for a in range(nx):
            i = a if di < 0 else nx - 1 - a
            has_i = 0 <= i + di < nx
            for b in range(ny):
                j = b if dj < 0 else ny - 1 - b
                has_j = 0 <= j + dj < ny
                before = -1
                for k in range(floor[i, j], ceiling[i, j]):
                    best, kept = square[i, j, k], nearest[i, j, k]
                    found = kept
                    if before >= 0 and before != kept:
                        far = np.float32(_square(at, before, i + first, j, k))
                        if far < best:
                            best, found = far, before
                    if has_j:
                        q = nearest[i, j + dj, k]
                        if q >= 0 and q != found:
                            far = np.float32(_square(at, q, i + first, j, k))
                            if far < best:
                                best, found = far, q
                    if has_i:
                        q = nearest[i + di, j, k]
                        if q >= 0 and q != found:
                            far = np.float32(_square(at, q, i + first, j, k))
                            if far < best:
                                best, found = far, q
                    if found != kept:
                        square[i, j, k], nearest[i, j, k] = best, found
                    before = found
                for k in range(ceiling[i, j] - 2, floor[i, j] - 1, -1):
                    kept = nearest[i, j, k]
                    if before >= 0 and before != kept:
                        far = np.float32(_square(at, before, i + first, j, k))
                        if far < square[i, j, k]:
                            square[i, j, k], nearest[i, j, k] = far, before
                            kept = before
                    before = kept


@njit(cache=True, nogil=True)
def _ask_around(at, first, floor, ceiling, nearest, square):  # type: ignore[no-untyped-def]
    """Each place asks all 26 round it once: the passes along the axes miss some."""
    nx, ny, nz = nearest.shape
    for i in range(nx):
        for j in range(ny):
            for k in range(floor[i, j], ceiling[i, j]):
                best, found = square[i, j, k], nearest[i, j, k]
                if found < 0:
                    continue
                for ii in range(max(i - 1, 0), min(i + 2, nx)):
                    for jj in range(max(j - 1, 0), min(j + 2, ny)):
                        for kk in range(max(k - 1, 0), min(k + 2, nz)):
                            q = nearest[ii, jj, kk]
                            if q >= 0 and q != found:
                                far = np.float32(_square(at, q, i + first, j, k))
                                if far < best:
                                    best, found = far, q
                square[i, j, k], nearest[i, j, k] = best, found
