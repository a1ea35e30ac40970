"""Seen along a direction: which triangle comes first at each pixel, and how high it stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from pinseat.errors import ScanError
from pinseat.mesh.model import Float, Int, Mesh

MOST_PIXELS = 100_000_000
"""More pixels than any scan needs; a wrong unit is the usual reason to come here."""


@dataclass(frozen=True, eq=False)
class HeightField:
    """What an eye infinitely far away along `direction` sees of a mesh.

    Row 0 is the uppermost; the centre of pixel (0, 0) is at `origin` (in the plane through the world's
    origin). Heights are coordinates along `direction`, so a larger height is nearer to the eye.

    Attributes
    ----------
    height : (h, w) float64 array, mm
        NaN where there is nothing.
    face : (h, w) int32 array
        Index of the triangle seen, -1 where there is nothing.
    origin : (3,) float64 array, mm
    axes : (3, 3) float64 array
        Unit rows: to the right (next column), down (next row), towards the eye.
    pixel_mm : float
    """

    height: Float
    face: Int
    origin: Float
    axes: Float
    pixel_mm: float

    def to_world(self, rows: ArrayLike, columns: ArrayLike, heights: ArrayLike | None = None) -> Float:
        """Points of the mesh, mm, shape (n, 3), at whole or broken pixel numbers.

        Heights are taken from the nearest pixel where they are not given.
        """
        row, column = np.asarray(rows, float).ravel(), np.asarray(columns, float).ravel()
        if heights is None:
            high = self.height[np.rint(row).astype(int), np.rint(column).astype(int)]
        else:
            high = np.asarray(heights, float).ravel()
        plane = np.column_stack((column * self.pixel_mm, row * self.pixel_mm, high))
        return np.asarray(self.origin + plane @ self.axes)

    def to_pixel(self, points: Float) -> Float:
        """Row, column and height of points, shape (n, 3); whole numbers are pixel centres."""
        local = (np.asarray(points, float).reshape(-1, 3) - self.origin) @ self.axes.T
        return np.column_stack((local[:, 1] / self.pixel_mm, local[:, 0] / self.pixel_mm, local[:, 2]))


def height_field(
    mesh: Mesh, direction: ArrayLike, pixel_mm: float, up: ArrayLike | None = None, margin_mm: float = 0.0
) -> HeightField:
    """Height field of a mesh, from the triangles themselves (orthographic z-buffer).

    Parameters
    ----------
    mesh : Mesh
    direction : (3,) array
        Towards the eye; any length but zero.
    pixel_mm : float
        Side of a pixel.
    up : (3,) array, optional
        What lies towards row 0; the coordinate axis least along `direction` when left out.
    margin_mm : float
        Empty border on every side.

    Returns
    -------
    HeightField
        A pixel belongs to the triangle that its centre falls into; of two at the same height, to the first.

    Raises
    ------
    ScanError
        If the picture would have more than :data:`MOST_PIXELS` pixels.

    Examples
    --------
    >>> flat = Mesh(np.array([[0.0, 0, 5], [4, 0, 5], [0, 4, 5]]), np.array([[0, 1, 2]], np.int32))
    >>> field = height_field(flat, (0, 0, 1), 1.0)
    >>> float(np.nanmax(field.height)), int((field.face >= 0).sum())
    (5.0, 10)
    """
    axes = view_axes(direction, up)
    local = axes @ mesh.vertices.T
    low, high = local[:2].min(axis=1) - margin_mm, local[:2].max(axis=1) + margin_mm
    across = np.maximum(np.ceil((high - low) / pixel_mm), 1.0)
    if not across.prod() <= MOST_PIXELS:
        size = max(high - low)
        raise ScanError(
            "the scan is too large to be looked at in this detail",
            value=f"{size:.4g} mm wide at {pixel_mm:.4g} mm a pixel",
            do="check the unit of the scan",
        )
    width, rows = int(across[0]), int(across[1])
    corner = 0.5 * (low + high - across * pixel_mm) + 0.5 * pixel_mm
    local[:2] = (local[:2] - corner[:, None]) / pixel_mm
    height = np.full((rows, width), -np.inf)
    face = np.full((rows, width), -1, np.int32)
    _fill(local, np.require(mesh.faces, np.int32, ["C", "W"]), height, face)
    height[face < 0] = np.nan
    return HeightField(height, face, corner @ axes[:2], axes, pixel_mm)


def view_axes(direction: ArrayLike, up: ArrayLike | None = None) -> Float:
    """Unit rows: to the right, down, towards the eye; shape (3, 3).

    Parameters
    ----------
    direction : (3,) array
        Towards the eye.
    up : (3,) array, optional
        Need not be square to `direction`, but not along it.
    """
    eye = np.asarray(direction, float) / np.linalg.norm(direction)
    rough = np.eye(3)[np.argmin(np.abs(eye))] if up is None else np.asarray(up, float)
    right = np.cross(rough, eye)
    right /= np.linalg.norm(right)
    return np.array([right, np.cross(right, eye), eye])


def interpolate(mesh: Mesh, field: HeightField, values: Float) -> NDArray[np.float32]:
    """Values given at the vertices, at each pixel of a height field.

    Parameters
    ----------
    mesh : Mesh
        The mesh that the field was made from.
    field : HeightField
    values : (n, k) array

    Returns
    -------
    (h, w, k) float32 array
        NaN where there is nothing.
    """
    out = np.full((*field.face.shape, values.shape[1]), np.nan, np.float32)
    at = np.ascontiguousarray(field.to_pixel(mesh.vertices)[:, 1::-1])
    faces = np.require(mesh.faces, np.int32, ["C", "W"])
    _interpolate(at, faces, field.face, np.array(values, np.float64), out)
    return out


@njit(cache=True, nogil=True, fastmath=False)
def _fill(pixels: Float, faces: Int, height: Float, face: Int) -> None:
    """Write the highest triangle over each pixel centre; `pixels`: column, row, height of vertices."""
    rows, columns = height.shape
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = pixels[0, a], pixels[1, a], pixels[2, a]
        bx, by, bz = pixels[0, b], pixels[1, b], pixels[2, b]
        cx, cy, cz = pixels[0, c], pixels[1, c], pixels[2, c]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if abs(area) < 1e-12:
            continue
        left = max(int(np.ceil(min(ax, bx, cx))), 0)
        right = min(int(np.floor(max(ax, bx, cx))), columns - 1)
        top = max(int(np.ceil(min(ay, by, cy))), 0)
        bottom = min(int(np.floor(max(ay, by, cy))), rows - 1)
        for r in range(top, bottom + 1):
            for k in range(left, right + 1):
                wb = ((k - ax) * (cy - ay) - (r - ay) * (cx - ax)) / area
                wc = ((bx - ax) * (r - ay) - (by - ay) * (k - ax)) / area
                if wb < -1e-9 or wc < -1e-9 or wb + wc > 1.0 + 1e-9:
                    continue
                z = az + wb * (bz - az) + wc * (cz - az)
                if z > height[r, k]:
                    height[r, k] = z
                    face[r, k] = f


@njit(cache=True, nogil=True, fastmath=False)
def _interpolate(at: Float, faces: Int, face: Int, values: Float, out: NDArray[np.float32]) -> None:
    """Mix the corner values of the triangle at each pixel; `at` holds column and row of the vertices."""
    for r in range(face.shape[0]):
        for k in range(face.shape[1]):
            f = face[r, k]
            if f < 0:
                continue
            a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
            ux, uy = at[b, 0] - at[a, 0], at[b, 1] - at[a, 1]
            vx, vy = at[c, 0] - at[a, 0], at[c, 1] - at[a, 1]
            x, y = k - at[a, 0], r - at[a, 1]
            area = ux * vy - uy * vx
            wb = (x * vy - y * vx) / area
            wc = (ux * y - uy * x) / area
            for i in range(values.shape[1]):
                out[r, k, i] = values[a, i] * (1.0 - wb - wc) + values[b, i] * wb + values[c, i] * wc
