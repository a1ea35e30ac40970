"""Covariance: from many independent errors to as few random numbers as the joint effect needs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]

_NEGLIGIBLE = 1e-13


def compact(factor: Float) -> Float:
    """A lower triangular factor with the same covariance: ``L L^T = F F^T``.

    Parameters
    ----------
    factor : (m, r) array
        ``F``; each column is the effect of one independent standard error.

    Returns
    -------
    (m, k) array
        ``L`` with ``k <= m``; a column that would hold less than 1e-13 of a variance is left out,
        so dependent rows cost nothing.

    Notes
    ----- Cholesky's method on the covariance, row by row. It varies smoothly with the factor while the rank
    stays, so the same random numbers still pair two bridges that differ a little.

    Examples
    --------
    >>> compact(np.array([[3.0, 4.0], [6.0, 8.0]]))
    array([[ 5.],
           [10.]])
    """
    covariance = np.einsum("ik,jk->ij", factor, factor)
    size = len(covariance)
    lower = np.zeros((size, size))
    kept: list[int] = []
    for i in range(size):
        column = covariance[i:, i] - lower[i:] @ lower[i]
        if column[0] > _NEGLIGIBLE * covariance[i, i]:
            lower[i:, i] = column / np.sqrt(column[0])
            kept.append(i)
    return lower[:, kept]
