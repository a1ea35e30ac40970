"""Laying one scan on another: pose and scale of the surface they share, with their uncertainty.

From a start that :mod:`pinseat.mesh.features` finds in any pose, the second scan's points are brought onto
the first scan's triangles: to the nearest place of the exact surface, along its normal. Three stages look 3,
0.5 and 0.15 mm far. In each, Tukey's biweight leaves out what lies farther off than a few robust standard
deviations, so that a changed place does not pull. A scale is fitted along and taken out again about the
middle of the shared surface: a scan that is too large stands out at both ends instead of hiding at one.

Residuals of neighbouring points hang together (form of the scanner, real change), so the covariance comes
from the sums of their pulls over blocks, ``H^-1 (sum g g') H^-1``, not from the number of points. A smooth
form error of the scanners also shifts the pose without leaving a trace; see :data:`HIDDEN`.

References
----------
Y. Chen and G. Medioni, Image and Vision Computing 10 (1992) 145 (along the normal); A. E. Beaton and J. W.
Tukey, Technometrics 16 (1974) 147 (biweight); K.-Y. Liang and S. L. Zeger, Biometrika 73 (1986) 13 (sums
over blocks).
From memory.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TypeGuard

import numpy as np
from numpy.typing import NDArray

from pinseat.errors import CompareError
from pinseat.mesh.features import Cloud, Start, cloud, find_pose
from pinseat.mesh.model import Float, Mesh
from pinseat.mesh.nearest import Nearest
from pinseat.mesh.topology import face_areas, vertex_normals
from pinseat.mesh.unit_guess import LARGEST_MM, SMALLEST_MM
from pinseat.numerics.similarity import rotation_of, skew
from pinseat.units import LENGTH_IN_MM

STAGES = ((3.0, 1.6, 4.7, 12), (0.5, 0.9, 4.7, 8), (0.15, 0.45, 3.0, 15))
"""How far to look (mm), one point in cells of this size (mm), the biweight's cut, most steps."""
BLOCK_MM = 8.0
"""Residuals within a block may hang together."""
PIECE_BLOCK_MM = 2.0
"""The same within a single tooth."""
OVERLAP_MM = 1.0
"""What has a place on the other scan no farther off than this is shared by both."""
AGREES_MM = 0.1
"""Shared surface this close is the same surface, and not one that happens to pass by."""
LEAST_AGREEING = 0.5
"""Of the shared surface, this much must agree: chance gives a tenth to a fifth (see the tests)."""
LEAST_OVERLAP = 0.15
"""Of the smaller scan, this much must be shared."""
SURE = 0.9
"""Where less than this of the second scan agrees, the mirror image is tried as well: arches are nearly
symmetric.
"""
CLEARLY = 0.05
"""By so much more must the mirror image agree."""
SAME_WAY = 0.5
"""Cosine between the normals of two places that can be the same."""
FEWEST = 60
"""Points for a fit."""
LEAST_SPREAD_MM = 1e-5
LEAST_HOLD = 1e-4
"""Least eigenvalue of the mean normal matrix, lengths over the surface's own size; 1/3 would be a ball's
shift.
"""
BOUNDLESS = 1e6
LARGEST_SCALE = 0.05
"""More than twice what any copy in the chain changes in length."""
LOOSE_MM = 0.05
"""A pose less certain than this at the far end of the shared surface is no pose."""
HIDDEN = 2.0
"""A smooth form error shifts the pose by so many times what it leaves standing in the means of the blocks.

Nothing in two scans tells. Cubic warps drawn at random gave 1.2 to 1.6 for a whole arch, 2.0 to 2.8 for half
of one, 2.4 to 4.8 for a third (root mean square for each of the seven).
"""
_SETTLED = 0.05

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Registration:
    """How the second scan lies on the first.

    Attributes
    ----------
    rotation, shift : (3, 3) and (3,) arrays
        Rigid: from the second scan's coordinates to the first's.
    middle : (3,) array, mm
        Of the shared surface, in the first scan's coordinates; covariance and scale are about it.
    scale : float
        Second over first, of the shared surface.
    covariance : (7, 7) array
        Of the shift at the middle (mm), the turn about it (rad), and the scale.
    u_worst_mm : float
        Standard uncertainty of the pose at the least certain place of the shared surface.
    spread_mm : float
        Robust standard deviation of the distances that were taken as unchanged.
    shared, agreeing : float
        Share of the second scan's surface that lies over the first's, and share of that which agrees.
    turned_over : bool
        The second scan is a negative of the first: its back was laid on the first's front.
    """

    rotation: Float
    shift: Float
    middle: Float
    scale: float
    covariance: Float
    u_worst_mm: float
    spread_mm: float
    shared: float
    agreeing: float
    turned_over: bool

    def apply(self, points: Float) -> Float:
        """Points (n, 3) of the second scan in the first scan's coordinates."""
        return np.asarray(points @ self.rotation.T + self.shift)

    @property
    def alike(self) -> float:
        """Share of the second scan's surface that has the same surface on the first."""
        return self.shared * self.agreeing

    @property
    def u_scale(self) -> float:
        """Standard uncertainty of the scale."""
        return float(np.sqrt(self.covariance[6, 6]))

    def u_mm(self, points: Float) -> Float:
        """Standard uncertainty (n,) of where points in the first scan's coordinates came to lie, mm."""
        return u_of(self.covariance, points - self.middle)


