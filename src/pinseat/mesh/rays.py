"""Straight lines against every triangle of a mesh."""

from __future__ import annotations

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import ArrayLike, NDArray

from pinseat.errors import ScanError
from pinseat.mesh.model import Float, Int, Mesh

OFF_SURFACE_MM = 0.04
"""How far off the surface a ray that leaves it starts: four times a scanner's noise."""
_NOTHING = 1e30


class Rays:
    """A mesh made ready for rays.

    Distances are good to about a micrometre in 100 mm: the search works in single precision, so it is done
    about the middle of the mesh, wherever the scan lies.

    Parameters
    ----------
    mesh : Mesh
        Both sides of a triangle stop a ray.

    Raises
    ------
    ScanError
        If the mesh has no triangle.

    Examples
    --------
    >>> flat = Mesh(np.array([[0.0, 0, 5], [4, 0, 5], [0, 4, 5]]), np.array([[0, 1, 2]], np.int32))
    >>> rays = Rays(flat)
    >>> rays.distance([[1.0, 1.0, 2.0], [9.0, 1.0, 2.0]], (0, 0, 1)).tolist()
    [3.0, inf]
    >>> rays.blocked([[1.0, 1.0, 2.0]], (0, 0, 1)).tolist()
    [True]
    """

    def __init__(self, mesh: Mesh) -> None:
        if not len(mesh.faces):
            raise ScanError("the scan holds no surface", value="0 triangles", limit="at least 1")
        held = np.zeros(len(mesh.vertices), bool)
        held[mesh.faces] = True
        corners = mesh.vertices[held]
        self._middle = 0.5 * (corners.min(axis=0) + corners.max(axis=0))
        self._scene = EmbreeScene(robust=True)
        TriangleMesh(self._scene, self._local(mesh.vertices), np.ascontiguousarray(mesh.faces, np.int32))

    def blocked(self, origins: ArrayLike, directions: ArrayLike) -> NDArray[np.bool_]:
        """Whether the half-line from each origin meets the mesh.

        Parameters
        ----------
        origins : (n, 3) array, mm
        directions : (n, 3) or (3,) array
            Of any length but zero.

        Returns
        -------
        (n,) bool array
        """
        return np.asarray(self._run(origins, directions, "OCCLUDED") != -1)

    def distance(self, origins: ArrayLike, directions: ArrayLike) -> Float:
        """How far it is from each origin to the mesh, mm; infinite where the half-line does not meet it.

        Parameters
        ----------
        origins : (n, 3) array, mm
        directions : (n, 3) or (3,) array
            Of any length but zero.

        Returns
        -------
        (n,) float64 array
        """
        way = np.asarray(directions, float)
        way = way / np.linalg.norm(way, axis=-1, keepdims=True)
        far = np.asarray(self._run(origins, way, "DISTANCE"), float)
        return np.where(far > _NOTHING, np.inf, far)

    def first_face(self, origins: ArrayLike, directions: ArrayLike) -> Int:
        """Triangle that the half-line from each origin meets first, -1 where it meets none; (n,) int32 array.

        Parameters
        ----------
        origins : (n, 3) array, mm
        directions : (n, 3) or (3,) array
            Of any length but zero.
        """
        return np.asarray(self._run(origins, directions, "INTERSECT"), np.int32)

    def _run(self, origins: ArrayLike, directions: ArrayLike, query: str) -> NDArray[np.generic]:
        start = self._local(np.asarray(origins, float).reshape(-1, 3))
        way = np.empty_like(start)
        way[:] = directions
        return np.asarray(self._scene.run(start, way, query=query))

    def _local(self, points: Float) -> NDArray[np.float32]:
        return np.ascontiguousarray(points - self._middle, np.float32)
