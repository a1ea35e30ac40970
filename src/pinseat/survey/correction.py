"""The cheapest cut that opens a draw where there is none, optimised over draw and removal.

A wall that blocks a draw by an angle `b` is cut back by a wedge of `b`: nothing at its foot, ``h tan b`` at
its top, `h` being its usable height. For a draw `d` the wedge each wall needs is the largest over its facets
(:meth:`pinseat.survey.window.Caps.spare`), and is known without a search; what is sought is the draw with

    least total:    sum over walls of   (weight of the tooth) h tan b(d), or
    least largest:  largest over walls of the same (and then the least total),

while every pin, and every wall of a tooth that must not be cut, lets the draw go as it stands. It is solved
with the removals as further unknowns, ``removal >= weight h tan b`` for each facet that may bind, so that
the objective is linear and the kinks become constraints (sequential quadratic programming); facets that are
still violated are added until none is. Solutions start from the best of the draws tried on a fan over the
window of what must not be cut. The problem is convex but for terms of the order of the angle squared.

Limit: a wedge over the whole height is what a flat or evenly curved wall needs; for a wall that is undercut
at one spot only it is an upper bound, and the undercut map tells the depth there. A draw that is just
possible after the cut has no room: ask for it with the taper and the allowance that shall be left.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, NonlinearConstraint, minimize

from pinseat.ledger.pins import frame
from pinseat.survey.caps import angles_to, border
from pinseat.survey.window import NO_WIDTH, SLACKER, Caps, Cone, Wall, best, caps_of, turned

Float = NDArray[np.float64]
Objective = Literal["total", "largest"]

STEEPEST_DEG = 80.0
"""A wall that would need a wedge steeper than this has no top left; its tangent is taken here."""
NO_CUT_MM = 1e-6
"""Less than this is not reported as a cut."""
FAN = np.linspace(0.0, 1.0, 7)
"""Draws are first tried at these fractions of the way from the middle of the window to its border."""
ROUND = 32
"""And in about so many directions round."""
LEAST_TOTAL = 1e-4
"""What a millimetre of the total counts beside a millimetre of the largest removal."""
STARTS = 3
"""Number of draws from which the search starts."""


@dataclass(frozen=True)
class Cut:
    """What to take off one wall.

    Attributes
    ----------
    wall : str
    tooth : int
    angle_deg : float
        Angle of the wedge, nothing at the wall's foot.
    removal_mm : float
        At the top of the wall.
    u_removal_mm : float
        Standard uncertainty for this draw, from the wall's inclination.
    normal : int
        Index of the wall's normal that asks for the most: where to cut.
    """

    wall: str
    tooth: int
    angle_deg: float
    removal_mm: float
    u_removal_mm: float
    normal: int


@dataclass(frozen=True, eq=False)
class Correction:
    """A draw and the cuts that open it.

    Attributes
    ----------
    draw : (3,) array
        The middle of what is open after the cuts.
    cuts : tuple of Cut
        The largest first; empty when the draw is open as it stands.
    total_mm, largest_mm : float
        Of the removals, without weights.
    """

    draw: Float
    cuts: tuple[Cut, ...]
    total_mm: float
    largest_mm: float


def cheapest(
    cones: Sequence[Cone],
    walls: Sequence[Wall],
    up: Float,
    weights: Mapping[int, float] | None = None,
    objective: Objective = "total",
) -> Correction | None:
    """Find the draw that asks for the least cutting.

    Parameters
    ----------
    cones : sequence of Cone
        Pins; they are never cut.
    walls : sequence of Wall
    up : (3,) array
        Unit vector off the teeth.
    weights : mapping of tooth to float, optional
        What a millimetre on this tooth counts; 1 where nothing is said, ``math.inf`` for a tooth that must
        not be cut (a neighbour, say).
    objective : {"total", "largest"}

    Returns
    -------
    Correction or None
        None when what must not be cut leaves no draw by itself.

    Examples
    --------
    Two teeth in one plane; one lets go at 3 to 9 degrees, the other at -8 to -2:

    >>> def facing(x, open_deg):
    ...     return np.array([[x * math.cos(math.radians(open_deg)), 0.0, math.sin(math.radians(open_deg))]])
    >>> walls = [Wall(f"{tooth} {side}", tooth, facing(x, open_deg), 4.0, 0.0, 0.0, 0.3)
    ...          for tooth, side, x, open_deg in [(11, "mesial", 1.0, -3.0), (11, "distal", -1.0, 9.0),
    ...                                           (13, "mesial", 1.0, 8.0), (13, "distal", -1.0, -2.0)]]
    >>> found = cheapest([], walls, np.array([0.0, 0.0, 1.0]))
    >>> [(cut.wall, round(cut.angle_deg, 2), round(cut.removal_mm, 3)) for cut in found.cuts]
    [('11 mesial', 2.5, 0.175), ('13 distal', 2.5, 0.175)]
    """
    weight = {wall.tooth: 1.0 for wall in walls} | dict(weights or {})
    soft = [wall for wall in walls if math.isfinite(weight[wall.tooth])]
    hard = caps_of(cones, [wall for wall in walls if not math.isfinite(weight[wall.tooth])], up)
    middle, size = best(hard)
    if size < -NO_WIDTH:
        return None
    if not soft:
        return Correction(middle.draw, (), 0.0, 0.0)
    kept = hard.given_way(max(SLACKER - size, 0.0))
    arcs = border(*kept, middle.draw)
    edge = np.concatenate(
        [arc.points(np.arange(n) / n) for arc in arcs if (n := _count(arc.turn, len(arcs)))]
    )
    caps = _walls_only(caps_of([], soft, up))
    search = _Search(
        caps=caps,
        height_mm=np.array([wall.height_mm for wall in soft]),
        weight=np.array([weight[wall.tooth] for wall in soft]),
        total=objective == "total",
        middle=middle.draw,
        limits=np.array([arc.centre for arc in arcs]),
        bounds=np.cos([arc.radius for arc in arcs]),
    )
    fan = middle.draw + FAN[:, None, None] * (edge - middle.draw)
    cuts = _cuts(search.solve(_unit(fan.reshape(-1, 3))), caps, soft)
    return Correction(
        _middle_after(cuts, caps_of(cones, walls, up)),
        cuts,
        math.fsum(cut.removal_mm for cut in cuts),
        max((cut.removal_mm for cut in cuts), default=0.0),
    )


def on_one_tooth(
    cones: Sequence[Cone], walls: Sequence[Wall], up: Float, weights: Mapping[int, float] | None = None
) -> dict[int, Correction | None]:
    """For each tooth, what it takes when that tooth alone is cut.

    Parameters
    ----------
    cones, walls, up, weights
        See :func:`cheapest`; no plan is made for a tooth of infinite weight.

    Returns
    -------
    dict of int to Correction or None
        In order of the teeth's numbers; None where cutting that tooth alone opens no draw.
    """
    given = dict(weights or {})
    teeth = sorted({wall.tooth for wall in walls})
    return {
        tooth: cheapest(cones, walls, up, dict.fromkeys(teeth, math.inf) | {tooth: 1.0})
        for tooth in teeth
        if math.isfinite(given.get(tooth, 1.0))
    }


def _count(turn: float, arcs: int) -> int:
    return max(1, ROUND // arcs, math.ceil(turn * ROUND / (2.0 * math.pi)))


def _unit(directions: Float) -> Float:
    return np.asarray(directions / np.linalg.norm(directions, axis=-1, keepdims=True))


def _walls_only(caps: Caps) -> Caps:
    """Without the lean considered: that limits the draw, and is no wall."""
    keep = caps.turns
    return Caps(
        caps.names[1:], caps.owner[keep] - 1, caps.centres[keep], caps.radii[keep], caps.turns[keep], caps.up
    )


@dataclass(frozen=True, eq=False)
class _Search:
    """The problem of one correction.

    Attributes
    ----------
    caps : Caps
        Of the walls that may be cut.
    height_mm, weight : (w,) array
        Of these walls.
    total : bool
        Least total, or else least largest.
    middle : (3,) array
        Centre of the chart in which the draw is sought.
    limits, bounds : (h, 3) and (h,) array
        What must not be cut: ``limits . draw >= bounds``.
    """

    caps: Caps
    height_mm: Float
    weight: Float
    total: bool
    middle: Float
    limits: Float
    bounds: Float

    def solve(self, tried: Float) -> Float:
        """The best draw, from draws that are open for what must not be cut."""
        facets = sorted(set(self._worst(tried).ravel().tolist()))
        value = self._objective(self._removal(tried, facets), facets)
        starts = tried[np.argsort(value, kind="stable")[:STARTS]]
        found = [starts[0]]
        for start in starts:
            draw = self._descend(start, facets)
            while new := set(self._worst(draw[None])[0].tolist()) - set(facets):
                facets = sorted({*facets, *new})
                draw = self._descend(draw, facets)
            if np.all(self.limits @ draw >= self.bounds - NO_WIDTH):
                found.append(draw)
        value = self._objective(self._removal(np.array(found), facets), facets)
        return found[int(np.argmin(value))]

    def _worst(self, draws: Float) -> NDArray[np.intp]:
        """For each draw and wall the facet that asks for the most, (n, w)."""
        wedge = self.caps.wedge(draws)
        first = np.flatnonzero(np.diff(self.caps.owner, prepend=-1))
        parts = np.split(wedge, first[1:], axis=1)
        return np.stack([f + np.argmax(part, axis=1) for f, part in zip(first, parts, strict=True)], axis=1)

    def _removal(self, draws: Float, facets: Sequence[int]) -> Float:
        """Weighted removal that each facet asks for, (n, f), mm; negative where it is free."""
        few = Caps(
            self.caps.names,
            self.caps.owner[facets],
            self.caps.centres[facets],
            self.caps.radii[facets],
            self.caps.turns[facets],
            self.caps.up,
        )
        wedge = np.minimum(few.wedge(draws), math.radians(STEEPEST_DEG))
        return np.asarray((self.height_mm * self.weight)[few.owner] * np.tan(wedge))

    def _objective(self, removal: Float, facets: Sequence[int]) -> Float:
        first = np.flatnonzero(np.diff(self.caps.owner[facets], prepend=-1))
        by_wall = np.maximum.reduceat(np.maximum(removal, 0.0), first, axis=1)
        total = by_wall.sum(axis=1)
        return np.asarray(total if self.total else by_wall.max(axis=1) + LEAST_TOTAL * total)

    def _descend(self, start: Float, facets: Sequence[int]) -> Float:
        """Least objective near a draw: tilts about the middle and removals as unknowns."""
        across = frame(self.middle)
        column = self.caps.owner[facets]
        walls = len(self.weight)
        first = np.zeros(walls)
        np.maximum.at(first, column, np.maximum(self._removal(start[None], facets)[0], 0.0))
        unknown: Float = np.concatenate([(across @ start) / (self.middle @ start), first, [first.max()]])
        price = np.append(np.ones(walls), 0.0) if self.total else np.append(np.full(walls, LEAST_TOTAL), 1.0)
        slope: Float = np.concatenate([np.zeros(2), price])
        least: Float = np.append([-np.inf, -np.inf], np.zeros(walls + 1))

        def draw(x: Float) -> Float:
            return _unit(self.middle + x[:2] @ across)

        def room(x: Float) -> Float:
            removal = x[2 : 2 + walls]
            own = removal[column] - self._removal(draw(x)[None], facets)[0]
            return np.concatenate([own, x[-1] - removal, self.limits @ draw(x) - self.bounds])

        def cost(x: Float) -> float:
            return float(slope @ x)

        def rise(x: Float) -> Float:
            return slope

        solved = minimize(
            cost,
            unknown,
            jac=rise,
            bounds=Bounds(least, np.full(walls + 3, np.inf)),
            constraints=NonlinearConstraint(room, 0.0, np.inf),
            method="SLSQP",
            options={"ftol": 1e-13, "maxiter": 200},
        )
        return draw(np.asarray(solved.x))


def _middle_after(cuts: Sequence[Cut], caps: Caps) -> Float:
    """Best draw once the walls are cut."""
    angle = {cut.wall: math.radians(cut.angle_deg) for cut in cuts}
    by = np.array([angle.get(name, 0.0) for name in caps.names])[caps.owner]
    by = np.minimum(by, angles_to(caps.up, caps.centres))
    after = Caps(
        caps.names, caps.owner, turned(caps.centres, caps.upwards, by), caps.radii, caps.turns, caps.up
    )
    return best(after)[0].draw


def _cuts(draw: Float, caps: Caps, walls: Sequence[Wall]) -> tuple[Cut, ...]:
    """What a draw asks for, wall by wall."""
    wedge = caps.wedge(draw)
    cuts = []
    for j, wall in enumerate(walls):
        own = wedge[caps.owner == j]
        worst = int(np.argmax(own))
        angle = min(float(own[worst]), math.radians(STEEPEST_DEG))
        removal_mm = wall.height_mm * math.tan(angle)
        if removal_mm > NO_CUT_MM:
            u_mm = wall.height_mm / math.cos(angle) ** 2 * math.radians(wall.u_deg)
            cuts.append(Cut(wall.name, wall.tooth, math.degrees(angle), removal_mm, u_mm, worst))
    cuts.sort(key=lambda cut: (-round(cut.removal_mm, 6), cut.wall))
    return tuple(cuts)
