"""Walls, grooves and neighbours as the draw window takes them: steady normals, height, place on the tooth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.ledger.cautions import dentine_caution
from pinseat.ledger.faces import MarginLine
from pinseat.ledger.findings import Finding
from pinseat.ledger.pins import PinField
from pinseat.mesh.model import Mesh
from pinseat.survey.caps import STEP_DEG, leans_deg
from pinseat.survey.correction import Correction, cheapest, on_one_tooth
from pinseat.survey.draw import allowance_rad
from pinseat.survey.margin import Margin
from pinseat.survey.model import DrawWindow, RegionNote
from pinseat.survey.regions import LEAK_DO, Region, regions_from_case
from pinseat.survey.taper import u_flux, wall_taper
from pinseat.survey.terrain import Terrain
from pinseat.survey.window import Cone, Wall, window

Float = NDArray[np.float64]

GUIDING = ("wall", "groove", "neighbour")
"""Kinds of region that a draw has to pass."""
PATCH_MM = 1.0
"""Side of the cells over which normals are averaged."""
LEAST_PATCH_MM2 = 0.3
"""A smaller patch at the rim of a region is left out: its normal is noise."""
WORST_OF_MANY = 2.0
"""The worst of some thirty normals strays by two standard deviations; so much still counts as free."""


@dataclass(frozen=True, eq=False)
class Guide:
    """A surface that the bridge has to slide along or past.

    Attributes
    ----------
    wall : Wall
    places : (k, 3) array, mm
        Middle of the patch that each of the wall's normals belongs to.
    """

    wall: Wall
    places: Float


@dataclass(frozen=True, eq=False)
class Surfaces:
    """What a case picks on its scan.

    Attributes
    ----------
    terrain : Terrain
    regions : tuple of Region
    margins : tuple of Margin
    """

    terrain: Terrain
    regions: tuple[Region, ...]
    margins: tuple[Margin, ...]

    def guides(self, up: Float) -> tuple[Guide, ...]:
        """The sound regions that a draw has to pass.

        Parameters
        ----------
        up : (3,) array
            Unit vector off the teeth.

        Returns
        -------
        tuple of Guide
        """
        return tuple(
            guide(self.terrain, region, up)
            for region in self.regions
            if region.kind in GUIDING and not region.doubt
        )


def narrowed(
    case: Case, mesh: Mesh, field: PinField, pins: DrawWindow
) -> tuple[DrawWindow, tuple[RegionNote, ...], tuple[MarginLine, ...], list[Finding], str]:
    """The draw window of pins, walls, grooves and neighbours.

    Parameters
    ----------
    case : Case
    mesh : Mesh
        Working copy of the scan.
    field : PinField
    pins : DrawWindow
        Of the pins alone.

    Returns
    -------
    window : DrawWindow
    regions : tuple of RegionNote
    margins : tuple of MarginLine
    findings : list of Finding
        One a region: whether it was grown as it should be.
    cut : str
        The cheapest cut that opens a draw, as something to do; empty when there is one or no cut opens it.

    Raises
    ------
    SurveyError
        As :func:`surfaces_of`.
    """
    surfaces = surfaces_of(case, mesh, field, pins.centre)
    guides, cones = surfaces.guides(pins.centre), cones_of(case, field)
    window = with_guides(pins, cones, guides) if guides else pins
    neighbours = [region.tooth for region in surfaces.regions if region.kind == "neighbour"]
    cut = cut_words(cones, guides, neighbours, pins.centre) if window.size_deg < 0.0 and guides else ""
    notes = tuple(RegionNote(r.name, r.kind, r.tooth, r.area_mm2, r.doubt) for r in surfaces.regions)
    lines = tuple(MarginLine(m.tooth, m.points, m.closed) for m in surfaces.margins)
    return window, notes, lines, [region_finding(r) for r in surfaces.regions], cut


def region_finding(region: Region) -> Finding:
    """Was this region grown as it should be?

    Parameters
    ----------
    region : Region

    Returns
    -------
    Finding
    """
    return Finding(
        code="survey.region",
        where=region.name,
        says=f"Not used: {region.doubt}." if region.doubt else "The region was grown up to its edges.",
        verdict="cannot tell" if region.doubt else "clear",
        value=region.area_mm2,
        unit="mm2",
        do=LEAK_DO if region.doubt else "",
    )


def surfaces_of(case: Case, mesh: Mesh, field: PinField, draw: Float) -> Surfaces:
    """Grow every region and trace every margin of a case.

    Parameters
    ----------
    case : Case
    mesh : Mesh
        Working copy of the scan.
    field : PinField
        Standing pins belong to no region.
    draw : (3,) array
        Off the teeth; tells a wall from the floor beside it.

    Returns
    -------
    Surfaces

    Raises
    ------
    SurveyError
        For a pick or a margin point off the scan, or a tooth that does not fit.
    """
    terrain = Terrain(mesh)
    teeth = [abutment.tooth for abutment in case.abutments]
    regions, margins = regions_from_case(
        terrain, case.regions, case.margins, abutments=teeth, draw=draw, pins=field.pins
    )
    return Surfaces(terrain, regions, margins)


def guide(terrain: Terrain, region: Region, up: Float) -> Guide:
    """Make a wall of a region, its normals averaged over patches of about a square millimetre.

    Single normals carry the scan's noise, and the worst of thousands would close any window. What noise is
    left in the worst of the patches is allowed for.

    Parameters
    ----------
    terrain : Terrain
    region : Region
        Without doubt.
    up : (3,) array

    Returns
    -------
    Guide
    """
    normals, places, u_rad = patches(terrain, region, up)
    level = terrain.mesh.vertices[terrain.mesh.faces[region.faces]] @ up
    wall = Wall(
        name=region.name,
        tooth=region.tooth,
        normals=normals,
        height_mm=float(level.max() - level.min()),
        taper_deg=0.0,
        tolerance_deg=WORST_OF_MANY * math.degrees(float(np.sqrt(np.mean(u_rad**2)))),
        u_deg=wall_taper(terrain, region, up).mean.u,
    )
    return Guide(wall, places)


def patches(terrain: Terrain, region: Region, up: Float) -> tuple[Float, Float, Float]:
    """Mean unit normals and middles of a region's patches, (k, 3), and how far noise tips each, rad.

    A patch is what falls into one cell of a grid of :data:`PATCH_MM`; the largest is always kept.
    """
    core = region.core
    middles, area = terrain.middles[core], terrain.face_area[core]
    cells = np.floor((middles - middles.mean(axis=0)) / PATCH_MM).astype(np.int64)
    _, patch = np.unique(cells, axis=0, return_inverse=True)
    parts = [core[patch.ravel() == k] for k in range(patch.max() + 1)]
    total = np.array([terrain.face_vectors[part].sum(axis=0) for part in parts])
    size = np.linalg.norm(total, axis=1)
    kept = np.flatnonzero((size >= LEAST_PATCH_MM2) | (np.arange(len(size)) == int(np.argmax(size))))
    weights = np.bincount(patch.ravel(), area)
    places = np.stack([np.bincount(patch.ravel(), area * middles[:, k]) / weights for k in range(3)], axis=1)
    u_rad = np.array([u_flux(terrain, parts[k], up) / size[k] for k in kept])
    return total[kept] / size[kept, None], places[kept], u_rad


def with_guides(pins: DrawWindow, cones: Sequence[Cone], guides: Sequence[Guide]) -> DrawWindow:
    """The draw window of pins narrowed by walls, grooves and neighbours.

    Parameters
    ----------
    pins : DrawWindow
        Of the pins alone.
    cones : sequence of Cone
        The same pins.
    guides : sequence of Guide

    Returns
    -------
    DrawWindow
        Its uncertainty is that of the pins, sampled, where pins alone bound it; else that of
        :func:`pinseat.survey.window.window`.
    """
    found = window(cones, [one.wall for one in guides], pins.centre)
    of_pins = all(name in pins.allowance_deg for name in found.bounded_by)
    stretches: dict[str, list[Float]] = {}
    for name, arc in found.arcs:
        if name not in pins.allowance_deg:
            steps = np.linspace(0.0, 1.0, max(2, math.ceil(math.degrees(arc.turn) / STEP_DEG) + 1))
            stretches.setdefault(name, []).append(leans_deg(found.centre, arc.points(steps)))
    gap = np.full((1, 2), np.nan)
    return DrawWindow(
        centre=found.centre,
        size_deg=found.size_deg,
        u_size_deg=pins.u_size_deg if of_pins else found.u_size_deg,
        outline_deg=found.outline_deg,
        limited_by=found.bounded_by,
        allowance_deg=pins.allowance_deg,
        short_deg=found.short_deg,
        borders_deg={
            name: np.concatenate([part for piece in pieces for part in (gap, piece)][1:])
            for name, pieces in stretches.items()
        },
    )


def cut_words(cones: Sequence[Cone], guides: Sequence[Guide], neighbours: Sequence[int], up: Float) -> str:
    """The cheapest cut that opens a draw, as something to do; empty where no cut of a wall opens one.

    Parameters
    ----------
    cones : sequence of Cone
    guides : sequence of Guide
    neighbours : sequence of int
        Teeth that are not to be cut.
    up : (3,) array

    Returns
    -------
    str
        ``cut 0.17 mm off the top of the wall 1 of tooth 11 at (3.1, 4.0, 7.2) and ...; or ... alone``.
    """
    walls = [one.wall for one in guides]
    hard = dict.fromkeys(neighbours, math.inf)
    best = cheapest(cones, walls, up, hard)
    if best is None or not best.cuts:
        return ""
    places = {one.wall.name: one.places for one in guides}

    def said(found: Correction) -> str:
        return " and ".join(
            f"{cut.removal_mm:.2f} mm off the top of the {cut.wall} at "
            f"({', '.join(f'{x:.1f}' for x in places[cut.wall][cut.normal])})"
            for cut in found.cuts
        )

    alone = [one for one in on_one_tooth(cones, walls, up, hard).values() if one is not None and one.cuts]
    words = f"cut {said(best)}"
    if len({cut.tooth for cut in best.cuts}) > 1 and alone:
        words += f"; or, on one tooth alone, {said(min(alone, key=lambda one: one.total_mm))}"
    return f"{words}: {dentine_caution()}"


def cones_of(case: Case, field: PinField) -> tuple[Cone, ...]:
    """Pins as cones of draws.

    Parameters
    ----------
    case : Case
    field : PinField

    Returns
    -------
    tuple of Cone
    """
    allowance = {a.tooth: math.degrees(allowance_rad(a)) for a in case.abutments}
    cones, variance = [], np.diag(field.tilt_covariance).reshape(-1, 2).mean(axis=1)
    for i, pin in enumerate(field.pins):
        u = math.degrees(math.sqrt(float(variance[i])))
        cones.append(Cone(pin.name, pin.tooth, pin.axis, allowance[pin.tooth], u))
    return tuple(cones)
