"""Margins: lines on the scan, given point by point or traced along the ridge between picks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from pinseat.errors import SurveyError
from pinseat.mesh.topology import edge_lengths
from pinseat.survey.terrain import Terrain

Float = NDArray[np.float64]
Index = NDArray[np.int64]

ROOM_MM = 0.3
"""The way between two points is looked for within their distance, and this, of the middle between them."""
ON_RIDGE_MM = 0.4
"""A point to be traced from moves to the sharpest place within this."""
SHARP_PER_MM = 1.0
"""Curvature at which a way along a ridge begins to count as shorter than one beside it."""


@dataclass(frozen=True, eq=False)
class Margin:
    """A margin line of one tooth.

    Attributes
    ----------
    tooth : int
    points : (k, 3) array, mm
        The line; first and last point are the same when it is closed.
    edges : (e,) array
        Edges of the mesh that it runs along, which regions do not cross; see
        :func:`pinseat.mesh.topology.edges`.
    closed : bool
    traced : bool
        Whether the line between the given points was found on the scan.
    """

    tooth: int
    points: Float
    edges: Index
    closed: bool
    traced: bool

    @property
    def length_mm(self) -> float:
        """Length of the line."""
        return float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())


def margin(
    terrain: Terrain, points: ArrayLike, *, tooth: int = 0, closed: bool = True, traced: bool = False
) -> Margin:
    """Lay a margin line onto the scan.

    Parameters
    ----------
    terrain : Terrain
    points : (k, 3) array, mm
        In scan coordinates. Given lines are joined by straight pieces; traced ones follow the sharpest ridge.
    tooth : int
    closed : bool
        Whether the last point is joined to the first.
    traced : bool
        Whether to trace the line between the points along the scan; each point first moves to the ridge
        beside it. One point to two millimetres is enough on a crisp margin.

    Returns
    -------
    Margin

    Raises
    ------
    SurveyError
        If there are too few points, one lies more than 1 mm off the scan (it is named), or two of them lie on
        parts of the scan that do not hang together.

    Notes
    -----
    A traced line is the shortest path over the edges of the mesh (Dijkstra 1959) with each edge's length
    divided by *1 + (k / 1 mm^-1)^2*, *k* the convex curvature there, none where the surface is hollow.
    """
    given = np.asarray(points, float).reshape(-1, 3)
    name = f"margin of tooth {tooth}"
    if len(given) < (3 if closed else 2):
        raise SurveyError(
            "this margin has too few points",
            where=name,
            value=str(len(given)),
            limit="3 for a closed line, 2 for an open one",
            do="pick more points along it",
        )
    snapped, corners = _snapped(terrain, given, name)
    if traced:
        corners = [_sharpest(terrain, place) for place in snapped]
    cost = _ridge_cost(terrain) if traced else None
    last = len(given) if closed else len(given) - 1
    legs = [
        _leg(terrain, corners[i], corners[(i + 1) % len(given)], cost, f"{name}, point {i + 1}")
        for i in range(last)
    ]
    way = np.concatenate([legs[0][:1], *(leg[1:] for leg in legs)])
    line = terrain.mesh.vertices[way] if traced else snapped[[*range(len(given)), *([0] if closed else [])]]
    return Margin(tooth, line, _edge_index(terrain, way), closed, traced)


def _snapped(terrain: Terrain, given: Float, name: str) -> tuple[Float, list[int]]:
    """Each point on the scan, and the corner of the mesh that stands for it."""
    on, corners = [], []
    for i, point in enumerate(given, start=1):
        place, face = terrain.surface.pick(point, f"{name}, point {i}")
        corner = terrain.mesh.faces[face]
        on.append(place)
        corners.append(int(corner[np.argmin(np.linalg.norm(terrain.mesh.vertices[corner] - place, axis=1))]))
    return np.array(on), corners


def _sharpest(terrain: Terrain, place: Float) -> int:
    """Corner of the mesh where it bends outward most, close to a place."""
    near = np.union1d(terrain.surface.within(place, ON_RIDGE_MM), terrain.surface.nearest(place, 1))
    return int(near[np.argmax(terrain.vertex_bends[near, 0])])


def _ridge_cost(terrain: Terrain) -> Float:
    """What it costs to go along each edge, mm: less along a ridge."""
    ridge = np.maximum(terrain.vertex_bends[:, 0][terrain.edges.ends].mean(axis=1), 0.0)
    return np.asarray(edge_lengths(terrain.mesh, terrain.edges) / (1.0 + (ridge / SHARP_PER_MM) ** 2))


def _straight_cost(terrain: Terrain, used: Index, a: Float, b: Float) -> Float:
    """What it costs to go along some edges, mm: more away from the straight line between two points."""
    start, end = terrain.mesh.vertices[terrain.edges.ends[used].T]
    middle = 0.5 * (start + end) - a
    along = np.clip(middle @ (b - a) / max(float((b - a) @ (b - a)), 1e-12), 0.0, 1.0)
    beside = np.linalg.norm(middle - along[:, None] * (b - a), axis=1)
    return np.asarray(np.linalg.norm(end - start, axis=1) * (1.0 + (beside / terrain.edge_mm) ** 2))


def _leg(terrain: Terrain, start: int, end: int, ridge_cost: Float | None, where: str) -> Index:
    """Corners of the mesh on the cheapest way between two of them, both included."""
    if start == end:
        return np.array([start])
    a, b = terrain.mesh.vertices[[start, end]]
    reach = float(np.linalg.norm(b - a)) + ROOM_MM + 2.0 * terrain.edge_mm
    inside = np.zeros(len(terrain.mesh.vertices), bool)
    inside[terrain.surface.within(0.5 * (a + b), reach)] = True
    used = np.flatnonzero(inside[terrain.edges.ends].all(axis=1))
    near = np.flatnonzero(inside)
    ends = np.searchsorted(near, terrain.edges.ends[used])
    cost = _straight_cost(terrain, used, a, b) if ridge_cost is None else ridge_cost[used]
    graph = coo_array(
        (np.maximum(cost, 1e-9), (ends[:, 0], ends[:, 1])), shape=(len(near), len(near))
    ).tocsr()
    first, last = (int(np.searchsorted(near, corner)) for corner in (start, end))
    far, before = dijkstra(graph, directed=False, indices=[first], return_predecessors=True)
    if not np.isfinite(far[0, last]):
        raise SurveyError(
            "the way from this margin point to the next crosses a gap in the scan",
            where=where,
            do="pick points on either side of the gap closer together, or go round it",
        )
    way = [last]
    while way[-1] != first:
        way.append(int(before[0, way[-1]]))
    return near[way[::-1]]


def _edge_index(terrain: Terrain, way: Index) -> Index:
    """Which edges join corners that follow on each other."""
    pairs = np.sort(np.column_stack((way[:-1], way[1:])).astype(np.int64), axis=1)
    size = len(terrain.mesh.vertices)
    key = terrain.edges.ends[:, 0].astype(np.int64) * size + terrain.edges.ends[:, 1]
    return np.unique(np.searchsorted(key, pairs[:, 0] * size + pairs[:, 1]))
