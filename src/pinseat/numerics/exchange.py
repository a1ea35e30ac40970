"""Exchange of tangent planes: a dual simplex method in seven variables whose rows are made on demand.

The programme
-------------
Unknown are the six small motions ``x`` (rotations in mm at a reference length) and one scalar ``s``::

    minimise  s
    subject to  |A_d x + b_d| <= r_d + k_disc s       every disc d
                f_j x + g_j   >= -k_face s            every face j
                f_j x + g_j   <= lid_j + k_lid s      every counted face j
                s >= floor,  |x_i| <= box_i

The opening is the choice ``k = (0, 0, 1), lid = 0, floor = 0``; the clearance lacking is ``k = (1, 1, 0)``,
``lid`` = the limit and ``floor`` = ``-min r`` (a disc of negative radius cannot be met at all).

The method
----------
A disc is the intersection of its tangent half-planes ``u (A x + b) <= r + k s`` over all unit
vectors ``u``. A basis of seven rows fixes a vertex; as long as its multipliers are not negative, its ``s`` is
a *lower* bound. The most violated disc offers the tangent at its present direction (a face offers itself),
the row enters, the ratio test says which row leaves, and the bound rises. When nothing is violated by more
than `TOLERANCE_MM`, the bound is the answer (Kelley 1960, J. SIAM 8, 703, with the dual simplex of Lemke
1954, Naval Res. Logist. Q. 1, 36, and the tolerant ratio test of Harris 1973, Math. Prog. 5, 1). The sides of
the box are rows like any other: they leave the first basis, and one that the vertex has come to lie beyond
enters again. They are looked at last, for few bridges ever reach them.

Rows do not depend on the bridge, only right-hand sides do, and these are affine in its random vector. So the
best basis of one bridge is dual feasible for every other: all bridges start from the basis of the mean one.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

# Kernels take tuples of arrays and allocate nothing, so references need not be counted. Counting them is a
# contended atomic write at every call: a third of the time and of the compilation.
_kernel = njit(cache=True, nogil=True, error_model="numpy", _nrt=False)

Float = NDArray[np.float64]
Int = NDArray[np.int64]

TOLERANCE_MM = 1e-9
"""No disc or face may be violated by more than this; an opening may magnify it some hundred times."""

NUDGE = 1e-10
"""Cost of a millimetre of motion beside one of `s`: it makes the best vertex unique, so nothing cycles."""

TRAVEL_MM, TURN_RAD = 10.0, 0.2
"""Small motions are sought within these, in each component; `s` within ten millimetres too."""

MOST_EXCHANGES = 2000

MOST_PLACES = 4096
"""Discs, and each face twice: so many fit into the bits that :func:`_most_violated` uses."""

SOLVED, IMPOSSIBLE, STUCK = 0, 1, 2

_RATIO_SLACK = 1e-13
_PIVOT = 1e-9
_DRIFT_MM = 1e-10


class Programme(NamedTuple):
    """What all bridges share.

    Attributes
    ----------
    rows : (6, 2 D + F) array
        Columns: first components of all discs, second components, faces; rotations scaled.
    discs, faces : int
        `D` and `F`.
    give : (3,) array
        ``k_disc, k_face, k_lid``.
    lid : (F,) array, mm
        1e30 for a face that is not counted.
    box : (6,) array, mm
    """

    rows: Float
    discs: int
    faces: int
    give: Float
    lid: Float
    box: Float


class Basis(NamedTuple):
    """Seven rows ``a_i z <= c_i + k_i y[place_i]`` and the inverse of their matrix.

    Attributes
    ----------
    rows : (7, 7) array
        ``a_i``.
    inverse : (7, 8) array
        Inverse of `rows`; the eighth column is padding.
    weight : (8,) array
        Multipliers, none negative.
    constant : (7,) array
    factor : (7, 3) array
    place : (7, 3) int array
        Right-hand sides as functionals of the bridge's vector.
    """

    rows: Float
    inverse: Float
    weight: Float
    constant: Float
    factor: Float
    place: Int


class Work(NamedTuple):
    """Room for one thread: deviations, violations (and their bits), entering row, its coordinates, vertex."""

    deviation: Float
    excess: Float
    bits: Int
    row: Float
    share: Float
    vertex: Float
    tableau: Float


def new_basis() -> Basis:
    """Room for one basis."""
    return Basis(
        np.zeros((7, 7)),
        np.zeros((7, 8)),
        np.zeros(8),
        np.zeros(7),
        np.zeros((7, 3)),
        np.zeros((7, 3), np.int64),
    )


def new_work(programme: Programme) -> Work:
    """Room for one thread."""
    d, f = programme.discs, programme.faces
    excess = np.zeros(d + 2 * f)
    return Work(
        deviation=np.zeros(2 * d + f),
        excess=excess,
        bits=excess.view(np.int64),
        row=np.zeros(7),
        share=np.zeros(8),
        vertex=np.zeros(7),
        tableau=np.zeros((7, 14)),
    )


def box_basis(programme: Programme) -> Basis:
    """The basis every programme can start from: six sides of the box and the floor of `s`."""
    basis = new_basis()
    cost = NUDGE * (1.0 + 0.1 * np.arange(6))
    basis.rows[:, :] = -np.eye(7)
    basis.inverse[:, :7] = -np.eye(7)
    basis.weight[:7] = np.append(cost, 1.0)
    basis.constant[:6] = programme.box
    basis.factor[6, 0] = -1.0
    basis.place[6, 0] = 3 * programme.discs + programme.faces
    return basis


@_kernel
def copy_basis(source: Basis, target: Basis) -> None:
    """Overwrite `target`."""
    for i in range(7):
        target.weight[i] = source.weight[i]
        target.constant[i] = source.constant[i]
        for k in range(7):
            target.rows[i, k] = source.rows[i, k]
            target.inverse[i, k] = source.inverse[i, k]
        for k in range(3):
            target.factor[i, k] = source.factor[i, k]
            target.place[i, k] = source.place[i, k]


@_kernel
def _right_side(basis: Basis, y: Float, i: int) -> float:
    value = basis.constant[i]
    for k in range(3):
        value += basis.factor[i, k] * y[basis.place[i, k]]
    return value


@_kernel
def _set_vertex(basis: Basis, y: Float, vertex: Float) -> None:
    for k in range(7):
        vertex[k] = 0.0
    for i in range(7):
        side = _right_side(basis, y, i)
        for k in range(7):
            vertex[k] += basis.inverse[k, i] * side


@_kernel
def _drift(basis: Basis, y: Float, vertex: Float) -> float:
    worst = 0.0
    for i in range(7):
        off = -_right_side(basis, y, i)
        for k in range(7):
            off += basis.rows[i, k] * vertex[k]
        worst = max(worst, abs(off))
    return worst


@_kernel
def _invert(basis: Basis, tableau: Float) -> None:
    """Gauss and Jordan with row exchange, from the rows themselves; `tableau` is (7, 14) room."""
    a = tableau
    for i in range(7):
        for k in range(7):
            a[i, k] = basis.rows[i, k]
            a[i, 7 + k] = 1.0 if i == k else 0.0
    for c in range(7):
        p = c
        for i in range(c + 1, 7):
            if abs(a[i, c]) > abs(a[p, c]):
                p = i
        pivot = 1.0 / a[p, c]
        for k in range(14):
            above = a[p, k] * pivot
            a[p, k] = a[c, k]
            a[c, k] = above
        for i in range(7):
            if i != c:
                m = a[i, c]
                for k in range(14):
                    a[i, k] -= m * a[c, k]
    for i in range(7):
        for k in range(7):
            basis.inverse[i, k] = a[i, 7 + k]


@_kernel
def _beyond(p: Float, q: Float, radius: Float, give: float, out: Float) -> None:
    """How far each disc is left; by itself, because a loop as short as this runs eight discs at a time."""
    for i in range(len(p)):
        out[i] = math.sqrt(p[i] * p[i] + q[i] * q[i]) - radius[i] - give


@_kernel
def _most_violated(programme: Programme, y: Float, work: Work) -> int:
    """Fill `work.deviation` and `work.excess` for the vertex; give the place of the largest excess.

    The place is written into the last twelve bits of each excess and the largest is found among integers,
    which have the order of positive floats: a processor compares eight at a time, without a branch.
    """
    d, f = programme.discs, programme.faces
    rows, v, z = programme.rows, work.deviation, work.vertex
    x0, x1, x2, x3, x4, x5, s = z[0], z[1], z[2], z[3], z[4], z[5], z[6]
    for i in range(2 * d + f):
        v[i] = (
            y[i]
            + x0 * rows[0, i]
            + x1 * rows[1, i]
            + x2 * rows[2, i]
            + x3 * rows[3, i]
            + x4 * rows[4, i]
            + x5 * rows[5, i]
        )
    _beyond(v[:d], v[d : 2 * d], y[2 * d + f :], programme.give[0] * s, work.excess)
    give, lift = programme.give[1] * s, programme.give[2] * s
    gap, lid, below, above = v[2 * d :], programme.lid, work.excess[d : d + f], work.excess[d + f :]
    for j in range(f):
        below[j] = -gap[j] - give
    for j in range(f):
        above[j] = gap[j] - lid[j] - lift
    bits = work.bits
    best = np.int64(0)
    for i in range(d + 2 * f):
        best = max(best, (bits[i] & -MOST_PLACES) | i)
    return int(best & (MOST_PLACES - 1))


@_kernel
def _most_outside(programme: Programme, vertex: Float) -> tuple[int, float]:
    """The side of the box that the vertex lies farthest beyond (upper sides first), and by how much."""
    which, worst = 0, -np.inf
    for i in range(6):
        for side, far in ((i, vertex[i]), (6 + i, -vertex[i])):
            if far - programme.box[i] > worst:
                which, worst = side, far - programme.box[i]
    return programme.discs + 2 * programme.faces + which, worst


@_kernel
def _entering_row(programme: Programme, work: Work, which: int) -> tuple[float, float]:
    """Put the row that cuts the vertex off into `work.row`; give the direction (or sign) of the cut."""
    d, f = programme.discs, programme.faces
    rows, a = programme.rows, work.row
    if which >= d + 2 * f:
        a[:] = 0.0
        side = which - d - 2 * f
        a[side % 6] = 1.0 if side < 6 else -1.0
        return 0.0, 0.0
    if which < d:
        p, q = work.deviation[which], work.deviation[d + which]
        length = math.sqrt(p * p + q * q)
        p, q = (p / length, q / length) if length > 0.0 else (1.0, 0.0)
        for k in range(6):
            a[k] = p * rows[k, which] + q * rows[k, d + which]
        a[6] = -programme.give[0]
        return p, q
    sign = -1.0 if which < d + f else 1.0
    j = 2 * d + (which - d if which < d + f else which - d - f)
    for k in range(6):
        a[k] = sign * rows[k, j]
    a[6] = -programme.give[1] if sign < 0.0 else -programme.give[2]
    return sign, 0.0


@_kernel
def _leaving_row(basis: Basis, work: Work) -> int:
    """Coordinates of the entering row, and the row whose multiplier vanishes first; -1 if none does."""
    w, e = work.share, basis.inverse
    a0, a1, a2, a3, a4, a5, a6 = (
        work.row[0],
        work.row[1],
        work.row[2],
        work.row[3],
        work.row[4],
        work.row[5],
        work.row[6],
    )
    for i in range(8):
        w[i] = (
            a0 * e[0, i]
            + a1 * e[1, i]
            + a2 * e[2, i]
            + a3 * e[3, i]
            + a4 * e[4, i]
            + a5 * e[5, i]
            + a6 * e[6, i]
        )
    least = np.inf
    for i in range(7):
        if w[i] > _PIVOT:
            least = min(least, (basis.weight[i] + _RATIO_SLACK) / w[i])
    leaving, largest = -1, 0.0
    for i in range(7):
        if w[i] > _PIVOT and w[i] > largest and basis.weight[i] <= least * w[i]:
            leaving, largest = i, w[i]
    return leaving


@_kernel
def _replace(basis: Basis, work: Work, out: int, excess: float) -> None:
    """Exchange: vertex, multipliers, inverse and row."""
    w, z = work.share, work.vertex
    pivot = 1.0 / w[out]
    theta = max(basis.weight[out], 0.0) * pivot
    for i in range(8):
        basis.weight[i] = max(basis.weight[i] - theta * w[i], 0.0)
    basis.weight[out] = theta
    w[out] = 0.0
    for k in range(7):
        edge = basis.inverse[k, out] * pivot
        z[k] -= excess * edge
        for i in range(8):
            basis.inverse[k, i] -= w[i] * edge
        basis.inverse[k, out] = edge
        basis.rows[out, k] = work.row[k]


@_kernel
def _record(programme: Programme, basis: Basis, out: int, which: int, p: float, q: float) -> None:
    """Remember the right-hand side of the row that entered, as a functional of the bridge's vector."""
    d, f = programme.discs, programme.faces
    basis.constant[out] = 0.0
    for k in range(3):
        basis.place[out, k] = 0
        basis.factor[out, k] = 0.0
    if which < d:
        basis.place[out, 0], basis.place[out, 1], basis.place[out, 2] = which, d + which, 2 * d + f + which
        basis.factor[out, 0], basis.factor[out, 1], basis.factor[out, 2] = -p, -q, 1.0
        return
    if which >= d + 2 * f:
        basis.constant[out] = programme.box[(which - d - 2 * f) % 6]
        return
    basis.factor[out, 0] = -p
    if which < d + f:
        basis.place[out, 0] = d + which
    else:
        basis.place[out, 0] = d + which - f
        basis.constant[out] = programme.lid[which - d - f]