def register(first: Mesh, second: Mesh, nearest: Nearest | None = None) -> Registration:
    """Lay the second scan on the first.

    Parameters
    ----------
    first, second : Mesh
        In mm, wound outward, neither smoothed nor thinned.
    nearest : Nearest, optional
        Of the first, where it is there already.

    Returns
    -------
    Registration

    Raises
    ------
    CompareError
        When they share too little surface, are mirror images of each other, or show different teeth.
    """
    _refuse_sizes(first, second)
    with ThreadPoolExecutor(2) as pool:
        looked = [pool.submit(cloud, mesh) for mesh in (first, second)]
        onto = nearest or Nearest(first)
        target = looked[0].result()
        best = _fit(onto, second, find_pose(target, looked[1].result()), turned_over=False)
    area = float(face_areas(first).sum()), float(face_areas(second).sum())
    if not _holds(best, area):
        over = _fit(onto, second, find_pose(target, cloud(second, turned_over=True)), turned_over=True)
        best = over if _holds(over, area) else best
    if best is None or best.alike < SURE:
        _refuse_mirrored(onto, target, second, best, area)
    if best is None or not _holds(best, area):
        raise _refusal(best, first, second)
    return best


def _refuse_sizes(first: Mesh, second: Mesh) -> None:
    for word, mesh in (("first", first), ("second", second)):
        size = _size_mm(mesh)
        if not 0.2 * SMALLEST_MM <= size <= 2.0 * LARGEST_MM:
            raise CompareError(
                f"the {word} scan is not the size of teeth",
                value=f"{size:.3g} mm",
                limit=f"{SMALLEST_MM:g} to {LARGEST_MM:g} mm",
                do="state its unit",
            )


def _size_mm(mesh: Mesh) -> float:
    return float(np.ptp(mesh.vertices, axis=0).max())


def _other_unit(first: Mesh, second: Mesh) -> str:
    """What the second scan would have to be in to be the size of the first; empty when nothing fits
    better.
    """
    ratio = _size_mm(first) / _size_mm(second)
    for name, factor in LENGTH_IN_MM.items():
        for other, more in LENGTH_IN_MM.items():
            if 1.5 < max(factor / more, more / factor) < 1e4 and 0.75 < ratio * more / factor < 1.33:
                return f"their sizes would agree if one is in {name} and the other in {other}"
    return ""


