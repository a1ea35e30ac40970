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
from pinseat.plating.hung import Stand
from pinseat.plating.ideal import LEAST_DEPTH_MM, geometry_of, row_of, stands_of, surface_of
from pinseat.plating.model import Electrolyte, Geometry, Growth, Stage, with_cells
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
class Laid:
    """The cups of a case in the bath, before anything is solved.

    Attributes
    ----------
    geometry : Geometry
        With the cells of the map, and films on the pieces.
    coarse : Geometry
        The same with larger cells, to solve many times.
    stands : dict of str to Stand
        Where each piece is.
    scanned : Scanned or None
        None for idealised cups.
    notes : tuple of str
        What was taken for granted.
    steps : int
        Of the growth, in all.
    """

    geometry: Geometry
    coarse: Geometry
    stands: dict[str, Stand]
    scanned: Scanned | None
    notes: tuple[str, ...]
    steps: int

    def shown(self, pieces: Sequence[Piece]) -> tuple[Piece, ...]:
        """Those of the pieces that are there."""
        return tuple(piece for piece in pieces if piece.name in self.stands)


@dataclass(frozen=True, eq=False)
class Map:
    """A solved and grown case.

    Attributes
    ----------
    growth : Growth
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
    """

    growth: Growth
    mesh: Mesh
    thickness_mm: Float
    thinnest: Float
    up: Float
    stages: tuple[Stage, ...]


def lay_out(
    case: Case,
    pieces: Sequence[Piece],
    upstream: Handover,
    mesh: Mesh | None = None,
    fineness: Fineness | None = None,
) -> Laid:
    """Put the cups of a case into the bath, once.

    Parameters
    ----------
    case : Case
    pieces : sequence of Piece
    upstream : Handover
        With a scan, the pins, the draw and the margins.
    mesh : Mesh, optional
        The working scan; idealised cups without it.
    fineness : Fineness, optional

    Returns
    -------
    Laid

    Raises
    ------
    PlatingError
        When the scan shows none of the pieces; as :func:`pinseat.plating.hung.hang`.
    """
    if mesh is None or upstream.field is None or upstream.draw is None:
        fine = fineness or Fineness(FINE_MM["ideal"], COARSE_MM, STEPS)
        geometry = geometry_of(pieces, case.plating, fine.metal_mm)
        cups, scanned, notes = row_of(pieces), None, _ideal_notes(pieces)
        leads, stands = {cup.name: _edge(cup) for cup in cups}, stands_of(cups)
    else:
        fine = fineness or Fineness(FINE_MM["scan"], COARSE_MM, STEPS)
        scanned = scanned_cups(
            case, pieces, mesh, upstream.field, upstream.draw, fine.metal_mm, upstream.margins
        )
        leads = {name: _highest(scanned, mesh, faces) for name, faces in scanned.regions.items()}
        geometry, stands, notes = scanned.cups.geometry, scanned.stands, scanned.notes
    geometry = filmed(geometry, case.plating.film_ohm, leads)
    return Laid(geometry, with_cells(geometry, fine.coarse_mm), stands, scanned, notes, fine.steps)


def map_of(
    laid: Laid,
    electrolyte: Electrolyte,
    stages: Sequence[Stage],
    *,
    wanted_mm: float,
    upstream: Handover,
    mesh: Mesh | None = None,
    progress: Progress = quiet,
) -> Map:
    """Grow a case through the stages of a programme.

    Parameters
    ----------
    laid : Laid
    electrolyte : Electrolyte
    stages : sequence of Stage
    wanted_mm : float
        Minimum wanted.
    upstream : Handover
    mesh : Mesh, optional
        The working scan, when the cups were cut from it.
    progress : callable

    Returns
    -------
    Map

    Raises
    ------
    PlatingError
        As :func:`pinseat.plating.growth.grow`.
    """
    growth = _grown(laid.geometry, electrolyte, stages, laid.steps, wanted_mm, progress)
    if laid.scanned is None or mesh is None:
        shown = surface_of(laid.geometry)
        return Map(
            growth=growth,
            mesh=shown,
            thickness_mm=_on_ideal(laid.geometry, growth, shown),
            thinnest=growth.thinnest,
            up=np.array([0.0, 0.0, 1.0]),
            stages=tuple(stages),
        )
    return Map(
        growth=growth,
        mesh=mesh,
        thickness_mm=thickness_on(laid.scanned, growth, mesh),
        thinnest=laid.scanned.cups.to_scan(growth.thinnest[None])[0],
        up=np.asarray(upstream.draw, float),
        stages=tuple(stages),
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


def _ideal_notes(pieces: Sequence[Piece]) -> tuple[str, ...]:
    shallow = [piece.name for piece in pieces if piece.depth_mm < LEAST_DEPTH_MM]
    shapes = "idealised cups with upright walls and flat floors, side by side in one block"
    return (shapes, *([f"{', '.join(shallow)} taken as {LEAST_DEPTH_MM:g} mm deep"] if shallow else []))


def _on_ideal(geometry: Geometry, growth: Growth, shown: Mesh) -> Float:
    """Thickness at the end at each vertex of the surface that is shown; not a number off the pieces."""
    body = geometry.bodies[0]
    plated = (body.electrode(shown.vertices) >= 1) & (
        body.metal_distance(shown.vertices) < 0.5 * geometry.metal_mm
    )
    return np.where(plated, at_vertices(growth, shown.vertices)[0], np.nan)