@_kernel
def exchange(programme: Programme, y: Float, basis: Basis, work: Work) -> int:
    """Solve for one bridge, from a dual feasible basis, which is overwritten with the best one.

    Parameters
    ----------
    programme : Programme
    y : (3 D + F + 1,) array, mm
        First components of the disc offsets, second components, gaps, radii, floor of `s`.
    basis, work
        `work.vertex` holds the answer (x, s).

    Returns
    -------
    int
        `SOLVED`, `IMPOSSIBLE` or `STUCK`.
    """
    _set_vertex(basis, y, work.vertex)
    fresh = False
    for _ in range(MOST_EXCHANGES):
        which = _most_violated(programme, y, work)
        excess = work.excess[which]
        if excess <= TOLERANCE_MM:
            which, excess = _most_outside(programme, work.vertex)
        if excess <= TOLERANCE_MM:
            if fresh or _drift(basis, y, work.vertex) <= _DRIFT_MM:
                return SOLVED
            _invert(basis, work.tableau)
            _set_vertex(basis, y, work.vertex)
            fresh = True
            continue
        p, q = _entering_row(programme, work, which)
        out = _leaving_row(basis, work)
        if out < 0:
            if fresh:
                return IMPOSSIBLE
            _invert(basis, work.tableau)
            _set_vertex(basis, y, work.vertex)
            fresh = True
            continue
        _replace(basis, work, out, excess)
        _record(programme, basis, out, which, p, q)
        fresh = False
    return STUCK


@_kernel
def solve_chunk(
    programme: Programme, y: Float, start: Basis, basis: Basis, work: Work, answer: Float, status: Int
) -> None:
    """Solve for some bridges, each from the same basis `start`, so that no answer depends on its neighbours.

    Parameters
    ----------
    programme : Programme
    y : (n, 3 D + F + 1) array, mm
        See :func:`exchange`; the last place is filled in here with the floor of `s`.
    start, basis, work
        Where to begin, and room to work in.
    answer : (n, 7) array
        Filled with (x, s).
    status : (n,) int array
        Filled with `SOLVED`, `IMPOSSIBLE` or `STUCK`.
    """
    radii = 2 * programme.discs + programme.faces
    for n in range(len(y)):
        least = TRAVEL_MM
        for i in range(radii, radii + programme.discs):
            least = min(least, y[n, i])
        y[n, -1] = 0.0 if programme.give[0] == 0.0 else -least
        if least < 0.0 and programme.give[0] == 0.0:
            status[n] = IMPOSSIBLE
            continue
        copy_basis(start, basis)
        status[n] = exchange(programme, y[n], basis, work)
        for k in range(7):
            answer[n, k] = work.vertex[k]
