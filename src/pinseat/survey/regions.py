"""Surfaces that matter, each grown from one pick: prepared surfaces, walls, grooves, ledges, neighbours."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pinseat.case.regions import MarginPick, RegionEdit, RegionKind, RegionPick
from pinseat.errors import SurveyError
from pinseat.ledger.pins import Pin
from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import Loop, boundary_loops
from pinseat.survey.margin import Margin, margin
from pinseat.survey.terrain import Terrain

Float = NDArray[np.float64]
Index = NDArray[np.int64]
Bool = NDArray[np.bool_]

WALL_LEAN_DEG = 20.0
"""A surface that leans more to the draw guides nothing."""
ON_EDGE_MM = 0.5
"""A pick on an edge moves to the nearest place beside it within this."""
ROUND_PIN_MM = 0.15
"""Fillet round a pin's foot, which belongs to the pin."""
_GROOVE_LOOK_MM = 0.7
_GROOVE_END_DEG, _GROOVE_CORE_DEG = 45.0, 20.0
_CREST_STEPS = 6
_CREST_DEG = 25.0
_BORDER_STEPS = 6
_EVEN_ROUNDS = 2
_GROOVE_ROUNDS = 4


@dataclass(frozen=True)
class Rule:
    """What stops a region.

    Attributes
    ----------
    ridge_per_mm, valley_per_mm : float
        Curvature beyond which the surface counts as an edge or a corner.
    turn_deg : float
        How far the surface may turn from the pick.
    limit_mm2 : float
        A larger region has leaked through a gap in its border.
    """

    ridge_per_mm: float
    valley_per_mm: float
    turn_deg: float
    limit_mm2: float


RULES: dict[RegionKind, Rule] = {
    "prepared": Rule(np.inf, np.inf, 180.0, 250.0),
    "wall": Rule(0.7, 0.7, 180.0, 60.0),
    "groove": Rule(0.5, np.inf, 180.0, 25.0),
    "ledge": Rule(0.7, 0.7, 35.0, 40.0),
    "neighbour": Rule(2.0, 1.0, 60.0, 80.0),
}
"""One rule a kind. A wall or ledge ends where it bends more tightly than 1.4 mm in radius.

The limits are two to five times what a bridge held by pins shows; a wall all round a molar, about 160 mm2,
needs its own."""


@dataclass(frozen=True, eq=False)
class Region:
    """A surface grown from a pick.

    Attributes
    ----------
    kind : {"prepared", "wall", "groove", "ledge", "neighbour"}
    tooth : int
    faces : (k,) array
        Triangles up to the crest of the edges around, in order.
    core : (c,) array
        Those of them that the edges do not round; directions are read from these.
    area_mm2 : float
    boundary : tuple of Loop
        The rims of the region, the longest first.
    rim_mm : float
        Length of them where the scan itself ends.
    doubt : str
        Why the region cannot be used as it is, in words; empty when it can.
    number: int
        Which of several of a kind on its tooth, from 1; 0 where it is the only one.
    """

    kind: RegionKind
    tooth: int
    faces: Index
    core: Index
    area_mm2: float
    boundary: tuple[Loop, ...]
    rim_mm: float
    doubt: str
    number: int = 0

    @property
    def name(self) -> str:
        """The region in words: ``wall of tooth 11``, or ``wall 2 of tooth 11``."""
        kind = f"{self.kind} {self.number}" if self.number else self.kind
        return f"{kind} of tooth {self.tooth}" if self.tooth else kind

    def sound(self) -> Region:
        """The region itself.

        Raises
        ------
        SurveyError
            If there is a doubt about it.
        """
        if self.doubt:
            raise SurveyError(self.doubt, where=self.name, do=LEAK_DO)
        return self


LEAK_DO = "exclude a patch where it runs out, give a margin line, or raise the limit if it is right"


