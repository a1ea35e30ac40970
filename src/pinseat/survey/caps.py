"""Caps on the unit sphere: the point deepest inside all of them, and their intersection, arc by arc.

A cap is all directions within an angle `r <= 90 deg` of a centre `c`: the cone of draws that suit one pin, or
(`r = 90 deg`) the half-space of draws that one facet of a wall lets go. What suits all is the intersection.

The deepest point maximises ``min_i ( r_i - angle(d, c_i) )``. Where the caps have a point in common this is a
problem with one answer, borne by at most three caps (Helly), so it is solved in closed form for each cap,
pair and three of a few, and the cap that lacks most is added to the few until none lacks.

The border is traced with the caps that matter only: each circle is cut by the others into free arcs, the cap
that cuts deepest into an arc is added, and so on until no cap cuts any arc. The area follows from the
Gauss-Bonnet theorem, ``A = 2 pi - sum of cos(r) turn - sum of the turns at the corners``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from pinseat.ledger.pins import frame

Float = NDArray[np.float64]

BEARS_DEG = 1e-7
"""Caps whose spare angle is this close to the least one bear on the deepest point."""
STEP_DEG = 3.0
"""Largest step along a border, degrees of turn about its circle, where it is drawn."""
ROUNDING = 1e-13
"""What double precision leaves of an angle or a cosine."""


@dataclass(frozen=True, eq=False)
class Centre:
    """The direction deepest inside all caps.

    Attributes
    ----------
    draw : (3,) array
        Unit vector.
    spare : float
        Least angle to spare over all caps, rad; negative when they have no point in common.
    bearing : tuple of int
        The caps that bear on it.
    share : tuple of float
        For each of `bearing`, how much the spare angle grows with that cap's radius; they add up to 1.
    """

    draw: Float
    spare: float
    bearing: tuple[int, ...]
    share: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Arc:
    """One piece of the border, walked with the inside on the left.

    Attributes
    ----------
    cap : int
        Whose circle it lies on.
    centre : (3,) array
        Of that cap.
    radius : float
        Of that cap, rad.
    start, turn : float
        Angle about the centre at which it starts, from the first row of
        :func:`pinseat.ledger.pins.frame`, and how far it goes, rad.
    """

    cap: int
    centre: Float
    radius: float
    start: float
    turn: float

    def points(self, fractions: Float) -> Float:
        """Points (k, 3) at fractions of the way along."""
        return _on_circle(self.centre, self.radius, self.start + self.turn * fractions)

    def heading(self, fraction: float) -> Float:
        """Unit tangent at a fraction of the way along."""
        turn = self.start + self.turn * fraction
        u, v = frame(self.centre)
        return np.asarray(-math.sin(turn) * u + math.cos(turn) * v)


def angles_to(draw: Float, axes: Float) -> Float:
    """Angles between directions and axes, rad, by broadcasting over the last axis; sound for small angles."""
    apart = draw - axes
    return np.asarray(
        2.0 * np.arcsin(np.minimum(np.sqrt(np.einsum("...i,...i->...", apart, apart)) / 2.0, 1.0))
    )


def deepest(centres: Float, radii: Float) -> Centre:
    """Find the direction that keeps the most angle to spare.

    Parameters
    ----------
    centres : (n, 3) array
        Unit vectors.
    radii : (n,) array
        rad, at most pi / 2. Where the caps have no point in common, the radii and what lacks must stay
        below pi / 2 together.

    Returns
    -------
    Centre

    Examples
    --------
    >>> up, east = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])
    >>> found = deepest(np.stack([up, east]), np.radians([60.0, 60.0]))
    >>> round(math.degrees(found.spare), 9), found.bearing
    (15.0, (0, 1))
    """
    few = [int(np.argmin(radii))]
    while True:
        draw, least = _deepest_of_few(centres[few], radii[few])
        spare = radii - angles_to(draw, centres)
        worst = int(np.argmin(spare))
        if worst in few or spare[worst] >= least - ROUNDING:
            break
        few.append(worst)
    bearing = np.flatnonzero(spare < spare[worst] + math.radians(BEARS_DEG))
    return Centre(
        draw,
        float(spare[worst]),
        tuple(int(i) for i in bearing),
        tuple(_shares(draw, centres[bearing]).tolist()),
    )


def most_spare(centres: Float, radii: Float) -> Float:
    """Most angle to spare for many sets of caps at once.

    Parameters
    ----------
    centres : (s, n, 3) array
    radii : (n,) array
        rad.

    Returns
    -------
    (s,) array
        rad; negative where the caps have no point in common.
    """
    return np.asarray(-np.nanmin(_over(_candidates(centres, radii), centres, radii), axis=1))


def _deepest_of_few(centres: Float, radii: Float) -> tuple[Float, float]:
    tried = _candidates(centres[None], radii)
    over = _over(tried, centres[None], radii)[0]
    draw = tried[0, int(np.nanargmin(over))]
    return draw, float(np.min(radii - angles_to(draw, centres)))


def _towards(draw: Float, centres: Float) -> Float:
    """Unit tangents at `draw` towards the centres, (n, 3); nothing for a centre at `draw`."""
    across = centres - (centres @ draw)[:, None] * draw
    size = np.linalg.norm(across, axis=1, keepdims=True)
    return np.asarray(across / np.where(size > ROUNDING, size, np.inf))


def _shares(draw: Float, centres: Float) -> Float:
    """Weights that balance the caps at the deepest point: ``sum w = 1``, ``sum w (slope of spare) = 0``."""
    slopes = _towards(draw, centres) @ frame(draw).T
    weight = nnls(np.vstack([slopes.T, np.ones(len(centres))]), np.array([0.0, 0.0, 1.0]))[0]
    return np.asarray(weight / weight.sum())


def _over(tried: Float, centres: Float, radii: Float) -> Float:
    """Most angle lacking over all caps, (s, c), for each direction tried, (s, c, 3)."""
    worst = np.full(tried.shape[:2], -np.inf)
    for i, r in enumerate(radii):
        worst = np.maximum(worst, angles_to(tried, centres[:, i, None]) - r)
    return worst


def _candidates(centres: Float, radii: Float) -> Float:
    """Directions (s, c, 3) that may be deepest, NaN where a pair or three has none."""
    n = centres.shape[1]
    pairs = np.array(list(combinations(range(n), 2)), dtype=np.intp).reshape(-1, 2)
    threes = np.array(list(combinations(range(n), 3)), dtype=np.intp).reshape(-1, 3)
    tried = [centres, _of_pairs(centres[:, pairs[:, 0]], centres[:, pairs[:, 1]], *radii[pairs.T])]
    return np.concatenate([*tried, _of_threes(centres[:, threes], radii[threes])], axis=1)


def _of_pairs(a: Float, b: Float, r_a: Float, r_b: Float) -> Float:
    """The direction between two centres at which both have the same angle to spare."""
    between = angles_to(a, b)
    from_a = (between + r_a - r_b) / 2.0
    inside = (between > 0.0) & (from_a >= 0.0) & (from_a <= between)
    across = b - a * np.sum(a * b, axis=-1, keepdims=True)
    size = np.linalg.norm(across, axis=-1)
    across = across / np.where(size > 0.0, size, 1.0)[..., None]
    draw = a * np.cos(from_a)[..., None] + across * np.sin(from_a)[..., None]
    return np.asarray(np.where((inside & (size > 0.0))[..., None], draw, np.nan))


def _of_threes(centres: Float, radii: Float) -> Float:
    """Directions at which three caps have the same angle `t` to spare.

    ``c . d = cos(r - t)`` for each is linear in ``(d, cos t, sin t)``: three equations, so two directions are
    left in the space of five; along them ``|d| = 1 = |(cos t, sin t)|`` is a quadratic. Sound also where the
    centres lie on one great circle (upright walls), and `d` alone cannot be solved for.
    """
    parts = np.stack([-np.cos(radii), -np.sin(radii)], axis=-1)
    rows = np.concatenate([centres, np.broadcast_to(parts, (*centres.shape[:-1], 2))], axis=-1)
    free = np.linalg.qr(np.swapaxes(rows, -1, -2), mode="complete")[0][..., 3:]
    d, turn = free[..., :3, :], free[..., 3:, :]
    form = np.einsum("...ki,...kj->...ij", d, d) - np.einsum("...ki,...kj->...ij", turn, turn)
    half = (form[..., 0, 0] - form[..., 1, 1]) / 2.0
    m, phase = np.hypot(half, form[..., 0, 1]), np.arctan2(form[..., 0, 1], half)
    wanted = -(form[..., 0, 0] + form[..., 1, 1]) / 2.0
    real = (m > 0.0) & (np.abs(wanted) <= m)
    apart = np.arccos(np.divide(wanted, m, out=np.full_like(m, np.nan), where=real))
    found = []
    for twice in (phase + apart, phase - apart):
        at = np.stack([np.cos(twice / 2.0), np.sin(twice / 2.0)], axis=-1)
        one = np.einsum("...ki,...i->...k", d, at)
        one = one / np.linalg.norm(one, axis=-1, keepdims=True)
        found += [one, -one]
    return np.concatenate(found, axis=1)


def border(centres: Float, radii: Float, inside: Float) -> tuple[Arc, ...]:
    """Border of the intersection of caps, as arcs in order, the inside on the left.

    Parameters
    ----------
    centres : (n, 3) array
    radii : (n,) array
        rad, at most pi / 2.
    inside : (3,) array
        A direction inside all caps, none of them nearer than some 1e-9 rad.

    Returns
    -------
    tuple of Arc
        Each one starts where the one before ends; a single whole circle when one cap lies in all others.
    """
    bound = np.cos(radii)
    active = [int(np.argmin(radii - angles_to(inside, centres)))]
    whole: set[tuple[int, float, float]] = set()
    while True:
        arcs = [arc for j in active for arc in _free_arcs(j, active, centres, radii)]
        cuts = set()
        for arc in arcs:
            if (arc.cap, arc.start, arc.turn) in whole:
                continue
            k = _deepest_cut(arc, centres, bound)
            if k < 0 or k in active:
                whole.add((arc.cap, arc.start, arc.turn))
            else:
                cuts.add(k)
        if not cuts:
            break
        active += sorted(cuts)
    u, v = frame(inside)
    middle = np.concatenate([arc.points(np.array([0.5])) for arc in arcs])
    return tuple(arcs[i] for i in np.argsort(np.arctan2(middle @ v, middle @ u), kind="stable"))


def _on_circle(centre: Float, radius: float, turn: Float) -> Float:
    u, v = frame(centre)
    out = np.cos(turn)[:, None] * u + np.sin(turn)[:, None] * v
    return np.asarray(math.cos(radius) * centre + math.sin(radius) * out)


def _along(arc_centre: Float, arc_radius: float, centres: Float) -> tuple[Float, Float, Float]:
    """How the cosine of the angle to other centres runs round a circle: ``level + swing cos(turn - at)``."""
    u, v = frame(arc_centre)
    x, y = centres @ u, centres @ v
    level = math.cos(arc_radius) * (centres @ arc_centre)
    return level, math.sin(arc_radius) * np.hypot(x, y), np.arctan2(y, x)


def _free_arcs(j: int, active: Sequence[int], centres: Float, radii: Float) -> list[Arc]:
    """Parts of circle `j` that lie inside all other active caps."""
    others = [k for k in active if k != j]
    level, swing, at = _along(centres[j], radii[j], centres[others])
    lacks = np.cos(radii[others]) - level
    if np.any(lacks > swing):
        return []
    cutting = lacks > -swing + ROUNDING
    half = np.arccos(np.clip(lacks[cutting] / swing[cutting], -1.0, 1.0))
    starts = np.mod(at[cutting] + half, 2.0 * math.pi)
    ends = starts + 2.0 * (math.pi - half)
    if not len(starts):
        return [Arc(j, centres[j], float(radii[j]), 0.0, 2.0 * math.pi)]
    order = np.argsort(starts, kind="stable")
    starts, ends = starts[order], ends[order]
    reached = np.maximum(np.maximum.accumulate(ends), ends.max() - 2.0 * math.pi)
    free = np.append(starts[1:], starts[0] + 2.0 * math.pi) - reached
    return [
        Arc(j, centres[j], float(radii[j]), float(reached[i]), float(free[i]))
        for i in np.flatnonzero(free > ROUNDING)
    ]


def _deepest_cut(arc: Arc, centres: Float, bound: Float) -> int:
    """The cap that cuts deepest into an arc; -1 when none does."""
    ends = arc.points(np.array([0.0, 1.0]))
    inside = np.min(centres @ ends.T, axis=1) - bound
    away = centres @ np.stack([arc.heading(0.0), -arc.heading(1.0)], axis=1) < 0.0
    within = np.flatnonzero(away.all(axis=1) | (arc.turn > math.pi))
    level, swing, at = _along(arc.centre, arc.radius, centres[within])
    far = np.mod(at + math.pi - arc.start, 2.0 * math.pi) < arc.turn
    inside[within[far]] = (level - swing)[far] - bound[within[far]]
    inside[arc.cap] = 0.0
    k = int(np.argmin(inside))
    return k if inside[k] < -ROUNDING else -1


def points_along(arcs: Sequence[Arc]) -> Float:
    """Points along a border, every corner among them.

    Parameters
    ----------
    arcs : sequence of Arc
        As :func:`border` gives them.

    Returns
    -------
    (k, 3) array
    """
    steps = [math.ceil(math.degrees(arc.turn) / STEP_DEG) for arc in arcs]
    return np.concatenate([arc.points(np.arange(n) / n) for arc, n in zip(arcs, steps, strict=True)])


def area_of(arcs: Sequence[Arc]) -> float:
    """Solid angle inside a border, sr, by the Gauss-Bonnet theorem.

    Parameters
    ----------
    arcs : sequence of Arc
        As :func:`border` gives them.

    Returns
    -------
    float
        0 without a border.

    Examples
    --------
    >>> eighth = border(np.eye(3), np.full(3, math.pi / 2), np.ones(3) / math.sqrt(3.0))
    >>> round(area_of(eighth) / (4.0 * math.pi), 12)
    0.125
    """
    if not arcs:
        return 0.0
    total = 2.0 * math.pi - math.fsum(math.cos(arc.radius) * arc.turn for arc in arcs)
    if len(arcs) == 1:
        return total
    for before, after in zip(arcs, [*arcs[1:], arcs[0]], strict=True):
        corner, came, goes = after.points(np.zeros(1))[0], before.heading(1.0), after.heading(0.0)
        total -= math.atan2(float(np.cross(came, goes) @ corner), float(came @ goes))
    return total


def leans_deg(centre: Float, directions: Float) -> Float:
    """Directions as how far they lean two ways from a centre.

    Parameters
    ----------
    centre : (3,) array
    directions : (k, 3) array
        Less than 90 deg from the centre.

    Returns
    -------
    (k, 2) array
        deg, in the frame of :func:`pinseat.ledger.pins.frame` of the centre.
    """
    flat = (directions @ frame(centre).T) / (directions @ centre)[:, None]
    return np.asarray(np.degrees(np.arctan(flat)))
