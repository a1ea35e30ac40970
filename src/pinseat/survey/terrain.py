"""How a scan bends: what regions and margins are read from, made once for all picks."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pinseat.mesh.noise import noise_um
from pinseat.mesh.topology import face_vectors, unit
from pinseat.reference import value
from pinseat.survey.smoothed import Smoothed
from pinseat.survey.surface import Surface

Float = NDArray[np.float64]
Index = NDArray[np.int64]


class Terrain(Smoothed):
    """A scan with its edges, smoothed normals and curvature."""

    @cached_property
    def surface(self) -> Surface:
        """Search tree and the faces at each vertex."""
        return Surface(self.mesh)

    @cached_property
    def noise_mm(self) -> float:
        """Scanner noise along the normal, read from the scan; the largest published one where it is too
        small.
        """
        seen = noise_um(self.mesh)
        return 1e-3 * (value("scanner.noise_max_um").value if seen is None else seen)

    @cached_property
    def face_vectors(self) -> Float:
        """Area vectors of the triangles, (m, 3), mm2."""
        return face_vectors(self.mesh)

    @cached_property
    def face_area(self) -> Float:
        """Areas of the triangles laid onto the smoothed surface, (m,), mm2: roughness adds nothing."""
        return np.asarray(np.einsum("ij,ij->i", self.face_vectors, self.face_normals))

    @cached_property
    def middles(self) -> Float:
        """Centres of the triangles, (m, 3), mm."""
        return np.asarray(self.mesh.vertices[self.mesh.faces].mean(axis=1))

    @cached_property
    def beside(self) -> Index:
        """Pairs of triangles that share an edge, and the edge; (p, 3)."""
        inner = np.flatnonzero(self.edges.count == 2)
        first = self.edges.start[inner]
        pair = (self.edges.side[first] // 3, self.edges.side[first + 1] // 3, inner)
        return np.column_stack(pair).astype(np.int64)

    @cached_property
    def vertex_bends(self) -> Float:
        """Principal curvatures at the vertices, 1/mm, the more convex first; positive = convex. Shape (n, 2).

        The second fundamental form is fitted, by least squares, to how the smoothed normals turn along the
        edges at each vertex (after Rusinkiewicz, 3DPVT 2004, who fits it triangle by triangle).
        """
        ends = self.edges.ends[self.edges.ends[:, 0] != self.edges.ends[:, 1]]
        u, v = _tangents(self.normals)
        step = self.mesh.vertices[ends[:, 1]] - self.mesh.vertices[ends[:, 0]]
        turn = self.normals[ends[:, 1]] - self.normals[ends[:, 0]]
        size = len(self.normals)
        total = np.zeros((6, size))
        for at in ends.T:
            x, y = (np.einsum("ij,ij->i", step, way[at]) for way in (u, v))
            p, q = (np.einsum("ij,ij->i", turn, way[at]) for way in (u, v))
            for k, term in enumerate((x * x, x * y, y * y, x * p, y * p + x * q, y * q)):
                total[k] += np.bincount(at, term, minlength=size)
        return _principal(*total)

    @cached_property
    def ridge_per_mm(self) -> Float:
        """How sharply each triangle bends outward, as at an edge; (m,)."""
        return np.asarray(self.vertex_bends[:, 0][self.mesh.faces].mean(axis=1))

    @cached_property
    def valley_per_mm(self) -> Float:
        """How sharply each triangle bends inward, as in a corner; (m,)."""
        return np.asarray(-self.vertex_bends[:, 1][self.mesh.faces].mean(axis=1))

    def along(self, foot: Float, axis: Float, low_mm: float, high_mm: float, radius_mm: float) -> Index:
        """Triangles whose centre lies in a straight cylinder, in order.

        Parameters
        ----------
        foot, axis : (3,) arrays
            A point of its axis, mm, and the unit vector along it.
        low_mm, high_mm : float
            Its ends, from the foot.
        radius_mm : float
        """
        middle, half = foot + 0.5 * (low_mm + high_mm) * axis, 0.5 * (high_mm - low_mm)
        near = self.surface.within(middle, float(np.hypot(half, radius_mm)) + 2.0 * self.edge_mm)
        faces = np.unique(self.surface.at_vertex[near].indices).astype(np.int64)
        offset = self.middles[faces] - foot
        up = offset @ axis
        out = np.linalg.norm(offset - np.outer(up, axis), axis=1)
        return faces[(up > low_mm) & (up < high_mm) & (out < radius_mm)]


def _tangents(normals: Float) -> tuple[Float, Float]:
    """Two unit vectors across each normal."""
    helper = np.eye(3)[np.argmin(np.abs(normals), axis=1)]
    u = unit(np.cross(normals, helper))
    return u, np.cross(normals, u)


def _principal(xx: Float, xy: Float, yy: Float, xp: Float, mixed: Float, yq: Float) -> Float:
    """Eigenvalues of the symmetric 2 x 2 forms ((a, b), (b, c)) that solve the normal equations."""
    floor = 1e-9 * (xx + yy) + 1e-30
    sums = np.zeros((len(xx), 3, 3))
    sums[:, 0, 0], sums[:, 1, 1], sums[:, 2, 2] = xx + floor, xx + yy + floor, yy + floor
    sums[:, 0, 1] = sums[:, 1, 0] = sums[:, 1, 2] = sums[:, 2, 1] = xy
    a, b, c = np.linalg.solve(sums, np.stack((xp, mixed, yq), axis=1)[..., None])[..., 0].T
    middle, half = 0.5 * (a + c), np.hypot(0.5 * (a - c), b)
    return np.stack((middle + half, middle - half), axis=1)
