"""The frame that a tray is worked out in: z is the draw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pinseat.mesh.model import Mesh

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Frame:
    """A place and three axes that turn with the scan.

    Attributes
    ----------
    origin : (3,) array, mm
    axes : (3, 3) array
        Unit rows: along the longest side of the scan, across it, along the draw.
    """

    origin: Float
    axes: Float

    def local(self, points: ArrayLike) -> Float:
        """World points in the frame, mm; any shape that ends in 3."""
        return np.asarray((np.asarray(points, float) - self.origin) @ self.axes.T)

    def world(self, points: ArrayLike) -> Float:
        """Points of the frame in the world, mm; any shape that ends in 3."""
        return np.asarray(self.origin + np.asarray(points, float) @ self.axes)

    def turned(self, mesh: Mesh) -> Mesh:
        """A world mesh in the frame."""
        return Mesh(self.local(mesh.vertices), mesh.faces)

    def turned_back(self, mesh: Mesh) -> Mesh:
        """A mesh of the frame in the world."""
        return Mesh(self.world(mesh.vertices), mesh.faces)


def frame_of(points: Float, draw: Float) -> Frame:
    """Frame of a scan: z is the draw, x the direction in which its points spread most across the draw.

    Parameters
    ----------
    points : (n, 3) array, mm
    draw : (3,) array
        Off the teeth; any length but zero.

    Returns
    -------
    Frame
        Moves and turns with the points, so that the tray does not depend on where the scan lies.

    Examples
    --------
    >>> frame = frame_of(np.array([[0.0, 0, 0], [9, 0, 0], [9, 1, 0], [0, 2, 0]]), np.array([0, 0, 2.0]))
    >>> frame.local([4.5, 0.75, 3.0]).round(6).tolist()
    [0.0, 0.0, 3.0]
    """
    z = np.asarray(draw, float) / np.linalg.norm(draw)
    middle = points.mean(axis=0)
    flat = points - middle
    flat = flat - np.outer(flat @ z, z)
    _, vectors = np.linalg.eigh(flat.T @ flat)
    x = vectors[:, -1] - z * (vectors[:, -1] @ z)
    x = x / np.linalg.norm(x)
    skew = float(np.mean((flat @ x) ** 3))
    x = -x if skew < 0.0 or (skew == 0.0 and x[np.argmax(np.abs(x))] < 0.0) else x
    return Frame(middle, np.stack([x, np.cross(z, x), z]))
