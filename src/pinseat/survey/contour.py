"""Height of contour: where a tooth turns from facing the draw to facing away from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array

from pinseat.mesh.model import Mesh
from pinseat.mesh.smoothing import smoothed_normals
from pinseat.mesh.topology import Edges, edges

Float = NDArray[np.float64]
Index = NDArray[np.int64]

SHORTEST_MM = 1.0
"""A shorter piece of the line is the scanner's noise on a wall along the draw."""


@dataclass(frozen=True, eq=False)
class Crossings:
    """Where the edges of a mesh cross its height of contour.

    Attributes
    ----------
    points, normals : (q, 3) arrays
        Places on the edges, mm, and smoothed normals there, not of unit length.
    links : (l, 2) array
        Pairs of places with a triangle between them: the pieces of the line.
    """

    points: Float
    normals: Float
    links: Index


def height_of_contour(mesh: Mesh, draw: ArrayLike) -> tuple[Float, ...]:
    """Height of contour as lines on the mesh.

    It is the zero set of *n . d*, with *n* the smoothed normals and *d* the draw, taken as linear along each
    edge; of it, those parts above which the surface faces the draw and below which it faces away. The other
    parts are the bottoms of hollows.

    Parameters
    ----------
    mesh : Mesh
        Wound outward.
    draw : (3,) array
        Off the teeth; any length but zero.

    Returns
    -------
    tuple of (k, 3) arrays, mm
        The longest line first; closed where first and last point are the same. Pieces shorter than
        :data:`SHORTEST_MM` are left out.

    Examples
    --------
    >>> from pinseat.survey.contour import height_of_contour
    >>> up = Mesh(np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0]]), np.array([[0, 1, 2]], np.int32))
    >>> height_of_contour(up, (0, 0, 1))
    ()
    """
    found = edges(mesh)
    crossed = crossings(mesh, np.asarray(draw, float), smoothed_normals(mesh, found), found)
    lines = [crossed.points[chain] for chain in _chains(crossed.links, len(crossed.points))]
    lengths = [float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum()) for line in lines]
    order = sorted(range(len(lines)), key=lambda i: (-lengths[i], i))
    return tuple(lines[i] for i in order if lengths[i] >= SHORTEST_MM)


def crossings(mesh: Mesh, draw: Float, normals: Float, found: Edges) -> Crossings:
    """Cross the edges of a mesh with its height of contour.

    Parameters
    ----------
    mesh : Mesh
    draw : (3,) array
    normals : (n, 3) array
        At the vertices, smoothed.
    found : Edges
        Of the same mesh.

    Returns
    -------
    Crossings
    """
    facing = normals @ draw
    towards = facing >= 0.0
    a, b = found.ends.T
    crossed = towards[a] != towards[b]
    number = np.cumsum(crossed) - 1
    a, b = a[crossed], b[crossed]
    share = (facing[a] / (facing[a] - facing[b]))[:, None]
    points = mesh.vertices[a] + share * (mesh.vertices[b] - mesh.vertices[a])
    between = normals[a] + share * (normals[b] - normals[a])
    edge_of_side = np.empty(len(found.side), np.int64)
    edge_of_side[found.side] = np.repeat(np.arange(len(found.ends)), found.count)
    corners = towards[mesh.faces]
    mixed = np.flatnonzero(corners.any(axis=1) & ~corners.all(axis=1))
    height = (mesh.vertices @ draw)[mesh.faces[mixed]]
    above = corners[mixed]
    count = above.sum(axis=1)
    rises = (height * above).sum(axis=1) / count > (height * ~above).sum(axis=1) / (3 - count)
    sides = edge_of_side.reshape(-1, 3)[mixed[rises]]
    links = number[sides[crossed[sides]]].reshape(-1, 2)
    return Crossings(points, between, links)


def _chains(links: Index, size: int) -> list[Index]:
    """Walk along the links: open chains from their ends first, then closed ones."""
    ones = np.ones(2 * len(links), np.int8)
    both = np.concatenate((links, links[:, ::-1]))
    graph = coo_array((ones, (both[:, 0], both[:, 1])), shape=(size, size)).tocsr()
    start, near = graph.indptr.tolist(), graph.indices.tolist()
    left = [set(near[start[i] : start[i + 1]]) for i in range(size)]
    odd = [i for i in range(size) if len(left[i]) % 2]
    chains = []
    for first in (*odd, *range(size)):
        while left[first]:
            chain = [first]
            while left[chain[-1]]:
                here = chain[-1]
                step = min(left[here])
                left[here].remove(step)
                left[step].remove(here)
                chain.append(step)
            chains.append(np.array(chain))
    return chains