def _refuse_mirrored(
    onto: Nearest, target: Cloud, second: Mesh, best: Registration | None, area: tuple[float, float]
) -> None:
    """Refuse a scan whose mirror image fits better, front or back."""
    mirror = Mesh(second.vertices * np.array([-1.0, 1.0, 1.0]), second.faces[:, ::-1])
    for turned_over in (False, True) if best is None else (best.turned_over,):
        start = find_pose(target, cloud(mirror, turned_over=turned_over))
        fit = _fit(onto, mirror, start, turned_over=turned_over)
        if _holds(fit, area) and (best is None or fit.alike > best.alike + CLEARLY):
            raise CompareError(
                "one of the two scans is a mirror image of the other, or they show the two sides of one jaw",
                value=f"{100.0 * fit.alike:.0f} % of the second scan fits when it is mirrored",
                limit=f"{100.0 * (best.alike if best else 0.0):.0f} % as it is",
                do="export it again without mirroring",
            )


def _holds(fit: Registration | None, area: tuple[float, float]) -> TypeGuard[Registration]:
    if fit is None or fit.agreeing < LEAST_AGREEING or abs(fit.scale - 1.0) > LARGEST_SCALE:
        return False
    return fit.shared * area[1] >= LEAST_OVERLAP * min(area) and fit.u_worst_mm <= LOOSE_MM


def _refusal(fit: Registration | None, first: Mesh, second: Mesh) -> CompareError:
    if fit is None or fit.agreeing < LEAST_AGREEING or abs(fit.scale - 1.0) > LARGEST_SCALE:
        return CompareError(
            "these two scans do not show the same teeth",
            value="no pose was found"
            if fit is None
            else f"in the best pose {100.0 * fit.agreeing:.0f} % of the surface lies within {AGREES_MM:g} mm",
            limit=f"at least {100.0 * LEAST_AGREEING:.0f} %",
            do=_other_unit(first, second) or "check that both files are of this case and of the same jaw",
        )
    if fit.u_worst_mm > LOOSE_MM:
        return CompareError(
            "the surface that the two scans share does not fix how they lie: it can slide or turn on itself",
            do="scan more of the teeth around",
        )
    return CompareError(
        "these two scans hardly overlap",
        value=f"{100.0 * fit.shared:.0f} % of the second lies over the first",
        limit=f"at least {100.0 * LEAST_OVERLAP:.0f} % of the smaller",
        do="scan more of the teeth around",
    )


@dataclass(frozen=True, eq=False)
class _Pose:
    """A similarity on its way: y = scale * rotation @ x + shift."""

    rotation: Float
    shift: Float
    scale: float

    def apply(self, points: Float) -> Float:
        return np.asarray(self.scale * points @ self.rotation.T + self.shift)

    def moved(self, step: Float, middle: Float) -> _Pose:
        turn, grow = rotation_of(step[3:6]), 1.0 + float(step[6])
        shift = middle + step[:3] + grow * turn @ (self.shift - middle)
        return _Pose(turn @ self.rotation, shift, grow * self.scale)


@dataclass(frozen=True, eq=False)
class _Seen:
    """Points of the second scan on the first: place, normal and distance of those that count."""

    counted: Mask
    place: Float
    normal: Float
    distance: Float
    scale_mm: float


def _fit(onto: Nearest, mesh: Mesh, start: Start | None, *, turned_over: bool) -> Registration | None:
    if start is None:
        return None
    normals = vertex_normals(mesh) * (-1.0 if turned_over else 1.0)
    pose = _Pose(start.rotation, start.shift, 1.0)
    for stage, (within, cell, cut, most) in enumerate(STAGES):
        chosen = one_per_cell(mesh.vertices, cell)
        points, facing = mesh.vertices[chosen], normals[chosen]
        for _ in range(most):
            seen = _look(onto, points, facing, pose, within)
            if seen.counted.sum() < FEWEST:
                return None
            step, middle = _step(seen, cut, with_scale=stage > 0)
            pose = pose.moved(step, middle)
            if np.abs(step).max() < 1e-3 * within * _SETTLED:
                break
    return _registration(onto, points, facing, pose, turned_over)