def grow(
    terrain: Terrain,
    at: ArrayLike,
    kind: RegionKind,
    *,
    tooth: int = 0,
    draw: ArrayLike | None = None,
    border: Margin | None = None,
    limit_mm2: float | None = None,
    corrections: Sequence[RegionEdit] = (),
    pins: Sequence[Pin] = (),
) -> Region:
    """Grow a region from a pick.

    The region spreads from triangle to triangle until the surface bends as :data:`RULES` says, to the margin
    line, to a pin or to the end of the scan; then it is carried up to the crest of the edge that stopped it.
    A groove may be hollow, but its walls must run along one axis, which is found on the way.

    Parameters
    ----------
    terrain : Terrain
    at : (3,) array, mm
        A pick on the surface.
    kind : {"prepared", "wall", "groove", "ledge", "neighbour"}
    tooth : int
        FDI number, for the report.
    draw : (3,) array, optional
        Off the teeth. With it a wall ends where it leans more than 20 deg, either way.
    border : Margin, optional
        A line that is not crossed. A prepared surface needs a closed one.
    limit_mm2 : float, optional
        Largest area; that of :data:`RULES` when left out.
    corrections : sequence of RegionEdit
        Patches to be left out stop the region; patches to be taken in let it pass.
    pins : sequence of Pin
        Standing pins, which belong to no region.

    Returns
    -------
    Region
        With a `doubt` when it grew beyond its limit.

    Raises
    ------
    SurveyError
        If the pick is more than 1 mm off the scan, lies on an edge, a pin or a patch left out, or if a
        prepared surface has no closed margin.

    Notes
    -----
    Curvature comes from normals averaged over three rings: with 10 um noise it strays by about 0.1 mm^-1 at
    edges of 0.1 to 0.2 mm, a seventh of what ends a wall. An edge is seen when the surface turns there by
    25 deg or more at edges of 0.1 or 0.15 mm, by 40 deg at 0.2 mm.
    """
    rule = RULES[kind]
    where = f"{kind} of tooth {tooth}, pick at ({', '.join(f'{x:.2f}' for x in np.asarray(at, float))})"
    if kind == "prepared" and (border is None or not border.closed):
        raise SurveyError(
            "a prepared surface needs a closed margin line",
            where=where,
            do="give the margin's points, or pick points along it to be traced",
        )
    point, seed = terrain.surface.pick(at, where)
    free, patches = _free(terrain, pins, corrections, where)
    taken = np.zeros_like(free)
    taken[np.concatenate([np.array([], int), *patches])] = True
    links = _links(terrain, border)
    bends = np.maximum(terrain.ridge_per_mm / rule.ridge_per_mm, terrain.valley_per_mm / rule.valley_per_mm)
    smooth = free & (taken | (bends <= 1.0))
    seed = _beside_edge(terrain, smooth, point, seed, where)
    seeds = np.array([seed, *(patch[0] for patch in patches)])
    if kind == "groove":
        core, turned = _groove(terrain, smooth, taken, links, seeds)
        band = turned < _GROOVE_END_DEG
    else:
        turned = _turned(terrain, seed, draw if kind == "wall" else None)
        most = WALL_LEAN_DEG if kind == "wall" and draw is not None else rule.turn_deg
        core = _spread_wide(terrain, smooth & (taken | (turned <= most)), links, seeds)
        band = (bends > 1.0) & (turned < most + _CREST_DEG)
    band &= free
    inside = _even(_to_crest(core, band, bends, links), core, band, links)
    return _region(terrain, kind, tooth, inside, core, rule.limit_mm2 if limit_mm2 is None else limit_mm2)


def regions_from_case(
    scan: Mesh | Terrain,
    picks: Sequence[RegionPick],
    margins: Sequence[MarginPick] = (),
    *,
    abutments: Sequence[int],
    draw: ArrayLike | None = None,
    pins: Sequence[Pin] = (),
) -> tuple[tuple[Region, ...], tuple[Margin, ...]]:
    """All regions and margins of a case.

    Parameters
    ----------
    scan : Mesh or Terrain
    picks : sequence of RegionPick
    margins : sequence of MarginPick
        A margin bounds every region of its tooth.
    abutments : sequence of int
        Teeth of the case; a neighbour must be none of them, anything else one of them.
    draw : (3,) array, optional
    pins : sequence of Pin

    Returns
    -------
    regions : tuple of Region
        In the order of the picks.
    margins : tuple of Margin

    Raises
    ------
    SurveyError
        As :func:`grow` and :func:`pinseat.survey.margin.margin`; for a tooth that does not fit; for a tooth
        with two margins.
    """
    terrain = scan if isinstance(scan, Terrain) else Terrain(scan)
    lines: dict[int, Margin] = {}
    for stated in margins:
        _known(stated.tooth, False, abutments, f"margin of tooth {stated.tooth}")
        if stated.tooth in lines:
            raise SurveyError(
                "this tooth has two margins", where=f"tooth {stated.tooth}", do="keep one of them"
            )
        lines[stated.tooth] = margin(
            terrain, stated.points, tooth=stated.tooth, closed=stated.closed, traced=stated.traced
        )
    regions = []
    for k, pick in enumerate(picks, start=1):
        _known(pick.tooth, pick.kind == "neighbour", abutments, f"regions, pick {k} ({pick.kind})")
        regions.append(
            grow(
                terrain,
                pick.at,
                pick.kind,
                tooth=pick.tooth,
                draw=draw,
                border=lines.get(pick.tooth),
                limit_mm2=pick.limit_mm2,
                corrections=pick.corrections,
                pins=pins,
            )
        )
    return _numbered(regions), tuple(lines.values())


