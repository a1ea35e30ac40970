"""Signed distance from points to a mesh: exact, to the nearest place on its nearest triangle.

The triangles are put in the order of a space-filling curve and boxed in a complete binary tree with four to a
leaf. A search walks down the nearer box first and leaves out boxes farther off than the best triangle so far;
the triangle nearest to the point before is where it begins.

The sign is that of the offset along the normal of whatever is nearest: a triangle, the mean of two at an
edge, the mean weighted by angle at a corner. With these the sign is right for every closed surface.

References
----------
J. A. Baerentzen and H. Aanaes, IEEE Transactions on Visualization and Computer Graphics 11 (2005) 243 (the
normals); C. Ericson, Real-Time Collision Detection, 2005, 5.1.5 (nearest point of a triangle). From memory.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from pinseat.errors import ScanError
from pinseat.mesh.model import Float, Int, Mesh
from pinseat.mesh.topology import edges, face_vectors, unit

Mask = NDArray[np.bool_]

LEAF = 4
"""Triangles in a leaf of the tree."""
CHUNK = 4096
"""Points searched in one go; the answer does not depend on how many threads share the chunks."""
_DEEPEST = 64


@dataclass(frozen=True, eq=False)
class Found:
    """The nearest place on a mesh for each of n points.

    Attributes
    ----------
    distance_mm : (n,) array
        Positive outside, along the mesh's normals; not a number where nothing lies within reach.
    place : (n, 3) array, mm
        The nearest place; not a number as above.
    normal : (n, 3) array
        Unit normal of the mesh there.
    face : (n,) int32 array
        The triangle; -1 as above.
    at_rim : (n,) bool array
        The nearest place lies on an open edge: beyond it the surface was not scanned.
    """

    distance_mm: Float
    place: Float
    normal: Float
    face: Int
    at_rim: Mask

    @property
    def counted(self) -> Mask:
        """Points with a place on the surface itself, not on its rim; (n,) bool array."""
        return np.asarray((self.face >= 0) & ~self.at_rim)


class Nearest:
    """A mesh made ready for nearest places.

    Parameters
    ----------
    mesh : Mesh
        Wound outward. Triangles without area are passed over.

    Raises
    ------
    ScanError
        If no triangle has an area.

    Examples
    --------
    >>> flat = Mesh(np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0]]), np.array([[0, 1, 2]], np.int32))
    >>> found = Nearest(flat).search([[1.0, 1.0, 0.5], [1.0, 1.0, -0.25], [9.0, 9.0, 9.0]], within_mm=2.0)
    >>> found.distance_mm.tolist(), found.place[0].tolist()
    ([0.5, -0.25, nan], [1.0, 1.0, 0.0])
    """

    def __init__(self, mesh: Mesh) -> None:
        vectors = face_vectors(mesh)
        solid = np.flatnonzero(np.einsum("ij,ij->i", vectors, vectors) > 0.0)
        if not len(solid):
            raise ScanError("the scan holds no surface", value="0 triangles with an area", limit="at least 1")
        a, b, c = (mesh.vertices[mesh.faces[solid, i]] for i in range(3))
        self._mesh = mesh
        self._face = solid[_along_curve(a + b + c)].astype(np.int32)
        self._corners = mesh.vertices[mesh.faces[self._face]]
        leaves = 1
        while leaves * LEAF < len(self._corners):
            leaves *= 2
        self._boxes = np.empty((2 * leaves, 6))
        _box(self._corners, self._boxes)

    @cached_property
    def _features(self) -> tuple[Float, Mask]:
        """Normals and open rims, in the order of the tree; only a sign needs them."""
        normals, rim = _feature_normals(self._mesh, unit(face_vectors(self._mesh)))
        return normals[self._face], rim[self._face]

    def search(self, points: ArrayLike, *, within_mm: float = np.inf) -> Found:
        """The nearest place for each point.

        Parameters
        ----------
        points : (n, 3) array, mm
        within_mm : float
            How far to look.

        Returns
        -------
        Found
        """
        p, at, place, feature = self._places(points, within_mm)
        none = at < 0
        normals, rim = self._features
        normal = normals[at, feature]
        offset = p - place
        far = np.sqrt(np.einsum("ij,ij->i", offset, offset))
        signed = np.where(np.einsum("ij,ij->i", offset, normal) < 0.0, -far, far)
        normal[none] = np.nan
        return Found(signed, place, normal, np.where(none, -1, self._face[at]), rim[at, feature] & ~none)

    def distance(self, points: ArrayLike, *, within_mm: float = np.inf) -> Float:
        """How far each point is from the surface, mm, without a sign; faster than :meth:`search`.

        Parameters
        ----------
        points : (n, 3) array, mm
        within_mm : float
            How far to look.

        Returns
        -------
        (n,) float64 array
            Infinite where nothing lies within reach.
        """
        p, at, place, _ = self._places(points, within_mm)
        offset = p - place
        return np.where(at < 0, np.inf, np.sqrt(np.einsum("ij,ij->i", offset, offset)))

    def _places(self, points: ArrayLike, within_mm: float) -> tuple[Float, Int, Float, NDArray[np.int8]]:
        """The points as an array; triangle of the tree, nearest place and the feature that holds it."""
        p = np.ascontiguousarray(points, np.float64).reshape(-1, 3)
        at, place = np.empty(len(p), np.int32), np.empty((len(p), 3))
        feature = np.empty(len(p), np.int8)

        def run(start: int) -> None:
            part = slice(start, start + CHUNK)
            out = at[part], place[part], feature[part]
            _search(p[part], within_mm, self._boxes, self._corners, *out)

        with ThreadPoolExecutor(os.cpu_count()) as pool:
            list(pool.map(run, range(0, len(p), CHUNK)))
        return p, at, place, feature


def _along_curve(places: Float) -> NDArray[np.int64]:
    """Order of places along a Z-order curve through their box, 20 bits to an axis."""
    low = places.min(axis=0)
    wide = max(float((places.max(axis=0) - low).max()), 1e-12)
    cell = ((places - low) * ((2**20 - 1) / wide)).astype(np.uint64)
    for shift, mask in (
        (32, 0x1F00000000FFFF),
        (16, 0x1F0000FF0000FF),
        (8, 0x100F00F00F00F00F),
        (4, 0x10C30C30C30C30C3),
        (2, 0x1249249249249249),
    ):
        cell = (cell | (cell << np.uint64(shift))) & np.uint64(mask)
    key = cell[:, 0] | (cell[:, 1] << np.uint64(1)) | (cell[:, 2] << np.uint64(2))
    return np.argsort(key, kind="stable")


def _feature_normals(mesh: Mesh, normals: Float) -> tuple[Float, Mask]:
    """Normals (m, 7, 3) and open rims (m, 7) of each triangle's face, its sides 0-1, 1-2, 2-0, its
    corners.
    """
    found = edges(mesh)
    side_edge = np.empty(3 * len(mesh.faces), np.int64)
    side_edge[found.side] = np.repeat(np.arange(len(found.count)), found.count)
    total = np.zeros((len(found.count), 3))
    angle = _corner_angles(mesh)
    at_vertex = np.zeros((len(mesh.vertices), 3))
    for axis in range(3):
        shared = np.repeat(normals[:, axis], 3)
        total[:, axis] = np.bincount(side_edge, shared, minlength=len(total))
        at_vertex[:, axis] = np.bincount(
            mesh.faces.ravel(), angle.ravel() * shared, minlength=len(mesh.vertices)
        )
    open_edge = found.count == 1
    open_vertex = np.zeros(len(mesh.vertices), bool)
    open_vertex[found.ends[open_edge]] = True
    sides = side_edge.reshape(-1, 3)
    out = np.empty((len(mesh.faces), 7, 3))
    out[:, 0], out[:, 1:4], out[:, 4:] = normals, unit(total)[sides], unit(at_vertex)[mesh.faces]
    rim = np.zeros((len(mesh.faces), 7), bool)
    rim[:, 1:4], rim[:, 4:] = open_edge[sides], open_vertex[mesh.faces]
    return out, rim


def _corner_angles(mesh: Mesh) -> Float:
    """Angle of each triangle at each of its corners, (m, 3), rad."""
    corner = mesh.vertices[mesh.faces]
    ahead, behind = np.roll(corner, -1, axis=1) - corner, np.roll(corner, 1, axis=1) - corner
    dot = np.einsum("mij,mij->mi", ahead, behind)
    return np.asarray(np.arctan2(np.linalg.norm(np.cross(ahead, behind), axis=2), dot))


_kernel = njit(cache=True, nogil=True, error_model="numpy")


@_kernel
def _box(corners, boxes):  # type: ignore[no-untyped-def]
    """Fill the boxes of a complete binary tree, (2 k, 6): root at 1, children of i at 2 i and 2 i + 1, leaves
    from k.
    """
    leaves = len(boxes) // 2
    boxes[:, :3], boxes[:, 3:] = np.inf, -np.inf
    for j in range(len(corners)):
        box = boxes[leaves + j // LEAF]
        for corner in range(3):
            for axis in range(3):
                box[axis] = min(box[axis], corners[j, corner, axis])
                box[axis + 3] = max(box[axis + 3], corners[j, corner, axis])
    for node in range(leaves - 1, 0, -1):
        for axis in range(3):
            boxes[node, axis] = min(boxes[2 * node, axis], boxes[2 * node + 1, axis])
            boxes[node, axis + 3] = max(boxes[2 * node, axis + 3], boxes[2 * node + 1, axis + 3])


@_kernel
def _on_triangle(px, py, pz, t):  # type: ignore[no-untyped-def]
    """Squared distance, shares of the second and third corner, and the feature that holds the nearest
    place.
    """
    abx, aby, abz = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1], t[1, 2] - t[0, 2]
    acx, acy, acz = t[2, 0] - t[0, 0], t[2, 1] - t[0, 1], t[2, 2] - t[0, 2]
    apx, apy, apz = px - t[0, 0], py - t[0, 1], pz - t[0, 2]
    d1, d2 = abx * apx + aby * apy + abz * apz, acx * apx + acy * apy + acz * apz
    ab, bc = abx * abx + aby * aby + abz * abz, abx * acx + aby * acy + abz * acz
    ac = acx * acx + acy * acy + acz * acz
    d3, d4, d5, d6 = d1 - ab, d2 - bc, d1 - bc, d2 - ac
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    v, w, feature = 0.0, 0.0, 0
    if d1 <= 0.0 and d2 <= 0.0:
        feature = 4
    elif d3 >= 0.0 and d4 <= d3:
        v, feature = 1.0, 5
    elif d6 >= 0.0 and d5 <= d6:
        w, feature = 1.0, 6
    elif vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        v, feature = d1 / (d1 - d3), 1
    elif vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        w, feature = d2 / (d2 - d6), 3
    elif va <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        w = (d4 - d3) / ((d4 - d3) + (d5 - d6))
        v, feature = 1.0 - w, 2
    else:
        v, w = vb / (va + vb + vc), vc / (va + vb + vc)
    x, y, z = apx - v * abx - w * acx, apy - v * aby - w * acy, apz - v * abz - w * acz
    return x * x + y * y + z * z, v, w, feature


@_kernel
def _to_box(px, py, pz, box):  # type: ignore[no-untyped-def]
    """Squared distance to a box; infinite for an empty one."""
    x = max(box[0] - px, 0.0, px - box[3])
    y = max(box[1] - py, 0.0, py - box[4])
    z = max(box[2] - pz, 0.0, pz - box[5])
    return x * x + y * y + z * z


@_kernel
def _search(points, within, boxes, corners, at, place, feature):  # type: ignore[no-untyped-def]
    leaves, count = len(boxes) // 2, len(corners)
    node_stack = np.empty(_DEEPEST, np.int64)
    far_stack = np.empty(_DEEPEST)
    before = -1
    for i in range(len(points)):
        px, py, pz = points[i, 0], points[i, 1], points[i, 2]
        best, best_at, best_v, best_w, best_feature = within * within, -1, 0.0, 0.0, 0
        if before >= 0:
            far, v, w, kind = _on_triangle(px, py, pz, corners[before])
            if far <= best:
                best, best_at, best_v, best_w, best_feature = far, before, v, w, kind
        node_stack[0], far_stack[0], top = 1, _to_box(px, py, pz, boxes[1]), 1
        while top > 0:
            top -= 1
            node, far = node_stack[top], far_stack[top]
            if far > best:
                continue
            if node < leaves:
                left, right = _to_box(px, py, pz, boxes[2 * node]), _to_box(px, py, pz, boxes[2 * node + 1])
                nearer = 2 * node if left <= right else 2 * node + 1
                if max(left, right) <= best:
                    node_stack[top], far_stack[top] = 4 * node + 1 - nearer, max(left, right)
                    top += 1
                if min(left, right) <= best:
                    node_stack[top], far_stack[top] = nearer, min(left, right)
                    top += 1
                continue
            first = LEAF * (node - leaves)
            for j in range(first, min(first + LEAF, count)):
                far, v, w, kind = _on_triangle(px, py, pz, corners[j])
                if far < best or (far <= best and best_at < 0):
                    best, best_at, best_v, best_w, best_feature = far, j, v, w, kind
        at[i], feature[i], before = best_at, best_feature, best_at
        for axis in range(3):
            place[i, axis] = np.nan
            if best_at >= 0:
                a, b, c = (corners[best_at, 0, axis], corners[best_at, 1, axis], corners[best_at, 2, axis])
                place[i, axis] = a + best_v * (b - a) + best_w * (c - a)