def _look(onto: Nearest, points: Float, facing: Float, pose: _Pose, within_mm: float) -> _Seen:
    moved = pose.apply(points)
    found = onto.search(moved, within_mm=within_mm)
    alike = np.einsum("ij,ij->i", facing @ pose.rotation.T, found.normal) > SAME_WAY
    counted = found.counted & alike
    distance = found.distance_mm[counted]
    spread = 1.4826 * float(np.median(np.abs(distance))) if len(distance) else 0.0
    return _Seen(counted, moved[counted], found.normal[counted], distance, max(spread, LEAST_SPREAD_MM))


def _step(seen: _Seen, cut: float, *, with_scale: bool) -> tuple[Float, Float]:
    """One weighted least-squares step: shift of the middle, turn about it, growth."""
    weight = np.clip(1.0 - (seen.distance / (cut * seen.scale_mm)) ** 2, 0.0, None) ** 2
    middle = weight @ seen.place / weight.sum()
    rows = _rows(seen, middle)[:, : 7 if with_scale else 6]
    step = np.zeros(7)
    step[: rows.shape[1]] = np.linalg.lstsq(
        rows.T @ (weight[:, None] * rows), -rows.T @ (weight * seen.distance), rcond=1e-12
    )[0]
    return step, middle


def _rows(seen: _Seen, middle: Float) -> Float:
    """How each distance changes with shift, turn and growth; (k, 7)."""
    arm = seen.place - middle
    grow = np.einsum("ij,ij->i", arm, seen.normal)
    return np.column_stack([seen.normal, np.cross(arm, seen.normal), grow])


def _registration(
    onto: Nearest, points: Float, facing: Float, pose: _Pose, turned_over: bool
) -> Registration | None:
    within, _, cut, _ = STAGES[-1]
    wide = _look(onto, points, facing, pose, OVERLAP_MM)
    seen = _look(onto, points, facing, pose, within)
    if seen.counted.sum() < FEWEST:
        return None
    share = seen.distance / (cut * seen.scale_mm)
    weight = np.clip(1.0 - share**2, 0.0, None) ** 2
    middle = weight @ seen.place / weight.sum()
    before = pose.rotation.T @ (middle - pose.shift) / pose.scale
    covariance = _covariance(seen, share, weight, middle, BLOCK_MM)
    return Registration(
        rotation=pose.rotation,
        shift=middle - pose.rotation @ before,
        middle=middle,
        scale=1.0 / pose.scale,
        covariance=covariance,
        u_worst_mm=float(u_of(covariance, wide.place - middle).max()),
        spread_mm=seen.scale_mm,
        shared=float(wide.counted.mean()),
        agreeing=float(np.mean(np.abs(wide.distance) <= AGREES_MM)),
        turned_over=turned_over,
    )


def _covariance(
    seen: _Seen, share: Float, weight: Float, middle: Float, block_mm: float, hidden: float = HIDDEN
) -> Float:
    """Sandwich of the biweight's slope and the pulls summed over blocks; boundless when the shape leaves a
    direction free: a ball turns, a plane slides.
    """
    rows = _rows(seen, middle)
    slope = np.where(np.abs(share) < 1.0, (1.0 - share**2) * (1.0 - 5.0 * share**2), 0.0)
    size = np.sqrt(np.mean(np.sum((seen.place - middle) ** 2, axis=1)))
    even = np.array([1.0, 1.0, 1.0, size, size, size, size])
    normal = (rows / even).T @ (weight[:, None] * (rows / even)) / weight.sum()
    if np.linalg.eigvalsh(normal)[0] < LEAST_HOLD:
        return BOUNDLESS * np.eye(7)
    block = np.unique(np.floor(seen.place / block_mm), axis=0, return_inverse=True)[1].ravel()
    pulls = np.stack([np.bincount(block, column) for column in (rows * (weight * seen.distance)[:, None]).T])
    blocks = pulls.shape[1]
    inverse = np.linalg.inv(rows.T @ (slope[:, None] * rows))
    fit = blocks / max(blocks - 7, 1) * inverse @ (pulls @ pulls.T) @ inverse
    return np.asarray(fit + (hidden * _form(seen, weight, block)) ** 2 * np.diag(1.0 / even**2))


