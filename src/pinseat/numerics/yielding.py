"""Contact of parts that yield: as :mod:`pinseat.numerics.contact`, with further motions that are bounded.

Teeth in their sockets and a long span add unknowns ``e`` to the six motions of the bridge::

    |A_d x + E_d e + b_d| <= r_d + k_disc s
    -k_face s <= f_j x + G_j e + g_j <= lid_j + k_lid s
    |e_g| <= m_g        each group of one or two of them

It is the same exchange of tangent planes, for any number of unknowns and from the box each time. Rigid
bridges do not pay for it.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from pinseat.numerics.contact import CHUNK, Contact, reference_length, settle
from pinseat.numerics.exchange import (
    IMPOSSIBLE,
    MOST_EXCHANGES,
    NUDGE,
    SOLVED,
    STUCK,
    TOLERANCE_MM,
    TRAVEL_MM,
    TURN_RAD,
)

Float = NDArray[np.float64]
_NO_LID, _PIVOT, _DRIFT_MM, _RATIO_SLACK = 1e30, 1e-9, 1e-10, 1e-13


@dataclass(frozen=True, eq=False)
class Extra:
    """Further motions, each scaled so that its bound is a length in mm.

    Attributes
    ----------
    discs : (D, 2, q) array
        How far a unit of each moves each disc across its axis.
    faces : (F, q) array
        How far it moves each face along its normal.
    groups : tuple of tuple of int
        Motions bounded together, one or two.
    bound_mm : tuple of float
        Bound of each group.
    """

    discs: Float
    faces: Float
    groups: tuple[tuple[int, ...], ...]
    bound_mm: tuple[float, ...]

    def only(self, discs: NDArray[np.bool_], faces: NDArray[np.bool_]) -> Extra:
        """For some of the discs and faces."""
        return Extra(self.discs[discs], self.faces[faces], self.groups, self.bound_mm)


def solve_yielding(
    contact: Contact,
    extra: Extra,
    y: Float,
    give: tuple[float, float, float],
    limit_mm: float,
    threads: int | None = None,
) -> tuple[Float, Float]:
    """The least `s` of each bridge; ``give`` as for :func:`pinseat.numerics.contact.solve_least`.

    Parameters
    ----------
    contact : Contact
    extra : Extra
    y : (n, size) array, mm
    give : (float, float, float)
    limit_mm : float
    threads : int, optional
        The answer does not depend on it.

    Returns
    -------
    least : (n,) array, mm
        Infinite where discs and faces cannot be met.
    motion : (n, 6 + q) array
        Six motions in mm and rad, then the further ones in mm; nan where there is none.

    Examples
    --------
    Two pins, each 0.03 mm off its hole the other way and free by 0.02 mm; the first tooth yields by 0.004 mm.
    Half of that comes to each, so 0.008 mm are lacking in place of 0.01 mm:

    >>> discs = np.zeros((2, 2, 6))
    >>> discs[:, 0, 0] = discs[:, 1, 1] = 1.0
    >>> contact = Contact(discs, np.zeros((0, 6)), np.zeros(0, bool))
    >>> moved = np.zeros((2, 2, 1)); moved[0, 0, 0] = 1.0
    >>> extra = Extra(moved, np.zeros((0, 1)), ((0,),), (0.004,))
    >>> y = np.array([[0.03, 0, -0.03, 0, 0.02, 0.02]])
    >>> solve_yielding(contact, extra, y, (1.0, 1.0, 0.0), 0.1)[0].round(6)
    array([0.008])
    """
    if y.ndim != 2 or y.shape[1] != contact.size or not np.all(np.isfinite(y)):
        raise ValueError(f"one row of {contact.size} finite numbers for each bridge is wanted, not {y.shape}")
    rows, faces, gives, bounds, box = _programme(contact, extra, give)
    d = len(contact.discs)
    lid = np.where(contact.counted, limit_mm, _NO_LID)
    answer, status = np.empty((len(y), len(box) + 1)), np.empty(len(y), np.int64)

    def chunk(first: int) -> None:
        part = slice(first, first + CHUNK)
        offsets = np.zeros((len(y[part]), len(rows), 2))
        offsets[:, :d] = y[part, : 2 * d].reshape(-1, d, 2)
        radii = np.hstack([y[part, 2 * d : 3 * d], np.tile(bounds, (len(offsets), 1))])
        gaps = np.ascontiguousarray(y[part, 3 * d :])
        _solve_chunk(
            rows, faces, gives, np.array(give), offsets, radii, gaps, lid, box, answer[part], status[part]
        )

    with ThreadPoolExecutor(threads or os.cpu_count()) as pool:
        list(pool.map(chunk, range(0, len(y), CHUNK)))
    if np.any(status == STUCK):
        settle(answer[:, :7], status)
    bad = status != SOLVED
    answer[bad, :-1], answer[bad, -1] = np.nan, np.inf
    motion = answer[:, :-1].copy()
    motion[:, 3:6] /= reference_length(contact)
    return answer[:, -1].copy(), motion


def _programme(
    contact: Contact, extra: Extra, give: tuple[float, float, float]
) -> tuple[Float, Float, Float, Float, Float]:
    """Rows of discs and of bounds (as discs that do not give), of faces; what gives; bounds; the box."""
    q, length = extra.faces.shape[1], reference_length(contact)
    discs = np.concatenate([contact.discs, extra.discs], axis=2)
    held = np.zeros((len(extra.groups), 2, 6 + q))
    for i, group in enumerate(extra.groups):
        for k, motion in enumerate(group):
            held[i, k, 6 + motion] = 1.0
    rows = np.concatenate([discs, held])
    faces = np.hstack([contact.faces, extra.faces])
    for part in (rows, faces):
        part[..., 3:6] /= length
    gives = np.append(np.full(len(discs), give[0]), np.zeros(len(held)))
    bounds = np.array(extra.bound_mm, dtype=np.float64)
    box = np.concatenate([np.full(3, TRAVEL_MM), np.full(3, TURN_RAD * length), np.full(q, TRAVEL_MM)])
    return rows, faces, gives, bounds, box


@njit(cache=True, nogil=True, error_model="numpy")
def _solve_chunk(
    rows: Float,
    faces: Float,
    gives: Float,
    give: Float,
    offsets: Float,
    radii: Float,
    gaps: Float,
    lid: Float,
    box: Float,
    answer: Float,
    status: NDArray[np.int64],
) -> None:
    for n in range(len(offsets)):
        status[n] = _exchange(rows, faces, gives, give, offsets[n], radii[n], gaps[n], lid, box, answer[n])


@njit(cache=True, nogil=True, error_model="numpy")
def _exchange(
    rows: Float,
    faces: Float,
    gives: Float,
    give: Float,
    offset: Float,
    radius: Float,
    gap: Float,
    lid: Float,
    box: Float,
    vertex: Float,
) -> int:
    """One bridge; `vertex` becomes the answer, `s` last."""
    n = len(box) + 1
    least = TRAVEL_MM
    for i in range(len(radius)):
        if gives[i] > 0.0:
            least = min(least, radius[i] / gives[i])
        elif radius[i] < 0.0:
            return IMPOSSIBLE
    basis, side, weight = -np.eye(n), np.empty(n), np.empty(n)
    inverse = -np.eye(n)
    for k in range(n - 1):
        side[k] = box[k]
        weight[k] = NUDGE * (1.0 + 0.1 * k)
    side[n - 1] = least if give[0] > 0.0 else 0.0
    weight[n - 1] = 1.0
    np.dot(inverse, side, vertex)
    row, share = np.empty(n), np.empty(n)
    fresh = False
    for _ in range(MOST_EXCHANGES):
        excess, right = _most_violated(rows, faces, gives, give, offset, radius, gap, lid, vertex, row)
        if excess <= TOLERANCE_MM:
            excess, right = _most_outside(box, vertex, row)
        if excess > TOLERANCE_MM:
            np.dot(row, inverse, share)
            out = _leaving(share, weight)
            if out >= 0:
                _replace(basis, inverse, side, weight, vertex, row, share, out, excess, right)
                fresh = False
                continue
            if fresh:
                return IMPOSSIBLE
        elif fresh or np.abs(basis @ vertex - side).max() <= _DRIFT_MM:
            return SOLVED
        anew = np.linalg.inv(basis)
        for i in range(n):
            for k in range(n):
                inverse[i, k] = anew[i, k]
        np.dot(inverse, side, vertex)
        fresh = True
    return STUCK


@njit(cache=True, nogil=True, error_model="numpy")
def _most_violated(
    rows: Float,
    faces: Float,
    gives: Float,
    give: Float,
    offset: Float,
    radius: Float,
    gap: Float,
    lid: Float,
    vertex: Float,
    row: Float,
) -> tuple[float, float]:
    """Largest excess; its row ``a z <= right`` is written into `row`, the right-hand side returned."""
    n = len(vertex)
    s, worst, right = vertex[n - 1], 0.0, 0.0
    for i in range(len(rows)):
        p, q = offset[i, 0], offset[i, 1]
        for k in range(n - 1):
            p += rows[i, 0, k] * vertex[k]
            q += rows[i, 1, k] * vertex[k]
        far = np.sqrt(p * p + q * q)
        if far - radius[i] - gives[i] * s > worst:
            worst = far - radius[i] - gives[i] * s
            u, v = (p / far, q / far) if far > 0.0 else (1.0, 0.0)
            for k in range(n - 1):
                row[k] = u * rows[i, 0, k] + v * rows[i, 1, k]
            row[n - 1] = -gives[i]
            right = radius[i] - u * offset[i, 0] - v * offset[i, 1]
    for j in range(len(faces)):
        g = gap[j]
        for k in range(n - 1):
            g += faces[j, k] * vertex[k]
        for sign in (-1.0, 1.0):
            room = 0.0 if sign < 0.0 else lid[j]
            yields = give[1] if sign < 0.0 else give[2]
            if sign * g - room - yields * s > worst:
                worst = sign * g - room - yields * s
                for k in range(n - 1):
                    row[k] = sign * faces[j, k]
                row[n - 1] = -yields
                right = room - sign * gap[j]
    return worst, right


@njit(cache=True, nogil=True, error_model="numpy")
def _most_outside(box: Float, vertex: Float, row: Float) -> tuple[float, float]:
    """As :func:`_most_violated`, for the sides of the box."""
    worst, right = -np.inf, 0.0
    for k in range(len(box)):
        if abs(vertex[k]) - box[k] > worst:
            worst, right = abs(vertex[k]) - box[k], box[k]
            row[:] = 0.0
            row[k] = 1.0 if vertex[k] > 0.0 else -1.0
    return worst, right


@njit(cache=True, nogil=True, error_model="numpy")
def _leaving(share: Float, weight: Float) -> int:
    least = np.inf
    for i in range(len(share)):
        if share[i] > _PIVOT:
            least = min(least, (weight[i] + _RATIO_SLACK) / share[i])
    leaving, largest = -1, 0.0
    for i in range(len(share)):
        if share[i] > _PIVOT and share[i] > largest and weight[i] <= least * share[i]:
            leaving, largest = i, share[i]
    return leaving


@njit(cache=True, nogil=True, error_model="numpy")
def _replace(
    basis: Float,
    inverse: Float,
    side: Float,
    weight: Float,
    vertex: Float,
    row: Float,
    share: Float,
    out: int,
    excess: float,
    right: float,
) -> None:
    """Exchange the row that leaves: vertex, multipliers, inverse, row and right-hand side."""
    n = len(vertex)
    pivot = 1.0 / share[out]
    theta = max(weight[out], 0.0) * pivot
    for i in range(n):
        weight[i] = max(weight[i] - theta * share[i], 0.0)
    weight[out] = theta
    for k in range(n):
        edge = inverse[k, out] * pivot
        vertex[k] -= excess * edge
        for i in range(n):
            if i != out:
                inverse[k, i] -= share[i] * edge
        inverse[k, out] = edge
        basis[out, k] = row[k]
    side[out] = right
