"""Virtual bridges: every one entered and seated, and what it lacked."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.pins import frame
from pinseat.numerics.contact import solve_lacking, solve_opening
from pinseat.numerics.counter import normals
from pinseat.numerics.simulate import BRIDGES, Simulated, simulate
from pinseat.numerics.yielding import solve_yielding
from pinseat.seating.assembly import Assembly
from pinseat.seating.model import Chance
from pinseat.seating.problem import Pose, Problem

Float = NDArray[np.float64]
NOTHING_MM = 1e-8
"""Tolerance of the contact programmes."""


@dataclass(frozen=True, eq=False)
class Bridges:
    """What happened to each virtual bridge.

    Attributes
    ----------
    opening_mm : (k,) array
        Infinite where the bridge cannot be entered or cannot come down at all; empty when not asked for.
    lacking_mm : (k,) array
        Clearance lacking to enter and to come within the limit, the larger of the two; negative = to spare.
        Not above zero exactly where the bridge goes home.
    entry_lacking_mm : (k,) array
        Clearance lacking to enter; minus infinity for a single pin, which always enters.
    down : (k,) bool array
        Which come within the limit, leaving aside whether they can be entered.
    """

    opening_mm: Float
    lacking_mm: Float
    entry_lacking_mm: Float
    down: NDArray[np.bool_]

    @property
    def home(self) -> NDArray[np.bool_]:
        """Which bridges go home within the limit, (k,)."""
        return self.lacking_mm <= NOTHING_MM

    def __len__(self) -> int:
        return len(self.lacking_mm)

    def first(self, trials: int) -> Bridges:
        """The first bridges of these."""
        return Bridges(
            self.opening_mm[:trials],
            self.lacking_mm[:trials],
            self.entry_lacking_mm[:trials],
            self.down[:trials],
        )


def joined(parts: Sequence[Bridges]) -> Bridges:
    """Blocks of bridges, one after the other."""
    return Bridges(
        np.concatenate([part.opening_mm for part in parts]),
        np.concatenate([part.lacking_mm for part in parts]),
        np.concatenate([part.entry_lacking_mm for part in parts]),
        np.concatenate([part.down for part in parts]),
    )


def seat_bridges(
    problem: Problem,
    *,
    limit_mm: float,
    trials: int,
    start: int = 0,
    seed: int,
    opening: bool = True,
    threads: int | None = None,
) -> Bridges:
    """Make, enter and seat virtual bridges.

    Parameters
    ----------
    problem : Problem
    limit_mm : float
        Largest opening accepted.
    trials : int
    start : int
        Number of the first bridge; bridge `k` of a seed is the same however many are asked for.
    seed : int
    opening : bool
        Whether the opening is wanted; who goes home is known without it.
    threads : int, optional
        The answer does not depend on it.

    Returns
    -------
    Bridges
    """

    if problem.seat.extra is not None:
        return _yielding_bridges(problem, limit_mm, trials, start, seed, opening, threads)

    def solved(entry: Pose | None, opening: bool, lacking: bool) -> Simulated:
        poses = (problem.seat,) if entry is None else (problem.seat, entry)
        return simulate(
            problem.seat.contact,
            entry.contact if entry else None,
            np.concatenate([problem.mean(pose) for pose in poses]),
            np.vstack([problem.factor(pose) for pose in poses]),
            limit_mm=limit_mm,
            trials=trials,
            start=start,
            seed=seed,
            opening=opening,
            lacking=lacking,
            threads=threads,
        )

    found = solved(problem.entries[0] if problem.entries else None, opening, lacking=True)
    entry = found.entry_lacking_mm if problem.entries else np.full(trials, -math.inf)
    for pose in problem.entries[1:]:
        entry = np.maximum(entry, solved(pose, opening=False, lacking=False).entry_lacking_mm)
    opening_mm = np.where(entry <= NOTHING_MM, found.opening_mm, math.inf) if opening else found.opening_mm
    down = found.lacking_mm <= NOTHING_MM
    return Bridges(opening_mm, np.maximum(found.lacking_mm, entry), entry, down)


def _yielding_bridges(
    problem: Problem,
    limit_mm: float,
    trials: int,
    start: int,
    seed: int,
    opening: bool,
    threads: int | None,
) -> Bridges:
    """The same bridges where teeth or span yield."""
    xi = normals(seed, BRIDGES, start, trials, problem.factor(problem.seat).shape[1])

    def least(pose: Pose, give: tuple[float, float, float], limit: float) -> Float:
        assert pose.extra is not None
        y = problem.mean(pose) + xi @ problem.factor(pose).T
        return solve_yielding(pose.contact, pose.extra, y, give, limit, threads)[0]

    lacking = least(problem.seat, (1.0, 1.0, 0.0), limit_mm)
    entry = np.full(trials, -math.inf)
    for pose in problem.entries:
        entry = np.maximum(entry, least(pose, (1.0, 1.0, 0.0), limit_mm))
    opening_mm = np.zeros(0)
    if opening:
        found = least(problem.seat, (0.0, 0.0, 1.0), 0.0)
        opening_mm = np.where(entry <= NOTHING_MM, found, math.inf)
    return Bridges(opening_mm, np.maximum(lacking, entry), entry, lacking <= NOTHING_MM)


def mean_lacking_mm(problem: Problem, limit_mm: float) -> float:
    """Clearance lacking of the one bridge in which every error has its mean.

    Parameters
    ----------
    problem : Problem
    limit_mm : float

    Returns
    -------
    float
        In mm.
    """
    return float(lacking_mm(problem, np.zeros((1, len(problem.labels()))), limit_mm)[0])


def lacking_mm(problem: Problem, xi: Float, limit_mm: float) -> Float:
    """Clearance lacking for given errors of each copy.

    Parameters
    ----------
    problem : Problem
    xi : (k, r) array
        Standard normals, one column for each of :meth:`Problem.labels`.
    limit_mm : float

    Returns
    -------
    (k,) array, mm
    """
    worst = np.full(len(xi), -math.inf)
    for pose in (problem.seat, *problem.entries):
        y = problem.mean(pose) + xi @ problem.factor_by_copy(pose).T
        if pose.extra is None:
            lacking = solve_lacking(pose.contact, y, limit_mm)[0]
        else:
            lacking = solve_yielding(pose.contact, pose.extra, y, (1.0, 1.0, 0.0), limit_mm)[0]
        worst = np.maximum(worst, lacking)
    return worst


def largest_tilt_deg(assembly: Assembly, problem: Problem, *, seed: int, trials: int = 2000) -> float:
    """Tilt of the pins in their holes, after the bridge has come down as far as it goes.

    Parameters
    ----------
    assembly : Assembly
    problem : Problem
        Built from it.
    seed : int
    trials : int

    Returns
    -------
    float
        Degrees; 95 of 100 bridges that come down keep every pin within it. NaN when none comes down.
    """
    n = len(assembly.names)
    factor = problem.factor(problem.seat)
    xi = np.random.Generator(np.random.Philox(seed)).standard_normal((trials, factor.shape[1]))
    opening, motion = solve_opening(problem.seat.contact, problem.mean(problem.seat) + xi @ factor.T)
    down = np.isfinite(opening)
    if not down.any():
        return math.nan
    errors = xi[down, 1 + 2 * n : 1 + 4 * n].reshape(-1, n, 2) * problem.u_tilt_rad
    frames = np.array([frame(axis) for axis in assembly.axes])
    turned = np.cross(motion[down, None, 3:], assembly.axes[None])
    leaning = errors + np.einsum("kni,nci->knc", turned, frames)
    return float(np.degrees(np.quantile(np.linalg.norm(leaning, axis=2).max(axis=1), 0.95)))


def chance(happened: NDArray[np.bool_]) -> Chance:
    """Share of bridges with the standard error of counting, never below that of one bridge among all.

    Parameters
    ----------
    happened : (k,) bool array

    Returns
    -------
    Chance

    Examples
    --------
    >>> chance(np.array([True, True, True, False]))
    Chance(probability=0.75, standard_error=0.21650635094610965)
    """
    k = len(happened)
    p = float(np.count_nonzero(happened)) / k
    counted = min(max(p, 1.0 / k), 1.0 - 1.0 / k) if k > 1 else 0.5
    return Chance(p, math.sqrt(counted * (1.0 - counted) / k))
