"""How much change of scale the pins of a case take up together, and what more of them do to it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from scipy.special import ndtr, ndtri

Float = NDArray[np.float64]


def largest_scale(feet: Float, play: Float) -> float:
    """Largest change of scale at which every pin still finds its hole.

    A casting larger by `S` than the teeth moves pin `i` by ``S r_i``; set down with a shift `t` it enters
    while ``|S r_i - t| <= c_i / 2`` for all pins. Turning it never helps: with a small turn `w` the distances
    become ``sqrt(S^2 + w^2) |r_i - t'|``. So ``S = 1 / min over t of max over i of 2 |r_i - t| / c_i``, a
    smallest circle round the feet when all play is alike.

    Parameters
    ----------
    feet : (n, 2) array
        Across the draw, in mm.
    play : (n,) array
        Diametral clearance of each pin, in mm.

    Returns
    -------
    float
        As a fraction, to about 1e-6 of itself; 0 where a pin has no play, infinite for a single pin.

    Examples
    --------
    Two pins 20 mm apart with 0.1 mm of play each: half a per cent.

    >>> round(largest_scale(np.array([[0.0, 0.0], [20.0, 0.0]]), np.array([0.1, 0.1])), 6)
    0.005
    """
    if len(feet) < 2:
        return math.inf
    if play.min() <= 0.0:
        return 0.0
    low, high = feet.min(axis=0), feet.max(axis=0)
    reach = float(np.linalg.norm(high - low)) + 1e-9
    tight = 1e-7 * reach

    def farthest(x: float, y: float) -> float:
        return float(np.max(2.0 * np.hypot(feet[:, 0] - x, feet[:, 1] - y) / play))

    def along(x: float) -> float:
        bounds = (float(low[1]) - 1e-9, float(high[1]) + 1e-9)
        found = minimize_scalar(
            lambda y: farthest(x, y), bounds=bounds, method="bounded", options={"xatol": tight}
        )
        return float(found.fun)

    bounds = (float(low[0]) - 1e-9, float(high[0]) + 1e-9)
    found = minimize_scalar(along, bounds=bounds, method="bounded", options={"xatol": tight})
    return 1.0 / float(found.fun)


def across(feet: Float, draw: Float) -> Float:
    """Feet seen along the draw.

    Parameters
    ----------
    feet : (n, 3) array
    draw : (3,) array
        Unit vector.

    Returns
    -------
    (n, 2) array
    """
    first = np.eye(3)[int(np.argmin(np.abs(draw)))]
    u = np.cross(draw, first)
    u /= np.linalg.norm(u)
    return np.stack([feet @ u, feet @ np.cross(draw, u)], axis=1)


def all_enter(error: Float, weight: Float, u_pin: float, play: float, count: int) -> float:
    """Probability that pins in two groups at the ends of a span all enter, along the span.

    Every pin is off by ``-e/2`` or ``e/2`` with its group, `e` the error of the span, and by an error of its
    own with standard deviation `u_pin`. All of them enter when their errors lie within a range of `play`:
    ``P = sum over i of integral f_i(x) product over j not i of [F_j(x + c) - F_j(x)] dx``, pin `i` being the
    least of them. Errors across the span are left out, so the true probability is lower.

    Parameters
    ----------
    error, weight : (k,) array
        Values of `e` and their probabilities.
    u_pin, play : float
        Same unit as `error`.
    count : int
        Pins, split evenly over both ends.

    Returns
    -------
    float
    """
    if play <= 0.0:
        return 0.0
    if u_pin <= 0.0:
        return float(weight[np.abs(error) <= play].sum())
    sides = np.array([-0.5, 0.5])
    size = np.array([count - count // 2, count // 2])
    total = np.zeros(len(error))
    edge = np.linspace(0.0, 1.0, 102)
    middle = ndtri((edge[1:] + edge[:-1]) / 2.0)
    for i in range(2):
        x = u_pin * middle[:, None] + sides[i] * error
        inside = [ndtr((x + play - s * error) / u_pin) - ndtr((x - s * error) / u_pin) for s in sides]
        others = inside[i] ** (size[i] - 1) * inside[1 - i] ** size[1 - i]
        total += size[i] * others.mean(axis=0)
    return float(weight @ total)
