"""From a signed distance to a clean triangle mesh: one coarse isosurface, split where detail is wanted,
relaxed along the surface and set exactly onto it.

The isosurface only decides how the surface hangs together. Where its vertices lie comes from Newton steps on
the distance itself, so no trace of the grid is left and a pin's wall is round to a fraction of a micrometre.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components
from skimage.measure import marching_cubes

from pinseat.mesh.model import Mesh

Float = NDArray[np.float64]
Index = NDArray[np.int64]
Field = Callable[[Float], Float]
BLOCK = 4


def isosurface(field: Field, inside: Field, low: Float, high: Float, pitch_mm: float) -> Mesh:
    """Coarse zero surface of a signed distance within a region.

    Only blocks of the grid that the surface may cross are evaluated.

    Parameters
    ----------
    field : callable
        Signed distance of (n, 3) points.
    inside : callable
        Positive where the surface is wanted.
    low, high : (3,) arrays
        Corners of a box around the region.
    pitch_mm : float
        Grid spacing.

    Returns
    -------
    Mesh
    """
    blocks = np.ceil((high - low) / (BLOCK * pitch_mm)).astype(int)
    coarse = np.stack(np.meshgrid(*(np.arange(b + 1) for b in blocks), indexing="ij"), axis=-1)
    nodes = low + coarse.reshape(-1, 3) * (BLOCK * pitch_mm)
    shape = tuple(blocks + 1)
    values = field(nodes).reshape(shape)
    wanted = inside(nodes).reshape(shape) > -1.2 * BLOCK * pitch_mm
    near = (np.abs(values) < 1.2 * BLOCK * pitch_mm) & wanted
    active = np.zeros(tuple(blocks), bool)
    for corner in np.ndindex(2, 2, 2):
        active |= near[tuple(slice(c, c + b) for c, b in zip(corner, blocks, strict=True))]
    fine = np.where(values > 0.0, 1.0, -1.0).astype(np.float32)
    volume = fine.repeat(BLOCK, 0).repeat(BLOCK, 1).repeat(BLOCK, 2)
    volume = volume[: blocks[0] * BLOCK + 1, : blocks[1] * BLOCK + 1, : blocks[2] * BLOCK + 1]
    mask = np.zeros(volume.shape, bool)
    for corner in np.ndindex(BLOCK + 1, BLOCK + 1, BLOCK + 1):
        cells = tuple(slice(c, c + b * BLOCK, BLOCK) for c, b in zip(corner, blocks, strict=True))
        mask[cells] |= active
    places = np.argwhere(mask)
    volume[mask] = field(low + places * pitch_mm)
    vertices, faces, _, _ = marching_cubes(volume, 0.0, mask=mask, gradient_direction="descent")
    return Mesh(low + vertices.astype(np.float64) * pitch_mm, faces.astype(np.int32))


def project(field: Field, vertices: Float, rounds: int) -> Float:
    """Set points onto the zero surface.

    Parameters
    ----------
    field : callable
    vertices : (n, 3) array
    rounds : int
        Gradients taken; two steps are made with each.

    Returns
    -------
    (n, 3) array
    """
    small = 1e-4
    for _ in range(rounds):
        value = field(vertices)
        gradient = np.stack([(field(vertices + small * e) - value) / small for e in np.eye(3)], axis=1)
        square = np.maximum((gradient * gradient).sum(axis=1), 0.04)
        for again in range(2):
            step = np.clip(value / np.sqrt(square), -0.15, 0.15) / np.sqrt(square)
            vertices = vertices - step[:, None] * gradient
            value = field(vertices) if again == 0 else value
    return vertices


def edges_of(faces: NDArray[np.int32]) -> tuple[Index, Index]:
    """Edges, each once, and the three edges of each face.

    Returns
    -------
    edges : (k, 2) array
    of_face : (m, 3) array
        Edge opposite to each corner.
    """
    f = faces.astype(np.int64)
    pairs = np.sort(np.concatenate([f[:, [1, 2]], f[:, [2, 0]], f[:, [0, 1]]]), axis=1)
    key = pairs[:, 0] * (f.max() + 1) + pairs[:, 1]
    unique, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    del unique
    return pairs[first], inverse.reshape(3, -1).T


def relax(mesh: Mesh, rounds: int) -> Mesh:
    """Even out the triangles: vertices slide along the surface towards their neighbours' middle.

    Parameters
    ----------
    mesh : Mesh
    rounds : int

    Returns
    -------
    Mesh
    """
    edges, of_face = edges_of(mesh.faces)
    count = len(mesh.vertices)
    graph = _graph(edges, count)
    share = 1.0 / np.maximum(graph.sum(axis=1), 1.0)
    border = np.bincount(of_face.ravel(), minlength=len(edges)) == 1
    free = np.ones(count)
    free[edges[border].ravel()] = 0.0
    vertices = mesh.vertices
    for _ in range(rounds):
        normals = vertex_normals(Mesh(vertices, mesh.faces))
        move = (graph @ vertices) * share[:, None] - vertices
        move -= (move * normals).sum(axis=1)[:, None] * normals
        vertices = vertices + 0.6 * free[:, None] * move
    return Mesh(vertices, mesh.faces)


def _graph(edges: Index, count: int) -> csr_array:
    both = np.concatenate([edges, edges[:, ::-1]])
    return coo_array((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=(count, count)).tocsr()


def vertex_normals(mesh: Mesh) -> Float:
    """Unit normals at the vertices, weighted by area.

    Parameters
    ----------
    mesh : Mesh

    Returns
    -------
    (n, 3) array
    """
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    total = np.zeros_like(mesh.vertices)
    for axis in range(3):
        weights = np.repeat(cross[:, axis], 3)
        total[:, axis] = np.bincount(mesh.faces.ravel(), weights, minlength=len(mesh.vertices))
    return total / np.maximum(np.linalg.norm(total, axis=1), 1e-12)[:, None]


def split(mesh: Mesh, wanted: NDArray[np.bool_]) -> Mesh:
    """Halve the edges of some faces; their neighbours are cut to match, so the mesh stays whole.

    Parameters
    ----------
    mesh : Mesh
    wanted : (m,) bool array
        Faces to cut into four.

    Returns
    -------
    Mesh
    """
    edges, of_face = edges_of(mesh.faces)
    marked = np.zeros(len(edges), bool)
    marked[of_face[wanted].ravel()] = True
    number = np.full(len(edges), -1)
    number[marked] = len(mesh.vertices) + np.arange(int(marked.sum()))
    middle = mesh.vertices[edges[marked]].mean(axis=1)
    cut = number[of_face]
    count = (cut >= 0).sum(axis=1)
    pieces = [mesh.faces[count == 0].astype(np.int64)]
    for turn in range(3):
        roll = [(turn + i) % 3 for i in range(3)]
        v, m = mesh.faces[:, roll].astype(np.int64), cut[:, roll]
        one = (count == 1) & (m[:, 0] >= 0)
        two = (count == 2) & (m[:, 0] < 0)
        a, b, c, p = v[one, 0], v[one, 1], v[one, 2], m[one, 0]
        pieces += [np.stack([a, b, p], 1), np.stack([a, p, c], 1)]
        a, b, c, p, q = v[two, 0], v[two, 1], v[two, 2], m[two, 1], m[two, 2]
        pieces += [np.stack(t, 1) for t in ((a, q, p), (q, b, p), (b, c, p))]
    v, m = mesh.faces[count == 3].astype(np.int64), cut[count == 3]
    pieces += [
        np.stack([v[:, 0], m[:, 2], m[:, 1]], 1),
        np.stack([v[:, 1], m[:, 0], m[:, 2]], 1),
        np.stack([v[:, 2], m[:, 1], m[:, 0]], 1),
        m,
    ]
    faces = np.concatenate(pieces).astype(np.int32)
    return Mesh(np.concatenate([mesh.vertices, middle]), faces)


def largest(mesh: Mesh) -> Mesh:
    """The largest connected piece, without unused vertices.

    Parameters
    ----------
    mesh : Mesh

    Returns
    -------
    Mesh
    """
    edges, _ = edges_of(mesh.faces)
    _, label = connected_components(_graph(edges, len(mesh.vertices)), directed=False)
    biggest = np.argmax(np.bincount(label[mesh.faces[:, 0]]))
    return used(mesh.vertices, mesh.faces[label[mesh.faces[:, 0]] == biggest])


def used(vertices: Float, faces: NDArray[np.int32]) -> Mesh:
    """Drop vertices that no face uses."""
    keep, inverse = np.unique(faces, return_inverse=True)
    return Mesh(vertices[keep], inverse.reshape(-1, 3).astype(np.int32))
