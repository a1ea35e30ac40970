"""Conduction with electrodes: a network whose branches to metal follow a law of their own.

Every branch runs from a cell of liquid, through the liquid between its centre and the wall, through the law
of the electrode, to a node of metal. A node is held at a potential or passes a given current; then its
potential is one more unknown. All laws rise, so the problem is convex with one solution, and the matrix of
each Newton step is symmetric and positive definite.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pyamg
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import csr_array

from pinseat.numerics.laws import Laws, densities, limits, overpotentials

Float = NDArray[np.float64]
Int = NDArray[np.int64]

TOLERANCE = 1e-6
"""Sum of all imbalances of current over the current that flows, at which a solution counts as converged."""
_MOST_NEWTON, _MOST_CG, _SLOW_CG, _MOST_HALVINGS = 40, 200, 40, 30


@dataclass(frozen=True, eq=False)
class Branches:
    """Ways from liquid to metal.

    Attributes
    ----------
    start : (m,) int64 array
        Row of the cell.
    film : (m,) int64 array
        Row of the film that the branch ends on, -1 when it ends on the metal of its node.
    node : (m,) int64 array
    law : (m,) int64 array
        Row in the laws.
    area_m2 : (m,) array
    series_ohm_m2 : (m,) array
        Liquid between the cell's centre and the wall; negative when the centre lies behind the wall. Then it
        takes away from the polarisation of the wall, but never more than half of its slope.
    """

    start: Int
    film: Int
    node: Int
    law: Int
    area_m2: Float
    series_ohm_m2: Float


@dataclass(frozen=True, eq=False)
class Solution:
    """Potentials and currents.

    Attributes
    ----------
    potential_V : (n,) array
        Of the cells (and films).
    node_V : (q,) array
    overpotential_V : (m,) array
        Of each branch: liquid at the wall minus metal.
    density_A_m2 : (m,) array
        Into the metal.
    residual : float
        Sum of all imbalances over the current that flows.
    newton, cg : int
        Newton steps, and iterations of the linear solver in all.
    """

    potential_V: Float
    node_V: Float
    overpotential_V: Float
    density_A_m2: Float
    residual: float
    newton: int
    cg: int

    @property
    def converged(self) -> bool:
        """Whether the imbalance is within :data:`TOLERANCE`."""
        return bool(self.residual <= TOLERANCE)


Preconditioner = Callable[[Float], Float]


def multigrid(matrix: csr_array) -> Preconditioner:
    """One V-cycle of smoothed aggregation (Vanek, Mandel and Brezina 1996), as a preconditioner.

    The matrix is scaled to a diagonal of ones, so the cycle still serves when cells have grown smaller since.

    Parameters
    ----------
    matrix : (n, n) csr_array

    Returns
    -------
    callable
        For the matrix scaled.
    """
    scale = 1.0 / np.sqrt(matrix.diagonal())
    row = np.repeat(scale, np.diff(matrix.indptr))
    unit = csr_array(
        (matrix.data * row * scale[matrix.indices], matrix.indices, matrix.indptr), shape=matrix.shape
    )
    solver = pyamg.smoothed_aggregation_solver(
        unit,
        B=1.0 / scale[:, None],
        max_coarse=100,
        symmetry="symmetric",
        smooth=("jacobi", {"weighting": "local"}),  # the other weights are found with random numbers
        presmoother=("gauss_seidel", {"sweep": "forward"}),
        postsmoother=("gauss_seidel", {"sweep": "backward"}),
    )
    for level in solver.levels:
        for name in {"A", "P", "R"} & set(vars(level)):
            setattr(level, name, csr_array(getattr(level, name)))
    cycle = solver.aspreconditioner(cycle="V")
    return lambda r: np.asarray(cycle @ r)


class Network:
    """A network made ready to be solved, again and again while its branches change slowly.

    Parameters
    ----------
    matrix : (n, n) csr_array
        Conduction between cells (and films), 1/ohm; every diagonal entry stored, and those between the cell
        and the film of each branch.
    branches : Branches
    laws : Laws
    fixed_V : (q,) array
        Potential of each node; NaN where it is free. One at least must be given.
    injected_A : (q,) array
        Current that each free node gives to the liquid.
    preconditioner : callable, optional
        Of a network like this one, to be used again.
    """

    def __init__(
        self,
        matrix: csr_array,
        branches: Branches,
        laws: Laws,
        fixed_V: Float,
        injected_A: Float,
        preconditioner: Preconditioner | None = None,
    ) -> None:
        self.matrix, self.branches, self.laws = matrix, branches, laws
        self.fixed, self.injected = np.asarray(fixed_V, float), np.asarray(injected_A, float)
        self.free = np.flatnonzero(np.isnan(self.fixed))
        self.preconditioner = preconditioner
        k = laws
        self._within = limits(
            branches.law, branches.series_ohm_m2, k.kind, k.forward, k.backward, k.up, k.down
        )
        size = matrix.shape[0]
        every = np.arange(size)
        self._diagonal = _positions(matrix.indptr, matrix.indices, every, every)
        film = branches.film >= 0
        self._filmed = np.flatnonzero(film)
        self._pair = tuple(
            _positions(matrix.indptr, matrix.indices, a, b)
            for a, b in (
                (branches.start[film], branches.film[film]),
                (branches.film[film], branches.start[film]),
            )
        )

    @property
    def size(self) -> int:
        """Unknown potentials, without those of the nodes."""
        return int(self.matrix.shape[0])

    def solve(self, guess_V: Float, start: Solution | None = None) -> Solution:
        """Newton's method with a line search.

        Parameters
        ----------
        guess_V : (m,) array
            Overpotential about which each branch is made linear at first.
        start : Solution, optional
            Of a network with the same rows, to start from instead.

        Returns
        -------
        Solution
            Look at `converged`: it is given in any case, with its residual.
        """
        size = self.matrix.shape[0]
        u, nodes = np.zeros(size), np.where(np.isnan(self.fixed), 0.0, self.fixed)
        v = guess_V.copy()
        cg = 0
        if start is None:
            current, slope, drop = self._at(v)
            lag = self._drop(u, nodes) - drop
            r, r_nodes = self._imbalance(self.matrix @ u, current + slope * lag)
            du, dn, cg = self._step(slope, r, r_nodes, 1e-3)
            u, nodes = u + du, nodes + dn
        else:
            u, nodes = start.potential_V.copy(), start.node_V.copy()
            nodes[~np.isnan(self.fixed)] = self.fixed[~np.isnan(self.fixed)]
        through = self.matrix @ u
        residual, newton = np.inf, 0
        while True:
            overpotentials(self._drop(u, nodes), v, *self._law())
            current, slope, _ = self._at(v)
            r, r_nodes = self._imbalance(through, current)
            flows = max(0.5 * float(np.abs(current).sum()), 1e-30)
            before, residual = residual, float(np.abs(r).sum() + np.abs(r_nodes[self.free]).sum()) / flows
            if not residual > 0.3 * TOLERANCE or newton == _MOST_NEWTON or not np.isfinite(residual):
                break
            if newton > 5 and residual <= TOLERANCE and residual > 0.5 * before:
                break
            newton += 1
            du, dn, used = self._step(slope, r, r_nodes, min(0.03, max(1e-4, 0.1 * TOLERANCE / residual)))
            cg += used
            u, nodes, through = self._search(u, nodes, through, v, r, r_nodes, du, dn)
        density = current / np.maximum(self.branches.area_m2, 1e-300)
        return Solution(u, nodes, v, density, residual, newton, cg)

    def _law(self) -> tuple[Int, Float, Float, Float, Int, Float, Float, Float, Float]:
        b, k = self.branches, self.laws
        return b.law, b.series_ohm_m2, *self._within, k.kind, k.forward, k.backward, k.up, k.down

    def _drop(self, u: Float, nodes: Float) -> Float:
        b = self.branches
        end = nodes[b.node]
        if len(self._filmed):
            end[self._filmed] = u[b.film[self._filmed]]
        return np.asarray(u[b.start] - end)

    def _at(self, v: Float) -> tuple[Float, Float, Float]:
        """Current and slope of each branch in A and A/V, and the drop over it, at overpotentials."""
        density, slope, drop = np.empty(len(v)), np.empty(len(v)), np.empty(len(v))
        densities(v, *self._law(), density, slope, drop)
        return self.branches.area_m2 * density, self.branches.area_m2 * slope, drop

    def _imbalance(self, through: Float, current: Float) -> tuple[Float, Float]:
        b = self.branches
        r = through + np.bincount(b.start, current, minlength=len(through))
        on_film = self._filmed
        if len(on_film):
            r -= np.bincount(b.film[on_film], current[on_film], minlength=len(r))
            current = current.copy()
            current[on_film] = 0.0
        return r, -np.bincount(b.node, current, minlength=len(self.fixed)) - self.injected

    def _search(
        self, u: Float, nodes: Float, through: Float, v: Float, r: Float, r_nodes: Float, du: Float, dn: Float
    ) -> tuple[Float, Float, Float]:
        """As far along the step as the energy falls: its slope there may not be half of what it was."""
        downhill = abs(float(du @ r + dn @ r_nodes))
        along = self.matrix @ du
        part = 1.0
        for _ in range(_MOST_HALVINGS):
            trial = v.copy()
            overpotentials(self._drop(u + part * du, nodes + part * dn), trial, *self._law())
            r_new, n_new = self._imbalance(through + part * along, self._at(trial)[0])
            slope = float(du @ r_new + dn @ n_new)
            if np.isfinite(slope) and slope <= 0.5 * downhill:
                break
            part *= 0.5
        return u + part * du, nodes + part * dn, through + part * along

    def _step(self, slope: Float, r: Float, r_nodes: Float, tolerance: float) -> tuple[Float, Float, int]:
        """Solve the linear network for what takes the imbalance away."""
        b, size = self.branches, self.matrix.shape[0]
        data = self.matrix.data.copy()
        data[self._diagonal] += np.bincount(b.start, slope, minlength=size)
        direct = b.film < 0
        if len(self._filmed):
            g, film = slope[self._filmed], b.film[self._filmed]
            data[self._diagonal] += np.bincount(film, g, minlength=size)
            for places in self._pair:
                np.subtract.at(data, places, g)
        data[self._diagonal[data[self._diagonal] <= 0.0]] = 1.0
        matrix = csr_array((data, self.matrix.indices, self.matrix.indptr), shape=self.matrix.shape)
        column = np.zeros((size, len(self.free)))
        stiff = np.zeros(len(self.free))
        for place, node in enumerate(self.free):
            on = direct & (b.node == node)
            column[:, place] = np.bincount(b.start[on], slope[on], minlength=size)
            stiff[place] = slope[on].sum()
        inner, spread, schur = self._bordered(matrix, column, stiff)
        du, free, used = _conjugate(
            matrix, column, stiff, -r, -r_nodes[self.free], (inner, spread, schur), tolerance
        )
        if used > _SLOW_CG:
            self.preconditioner = None
        dn = np.zeros(len(self.fixed))
        dn[self.free] = free
        return du, dn, used

    def _bordered(
        self, matrix: csr_array, column: Float, stiff: Float
    ) -> tuple[Preconditioner, Float, Float]:
        """The cycle for the cells, what it makes of the borders, and their Schur complement.

        An old cycle may reach too far, so that the complement is not positive; then a new one is made.
        """
        scale = 1.0 / np.sqrt(matrix.diagonal())
        while True:
            fresh = self.preconditioner is None
            cycle = self.preconditioner = self.preconditioner or multigrid(matrix)

            def inner(r: Float, cycle: Preconditioner = cycle) -> Float:
                return scale * cycle(scale * r)

            spread = np.column_stack([inner(c) for c in column.T]) if column.shape[1] else column
            schur = np.diag(stiff) - 0.5 * (column.T @ spread + spread.T @ column)
            if fresh or not len(stiff) or float(np.linalg.eigvalsh(schur)[0]) > 0.0:
                return inner, spread, schur
            self.preconditioner = None


@njit(cache=True, nogil=True)
def _positions(start: Int, index: Int, row: Int, column: Int) -> Int:
    """Where entries of a sorted csr matrix are stored."""
    found = np.empty(len(row), np.int64)
    for i in range(len(row)):
        first, last = start[row[i]], start[row[i] + 1]
        found[i] = first + np.searchsorted(index[first:last], column[i])
    return found


def _conjugate(
    matrix: csr_array,
    column: Float,
    stiff: Float,
    right: Float,
    right_nodes: Float,
    bordered: tuple[Preconditioner, Float, Float],
    tolerance: float,
) -> tuple[Float, Float, int]:
    """Preconditioned conjugate gradients for cells bordered by the free nodes.

    The preconditioner is the block factorisation of the bordered matrix, with a V-cycle in place of the
    inverse: so it is symmetric and positive definite as well.
    """
    inner, spread, schur = bordered

    def cycle(r: Float, s: Float) -> tuple[Float, Float]:
        z = inner(r)
        if not len(s):
            return z, s
        w = np.asarray(np.linalg.solve(schur, s + column.T @ z), float)
        return z + spread @ w, w

    x: Float = np.zeros(len(right))
    y: Float = np.zeros(len(right_nodes))
    r, s = right.copy(), right_nodes.copy()
    z, w = cycle(r, s)
    p, q = z.copy(), w.copy()
    rho = first = float(r @ z + s @ w)
    used = 0
    while used < _MOST_CG and rho > tolerance * tolerance * first:
        used += 1
        ap = matrix @ p - column @ q
        aq = stiff * q - column.T @ p
        alpha = rho / float(p @ ap + q @ aq)
        x += alpha * p
        y += alpha * q
        r -= alpha * ap
        s -= alpha * aq
        z, w = cycle(r, s)
        rho, before = float(r @ z + s @ w), rho
        p = z + (rho / before) * p
        q = w + (rho / before) * q
    return x, y, used
