"""Undercut: what cannot be reached along the draw, how deep it lies, what blocking it out takes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from pinseat.mesh.model import Mesh
from pinseat.mesh.raster import view_axes
from pinseat.mesh.rays import OFF_SURFACE_MM, Rays
from pinseat.mesh.smoothing import RINGS, smoothed_normals, steadied
from pinseat.mesh.topology import face_vectors, unit
from pinseat.survey.contour import crossings
from pinseat.survey.smoothed import Smoothed

Float = NDArray[np.float64]
Index = NDArray[np.int64]
Bool = NDArray[np.bool_]

_NEAR = (6, 48)
"""Pieces of the height of contour looked at for each point: at first, and where none of those serves."""


class Surveyed(Smoothed):
    """A scan with what does not depend on the draw, made once for all draws."""

    @cached_property
    def surface(self) -> Mesh:
        """The surface looked at: every triangle of the mesh, the noise from point to point taken out."""
        return steadied(self.mesh, smoothed_normals(self.mesh, self.edges), self.edges)

    @cached_property
    def normals(self) -> Float:
        """Smoothed unit normals of the surface looked at, at the vertices, (n, 3).

        On a wall along the draw noise turns as much away as back, but there is more wall on the free side:
        from the raw points the area came out up to 4 % too large with 10 um of noise.
        """
        return smoothed_normals(self.surface, self.edges)

    @cached_property
    def off(self) -> Float:
        """Starts of the rays: every vertex, 40 um off the surface; (n, 3), mm."""
        return self.surface.vertices + OFF_SURFACE_MM * self.normals

    @cached_property
    def rays(self) -> Rays:
        """Rays against every triangle."""
        return Rays(self.surface)

    @cached_property
    def face_vectors(self) -> Float:
        """Area vectors of the triangles, (m, 3), mm2."""
        return face_vectors(self.surface)

    @cached_property
    def face_area(self) -> Float:
        """Areas of the triangles laid onto the smoothed surface, (m,), mm2: roughness adds nothing."""
        return np.asarray(np.einsum("ij,ij->i", self.face_vectors, self.face_normals))

    @cached_property
    def vertex_area(self) -> Float:
        """A third of the triangles around each vertex, (n,), mm2."""
        share = np.repeat(self.face_area / 3.0, 3)
        return np.bincount(self.mesh.faces.ravel(), share, len(self.mesh.vertices)).astype(float)

    @cached_property
    def reach_mm(self) -> float:
        """How far smoothing can shift the height of contour at a sharp edge: an edge length for each ring."""
        return RINGS * self.edge_mm


@dataclass(frozen=True, eq=False)
class UndercutMap:
    """The undercut of a scan, seen along one draw.

    Attributes
    ----------
    draw : (3,) array
        Unit vector off the teeth.
    depth_mm : (n,) array
        At each vertex, 0 where it is free: how far it is, square to the draw, from the vertical through the
        height of contour. It is taken to the nearest line of contour that is seen along the draw, stands no
        lower than the vertex and beyond which nothing hangs over the vertex's level; to the nearest of all
        where there is none such. The tooth's own ground on the way does not count.
    block_out_mm : (n,) array
        At each vertex, 0 where it is free: height, along the draw, of the block-out that meets the surface
        there: above a vertex that faces the draw, below one that faces away. Below the scan's edge block-out
        ends at the level of its lowest point.
    face_area_mm2 : (m,) array
        Undercut part of each triangle.
    face_volume_mm3 : (m,) array
        Block-out under each overhanging triangle. Only sums mean something: with noise single ones can be
        below zero.
    groundless_mm2 : float
        Part of the area with no scan below it, where the block-out's lower end is not known.
    """

    draw: Float
    depth_mm: Float
    block_out_mm: Float
    face_area_mm2: Float
    face_volume_mm3: Float
    groundless_mm2: float

    @property
    def area_mm2(self) -> float:
        """Undercut surface."""
        return float(self.face_area_mm2.sum())

    @property
    def volume_mm3(self) -> float:
        """Space that block-out fills."""
        return float(self.face_volume_mm3.sum())


def undercut_map(scan: Mesh | Surveyed, draw: ArrayLike) -> UndercutMap:
    """Undercut of every vertex, by rays against every triangle.

    A vertex is undercut where its smoothed normal faces away from the draw, or where the ray along the draw,
    started 40 um off the surface, meets the surface again.

    Parameters
    ----------
    scan : Mesh or Surveyed
        A working copy, wound outward; as `Surveyed` where several draws are looked at.
    draw : (3,) array
        Off the teeth; any length but zero.

    Returns
    -------
    UndercutMap

    Raises
    ------
    ScanError
        If the mesh has no triangle.

    Notes
    -----
    For a sphere of radius *R* below its equator, at distance *r* from its axis: depth *R - r*, area
    *2 pi R^2*, volume down to its lowest point *pi R^3 / 3*. See ``docs/method/undercut.md``.

    Examples
    --------
    A floor of 2 mm by 2 mm in the shadow of a wider roof:

    >>> square = np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])
    >>> faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]], np.int32)
    >>> scan = Mesh(np.concatenate((square, 2.0 * square + [0, 0, 3])), faces)
    >>> found = undercut_map(scan, (0, 0, 1))
    >>> round(found.area_mm2, 6), found.depth_mm[:4].tolist()
    (4.0, [1.0, 1.0, 1.0, 1.0])
    """
    surveyed = scan if isinstance(scan, Surveyed) else Surveyed(scan)
    away = np.asarray(draw, float) / np.linalg.norm(draw)
    mesh, rays = surveyed.surface, surveyed.rays
    hangs = surveyed.normals @ away < 0.0
    lies = np.flatnonzero(~hangs)
    over = rays.distance(surveyed.off[lies], away)
    shadowed = np.isfinite(over)
    barred = hangs.copy()
    barred[lies[shadowed]] = True

    lift = (surveyed.off - mesh.vertices) @ away
    block_out = np.zeros(len(barred))
    block_out[lies[shadowed]] = over[shadowed] + lift[lies[shadowed]]
    at = np.flatnonzero(barred)
    under = rays.distance(surveyed.off[at], -away)
    level = mesh.vertices @ away
    groundless = ~np.isfinite(under)
    drop = np.where(groundless, level[at] - level[mesh.faces].min(), under - lift[at])
    block_out[hangs] = np.maximum(drop[hangs[at]], 0.0)
    drops = np.zeros(len(barred))
    drops[at] = drop

    depth = np.zeros(len(barred))
    depth[at] = _depth(surveyed, away, at)
    return UndercutMap(
        away,
        depth,
        block_out,
        surveyed.face_area * barred[mesh.faces].mean(axis=1),
        -(surveyed.face_vectors @ away) * drops[mesh.faces].mean(axis=1),
        float(surveyed.vertex_area[at[groundless]].sum()),
    )


@dataclass(frozen=True, eq=False)
class _Outline:
    """Height of contour seen along the draw: pieces in the plane square to it, (l, 2), and their levels."""

    start: Float
    end: Float
    level: Float


def _outline(surveyed: Surveyed, draw: Float, axes: Float) -> _Outline:
    """The seen pieces, each end moved to the exact edge of the shadow; open rims beside them.

    Smoothing rounds a sharp edge and leaves the line beside it. Rays along the draw, started just below
    the line and moved out step by step along the normal, find where the shadow really ends.
    """
    mesh = surveyed.surface
    line = crossings(mesh, draw, surveyed.normals, surveyed.edges)
    out = unit(line.normals - np.outer(line.normals @ draw, draw))
    from_ = line.points - OFF_SURFACE_MM * draw
    seen = np.zeros(len(out), bool)
    high = np.zeros(len(out))
    for push in (OFF_SURFACE_MM, 0.5 * surveyed.reach_mm, surveyed.reach_mm):
        left = np.flatnonzero(~seen)
        free = left[~surveyed.rays.blocked(from_[left] + push * out[left], draw)]
        seen[free], high[free] = True, push
    low = np.full(len(out), -OFF_SURFACE_MM)
    for _ in range(9):
        half = 0.5 * (low + high)
        shut = surveyed.rays.blocked(from_ + half[:, None] * out, draw)
        low, high = np.where(shut, half, low), np.where(shut, high, half)
    edge = line.points + high[:, None] * out
    links = line.links[seen[line.links].all(axis=1)]
    rim = surveyed.edges.ends[surveyed.edges.count == 1]
    middle = mesh.vertices[rim].mean(axis=1)
    rim = rim[~surveyed.rays.blocked(middle + OFF_SURFACE_MM * draw, draw)]
    starts = np.concatenate((edge[links[:, 0]], mesh.vertices[rim[:, 0]])) @ axes.T
    ends = np.concatenate((edge[links[:, 1]], mesh.vertices[rim[:, 1]])) @ axes.T
    return _Outline(starts[:, :2], ends[:, :2], np.maximum(starts[:, 2], ends[:, 2]))


def _depth(surveyed: Surveyed, draw: Float, at: Index) -> Float:
    """Distance square to the draw from vertices to the height of contour that bars their way."""
    axes = view_axes(draw)
    outline = _outline(surveyed, draw, axes)
    depth = np.full(len(at), np.inf)
    if not len(outline.level) or not len(at):
        return depth
    local = surveyed.surface.vertices[at] @ axes.T
    tree = cKDTree(0.5 * (outline.start + outline.end))
    left = np.arange(len(at))
    for count in _NEAR:
        ranks = list(range(1, min(count, tree.n) + 1))
        near = np.asarray(tree.query(local[left, :2], k=ranks)[1], np.int64)
        place, distance = _nearest_on(outline, near, local[left])
        distance[outline.level[near] < local[left, 2:] - surveyed.reach_mm] = np.inf
        order = np.argsort(distance, axis=1, kind="stable")
        settled = np.zeros(len(left), bool)
        for column in order.T:
            asked = np.flatnonzero(~settled & np.isfinite(distance[np.arange(len(left)), column]))
            to, far = place[asked, column[asked]], distance[asked, column[asked]]
            good = asked[_opens(surveyed, draw, axes, local[left[asked]], to, far)]
            settled[good] = True
            depth[left[good]] = distance[good, column[good]]
        left = left[~settled]
    if len(left):
        depth[left] = tree.query(local[left, :2])[0]
    return depth


def _nearest_on(outline: _Outline, near: Index, local: Float) -> tuple[Float, Float]:
    """Nearest place on each piece, (k, c, 2), and its distance in the plane, (k, c)."""
    start, along = outline.start[near], outline.end[near] - outline.start[near]
    offset = local[:, None, :2] - start
    square = np.maximum((along * along).sum(axis=2), 1e-18)
    share = np.clip((offset * along).sum(axis=2) / square, 0.0, 1.0)
    place = start + share[..., None] * along
    return place, np.linalg.norm(local[:, None, :2] - place, axis=2)


def _opens(surveyed: Surveyed, draw: Float, axes: Float, local: Float, to: Float, far: Float) -> Bool:
    """Whether nothing hangs over the points' level just beyond the places; ground above it does not count."""
    way = (to - local[:, :2]) / np.maximum(far, 1e-9)[:, None]
    beyond = np.column_stack((to + OFF_SURFACE_MM * way, local[:, 2])) @ axes
    face = surveyed.rays.first_face(beyond, draw)
    over = (face >= 0) & (surveyed.face_vectors[face] @ draw < 0.0)
    return np.asarray(~over | (far < OFF_SURFACE_MM))
