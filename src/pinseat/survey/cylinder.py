"""A circular cylinder through wall points: least squares that leaves out strangers, with covariance.

The distance of a point from the axis less the radius is the residual. About the current axis, with the offset
`(a, b)` and the tilt `(alpha, beta)` of the axis in its frame `(u, v)`, and `t` the place along the axis,

    d rho = - (a + alpha t) e_u - (b + beta t) e_v,    residual = rho - r,

where `e` points from the axis to the point. Gauss-Newton on these five numbers converges in a few steps.
Points farther out than four robust standard deviations are dropped; then the fit is plain least squares,
which reaches the Cramer-Rao bound for white noise. Where neighbouring residuals hang together (a smooth form
error, a scanner that filters) the covariance is ``A^-1 (J' C J) A^-1`` with `C` from the residuals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pinseat.ledger.pins import frame

Float = NDArray[np.float64]
Mask = NDArray[np.bool_]

FAR = 4.0
"""Points farther out than so many robust standard deviations do not belong to the wall."""
FEWEST = 12
"""Least number of wall points for five unknowns and a scatter."""


@dataclass(frozen=True, eq=False)
class Cylinder:
    """A fitted cylinder.

    Attributes
    ----------
    point : (3,) array, mm
        On the axis, at the middle of the wall points.
    axis : (3,) array
        Unit vector.
    radius_mm : float
    scatter_mm : float
        Robust standard deviation of the residuals.
    points : (k, 3) array, mm
        The wall points kept.
    residual : (k,) array, mm
    jacobian : (k, 5) array
        Of the residual for a, b (mm), alpha, beta (rad), r (mm).
    """

    point: Float
    axis: Float
    radius_mm: float
    scatter_mm: float
    points: Float
    residual: Float
    jacobian: Float

    def covariance(self, correlation_mm: float = 0.0, share: float = 0.0) -> Float:
        """Covariance of (a, b, alpha, beta, r) at `point`.

        Parameters
        ----------
        correlation_mm : float
            Length over which residuals hang together; 0 for white noise.
        share : float
            Part (0 to 1) of their variance that does.

        Returns
        -------
        (5, 5) array
        """
        inverse = np.linalg.inv(self.jacobian.T @ self.jacobian)
        degrees = max(len(self.residual) - 5, 1)
        variance = float(self.residual @ self.residual) / degrees
        if share <= 0.0:
            return np.asarray(variance * inverse)
        apart = np.linalg.norm(self.points[:, None] - self.points[None], axis=2)
        together = share * np.exp(-apart / correlation_mm) + (1.0 - share) * np.eye(len(apart))
        return np.asarray(variance * inverse @ (self.jacobian.T @ together @ self.jacobian) @ inverse)


def across(points: Float, point: Float, axis: Float) -> tuple[Float, Float, Float]:
    """Split points by an axis.

    Parameters
    ----------
    points : (k, 3) array
    point, axis : (3,) arrays

    Returns
    -------
    along : (k,) array
        Place along the axis, 0 at `point`.
    rho : (k,) array
        Distance from it.
    out : (k, 3) array
        Vector from the axis to each point.
    """
    q = points - point
    along = q @ axis
    out = q - along[:, None] * axis
    return along, np.sqrt(np.einsum("ij,ij->i", out, out)), out


def fit_cylinder(points: Float, point: Float, axis: Float, radius_mm: float) -> Cylinder | None:
    """Fit a cylinder from a start that is roughly right.

    Parameters
    ----------
    points : (k, 3) array, mm
        Wall points, a few strangers among them at most.
    point, axis : (3,) arrays
        The start; the result points the same way.
    radius_mm : float

    Returns
    -------
    Cylinder or None
        None when the points do not fix a cylinder.
    """
    kept = np.ones(len(points), dtype=bool)
    for _ in range(8):
        if kept.sum() < FEWEST:
            return None
        solved = _least_squares(points[kept], point, axis, radius_mm)
        if solved is None:
            return None
        point, axis, radius_mm = solved
        residual = across(points, point, axis)[1] - radius_mm
        scatter = 1.4826 * float(np.median(np.abs(residual[kept])))
        now = np.abs(residual) <= FAR * max(scatter, 1e-6)
        if np.array_equal(now, kept):
            break
        kept = now
    if kept.sum() < FEWEST:
        return None
    residual, jacobian = _linearise(points[kept], point, axis, radius_mm)
    return Cylinder(point, axis, radius_mm, scatter, points[kept], residual, jacobian)


def _linearise(points: Float, point: Float, axis: Float, radius: float) -> tuple[Float, Float]:
    along, rho, out = across(points, point, axis)
    e = (out @ frame(axis).T) / np.maximum(rho, 1e-9)[:, None]
    return rho - radius, np.column_stack([-e, -along[:, None] * e, -np.ones(len(points))])


def _least_squares(
    points: Float, point: Float, axis: Float, radius: float
) -> tuple[Float, Float, float] | None:
    for _ in range(30):
        point = point + axis * float((points.mean(axis=0) - point) @ axis)
        residual, jacobian = _linearise(points, point, axis, radius)
        step, _, rank, _ = np.linalg.lstsq(jacobian, -residual, rcond=1e-10)
        if rank < 5 or not np.all(np.isfinite(step)) or np.max(np.abs(step)) > 5.0:
            return None
        f = frame(axis)
        point = point + step[:2] @ f
        axis = axis + step[2:4] @ f
        axis = axis / np.linalg.norm(axis)
        radius += float(step[4])
        if np.max(np.abs(step)) < 1e-11:
            break
    return (point, axis, radius) if radius > 0.0 else None


def hang_together(fits: Sequence[Cylinder]) -> tuple[float, float]:
    """How residuals hang together, pooled over all pins of a scan (one scanner made them).

    An exponential is drawn through the mean product of neighbours at one and at two spacings. White noise,
    as far as the number of pairs can tell, gives a share of 0.

    Parameters
    ----------
    fits : sequence of Cylinder

    Returns
    -------
    correlation_mm, share : float
        For :meth:`Cylinder.covariance`.
    """
    if not fits:
        return 0.0, 0.0
    spacing = float(np.median(np.concatenate([_nearest(fit.points) for fit in fits])))
    near, far = (_products(fits, low * spacing, high * spacing) for low, high in ((0.5, 1.5), (1.5, 2.5)))
    if near[1] == 0 or near[0] < 3.0 / np.sqrt(near[1]):
        return 0.0, 0.0
    ratio = min(max(far[0] / near[0], 0.05), 0.95)
    length = -spacing / float(np.log(ratio))
    return length, min(near[0] / ratio, 1.0)


def _nearest(points: Float) -> Float:
    return np.asarray(cKDTree(points).query(points, k=[2])[0]).ravel()


def _products(fits: Sequence[Cylinder], low: float, high: float) -> tuple[float, int]:
    """Mean product of standardised residuals of pairs between two distances, and how many pairs."""
    total, pairs = 0.0, 0
    for fit in fits:
        z = fit.residual / max(float(np.std(fit.residual)), 1e-12)
        found = cKDTree(fit.points).query_pairs(high, output_type="ndarray")
        apart = np.linalg.norm(fit.points[found[:, 0]] - fit.points[found[:, 1]], axis=1)
        chosen = found[apart > low]
        total += float(z[chosen[:, 0]] @ z[chosen[:, 1]])
        pairs += len(chosen)
    return (total / pairs if pairs else 0.0), pairs
