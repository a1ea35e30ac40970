"""Holes through the wall that hold the rubber, clear of stops, pins, border and handle."""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import vertex_normals
from pinseat.tray.body import Wanted
from pinseat.tray.distance import Field, Grid
from pinseat.tray.handle import Seat
from pinseat.tray.pocket import Pocket
from pinseat.tray.shape import Shape

Float = NDArray[np.float64]

MOST_HOLES = 40
_CLEAR_MM = 3.0
_APART_MM = 7.0
_BORDER_MM = 5.0
_THROUGH_MM = 0.8
_SEGMENTS = 32
_LEAN_DEG = 20.0


def hole_sites(
    shell: Mesh,
    inside: Field,
    grid: Grid,
    shape: Shape,
    seat: Seat | None,
    pockets: Sequence[Pocket],
    wanted: Wanted,
    hole_mm: float,
) -> tuple[Float, Float]:
    """Places on the outside of the shell for holes, and the way out of the wall at each.

    Each as far as possible from those before (farthest-point sampling), at least 7 mm apart; at least 3 mm
    from edge to edge of a stop, a pin's room and the handle, and 5 mm above the border.

    Returns
    -------
    (n, 3) array, (n, 3) array
    """
    at = grid.cells(shell.vertices).T
    where = map_coordinates(inside, at, order=1, mode="nearest")
    border = map_coordinates(shape.border.height, at[:2], order=1, mode="nearest")
    normals = vertex_normals(shell)
    free = np.abs(where - wanted.wall_mm) < 0.5 * grid.step_mm
    free &= shell.vertices[:, 2] > border + _BORDER_MM
    clear = 0.5 * hole_mm + _CLEAR_MM
    xy = shell.vertices[:, :2]
    for stop in shape.stops:
        free &= np.linalg.norm(xy - stop.centre[:2], axis=1) > wanted.dome_mm + clear
    if seat is not None:
        for end in seat.ends:
            free &= np.linalg.norm(xy - end[:2], axis=1) > 9.0 + clear
    for pocket in pockets:
        free &= (
            pocket.at_rest(shell.vertices) > wanted.pin_relief_mm + pocket.sweep_mm + wanted.wall_mm + clear
        )
    choice = np.flatnonzero(free)
    if not len(choice):
        return np.zeros((0, 3)), np.zeros((0, 3))
    places = shell.vertices[choice]
    taken = [int(np.argmax(places[:, 2]))]
    far = np.linalg.norm(places - places[taken[0]], axis=1)
    while len(taken) < MOST_HOLES and far.max() > _APART_MM:
        taken.append(int(np.argmax(far)))
        far = np.minimum(far, np.linalg.norm(places - places[taken[-1]], axis=1))
    return places[taken], normals[choice[taken]]


def with_holes(
    body: manifold3d.Manifold, sites: tuple[Float, Float], hole_mm: float, wall_mm: float
) -> manifold3d.Manifold:
    """The body with a round hole through its wall at each site."""
    tools = []
    for place, out in zip(*sites, strict=True):
        long = wall_mm + 2.0 * _THROUGH_MM
        tool = manifold3d.Manifold.cylinder(long, 0.5 * hole_mm, circular_segments=_SEGMENTS)
        start = place - (wall_mm + _THROUGH_MM) * out
        side = np.eye(3)[int(np.argmin(np.abs(out)))]
        u = np.cross(out, side)
        u /= np.linalg.norm(u)
        tools.append(tool.transform(np.column_stack((u, np.cross(out, u), out, start))))
    if not tools:
        return body
    return body - manifold3d.Manifold.batch_boolean(tools, manifold3d.OpType.Add)
