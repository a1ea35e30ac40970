"""Block-out: how deep the undercuts are that the tray passes over, and how much they hold."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pinseat.mesh.model import Mesh
from pinseat.mesh.raster import HeightField
from pinseat.mesh.topology import face_vectors
from pinseat.tray.cast import Cast

Float = NDArray[np.float64]

_DIRECTIONS = 16
_STEP_MM, _FARTHEST_MM = 0.05, 5.0
_UNDER_MM = 0.10
"""A point so little below what is seen from above is not in an undercut."""


def depth_mm(cast: Cast) -> Float:
    """How far into the shade each vertex lies, across the draw, mm; 0 where it is free.

    From each vertex in the shade the way out is the shortest of 16 straight ways across the draw, in steps of
    0.05 mm, to where nothing stands above its height.

    Returns
    -------
    (n,) float64 array
        At most 5 mm.
    """
    v = cast.mesh.vertices
    at = cast.top.to_pixel(v)
    height = np.nan_to_num(cast.top.height, nan=-1e9)
    shaded = _above(height, at) > at[:, 2] + _UNDER_MM
    used = np.zeros(len(v), bool)
    used[cast.mesh.faces[cast.bare]] = True
    where = np.flatnonzero(shaded & used)
    out = np.zeros(len(v))
    out[where] = _way_out(height, at[where], cast.top.pixel_mm)
    return out


def _above(height: Float, at: Float) -> Float:
    row = np.clip(np.rint(at[:, 0]).astype(int), 0, height.shape[0] - 1)
    column = np.clip(np.rint(at[:, 1]).astype(int), 0, height.shape[1] - 1)
    return np.asarray(height[row, column])


def volume_mm3(cast: Cast, floor: Float) -> float:
    """Volume of the undercuts above a border, mm3.

    What the blocked-out cast holds above the border, less what the cast itself holds: the sum over all
    triangles of their area seen along the draw (negative where they look down) times their height above the
    border.

    Parameters
    ----------
    cast : Cast
    floor : (h, w) array, mm
        Height of the border over each pixel of the cast's height field.
    """
    top = cast.top
    blocked = np.nansum(np.clip(top.height - floor, 0.0, None)) * top.pixel_mm**2
    bare = Mesh(cast.mesh.vertices, cast.mesh.faces[cast.bare])
    middle = bare.vertices[bare.faces].mean(axis=1)
    under = _above(floor, top.to_pixel(middle))
    own = float(np.sum(face_vectors(bare)[:, 2] * np.clip(middle[:, 2] - under, 0.0, None)))
    return max(float(blocked) - own, 0.0)


@njit(cache=True, nogil=True)
def _way_out(height, at, pixel_mm):  # type: ignore[no-untyped-def]
    rows, columns = height.shape
    out = np.empty(len(at))
    for n in range(len(at)):
        best = _FARTHEST_MM
        for turn in range(_DIRECTIONS):
            angle = 2.0 * np.pi * turn / _DIRECTIONS
            dr, dc = np.sin(angle) / pixel_mm, np.cos(angle) / pixel_mm
            far = _STEP_MM
            while far < best:
                row, column = round(at[n, 0] + far * dr), round(at[n, 1] + far * dc)
                if row < 0 or column < 0 or row >= rows or column >= columns:
                    best = far
                    break
                if height[row, column] <= at[n, 2]:
                    best = far
                    break
                far += _STEP_MM
        out[n] = best
    return out


def border_over(top: HeightField, low: Float, step_mm: float, border: Float) -> Float:
    """A border given over a grid's columns, over the pixels of a height field instead."""
    rows, columns = top.height.shape
    row, column = np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij")
    xyz = top.to_world(row.ravel(), column.ravel(), np.zeros(rows * columns))
    at = np.rint((xyz[:, :2] - low[:2]) / step_mm).astype(int)
    at = np.clip(at, 0, np.array(border.shape) - 1)
    return np.asarray(border[at[:, 0], at[:, 1]].reshape(rows, columns))
