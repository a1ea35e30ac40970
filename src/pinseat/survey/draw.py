"""The draws that serve every pin: circular cones on the sphere, cut exactly.

A straight pin of diameter `d` in a straight hole of diameter `D` may lean by ``atan((D - d) / L)`` over the
length `L` that is engaged. All draws within that angle `w_i` of the hole's axis `a_i` suit the pin; what
suits all pins is the intersection of these cones. Its centre is the direction with the most angle to spare,

    maximise over draw d   min_i ( w_i - angle(d, a_i) ),

the smallest-enclosing-cap problem with allowances. As in every problem of that kind at most three pins bear
on the answer (Helly), so it is solved in closed form for each pin, pair and three, and the best that serves
all is taken. Limit: cones narrower than 90 degrees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Abutment
from pinseat.ledger.pins import PinField, frame
from pinseat.survey.model import DrawWindow

Float = NDArray[np.float64]

BEARS_DEG = 1e-7
"""Pins whose spare angle is this close to the least one bound the window."""
SAMPLES = 256
"""Sampled sets of pins, made to have exactly the stated covariance."""


@dataclass(frozen=True, eq=False)
class Centre:
    """The best draw.

    Attributes
    ----------
    draw : (3,) array
        Unit vector.
    spare : float
        Least angle to spare over all pins, rad; negative when no draw serves all.
    bearing : tuple of int
        The pins that bound it.
    """

    draw: Float
    spare: float
    bearing: tuple[int, ...]


def allowance_rad(abutment: Abutment) -> float:
    """Lean that the hole allows its cast pin: ``atan(clearance / engaged length)``.

    Parameters
    ----------
    abutment : Abutment

    Returns
    -------
    float
        rad; negative when the pin is thicker than the hole.

    Examples
    --------
    >>> hole = Abutment(tooth=11, pins=1, hole_diameter_mm=0.7, cast_pin_diameter_mm=0.6, hole_depth_mm=2.1)
    >>> round(math.degrees(allowance_rad(hole)), 4)
    2.8624
    """
    clearance_mm = abutment.hole_diameter_mm - abutment.cast_pin_diameter_mm
    return math.atan2(clearance_mm, abutment.hole_depth_mm - abutment.floor_relief_mm)


def angles_to(draw: Float, axes: Float) -> Float:
    """Angles between directions and axes, rad, by broadcasting over the last axis; sound for small angles."""
    apart = draw - axes
    return np.asarray(
        2.0 * np.arcsin(np.minimum(np.sqrt(np.einsum("...i,...i->...", apart, apart)) / 2.0, 1.0))
    )


def best_draw(axes: Float, allowance: Float) -> Centre:
    """Find the draw that keeps the most angle to spare.

    Parameters
    ----------
    axes : (n, 3) array
        Unit vectors out of the holes, all within one half-space.
    allowance : (n,) array
        rad.

    Returns
    -------
    Centre
    """
    tried = _candidates(axes[None], allowance)
    over = _over(tried, axes[None], allowance)[0]
    k = int(np.nanargmin(over))
    draw = tried[0, k]
    bearing = np.flatnonzero(angles_to(draw, axes) - allowance > over[k] - math.radians(BEARS_DEG))
    return Centre(draw, -float(over[k]), tuple(int(i) for i in bearing))


def most_spare(axes: Float, allowance: Float) -> Float:
    """Most angle to spare for many sets of pins at once.

    Parameters
    ----------
    axes : (s, n, 3) array
    allowance : (n,) array
        rad.

    Returns
    -------
    (s,) array
        rad; negative where no draw serves all.
    """
    return np.asarray(-np.nanmin(_over(_candidates(axes, allowance), axes, allowance), axis=1))


def _over(tried: Float, axes: Float, allowance: Float) -> Float:
    """Most angle lacking over all pins, (s, c), for each direction tried, (s, c, 3)."""
    worst = np.full(tried.shape[:2], -np.inf)
    for i, w in enumerate(allowance):
        worst = np.maximum(worst, angles_to(tried, axes[:, i, None]) - w)
    return worst


def _candidates(axes: Float, allowance: Float) -> Float:
    """Directions (s, c, 3) that may be best, NaN where a pair or three has none."""
    n = axes.shape[1]
    pairs = np.array(list(combinations(range(n), 2)), dtype=np.intp).reshape(-1, 2)
    threes = np.array(list(combinations(range(n), 3)), dtype=np.intp).reshape(-1, 3)
    tried = [axes, _of_pairs(axes[:, pairs[:, 0]], axes[:, pairs[:, 1]], *allowance[pairs.T])]
    return np.concatenate([*tried, _of_threes(axes[:, threes], allowance[threes])], axis=1)


def _of_pairs(a: Float, b: Float, w_a: Float, w_b: Float) -> Float:
    """The direction between two axes at which both have the same angle to spare."""
    between = angles_to(a, b)
    from_a = (between + w_a - w_b) / 2.0
    inside = (between > 0.0) & (from_a >= 0.0) & (from_a <= between)
    across = b - a * np.sum(a * b, axis=-1, keepdims=True)
    size = np.linalg.norm(across, axis=-1)
    across = across / np.where(size > 0.0, size, 1.0)[..., None]
    draw = a * np.cos(from_a)[..., None] + across * np.sin(from_a)[..., None]
    return np.asarray(np.where((inside & (size > 0.0))[..., None], draw, np.nan))


def _of_threes(axes: Float, allowance: Float) -> Float:
    """Directions at which three pins have the same angle to spare.

    ``A d = cos(w + t)`` gives ``d = p cos t - q sin t`` with ``p = A^-1 cos w``, ``q = A^-1 sin w``; then
    ``|d| = 1`` is ``m cos(2 t + phase) = 1 - (p.p + q.q) / 2``.
    """
    square = np.abs(np.linalg.det(axes)) > 1e-14
    a = np.where(square[..., None, None], axes, np.eye(3))
    both = np.stack([np.cos(allowance), np.sin(allowance)], axis=-1)
    solved = np.linalg.solve(a, np.broadcast_to(both, (*a.shape[:-1], 2)))
    p, q = solved[..., 0], solved[..., 1]
    pp, qq, pq = np.sum(p * p, axis=-1), np.sum(q * q, axis=-1), np.sum(p * q, axis=-1)
    m, phase = np.hypot((pp - qq) / 2.0, pq), np.arctan2(pq, (pp - qq) / 2.0)
    wanted = 1.0 - (pp + qq) / 2.0
    real = square & (m > 0.0) & (np.abs(wanted) <= m)
    turn = np.arccos(np.divide(wanted, m, out=np.full_like(m, np.nan), where=real))
    found = []
    for twice in (turn - phase, -turn - phase):
        for t in (twice / 2.0, twice / 2.0 + math.pi):
            d = p * np.cos(t)[..., None] - q * np.sin(t)[..., None]
            found.append(d / np.linalg.norm(d, axis=-1, keepdims=True))
    return np.concatenate(found, axis=1)


def window_of(field: PinField, abutments: Sequence[Abutment]) -> DrawWindow:
    """Draw window of a field of pins.

    Parameters
    ----------
    field : PinField
    abutments : sequence of Abutment
        Every tooth of the field among them.

    Returns
    -------
    DrawWindow
        `u_size_deg` comes from sampled pins.
    """
    by_tooth = {abutment.tooth: allowance_rad(abutment) for abutment in abutments}
    axes = np.array([pin.axis for pin in field.pins])
    allowance = np.array([by_tooth[pin.tooth] for pin in field.pins])
    centre = best_draw(axes, allowance)
    return DrawWindow(
        centre=centre.draw,
        size_deg=math.degrees(centre.spare),
        u_size_deg=math.degrees(_u_spare(centre.spare, field, allowance)),
        outline_deg=outline_deg(centre.draw, axes, allowance),
        limited_by=tuple(field.pins[i].name for i in centre.bearing),
        allowance_deg={
            pin.name: math.degrees(w) for pin, w in zip(field.pins, allowance.tolist(), strict=True)
        },
    )


def _u_spare(spare: float, field: PinField, allowance: Float) -> float:
    """Standard uncertainty of the spare angle, rad: root mean square change over sampled pins.

    The spare angle has a kink wherever another pin takes over, and to first order it does not follow a lean
    across the line of two pins; so pins are sampled, not linearised. The samples are fixed, and laid out by
    the pins themselves (along the line from the first to the last, each with its mirror images), so that
    neither the pose of the scan nor a mirror changes them.
    """
    n = len(field.pins)
    which = (4 * np.arange(n)[:, None] + [2, 3]).ravel()
    turn = np.zeros((3 * n, 2 * n))
    for i, pin in enumerate(field.pins):
        turn[3 * i : 3 * i + 3, 2 * i : 2 * i + 2] = frame(pin.axis).T
    spread = turn @ field.covariance[np.ix_(which, which)] @ turn.T
    size, directions = np.linalg.eigh(spread)
    root = (directions * np.sqrt(np.maximum(size, 0.0))) @ directions.T
    quarter = np.random.Generator(np.random.Philox(20)).standard_normal((max(SAMPLES // 4, 6 * n), n, 3))
    signs = np.array([[1, 1, 1], [-1, -1, -1], [1, -1, 1], [-1, 1, -1]], dtype=np.float64)
    flat = quarter.reshape(len(quarter), 3 * n)
    white = flat @ np.linalg.inv(np.linalg.cholesky(flat.T @ flat / len(flat))).T
    normal = (signs[:, None, None] * white.reshape(-1, n, 3)).reshape(-1, n, 3) @ _own_frame(field)
    axes = np.array([pin.axis for pin in field.pins]) + (normal.reshape(-1, 3 * n) @ root).reshape(-1, n, 3)
    axes /= np.linalg.norm(axes, axis=2, keepdims=True)
    return float(np.sqrt(np.mean((most_spare(axes, allowance) - spare) ** 2)))


def _own_frame(field: PinField) -> Float:
    """Unit rows: along the line of the pins, across it, and off the teeth."""
    up = np.sum([pin.axis for pin in field.pins], axis=0)
    up = up / np.linalg.norm(up)
    line = field.pins[-1].foot - field.pins[0].foot
    line = line - up * (up @ line)
    size = float(np.linalg.norm(line))
    line = line / size if size > 1e-9 else frame(up)[0]
    return np.stack([line, np.cross(up, line), up])


def outline_deg(draw: Float, axes: Float, allowance: Float, steps: int = 120) -> Float:
    """Border of the window as two tilt angles about its centre.

    Parameters
    ----------
    draw : (3,) array
        The centre.
    axes : (n, 3) array
    allowance : (n,) array
        rad.
    steps : int
        Points round the border.

    Returns
    -------
    (steps, 2) array
        deg, in the frame of :func:`pinseat.ledger.pins.frame` of the centre; empty when no draw serves all.
    """
    if np.max(angles_to(draw, axes) - allowance) > 0.0:
        return np.zeros((0, 2))
    turn = np.linspace(0.0, 2.0 * math.pi, steps, endpoint=False)
    out = np.stack([np.cos(turn), np.sin(turn)], axis=1) @ frame(draw)
    along, across = axes @ draw, out @ axes.T
    lean = np.arctan2(across, along) + np.arccos(
        np.clip(np.cos(allowance) / np.hypot(along, across), -1.0, 1.0)
    )
    reach = np.tan(lean.min(axis=1))
    return np.asarray(np.degrees(np.arctan(np.stack([np.cos(turn) * reach, np.sin(turn) * reach], axis=1))))