def _numbered(regions: Sequence[Region]) -> tuple[Region, ...]:
    """Regions with a number each where a tooth has several of a kind."""
    total, seen = Counter((r.kind, r.tooth) for r in regions), Counter[tuple[str, int]]()
    numbered = []
    for region in regions:
        key = (region.kind, region.tooth)
        seen[key] += 1
        numbered.append(replace(region, number=seen[key]) if total[key] > 1 else region)
    return tuple(numbered)


def _known(tooth: int, neighbour: bool, abutments: Sequence[int], where: str) -> None:
    if (tooth in abutments) == neighbour:
        known = ", ".join(str(one) for one in abutments)
        raise SurveyError(
            "an abutment is no neighbour" if neighbour else "this tooth is no abutment of the case",
            where=where,
            value=str(tooth),
            limit=f"a tooth other than {known}" if neighbour else known,
            do="correct the tooth or the kind of this pick",
        )


def _free(
    terrain: Terrain, pins: Sequence[Pin], corrections: Sequence[RegionEdit], where: str
) -> tuple[Bool, list[Index]]:
    """Triangles that a region may hold at all, and the patches that it must hold."""
    free = terrain.face_area > 0.0
    for pin in pins:
        top, radius = pin.protrusion_mm + ROUND_PIN_MM, 0.5 * pin.diameter_mm + ROUND_PIN_MM
        free[terrain.along(pin.foot, pin.axis, -2.0 * ROUND_PIN_MM, top, radius)] = False
    patches = []
    for k, one in enumerate(corrections, start=1):
        place, face = terrain.surface.pick(one.at, f"{where}, correction {k} ({one.action})")
        ball = np.linalg.norm(terrain.middles - place, axis=1) <= one.radius_mm
        ball[face] = True
        patch = np.flatnonzero(_spread(ball, terrain.beside[:, :2], np.array([face])))
        if one.action == "include":
            free[patch] = True
            patches.append(np.concatenate(([face], patch[patch != face])))
        else:
            free[patch] = False
            patches = [kept for old in patches if len(kept := np.setdiff1d(old, patch))]
    return free, patches


def _unit(direction: ArrayLike) -> Float:
    d = np.asarray(direction, float)
    return d / np.linalg.norm(d)


def _links(terrain: Terrain, border: Margin | None) -> Index:
    """Pairs of triangles between which a region may spread, (p, 2)."""
    pairs = terrain.beside
    if border is not None:
        pairs = pairs[~np.isin(pairs[:, 2], border.edges)]
    return pairs[:, :2]


def _beside_edge(terrain: Terrain, smooth: Bool, point: Float, seed: int, where: str) -> int:
    """The triangle to grow from: the nearest to the pick that is not on an edge."""
    if smooth[seed]:
        return seed
    near = np.flatnonzero(smooth & (np.linalg.norm(terrain.middles - point, axis=1) < ON_EDGE_MM))
    if not len(near):
        raise SurveyError(
            "this pick lies on an edge, on a pin or on a patch that is left out",
            where=where,
            limit=f"a place within {ON_EDGE_MM} mm that is none of these",
            do="pick well inside the surface",
        )
    return int(near[np.argmin(np.linalg.norm(terrain.middles[near] - point, axis=1))])


def _spread(allowed: Bool, links: Index, seeds: Index) -> Bool:
    """Allowed triangles that hang together with the seeds."""
    kept = links[allowed[links[:, 0]] & allowed[links[:, 1]]]
    ones = np.ones(len(kept), np.int8)
    graph = coo_array((ones, (kept[:, 0], kept[:, 1])), shape=(len(allowed), len(allowed))).tocsr()
    label = connected_components(graph, directed=False)[1]
    return np.asarray(allowed & np.isin(label, label[seeds[allowed[seeds]]]))


