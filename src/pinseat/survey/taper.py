"""Taper and convergence of walls, their usable height, length and direction of grooves."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pinseat.errors import SurveyError
from pinseat.ledger.cautions import dentine_caution
from pinseat.ledger.pins import frame
from pinseat.reference import value
from pinseat.survey.columns import COLUMN_MM, round_columns, straight_columns
from pinseat.survey.measure import Measure, source
from pinseat.survey.regions import Region
from pinseat.survey.terrain import Terrain

Float = NDArray[np.float64]
Index = NDArray[np.int64]

SLAB_MM = 0.5
"""Convergence in a plane is read from the walls within this on either side of it."""
UNDERCUT_DEG = -2.0
"""A place of a wall counts as undercut from here: normals averaged over three rings stray by about 1 deg."""
_AXIS_ROUNDS = 4
_MOSTLY = 0.8
"""Undercut part of a wall from which it has no usable height."""
_OPPOSED = -0.5
_ALL_ROUND = 0.5
"""Mean of the outward directions of a wall below which it goes round the tooth (half a turn: 0.64)."""


@dataclass(frozen=True)
class WallTaper:
    """How a wall leans to the draw.

    Attributes
    ----------
    mean : Measure
        Area-weighted taper, deg: positive where the wall narrows towards the free end, negative where it is
        undercut.
    spread_deg : float
        Area-weighted standard deviation over the wall; a flat wall shows about 1 deg at 10 um noise.
    undercut_share : float
        Part of the wall, 0 to 1, that is undercut by more than 2 deg.
    """

    mean: Measure
    spread_deg: float
    undercut_share: float


@dataclass(frozen=True)
class WallHeight:
    """Height of a wall along the draw.

    Attributes
    ----------
    median : Measure
        Over columns 0.5 mm wide, mm; undercut parts do not count.
    least_mm, largest_mm : float
        Lowest and highest column.
    """

    median: Measure
    least_mm: float
    largest_mm: float


@dataclass(frozen=True, eq=False)
class GrooveFit:
    """Length and direction of a groove.

    Attributes
    ----------
    length : Measure
        Along its axis, mm: median over the middle half of its width.
    axis : (3,) array
        Unit vector, off the teeth.
    u_axis_deg : (float, float)
        Standard uncertainty of the axis about the two directions of :func:`pinseat.ledger.pins.frame`, lean
        along `u` and along `v`.
    lean : Measure
        Angle between axis and draw, deg.
    """

    length: Measure
    axis: Float
    u_axis_deg: tuple[float, float]
    lean: Measure


def wall_taper(terrain: Terrain, wall: Region, draw: ArrayLike) -> WallTaper:
    """Taper of a wall against a draw.

    The mean is *asin(sum A n.d / sum A)*: the flux of the draw through the wall depends on the wall's rim
    alone, so the noise of the points inside cancels.

    Parameters
    ----------
    terrain : Terrain
    wall : Region
    draw : (3,) array
        Off the teeth; any length but zero.

    Returns
    -------
    WallTaper
        The limit is 0 deg: a wall that leans more than that to the other side holds the bridge back. The
        uncertainty holds the noise on the rim and what leaving out the outermost triangles changes; not the
        warp of the scan.

    Raises
    ------
    SurveyError
        If there is a doubt about the region.
    """
    d = _unit(draw)
    core = _core(wall)

    def mean(faces: Index) -> float:
        flux = float((terrain.face_vectors[faces] @ d).sum() / terrain.face_area[faces].sum())
        return float(np.degrees(np.arcsin(np.clip(flux, -1.0, 1.0))))

    area = terrain.face_area[core]
    lean = np.degrees(np.arcsin(np.clip(terrain.face_normals[core] @ d, -1.0, 1.0)))
    taper = mean(core)
    u_noise = np.degrees(u_flux(terrain, core, d) / area.sum()) / max(np.cos(np.radians(taper)), 0.1)
    u = float(np.hypot(u_noise, _rim_change(terrain, core, mean)))
    middle = float(np.average(lean, weights=area))
    return WallTaper(
        Measure(
            code="survey.taper",
            where=wall.name,
            says="mean taper of the wall against the draw",
            value=taper,
            u=u,
            unit="deg",
            limit=0.0,
            limit_source="a wall that leans against the draw holds the bridge back (geometry)",
        ),
        float(np.sqrt(np.average((lean - middle) ** 2, weights=area))),
        float(area[lean < UNDERCUT_DEG].sum() / area.sum()),
    )


def convergence(
    terrain: Terrain,
    walls: Sequence[Region],
    draw: ArrayLike,
    *,
    across: ArrayLike | None = None,
    through: ArrayLike | None = None,
) -> Measure:
    """Convergence of opposing walls in one plane: their two tapers together.

    Parameters
    ----------
    terrain : Terrain
    walls : sequence of Region
        Two walls that face away from each other, or one that goes round the tooth.
    draw : (3,) array
        Off the teeth; lies in the plane.
    across : (3,) array, optional
        The other direction of the plane; from one wall to the other when left out. One wall needs it.
    through : (3,) array, optional
        A point of the plane, mm; midway between the walls when left out.

    Returns
    -------
    Measure
        Degrees. Read from what lies within 0.5 mm of the plane, so a round wall of radius *R* shows
        *0.04 mm2 / R2* of the angle too much.

    Raises
    ------
    SurveyError
        If one side of the plane shows no wall: the walls do not oppose each other; or with a doubt about a
        region.
    """
    d = _unit(draw)
    cores = [_core(wall) for wall in walls]
    faces = np.unique(np.concatenate(cores))
    name = " and ".join(dict.fromkeys(wall.name for wall in walls))
    e = _level(across, d) if across is not None else _between(terrain, cores, d, name)
    ends = [np.average(terrain.middles[core], axis=0, weights=terrain.face_area[core]) for core in cores]
    place = np.mean(ends, axis=0) if through is None else np.asarray(through, float)
    slab = faces[np.abs((terrain.middles[faces] - place) @ np.cross(d, e)) < SLAB_MM]
    total, variance = 0.0, 0.0
    for way in (e, -e):
        side = slab[terrain.face_normals[slab] @ way > 0.0]
        if terrain.face_area[side].sum() < 0.2:
            raise SurveyError(
                "these walls do not oppose each other in this plane",
                where=name,
                do="give two walls that face away from each other, or another plane",
            )
        angle = partial(_lean, terrain, d, way)
        lean = angle(side)
        along = np.cos(np.radians(lean)) * d - np.sin(np.radians(lean)) * way
        size = float(np.linalg.norm(terrain.face_vectors[side].sum(axis=0)))
        noise = np.degrees(u_flux(terrain, side, along) / size)
        total += lean
        variance += float(noise**2 + _rim_change(terrain, side, angle) ** 2)
    limit = value("preparation.convergence_max_deg")
    return Measure(
        code="survey.convergence",
        where=name,
        says="convergence of the opposing walls, both tapers together",
        value=total,
        u=float(np.sqrt(variance)),
        unit="deg",
        limit=limit.value,
        at_least=False,
        limit_source=source(limit),
    )


def wall_height(terrain: Terrain, wall: Region, draw: ArrayLike) -> WallHeight:
    """Usable height of a wall along the draw, from crest to crest of the edges that bound it.

    Parameters
    ----------
    terrain : Terrain
    wall : Region
    draw : (3,) array
        Off the teeth; any length but zero.

    Returns
    -------
    WallHeight
        A column's height is *sum A n.r / (rho w)* with *r* and *rho* direction and distance from the axis of
        the wall and *w* the column's width as an angle; for a wall that does not go round, *sum A n.e / w*,
        *e* its mean outward direction.

    Raises
    ------
    SurveyError
        If there is a doubt about the region, or it is narrower than a column.
    """
    d = _unit(draw)
    wall.sound()
    flat = terrain.face_normals[wall.core]
    outward = flat - np.outer(flat @ d, d)
    outward /= np.maximum(np.linalg.norm(outward, axis=1), 1e-12)[:, None]
    mean = np.average(outward, axis=0, weights=terrain.face_area[wall.core])
    undercut = flat @ d < np.sin(np.radians(UNDERCUT_DEG))
    if undercut.mean() > _MOSTLY:
        raise SurveyError(
            "this wall is undercut to this draw",
            where=wall.name,
            value=f"{undercut.mean():.0%} of it",
            do=f"choose another draw, or recut the wall, {dentine_caution()}",
        )
    faces = np.setdiff1d(wall.faces, wall.core[undercut])
    if np.linalg.norm(mean) > _ALL_ROUND:
        e = _level(mean, d)
        heights = straight_columns(terrain, faces, np.cross(d, e), e, COLUMN_MM)
    else:
        heights = round_columns(terrain, faces, d)
    if not len(heights):
        raise SurveyError(
            "this wall is too narrow to be measured", where=wall.name, limit=f"at least {COLUMN_MM} mm wide"
        )
    limit = value("preparation.wall_height_" + ("molar" if wall.tooth % 10 >= 6 else "other") + "_min_mm")
    return WallHeight(
        Measure(
            code="survey.wall_height",
            where=wall.name,
            says="usable height of the wall along the draw",
            value=float(np.median(heights)),
            u=_u_between_crests(terrain),
            unit="mm",
            limit=limit.value,
            limit_source=source(limit),
        ),
        float(heights.min()),
        float(heights.max()),
    )


def groove_fit(terrain: Terrain, groove: Region, draw: ArrayLike) -> GrooveFit:
    """Length and direction of a groove, half-round or square.

    The axis is the direction that the groove's walls face least.

    Parameters
    ----------
    terrain : Terrain
    groove : Region
    draw : (3,) array
        Off the teeth; any length but zero.

    Returns
    -------
    GrooveFit

    Raises
    ------
    SurveyError
        If there is a doubt about the region, or its walls all face one way, so that it has no axis.
    """
    d = _unit(draw)
    core = _core(groove)
    spread, axis = _axis_of(terrain, core, d)
    if spread[1] < 0.05:
        raise SurveyError(
            "the walls of this groove all face one way, so it has no direction of its own",
            where=groove.name,
            value=f"{np.degrees(np.sqrt(spread[1])):.0f} deg across",
            limit="about 13 deg",
            do="pick its bottom, or call it a wall",
        )
    u_axis = _u_axis(terrain, core, d)
    m = _level(terrain.face_vectors[core].sum(axis=0), axis)
    lengths = straight_columns(terrain, groove.faces, np.cross(axis, m), m, terrain.edge_mm, part=0.5)
    if not len(lengths):
        raise SurveyError(
            "this groove is too narrow to be measured",
            where=groove.name,
            limit=f"at least {2.0 * terrain.edge_mm:.1f} mm wide in this scan",
        )
    return GrooveFit(
        Measure(
            code="survey.groove_length",
            where=groove.name,
            says="length of the groove along its axis",
            value=float(np.median(lengths)),
            u=_u_between_crests(terrain),
            unit="mm",
        ),
        axis,
        u_axis,
        Measure(
            code="survey.groove_lean",
            where=groove.name,
            says="angle between groove and draw",
            value=float(np.degrees(np.arccos(np.clip(axis @ d, -1.0, 1.0)))),
            u=float(np.hypot(*u_axis)) / np.sqrt(2.0),
            unit="deg",
        ),
    )


def _core(region: Region) -> Index:
    return region.sound().core


def _unit(direction: ArrayLike) -> Float:
    d = np.asarray(direction, float)
    return d / np.linalg.norm(d)


def _level(direction: ArrayLike, axis: Float) -> Float:
    """A direction without its part along the axis, as a unit vector."""
    e = np.asarray(direction, float)
    return _unit(e - axis * (axis @ e))


def _between(terrain: Terrain, cores: Sequence[Index], d: Float, name: str) -> Float:
    """From one wall's outward direction to the other's."""
    if len(cores) != 2:
        raise SurveyError(
            "one wall alone does not say in which plane to read", where=name, do="give the direction across"
        )
    out = [_level(terrain.face_vectors[core].sum(axis=0), d) for core in cores]
    if out[0] @ out[1] > _OPPOSED:
        raise SurveyError(
            "these walls do not oppose each other",
            where=name,
            value=f"they face {np.degrees(np.arccos(np.clip(out[0] @ out[1], -1.0, 1.0))):.0f} deg apart",
            limit="at least 120 deg",
            do="give two walls that face away from each other",
        )
    return _level(out[0] - out[1], d)


def _lean(terrain: Terrain, d: Float, way: Float, faces: Index) -> float:
    """Lean of the mean surface of some triangles within the plane of `d` and `way`, deg."""
    total = terrain.face_vectors[faces].sum(axis=0)
    return float(np.degrees(np.arctan2(total @ d, total @ way)))


def u_flux(terrain: Terrain, faces: Index, direction: Float, share: Float | None = None) -> float:
    """Standard uncertainty of *sum g A n.direction* from noise along the normals, mm2; *g* is 1 if left out.

    With *g* = 1 the sum is *1/2 sum p x p'* round the rim. A point that moves by *t* along its normal *n*
    changes it by *t/2 direction.(n x sum g (next - previous))*, summed over the triangles it belongs to.
    """
    corners = terrain.mesh.faces[faces]
    across = np.roll(terrain.mesh.vertices[corners], -2, axis=1) - np.roll(
        terrain.mesh.vertices[corners], -1, axis=1
    )
    if share is not None:
        across = across * share[:, None, None]
    used, slot = np.unique(corners, return_inverse=True)
    total = np.stack([np.bincount(slot.ravel(), across[..., k].ravel()) for k in range(3)], axis=1)
    change = 0.5 * np.cross(terrain.normals[used], total) @ direction
    return float(terrain.noise_mm * np.linalg.norm(change))


def _rim_change(terrain: Terrain, faces: Index, read: Callable[[Index], float]) -> float:
    """What leaving out the outermost triangles changes, as a standard uncertainty of a rectangular band."""
    inside = np.zeros(len(terrain.mesh.faces), bool)
    inside[faces] = True
    links = terrain.beside[:, :2]
    touching = links[inside[links].sum(axis=1) == 1]
    inside[touching] = False
    if not inside.any():
        return 0.0
    return abs(read(np.flatnonzero(inside)) - read(faces)) / float(np.sqrt(3.0))


def _u_between_crests(terrain: Terrain) -> float:
    """Standard uncertainty of a length between two crests, each known to half an edge either way, mm."""
    return terrain.edge_mm / float(np.sqrt(6.0))


def _axis_of(terrain: Terrain, faces: Index, d: Float) -> tuple[Float, Float]:
    """Eigenvalues of the mean *n n'* of some triangles, and the direction that they face least.

    The axis *a* solves *sum (m.w) A n.a = 0* for each *w* across it, with *m* the smoothed normal: the
    smoothing near an edge only weighs, and noise is not multiplied by itself, as it would be in *sum A n n'*.
    """
    smooth, vectors = terrain.face_normals[faces], terrain.face_vectors[faces]
    area = terrain.face_area[faces]
    spread, axes = np.linalg.eigh((smooth * area[:, None]).T @ smooth / area.sum())
    axis, mixed = axes[:, 0], smooth.T @ vectors
    for _ in range(_AXIS_ROUNDS):
        first, second = frame(axis) @ mixed
        axis = _unit(np.cross(first, second))
    return spread, axis if axis @ d >= 0.0 else -axis


def _u_axis(terrain: Terrain, faces: Index, d: Float) -> tuple[float, float]:
    """How well triangles fix the axis of a groove, deg, for a lean along each direction across it.

    To first order the axis leans along *w* by *sum g A n.axis / sum g^2 A* with *g = n.w*.
    """
    axis = _axis_of(terrain, faces, d)[1]
    found = []
    for way in frame(axis):
        share = terrain.face_normals[faces] @ way
        weight = max(float(share**2 @ terrain.face_area[faces]), 1e-6)
        noise = float(np.degrees(u_flux(terrain, faces, axis, share) / weight))

        def lean(some: Index, way: Float = way) -> float:
            return float(np.degrees(_axis_of(terrain, some, d)[1] @ way))

        found.append(float(np.hypot(noise, _rim_change(terrain, faces, lean))))
    return found[0], found[1]
