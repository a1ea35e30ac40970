"""The field of a case: its cups with everything in the bath, grown through the stages of a programme."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.errors import PlatingError
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.mesh.model import Mesh
from pinseat.plating.cups import Cup
from pinseat.plating.growth import at_vertices, grow
from pinseat.plating.ideal import LEAST_DEPTH_MM, geometry_of, row_of, surface_of
from pinseat.plating.model import Electrolyte, Geometry, Growth, Stage
from pinseat.plating.pieces import Piece
from pinseat.plating.scanned import Scanned, scanned_cups, thickness_on

Float = NDArray[np.float64]

FINE_MM = {"scan": 0.2, "ideal": 0.3}
"""Cell edge at metal for the map."""
COARSE_MM = 0.4
"""Cell edge at metal where only shares are asked for, many times: within about 1 %."""
STEPS = 12
"""Of the growth, in all."""


@dataclass(frozen=True)
class Fineness:
    """How finely the map is solved.

    Attributes
    ----------
    metal_mm, coarse_mm : float
        Cell edge at metal: for the map, and for what the bath hides.
    steps : int
        Of the growth, in all.
    """

    metal_mm: float
    coarse_mm: float = COARSE_MM
    steps: int = STEPS


@dataclass(frozen=True, eq=False)
class Map:
    """A solved and grown case.

    Attributes
    ----------
    growth : Growth
    coarse : Geometry
        The same with larger cells, to solve again with other baths.
    mesh : Mesh
        What is shown.
    thickness_mm : (n,) array
        At its vertices at the end; not a number where nothing is plated.
    thinnest : (3,) array
        The thinnest spot, in the frame of the mesh.
    up : (3,) array
        Towards the eye: off the teeth, or out of idealised cups.
    stages : tuple of Stage
        As grown: less the current of pieces that are not in the map.
    notes : tuple of str
        What was taken for granted.
    """

    growth: Growth
    coarse: Geometry
    mesh: Mesh
    thickness_mm: Float
    thinnest: Float
    up: Float
    stages: tuple[Stage, ...]
    notes: tuple[str, ...]


def map_of(
    case: Case,
    pieces: Sequence[Piece],
    electrolyte: Electrolyte,
    stages: Sequence[Stage],
    *,
    wanted_mm: float,
    upstream: Handover,
    mesh: Mesh | None = None,
    fineness: Fineness | None = None,
    progress: Progress = quiet,
) -> Map:
    """Solve and grow a case.

    Parameters
    ----------
    case : Case
    pieces : sequence of Piece
    electrolyte : Electrolyte
    stages : sequence of Stage
    wanted_mm : float
        Minimum wanted.
    upstream : Handover
        With a scan, the pins and the draw.
    mesh : Mesh, optional
        The working scan; idealised cups without it.
    fineness : Fineness, optional
    progress : callable

    Returns
    -------
    Map

    Raises
    ------
    PlatingError
        As :func:`pinseat.plating.growth.grow`; when the scan shows none of the pieces.
    """
    if mesh is None or upstream.field is None or upstream.draw is None:
        return _ideal(
            case, pieces, electrolyte, stages, wanted_mm, fineness or Fineness(FINE_MM["ideal"]), progress
        )
    fine = fineness or Fineness(FINE_MM["scan"])
    progress("cutting the cups from the scan", 0.0)
    made = scanned_cups(case, pieces, mesh, upstream.field, upstream.draw, fine.metal_mm, upstream.margins)
    leads = {name: _highest(made, mesh, faces) for name, faces in made.regions.items()}
    stages = _for_some(stages, pieces, made.left_out)
    geometry = filmed(made.cups.geometry, case.plating.film_ohm, leads)
    growth = _grown(geometry, electrolyte, stages, fine.steps, wanted_mm, progress)
    return Map(
        growth=growth,
        coarse=coarse_of(case, pieces, upstream, mesh, fine.coarse_mm),
        mesh=mesh,
        thickness_mm=thickness_on(made, growth, mesh),
        thinnest=made.cups.to_scan(growth.thinnest[None])[0],
        up=np.asarray(upstream.draw, float),
        stages=tuple(stages),
        notes=made.notes,
    )


def _grown(
    geometry: Geometry,
    electrolyte: Electrolyte,
    stages: Sequence[Stage],
    steps: int,
    wanted_mm: float,
    progress: Progress,
) -> Growth:
    """Grow; a cup that is full before the end is told as that."""
    done = [0.0]

    def watched(doing: str, fraction: float) -> None:
        done[0] = fraction
        progress(doing, fraction)

    try:
        return grow(geometry, electrolyte, stages, steps=steps, wanted_mm=wanted_mm, progress=watched)
    except PlatingError as error:
        if done[0] <= 0.0 or "metal is left" not in error.what:
            raise
        hours = done[0] * sum(stage.hours for stage in stages)
        raise PlatingError(
            "this cup is full of metal before the end",
            where=error.where,
            value=f"after {hours:.1f} h",
            do="plate less (mean_mm, stop_mean_mm), give it less current, or state its depth and outline",
        ) from None


def coarse_of(
    case: Case,
    pieces: Sequence[Piece],
    upstream: Handover,
    mesh: Mesh | None = None,
    metal_mm: float | None = None,
) -> Geometry:
    """The bath with its cups on coarse cells, to be solved many times."""
    edge = metal_mm or COARSE_MM
    if mesh is None or upstream.field is None or upstream.draw is None:
        return geometry_of(pieces, case.plating, edge)
    return scanned_cups(
        case, pieces, mesh, upstream.field, upstream.draw, edge, upstream.margins
    ).cups.geometry


def filmed(geometry: Geometry, film_ohm: float, leads: Mapping[str, Float]) -> Geometry:
    """The same with a resistive film on the pieces, each touched by its lead at one place."""
    if film_ohm <= 0.0:
        return geometry
    electrodes = tuple(
        replace(e, sheet_ohm=film_ohm, contact=leads[e.name]) if e.piece else e for e in geometry.electrodes
    )
    return replace(geometry, electrodes=electrodes)


def _edge(cup: Cup) -> Float:
    """Where the lead of an idealised cup touches: on its margin."""
    assert cup.outline_mm is not None
    x, y = cup.outline_mm[int(np.argmax(cup.outline_mm[:, 0]))]
    return np.array([x + cup.at_mm[0], y + cup.at_mm[1], 0.0])


def _highest(made: Scanned, mesh: Mesh, faces: NDArray[np.intp]) -> Float:
    """Where the lead of a scanned piece touches: the highest place of its margin."""
    place = made.cups.from_scan(mesh.vertices[np.unique(mesh.faces[faces])])
    return place[int(np.argmax(place[:, 2]))]


def _for_some(stages: Sequence[Stage], pieces: Sequence[Piece], left_out: Sequence[str]) -> list[Stage]:
    """Stages with the current of the pieces in the map alone, shared by area."""
    whole = sum(piece.area_mm2 for piece in pieces)
    part = sum(piece.area_mm2 for piece in pieces if piece.name not in left_out) / whole
    return [
        replace(stage, drive=replace(stage.drive, current_mA=part * (stage.drive.current_mA or 0.0)))
        for stage in stages
    ]


def _ideal(
    case: Case,
    pieces: Sequence[Piece],
    electrolyte: Electrolyte,
    stages: Sequence[Stage],
    wanted_mm: float,
    fine: Fineness,
    progress: Progress,
) -> Map:
    geometry = geometry_of(pieces, case.plating, fine.metal_mm)
    leads = {cup.name: _edge(cup) for cup in row_of(pieces)}
    geometry = filmed(geometry, case.plating.film_ohm, leads)
    growth = _grown(geometry, electrolyte, stages, fine.steps, wanted_mm, progress)
    shown = surface_of(geometry)
    shallow = [piece.name for piece in pieces if piece.depth_mm < LEAST_DEPTH_MM]
    body = geometry.bodies[0]
    metal = body.electrode(shown.vertices) >= 1
    plated = metal & (body.metal_distance(shown.vertices) < 0.5 * fine.metal_mm)
    shapes = "idealised cups with upright walls and flat floors, side by side in one block"
    return Map(
        growth=growth,
        coarse=coarse_of(case, pieces, Handover(), None, fine.coarse_mm),
        mesh=shown,
        thickness_mm=np.where(plated, at_vertices(growth, shown.vertices)[0], np.nan),
        thinnest=growth.thinnest,
        up=np.array([0.0, 0.0, 1.0]),
        stages=tuple(stages),
        notes=(shapes, *([f"{', '.join(shallow)} taken as {LEAST_DEPTH_MM:g} mm deep"] if shallow else [])),
    )