def _form(seen: _Seen, weight: Float, block: NDArray[np.int64]) -> float:
    """Smooth form error that the fit left standing, mm: scatter of the blocks' means beyond the noise."""
    total = np.bincount(block, weight)
    full = np.flatnonzero(total > 0.2 * np.median(total))
    mean = np.bincount(block, weight * seen.distance)[full] / total[full]
    square = float(weight @ seen.distance**2 / weight.sum())
    noise = square * np.median(np.bincount(block, weight**2)[full] / total[full] ** 2)
    return float(np.sqrt(max((1.4826 * np.median(np.abs(mean))) ** 2 - noise, 0.0)))


@dataclass(frozen=True, eq=False)
class Settled:
    """How a piece of the second scan, already laid on the first, lies better by itself.

    Attributes
    ----------
    rotation, shift : (3, 3) and (3,) arrays
        A small rigid motion on top of the common pose.
    middle : (3,) array, mm
        Of the surface that was used; covariance is about it.
    covariance : (6, 6) array
        Of the shift at the middle (mm) and the turn about it (rad).
    spread_mm : float
        Robust standard deviation of the distances that are left.
    """

    rotation: Float
    shift: Float
    middle: Float
    covariance: Float
    spread_mm: float

    def apply(self, points: Float) -> Float:
        """Points (n, 3) in the common pose, moved."""
        return np.asarray(points @ self.rotation.T + self.shift)

    def carry(self, arms: Float) -> Float:
        """Covariance (3 n, 3 n) of where places at arms (n, 3) from the middle came to lie, mm2."""
        rows = np.concatenate([np.column_stack([np.eye(3), -k]) for k in skew(arms)])
        return np.asarray(rows @ self.covariance @ rows.T)


def settle(onto: Nearest, points: Float, facing: Float) -> Settled | None:
    """Lay a piece of surface that is already close, by itself and without scale.

    Parameters
    ----------
    onto : Nearest
        Of the first scan.
    points, facing : (n, 3) arrays
        Of the piece, with unit normals, in the common pose.

    Returns
    -------
    Settled or None
        None when too little of it is there, or its shape does not fix how it lies.
    """
    within, _, cut, most = STAGES[-1]
    pose = _Pose(np.eye(3), np.zeros(3), 1.0)
    for _ in range(most):
        seen = _look(onto, points, facing, pose, within)
        if seen.counted.sum() < FEWEST:
            return None
        step, middle = _step(seen, cut, with_scale=False)
        pose = pose.moved(step, middle)
        if np.abs(step).max() < 1e-6:
            break
    seen = _look(onto, points, facing, pose, within)
    share = seen.distance / (cut * seen.scale_mm)
    weight = np.clip(1.0 - share**2, 0.0, None) ** 2
    middle = weight @ seen.place / weight.sum()
    covariance = _covariance(seen, share, weight, middle, PIECE_BLOCK_MM, hidden=0.0)[:6, :6]
    if covariance[0, 0] >= BOUNDLESS:
        return None
    return Settled(pose.rotation, pose.shift, middle, covariance, seen.scale_mm)


def u_of(covariance: Float, arm: Float) -> Float:
    """Standard uncertainty (n,) of places at arms (n, 3) from the middle, mm, all three directions
    together.
    """
    around = covariance[3:6, 3:6]
    square = np.trace(covariance[:3, :3]) + np.einsum("ij,ij->i", arm, arm) * np.trace(around)
    return np.asarray(np.sqrt(square - np.einsum("ij,jk,ik->i", arm, around, arm)))


def one_per_cell(points: Float, cell_mm: float) -> NDArray[np.int64]:
    """Index of the first point in each cell of a grid: an even sample of an uneven surface.

    Parameters
    ----------
    points : (n, 3) array, mm
    cell_mm : float

    Returns
    -------
    (k,) int64 array, ascending
    """
    cell = np.floor((points - points.min(axis=0)) / cell_mm).astype(np.int64)
    wide = cell.max(axis=0) + 1
    key = (cell[:, 0] * wide[1] + cell[:, 1]) * wide[2] + cell[:, 2]
    return np.sort(np.unique(key, return_index=True)[1])
