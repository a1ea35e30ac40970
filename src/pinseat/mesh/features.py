"""Finding a surface again in another, in whatever pose: places that look alike, and the pose most of them
share.

Both surfaces are thinned to a point a millimetre or so apart. Each point is described by how the normals
around it turn against its own (three angles to each neighbour, counted in a histogram and mixed with those
of its neighbours). Places that choose each other are matched; pairs of matches that keep their distance and
the angles between their normals propose a pose, and the pose that most matches agree with is refined on them.

Reference: R. B. Rusu, N. Blodow, M. Beetz, Fast point feature histograms for 3D registration, IEEE
International Conference on Robotics and Automation, 2009 (the three angles and the mixing; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from pinseat.mesh.model import Float, Mesh
from pinseat.mesh.topology import face_vectors, unit

Index = NDArray[np.int64]

SPACING_MM = 1.2
"""Between the points that are kept."""
AROUND_MM = 4.0
"""How far around itself a point is described."""
BINS = 11
APART_MM = 5.0
"""Matches closer together than this fix a pose too loosely."""
ALIKE_MM, ALIKE_COSINE = 0.9, 0.25
"""How well a pair of matches must keep its distance and the cosines between its normals."""
AGREES_MM = 1.5
"""A match agrees with a pose that brings its two places this close."""
_PROPOSALS = 40_000
_TRIED = 300
_LEVELS = 255.0


@dataclass(frozen=True, eq=False)
class Cloud:
    """A surface thinned for recognition.

    Attributes
    ----------
    points, normals : (n, 3) arrays
    features : (n, 33) float32 array
        Whole numbers, so that products of them are exact in any order of adding.
    """

    points: Float
    normals: Float
    features: NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Start:
    """A pose that many places agree with.

    Attributes
    ----------
    rotation : (3, 3) array
    shift : (3,) array, mm
    agreeing : int
        Matches that it brings together.
    matches : int
        All matches.
    """

    rotation: Float
    shift: Float
    agreeing: int
    matches: int


def cloud(mesh: Mesh, *, mirrored: bool = False, turned_over: bool = False) -> Cloud:
    """Thin a surface and describe each point that is left.

    Parameters
    ----------
    mesh : Mesh
    mirrored : bool
        Take the mirror image in the plane x = 0.
    turned_over : bool
        Take the back of the surface for its front: an impression for the teeth.

    Returns
    -------
    Cloud
    """
    points, normals = _thinned(mesh)
    flip = np.array([-1.0, 1.0, 1.0]) if mirrored else np.ones(3)
    points, normals = points * flip, normals * flip * (-1.0 if turned_over else 1.0)
    return Cloud(points, normals, _features(points, normals))


def _thinned(mesh: Mesh) -> tuple[Float, Float]:
    """Middles and mean normals of the triangles in each cell of a grid, weighted by area."""
    middles = mesh.vertices[mesh.faces].mean(axis=1)
    vectors = face_vectors(mesh)
    area = np.sqrt(np.einsum("ij,ij->i", vectors, vectors))
    cell = np.floor((middles - middles.min(axis=0)) / SPACING_MM).astype(np.int64)
    wide = cell.max(axis=0) + 1
    _, place = np.unique((cell[:, 0] * wide[1] + cell[:, 1]) * wide[2] + cell[:, 2], return_inverse=True)
    weight = np.bincount(place, area)
    points = np.stack([np.bincount(place, area * middles[:, i]) for i in range(3)], axis=1)
    normals = np.stack([np.bincount(place, vectors[:, i]).astype(np.float64) for i in range(3)], axis=1)
    kept = weight > 0.05 * SPACING_MM**2
    return points[kept] / weight[kept, None], unit(normals[kept])


def _features(points: Float, normals: Float) -> NDArray[np.float32]:
    pairs = cKDTree(points).query_pairs(AROUND_MM, output_type="ndarray")
    here, there = np.concatenate((pairs, pairs[:, ::-1])).T
    way = points[there] - points[here]
    far = np.maximum(np.sqrt(np.einsum("ij,ij->i", way, way)), 1e-9)
    u, other = normals[here], normals[there]
    v = unit(np.cross(u, way / far[:, None]))
    w = np.cross(u, v)
    turn = np.arctan2(np.einsum("ij,ij->i", w, other), np.einsum("ij,ij->i", u, other)) / np.pi
    size = len(points)
    counts = np.empty((size, 3, BINS))
    for i, share in enumerate((np.einsum("ij,ij->i", v, other), np.einsum("ij,ij->i", u, way) / far, turn)):
        level = np.clip(0.5 * (share + 1.0) * BINS, 0.0, BINS - 1.0).astype(np.int64)
        counts[:, i] = np.bincount(here * BINS + level, minlength=size * BINS).reshape(size, BINS)
    own = (counts / np.maximum(counts.sum(axis=2, keepdims=True), 1.0)).reshape(size, -1)
    near = csr_array((1.0 / far, (here, there)), shape=(size, size))
    total = np.bincount(here, 1.0 / far, minlength=size)
    mixed = 0.5 * (own + (near @ own) / np.maximum(total, 1e-9)[:, None])
    return np.rint(_LEVELS * np.sqrt(mixed)).astype(np.float32)


def find_pose(target: Cloud, source: Cloud, seed: int = 1) -> Start | None:
    """The pose that most matches agree with.

    Parameters
    ----------
    target, source : Cloud
    seed : int
        Same seed, same proposals.

    Returns
    -------
    Start or None
        From source to target; None when too few places look alike.
    """
    a, b = _matches(target, source)
    if len(a) < 6:
        return None
    proposed = _proposed(target, source, a, b, seed)
    if not len(proposed[0]):
        return None
    rotations, shifts = proposed
    score = [int(_agree(target, source, a, b, r, t).sum()) for r, t in zip(rotations, shifts, strict=True)]
    best = int(np.argmax(score))
    rotation, shift = rotations[best], shifts[best]
    for _ in range(5):
        agree = _agree(target, source, a, b, rotation, shift)
        if agree.sum() < 6:
            return None
        rotation, shift = _rigid(source.points[b[agree]], target.points[a[agree]])
    agree = _agree(target, source, a, b, rotation, shift)
    return Start(rotation, shift, int(agree.sum()), len(a))


def _matches(target: Cloud, source: Cloud) -> tuple[Index, Index]:
    """Places that choose each other as the most alike."""
    alike = source.features @ target.features.T
    alike -= 0.5 * np.einsum("ij,ij->i", target.features, target.features)[None]
    best_target = alike.argmax(axis=1)
    alike -= 0.5 * np.einsum("ij,ij->i", source.features, source.features)[:, None]
    best_source = alike.argmax(axis=0)
    b = np.flatnonzero(best_source[best_target] == np.arange(len(best_target)))
    return best_target[b], b


def _proposed(target: Cloud, source: Cloud, a: Index, b: Index, seed: int) -> tuple[Float, Float]:
    """Poses from pairs of matches, those that keep distance and normals best."""
    rng = np.random.Generator(np.random.Philox(seed))
    first, second = rng.integers(len(a), size=(2, _PROPOSALS))
    shape = [
        _shape(
            cloud.points[i[first]], cloud.points[i[second]], cloud.normals[i[first]], cloud.normals[i[second]]
        )
        for cloud, i in ((target, a), (source, b))
    ]
    off = np.abs(shape[0] - shape[1]) / np.array([ALIKE_MM, ALIKE_COSINE, ALIKE_COSINE, ALIKE_COSINE])
    good = np.flatnonzero((shape[0][:, 0] > APART_MM) & (off.max(axis=1) < 1.0))
    good = good[np.argsort(off[good].sum(axis=1), kind="stable")[:_TRIED]]
    poses = [
        _pose_of(target, source, a, b, int(i), int(j)) for i, j in zip(first[good], second[good], strict=True)
    ]
    return np.array([p[0] for p in poses]).reshape(-1, 3, 3), np.array([p[1] for p in poses]).reshape(-1, 3)


def _shape(p: Float, q: Float, n: Float, m: Float) -> Float:
    """Distance of two points, and the cosines of their normals with the way between and with each other."""
    way = q - p
    far = np.sqrt(np.einsum("ij,ij->i", way, way))
    way = way / np.maximum(far, 1e-9)[:, None]
    return np.column_stack([far, *(np.einsum("ij,ij->i", x, y) for x, y in ((n, way), (m, way), (n, m)))])


def _pose_of(target: Cloud, source: Cloud, a: Index, b: Index, i: int, j: int) -> tuple[Float, Float]:
    """Rigid pose from two matches; each normal counts as a point some way off the surface."""
    arm = 0.5 * float(np.linalg.norm(target.points[a[i]] - target.points[a[j]]))
    ends = []
    for cloud_, k in ((source, b[[i, j]]), (target, a[[i, j]])):
        ends.append(np.concatenate((cloud_.points[k], cloud_.points[k] + arm * cloud_.normals[k])))
    return _rigid(ends[0], ends[1])


def _agree(
    target: Cloud, source: Cloud, a: Index, b: Index, rotation: Float, shift: Float
) -> NDArray[np.bool_]:
    off = source.points[b] @ rotation.T + shift - target.points[a]
    return np.asarray(np.einsum("ij,ij->i", off, off) < AGREES_MM**2)


def _rigid(source: Float, target: Float) -> tuple[Float, Float]:
    middle, to = source.mean(axis=0), target.mean(axis=0)
    u, _, vt = np.linalg.svd((target - to).T @ (source - middle))
    rotation = u @ np.diag([1.0, 1.0, np.linalg.det(u @ vt)]) @ vt
    return rotation, to - rotation @ middle
