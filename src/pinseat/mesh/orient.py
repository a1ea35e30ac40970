"""Which side of a surface is the outside, and winding all triangles so that they agree on it."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import breadth_first_order, connected_components, minimum_spanning_tree

from pinseat.mesh.model import Float, Int, Mesh
from pinseat.mesh.raster import height_field
from pinseat.mesh.topology import Edges, edges, face_areas, face_normals, in_order

PIXELS_ACROSS = 150
"""Pixels along the diagonal of the scan, for each of the views from all around."""
CLEAR_SHARE = 0.53
"""Share of the seen area that must show its front (or its back) to be certain which side is out.

Measured: 0.63 to 0.75 for arches and stretches of an arch, 0.55 with a palate 8 to 20 mm deep, and 0.50 for a
plate, where nobody can tell.
"""
FEWEST_PIXELS = 50
_GOLDEN = np.pi * (3.0 - np.sqrt(5.0))
_VIEWS = 8


@dataclass(frozen=True, eq=False)
class Wound:
    """Triangles wound alike.

    Attributes
    ----------
    faces : (m, 3) int32 array
    turned : (m,) bool array
        Which triangles are wound the other way than before.
    part : (m,) int32 array
        Parts within which the winding agrees; triangles in one part hang together by an edge.
    clashes : int
        Edges where no winding agrees (a surface with one side only).
    """

    faces: Int
    turned: NDArray[np.bool_]
    part: NDArray[np.int32]
    clashes: int


def wind_alike(mesh: Mesh, found: Edges | None = None) -> Wound:
    """Wind neighbours alike: in each part, the winding of the smaller area gives way.

    Patches of triangles that agree already are found first; a spanning tree over the patches, the longest
    common borders first, then says which of them to turn.

    Parameters
    ----------
    mesh : Mesh
    found : Edges, optional
        Of the same mesh, where they are known already.

    Returns
    -------
    Wound
    """
    found = found or edges(mesh)
    inside = found.count == 2
    first, second = (found.side[found.start[inside] + i] // 3 for i in (0, 1))
    against = found.flipped[inside]
    size = len(mesh.faces)
    patch = _linked(size, first[~against], second[~against])
    part = _linked(size, first, second)
    turned = np.zeros(size, bool)
    clashes = 0
    if against.any():
        turn_patch = _two_colours(patch, first[against], second[against])
        turned = turn_patch[patch]
        clashes = int(np.sum(turned[first[against]] == turned[second[against]]))
        area = face_areas(mesh)
        weight = np.bincount(part, np.where(turned, area, -area))
        turned ^= (weight > 0.0)[part]
    faces = np.where(turned[:, None], mesh.faces[:, ::-1], mesh.faces)
    return Wound(np.ascontiguousarray(faces), turned, in_order(part), clashes)


def outside(mesh: Mesh, part: NDArray[np.int32], found: Edges | None = None) -> NDArray[np.int8]:
    """Whether each part of a mesh is wound with its front to the outside.

    A closed part is measured: its volume is positive. An open one is looked at from all around, see
    :func:`front_share`.

    Parameters
    ----------
    mesh : Mesh
        Wound alike within each part.
    part : (m,) int32 array
        Labels from 0.
    found : Edges, optional
        Of the same mesh, where they are known already.

    Returns
    -------
    (p,) int8 array
        1 for outward, -1 for inward, 0 where it cannot be told.
    """
    found = found or edges(mesh)
    rim = found.side[found.start[found.count == 1]] // 3
    closed = np.ones(int(part.max()) + 1, bool)
    closed[part[rim]] = False
    a, b, c = (mesh.vertices[mesh.faces[:, i]] - mesh.vertices.mean(axis=0) for i in range(3))
    volume = np.bincount(part, np.einsum("ij,ij->i", a, np.cross(b, c)))
    side = np.sign(volume)
    if not closed.all():
        share = front_share(mesh, part)
        side[~closed] = ((share >= CLEAR_SHARE) * 1 - (share <= 1.0 - CLEAR_SHARE))[~closed]
    return side.astype(np.int8)


def front_share(mesh: Mesh, part: NDArray[np.int32]) -> Float:
    """For each part, the share of what is seen of it from all around that shows its front.

    The outside of an open shell such as a scanned arch is seen from more directions than its inside, because
    teeth stand out of it: from outside they are humps, from inside pits. So with triangles wound the right
    way the share is above one half. For a closed surface it is one.

    Parameters
    ----------
    mesh : Mesh
    part : (m,) int32 array
        Labels from 0; every part is seen together with all others, so what is hidden inside has little say.

    Returns
    -------
    (p,) float64 array
        From 0 to 1; NaN for a part that next to nothing is seen of.
    """
    normals = face_normals(mesh)
    size = float(np.linalg.norm(np.ptp(mesh.vertices, axis=0)))
    parts = int(part.max()) + 1

    def look(direction: Float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        field = height_field(mesh, direction, max(size, 1e-9) / PIXELS_ACROSS)
        face = field.face[field.face >= 0]
        facing = normals[face] @ direction > 0.0
        return np.bincount(part[face[facing]], minlength=parts), np.bincount(part[face], minlength=parts)

    with ThreadPoolExecutor() as pool:
        looks = list(pool.map(look, _all_around(_VIEWS)))
    front, seen = (np.sum(counts, axis=0) for counts in zip(*looks, strict=True))
    return np.where(seen >= FEWEST_PIXELS, front / np.maximum(seen, 1.0), np.nan)


def _all_around(count: int) -> Float:
    """Directions spread evenly over the sphere (golden spiral), shape (count, 3)."""
    z = 1.0 - (2.0 * np.arange(count) + 1.0) / count
    around = _GOLDEN * np.arange(count)
    flat = np.sqrt(1.0 - z**2)
    return np.column_stack((flat * np.cos(around), flat * np.sin(around), z))


def _linked(size: int, first: NDArray[np.int64], second: NDArray[np.int64]) -> NDArray[np.int32]:
    graph = coo_array((np.ones(len(first), np.int8), (first, second)), shape=(size, size)).tocsr()
    return np.asarray(connected_components(graph, directed=False)[1])


def _two_colours(
    patch: NDArray[np.int32], first: NDArray[np.int64], second: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Which patches to turn so that patches across a border differ, as far as a spanning tree can say."""
    size = int(patch.max()) + 1
    a, b = patch[first], patch[second]
    apart = a != b
    a, b = np.minimum(a, b)[apart], np.maximum(a, b)[apart]
    border = coo_array((np.ones(len(a)), (a, b)), shape=(size, size)).tocsr()
    border.data = 1.0 / border.data  # the longest border is the lightest edge of the tree
    tree = minimum_spanning_tree(border)
    tree = (tree + tree.T).tocsr()
    turn = np.zeros(size, bool)
    _, root = np.unique(connected_components(tree, directed=False)[1], return_index=True)
    for start in root[np.diff(tree.indptr)[root] > 0]:
        order, before = breadth_first_order(tree, start, directed=False)
        for node in order[1:]:
            turn[node] = not turn[before[node]]
    return turn
