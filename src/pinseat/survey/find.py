"""From something that stands up to a pin: follow its wall, fit it, judge it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.pins import frame
from pinseat.reference import value
from pinseat.survey.candidates import Candidate, candidates
from pinseat.survey.cylinder import FEWEST, Cylinder, across, fit_cylinder, hang_together
from pinseat.survey.ends import BLEND_MM, REACH_MM, Foot, fit_foot, free_end
from pinseat.survey.model import Rejected
from pinseat.survey.surface import Surface

Float = NDArray[np.float64]

RIM_MM = 0.08
"""Below the free end the scan rounds the rim: no wall is taken there, nor within half an edge of it."""
STEEP = 0.75
"""Wall: the surface normal makes an angle with the axis whose cosine is below this."""
UNLIKE = ("a cusp or edge: wider than", "lies over: its sides lean")
"""How refusals begin that were never much like a pin."""
ASLANT = np.radians(35.0)
"""How far further views lean off the first."""
AROUND = 12
"""Cells round the wall in which points are looked for."""


@dataclass(frozen=True)
class Expected:
    """What the case says of the pins in the scan; ranges when it says little.

    Attributes
    ----------
    diameter_mm, protrusion_mm : (float, float)
        Least and most that is taken for a pin.
    """

    diameter_mm: tuple[float, float]
    protrusion_mm: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Standing:
    """A pin as it was seen, before it has a tooth.

    Attributes
    ----------
    foot, axis : (3,) arrays
        Foot in mm; the axis points out of the hole.
    diameter_mm, protrusion_mm : float
    covariance : (4, 4) array
        Foot across (u, v in mm) and tilt (u, v in rad) in the frame of the axis.
    u_foot_depth_mm, u_diameter_mm, u_protrusion_mm : float
    residual_mm, coverage, edge_mm : float
        See :class:`pinseat.survey.model.PinFit`.
    points : int
    stated : bool
        A person added or moved it.
    wall : Cylinder or None
        The fit itself; None when it was taken as stated.
    """

    foot: Float
    axis: Float
    diameter_mm: float
    protrusion_mm: float
    covariance: Float
    u_foot_depth_mm: float
    u_diameter_mm: float
    u_protrusion_mm: float
    residual_mm: float
    coverage: float
    edge_mm: float
    points: int
    stated: bool = False
    wall: Cylinder | None = None


@dataclass(frozen=True, eq=False)
class Start:
    """A rough pin: where to begin."""

    tip: Float
    axis: Float
    radius_mm: float
    length_mm: float


def find_pins(
    surface: Surface, expected: Expected, wanted: int | None = None
) -> tuple[list[Standing], list[Rejected]]:
    """Find every pin that stands in the scan.

    The scan is looked at from where it faces; when that does not show as many pins as wanted (the rim of a
    small scan may tilt its face), from aslant all round as well. A pin closer to the edge of the scan than
    two of its diameters may be missed: what is around it must be seen.

    Parameters
    ----------
    surface : Surface
    expected : Expected
    wanted : int, optional
        How many pins the case states.

    Returns
    -------
    pins : list of Standing
        In no particular order.
    rejected : list of Rejected
        One for each place that stood up but holds no pin, those most like a pin first; the ragged rim of the
        scan is passed over.
    """
    found, refused = _look(surface, surface.facing, expected, [])
    if wanted is not None and len(found) != wanted:
        for turn in np.arange(6) * (np.pi / 3.0):
            aside = np.array([np.cos(turn), np.sin(turn)]) @ frame(surface.facing)
            view = np.cos(ASLANT) * surface.facing + np.sin(ASLANT) * aside
            found, more = _look(surface, view, expected, found)
            refused += [
                one for one in more if all(np.linalg.norm(one.place - r.place) > 1.5 for r in refused)
            ]
    left = [one for one in refused if not any(_inside(one.place, pin) for pin in found)]
    return with_scanner(found), sorted(left, key=lambda one: one.reason.startswith(UNLIKE))


def _look(
    surface: Surface, view: Float, expected: Expected, before: Sequence[Standing]
) -> tuple[list[Standing], list[Rejected]]:
    """Pins seen from one view, added to those found before, and what was refused."""
    found = list(before)
    refused: dict[int, Rejected] = {}
    taken: set[int] = set()
    lowest = 0.8 * expected.protrusion_mm[0]
    for place in candidates(surface.without_crumbs, view, 2.2 * expected.diameter_mm[1], lowest):
        if any(_inside(place.top, pin) for pin in found):
            taken.add(place.group)
            continue
        seen = trace(surface, place, expected)
        if isinstance(seen, str):
            if not place.at_rim:
                refused.setdefault(place.group, Rejected(place.top, seen))
        elif not any(np.linalg.norm(seen.foot - pin.foot) < seen.diameter_mm for pin in found):
            found.append(seen)
            taken.add(place.group)
    return found, [one for group, one in refused.items() if group not in taken]


def _inside(place: Float, pin: Standing) -> bool:
    along, rho, _ = across(place[None], pin.foot, pin.axis)
    return bool(rho[0] < pin.diameter_mm and -0.5 < along[0] < pin.protrusion_mm + 0.5)


def trace(surface: Surface, place: Candidate, expected: Expected) -> Standing | str:
    """Follow the wall down from the top of a candidate and fit it.

    Returns
    -------
    Standing, or str
        Why it is not a pin, with the number that decided.
    """
    start = _rough(surface, place, expected)
    return start if isinstance(start, str) else refine(surface, start, expected)


def _rough(surface: Surface, place: Candidate, expected: Expected) -> Start | str:
    """Axis, radius and tip from the normals of the wall: they all lie across the axis and meet in it.

    First of the top alone, where nothing else is near; then narrower and farther down.
    """
    view, rise, widest = place.view, place.rise_mm, expected.diameter_mm[1]
    near = surface.within(place.top - 0.5 * rise * view, 0.75 * rise + widest)
    points, normals = surface.mesh.vertices[near], surface.normals[near]
    axis, centre, radius = view, place.top, 0.5 * widest
    for window, depth in ((1.0, 0.4), (0.85, 0.4), (0.75, 0.6), (0.7, 0.8), (0.7, 0.9), (0.7, 0.9)):
        along, rho, _ = across(points, centre, axis)
        side = (along > -depth * rise) & (along < 0.1) & (np.abs(normals @ axis) < 0.7)
        wall = side & (rho < window * widest)
        if wall.sum() < FEWEST:
            if (side & (rho < 2.0 * widest)).sum() >= FEWEST:
                return f"{UNLIKE[0]} the {widest:.2f} mm of the thickest pin"
            return _too_few(int(wall.sum()))
        _, directions = np.linalg.eigh(normals[wall].T @ normals[wall])
        axis = directions[:, 0] * (1.0 if directions[:, 0] @ view >= 0.0 else -1.0)
        centre, radius = _meeting(points[wall], normals[wall], axis, place.top)
    if axis @ view < 0.7:
        return f"{UNLIKE[1]} {np.degrees(np.arccos(axis @ view)):.0f} deg, 45 deg is the most"
    return Start(centre, axis, radius, rise)


def _too_few(points: int) -> str:
    return f"a speck or spike: only {points} points on its sides, {FEWEST} are needed"


def _meeting(points: Float, normals: Float, axis: Float, top: Float) -> tuple[Float, float]:
    """The line along `axis` nearest to all normals, at the height of `top`, and the median distance to it."""
    f = frame(axis)
    p, n = (points - top) @ f.T, normals @ f.T
    n = n / np.maximum(np.linalg.norm(n, axis=1, keepdims=True), 1e-9)
    off = np.eye(2)[None] - n[:, :, None] * n[:, None, :]
    middle = np.linalg.lstsq(off.sum(axis=0), np.einsum("kij,kj->i", off, p), rcond=None)[0]
    middle = np.clip(middle, p.min(axis=0), p.max(axis=0))
    return top + middle @ f, float(np.median(np.linalg.norm(p - middle, axis=1)))


def refine(surface: Surface, start: Start, expected: Expected, *, stated: bool = False) -> Standing | str:
    """Fit wall, foot and free end in turn until they agree.

    Parameters
    ----------
    surface : Surface
    start : Start
    expected : Expected
        Gates that the outcome must pass.
    stated : bool
        A person says that it is a pin: only what cannot be fitted at all is refused.

    Returns
    -------
    Standing or str
    """
    reach = start.length_mm + 1.5
    near = surface.within(start.tip - 0.5 * start.length_mm * start.axis, 0.5 * reach + 1.2)
    points, normals = surface.mesh.vertices[near], surface.normals[near]
    edge = surface.edge_mm(near)
    fit = Cylinder(start.tip, start.axis, start.radius_mm, 0.05, points[:0], np.zeros(0), np.zeros((0, 5)))
    foot, end = Foot(np.array([-start.length_mm, 0.0, 0.0]), 0.1), (0.0, 0.1)
    band = 0.35 * start.radius_mm
    for _ in range(12):
        wall = _wall(points, normals, fit, foot, end[0], edge, band)
        if wall.sum() < FEWEST:
            return _too_few(int(wall.sum()))
        new = fit_cylinder(points[wall], fit.point, fit.axis, fit.radius_mm)
        if new is None or not 0.1 < 2.0 * new.radius_mm < 4.0:
            return "its sides are no cylinder: the fit does not settle"
        ends = _ends(points, normals, new, edge)
        if isinstance(ends, str):
            return ends
        moved = np.linalg.norm(new.axis - fit.axis) + abs(new.radius_mm - fit.radius_mm)
        settled = moved < 1e-9 and len(new.points) == len(fit.points)
        fit, (foot, end) = new, ends
        band = max(min(band, 8.0 * fit.scatter_mm), 0.02)
        if settled:
            break
    pin = _standing(fit, foot, end, edge, stated)
    refused = "" if stated else _refuse(pin, expected)
    return refused or pin


def _wall(
    points: Float, normals: Float, fit: Cylinder, foot: Foot, end_mm: float, edge: float, band: float
) -> NDArray[np.bool_]:
    """Points on the wall, away from the rounded corners at both ends."""
    along, rho, out = across(points, fit.point, fit.axis)
    x, y = frame(fit.axis) @ out.T
    ground = foot.under(x, y)
    outward = np.einsum("ij,ij->i", normals, out) > 0.0
    return np.asarray(
        (np.abs(rho - fit.radius_mm) < band)
        & (along > ground + BLEND_MM + 0.25 * edge)
        & (along < end_mm - max(RIM_MM, 0.5 * edge))
        & (np.abs(normals @ fit.axis) < STEEP)
        & outward
    )


def _ends(
    points: Float, normals: Float, fit: Cylinder, edge: float
) -> tuple[Foot, tuple[float, float]] | str:
    along, rho, out = across(points, fit.point, fit.axis)
    up = normals @ fit.axis
    cap = (rho < fit.radius_mm) & (up > 0.7) & (along > 0.0)
    end = free_end(along[cap], rho[cap], fit.radius_mm)
    if end is None:
        wall_top = along[np.abs(rho - fit.radius_mm) < 4.0 * max(fit.scatter_mm, 0.005)]
        if len(wall_top) == 0:
            return "its free end was not scanned"
        end = float(wall_top.max()), max(edge, 0.05)
    around = (rho > fit.radius_mm + BLEND_MM) & (rho < fit.radius_mm + max(REACH_MM, 2.0 * edge)) & (up > 0.2)
    around &= along < end[0] - 0.3
    x, y = frame(fit.axis) @ out[around].T
    foot = fit_foot(x, y, along[around], fit.radius_mm, fit.scatter_mm)
    return (foot, end) if foot is not None else "the tooth around it was not scanned"


def _standing(fit: Cylinder, foot: Foot, end: tuple[float, float], edge: float, stated: bool) -> Standing:
    t = foot.height_mm
    pin = Standing(
        foot=fit.point + t * fit.axis,
        axis=fit.axis,
        diameter_mm=2.0 * fit.radius_mm,
        protrusion_mm=end[0] - t,
        covariance=np.zeros((4, 4)),
        u_foot_depth_mm=foot.u_mm,
        u_diameter_mm=0.0,
        u_protrusion_mm=float(np.hypot(foot.u_mm, end[1])),
        residual_mm=fit.scatter_mm,
        coverage=_coverage(fit, foot, end[0], edge),
        edge_mm=edge,
        points=len(fit.points),
        stated=stated,
        wall=fit,
    )
    return _with_covariance(pin, 0.0, 0.0)


def _with_covariance(pin: Standing, correlation_mm: float, share: float) -> Standing:
    if pin.wall is None:
        return pin
    whole = pin.wall.covariance(correlation_mm, share)
    t = float((pin.foot - pin.wall.point) @ pin.axis)
    carry = np.eye(4, 5)
    carry[0, 2] = carry[1, 3] = t
    return replace(pin, covariance=carry @ whole @ carry.T, u_diameter_mm=2.0 * float(np.sqrt(whole[4, 4])))


def with_scanner(pins: Sequence[Standing]) -> list[Standing]:
    """Give each pin its covariance once all residuals of the scan can be pooled."""
    correlation_mm, share = hang_together([pin.wall for pin in pins if pin.wall is not None])
    return [_with_covariance(pin, correlation_mm, share) for pin in pins]


def _coverage(fit: Cylinder, foot: Foot, end_mm: float, edge: float) -> float:
    """Share of cells round and along the wall that hold points."""
    bottom = foot.height_mm + BLEND_MM + 0.25 * edge
    length = end_mm - max(RIM_MM, 0.5 * edge) - bottom
    along, _, out = across(fit.points, fit.point, fit.axis)
    x, y = frame(fit.axis) @ out.T
    rows = max(int(length / max(0.4, 2.5 * edge)), 1)
    row = np.clip(((along - bottom) / length * rows).astype(int), 0, rows - 1)
    column = ((np.arctan2(y, x) / (2.0 * np.pi) + 0.5) * AROUND).astype(int) % AROUND
    return len(np.unique(row * AROUND + column)) / (rows * AROUND)


def _refuse(pin: Standing, expected: Expected) -> str:
    """Why this is not a pin; empty when it is."""
    low, high = expected.diameter_mm
    if not low <= pin.diameter_mm <= high:
        return _not_the_diameter(pin.diameter_mm, expected)
    least, most = expected.protrusion_mm
    if not least <= pin.protrusion_mm <= most:
        kind = "too low" if pin.protrusion_mm < least else "too tall"
        return f"{kind}: it stands {pin.protrusion_mm:.2f} mm out, {least:.2f} to {most:.2f} mm is wanted"
    worst = value("survey.pin_residual_um").value
    if 1e3 * pin.residual_mm > worst:
        off = 1e3 * pin.residual_mm
        return f"not round: its sides are {off:.0f} um off a cylinder, {worst:.0f} um is the most"
    fewest = value("survey.least_wall_coverage_share").value
    if pin.coverage < fewest:
        return f"{100 * pin.coverage:.0f} % of its wall is there, {100 * fewest:.0f} % is needed"
    return ""


def _not_the_diameter(found_mm: float, expected: Expected) -> str:
    low, high = expected.diameter_mm
    kind = "a cusp or edge, too thick" if found_mm > high else "too thin"
    return f"{kind}: {found_mm:.2f} mm across, {low:.2f} to {high:.2f} mm is wanted"
