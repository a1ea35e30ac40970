"""The body of the tray: shell, pockets, stops and border as operations on fields, then one isosurface."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from skimage.measure import marching_cubes

from pinseat.mesh.model import Mesh
from pinseat.tray.cast import Cast
from pinseat.tray.distance import Field, Grid, plumb_distance
from pinseat.tray.pocket import Pocket
from pinseat.tray.stops import Stop

Float = NDArray[np.float64]

POCKET_BLEND_MM = 0.5
"""Width over which the inside passes from the general relief into a pin's pocket."""
FILLET_MM = 0.8
"""Round between a stop and the inside of the tray."""
CREASE_MM = 0.5
"""Standard deviation of the weights that calm the outside: a crease of 60 deg is rounded to 1.2 mm."""
RIM_ROUND_MM = 1.6
"""Width over which the border is rounded: 0.4 mm off each edge."""
OFF_NODE_MM = np.float32(0.002)
"""The surface keeps so far off the nodes of the grid: corners closer together would be one in a file."""
_SEATED_MM = 0.06
STOP_LIFT_MM = 0.004
"""What a stop is made short, so that rounding does not press it into the tooth."""


@dataclass(frozen=True, eq=False)
class Wanted:
    """Measures of a tray, mm.

    Attributes
    ----------
    relief_mm, pin_relief_mm : float
        Room over the teeth, and round what the pins can reach.
    wall_mm : float
    dome_mm : float
        Radius of a stop.
    """

    relief_mm: float
    pin_relief_mm: float
    wall_mm: float
    dome_mm: float


def inside_field(grid: Grid, cast: Cast, pockets: Sequence[Pocket], wanted: Wanted) -> Field:
    """Distance from the inside of the tray, mm: negative in the room for the rubber, positive in the wall.

    Parameters
    ----------
    grid : Grid
    cast : Cast
    pockets : sequence of Pocket
    wanted : Wanted

    Returns
    -------
    (nx, ny, nz) float32 array
        Trustworthy from half the relief inward to a little more than the wall outward.
    """
    reach = wanted.relief_mm + wanted.wall_mm + max(3.0 * grid.step_mm, 2.0 * CREASE_MM)
    field = plumb_distance(grid, cast.points, reach)
    field -= np.float32(wanted.relief_mm)
    for pocket in pockets:
        spread = pocket.radius_mm + pocket.sweep_mm + wanted.pin_relief_mm + wanted.wall_mm + 1.0
        tip = pocket.foot + pocket.length_mm * pocket.axis
        low, high = np.minimum(pocket.foot, tip) - spread, np.maximum(pocket.foot, tip) + spread
        box = _box(grid, low * [1, 1, 0] + [0, 0, grid.low[2]], high)
        part = field[box]
        nodes = _nodes(grid, box)
        columns = nodes[:: part.shape[2], :2]
        least = pocket.beside(columns).reshape(*part.shape[:2], 1) - wanted.pin_relief_mm
        open_ = (part > -wanted.relief_mm + grid.step_mm) & (least < part + POCKET_BLEND_MM)
        room = pocket.swept(nodes[open_.ravel()]) - wanted.pin_relief_mm
        part[open_] = _smooth_min(part[open_], room.astype(np.float32), POCKET_BLEND_MM)
    return field


def body_field(
    grid: Grid,
    inside: Field,
    border: Float,
    stops: Sequence[Stop],
    pockets: Sequence[Pocket],
    wanted: Wanted,
) -> Field:
    """Negative in the body of the tray, mm.

    Parameters
    ----------
    grid : Grid
    inside : array
        Of :func:`inside_field`.
    border : (nx, ny) array, mm
        The tray is kept above it.
    stops : sequence of Stop
    pockets : sequence of Pocket
        The round at the foot of a stop takes nothing of their room.
    wanted : Wanted
    """
    body = gaussian_filter(inside, CREASE_MM / grid.step_mm, mode="nearest", truncate=2.5)
    _shell(inside, np.float32(wanted.wall_mm), body)
    for stop in stops:
        top = stop.centre + np.array([0.0, 0.0, 2.0 * wanted.relief_mm + wanted.wall_mm])
        spread = wanted.dome_mm + FILLET_MM + grid.step_mm
        box = _box(grid, stop.centre - spread, top + spread)
        p = _nodes(grid, box) - stop.centre
        up = np.clip(p[:, 2], 0.0, top[2] - stop.centre[2])
        peg = np.sqrt(p[:, 0] ** 2 + p[:, 1] ** 2 + (p[:, 2] - up) ** 2) - wanted.dome_mm + STOP_LIFT_MM
        peg = np.maximum(peg.reshape(body[box].shape), inside[box] - 0.5 * wanted.wall_mm)
        body[box] = _smooth_min(body[box], peg.astype(np.float32), FILLET_MM)
        for pocket in pockets:
            if float(pocket.beside(stop.centre[:2])[0]) < wanted.pin_relief_mm + 1.5 * spread:
                room = wanted.pin_relief_mm - pocket.swept(p + stop.centre)
                np.maximum(body[box], room.reshape(peg.shape), out=body[box], casting="same_kind")
    _trim(body, border, grid.nodes(2), np.float32(RIM_ROUND_MM))
    return body


