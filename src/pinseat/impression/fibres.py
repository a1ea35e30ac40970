"""Movement of bonded rubber: every ray to the tray's wall pulls, every ray to a free surface does not.

A point of the rubber hangs on straight fibres to the wall of the tray. A fibre of length *L* wants to shorten
by *e L* and is as stiff as ``1 / L``; those that end on a free surface do nothing. Equilibrium is

    K u = e s,    K = sum of w / L (n n),    s = sum of w n

over directions *n* of equal weight *w*, so ``u = e f`` with the *reach* ``f = K^-1 s`` in mm, which depends
on shape alone. Fibres make a body with Poisson's ratio 1/3: in a layer of thickness *t* bonded on one side
the free surface moves by ``2 e t``, which is ``(1 + v) / (1 - v) e t`` for it, and finite elements agree with
the sum to a few per cent at that ratio. Rubber keeps its volume: what shrinks must come from the free
surface, so it moves one and a half to three times as far. Between two walls, or all round, nothing moves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pinseat.mesh.rays import Rays

Float = NDArray[np.float64]

DIRECTIONS = 3000
"""Rays from each point: enough for 1 % of the reach."""
FAR_MM = 25.0
"""A wall farther away than this does not hold the rubber: it is the other side of the arch."""


@dataclass(frozen=True, eq=False)
class Reach:
    """Where points of the rubber go, per unit of free strain.

    Attributes
    ----------
    reach_mm : (n, 3) array
        ``u / e``: towards the walls for a shrinkage; nan where no wall holds the point.
    nearest_mm : (n,) array
        Shortest ray to the wall; infinite where there is none.
    """

    reach_mm: Float
    nearest_mm: Float


def directions(count: int = DIRECTIONS) -> Float:
    """Directions spread evenly over the sphere along a golden spiral, (count, 3)."""
    k = np.arange(count) + 0.5
    z = 1.0 - 2.0 * k / count
    turn = np.pi * (1.0 + 5.0**0.5) * k
    flat = np.sqrt(1.0 - z * z)
    return np.column_stack([flat * np.cos(turn), flat * np.sin(turn), z])


def reach(points: ArrayLike, wall: Rays, free: Rays | None) -> Reach:
    """Reach of points inside the rubber.

    Parameters
    ----------
    points : (n, 3) array, mm
        Inside the rubber, off its surfaces.
    wall : Rays
        The tray, to which the rubber is bonded.
    free : Rays or None
        The teeth, from which it comes free.

    Returns
    -------
    Reach
    """
    at = np.asarray(points, float).reshape(-1, 3)
    way = directions()
    found, nearest = np.full((len(at), 3), np.nan), np.full(len(at), np.inf)
    for i, point in enumerate(at):
        start = np.repeat(point[None], len(way), axis=0)
        length = wall.distance(start, way)
        stopped = np.full(len(way), np.inf) if free is None else free.distance(start, way)
        held = (length < stopped) & (length < FAR_MM)
        if np.count_nonzero(held) < len(way) // 50:
            continue
        n, long = way[held], length[held]
        stiff = (n / long[:, None]).T @ n
        found[i] = np.linalg.lstsq(stiff, n.sum(axis=0), rcond=1e-6)[0]
        nearest[i] = long.min()
    return Reach(found, nearest)
