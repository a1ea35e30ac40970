"""The rubber between teeth and tray as a block of cubes, and how its points move when it shrinks.

Cubes stand in the frame of the draw. One is rubber when its middle lies in neither tooth nor tray and the
tray stands above it; a point is inside a body when most of a handful of rays leave it through its back.
Corners of cubes inside the tray do not move: the rubber is bonded there. It is free on the teeth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.spatial import cKDTree

from pinseat.errors import ImpressionError
from pinseat.ledger.pins import frame
from pinseat.mesh.model import Mesh
from pinseat.mesh.rays import Rays
from pinseat.mesh.topology import face_vectors
from pinseat.numerics.cubes import CORNERS, shrunk

Float = NDArray[np.float64]
Bool = NDArray[np.bool_]

ROUND_MM = (11.0, 11.0, 9.0, 12.0)
"""How far the block reaches round the pins: across, across, down from the feet and up."""
ABOVE_MM = 14.0
"""Rubber has the tray above it within this."""
COURSES, LEAST_MM, MOST_MM = 3.5, 0.5, 0.9
"""Cubes to the thickness of the rubber, and the smallest and largest side of a cube."""
MOST_CUBES = 60_000
REACH = 1.6
"""A point moves as the corners within this many sides of it, by a straight-line fit."""
ACCURACY = 1.0 / (2.0 * 3.0**0.5 * COURSES)
"""Relative standard uncertainty that the cubes leave: the thickness is rounded by up to half a side."""
STEPS = 0.5
"""Standard uncertainty that the cubes leave across, in sides of a cube, for each component of a reach."""
_WAYS = ((0.0, 0.0, 1.0), (0.3, 0.1, 1.0), (-0.25, 0.2, 1.0), (0.05, -0.35, 1.0), (-1.0, 0.1, 0.7))


@dataclass(frozen=True, eq=False)
class Block:
    """Rubber as cubes.

    Attributes
    ----------
    filled : (a, b, c) bool array
    held : (a + 1, b + 1, c + 1) bool array
    origin : (3,) array, mm
        Of the block's low corner, in the coordinates of the scan.
    axes : (3, 3) array
        Unit vectors of the block, the draw last.
    side_mm : float
    """

    filled: Bool
    held: Bool
    origin: Float
    axes: Float
    side_mm: float

    def moved(self, points: Float, poisson: float) -> Float:
        """Where points go, per unit of free shrinkage.

        Parameters
        ----------
        points : (n, 3) array, mm
        poisson : float

        Returns
        -------
        (n, 3) array, mm
            Not a number where there is no rubber.
        """
        field = shrunk(self.filled, self.held, self.side_mm, poisson)
        there = np.isfinite(field[..., 0])
        corners, moves = self.side_mm * np.argwhere(there), field[there]
        tree = cKDTree(corners)
        local = (points - self.origin) @ self.axes.T
        found = np.full((len(points), 3), np.nan)
        for i, point in enumerate(local):
            near = tree.query_ball_point(point, REACH * self.side_mm)
            if len(near) < 8:
                continue
            rows = np.column_stack([np.ones(len(near)), corners[near] - point])
            found[i] = np.linalg.lstsq(rows, moves[near], rcond=None)[0][0]
        return np.asarray(found @ self.axes)


def block_of(teeth: Mesh, tray: Mesh, feet: Float, draw: Float, thickness_mm: float) -> Block:
    """Fill the space between teeth and tray with cubes, round the pins.

    Parameters
    ----------
    teeth : Mesh
        Without its pins.
    tray : Mesh
        Closed.
    feet : (n, 3) array, mm
    draw : (3,) array
    thickness_mm : float
        Of the rubber, in the middle; sets the side of the cubes.

    Returns
    -------
    Block

    Raises
    ------
    ImpressionError
        If there is no rubber between the two.
    """
    axes = np.vstack([frame(draw), draw])
    local = feet @ axes.T
    low = local.min(axis=0) - ROUND_MM[:3]
    room = local.max(axis=0) + np.array([*ROUND_MM[:2], ROUND_MM[3]]) - low
    side = float(np.clip(thickness_mm / COURSES, LEAST_MM, MOST_MM))
    wall, free = Rays(tray), Rays(teeth)
    while True:
        count = np.ceil(room / side).astype(int)
        middles = (low + side * (np.indices(count).reshape(3, -1).T + 0.5)) @ axes
        solid = _inside(wall, tray, middles, axes).reshape(count)
        rubber = ~solid & ~_inside(free, teeth, middles, axes).reshape(count)
        rubber &= (wall.distance(middles, draw) < ABOVE_MM).reshape(count)
        if np.count_nonzero(rubber) <= MOST_CUBES:
            break
        side *= 1.2
    pieces, number = label(rubber)
    if number == 0 or not solid.any():
        raise ImpressionError(
            "there is no rubber between this tray and the teeth",
            do="give a closed tray in the coordinates of the scan, in mm",
        )
    largest = 1 + int(np.argmax(np.bincount(pieces.ravel())[1:]))
    return Block(pieces == largest, _corners(solid), low @ axes, axes, side)


def _inside(rays: Rays, mesh: Mesh, points: Float, axes: Float) -> Bool:
    """Whether most rays from a point first meet the mesh from behind."""
    vectors = face_vectors(mesh)
    votes = np.zeros(len(points))
    for way in np.array(_WAYS) @ axes:
        face = rays.first_face(points, way)
        hit = face >= 0
        votes[hit] += np.sign(vectors[face[hit]] @ way)
    return np.asarray(votes > 0.0)


def _corners(cubes: Bool) -> Bool:
    """Corners of the marked cubes."""
    a, b, c = cubes.shape
    marked = np.zeros((a + 1, b + 1, c + 1), bool)
    for i, j, k in CORNERS:
        marked[i : i + a, j : j + b, k : k + c] |= cubes
    return marked
