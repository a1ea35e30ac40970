"""The cast as a tray sees it: the scan without its pins, its gaps closed, everything under it filled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.sparse import coo_array
from scipy.sparse.linalg import spsolve

from pinseat.mesh.model import Mesh
from pinseat.mesh.raster import HeightField, height_field
from pinseat.mesh.topology import Edges, boundary_loops, components, edges, face_areas, face_vectors
from pinseat.tray.pocket import Pocket

Float = NDArray[np.float64]
Mask = NDArray[np.bool_]

SAMPLE_MM = 0.22
"""Between points so far apart a distance of 2.6 mm is at most 3 um too long."""
PIXEL_MM = 0.25
HOLE_MM2 = 60.0
"""A larger gap in the scan is not closed: nobody knows what stands in it."""
TOLD_MM2 = 1.0
"""A smaller one is not worth a word."""
HOLE_RIM_MM = 30.0
"""Length of the rim of such a gap."""
CRUMB_SHARE, CRUMB_FACES = 0.001, 60
"""A loose part with less of the area or fewer triangles hangs in the air: no tray keeps clear of it."""
_PIN_SKIN_MM = 0.15
_FOOT_MM = 0.10


@dataclass(frozen=True, eq=False)
class Cast:
    """The surface that the tray keeps clear of, in the frame of the tray.

    Attributes
    ----------
    mesh : Mesh
        All of the scan except crumbs.
    bare : (m,) bool array
        Triangles that belong to no pin.
    points : (n, 3) array, mm
        Points of the bare surface and of closed gaps, dense enough for distances.
    top : HeightField
        Of the bare surface, gaps closed; NaN beside it.
    holes : tuple of float
        Area of each gap that was closed, seen along the draw, mm2.
    rim : (k, 3) array, mm
        Corners of the outer rim of the scan, and of gaps too large to be closed.
    """

    mesh: Mesh
    bare: Mask
    points: Float
    top: HeightField
    holes: tuple[float, ...]
    rim: Float


def cast_of(mesh: Mesh, pockets: Sequence[Pocket]) -> Cast:
    """Make the cast ready.

    Parameters
    ----------
    mesh : Mesh
        In the frame of the tray, z the draw.
    pockets : sequence of Pocket
        The pins; their scanned surface is left out, since they are known better as fitted.

    Returns
    -------
    Cast
    """
    mesh = _without_crumbs(mesh)
    pin = np.zeros(len(mesh.vertices), bool)
    for pocket in pockets:
        pin |= _on_pin(mesh.vertices, pocket)
    bare = np.asarray(~pin[mesh.faces].any(axis=1))
    surface = Mesh(mesh.vertices, np.ascontiguousarray(mesh.faces[bare]))
    top = height_field(surface, (0.0, 0.0, 1.0), PIXEL_MM, up=(0.0, 1.0, 0.0), margin_mm=2.0)
    filled, holes = _closed(top)
    found = edges(mesh)
    points = np.concatenate((surface_points(surface, SAMPLE_MM), _of_holes(top, filled)))
    return Cast(mesh, bare, points, filled, holes, _rim(mesh, found))


def _without_crumbs(mesh: Mesh) -> Mesh:
    part = components(mesh)
    area = np.bincount(part, face_areas(mesh))
    keep = (area[part] >= CRUMB_SHARE * area.sum()) & (np.bincount(part)[part] >= CRUMB_FACES)
    return mesh if keep.all() else Mesh(mesh.vertices, np.ascontiguousarray(mesh.faces[keep]))


def _on_pin(points: Float, pocket: Pocket) -> Mask:
    """Points on the wall or the end of a pin, above the fillet at its foot."""
    q = points - pocket.foot
    along = q @ pocket.axis
    near = (along > _FOOT_MM) & (along < pocket.length_mm + 2.0 * _PIN_SKIN_MM)
    where = np.flatnonzero(near)
    across = np.linalg.norm(q[where] - along[where, None] * pocket.axis, axis=1)
    out = np.zeros(len(points), bool)
    out[where[across < pocket.radius_mm + _PIN_SKIN_MM]] = True
    return out


def surface_points(mesh: Mesh, spacing_mm: float) -> Float:
    """Corners of a mesh, and points inside triangles larger than the spacing; shape (n, 3)."""
    parts = np.ceil(longest_sides_mm(mesh) / spacing_mm).astype(int)
    found = [mesh.vertices[used(mesh)]]
    for n in np.flatnonzero(np.bincount(parts)).tolist():
        if n < 2:
            continue
        i, j = np.indices((n + 1, n + 1)).reshape(2, -1)
        inside = (i + j <= n) & (np.maximum(np.maximum(i, j), n - i - j) < n)
        weights = np.column_stack((i, j, n - i - j))[inside] / n
        corner = mesh.vertices[mesh.faces[parts == n]]
        found.append(np.einsum("wc,fcx->fwx", weights, corner).reshape(-1, 3))
    return np.concatenate(found)


def longest_sides_mm(mesh: Mesh) -> Float:
    """Longest side of each triangle, mm; shape (m,)."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    return np.asarray(np.sqrt(np.maximum(np.maximum(_square(b - a), _square(c - b)), _square(a - c))))


