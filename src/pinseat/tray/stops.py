"""Stops: where the tray rests on the teeth, so that it goes on once and sits still."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, maximum_filter

from pinseat.mesh.model import Mesh
from pinseat.tray.cast import Cast, surface_points
from pinseat.tray.pocket import Pocket

Float = NDArray[np.float64]

ON_SCAN_MM = 1.0
"""A picked stop may lie this far off the scan."""
_NEIGHBOUR_MM = 2.0
_CALM_MM = 0.35
_MOST_CANDIDATES = 60
_AROUND_MM, _CROWN_MM = 6.0, 3.0
_SECTOR_DEG = 10
_ONE_TOOTH_MM, _OTHER_SIDE_MM = 7.0, 2.0
_INSIDE_MM = 1.5
_CREST_MM = 8.0
_CREST_SPACING_MM, _AROUND_CREST_MM, _UNDER_CREST_MM = 1.5, 3.0, 0.6
_FINE_MM = 0.04
_APART_MM, _WELL_INSIDE_MM = 6.0, 3.0


@dataclass(frozen=True, eq=False)
class Prepared:
    """Where the prepared teeth stand, in the frame of the tray.

    Attributes
    ----------
    teeth : tuple of int
    places : (k, 3) array, mm
        Middle of each.
    reach_mm : (k,) array
        How far each reaches from there, seen along the draw.
    whole : int
        The first so many are whole teeth; the others are places picked on them.
    """

    teeth: tuple[int, ...]
    places: Float
    reach_mm: Float
    whole: int

    @property
    def middle(self) -> Float:
        """Centre of the whole teeth; (2,)."""
        return np.asarray(self.places[: self.whole, :2].mean(axis=0))

    def tooth_at(self, xy: Float) -> int | None:
        """The prepared tooth that a place lies on, seen along the draw."""
        over = self.reach_mm - np.linalg.norm(self.places[:, :2] - xy, axis=1)
        return self.teeth[int(np.argmax(over))] if over.max() > 0.0 else None


@dataclass(frozen=True, eq=False)
class Stop:
    """A dome on the inside of the tray that rests on the cast.

    Attributes
    ----------
    at : (3,) array, mm
        Where it touches.
    centre : (3,) array, mm
        Of the dome.
    kind : str
        ``cusp``, ``ridge`` or ``picked``.
    """

    at: Float
    centre: Float
    kind: str


@dataclass(frozen=True, eq=False)
class Site:
    """Where a stop could stand, seen along the draw.

    Attributes
    ----------
    xy : (2,) array, mm
    kind : str
        ``cusp`` or ``ridge``.
    """

    xy: Float
    kind: str


@dataclass(frozen=True)
class Steadiness:
    """How well a set of stops holds the tray.

    Attributes
    ----------
    pull_mm : float
        From the pull line to the nearest side of the support triangle or polygon, inside positive.
    prepared_mm : float
        The same for the centre of the prepared teeth.
    """

    pull_mm: float
    prepared_mm: float

    @property
    def least_mm(self) -> float:
        """The smaller of the two."""
        return min(self.pull_mm, self.prepared_mm)


def steadiness(places: Float, pull: Float, prepared: Float) -> Steadiness:
    """How far pull line and prepared teeth lie inside the support polygon of some stops.

    Parameters
    ----------
    places : (n, 2) array, mm
        Seen along the draw; at least three.
    pull, prepared : (2,) array, mm

    Returns
    -------
    Steadiness

    Examples
    --------
    >>> corners = np.array([[0.0, 0.0], [30.0, 0.0], [0.0, 30.0]])
    >>> steadiness(corners, np.array([5.0, 5.0]), np.array([-2.0, 5.0]))
    Steadiness(pull_mm=5.0, prepared_mm=-2.0)
    """
    return Steadiness(_inside(places, pull), _inside(places, prepared))


def _inside(places: Float, point: Float) -> float:
    """Distance from a point to the border of the convex hull, inside positive."""
    hull = _hull(places)
    if len(hull) < 3:
        return -float(np.linalg.norm(places - point, axis=1).min())
    ends = np.roll(hull, -1, axis=0)
    way = ends - hull
    length = np.linalg.norm(way, axis=1)
    side = (way[:, 0] * (point[1] - hull[:, 1]) - way[:, 1] * (point[0] - hull[:, 0])) / length
    if (side >= 0.0).all():
        return float(side.min())
    share = np.clip(np.einsum("ij,ij->i", point - hull, way) / length**2, 0.0, 1.0)
    return -float(np.linalg.norm(hull + share[:, None] * way - point, axis=1).min())


def _hull(places: Float) -> Float:
    """Corners of the convex hull, counter-clockwise (Andrew's monotone chain)."""
    order = sorted(map(tuple, np.round(places, 9).tolist()))

    def half(points: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
        kept: list[tuple[float, ...]] = []
        for p in points:
            while len(kept) > 1:
                (ax, ay), (bx, by) = kept[-2], kept[-1]
                if (bx - ax) * (p[1] - ay) - (by - ay) * (p[0] - ax) > 1e-9:
                    break
                kept.pop()
            kept.append(p)
        return kept[:-1]

    return np.array(half(order) + half(order[::-1]))


def candidates(
    cast: Cast, prepared: Prepared, pockets: Sequence[Pocket], clear_mm: float, upper: bool, dome_mm: float
) -> list[Site]:
    """Places where a stop could rest: cusps that do not bear the bite, and crests.

    Highest places of the calmed surface within 2 mm, clear of the prepared teeth and of the room that pins
    need. Upper teeth bear on their inner cusps, lower ones on their outer (common practice, no source): of
    the cusps of one tooth only those on the other side count. The crest of a toothless ridge counts too.

    Parameters
    ----------
    cast : Cast
    prepared : Prepared
    pockets : sequence of Pocket
    clear_mm : float
        What a stop's edge keeps from a pin.
    upper : bool
        Whether this is an upper arch.
    dome_mm : float
        Radius of the stop.
    """
    top = cast.top
    known = ~np.isnan(top.height)
    high = np.nan_to_num(top.height, nan=float(np.nanmin(top.height)))
    calm = gaussian_filter(high, _CALM_MM / top.pixel_mm)
    size = 2 * round(_NEIGHBOUR_MM / top.pixel_mm) + 1
    peak = known & (calm == maximum_filter(calm, size=size))
    rows, columns = np.nonzero(peak | _crests(calm, known, top.pixel_mm))
    places = top.to_world(rows, columns)
    inner = _inward(cast, places)
    sites = []
    for place, lean in sorted(zip(places, inner, strict=True), key=lambda pair: -float(pair[0][2])):
        if not _allowed(cast, place[:2], prepared, pockets, clear_mm + dome_mm):
            continue
        if not _outranked(place, lean, places, inner, upper):
            sites.append(Site(place[:2], "cusp"))
    return [*sites[:_MOST_CANDIDATES], *_ridges(cast, prepared, pockets, clear_mm + dome_mm)]


def _crests(calm: Float, known: NDArray[np.bool_], pixel_mm: float) -> NDArray[np.bool_]:
    """Places along edges and crests: the highest of each 1.5 mm, where little stands higher around."""
    size = 2 * round(_CREST_SPACING_MM / pixel_mm / 2.0) + 1
    near = maximum_filter(calm, size=2 * round(_AROUND_CREST_MM / pixel_mm) + 1)
    return np.asarray(known & (calm == maximum_filter(calm, size=size)) & (calm > near - _UNDER_CREST_MM))


def _inward(cast: Cast, places: Float) -> Float:
    """How far inside the middle line of the crowns each place lies, mm.

    The middle line is given in polar coordinates about the circle that fits the crowns best: for each
    direction the mean distance of what stands within 3 mm of the highest place around.
    """
    top = cast.top
    high = np.nan_to_num(top.height, nan=-np.inf)
    crown = high > maximum_filter(high, size=2 * round(_AROUND_MM / top.pixel_mm) + 1) - _CROWN_MM
    xy = top.to_world(*np.nonzero(crown))[:, :2]
    terms = np.column_stack((2.0 * xy, np.ones(len(xy))))
    middle = np.linalg.lstsq(terms, (xy**2).sum(axis=1), rcond=None)[0][:2]
    turn, far = _polar(xy - middle)
    bins = np.arange(-180, 181, _SECTOR_DEG)
    which = np.digitize(turn, bins)
    total, number = np.bincount(which, far, len(bins) + 1), np.bincount(which, minlength=len(bins) + 1)
    seen = np.flatnonzero(number)
    centre = 0.5 * (bins[seen - 1] + bins[np.minimum(seen, len(bins) - 1)])
    at, out = _polar(places[:, :2] - middle)
    return np.asarray(np.interp(at, centre, total[seen] / number[seen], period=360.0) - out)


def _polar(xy: Float) -> tuple[Float, Float]:
    return np.degrees(np.arctan2(xy[:, 1], xy[:, 0])), np.linalg.norm(xy, axis=1)


def _outranked(place: Float, lean: float, places: Float, inner: Float, upper: bool) -> bool:
    """Whether a cusp bears the bite: one beside it lies farther out (upper) or farther in (lower)."""
    beside = np.linalg.norm(places[:, :2] - place[:2], axis=1) < _ONE_TOOTH_MM
    further = (inner < lean - _OTHER_SIDE_MM) if upper else (inner > lean + _OTHER_SIDE_MM)
    return bool((beside & further).any())


def _allowed(cast: Cast, xy: Float, prepared: Prepared, pockets: Sequence[Pocket], clear_mm: float) -> bool:
    """Whether a stop may stand here: on no prepared tooth, outside every pin's room, inside the scan."""
    if prepared.tooth_at(xy) is not None or any(_gap(pocket, xy) < clear_mm for pocket in pockets):
        return False
    return not len(cast.rim) or bool(np.linalg.norm(cast.rim[:, :2] - xy, axis=1).min() > _INSIDE_MM)


def _gap(pocket: Pocket, xy: Float) -> float:
    """From what a pin can reach to a place, seen along the draw, mm."""
    return float(pocket.beside(xy)[0])


def _ridges(cast: Cast, prepared: Prepared, pockets: Sequence[Pocket], clear_mm: float) -> list[Site]:
    """Crest of the ridge between prepared teeth that stand apart, where it is farthest from the pins."""
    found = []
    for a, b in combinations(range(prepared.whole), 2):
        start, way = prepared.places[a, :2], prepared.places[b, :2] - prepared.places[a, :2]
        gap = float(np.linalg.norm(way))
        across = np.array([-way[1], way[0]]) / max(gap, 1e-9)
        crests = [
            crest
            for share in np.linspace(0.3, 0.7, 9)
            if (crest := _crest(cast, start + share * way, across)) is not None
            and _allowed(cast, crest, prepared, pockets, clear_mm)
        ]
        if crests:
            free = [min((_gap(pocket, crest) for pocket in pockets), default=0.0) for crest in crests]
            found.append(Site(crests[int(np.argmax(free))], "ridge"))
    return found


def _crest(cast: Cast, middle: Float, across: Float) -> Float | None:
    """Highest place on a line across the arch, if it is a place with lower ones on both sides."""
    line = middle + np.linspace(-_CREST_MM, _CREST_MM, 65)[:, None] * across
    at = np.rint(cast.top.to_pixel(np.column_stack((line, np.zeros(len(line)))))[:, :2]).astype(int)
    inside = ((at >= 0) & (at < cast.top.height.shape)).all(axis=1)
    height = np.full(len(line), -np.inf)
    height[inside] = np.nan_to_num(cast.top.height[at[inside, 0], at[inside, 1]], nan=-np.inf)
    best = int(np.argmax(height))
    return line[best] if np.isfinite(height[best]) and 0 < best < len(line) - 1 else None


def drop(cast: Cast, xy: Float, dome_mm: float, kind: str) -> Stop:
    """Let a ball of the dome's size down along the draw until it touches the cast.

    Its centre comes to rest at ``max(q_z + sqrt(r² - d²))`` over all points q within its reach, d their
    distance from its plumb line; the points are close enough that this is short by less than a micrometre.
    """
    reach = dome_mm + 1.0
    beside = np.asarray((np.abs(cast.mesh.vertices[:, :2] - xy) < reach).all(axis=1))
    near = Mesh(cast.mesh.vertices, cast.mesh.faces[beside[cast.mesh.faces].any(axis=1)])
    points = surface_points(near, _FINE_MM)
    far = np.linalg.norm(points[:, :2] - xy, axis=1)
    points, far = points[far < dome_mm], far[far < dome_mm]
    if not len(points):
        return Stop(np.array([*xy, np.nan]), np.array([*xy, np.nan]), kind)
    rest = points[:, 2] + np.sqrt(dome_mm**2 - far**2)
    first = int(np.argmax(rest))
    return Stop(points[first], np.array([*xy, rest[first]]), kind)


def propose(found: Sequence[Site], pull: Float, prepared: Float) -> tuple[Site, ...]:
    """The three stops that hold the tray steadiest.

    The pull line and the centre of the prepared teeth shall lie as far inside the support triangle as can be,
    up to 3 mm; a ridge counts 0.5 mm less than a cusp, since gum gives. Of triangles as good, the larger one.

    Parameters
    ----------
    found : sequence of Site
    pull, prepared : (2,) array, mm
        Seen along the draw.

    Returns
    -------
    tuple of Site
        Three; fewer when there are fewer to choose from, or no three stand 6 mm from each other: on one spot
        they hold nothing, and the rounds at their feet would press into the tooth.
    """
    if len(found) < 3:
        return tuple(found)
    places = np.array([site.xy for site in found])
    three = np.array(list(combinations(range(len(found)), 3)))
    corner = places[three]
    ends = np.roll(corner, -1, axis=1)
    way = ends - corner
    sides = np.linalg.norm(way, axis=2)
    turn = np.sign(way[:, 0, 0] * way[:, 1, 1] - way[:, 0, 1] * way[:, 1, 0])[:, None]
    held = np.full(len(three), np.inf)
    for point in (pull, prepared):
        off = point - corner
        side = turn * (way[:, :, 0] * off[:, :, 1] - way[:, :, 1] * off[:, :, 0]) / np.maximum(sides, 1e-9)
        held = np.minimum(held, side.min(axis=1))
    soft = np.array([site.kind == "ridge" for site in found])[three].sum(axis=1)
    score = np.minimum(held, _WELL_INSIDE_MM) - 0.5 * soft + 1e-3 * sides.sum(axis=1)
    score[sides.min(axis=1) < _APART_MM] = -np.inf
    best = three[int(np.argmax(score))]
    if not np.isfinite(score.max()):
        apart = np.linalg.norm(places[:, None] - places, axis=2)
        best = np.unique(np.unravel_index(int(np.argmax(apart)), apart.shape))
    return tuple(found[i] for i in best)
