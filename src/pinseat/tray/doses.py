"""Doses: what to mix for the gap, what the tray weighs, where adhesive goes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import face_areas
from pinseat.reference import value
from pinseat.tray.border import Border
from pinseat.tray.cast import Cast
from pinseat.tray.distance import Field, Grid
from pinseat.tray.model import Asked, Doses
from pinseat.tray.proof import Sides
from pinseat.tray.stops import Prepared

Float = NDArray[np.float64]


def doses_of(
    mesh: Mesh,
    sides: Sides,
    cast: Cast,
    grid: Grid,
    inside: Field,
    border: Border,
    prepared: Prepared,
    asked: Asked,
) -> Doses:
    """Volume of the gap round the prepared teeth and elsewhere, of the body, and the area for adhesive.

    The gap is what lies inside the tray, above the border and above the blocked-out cast: counted on the
    grid, each node with the part of its cell that belongs to it (a node within half a step of the tray counts
    in part). The body's volume is that of its mesh.

    Parameters
    ----------
    mesh : Mesh
        Finished tray.
    sides : Sides
    cast : Cast
    grid : Grid
    inside : array
    border : Border
    prepared : Prepared
    asked : Asked
    """
    step = grid.step_mm
    part = np.clip(0.5 - inside / np.float32(step), 0.0, 1.0)
    z = grid.nodes(2).astype(np.float32)
    x, y = np.meshgrid(grid.nodes(0), grid.nodes(1), indexing="ij")
    floor = np.maximum(border.height, _cast_height(cast, x, y)).astype(np.float32)
    part *= np.clip(0.5 + (z - floor[:, :, None]) / np.float32(step), 0.0, 1.0)
    column = part.sum(axis=2, dtype=np.float64) * step**3
    at = np.stack((x, y), axis=-1)
    light = np.zeros(x.shape, bool)
    for place, reach in zip(prepared.places[: prepared.whole], prepared.reach_mm, strict=False):
        light |= np.linalg.norm(at - place[:2], axis=-1) < reach + asked.relief_mm
    corners = mesh.vertices[mesh.faces]
    volume = float(np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0)
    return Doses(
        tray_cm3=1e-3 * volume,
        tray_g=1e-3 * volume * value("tray.resin.density_g_cm3").value,
        light_cm3=1e-3 * float(column[light].sum()),
        heavy_cm3=1e-3 * float(column[~light].sum()),
        waste_share=asked.waste_share,
        adhesive_cm2=1e-2 * _painted_mm2(mesh, grid, inside, border, asked),
    )


def _cast_height(cast: Cast, x: Float, y: Float) -> Float:
    at = cast.top.to_pixel(np.column_stack((x.ravel(), y.ravel(), np.zeros(x.size))))
    row, column = np.rint(at[:, 0]).astype(int), np.rint(at[:, 1]).astype(int)
    rows, columns = cast.top.height.shape
    on = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    out = np.full(x.size, -np.inf)
    out[on] = np.nan_to_num(cast.top.height[row[on], column[on]], nan=-np.inf)
    return out.reshape(x.shape)


def _painted_mm2(mesh: Mesh, grid: Grid, inside: Field, border: Border, asked: Asked) -> float:
    """The inside, and the outside up to a stated distance above the border."""
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    at = grid.cells(middle).T
    where = map_coordinates(inside, at, order=1, mode="nearest")
    above = middle[:, 2] - map_coordinates(border.height, at[:2], order=1, mode="nearest")
    over = value("tray.adhesive_past_border_mm").value
    painted = (where < 0.5 * asked.wall_mm) | (above < over)
    return float(face_areas(mesh)[painted].sum())
