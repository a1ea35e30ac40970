"""The two ends of a pin: where its axis meets the tooth, and its free end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.reference import value

Float = NDArray[np.float64]

BLEND_MM = 0.10
"""Beside and above the foot the scan rounds the corner: neither tooth nor wall is taken there."""
REACH_MM = 0.3
"""How far around the pin the tooth surface is looked at."""
NEAR_MM = 0.15
"""How fast points count less with their distance from the pin."""


@dataclass(frozen=True, eq=False)
class Foot:
    """The tooth surface about a pin, as height along the axis over the plane across it.

    Attributes
    ----------
    coefficients : (3,) array
        Of 1, x, y.
    u_mm : float
        Standard uncertainty of the height on the axis.
    """

    coefficients: Float
    u_mm: float

    @property
    def height_mm(self) -> float:
        """Height on the axis itself."""
        return float(self.coefficients[0])

    def under(self, x: Float, y: Float) -> Float:
        """Height under places (x, y)."""
        return np.asarray(_terms(x, y) @ self.coefficients)


def _terms(x: Float, y: Float) -> Float:
    return np.column_stack([np.ones_like(x), x, y])


def fit_foot(x: Float, y: Float, height: Float, radius_mm: float, scatter_mm: float) -> Foot | None:
    """Fit the surface that a pin stands on and read it off on the axis.

    A pin stands on a ledge: a wall rises on one side and the tooth falls away on the other, so most points
    about the foot may belong to something else. Planes through sectors of the surroundings compete; the one
    that most points agree with, to within the noise, is refined. Near points count most, and a plane square
    to the pin more than a slanting one (by the squared cosine): a hole is drilled into its ledge, not into
    the slope beside it. What lies under the pin is not seen: `survey.ledge_shape_mm` is added to the
    uncertainty.

    Parameters
    ----------
    x, y, height : (k,) arrays, mm
        Surface points about the pin in the frame of its axis.
    radius_mm : float
        Of the pin.
    scatter_mm : float
        Noise of the scan, from the pin's wall.

    Returns
    -------
    Foot or None
        None with too few points to fix a plane.
    """
    near = np.exp(-0.5 * ((np.hypot(x, y) - radius_mm - BLEND_MM) / NEAR_MM) ** 2)
    scale = 1.2 * max(scatter_mm, 0.004)
    terms = _terms(x, y)
    starts = [_plane(terms[part], height[part]) for part in _sectors(x, y)]
    planes = [c for c in starts if c is not None]
    if not planes:
        return None
    best = max(
        planes, key=lambda c: _weights(terms, height, near, c, scale).sum() / (1.0 + c[1] ** 2 + c[2] ** 2)
    )
    return _refine(terms, height, near, best, scale)


def _sectors(x: Float, y: Float) -> list[NDArray[np.bool_]]:
    """All round, and sectors of a quarter and of a half in steps of an eighth."""
    turn = np.arctan2(y, x)
    parts = [np.ones(len(x), dtype=bool)]
    for middle in np.arange(8) * (np.pi / 4.0):
        away = np.abs((turn - middle + np.pi) % (2.0 * np.pi) - np.pi)
        parts += [away < np.pi / 4.0, away < np.pi / 2.0]
    return parts


def _plane(terms: Float, height: Float) -> Float | None:
    if len(height) < 6:
        return None
    solved, _, rank, _ = np.linalg.lstsq(terms, height, rcond=1e-6)
    return np.asarray(solved, np.float64) if rank == 3 else None


def _weights(terms: Float, height: Float, near: Float, coefficients: Float, scale: float) -> Float:
    """Tukey's biweight of the residuals times nearness."""
    off = (height - terms @ coefficients) / (4.685 * scale)
    return np.asarray(near * np.clip(1.0 - off * off, 0.0, None) ** 2)


def _refine(terms: Float, height: Float, near: Float, start: Float, scale: float) -> Foot | None:
    """Iterated weighted least squares from a start."""
    coefficients = start
    for _ in range(30):
        weight = _weights(terms, height, near, coefficients, scale)
        root = np.sqrt(weight)
        if np.count_nonzero(weight > 0.0) < 6:
            return None
        solved, _, rank, _ = np.linalg.lstsq(terms * root[:, None], height * root, rcond=1e-7)
        if rank < 3:
            return None
        before, coefficients = coefficients, np.asarray(solved, np.float64)
        if np.max(np.abs(coefficients - before)) < 1e-9:
            break
    weight = _weights(terms, height, near, coefficients, scale)
    inverse = np.linalg.inv((terms * weight[:, None]).T @ terms)
    pull = terms * (weight * (height - terms @ coefficients))[:, None]
    variance = float((inverse @ (pull.T @ pull) @ inverse)[0, 0])
    return Foot(coefficients, float(np.hypot(np.sqrt(variance), value("survey.ledge_shape_mm").value)))


def free_end(along: Float, rho: Float, radius_mm: float) -> tuple[float, float] | None:
    """Where the axis leaves the free end: flat, or domed when the points say so.

    Parameters
    ----------
    along, rho : (k,) arrays, mm
        Points of the end face: place along the axis, and distance from it.
    radius_mm : float

    Returns
    -------
    height, u : float, mm
        Or None without points.
    """
    inner = rho < 0.7 * radius_mm
    t, square = along[inner], rho[inner] ** 2
    if len(t) == 0:
        return None
    middle = float(np.median(t))
    spread = 1.4826 * float(np.median(np.abs(t - middle)))
    kept = np.abs(t - middle) <= 4.0 * max(spread, 0.005)
    t, square = t[kept], square[kept]
    scatter = max(float(np.std(t)), 0.003)
    flat = float(t.mean()), scatter / float(np.sqrt(len(t)))
    if len(t) < 8:
        return flat
    terms = np.column_stack([np.ones_like(t), square])
    solved, *_ = np.linalg.lstsq(terms, t, rcond=None)
    residual = t - terms @ solved
    cov = float(residual @ residual) / (len(t) - 2) * np.linalg.pinv(terms.T @ terms)
    if abs(solved[1]) > 3.0 * float(np.sqrt(cov[1, 1])):
        return float(solved[0]), float(np.sqrt(cov[0, 0]))
    return flat
