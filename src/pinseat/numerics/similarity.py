"""The best turn, shift and scale between two sets of matched points, in closed form, with covariance.

With both sets about their weighted middles and ``K = sum w y x'``, the singular value decomposition
``K = U S V'`` gives the rotation ``R = U diag(1, 1, det(U V')) V'``; the scale is ``tr(R' K) / sum w |x|^2``
and the shift carries one middle to the other. About the middle the small changes of shift, turn and scale
do not hang together, so their normal matrix is three blocks.

References
----------
W. Kabsch, Acta Crystallographica A 32 (1976) 922; B. K. P. Horn, Journal of the Optical Society of America A
4 (1987) 629 (the same rotation by a quaternion); S. Umeyama, IEEE Transactions on Pattern Analysis and
Machine Intelligence 13 (1991) 376 (scale, and the sign that keeps a mirror image out). These three: from
memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pinseat.errors import CompareError

Float = NDArray[np.float64]

_FLAT = 1e-9
"""Points spread less than this share of their length across a line fix no turn about it."""


@dataclass(frozen=True, eq=False)
class Similarity:
    """A turn, a scale and a shift: ``y = scale * rotation @ x + shift``.

    Attributes
    ----------
    rotation : (3, 3) array
    shift : (3,) array, mm
    scale : float
        1 where it was not fitted.
    middle : (3,) array, mm
        Weighted middle of the target points.
    residual : (n, 3) array, mm
        Target less fitted.
    covariance : (7, 7) array
        Of the shift of the middle (mm), the turn about the target's axes through it (rad), and the scale.
    mirrored : bool
        Whether a mirror image would fit better; the rotation given is a proper one nevertheless.
    """

    rotation: Float
    shift: Float
    scale: float
    middle: Float
    residual: Float
    covariance: Float
    mirrored: bool

    @property
    def u_scale(self) -> float:
        """Standard uncertainty of the scale."""
        return float(np.sqrt(self.covariance[6, 6]))

    def apply(self, points: ArrayLike) -> Float:
        """Points (n, 3) carried over."""
        return np.asarray(self.scale * np.asarray(points, float) @ self.rotation.T + self.shift)


def best_similarity(
    source: ArrayLike, target: ArrayLike, *, covariance: ArrayLike | None = None, with_scale: bool = True
) -> Similarity:
    """Least squares over matched points.

    Parameters
    ----------
    source, target : (n, 3) arrays, mm
        At least three points that do not lie on one line.
    covariance : (n, 3, 3) array, optional
        Of each target point less its source point, mm2, in the target's axes. Points count by the inverse of
        its trace, and it is carried into the covariance. Left out, all count alike and the residuals say
        how large the errors are.
    with_scale : bool
        False keeps the scale at 1.

    Returns
    -------
    Similarity

    Raises
    ------
    CompareError
        For fewer than three points, or points on one line.

    Examples
    --------
    >>> corner = np.array([[0.0, 0, 0], [2, 0, 0], [0, 1, 0], [0, 0, 3]])
    >>> turned = 1.001 * corner @ np.array([[0.0, 1, 0], [-1, 0, 0], [0, 0, 1]]) + [5.0, 6.0, 7.0]
    >>> found = best_similarity(corner, turned)
    >>> round(found.scale, 9), found.shift.round(9).tolist(), found.mirrored
    (1.001, [5.0, 6.0, 7.0], False)
    """
    x, y = np.asarray(source, float), np.asarray(target, float)
    given = None if covariance is None else np.asarray(covariance, float)
    weight = np.ones(len(x)) if given is None else 3.0 / np.trace(given, axis1=1, axis2=2)
    if len(x) < 3:
        raise CompareError("too few matched points for a turn", value=f"{len(x)}", limit="at least 3")
    weight = weight / weight.sum()
    from_middle, middle = weight @ x, weight @ y
    x, y = x - from_middle, y - middle
    spread = np.linalg.svd(x * np.sqrt(weight)[:, None], compute_uv=False)
    if spread[1] <= _FLAT * max(float(spread[0]), 1e-300):
        raise CompareError("the matched points lie on one line, so the turn about it is not fixed")
    u, s, vt = np.linalg.svd((y * weight[:, None]).T @ x)
    sign = float(np.sign(np.linalg.det(u @ vt)))
    turn = np.diag([1.0, 1.0, sign])
    rotation = u @ turn @ vt
    size = float(weight @ np.sum(x * x, axis=1))
    scale = float((s * np.diag(turn)).sum() / size) if with_scale else 1.0
    fitted = scale * x @ rotation.T
    residual = y - fitted
    mirrored = sign < 0.0 and bool(s[2] > 1e-9 * s[0])
    return Similarity(
        rotation=rotation,
        shift=middle - scale * rotation @ from_middle,
        scale=scale,
        middle=middle,
        residual=residual,
        covariance=_covariance(fitted / scale, scale, residual, weight, given, with_scale),
        mirrored=mirrored,
    )


def _covariance(
    turned: Float, scale: float, residual: Float, weight: Float, given: Float | None, with_scale: bool
) -> Float:
    """Law of propagation through the linearised fit (JCGM 102)."""
    count = 7 if with_scale else 6
    jacobian = np.zeros((len(turned), 3, 7))
    jacobian[:, :, :3] = np.eye(3)
    jacobian[:, :, 3:6] = -scale * skew(turned)
    jacobian[:, :, 6] = turned
    jacobian = jacobian[:, :, :count]
    inverse = np.linalg.inv(np.einsum("n,nij,nik->jk", weight, jacobian, jacobian))
    if given is None:
        degrees = max(residual.size - count, 1)
        given = np.eye(3)[None] * float(np.sum(residual**2)) / degrees
        given = np.broadcast_to(given, (len(turned), 3, 3))
    middle = np.einsum("n,nij,nik,nkl->jl", weight**2, jacobian, given, jacobian)
    whole = np.zeros((7, 7))
    whole[:count, :count] = inverse @ middle @ inverse
    return whole


def skew(vectors: ArrayLike) -> Float:
    """Matrices (n, 3, 3) that take the cross product with each vector (n, 3) from the left."""
    v = np.asarray(vectors, float)
    out = np.zeros((len(v), 3, 3))
    out[:, 0, 1], out[:, 0, 2], out[:, 1, 2] = -v[:, 2], v[:, 1], -v[:, 0]
    return np.asarray(out - out.transpose(0, 2, 1))


def rotation_of(turn: ArrayLike) -> Float:
    """Rotation matrix (3, 3) of a rotation vector (3,), rad (Rodrigues).

    Examples
    --------
    >>> rotation_of([0.0, 0.0, np.pi / 2]).round(9).tolist()
    [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
    """
    w = np.asarray(turn, float)
    angle = float(np.linalg.norm(w))
    k = skew(w[None])[0]
    return np.asarray(
        np.eye(3) + np.sinc(angle / np.pi) * k + 0.5 * np.sinc(angle / (2.0 * np.pi)) ** 2 * k @ k
    )


def turn_of(rotation: ArrayLike) -> Float:
    """Rotation vector (3,), rad, of a rotation matrix (3, 3) of less than half a turn.

    Examples
    --------
    >>> turn_of(rotation_of([0.1, -0.2, 0.3])).round(9).tolist()
    [0.1, -0.2, 0.3]
    """
    r = np.asarray(rotation, float)
    twice_sine = np.array([r[2, 1] - r[1, 2], r[0, 2] - r[2, 0], r[1, 0] - r[0, 1]])
    size = float(np.linalg.norm(twice_sine))
    angle = float(np.arctan2(size, np.trace(r) - 1.0))
    return np.asarray(twice_sine * (0.5 if size < 1e-12 else angle / size))
