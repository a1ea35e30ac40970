"""As many Monte Carlo trials as the answer needs: JCGM 101:2008, clause 7.9."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Estimate:
    """What Monte Carlo says of a quantity, from all trials.

    Attributes
    ----------
    mean, u, low, high : float
        Estimate, standard uncertainty and ends of the probabilistically symmetric coverage interval.
    tolerance : float
        To which these are stable, at two standard errors.
    trials : int
    stable : bool
        False if the allowed trials ended first.
    """

    mean: float
    u: float
    low: float
    high: float
    tolerance: float
    trials: int
    stable: bool


def numerical_tolerance(u: float, digits: int = 2) -> float:
    """Half a unit in the last of the `digits` significant digits of a standard uncertainty (7.9.2).

    Examples
    --------
    >>> numerical_tolerance(0.0352)
    0.0005
    """
    return 0.5 * 10.0 ** (math.floor(math.log10(u)) - digits + 1) if u > 0.0 else 0.0


def until_stable(
    draw: Callable[[int, int], Float],
    *,
    digits: int = 2,
    coverage: float = 0.95,
    most_trials: int = 2_000_000,
) -> Estimate:
    """Draw blocks of trials until mean, uncertainty and coverage interval are stable (7.9.4).

    Parameters
    ----------
    draw : callable
        ``draw(start, trials)`` gives the values of the trials ``start, start + 1, ...``.
    digits : int
        Significant digits of the standard uncertainty that matter.
    coverage : float
        Of the interval.
    most_trials : int
        No block is begun beyond these.

    Returns
    -------
    Estimate

    Notes
    ----- A block has ``max(10000, 100 / (1 - coverage))`` trials. The four results of each block are
    averaged; twice the standard error of each average must not exceed the tolerance of the uncertainty found
    so far.

    Examples
    --------
    >>> from pinseat.numerics.counter import normals
    >>> found = until_stable(lambda start, trials: 3.0 * normals(1, 0, start, trials, 1)[:, 0], digits=1)
    >>> round(found.u), found.tolerance
    (3, 0.5)
    """
    block = max(10_000, math.ceil(100.0 / (1.0 - coverage)))
    values, results = [draw(0, block)], []
    results.append(_four(values[0], coverage))
    while True:
        values.append(draw(block * len(values), block))
        results.append(_four(values[-1], coverage))
        together = np.concatenate(values)
        mean, u, low, high = _four(together, coverage).tolist()
        error = np.std(results, axis=0, ddof=1) / math.sqrt(len(results))
        tolerance = numerical_tolerance(u, digits)
        stable = bool(np.all(2.0 * error <= tolerance))
        if stable or len(together) + block > most_trials:
            return Estimate(mean, u, low, high, tolerance, len(together), stable)


def _four(values: Float, coverage: float) -> Float:
    tail = (1.0 - coverage) / 2.0
    low, high = np.quantile(values, [tail, 1.0 - tail])
    return np.array([values.mean(), values.std(ddof=1), low, high])
