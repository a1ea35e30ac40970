"""Solids as signed distances: negative inside, positive outside, millimetres, and how they are joined.

All joints are rounded with a stated reach and are exact outside it, so that a pin's wall is a true cylinder
everywhere but in the small fillet at its foot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

Float = NDArray[np.float64]


def dot(v: Float, q: Float) -> Float:
    """Part of each point along a direction, term by term, so that it is the same on any number of threads.

    Parameters
    ----------
    v : (3,) array
    q : (3, n) array

    Returns
    -------
    (n,) array
    """
    return np.asarray(v[0] * q[0] + v[1] * q[1] + v[2] * q[2])


def turn(matrix: Float, q: Float) -> Float:
    """Points in another frame; see :func:`dot`.

    Parameters
    ----------
    matrix : (3, 3) array
    q : (3, n) array

    Returns
    -------
    (3, n) array
    """
    return np.stack([dot(row, q) for row in matrix])


def join(a: Float, b: Float, reach_mm: float) -> Float:
    """Union of two solids with a fillet.

    Parameters
    ----------
    a, b : arrays of signed distance, mm
    reach_mm : float
        The joint is rounded where the two distances differ by less than this; exact elsewhere.

    Returns
    -------
    array, mm

    Examples
    --------
    >>> join(np.array([0.0, 0.2]), np.array([0.5, 0.2]), 0.1)
    array([0.   , 0.175])
    """
    blend = np.maximum(reach_mm - np.abs(a - b), 0.0)
    return np.minimum(a, b) - blend * blend * (0.25 / reach_mm)


def cross(a: Float, b: Float, reach_mm: float) -> Float:
    """Common part of two solids with a rounded edge; see :func:`join`."""
    return -join(-a, -b, reach_mm)


def cut(a: Float, b: Float, reach_mm: float) -> Float:
    """Solid `a` without solid `b`, edges rounded; see :func:`join`."""
    return -join(-a, b, reach_mm)


@dataclass(frozen=True, eq=False)
class Profiles:
    """Smooth curves over one coordinate, tabulated for speed.

    Attributes
    ----------
    start_mm, step_mm : float
    table : (k, n) array
    """

    start_mm: float
    step_mm: float
    table: Float

    @classmethod
    def through(cls, at_mm: Sequence[float] | Float, *values: Sequence[float] | Float) -> Profiles:
        """Shape-keeping cubic curves through the same stations.

        Parameters
        ----------
        at_mm : (m,) sequence
            Stations, increasing.
        *values : (m,) sequences
            One for each curve.

        Returns
        -------
        Profiles
        """
        at = np.asarray(at_mm, float)
        fine = np.linspace(at[0], at[-1], 2001)
        table = PchipInterpolator(at, np.asarray(values, float), axis=1)(fine)
        return cls(float(at[0]), float(fine[1] - fine[0]), np.ascontiguousarray(table))

    def __call__(self, at_mm: Float) -> Float:
        """Values at some places; held constant beyond the ends.

        Parameters
        ----------
        at_mm : (n,) array

        Returns
        -------
        (k, n) array
        """
        last = self.table.shape[1] - 1
        place = np.clip((at_mm - self.start_mm) / self.step_mm, 0.0, last - 1e-9)
        index = place.astype(np.intp)
        part = place - index
        low, high = self.table.take(index, axis=1), self.table.take(index + 1, axis=1)
        high -= low
        high *= part
        high += low
        return high


def cylinder(
    points: Float, foot: Float, axis: Float, radius_mm: float, rim_mm: float, top_mm: float
) -> Float:
    """Exact distance to a round bar with a flat end and a rounded rim, endless below its foot.

    Parameters
    ----------
    points : (3, n) array
    foot, axis : (3,) arrays
        A point on the axis and the unit vector towards the flat end.
    radius_mm, rim_mm, top_mm : float
        Radius, radius of the rounded rim, and height of the end above the foot.

    Returns
    -------
    (n,) array, mm

    Examples
    --------
    >>> ends = np.array([[0.0, 0.0, 3.5], [1.0, 0.0, 1.0]]).T
    >>> cylinder(ends, np.zeros(3), np.array([0.0, 0.0, 1.0]), 0.25, 0.05, 3.0)
    array([0.5 , 0.75])
    """
    offset = points - foot[:, None]
    along = dot(axis, offset)
    across = np.sqrt(np.maximum(dot(offset, offset) - along * along, 0.0))
    side, end = across - (radius_mm - rim_mm), along - (top_mm - rim_mm)
    outside = np.hypot(np.maximum(side, 0.0), np.maximum(end, 0.0))
    return outside + np.minimum(np.maximum(side, end), 0.0) - rim_mm