def _spread_wide(terrain: Terrain, allowed: Bool, links: Index, seeds: Index) -> Bool:
    """As :func:`_spread`, but not through a gap that is no wider than a few triangles.

    What touches the border is taken off first and put back at the end.
    """
    border = np.zeros(len(terrain.mesh.vertices), bool)
    border[terrain.mesh.faces[~allowed]] = True
    wide = allowed.copy()
    for corner in terrain.mesh.faces.T:
        wide &= ~border[corner]
    if not wide[seeds[0]]:
        return _spread(allowed, links, seeds)
    inside = _spread(wide, links, seeds)
    steps = np.concatenate((links, links[:, ::-1]))
    steps = steps[allowed[steps[:, 1]] & ~wide[steps[:, 1]]]
    for _ in range(_BORDER_STEPS):
        inside[steps[inside[steps[:, 0]], 1]] = True
    return inside


def _turned(terrain: Terrain, seed: int, draw: ArrayLike | None) -> Float:
    """How far each triangle turns away from the one picked, or leans to a draw, deg."""
    if draw is None:
        cosine = terrain.face_normals @ terrain.face_normals[seed]
        return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return _lean(terrain, _unit(draw))


def _lean(terrain: Terrain, axis: Float) -> Float:
    """How far each triangle is from running along an axis, deg."""
    return np.degrees(np.arcsin(np.clip(np.abs(terrain.face_normals @ axis), 0.0, 1.0)))


def _groove(terrain: Terrain, smooth: Bool, taken: Bool, links: Index, seeds: Index) -> tuple[Bool, Float]:
    """The walls of a groove, and how far each triangle is from running along its axis."""
    near = np.linalg.norm(terrain.middles - terrain.middles[seeds[0]], axis=1) < _GROOVE_LOOK_MM
    core = _spread(smooth & near, links, seeds)
    for _ in range(_GROOVE_ROUNDS):
        weight = terrain.face_area[core, None]
        normals = terrain.face_normals[core]
        lean = _lean(terrain, np.linalg.eigh((weight * normals).T @ normals)[1][:, 0])
        core = _spread_wide(terrain, smooth & (taken | (lean < _GROOVE_CORE_DEG)), links, seeds)
    return core, lean


def _to_crest(core: Bool, allowed: Bool, height: Float, links: Index) -> Bool:
    """Take in the rounding of the edges around: uphill in curvature only, so that it ends on the crest."""
    inside = core.copy()
    steps = np.concatenate((links, links[:, ::-1]))
    steps = steps[allowed[steps[:, 1]] & ~core[steps[:, 1]]]
    steps = steps[height[steps[:, 1]] >= height[steps[:, 0]]]
    for _ in range(_CREST_STEPS):
        inside[steps[inside[steps[:, 0]], 1]] = True
    return inside


def _even(inside: Bool, core: Bool, allowed: Bool, links: Index) -> Bool:
    """Fill the notches of a region's border and drop its teeth: what has two sides in, what has one."""
    for _ in range(_EVEN_ROUNDS):
        for joins in (True, False):
            sides = np.bincount(links[inside[links[:, 1]], 0], minlength=len(inside))
            sides += np.bincount(links[inside[links[:, 0]], 1], minlength=len(inside))
            inside = inside | (allowed & (sides >= 2)) if joins else inside & (core | (sides >= 2))
    return inside


def _region(
    terrain: Terrain, kind: RegionKind, tooth: int, inside: Bool, core: Bool, limit_mm2: float
) -> Region:
    faces = np.flatnonzero(inside)
    part = Mesh(terrain.mesh.vertices, terrain.mesh.faces[faces])
    area = float(terrain.face_area[faces].sum())
    doubt = ""
    if area > limit_mm2:
        doubt = f"this region ran out of its border: {area:.0f} mm2, at most {limit_mm2:.0f} mm2 expected"
    return Region(
        kind=kind,
        tooth=tooth,
        faces=faces,
        core=np.flatnonzero(core),
        area_mm2=area,
        boundary=boundary_loops(part),
        rim_mm=_on_rim(terrain, inside),
        doubt=doubt,
    )


def _on_rim(terrain: Terrain, inside: Bool) -> float:
    """Length of the region's border where the scan ends, mm."""
    found = terrain.edges
    single = np.flatnonzero(found.count == 1)
    mine = single[inside[found.side[found.start[single]] // 3]]
    ends = terrain.mesh.vertices[found.ends[mine]]
    return float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum())
