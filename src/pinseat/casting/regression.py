"""Linear regression with a stated prior, in closed form.

For readings ``y = X b + e`` with ``e ~ N(0, s^2 W)``, `W` diagonal and known, take as prior

    1/s^2 ~ Gamma(n/2, n s0^2 / 2)       n readings' worth of knowing that the deviation is s0
    b given s ~ N(m, s^2 V)

Then the posterior has the same form (normal-inverse-gamma, the conjugate prior):

    V' = (V^-1 + X^T W^-1 X)^-1          m' = V' (V^-1 m + X^T W^-1 y)
    n' = n + rows of X
    n' s'^2 = n s0^2 + (y - X m')^T W^-1 (y - X m') + (m' - m)^T V^-1 (m' - m)

and a further reading at `x` is distributed as Student's t with n' degrees of freedom about ``x m'``, with
scale ``s' sqrt(w + x V' x^T)``. Any textbook of Bayesian statistics has it, for example Gelman et al.,
Bayesian Data Analysis, chapter 14 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, stdtrit

Float = NDArray[np.float64]

_NODES = 400
"""Equal shares of probability by which a Student distribution is summed: good to about 1e-4."""


@dataclass(frozen=True, eq=False)
class Belief:
    """What is believed of the coefficients and of the scatter, before or after readings.

    Attributes
    ----------
    mean : (k,) array
        `m`, in the unit of the readings.
    ratio : (k, k) array
        `V`: covariance of the coefficients over the variance of one reading; positive definite.
    deviation : float
        `s`, the standard deviation of one reading.
    worth : float
        `n`: how many readings that deviation is known from.
    """

    mean: Float
    ratio: Float
    deviation: float
    worth: float

    @property
    def scatter(self) -> float:
        """Root of the mean variance of one reading: ``s sqrt(n / (n - 2))``, for `n` above 2.

        A coefficient with variance ratio `V` has the standard deviation ``scatter sqrt(V)``.
        """
        return self.deviation * math.sqrt(self.worth / (self.worth - 2.0))


@dataclass(frozen=True)
class Student:
    """A quantity distributed as Student's t.

    Attributes
    ----------
    centre, scale : float
    degrees : float
        Of freedom.
    """

    centre: float
    scale: float
    degrees: float

    @property
    def u(self) -> float:
        """Standard deviation; the scale itself at two degrees of freedom or less, where there is none."""
        return self.scale * (math.sqrt(self.degrees / (self.degrees - 2.0)) if self.degrees > 2.0 else 1.0)


def update(prior: Belief, design: Float, readings: Float, variance_ratio: Float) -> Belief:
    """Take readings into account.

    Parameters
    ----------
    prior : Belief
    design : (n, k) array
        `X`, one row a reading.
    readings : (n,) array
        `y`.
    variance_ratio : (n,) array
        Diagonal of `W`: variance of each reading over ``s^2``.

    Returns
    -------
    Belief

    Examples
    --------
    One unknown, one reading as good as the prior: half way.

    >>> before = Belief(np.array([0.0]), np.array([[1.0]]), 1.0, 4.0)
    >>> after = update(before, np.array([[1.0]]), np.array([3.0]), np.array([1.0]))
    >>> after.mean.round(6), after.ratio.round(6), after.worth
    (array([1.5]), array([[0.5]]), 5.0)
    """
    if not len(readings):
        return prior
    weighted = design.T / variance_ratio
    information = np.linalg.inv(prior.ratio)
    ratio = np.linalg.inv(information + weighted @ design)
    moved = ratio @ (weighted @ (readings - design @ prior.mean))
    left = readings - design @ (prior.mean + moved)
    squares = float(left @ (left / variance_ratio) + moved @ information @ moved)
    worth = prior.worth + len(readings)
    deviation = math.sqrt((prior.worth * prior.deviation**2 + squares) / worth)
    return Belief(prior.mean + moved, (ratio + ratio.T) / 2.0, deviation, worth)


def at(belief: Belief, row: Float, variance_ratio: float = 0.0) -> Student:
    """A combination of the coefficients, or one further reading of it.

    Parameters
    ----------
    belief : Belief
    row : (k,) array
        `x`.
    variance_ratio : float
        0 for the combination itself, 1 for one further reading.

    Returns
    -------
    Student
    """
    ratio = variance_ratio + float(row @ belief.ratio @ row)
    return Student(float(row @ belief.mean), belief.deviation * math.sqrt(ratio), belief.worth)


def within(student: Student, mean: float, u: float, limit: float) -> float:
    """Probability that a Student quantity plus a normal one lies between ``-limit`` and ``limit``.

    Parameters
    ----------
    student : Student
    mean, u : float
        Of the normal quantity, independent of the other; `u` may be 0.
    limit : float

    Returns
    -------
    float
        Summed over 400 equal shares of the Student distribution: good to about 1e-4, 1e-3 when `u` is 0.
    """
    if limit <= 0.0:
        return 0.0
    middle = (np.arange(_NODES) + 0.5) / _NODES
    centre = mean + student.centre + student.scale * stdtrit(student.degrees, middle)
    if u <= 0.0:
        return float(np.mean(np.abs(centre) <= limit))
    return float(np.mean(ndtr((limit - centre) / u) - ndtr((-limit - centre) / u)))
