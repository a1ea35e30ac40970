"""The draw window: all draws that pins, grooves, walls and neighbours let go, cut exactly on the sphere.

A pin lets go every draw within its hole's allowance of its axis: a cone. A facet of a wall, whose normal `n`
looks out of the tooth, lets go every draw with ``n . d >= sin(least taper)``: a half-space (narrowed by the
taper). A neighbour's facing surface, which the bridge must pass, is a wall too. What all let go is an
intersection of caps (:mod:`pinseat.survey.caps`).

When nothing is left, each surface must give way. A hole that gives way by an angle `t` has a cone wider by
`t`. A wall that gives way by `t` has had a wedge of `t` cut off, from nothing at its foot to the most at its
top: its normal turns by `t` towards `up`, the direction off the teeth. The surfaces *lack* the least `t`
with which a draw is left when all give way alike. All caps stay half-spaces or smaller, so that the answer
is the only one; relaxing the inequality ``n . d >= -sin t`` instead would reward a draw that leans along the
wall. The least `t` is found from above: every draw shows a `t` that is enough for it, and the deepest point
of the caps at that `t` is the next draw.

Limits: `up` must be no more than about 60 degrees from any draw of interest; a wall that is blocked at one
spot counts as blocked all along (the undercut map tells depth by place).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from pinseat.errors import SurveyError
from pinseat.ledger.pins import frame
from pinseat.survey.caps import Arc, Centre, angles_to, area_of, border, deepest, leans_deg, points_along

Float = NDArray[np.float64]

REACH_DEG = 30.0
"""Without a pin, draws up to so far from `up` are considered; else one wall alone would draw sideways."""
REACH = "the lean considered"
"""What bounds the window where only :data:`REACH_DEG` does."""
SLACKER = 1e-6
"""A window without width is opened by so much, rad, to find its middle."""
NO_WIDTH = 1e-9
"""A window whose size is less than this, rad, has no area."""
STEEP = math.radians(60.0)
"""Draws lean no further than this from `up`, rad."""
BEARS_SHARE = 1e-6
"""A surface with a smaller share in the size does not bound it."""
SAMPLES = 1024
"""Sampled sets of surfaces for the uncertainty of the size."""


@dataclass(frozen=True, eq=False)
class Cone:
    """A pin in its hole.

    Attributes
    ----------
    name : str
        ``11-2``.
    tooth : int
        FDI two-digit (ISO 3950).
    axis : (3,) array
        Unit vector out of the hole.
    allowance_deg : float
        Lean that the hole allows: atan(clearance / engaged length).
    u_deg : float
        Standard uncertainty of the angle to spare: of axis (in one direction) and allowance together.
    """

    name: str
    tooth: int
    axis: Float
    allowance_deg: float
    u_deg: float


@dataclass(frozen=True, eq=False)
class Wall:
    """A prepared wall, a groove's wall, or a neighbour's facing surface.

    Attributes
    ----------
    name : str
        ``11 mesial wall``.
    tooth : int
        FDI two-digit (ISO 3950).
    normals : (k, 3) array
        Unit normals out of the tooth, smoothed over the scan's noise.
    height_mm : float
        Usable height from its foot to its top.
    taper_deg : float
        Least taper it must have to the draw.
    tolerance_deg : float
        How far below that taper still counts as free, for what is left of the scan's noise.
    u_deg : float
        Standard uncertainty of the wall's inclination, common to all its normals.
    """

    name: str
    tooth: int
    normals: Float
    height_mm: float
    taper_deg: float
    tolerance_deg: float
    u_deg: float


@dataclass(frozen=True, eq=False)
class Window:
    """The draws that serve all.

    Attributes
    ----------
    centre : (3,) array
        Best draw, the one with the most angle to spare.
    size_deg : float
        Angle to spare there in its worst direction; negative: what every surface that bounds it lacks.
    u_size_deg : float
        Standard uncertainty.
    short_deg : float
        How many degrees the window is short: what would have to be given if one surface gave all of it. Two
        surfaces between which no draw is left lack half of it each. 0 where there is a window.
    bounded_by : tuple of str
        The surfaces that bound the size, the one that matters most first.
    spare_deg : dict of str to float
        Angle to spare at the centre, for every surface.
    outline_deg : (k, 2) array
        Border as leans two ways from the centre; empty when there is no window.
    area_sr : float
        Solid angle of the window.
    arcs : tuple of (str, Arc)
        The border exactly: the surface that each arc belongs to.
    """

    centre: Float
    size_deg: float
    u_size_deg: float
    short_deg: float
    bounded_by: tuple[str, ...]
    spare_deg: dict[str, float]
    outline_deg: Float
    area_sr: float
    arcs: tuple[tuple[str, Arc], ...]


@dataclass(frozen=True, eq=False)
class Caps:
    """Cones and facets as caps on the sphere.

    Attributes
    ----------
    names : tuple of str
        Of the surfaces.
    owner : (n,) array of int
        Which surface each cap belongs to.
    centres : (n, 3) array
    radii : (n,) array
        rad; of a facet ``pi / 2`` less its taper.
    turns : (n,) array of bool
        True for a facet, which gives way by turning towards `up`; a cone gives way by getting wider.
    up : (3,) array
    """

    names: tuple[str, ...]
    owner: NDArray[np.intp]
    centres: Float
    radii: Float
    turns: NDArray[np.bool_]
    up: Float

    @cached_property
    def upwards(self) -> Float:
        """Unit vector across each centre, towards `up`, (n, 3)."""
        return upwards(self.centres, self.up)

    def given_way(self, by: float) -> tuple[Float, Float]:
        """Centres and radii after every surface has given way by an angle, rad."""
        turn = np.where(self.turns, np.minimum(by, angles_to(self.up, self.centres)), 0.0)
        radii = np.minimum(np.where(self.turns, self.radii, self.radii + by), math.pi / 2.0)
        return turned(self.centres, self.upwards, turn), radii

    def spare(self, draws: Float) -> Float:
        """Angle to spare of each cap for each draw, (..., n), rad; negative: by how much it must give way."""
        free = self.radii - angles_to(draws[..., None, :], self.centres)
        return np.asarray(np.where(self.turns & (free < 0.0), -self.wedge(draws), free))

    def wedge(self, draws: Float) -> Float:
        """Angle by which each facet must turn for each draw, (..., n), rad; negative: by how much it may."""
        along, upward = draws @ self.centres.T, draws @ self.upwards.T
        needed = np.minimum(np.cos(self.radii) / np.hypot(along, upward), 1.0)
        return np.asarray(np.arcsin(needed) - np.arctan2(along, upward))


def upwards(normals: Float, up: Float) -> Float:
    """Unit vectors across normals, towards `up`: the way a wall's normal turns when its top is cut back.

    Parameters
    ----------
    normals : (n, 3) array
    up : (3,) array

    Returns
    -------
    (n, 3) array
        For a normal along `up` itself, any.
    """
    across = up - (normals @ up)[:, None] * normals
    size = np.linalg.norm(across, axis=1, keepdims=True)
    return np.asarray(np.where(size > NO_WIDTH, across / np.maximum(size, NO_WIDTH), frame(up)[0]))


def turned(normals: Float, towards: Float, by: Float) -> Float:
    """Normals turned by angles (n,), rad, towards unit vectors across them."""
    return np.asarray(normals * np.cos(by)[:, None] + towards * np.sin(by)[:, None])


def window(cones: Sequence[Cone], walls: Sequence[Wall], up: Float) -> Window:
    """Find the draws that serve all pins, walls, grooves and neighbours.

    Parameters
    ----------
    cones : sequence of Cone
    walls : sequence of Wall
        Names are unique over both.
    up : (3,) array
        Unit vector off the teeth.

    Returns
    -------
    Window

    Raises
    ------
    SurveyError
        Without any surface, for a name given twice, or for a wall without normals.

    Examples
    --------
    Two upright walls that stand 8 and 4 degrees open leave twelve degrees, six to either side:

    >>> def facing(x, open_deg):
    ...     return np.array([[x * math.cos(math.radians(open_deg)), 0.0, math.sin(math.radians(open_deg))]])
    >>> walls = [Wall("mesial", 11, facing(1.0, 8.0), 4.0, 0.0, 0.0, 0.5),
    ...          Wall("distal", 11, facing(-1.0, 4.0), 4.0, 0.0, 0.0, 0.5)]
    >>> found = window([], walls, np.array([0.0, 0.0, 1.0]))
    >>> round(found.size_deg, 6), found.bounded_by, found.centre.round(4).tolist()
    (6.0, ('distal', 'mesial'), [-0.0349, 0.0, 0.9994])
    """
    _check(cones, walls)
    caps = caps_of(cones, walls, up)
    centre, size = best(caps)
    by_surface = _by_surface(caps, centre)
    open_ = size > NO_WIDTH
    arcs = border(caps.centres, caps.radii, centre.draw) if open_ else ()
    spare = np.full(len(caps.names), np.inf)
    np.minimum.at(spare, caps.owner, caps.spare(centre.draw))
    u = dict.fromkeys(caps.names, 0.0)
    u |= {cone.name: math.radians(cone.u_deg) for cone in cones}
    u |= {wall.name: math.radians(wall.u_deg) for wall in walls}
    return Window(
        centre=centre.draw,
        size_deg=math.degrees(size),
        u_size_deg=math.degrees(_u_size(caps, centre, max(-size, 0.0), u)),
        short_deg=math.degrees(-size) / max(by_surface.values()) if size < 0.0 else 0.0,
        bounded_by=tuple(sorted(by_surface, key=lambda name: (-round(by_surface[name], 6), name))),
        spare_deg=dict(zip(caps.names, np.degrees(spare).tolist(), strict=True)),
        outline_deg=leans_deg(centre.draw, points_along(arcs)) if open_ else np.zeros((0, 2)),
        area_sr=area_of(arcs),
        arcs=tuple((caps.names[caps.owner[arc.cap]], arc) for arc in arcs),
    )


def caps_of(cones: Sequence[Cone], walls: Sequence[Wall], up: Float) -> Caps:
    """Cones and facets as caps; with the lean considered as one more where there is no cone.

    Parameters
    ----------
    cones : sequence of Cone
    walls : sequence of Wall
    up : (3,) array

    Returns
    -------
    Caps
    """
    reach = [] if cones else [Cone(REACH, 0, up, REACH_DEG, 0.0)]
    names = [cone.name for cone in (*reach, *cones)] + [wall.name for wall in walls]
    centres = [cone.axis[None] for cone in (*reach, *cones)]
    radii = [np.radians([cone.allowance_deg]) for cone in (*reach, *cones)]
    for wall in walls:
        taper = math.radians(wall.taper_deg - wall.tolerance_deg)
        back = np.full(len(wall.normals), max(-taper, 0.0))
        centres.append(turned(wall.normals, upwards(wall.normals, up), back))
        radii.append(np.full(len(wall.normals), math.pi / 2.0 - max(taper, 0.0)))
    count = [len(r) for r in radii]
    owner = np.repeat(np.arange(len(names)), count)
    return Caps(
        tuple(names),
        owner,
        np.concatenate(centres),
        np.concatenate(radii),
        owner >= len(names) - len(walls),
        up,
    )


def _check(cones: Sequence[Cone], walls: Sequence[Wall]) -> None:
    names = [cone.name for cone in cones] + [wall.name for wall in walls]
    if not names:
        raise SurveyError(
            "there is neither a pin nor a wall to find a draw for", do="name the prepared teeth"
        )
    for name in names:
        if names.count(name) > 1:
            raise SurveyError("two surfaces have the same name", where=name, do="rename one of them")
    for wall in walls:
        if len(wall.normals) == 0:
            raise SurveyError(
                "this wall has no part of the scan", where=wall.name, do="point at a place on the wall itself"
            )


def best(caps: Caps) -> tuple[Centre, float]:
    """Find the best draw.

    Parameters
    ----------
    caps : Caps

    Returns
    -------
    Centre
        Among the caps as they are, or, where they leave no draw, as they have given way.
    float
        Angle to spare, rad; negative: what the surfaces lack.
    """
    cones = caps.centres[~caps.turns]
    start = cones.sum(axis=0)
    lacks = -float(caps.spare(start / np.linalg.norm(start)).min())
    while lacks > 0.0:
        centre = deepest(*caps.given_way(lacks + SLACKER))
        less = -float(caps.spare(centre.draw).min())
        if less > lacks - NO_WIDTH:
            return _middle_of_slot(caps, centre, lacks), -less if less > NO_WIDTH else 0.0
        lacks = less
    centre = deepest(caps.centres, caps.radii)
    if centre.spare < NO_WIDTH:
        return _middle_of_slot(caps, deepest(*caps.given_way(SLACKER)), 0.0), 0.0
    return centre, centre.spare


def _middle_of_slot(caps: Caps, centre: Centre, lacks: float) -> Centre:
    """Between two walls that face each other squarely a line of draws is left; of these the most free one."""
    bearing = [i for i, share in zip(centre.bearing, centre.share, strict=True) if share > BEARS_SHARE]
    squarely = caps.given_way(lacks)[0][bearing]
    others = np.setdiff1d(np.arange(len(caps.radii)), bearing)
    if len(bearing) != 2 or squarely[0] @ squarely[1] > -1.0 + NO_WIDTH or not len(others):
        return centre
    across = (squarely[0] - squarely[1]) / np.linalg.norm(squarely[0] - squarely[1])
    middle = upwards(across[None], caps.up)[0]
    along = np.cross(across, middle)

    def draw(lean: float) -> Float:
        return np.asarray(middle * math.cos(lean) + along * math.sin(lean))

    def tightness(lean: float) -> float:
        return SLACKER * lean * lean - float(caps.spare(draw(lean))[others].min())

    lean = minimize_scalar(tightness, bounds=(-STEEP, STEEP), method="bounded", options={"xatol": NO_WIDTH}).x
    return Centre(draw(float(lean)), centre.spare, centre.bearing, centre.share)


def _by_surface(caps: Caps, centre: Centre) -> dict[str, float]:
    """Share of each surface that bears on the best draw."""
    total: dict[str, float] = {}
    for i, share in zip(centre.bearing, centre.share, strict=True):
        if share > BEARS_SHARE:
            name = caps.names[caps.owner[i]]
            total[name] = total.get(name, 0.0) + share
    return total


def _u_size(caps: Caps, centre: Centre, by: float, u: dict[str, float]) -> float:
    """Standard uncertainty of the size, rad: root mean square change over sampled surfaces.

    To first order in the draw the size is the least of ``w . spare`` over all weights ``w`` that balance the
    slopes of two or three caps (the dual of the linear problem). The weights do not depend on the sample, so
    a surface that takes over is seen, at the cost of a product of matrices.
    """
    centres, radii = caps.given_way(by)
    spare = radii - angles_to(centre.draw, centres)
    across = centres - (centres @ centre.draw)[:, None] * centre.draw
    slopes = across / np.maximum(np.linalg.norm(across, axis=1, keepdims=True), NO_WIDTH)
    first = slopes[centre.bearing[0]]
    first = first if np.linalg.norm(first) > 0.5 else frame(centre.draw)[0]
    flat = slopes @ np.stack([first, np.cross(centre.draw, first)], axis=1)
    near = _near(spare, flat, caps.owner, 4.0 * max(u.values()))
    weights = _balanced(flat[near])
    names = sorted(u)
    shift = _normal(len(names)) * np.array([u[name] for name in names])
    place = np.array([names.index(name) for name in caps.names])
    least = np.min((spare[near] + shift[:, place[caps.owner[near]]]) @ weights.T, axis=1)
    return float(np.sqrt(np.mean((least - spare.min()) ** 2)))


def _near(spare: Float, flat: Float, owner: NDArray[np.intp], width: float) -> NDArray[np.intp]:
    """Caps of each surface that bind for some draw within about `width`, rad, of the best one."""
    turn = np.arange(0.0, 360.0, 30.0)
    ring = np.stack([np.cos(np.radians(turn)), np.sin(np.radians(turn))], axis=1)
    around = np.concatenate([np.zeros((1, 2)), 0.3 * width * ring, width * ring])
    found: set[int] = set()
    for surface in range(int(owner.max()) + 1):
        own = np.flatnonzero(owner == surface)
        left = spare[own] + around @ flat[own].T
        bound = left.min(axis=1)
        found.update(own[np.argmax(left <= bound[:, None] + NO_WIDTH, axis=1)].tolist())
    return np.array(sorted(found), dtype=np.intp)


def _balanced(flat: Float) -> Float:
    """Weights (m, n) of one, two or three caps whose slopes (n, 2) cancel."""
    n = len(flat)
    rows = [np.eye(n)[np.linalg.norm(flat, axis=1) < 0.5]]
    pairs = np.array(list(combinations(range(n), 2)), dtype=np.intp).reshape(-1, 2)
    rows.append(np.zeros((0, n)))
    opposed = pairs[np.linalg.norm(flat[pairs[:, 0]] + flat[pairs[:, 1]], axis=1) < 1e-6]
    two = np.zeros((len(opposed), n))
    np.put_along_axis(two, opposed, 0.5, axis=1)
    threes = np.array(list(combinations(range(n), 3)), dtype=np.intp).reshape(-1, 3)
    a, b, c = flat[threes[:, 0]], flat[threes[:, 1]], flat[threes[:, 2]]
    share = np.stack([_turn(b, c), _turn(c, a), _turn(a, b)], axis=1)
    total = share.sum(axis=1)
    sound = np.abs(total) > 1e-9
    share = share[sound] / total[sound, None]
    inside = np.all(share >= -1e-9, axis=1)
    three = np.zeros((int(inside.sum()), n))
    np.put_along_axis(three, threes[sound][inside], share[inside], axis=1)
    return np.concatenate([*rows, two, three])


def _turn(a: Float, b: Float) -> Float:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def _normal(count: int) -> Float:
    """Fixed normal samples (s, count), with mirror images, made to have exactly unit covariance."""
    half = np.random.Generator(np.random.Philox(21)).standard_normal((max(SAMPLES // 2, 2 * count), count))
    white = half @ np.linalg.inv(np.linalg.cholesky(half.T @ half / len(half))).T
    return np.concatenate([white, -white])