def surface(grid: Grid, body: Field) -> Mesh:
    """The zero surface of a field as a closed mesh in the frame, its largest part.

    Parameters
    ----------
    grid : Grid
    body : array
        Made positive all round the border of the grid, and kept off zero.
    """
    for axis in range(3):
        ends = [slice(None)] * 3
        for end in (0, -1):
            ends[axis] = end  # type: ignore[call-overload]
            np.maximum(body[tuple(ends)], np.float32(0.01), out=body[tuple(ends)])
    _steer(body)
    vertices, faces, _, _ = marching_cubes(body, 0.0, allow_degenerate=False)
    return Mesh(
        grid.low + grid.step_mm * vertices.astype(np.float64),
        np.ascontiguousarray(faces.astype(np.int32)),
    )


def seated(mesh: Mesh, stops: Sequence[Stop], dome_mm: float) -> Mesh:
    """The mesh with the corners of each stop's end put where the dome is, radially; they were beside it by
    what a straight line between nodes is off a ball.
    """
    vertices = mesh.vertices.copy()
    for stop in stops:
        off = vertices - stop.centre
        far = np.linalg.norm(off, axis=1)
        on = (np.abs(far - dome_mm) < _SEATED_MM) & (off[:, 2] < 0.0)
        vertices[on] = stop.centre + off[on] * ((dome_mm - STOP_LIFT_MM) / far[on])[:, None]
    return Mesh(vertices, mesh.faces)


def _box(grid: Grid, low: Float, high: Float) -> tuple[slice, slice, slice]:
    first = np.maximum(np.floor((low - grid.low) / grid.step_mm).astype(int), 0)
    last = np.minimum(np.ceil((high - grid.low) / grid.step_mm).astype(int) + 1, grid.shape)
    a, b, c = (slice(int(f), int(max(n, f))) for f, n in zip(first, last, strict=True))
    return a, b, c


def _nodes(grid: Grid, box: tuple[slice, slice, slice]) -> Float:
    ticks = [grid.nodes(axis)[part] for axis, part in enumerate(box)]
    return np.stack(np.meshgrid(*ticks, indexing="ij"), axis=-1).reshape(-1, 3)


def _smooth_min(a: Field, b: Field, width: float) -> Field:
    """The smaller of two fields, rounded where they are within `width`: never larger than either."""
    k = np.float32(width)
    blend = np.clip(k - np.abs(a - b), 0.0, None)
    return np.asarray(np.minimum(a, b) - blend * blend / (4.0 * k), np.float32)


@njit(cache=True, nogil=True)
def _shell(inside, wall, calm):  # type: ignore[no-untyped-def]
    """Negative between the inside and a wall farther out, in place of the calmed inside field.

    Where two sides of the outside meet over a gap, their distance has a ridge; calmed it is lower there, and
    the crease is filled. On a bulge it is higher, and the distance itself counts.
    """
    for i in range(inside.shape[0]):
        for j in range(inside.shape[1]):
            for k in range(inside.shape[2]):
                out = min(inside[i, j, k], calm[i, j, k]) - wall
                calm[i, j, k] = max(-inside[i, j, k], out)


@njit(cache=True, nogil=True)
def _trim(body, border, z, width):  # type: ignore[no-untyped-def]
    """Take away what lies below the border, in place: the larger of two fields, rounded as above."""
    for i in range(body.shape[0]):
        for j in range(body.shape[1]):
            for k in range(body.shape[2]):
                a, b = body[i, j, k], np.float32(border[i, j] - z[k])
                blend = max(width - abs(a - b), np.float32(0.0))
                body[i, j, k] = max(a, b) + blend * blend / (np.float32(4.0) * width)


@njit(cache=True, nogil=True)
def _steer(body):  # type: ignore[no-untyped-def]
    """Keep a field off zero, in place."""
    for i in range(body.shape[0]):
        for j in range(body.shape[1]):
            for k in range(body.shape[2]):
                if abs(body[i, j, k]) < OFF_NODE_MM:
                    body[i, j, k] = OFF_NODE_MM if body[i, j, k] >= 0.0 else -OFF_NODE_MM
