"""A calm picture of a scan: dull plaster under a soft light, seen from far away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter, zoom

from pinseat.mesh.model import Float, Mesh
from pinseat.mesh.raster import HeightField, height_field, interpolate, view_axes
from pinseat.mesh.topology import neighbours, unit, vertex_normals

IVORY = (0.955, 0.915, 0.845)
"""Colour of the plaster in full light (sRGB, 0 to 1)."""
WARMTH = (0.90, 1.0, 1.14)
"""Powers of the light in red, green and blue: shadows are warm, as in plaster."""
DARKEST_HOLLOW = 0.35
"""Light left where no sky is seen."""
OVERSAMPLING = 2
"""Pixels computed a side for each pixel of the picture."""
MARGIN = 0.025
"""Empty border, as a share of the width."""
_SKY_WIDTH_PX = 500
_SKY_REACH_PX = (1, 2, 4, 7, 12, 20, 34)
_SKY_AZIMUTHS = 12


@dataclass(frozen=True, eq=False)
class Picture:
    """A shaded picture and the way from a point in space to its place on it.

    Attributes
    ----------
    rgb : (h, w, 3) uint8 array
    field : HeightField
        What is seen, :data:`OVERSAMPLING` pixels a side to one of the picture.
    """

    rgb: NDArray[np.uint8]
    field: HeightField

    @property
    def pixel_mm(self) -> float:
        """Side of a pixel of the picture."""
        return self.field.pixel_mm * OVERSAMPLING

    def to_pixel(self, points: Float) -> Float:
        """Places on the picture, pixels to the right and down from its upper left corner; shape (n, 2)."""
        at = self.field.to_pixel(points)
        return np.asarray((at[:, 1::-1] + 0.5) / OVERSAMPLING)

    def visible(self, points: Float, within_mm: float = 0.2) -> NDArray[np.bool_]:
        """Whether nothing stands before the points by more than `within_mm`; shape (n,)."""
        at = self.field.to_pixel(points)
        rows, columns = self.field.height.shape
        row, column = np.rint(at[:, 0]).astype(int), np.rint(at[:, 1]).astype(int)
        inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
        before = self.field.height[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)]
        return np.asarray(inside & ~(before > at[:, 2] + within_mm))


def shade(
    mesh: Mesh,
    direction: ArrayLike,
    *,
    up: ArrayLike | None = None,
    width_px: int = 1600,
    colours: NDArray[np.uint8] | None = None,
) -> Picture:
    """Picture of a mesh, orthographic, on white.

    Light falls from the upper left and softly from the right; a hollow is darker by the share of the sky
    that it does not see. Normals are averaged over neighbours, so that scanner noise does not sparkle.

    Parameters
    ----------
    mesh : Mesh
    direction : (3,) array
        Towards the eye.
    up : (3,) array, optional
        Towards the top of the picture.
    width_px : int
        Width of the picture; its height follows.
    colours : (n, 3) uint8 array, optional
        Colour of each vertex; ivory when left out.

    Returns
    -------
    Picture
    """
    axes = view_axes(direction, up)
    span_mm = max(float(np.ptp(mesh.vertices @ axes[0])), 1e-6)
    margin_mm = MARGIN * span_mm
    pixel_mm = (span_mm + 2.0 * margin_mm) / (width_px * OVERSAMPLING) * (1.0 + 1e-12)
    field = height_field(mesh, axes[2], pixel_mm, -axes[1], margin_mm)
    light = _light(_calm_normals(mesh) @ axes.T)
    paint = np.array([IVORY]) if colours is None else colours / 255.0
    lit = interpolate(mesh, field, paint * light[:, None] ** np.array(WARMTH))
    lit *= (DARKEST_HOLLOW + (1.0 - DARKEST_HOLLOW) * sky(field))[:, :, None]
    return Picture(_shrink(np.nan_to_num(lit, copy=False, nan=1.0)), field)


def sky(field: HeightField) -> NDArray[np.float32]:
    """How bright an even sky makes each pixel, from 0 to 1, by the share of it that stands free.

    In each of 12 azimuths the horizon is the steepest rise within reach; of the light of a sky that is dull
    towards its rim, a horizon of slope s lets 1 / (1 + s^2) through.

    Parameters
    ----------
    field : HeightField

    Returns
    -------
    (h, w) float32 array
    """
    step = max(round(max(field.height.shape) / _SKY_WIDTH_PX), 1)
    ground = float(np.nanmin(field.height, initial=np.inf)) if (field.face >= 0).any() else 0.0
    coarse = np.nan_to_num(field.height[::step, ::step], nan=ground)
    reach = max(_SKY_REACH_PX)
    wide = np.pad(coarse, reach, mode="edge")
    rows, columns = coarse.shape
    through = np.zeros_like(coarse)
    for azimuth in np.arange(_SKY_AZIMUTHS) * (2.0 * np.pi / _SKY_AZIMUTHS):
        slope = np.zeros_like(coarse)
        for far in _SKY_REACH_PX:
            down, right = round(far * np.sin(azimuth)), round(far * np.cos(azimuth))
            there = wide[reach + down : reach + down + rows, reach + right : reach + right + columns]
            run_mm = np.hypot(down, right) * step * field.pixel_mm
            np.maximum(slope, (there - coarse) / run_mm, out=slope)
        through += 1.0 / (1.0 + slope**2)
    share = gaussian_filter((through / _SKY_AZIMUTHS).astype(np.float32), 0.7)
    shape = field.height.shape
    fine = zoom(share, (shape[0] / rows, shape[1] / columns), order=1, grid_mode=True, mode="nearest")
    return np.asarray(np.clip(fine, 0.0, 1.0))


def _calm_normals(mesh: Mesh) -> Float:
    normals = vertex_normals(mesh)
    ring = neighbours(mesh)
    for _ in range(2):
        normals = unit(normals + ring @ normals)
    return normals


def _light(normals: Float) -> Float:
    """Light at normals given to the right, down, towards the eye; the back of the surface is lit dimly."""
    back = normals[:, 2] < 0.0
    facing = np.where(back[:, None], -normals, normals)
    key = np.clip(facing @ unit(np.array([[-0.50, -0.62, 0.75]]))[0] * 0.8 + 0.2, 0.0, 1.0)
    fill = np.clip(facing @ unit(np.array([[0.75, 0.10, 0.55]]))[0], 0.0, 1.0)
    rim = facing[:, 2] ** 0.5
    return np.asarray((0.30 + 0.56 * key + 0.14 * fill + 0.20 * rim) * np.where(back, 0.72, 1.0))


def _shrink(image: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Mean over blocks of pixels; a broken block at the lower edge is left off."""
    rows, columns = image.shape[0] // OVERSAMPLING, image.shape[1] // OVERSAMPLING
    whole = image[: rows * OVERSAMPLING, : columns * OVERSAMPLING]
    blocks = whole.reshape(rows, OVERSAMPLING, columns, OVERSAMPLING, 3).mean(axis=(1, 3))
    return np.rint(np.clip(blocks, 0.0, 1.0) * 255.0).astype(np.uint8)
