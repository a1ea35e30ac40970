"""Rigid contact of all pins with all holes, ledges and margins, as two small convex programmes.

A bridge moves by ``x = (t, omega)``, small: the point ``p`` moves by ``t + omega x (p - origin)``. A straight
pin is inside a straight round hole exactly when its centre line, at the mouth and at the tip, is within the
radial clearance of the hole's axis: two discs ``|A x + b| <= r``. Whatever else the casting can touch is a
half-space ``f x + g >= 0``.

* **Opening**: the least ``h`` such that every disc and face is met and no counted face stands open by more
  than ``h``.
  Infinite when the discs cannot be met at any height.
* **Clearance lacking**: the least ``s`` by which every radius and every stop would have to give way for all
  counted faces to come
  within the limit. Negative: so much is to spare. It is well conditioned where the opening is not.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.numerics.exchange import (
    MOST_PLACES,
    SOLVED,
    STUCK,
    TRAVEL_MM,
    TURN_RAD,
    Basis,
    Float,
    Programme,
    box_basis,
    copy_basis,
    new_basis,
    new_work,
    solve_chunk,
)

_NO_LID = 1e30
CHUNK = 1024
"""Bridges one thread takes at a time."""


@dataclass(frozen=True, eq=False)
class Contact:
    """Where a bridge can touch; what all virtual bridges of a case share.

    Attributes
    ----------
    discs : (D, 2, 6) array
        Rows ``A`` of :func:`disc_rows`.
    faces : (F, 6) array
        Rows ``f`` of :func:`face_rows`.
    counted : (F,) bool array
        Faces whose distance is an opening (margins and ledges).

    Notes
    ----- What differs from bridge to bridge is one vector: the offsets ``b`` (disc by disc, two each), the
    radii ``r``, the gaps ``g``.
    """

    discs: Float
    faces: Float
    counted: NDArray[np.bool_]

    @property
    def size(self) -> int:
        """Length ``3 D + F`` of the vector of one bridge."""
        return 3 * len(self.discs) + len(self.faces)


def disc_rows(points: Float, frames: Float, origin: Float) -> Float:
    """Motion of points across their axes.

    Parameters
    ----------
    points : (D, 3) array, mm
        Centres of the discs: mouth or tip of each pin.
    frames : (D, 2, 3) array
        Two unit vectors across each axis.
    origin : (3,) array, mm
        The point that ``t`` moves.

    Returns
    -------
    (D, 2, 6) array
        ``u t + u (omega x q) = u t + (q x u) omega`` with ``q = p - origin``.

    Examples
    --------
    >>> frames = np.array([[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]])
    >>> disc_rows(np.array([[0.0, 0.0, 2.0]]), frames, np.zeros(3))[0] + 0.0
    array([[ 1.,  0.,  0.,  0.,  2.,  0.],
           [ 0.,  1.,  0., -2.,  0.,  0.]])
    """
    arm = (points - origin)[:, None, :]
    return np.concatenate([frames, np.cross(arm, frames)], axis=2)


def face_rows(points: Float, normals: Float, origin: Float) -> Float:
    """Motion of points along their normals.

    Parameters
    ----------
    points, normals : (F, 3) arrays
        Normals out of the tooth, so that a positive motion opens.
    origin : (3,) array, mm

    Returns
    -------
    (F, 6) array

    Examples
    --------
    >>> face_rows(np.array([[5.0, 0.0, 0.0]]), np.array([[0.0, 0.0, 1.0]]), np.zeros(3)) + 0.0
    array([[ 0.,  0.,  1.,  0., -5.,  0.]])
    """
    return np.concatenate([normals, np.cross(points - origin, normals)], axis=1)


def reference_length(contact: Contact) -> float:
    """Length in mm that makes turning comparable with travel: the longest arm, or 1 mm if all are shorter."""
    turning = np.concatenate([contact.discs[:, :, 3:].ravel(), contact.faces[:, 3:].ravel()])
    return max(1.0, float(np.abs(turning).max(initial=0.0)))


def kernel_order(contact: Contact) -> NDArray[np.int64]:
    """Order in which the kernel wants the vector of a bridge: offsets by component, gaps, radii."""
    d, f = len(contact.discs), len(contact.faces)
    offsets = np.arange(2 * d).reshape(d, 2).T.ravel()
    return np.concatenate([offsets, np.arange(3 * d, 3 * d + f), np.arange(2 * d, 3 * d)])


def _programme(contact: Contact, give: tuple[float, float, float], limit_mm: float) -> Programme:
    d, f = len(contact.discs), len(contact.faces)
    if d + 2 * f > MOST_PLACES:
        raise ValueError(f"discs and twice the faces may be {MOST_PLACES} at most, not {d + 2 * f}")
    length = reference_length(contact)
    rows = np.concatenate([contact.discs[:, 0], contact.discs[:, 1], contact.faces]).T.copy()
    rows[3:] /= length
    lid = np.where(contact.counted, limit_mm, _NO_LID)
    box = np.array([TRAVEL_MM] * 3 + [TURN_RAD * length] * 3)
    return Programme(rows, d, f, np.array(give), lid, box)


def opening_programme(contact: Contact) -> Programme:
    """The programme whose scalar is the opening."""
    return _programme(contact, (0.0, 0.0, 1.0), 0.0)


def lacking_programme(contact: Contact, limit_mm: float) -> Programme:
    """The programme whose scalar is the clearance lacking."""
    return _programme(contact, (1.0, 1.0, 0.0), limit_mm)


def start_basis(programme: Programme, mean: Float) -> Basis:
    """The best basis of the mean bridge: every bridge starts from it.

    Parameters
    ----------
    programme : Programme
    mean : (3 D + F + 1,) array, mm
        In kernel order.
    """
    best = new_basis()
    room, answer, status = new_work(programme), np.empty((1, 7)), np.empty(1, np.int64)
    copy_basis(box_basis(programme), best)
    solve_chunk(programme, mean[None].copy(), box_basis(programme), best, room, answer, status)
    return best


def settle(answer: Float, status: NDArray[np.int64]) -> None:
    """Mark the bridges that no motion lets in; refuse to hand on what did not converge.

    Raises
    ------
    ArithmeticError
        If the exchange of tangent planes did not end, which no bridge is known to cause.
    """
    if np.any(status == STUCK):
        where = int(np.argmax(status == STUCK))
        raise ArithmeticError(f"the contact of bridge {where} did not converge")
    answer[status != SOLVED, :6] = np.nan
    answer[status != SOLVED, 6] = np.inf


def _solve(contact: Contact, programme: Programme, y: Float) -> tuple[Float, Float]:
    if y.ndim != 2 or y.shape[1] != contact.size:
        raise ValueError(f"one row of {contact.size} numbers for each bridge is wanted, not {y.shape}")
    if not np.all(np.isfinite(y)):
        raise ValueError("offsets, radii and gaps must be finite")
    full = np.zeros((len(y), contact.size + 1))
    full[:, :-1] = y[:, kernel_order(contact)]
    answer, status = np.empty((len(y), 7)), np.empty(len(y), np.int64)
    start = start_basis(programme, full.mean(axis=0) if len(y) else np.zeros(contact.size + 1))

    def chunk(first: int) -> None:
        part = slice(first, first + CHUNK)
        solve_chunk(
            programme, full[part], start, new_basis(), new_work(programme), answer[part], status[part]
        )

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(chunk, range(0, len(y), CHUNK)))
    settle(answer, status)
    motion = answer[:, :6].copy()
    motion[:, 3:] /= reference_length(contact)
    return answer[:, 6].copy(), motion


def solve_opening(contact: Contact, y: Float) -> tuple[Float, Float]:
    """The least opening of each bridge.

    Parameters
    ----------
    contact : Contact
    y : (n, size) array, mm
        One row a bridge: offsets, radii, gaps.

    Returns
    -------
    opening : (n,) array, mm
        Least ``h >= 0`` such that discs and faces are met and counted faces stand open by no more than ``h``;
        infinite where the discs cannot be met.
    motion : (n, 6) array
        One motion that reaches it, in mm and rad; ``nan`` where there is none. Where several do, the choice
        says nothing.

    Raises
    ------
    ValueError
        If `y` has the wrong shape or holds anything but finite numbers.

    Examples
    --------
    One pin in a hole 0.1 mm wider, stopped 0.03 mm too early by its floor:

    >>> up = np.array([[0.0, 0.0, 1.0]])
    >>> frames = np.tile(np.eye(3)[:2], (2, 1, 1))
    >>> discs = disc_rows(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, -2.0]]), frames, np.zeros(3))
    >>> faces = np.concatenate([face_rows(np.array([[0.0, 0.0, z]]), up, np.zeros(3)) for z in (-2.0, 0.0)])
    >>> contact = Contact(discs, faces, np.array([False, True]))
    >>> opening, motion = solve_opening(contact, np.array([[0, 0, 0, 0, 0.05, 0.05, -0.03, 0]]))
    >>> opening.round(6)
    array([0.03])
    """
    return _solve(contact, opening_programme(contact), y)


def solve_lacking(contact: Contact, y: Float, limit_mm: float) -> tuple[Float, Float]:
    """The clearance lacking of each bridge.

    Parameters
    ----------
    contact : Contact
    y : (n, size) array, mm
    limit_mm : float
        Opening that counts as seated. It does not give way.

    Returns
    -------
    lacking : (n,) array, mm
        Least ``s`` with ``|A x + b| <= r + s``, ``f x + g >= -s``, and ``f x + g <= limit`` on counted faces;
        negative = to spare. Infinite only where counted faces contradict each other. Never below -10 mm.
    motion : (n, 6) array
        As for :func:`solve_opening`.

    Raises
    ------
    ValueError
        If `y` has the wrong shape or holds anything but finite numbers.
    """
    return _solve(contact, lacking_programme(contact, limit_mm), y)


def solve_least(
    contact: Contact, y: Float, give: tuple[float, float, float], limit_mm: float
) -> tuple[Float, Float]:
    """The least `s` when discs, stops and the limit of counted faces give way by stated parts of it.

    Parameters
    ----------
    contact : Contact
    y : (n, size) array, mm
    give : (float, float, float)
        How much of `s` each disc, each stop and the limit gives way: ``(0, 0, 1)`` with limit 0 is
        :func:`solve_opening`, ``(1, 1, 0)`` is :func:`solve_lacking`, and ``(1, 0, 0)`` centres the pins
        while no stop gives way.
    limit_mm : float

    Returns
    -------
    least : (n,) array, mm
    motion : (n, 6) array
        As for :func:`solve_opening`.

    Raises
    ------
    ValueError
        If `y` has the wrong shape or holds anything but finite numbers.
    """
    return _solve(contact, _programme(contact, give, limit_mm), y)
