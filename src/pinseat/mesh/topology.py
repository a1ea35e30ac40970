"""What hangs together in a mesh: edges, open rims, parts, normals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components

from pinseat.mesh.model import Float, Int, Mesh


@dataclass(frozen=True, eq=False)
class Edges:
    """Every edge of a mesh once, with the triangle sides that run along it.

    Attributes
    ----------
    ends : (e, 2) int32 array
        Vertex indices, the lower first; sorted.
    count : (e,) int64 array
        How many triangle sides run along the edge: 1 on an open rim, 2 inside a surface.
    forward : (e,) int64 array
        How many of those sides run from the lower to the higher vertex index.
    side : (3 m,) int64 array
        The triangle sides, grouped by edge: side ``s`` belongs to triangle ``s // 3``.
    start : (e,) int64 array
        Where the sides of each edge begin in `side`.
    """

    ends: Int
    count: NDArray[np.int64]
    forward: NDArray[np.int64]
    side: NDArray[np.int64]
    start: NDArray[np.int64]

    @property
    def flipped(self) -> NDArray[np.bool_]:
        """Edges between two triangles that are wound against each other."""
        return (self.count == 2) & (self.forward != 1)


@dataclass(frozen=True, eq=False)
class Loop:
    """One open rim of a mesh, or several that touch in a corner.

    Attributes
    ----------
    edges : (k, 2) int32 array
        Vertex indices of its edges.
    length_mm : float
    """

    edges: Int
    length_mm: float


def edges(mesh: Mesh) -> Edges:
    """Gather the edges of a mesh.

    Parameters
    ----------
    mesh : Mesh

    Returns
    -------
    Edges
        Sides from a vertex to itself (in a collapsed triangle) are edges too.

    Examples
    --------
    >>> found = edges(Mesh(np.eye(3), np.array([[0, 1, 2]], np.int32)))
    >>> found.ends.tolist(), found.count.tolist()
    ([[0, 1], [0, 2], [1, 2]], [1, 1, 1])
    """
    tail = mesh.faces.astype(np.int64).ravel()
    head = np.roll(mesh.faces, -1, axis=1).astype(np.int64).ravel()
    vertices = max(len(mesh.vertices), 1)
    key = np.minimum(tail, head) * vertices + np.maximum(tail, head)
    side = np.argsort(key, kind="stable")
    ordered = key[side]
    first = np.ones(len(ordered), bool)
    first[1:] = ordered[1:] != ordered[:-1]
    start = np.flatnonzero(first)
    count = np.diff(np.append(start, len(ordered)))
    running = np.concatenate(([0], np.cumsum(tail[side] < head[side])))
    forward = running[start + count] - running[start]
    kept = ordered[start]
    ends = np.column_stack((kept // vertices, kept % vertices)).astype(np.int32)
    return Edges(ends, count, forward, side, start)


def edge_lengths(mesh: Mesh, found: Edges | None = None) -> Float:
    """Length of every edge, mm, in the order of :func:`edges`; shape (e,)."""
    ends = (found or edges(mesh)).ends
    return _length(mesh.vertices[ends[:, 1]] - mesh.vertices[ends[:, 0]])


def boundary_loops(mesh: Mesh, found: Edges | None = None) -> tuple[Loop, ...]:
    """Open rims: edges with a triangle on one side only, the longest rim first.

    Parameters
    ----------
    mesh : Mesh
    found : Edges, optional
        Of the same mesh, where they are known already.

    Returns
    -------
    tuple of Loop
        None for a closed surface. Rims that touch in one corner count as one.
    """
    found = found or edges(mesh)
    open_ends = found.ends[(found.count == 1) & (found.ends[:, 0] != found.ends[:, 1])]
    if not len(open_ends):
        return ()
    label = _labels(len(mesh.vertices), open_ends)[open_ends[:, 0]]
    order = np.argsort(label, kind="stable")
    cuts = np.flatnonzero(np.diff(label[order])) + 1
    groups = np.split(open_ends[order], cuts)
    spans = _length(mesh.vertices[open_ends[:, 1]] - mesh.vertices[open_ends[:, 0]])[order]
    lengths = [float(part.sum()) for part in np.split(spans, cuts)]
    loops = [Loop(ends, length) for ends, length in zip(groups, lengths, strict=True)]
    return tuple(sorted(loops, key=lambda loop: (-loop.length_mm, loop.edges[0, 0])))


def components(mesh: Mesh) -> NDArray[np.int32]:
    """Part that each triangle belongs to; triangles that share a corner hang together.

    Parameters
    ----------
    mesh : Mesh

    Returns
    -------
    (m,) int32 array
        Labels from 0, numbered in the order in which the parts first appear among the triangles.
    """
    sides = np.concatenate((mesh.faces[:, :2], mesh.faces[:, 1:]))
    label = _labels(len(mesh.vertices), sides)[mesh.faces[:, 0]]
    return in_order(label)


def in_order(label: NDArray[np.int32]) -> NDArray[np.int32]:
    """Number labels anew, from 0, in the order in which they first appear."""
    _, first, inverse = np.unique(label, return_index=True, return_inverse=True)
    rank = np.empty(len(first), np.int32)
    rank[np.argsort(first)] = np.arange(len(first), dtype=np.int32)
    return rank[inverse]


def neighbours(mesh: Mesh, found: Edges | None = None) -> csr_array:
    """Which vertices an edge joins: an (n, n) sparse array of ones.

    Multiplying by it sums a value over the first ring of each vertex; twice gives the second ring.
    """
    ends = (found or edges(mesh)).ends
    ends = ends[ends[:, 0] != ends[:, 1]]
    rows = np.concatenate((ends[:, 0], ends[:, 1]))
    columns = np.concatenate((ends[:, 1], ends[:, 0]))
    size = len(mesh.vertices)
    return coo_array((np.ones(len(rows)), (rows, columns)), shape=(size, size)).tocsr()


def face_vectors(mesh: Mesh) -> Float:
    """Area vectors of the triangles, mm2: along the normal, as long as the area; shape (m, 3)."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    return np.asarray(0.5 * np.cross(b - a, c - a))


def face_areas(mesh: Mesh) -> Float:
    """Areas of the triangles, mm2; shape (m,)."""
    return _length(face_vectors(mesh))


def face_normals(mesh: Mesh) -> Float:
    """Unit normals of the triangles, out of the tooth when the winding is right; zero where a triangle has
    no area. Shape (m, 3).
    """
    return unit(face_vectors(mesh))


def vertex_normals(mesh: Mesh) -> Float:
    """Unit normals at the vertices, (n, 3), triangles weighted by area; zero where none can be given."""
    vectors = face_vectors(mesh)
    size = len(mesh.vertices)
    total = np.zeros((size, 3))
    for axis in range(3):
        for corner in range(3):
            total[:, axis] += np.bincount(mesh.faces[:, corner], vectors[:, axis], minlength=size)
    return unit(total)


def unit(vectors: Float) -> Float:
    """Scale row vectors to length one; a zero row stays zero."""
    length = _length(vectors)
    return np.asarray(vectors / np.where(length > 0.0, length, 1.0)[:, None])


def _length(vectors: Float) -> Float:
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", vectors, vectors)))


def _labels(size: int, pairs: Int) -> NDArray[np.int32]:
    ones = np.ones(len(pairs), np.int8)
    graph = coo_array((ones, (pairs[:, 0], pairs[:, 1])), shape=(size, size)).tocsr()
    return np.asarray(connected_components(graph, directed=False)[1])
