"""The scanned surface made ready for looking around: points, normals, nearest points."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from pinseat.errors import SurveyError
from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import components, face_vectors, vertex_normals
from pinseat.survey.triangles import nearest_on_triangles

Float = NDArray[np.float64]
Index = NDArray[np.int64]

CRUMB_FACES = 60
"""A loose part of fewer faces is a crumb; a pin cut off from its tooth by a gap has more."""
NEAR_MM = 1.0
"""A pick farther from the scanned surface than this was not picked on it."""


@dataclass(frozen=True, eq=False)
class Surface:
    """A mesh with what survey asks of it again and again.

    Attributes
    ----------
    mesh : Mesh
        Welded, but raw otherwise: neither smoothed nor thinned, or the pins would shift.
    """

    mesh: Mesh

    @cached_property
    def without_crumbs(self) -> Mesh:
        """The mesh less loose parts of a few faces: a crumb in the air would hide the pin below it."""
        part = components(self.mesh)
        return Mesh(self.mesh.vertices, self.mesh.faces[np.bincount(part)[part] >= CRUMB_FACES])

    @cached_property
    def face_area(self) -> Float:
        """Vector area of each face, (m, 3), mm2: its normal times its area."""
        return face_vectors(self.mesh)

    @cached_property
    def at_vertex(self) -> csr_array:
        """Which faces meet at each vertex: (n, m) of ones."""
        m, n = len(self.mesh.faces), len(self.mesh.vertices)
        row = self.mesh.faces.ravel()
        column = np.repeat(np.arange(m, dtype=np.int32), 3)
        return csr_array((np.ones(3 * m), (row, column)), shape=(n, m))

    @cached_property
    def normals(self) -> Float:
        """Unit normal at each vertex, (n, 3)."""
        return vertex_normals(self.mesh)

    @cached_property
    def tree(self) -> cKDTree:
        """Search tree over the vertices."""
        return cKDTree(self.mesh.vertices, balanced_tree=False, compact_nodes=False)

    @cached_property
    def facing(self) -> Float:
        """Which way the surface looks: unit vector off the teeth.

        The vector area of an open shell equals that of any lid over its rim, so bumps on it do not count.

        Raises
        ------
        SurveyError
            For a closed surface, which looks every way.
        """
        total = self.face_area.sum(axis=0)
        size = float(np.linalg.norm(total))
        whole = float(np.linalg.norm(self.face_area, axis=1).sum())
        if size < 0.02 * whole:
            raise SurveyError(
                "this surface is closed, so which way is off the teeth cannot be seen",
                value=f"{100.0 * size / max(whole, 1e-30):.1f} % of the area looks one way",
                limit="at least 2 %",
                do="export the scan as scanned, without a closed base",
            )
        return np.asarray(total / size)

    def within(self, centre: Float, radius_mm: float) -> Index:
        """Vertices within a distance of a place, in order."""
        return np.array(sorted(self.tree.query_ball_point(centre, radius_mm)), dtype=np.int64)

    def nearest(self, place: Float, count: int) -> Index:
        """Nearest vertices, the nearest first."""
        ranks = list(range(1, min(count, len(self.mesh.vertices)) + 1))
        return np.asarray(self.tree.query(place, k=ranks)[1], dtype=np.int64)

    def pick(self, place: ArrayLike, where: str) -> tuple[Float, int]:
        """Nearest place of the scan to a pick.

        Parameters
        ----------
        place : (3,) array, mm
        where : str
            The pick in words, for the message.

        Returns
        -------
        point : (3,) array, mm
        face : int

        Raises
        ------
        SurveyError
            If the pick is more than 1 mm off the scan.
        """
        pick = np.asarray(place, np.float64)
        faces = np.unique(self.at_vertex[self.nearest(pick, 12)].indices)
        triangles = self.mesh.vertices[self.mesh.faces[faces]]
        points = nearest_on_triangles(triangles, np.tile(pick, (len(faces), 1)))
        away = np.linalg.norm(points - pick, axis=1)
        best = int(np.argmin(away))
        if away[best] > NEAR_MM:
            raise SurveyError(
                "this pick lies off the scanned surface",
                where=where,
                value=f"{away[best]:.2f} mm away",
                limit=f"within {NEAR_MM:.1f} mm",
                do="pick it again, in the scan's own coordinates and in mm",
            )
        return np.asarray(points[best]), int(faces[best])

    def edge_mm(self, near: Index) -> float:
        """Median edge length of the faces that meet at these vertices."""
        touched = np.unique(self.at_vertex[near].indices)
        corner = self.mesh.vertices[self.mesh.faces[touched]]
        return float(np.median(np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2)))
