"""A closer look at the teeth along the draw: undercut, height of contour, tapers and distances."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.errors import SurveyError
from pinseat.ledger.cautions import dentine_caution
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.handover import Progress, quiet
from pinseat.mesh.model import Mesh
from pinseat.reference import value
from pinseat.survey.contour import height_of_contour
from pinseat.survey.distances import pin_spacing, pin_to_margin, thickness
from pinseat.survey.draw import angles_to
from pinseat.survey.guides import Surfaces, surfaces_of
from pinseat.survey.measure import Measure, source
from pinseat.survey.model import SurveyResult
from pinseat.survey.ranking import Ranking, rank_draws
from pinseat.survey.regions import Region
from pinseat.survey.taper import convergence, groove_fit, wall_height, wall_taper
from pinseat.survey.undercut import Surveyed, UndercutMap, undercut_map

Float = NDArray[np.float64]

HALF_ANGLE_DEG = 10.0
"""Draws so far to each side of the best draw of the pins are compared for undercut."""
DIRECTIONS = 2000
REACHED_SHARE = 0.99
"""Part of a region's core that its stated depth of undercut holds; single points carry the scan's noise."""


@dataclass(frozen=True)
class RegionUndercut:
    """Undercut of one region along the draw.

    Attributes
    ----------
    name : str
    deepest_mm : float
        Depth that 99 % of the region's core do not exceed.
    area_mm2, volume_mm3 : float
        Undercut area and block-out that belong to the region.
    """

    name: str
    deepest_mm: float
    area_mm2: float
    volume_mm3: float


@dataclass(frozen=True, eq=False)
class UndercutNote:
    """Undercut of the whole scan.

    Attributes
    ----------
    area_mm2, volume_mm3 : float
        Along the draw; the volume is what block-out fills.
    groundless_mm2 : float
        Part of the area below which nothing was scanned.
    limit_mm : float
        Depth beyond which a region counts as undercut.
    limit_source : str
    regions : tuple of RegionUndercut
    tried : int
        Draws compared, within `half_angle_deg` to each side of the draw.
    half_angle_deg : float
    least : (3,) array
        The draw with the least undercut of the whole scan, unit vector off the teeth.
    least_area_mm2 : float
    least_lean_deg : float
        How far it leans from the draw of the pins.
    """

    area_mm2: float
    volume_mm3: float
    groundless_mm2: float
    limit_mm: float
    limit_source: str
    regions: tuple[RegionUndercut, ...]
    tried: int
    half_angle_deg: float
    least: Float
    least_area_mm2: float
    least_lean_deg: float


@dataclass(frozen=True, eq=False)
class Inspection:
    """What a closer look gave, with the maps.

    Attributes
    ----------
    undercut : UndercutMap or None
        None without a scan.
    note : UndercutNote or None
    contour : tuple of (k, 3) arrays, mm
        Height of contour along the draw.
    regions : tuple of Region
    measures : tuple of Measure
    findings : tuple of Finding
    """

    undercut: UndercutMap | None
    note: UndercutNote | None
    contour: tuple[Float, ...]
    regions: tuple[Region, ...]
    measures: tuple[Measure, ...]
    findings: tuple[Finding, ...]


def inspect(
    case: Case, survey: SurveyResult, mesh: Mesh | None = None, progress: Progress = quiet
) -> Inspection:
    """Look at the prepared teeth along the best draw.

    Parameters
    ----------
    case : Case
    survey : SurveyResult
        Its draw and its pins.
    mesh : Mesh, optional
        Working copy of the scan; without it only the spacing of the pins is measured.
    progress : callable

    Returns
    -------
    Inspection

    Raises
    ------
    SurveyError
        For a pick or a margin point off the scan.
    """
    draw, field = survey.window.centre, survey.field
    measures = list(pin_spacing(field, case.abutments))
    if mesh is None:
        return Inspection(None, None, (), (), tuple(measures), tuple(_findings(measures)))
    progress("growing the regions", 0.0)
    surfaces = surfaces_of(case, mesh, field, draw)
    progress("comparing 2,000 draws", 0.2)
    surveyed = Surveyed(mesh)
    ranking = rank_draws(surveyed, draw, HALF_ANGLE_DEG, DIRECTIONS)
    progress("measuring undercut", 0.6)
    found = undercut_map(surveyed, draw)
    note = _note(found, ranking, surfaces.regions, mesh, draw)
    progress("measuring walls and distances", 0.8)
    measures += [one.least for one in thickness(surfaces.terrain, field, case.abutments)]
    measures += pin_to_margin(surfaces.terrain, field, surfaces.margins, case.abutments)
    measures += _of_walls(surfaces, draw)
    said = [*_undercut_findings(note, surfaces), *_findings(measures)]
    progress("measuring walls and distances", 1.0)
    return Inspection(
        found, note, height_of_contour(mesh, draw), surfaces.regions, tuple(measures), tuple(said)
    )


def _note(
    found: UndercutMap, ranking: Ranking, regions: Sequence[Region], mesh: Mesh, draw: Float
) -> UndercutNote:
    limit = value("survey.undercut_limit_mm")
    least = ranking.directions[0]
    return UndercutNote(
        area_mm2=found.area_mm2,
        volume_mm3=found.volume_mm3,
        groundless_mm2=found.groundless_mm2,
        limit_mm=limit.value,
        limit_source=source(limit),
        regions=tuple(_undercut_of(found, region, mesh) for region in regions),
        tried=ranking.tried,
        half_angle_deg=HALF_ANGLE_DEG,
        least=least,
        least_area_mm2=float(ranking.undercut_area_mm2[0]),
        least_lean_deg=math.degrees(float(angles_to(draw, least[None])[0])),
    )


def _undercut_of(found: UndercutMap, region: Region, mesh: Mesh) -> RegionUndercut:
    core = np.unique(mesh.faces[region.core])
    depth = np.quantile(found.depth_mm[core], REACHED_SHARE) if len(core) else 0.0
    return RegionUndercut(
        region.name,
        float(depth),
        float(found.face_area_mm2[region.faces].sum()),
        float(found.face_volume_mm3[region.faces].sum()),
    )


def _of_walls(surfaces: Surfaces, draw: Float) -> Iterator[Measure]:
    """Taper and height of each wall, length and lean of each groove, convergence of opposed walls."""
    terrain = surfaces.terrain
    walls = [r for r in surfaces.regions if r.kind == "wall" and not r.doubt]
    for wall in walls:
        yield wall_taper(terrain, wall, draw).mean
        try:
            yield wall_height(terrain, wall, draw).median
        except SurveyError:
            continue  # undercut or too narrow: its taper and its undercut say so
    for groove in (r for r in surfaces.regions if r.kind == "groove" and not r.doubt):
        try:
            fit = groove_fit(terrain, groove, draw)
        except SurveyError:
            continue  # no direction of its own: it bounds the draw as a wall does
        yield fit.length
        yield fit.lean
    for one, other in combinations(walls, 2):
        if one.tooth == other.tooth:
            try:
                yield convergence(terrain, [one, other], draw)
            except SurveyError:
                continue  # they do not oppose each other


_ADVICE = {
    "survey.spacing": "set these two holes farther apart, or leave one of the pins out",
    "survey.thickness": "do not deepen or ream this hole: a thin side wall can crack under the casting. "
    "The pulp is not seen on a scan; an ordinary radiograph decides",
    "survey.pin_to_margin": "keep the margin farther from this hole, or leave this pin out",
    "survey.taper": "choose another draw, or recut the wall so that it leans with this one",
    "survey.wall_height": "count on the pins for hold here, or lower the ledge",
    "survey.convergence": "steeper walls hold better; count on the pins for hold here",
}
_BINDS = ("survey.taper",)
"""What keeps a bridge from going home. The others are rules of good shape, taught or recommended: beyond them
it holds less or the tooth is weaker, and nobody has published where it fails."""


def _findings(measures: Sequence[Measure]) -> Iterator[Finding]:
    for measure in measures:
        verdict: Verdict | None = measure.verdict
        if verdict is None:
            continue
        if verdict == "stop" and measure.code not in _BINDS:
            verdict = "caution"
        says = measure.says[0].upper() + measure.says[1:] + "."
        yield Finding(
            code=measure.code,
            where=measure.where,
            says=says,
            verdict=verdict,
            value=measure.value,
            uncertainty=measure.u,
            unit=measure.unit,
            limit=measure.limit,
            limit_source=measure.limit_source,
            do="" if verdict == "clear" else _advice(measure.code),
        )


def _advice(code: str) -> str:
    words = _ADVICE.get(code, "")
    return f"{words}, {dentine_caution()}" if code in ("survey.taper", "survey.wall_height") else words


def _undercut_findings(note: UndercutNote, surfaces: Surfaces) -> Iterator[Finding]:
    """One a region that the bridge must slide along or cover."""
    for region, part in zip(surfaces.regions, note.regions, strict=True):
        if region.doubt or region.kind == "neighbour":
            continue
        over = part.deepest_mm > note.limit_mm
        yield Finding(
            code="survey.undercut",
            where=region.name,
            says="Part of it is undercut along the draw: wax or metal there cannot come off."
            if over
            else "It is free along the draw.",
            verdict="stop" if over else "clear",
            value=1000.0 * part.deepest_mm,
            uncertainty=1000.0 * surfaces.terrain.noise_mm,
            unit="um",
            limit=1000.0 * note.limit_mm,
            limit_source=note.limit_source,
            do=f"fill it before the impression, choose another draw, or recut it, {dentine_caution()}"
            if over
            else "",
        )
