"""What calliper readings can and cannot see, before any of them is taken.

At the layout, with the pins upright, each reading is one row of the Jacobian of the distances; with the prior
it gives the covariance that the readings would leave, whatever they turn out to be. A *fault* is the splay of
two pins, along or across the line between them. It is seen when its standard uncertainty, times the guard of
the verdict, keeps within half the play of the two holes: the other half is left for the splay itself. Of any
slanting direction the variance is at most the sum of the two, so that it keeps within the whole play.

What no reading sees is told with its reason: to first order no distance between two pins changes when they
lean across their own line, and none between free ends changes when all pins lean round their middle, one
after the other (a spiral).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Callipers, Case, Reading
from pinseat.errors import SurveyError
from pinseat.ledger.verdict import one_sided
from pinseat.survey.callipers import (
    Kind,
    Network,
    Solved,
    network,
    possible,
    sights,
    splay_rows,
)
from pinseat.survey.draw import allowance_rad

Float = NDArray[np.float64]

FEET_MM = 0.1
"""To how much the distance of any two feet must be known for the Jacobian at the layout to be trusted."""
SHARE = 0.5
"""Part of the play of two holes that uncertainty may use up."""
HELPS = 0.9
"""A reading helps when it leaves at most this part of a standard uncertainty."""


@dataclass(frozen=True, eq=False)
class Faults:
    """Splay of every two pins, along and across the line between them.

    Attributes
    ----------
    words : tuple of str
        ``splay along the line of pins 11-1 and 22-1``.
    pins : tuple of (str, str)
    rows : (g, 5 n) array
        Splay in rad = row times state.
    needed : (g,) array
        Standard uncertainty at which it is seen, rad.
    """

    words: tuple[str, ...]
    pins: tuple[tuple[str, str], ...]
    rows: Float
    needed: Float

    def u(self, covariance: Float) -> Float:
        """Standard uncertainty of each, rad, (g,)."""
        return u_of(self.rows, covariance)


@dataclass(frozen=True, eq=False)
class Possible:
    """Every reading that can be taken.

    Attributes
    ----------
    kinds : tuple of {"base", "tip", "tip to base"}
    pins : tuple of (str, str)
    expected_mm : (r,) array
        At the layout.
    rows : (r, 5 n) array
    """

    kinds: tuple[Kind, ...]
    pins: tuple[tuple[str, str], ...]
    expected_mm: Float
    rows: Float


def bench_of(case: Case) -> tuple[Callipers, Network, dict[str, float]]:
    """The layout of a case in numbers, and the lean that each hole allows.

    Parameters
    ----------
    case : Case

    Returns
    -------
    callipers : Callipers
    net : Network
    play : dict of str to float
        For each pin, rad.

    Raises
    ------
    SurveyError
        Without a layout, with fewer than two pins, when layout and abutments disagree, or when a cast pin is
        no thinner than its hole.
    """
    if case.callipers is None or not case.callipers.layout:
        raise SurveyError(
            "there is no layout to plan readings on",
            where="callipers.layout",
            do="measure with a ruler about where each pin stands and state it under [callipers]",
        )
    net = network(case.callipers)
    stated = [f"{a.tooth}-{k}" for a in case.abutments for k in range(1, a.pins + 1)]
    for name in [*(n for n in net.names if n not in stated), *(n for n in stated if n not in net.names)]:
        laid = name in net.names
        raise SurveyError(
            "the layout shows a pin that the case does not state" if laid else "this pin is not laid out",
            where="callipers.layout",
            value=name,
            limit=", ".join(stated),
            do="correct the number of pins or the layout",
        )
    if len(net.names) < 2:
        raise SurveyError("one pin alone can have no splay: there is nothing to read", where="callipers")
    play: dict[str, float] = {}
    for abutment in case.abutments:
        if abutment.pins and allowance_rad(abutment) <= 0.0:
            raise SurveyError(
                "the cast pin is no thinner than its hole: no reading can show that it goes in",
                where=f"abutments, tooth {abutment.tooth}",
                value=f"{abutment.cast_pin_diameter_mm:g} mm",
                limit=f"less than {abutment.hole_diameter_mm:g} mm",
                do="correct the diameters",
            )
        play |= {f"{abutment.tooth}-{k}": allowance_rad(abutment) for k in range(1, abutment.pins + 1)}
    return case.callipers, net, play


def inverse(matrix: Float) -> Float:
    """Covariance of an information matrix, or the other way round."""
    return np.asarray(np.linalg.inv(matrix), np.float64)


def faults_of(net: Network, play: dict[str, float]) -> Faults:
    """Every fault that two pins can have.

    Parameters
    ----------
    net : Network
    play : dict of str to float
        For each pin the lean its hole allows, rad.

    Returns
    -------
    Faults
    """
    u = inverse(net.known)
    seen = sights(net, Solved(net.prior, u, np.zeros(0)), play)
    rows = [row for i, j in combinations(range(len(net.names)), 2) for row in splay_rows(net, i, j).values()]
    needed = np.radians([max(one.play_deg, 1e-6) for one in seen]) * SHARE / one_sided()
    return Faults(tuple(one.words for one in seen), tuple(one.pins for one in seen), np.array(rows), needed)


def possible_readings(net: Network, state: Float | None = None) -> Possible:
    """Every reading that can be taken, feet before free ends before the two crosswise.

    Parameters
    ----------
    net : Network
    state : (5 n,) array, optional
        Where the pins are thought to be; at the layout when left out.

    Returns
    -------
    Possible
    """
    x = net.prior if state is None else state
    all_of_them = sorted(possible(net), key=lambda one: ("base", "tip", "tip to base").index(one[0]))
    both = [net.row(x, *one) for one in all_of_them]
    return Possible(
        tuple(kind for kind, _, _ in all_of_them),
        tuple((net.names[i], net.names[j]) for _, i, j in all_of_them),
        np.array([distance for distance, _ in both]),
        np.array([row for _, row in both]),
    )


def information(net: Network, readings: Sequence[Reading]) -> Float:
    """Inverse covariance that the prior and some readings give at the layout.

    Parameters
    ----------
    net : Network
    readings : sequence of Reading

    Returns
    -------
    (5 n, 5 n) array
    """
    total = net.known
    for reading in readings:
        _, row = net.row(net.prior, reading.kind, *(net.names.index(name) for name in reading.pins))
        total = total + np.outer(row, row) * len(reading.mm) / reading.u_mm**2
    return np.asarray(total)


def goals_of(faults: Faults, could: Possible) -> tuple[Float, Float]:
    """What a plan must reach: each fault seen, and the feet in their places.

    Parameters
    ----------
    faults : Faults
    could : Possible

    Returns
    -------
    rows : (m, 5 n) array
        Of each goal.
    needed : (m,) array
        Standard uncertainty of each, rad or mm.
    """
    feet = could.rows[[kind == "base" for kind in could.kinds]]
    return np.vstack([faults.rows, feet]), np.concatenate([faults.needed, np.full(len(feet), FEET_MM)])


def u_of(rows: Float, covariance: Float) -> Float:
    """Standard uncertainty of linear functions of the state, one a row."""
    return np.asarray(np.sqrt(np.sum((rows @ covariance) * rows, axis=1)))


def least_set(goals: Float, needed: Float, start: Float, rows: Float, u: float) -> list[int]:
    """Few readings that reach a goal: from all of them, leave out again and again the one that loses least.

    To leave reading `h` out of covariance `P` adds ``(P h) (P h)' / (u^2 - h P h)`` to it; only what
    this does to goals and readings is followed.

    Parameters
    ----------
    goals : (m, 5 n) array
    needed : (m,) array
        Standard uncertainty of each that must be reached; where all readings together do not reach it, a
        little over what they do reach.
    start : (5 n, 5 n) array
        Inverse covariance without any of them.
    rows : (r, 5 n) array
    u : float
        Standard uncertainty of each, mm.

    Returns
    -------
    list of int
        Those kept, ascending.
    """
    kept = np.arange(len(rows))
    p = inverse(start + rows.T @ rows / u**2)
    of_goal, of_reading = goals @ p @ rows.T, rows @ p @ rows.T
    variance = u_of(goals, p) ** 2
    allowed = (np.maximum(needed, np.sqrt(variance) / HELPS) * (1.0 + 1e-9)) ** 2
    while len(kept):
        spare = np.maximum(u**2 - np.diag(of_reading), 1e-9 * u**2)
        without = variance[:, None] + of_goal**2 / spare
        may = np.all(without <= allowed[:, None], axis=0)
        if not may.any():
            break
        loss = np.round(np.where(may, np.sum(np.log(without / variance[:, None]), axis=0), np.inf), 9)
        k = len(kept) - 1 - int(np.argmin(loss[::-1]))
        variance = without[:, k]
        of_goal = np.delete(of_goal + np.outer(of_goal[:, k], of_reading[k] / spare[k]), k, axis=1)
        grown = of_reading + np.outer(of_reading[:, k], of_reading[k] / spare[k])
        of_reading = np.delete(np.delete(grown, k, axis=0), k, axis=1)
        kept = np.delete(kept, k)
    return [int(k) for k in kept]
