"""The draw with the least undercut, out of thousands, coarse to fine."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from pinseat.errors import SurveyError
from pinseat.mesh.model import Mesh
from pinseat.mesh.raster import view_axes
from pinseat.survey.undercut import Surveyed

Float = NDArray[np.float64]
Index = NDArray[np.int64]

_KEPT = (600, 120, 30)
"""Directions that go on to the next larger sample of vertices; the last is all of them."""
_SMALLEST, _LARGEST = 1_500, 18_000
"""Vertices, at least, of the smallest sample, and of the largest but all."""
_RAYS_AT_ONCE = 25_000
"""So many rays in a bundle: few places with all directions, so that the triangles near them stay at hand."""


@dataclass(frozen=True, eq=False)
class Ranking:
    """Draws in the order of their undercut.

    Attributes
    ----------
    directions : (k, 3) array
        Unit vectors off the teeth, the best first: those tried on every vertex.
    undercut_area_mm2 : (k,) array
        As :func:`pinseat.survey.undercut.undercut_map` gives it.
    tried : int
        Directions compared in all.
    """

    directions: Float
    undercut_area_mm2: Float
    tried: int


def cone_of_directions(centre: ArrayLike, half_angle_deg: float, count: int) -> Float:
    """Directions spread evenly over a cone, the centre first.

    They lie on a spiral that turns by the golden angle, each with the same share of the spherical cap.

    Parameters
    ----------
    centre : (3,) array
        Any length but zero.
    half_angle_deg : float
        0 to 90.
    count : int
        At least 1.

    Returns
    -------
    (count, 3) array
        Unit vectors.

    Raises
    ------
    SurveyError
        If the angle or the count is outside its range.

    Examples
    --------
    >>> cone_of_directions((0, 0, 2), 10.0, 3)[0].tolist()
    [0.0, 0.0, 1.0]
    """
    if not 0.0 <= half_angle_deg <= 90.0:
        raise SurveyError(
            "the cone of draws is too wide", value=f"{half_angle_deg:g} deg", limit="0 to 90 deg to each side"
        )
    if count < 1:
        raise SurveyError("there is no draw to compare", value=f"{count} directions", limit="at least 1")
    step = np.arange(count)
    along = 1.0 - (1.0 - np.cos(np.radians(half_angle_deg))) * step / max(count - 1, 1)
    across = np.sqrt(np.maximum(1.0 - along**2, 0.0))
    turn = step * np.pi * (3.0 - np.sqrt(5.0))
    return np.stack((across * np.cos(turn), across * np.sin(turn), along), axis=1) @ view_axes(centre)


def rank_draws(scan: Mesh | Surveyed, centre: ArrayLike, half_angle_deg: float, count: int = 2000) -> Ranking:
    """Rank draws by the area they leave undercut.

    1. All of them, by the area that faces away and the shadows on the rest: these by rays from some 2,000
       vertices.
    2. The best 600 of them: rays from three times as many.
    3. The best 120 of those: rays from three times as many again.
    4. The best 30 of those: rays from every vertex.

    Vertices are taken in the order of a search tree, so that every sample is spread evenly.

    Parameters
    ----------
    scan : Mesh or Surveyed
        A working copy, wound outward.
    centre : (3,) array
        Middle of the cone; any length but zero.
    half_angle_deg : float
        Half angle of the cone.
    count : int
        Directions compared.

    Returns
    -------
    Ranking

    Raises
    ------
    SurveyError
        If the cone or the count is outside its range.
    """
    surveyed = scan if isinstance(scan, Surveyed) else Surveyed(scan)
    directions = cone_of_directions(centre, half_angle_deg, count)
    away = _facing_away(surveyed, directions)
    whole, seen = surveyed.vertex_area.sum(), 0.0
    alive, shadow = np.arange(count), np.zeros(count)
    for part, kept in zip(_nested(surveyed.mesh.vertices), (*_KEPT, count), strict=True):
        shadow[alive] += _in_shadow(surveyed, directions[alive], part)
        seen += surveyed.vertex_area[part].sum()
        estimate = away[alive] + shadow[alive] * (whole / seen)
        order = np.lexsort((alive, estimate))[:kept]
        alive, estimate = alive[order], estimate[order]
    return Ranking(directions[alive], estimate, count)


def _nested(points: Float) -> list[Index]:
    """What each sample adds to the one before, the last being all: every so many-th point of a tree."""
    base = max(len(points) // _LARGEST, 1)
    steps = [1]
    for step in (base, 3 * base, 9 * base):
        steps.insert(0, step if len(points) // step >= _SMALLEST else steps[0])
    order = cKDTree(points, balanced_tree=False, compact_nodes=False).indices
    place = np.arange(len(order))
    taken = np.zeros(len(order), bool)
    parts = []
    for step in steps:
        now = place % step == step // 2
        parts.append(order[now & ~taken])
        taken |= now
    return parts


def _facing_away(surveyed: Surveyed, directions: Float) -> Float:
    """Area that faces away from each direction, mm2.

    Only normals about square to the cone can face away from some directions and not from others.
    """
    cosine = surveyed.normals @ directions[0]
    narrowest = min(float((directions @ directions[0]).min()), 1.0)
    mixed = np.abs(cosine) <= np.sqrt(1.0 - narrowest**2) + 1e-6
    always = surveyed.vertex_area[~mixed & (cosine < 0.0)].sum()
    x, y, z = np.ascontiguousarray(surveyed.normals[mixed].T, np.float32)
    area = surveyed.vertex_area[mixed]
    ways = directions.astype(np.float32)
    return np.array([always + area[x * a + y * b + z * c < 0.0].sum() for a, b, c in ways])


def _in_shadow(surveyed: Surveyed, directions: Float, part: Index) -> Float:
    """Area around these vertices, mm2, that faces each direction but lies in the shadow of something else."""
    area = np.zeros(len(directions))
    size = max(_RAYS_AT_ONCE // len(directions), 1)
    for first in range(0, len(part), size):
        here = part[first : first + size]
        vertex, direction = np.nonzero(surveyed.normals[here] @ directions.T >= 0.0)
        vertex = here[vertex]
        hit = surveyed.rays.blocked(surveyed.off[vertex], directions[direction])
        area += np.bincount(direction[hit], surveyed.vertex_area[vertex[hit]], minlength=len(directions))
    return area
