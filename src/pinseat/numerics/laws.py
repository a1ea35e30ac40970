"""Laws of electrodes: current density against overpotential, alone and with liquid in series before it.

All laws rise. A wall that lies before the centre of its cell has liquid of negative length in series; its law
is carried on as a straight line where it is steeper than that liquid lets the drop rise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

Float = NDArray[np.float64]
Int = NDArray[np.int64]

LINEAR, EXPONENTIAL = 0, 1
_STEEPEST = 80.0


@dataclass(frozen=True, eq=False)
class Laws:
    """Laws of the electrodes, one row each; current density as a function of ``v`` = liquid minus metal.

    Attributes
    ----------
    kind : (k,) int64 array
        LINEAR: ``forward v``. EXPONENTIAL: ``forward exp(up v) - backward exp(-down v)``.
    forward, backward, up, down : (k,) arrays
        In A/m2 (A/m2/V when linear) and 1/V.
    """

    kind: Int
    forward: Float
    backward: Float
    up: Float
    down: Float


def density_and_slope(v: Float, law: Int, laws: Laws) -> tuple[Float, Float]:
    """Current density and its slope at overpotentials.

    Parameters
    ----------
    v : (m,) array, V
    law : (m,) int64 array
    laws : Laws

    Returns
    -------
    (m,) array, A/m2
    (m,) array, A/m2/V
    """
    forward, backward, up, down = (x[law] for x in (laws.forward, laws.backward, laws.up, laws.down))
    rise = forward * np.exp(np.minimum(up * v, _STEEPEST))
    fall = backward * np.exp(np.minimum(-down * v, _STEEPEST))
    straight = laws.kind[law] == LINEAR
    return np.where(straight, forward * v, rise - fall), np.where(straight, forward, up * rise + down * fall)


def overpotential(density: Float, law: Int, laws: Laws) -> Float:
    """Overpotential at which electrodes pass given densities, V; the inverse of :func:`density_and_slope`."""
    v, ohm = np.zeros(len(density)), 1e6
    series, wide = np.full(len(density), ohm), np.full(len(density), np.inf)
    k, drop = laws, ohm * np.asarray(density, float)
    overpotentials(drop, v, law, series, -wide, wide, k.kind, k.forward, k.backward, k.up, k.down)
    return v


@njit(cache=True, nogil=True)
def _steepness(v: float, k: int, forward: Float, backward: Float, up: Float, down: Float) -> float:
    """Slope of an exponential law."""
    rise = up[k] * forward[k] * np.exp(min(up[k] * v, _STEEPEST))
    return rise + down[k] * backward[k] * np.exp(min(-down[k] * v, _STEEPEST))


@njit(cache=True, nogil=True)
def limits(
    law: Int, series: Float, kind: Int, forward: Float, backward: Float, up: Float, down: Float
) -> tuple[Float, Float]:
    """Between which overpotentials a wall before the centre of its cell takes at most half of the slope."""
    low, high = np.full(len(law), -np.inf), np.full(len(law), np.inf)
    for n in range(len(law)):
        k, s = law[n], series[n]
        if s >= 0.0:
            continue
        most = -0.5 / s
        if kind[k] == LINEAR:
            if forward[k] > most:
                low[n], high[n] = 0.0, 0.0
            continue
        middle = -60.0 / up[k]
        if backward[k] > 0.0:
            middle = np.log(down[k] ** 2 * backward[k] / (up[k] ** 2 * forward[k])) / (up[k] + down[k])
        if _steepness(middle, k, forward, backward, up, down) >= most:
            low[n], high[n] = middle, middle
            continue
        a, b = middle, np.log(most / (up[k] * forward[k])) / up[k]
        for _ in range(50):
            c = 0.5 * (a + b)
            if _steepness(c, k, forward, backward, up, down) > most:
                b = c
            else:
                a = c
        high[n] = a
        if backward[k] > 0.0:
            a, b = -np.log(most / (down[k] * backward[k])) / down[k], middle
            for _ in range(50):
                c = 0.5 * (a + b)
                if _steepness(c, k, forward, backward, up, down) > most:
                    a = c
                else:
                    b = c
            low[n] = b
    return low, high


@njit(cache=True, nogil=True)
def _branch(
    v: float,
    s: float,
    k: int,
    low: float,
    high: float,
    kind: Int,
    forward: Float,
    backward: Float,
    up: Float,
    down: Float,
) -> tuple[float, float, float, float]:
    """Density, its slope, the drop over a branch and the slope of that, at one overpotential."""
    inner = min(max(v, low), high)
    if kind[k] == LINEAR:
        density, slope, edge = forward[k] * v, forward[k], forward[k] * inner
    else:
        rise = forward[k] * np.exp(min(up[k] * v, _STEEPEST))
        fall = backward[k] * np.exp(min(-down[k] * v, _STEEPEST))
        density, slope = rise - fall, up[k] * rise + down[k] * fall
        edge = density
        if inner != v:
            edge = forward[k] * np.exp(min(up[k] * inner, _STEEPEST))
            edge -= backward[k] * np.exp(min(-down[k] * inner, _STEEPEST))
    if inner != v:
        return density, slope, inner + s * edge + 0.5 * (v - inner), 0.5
    return density, slope, v + s * density, 1.0 + s * slope


@njit(cache=True, nogil=True)
def densities(
    v: Float,
    law: Int,
    series: Float,
    low: Float,
    high: Float,
    kind: Int,
    forward: Float,
    backward: Float,
    up: Float,
    down: Float,
    density: Float,
    slope: Float,
    drop: Float,
) -> None:
    """Density, its slope against the drop, and the drop of each branch, written into the last three."""
    for n in range(len(v)):
        i, di, u, du = _branch(v[n], series[n], law[n], low[n], high[n], kind, forward, backward, up, down)
        density[n], slope[n], drop[n] = i, di / du, u


@njit(cache=True, nogil=True)
def overpotentials(
    drop: Float,
    v: Float,
    law: Int,
    series: Float,
    low: Float,
    high: Float,
    kind: Int,
    forward: Float,
    backward: Float,
    up: Float,
    down: Float,
) -> None:
    """Share each drop between liquid and electrode, starting from `v`."""
    for n in range(len(drop)):
        k, s = law[n], series[n]
        most = np.inf if kind[k] == LINEAR else 3.0 / max(up[k], down[k])
        x = v[n]
        if kind[k] != LINEAR and s > 0.0:  # the law alone cannot pass more than the liquid lets through
            most_up = np.log1p(abs(drop[n]) / s / forward[k]) / up[k]
            x = min(x, max(most_up, 0.0))
            if backward[k] > 0.0:
                x = max(x, -np.log1p(abs(drop[n]) / s / backward[k]) / down[k])
        for _ in range(200):
            _, _, u, du = _branch(x, s, k, low[n], high[n], kind, forward, backward, up, down)
            step = (u - drop[n]) / du
            if abs(step) > most:
                step = most if step > 0.0 else -most
            x -= step
            if abs(step) <= 1e-13 * (1.0 + abs(x)):
                break
        v[n] = x