def used(mesh: Mesh) -> Mask:
    """Vertices that a triangle has; (n,) bool array."""
    out = np.zeros(len(mesh.vertices), bool)
    out[mesh.faces.ravel()] = True
    return out


def _square(way: Float) -> Float:
    return np.asarray(np.einsum("ij,ij->i", way, way))


def _closed(top: HeightField) -> tuple[HeightField, tuple[float, ...]]:
    """Fill gaps that the surface surrounds, smoothly from their edges; large ones stay open."""
    gaps, number = label(np.isnan(top.height))
    border = np.unique(np.concatenate((gaps[0], gaps[-1], gaps[:, 0], gaps[:, -1])))
    area = np.bincount(gaps.ravel(), minlength=number + 1) * top.pixel_mm**2
    close = [g for g in range(1, number + 1) if g not in border and area[g] <= HOLE_MM2]
    if not close:
        return top, ()
    height = top.height.copy()
    inside = np.isin(gaps, close)
    height[inside] = _harmonic(height, inside)
    field = HeightField(height, top.face, top.origin, top.axes, top.pixel_mm)
    return field, tuple(float(area[g]) for g in close if area[g] >= TOLD_MM2)


def _harmonic(height: Float, inside: Mask) -> Float:
    """Heights in a gap: each the mean of its four neighbours."""
    rows, columns = np.nonzero(inside)
    number = np.full(inside.shape, -1)
    number[inside] = np.arange(len(rows))
    right = np.zeros(len(rows))
    i, j = [np.arange(len(rows))], [np.arange(len(rows))]
    weight = [np.full(len(rows), 4.0)]
    for dr, dc in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        other = number[rows + dr, columns + dc]
        known = other < 0
        right[known] += height[rows[known] + dr, columns[known] + dc]
        i.append(np.flatnonzero(~known))
        j.append(other[~known])
        weight.append(np.full(int((~known).sum()), -1.0))
    matrix = coo_array((np.concatenate(weight), (np.concatenate(i), np.concatenate(j)))).tocsc()
    return np.atleast_1d(spsolve(matrix, right))


def _of_holes(open_: HeightField, closed: HeightField) -> Float:
    rows, columns = np.nonzero(np.isnan(open_.height) & ~np.isnan(closed.height))
    return closed.to_world(rows, columns, closed.height[rows, columns])


def _rim(mesh: Mesh, found: Edges) -> Float:
    loops = boundary_loops(mesh, found)
    kept = [loop.edges.ravel() for i, loop in enumerate(loops) if i == 0 or loop.length_mm > HOLE_RIM_MM]
    return mesh.vertices[np.unique(np.concatenate(kept))] if kept else np.zeros((0, 3))


def curtained(mesh: Mesh, depth_mm: float) -> Mesh:
    """The blocked-out surface as triangles: the mesh, and a strip hanging from each edge that overhangs.

    From an edge between a triangle that looks up and one that looks down, and from each open edge, a strip
    hangs along the draw. From any place outside, the nearest point of mesh and strips is the nearest point of
    the blocked-out cast.

    Parameters
    ----------
    mesh : Mesh
        In the frame of the tray.
    depth_mm : float
        How far down the strips hang below the lowest point.
    """
    found = edges(mesh)
    up = face_vectors(mesh)[:, 2] > 0.0
    facing = np.add.reduceat(up[found.side // 3].astype(np.int64), found.start)
    over = (facing > 0) & ((facing < found.count) | (found.count == 1))
    a, b = found.ends[over].T
    low = float(mesh.vertices[:, 2].min()) - depth_mm
    hung = np.unique(np.concatenate((a, b)))
    below = mesh.vertices[hung] * [1.0, 1.0, 0.0] + [0.0, 0.0, low]
    size = len(mesh.vertices)
    c, d = size + np.searchsorted(hung, b), size + np.searchsorted(hung, a)
    strips = np.concatenate((np.column_stack((a, b, c)), np.column_stack((a, c, d))))
    return Mesh(np.concatenate((mesh.vertices, below)), np.concatenate((mesh.faces, strips)).astype(np.int32))
