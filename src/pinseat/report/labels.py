"""Where to put names beside points so that the lines to them never cross."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

Float = NDArray[np.float64]

_APART = 1.25
"""Names stand this many of their own widths or heights apart along the border, to allow for its curve."""


def assign(points: Float, ports: Float) -> NDArray[np.intp]:
    """Give each point its own port so that the straight lines between them do not cross.

    The assignment of least total length has no crossings: were two lines to cross, exchanging their ends
    would shorten the total (triangle inequality).

    Parameters
    ----------
    points : (n, 2) array
    ports : (m, 2) array
        ``m >= n``; on the border of a convex region around the points.

    Returns
    -------
    (n,) int array
        Index of the port of each point.

    Examples
    --------
    >>> assign(np.array([[0.0, 1.0], [0.0, 0.0]]), np.array([[2.0, 0.0], [2.0, 1.0]]))
    array([1, 0])
    """
    length = np.linalg.norm(points[:, None, :] - ports[None, :, :], axis=2)
    return np.asarray(linear_sum_assignment(length)[1], dtype=np.intp)


def ports_around(points: Float, margin: float, size: tuple[float, float]) -> Float:
    """Places for names on a rounded border around the points, so far apart that the names do not touch.

    Parameters
    ----------
    points : (n, 2) array
    margin : float
        Distance from the points' box to the border.
    size : tuple of float
        Width and height that one name takes up.

    Returns
    -------
    (m, 2) array
        On an ellipse (convex, so no line passes over another name); ``m >= n``.

    Examples
    --------
    >>> ports = ports_around(np.array([[0.0, 0.0], [4.0, 1.0]]), 3.0, (2.0, 1.0))
    >>> gap = np.abs(ports[:, None, :] - ports[None, :, :]) / np.array([2.0, 1.0])
    >>> bool((gap.max(axis=2) + 9.0 * np.eye(len(ports)) >= 1.0).all())
    True
    """
    low, high = points.min(axis=0), points.max(axis=0)
    centre, half = (low + high) / 2.0, (high - low) / 2.0 * np.sqrt(2.0) + margin
    angle = np.linspace(0.0, 2.0 * np.pi, 721)
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    while True:
        steps = np.abs(np.diff(circle * half, axis=0)) / np.array(size)
        run = np.concatenate([[0.0], np.cumsum(steps.max(axis=1))])
        count = int(run[-1] / _APART)
        if count >= len(points):
            break
        half = 1.1 * half
    at = np.interp(np.arange(count) * run[-1] / count, run, angle)
    return np.asarray(centre + half * np.stack([np.cos(at), np.sin(at)], axis=1))
