"""The draw with the least undercut, out of thousands, coarse to fine."""

from __future__ import annotations

from collections.abc import Iterator
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
Bool = NDArray[np.bool_]

_PROBES = 16
"""Directions, all over the cone, that tell which vertices are the same for every draw."""
_KEPT = (400, 120, 40, 6)
"""Directions that go on to the next sample of the other vertices; the last go on to every vertex."""
_SMALLEST, _LARGEST = 1_500, 14_000
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

    1. Sixteen of them on every vertex. Where these agree (two thirds of a scan, for a cone of 10 deg) the
       others are taken to agree too until step 4.
    2. All of them on the vertices left: the area that faces away exactly, the shadows on the rest by rays
       from a sample of 1,500 vertices or more.
    3. The best 400, 120 and 40 on samples that grow threefold, the last being all the vertices left.
    4. The best 6 on every vertex of the scan.

    Samples are taken in the order of a search tree, so that they are spread evenly.

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
    wavers, fixed_mm2 = _wavering(surveyed, directions)
    turned = _facing_away(surveyed, directions, wavers)
    whole, seen = surveyed.vertex_area[wavers].sum(), 0.0
    alive, shadow = np.arange(count), np.zeros(count)
    for part, kept in zip(_nested(surveyed.mesh.vertices, wavers), _KEPT, strict=True):
        shadow[alive] += _in_shadow(surveyed, directions[alive], part)
        seen += surveyed.vertex_area[part].sum()
        estimate = fixed_mm2 + turned[alive] + shadow[alive] * (whole / seen if seen else 0.0)
        alive = alive[np.lexsort((alive, estimate))[:kept]]
    area = np.zeros(len(alive))
    for here, away, shadowed in _cast(surveyed, directions[alive], np.arange(len(wavers))):
        area += (surveyed.vertex_area[here, None] * (away | shadowed)).sum(axis=0)
    order = np.lexsort((alive, area))
    return Ranking(directions[alive[order]], area[order], count)


def _wavering(surveyed: Surveyed, directions: Float) -> tuple[Bool, float]:
    """Vertices undercut for some probes and free for others; area around those undercut for all, mm2."""
    probes = directions[np.unique(np.linspace(0, len(directions) - 1, _PROBES).astype(int))]
    times = np.zeros(len(surveyed.mesh.vertices), int)
    for here, away, shadowed in _cast(surveyed, probes, np.arange(len(times))):
        times[here] = (away | shadowed).sum(axis=1)
    fixed_mm2 = surveyed.vertex_area[times == len(probes)].sum()
    return (times > 0) & (times < len(probes)), float(fixed_mm2)


def _nested(points: Float, wanted: Bool) -> list[Index]:
    """What each sample adds to the one before, the last being all wanted: every so many-th of a tree."""
    order = cKDTree(points, balanced_tree=False, compact_nodes=False).indices
    order = order[wanted[order]]
    base = max(len(order) // _LARGEST, 1)
    steps = [1]
    for step in (base, 3 * base, 9 * base):
        steps.insert(0, step if len(order) // step >= _SMALLEST else steps[0])
    place = np.arange(len(order))
    taken = np.zeros(len(order), bool)
    parts = []
    for step in steps:
        now = place % step == step // 2
        parts.append(order[now & ~taken])
        taken |= now
    return parts


def _facing_away(surveyed: Surveyed, directions: Float, wanted: Bool) -> Float:
    """Area around the wanted vertices that faces away from each direction, mm2."""
    x, y, z = np.ascontiguousarray(surveyed.normals[wanted].T, np.float32)
    area = surveyed.vertex_area[wanted]
    return np.array([area[x * a + y * b + z * c < 0.0].sum() for a, b, c in directions.astype(np.float32)])


def _in_shadow(surveyed: Surveyed, directions: Float, part: Index) -> Float:
    """Area around these vertices, mm2, that faces each direction but lies in the shadow of something else."""
    area = np.zeros(len(directions))
    for here, _, shadowed in _cast(surveyed, directions, part):
        area += (surveyed.vertex_area[here, None] * shadowed).sum(axis=0)
    return area


def _cast(surveyed: Surveyed, directions: Float, part: Index) -> Iterator[tuple[Index, Bool, Bool]]:
    """Vertices, bundle by bundle; which of them face away from each direction, which face it in shadow."""
    size = max(_RAYS_AT_ONCE // len(directions), 1)
    for first in range(0, len(part), size):
        here = part[first : first + size]
        away = np.asarray(surveyed.normals[here] @ directions.T < 0.0)
        vertex, direction = np.nonzero(~away)
        shadowed = np.zeros_like(away)
        hit = surveyed.rays.blocked(surveyed.off[here[vertex]], directions[direction])
        shadowed[vertex, direction] = hit
        yield here, away, shadowed
