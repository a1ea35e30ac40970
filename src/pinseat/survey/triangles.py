"""The nearest places of triangles, row by row."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]


def nearest_on_triangles(triangles: Float, points: Float) -> Float:
    """The nearest place of each triangle to the point beside it.

    Below the point inside the triangle if that is inside, else on the nearest of the three sides.

    Parameters
    ----------
    triangles : (n, 3, 3) array, mm
        Corners; without area they count as their longest side.
    points : (n, 3) array, mm

    Returns
    -------
    (n, 3) array, mm

    Examples
    --------
    >>> flat = np.array([[[0.0, 0, 0], [3, 0, 0], [0, 3, 0]]] * 2)
    >>> nearest_on_triangles(flat, np.array([[1.0, 1, 5], [4, -1, 0]])).tolist()
    [[1.0, 1.0, 0.0], [3.0, 0.0, 0.0]]
    """
    along = np.roll(triangles, -1, axis=1) - triangles
    from_corner = points[:, None] - triangles
    length = np.einsum("nij,nij->ni", along, along)
    part = np.einsum("nij,nij->ni", along, from_corner) / np.where(length > 0.0, length, 1.0)
    on_side = triangles + np.clip(part, 0.0, 1.0)[..., None] * along
    away = np.linalg.norm(on_side - points[:, None], axis=2)
    place = on_side[np.arange(len(points)), np.argmin(away, axis=1)]
    normal = np.cross(along[:, 0], along[:, 1])
    square = np.einsum("ni,ni->n", normal, normal)
    turns = np.einsum("nij,nj->ni", np.cross(along, from_corner), normal)
    inside = (square > 0.0) & np.all(turns >= 0.0, axis=1)
    rise = np.einsum("ni,ni->n", from_corner[:, 0], normal) / np.where(inside, square, 1.0)
    return np.where(inside[:, None], points - rise[:, None] * normal, place)
