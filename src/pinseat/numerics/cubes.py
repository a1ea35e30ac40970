"""Shrinkage of a body of equal cubes, held on part of its surface: linear elasticity, eight-node elements.

All elements are alike, so there is one element matrix. The part that resists a change of volume is integrated
at the middle of each cube only, which keeps nearly incompressible bodies from locking (selective reduced
integration). The equations are solved by conjugate gradients with one cycle of algebraic multigrid, which
knows the rigid motions, as preconditioner.

References
----------
T. J. R. Hughes, The Finite Element Method, 1987, chapter 4 (from memory).
"""

from __future__ import annotations

import numpy as np
import pyamg
from numpy.typing import NDArray
from scipy.sparse import bsr_array

Float = NDArray[np.float64]
Bool = NDArray[np.bool_]
Index = NDArray[np.int64]

CORNERS = np.array(
    [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]], np.int64
)
TOLERANCE = 1e-6
"""Residual over load at which the solution is good enough: far below what the cubes leave of the shape."""
MOST_ROUNDS = 300


def shrunk(filled: Bool, held: Bool, side_mm: float, poisson: float) -> Float:
    """Displacement of a body that wants to shrink by the same strain everywhere, per unit of that strain.

    Parameters
    ----------
    filled : (a, b, c) bool array
        Cubes of the body.
    held : (a + 1, b + 1, c + 1) bool array
        Corners that do not move.
    side_mm : float
    poisson : float
        From 0 to below 0.5.

    Returns
    -------
    (a + 1, b + 1, c + 1, 3) array, mm
        At the corners of cubes; not a number elsewhere.

    Raises
    ------
    ArithmeticError
        If the gradients do not converge: some part of the body is not held at all.

    Examples
    --------
    A wide plate of 3 cubes' thickness held from below: its top moves by ``(1 + v) / (1 - v)`` times 3 mm.

    >>> held = np.zeros((32, 32, 4), bool)
    >>> held[:, :, 0] = True
    >>> top = shrunk(np.ones((31, 31, 3), bool), held, 1.0, 0.25)[16, 16, 3]
    >>> bool(abs(top[2] + 3 * 1.25 / 0.75) < 0.02)
    True
    """
    shape = np.array(held.shape)
    strides = np.array([shape[1] * shape[2], shape[2], 1])
    nodes = (np.argwhere(filled)[:, None, :] + CORNERS[None]) @ strides
    used, element = np.unique(nodes, return_inverse=True)
    element = element.reshape(-1, 8)
    stiff, load = _element(side_mm, poisson)
    force = np.zeros((len(used), 3))
    for corner in range(8):
        force[element[:, corner]] += load.reshape(8, 3)[corner]
    free = ~held.ravel()[used]
    number = np.where(free, np.cumsum(free) - 1, -1)
    matrix = _assembled(number[element], stiff, int(free.sum()))
    at = side_mm * np.stack(np.unravel_index(used[free], tuple(shape)), axis=-1)
    moved = np.full((held.size, 3), np.nan)
    moved[used] = 0.0
    moved[used[free]] = _solved(matrix, force[free], at)
    return moved.reshape(*held.shape, 3)


def _element(side: float, poisson: float) -> tuple[Float, Float]:
    """Matrix (24, 24) and load (24,) of one cube of modulus 1 that wants to shrink by 1."""
    shear, lame = 0.5 / (1.0 + poisson), poisson / ((1.0 + poisson) * (1.0 - 2.0 * poisson))
    change = np.diag([2.0 * shear] * 3 + [shear] * 3)
    volume = np.zeros((6, 6))
    volume[:3, :3] = lame
    wanted = np.array([-1.0, -1.0, -1.0, 0.0, 0.0, 0.0])
    point = 1.0 / np.sqrt(3.0)
    parts = [(change, point * (2.0 * corner - 1.0), side**3 / 8.0) for corner in CORNERS.astype(float)]
    matrix, load = np.zeros((24, 24)), np.zeros(24)
    for material, at, weight in [*parts, (volume, np.zeros(3), side**3)]:
        strain = _strain(at, side)
        matrix += weight * strain.T @ material @ strain
        load += weight * strain.T @ material @ wanted
    return matrix, load


def _strain(at: Float, side: float) -> Float:
    """Strain (xx, yy, zz, xy, yz, zx) from the displacement of the corners, (6, 24)."""
    sign = 2.0 * CORNERS - 1.0
    terms = 1.0 + sign * at
    slope = np.empty((3, 8))
    for axis in range(3):
        others = np.delete(terms, axis, axis=1).prod(axis=1)
        slope[axis] = sign[:, axis] * others / 8.0 * 2.0 / side
    strain = np.zeros((6, 24))
    for axis in range(3):
        strain[axis, axis::3] = slope[axis]
    for row, (a, b) in enumerate(((0, 1), (1, 2), (2, 0)), start=3):
        strain[row, a::3], strain[row, b::3] = slope[b], slope[a]
    return strain


def _assembled(element: Index, stiff: Float, size: int) -> bsr_array:
    """The matrix of the free nodes, (3 n, 3 n), in blocks: each node and its 26 neighbours.

    `element` holds -1 for nodes that are held: they do not move, so their columns bring nothing.
    """
    blocks = np.zeros((size, 27, 3, 3))
    other = np.full((size, 27), -1, np.int64)
    for a in range(8):
        for b in range(8):
            pair = (element[:, a] >= 0) & (element[:, b] >= 0)
            row, place = element[pair, a], int((CORNERS[b] - CORNERS[a] + 1) @ (9, 3, 1))
            blocks[row, place] += stiff[3 * a : 3 * a + 3, 3 * b : 3 * b + 3]
            other[row, place] = element[pair, b]
    there = other >= 0
    start = np.concatenate([[0], np.cumsum(there.sum(axis=1))])
    return bsr_array((blocks[there], other[there], start), shape=(3 * size, 3 * size))


def _solved(matrix: bsr_array, force: Float, at: Float) -> Float:
    """Displacement of the free nodes, which stand at `at`."""
    arm = at - at.mean(axis=0)
    rigid = np.zeros((len(at), 3, 6))
    rigid[:, :, :3] = np.eye(3)
    for axis in range(3):
        rigid[:, :, 3 + axis] = np.cross(np.eye(3)[axis], arm)
    solver = pyamg.smoothed_aggregation_solver(
        matrix,
        B=rigid.reshape(-1, 6),
        smooth=("jacobi", {"weighting": "local"}),  # the other weights are found with random numbers
        presmoother=("block_gauss_seidel", {"sweep": "symmetric"}),
        postsmoother=("block_gauss_seidel", {"sweep": "symmetric"}),
        max_coarse=300,
    )
    wanted = force.ravel()
    answer = solver.solve(wanted, tol=TOLERANCE, maxiter=MOST_ROUNDS, accel="cg")
    if not np.linalg.norm(wanted - matrix @ answer) <= 10.0 * TOLERANCE * np.linalg.norm(wanted):
        raise ArithmeticError("the shrinkage of the rubber did not converge")
    return np.asarray(answer.reshape(-1, 3))
