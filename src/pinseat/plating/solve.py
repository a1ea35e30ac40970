"""The field of a case: its cups with everything in the bath, grown through the stages of a programme."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.case.plating import Plating
from pinseat.ledger.handover import Progress, quiet
from pinseat.mesh.model import Mesh
from pinseat.plating.growth import at_vertices, grow
from pinseat.plating.ideal import geometry_of, surface_of
from pinseat.plating.model import Electrolyte, Geometry, Growth, Stage
from pinseat.plating.pieces import Piece

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Map:
    """A solved and grown case.

    Attributes
    ----------
    growth : Growth
    geometry : Geometry
    mesh : Mesh
        What is shown.
    thickness_mm : (n,) array
        At its vertices at the end; not a number where nothing is plated.
    up : (3,) array
        Out of the cups.
    notes : tuple of str
        What was taken for granted.
    """

    growth: Growth
    geometry: Geometry
    mesh: Mesh
    thickness_mm: Float
    up: Float
    notes: tuple[str, ...]


def map_of(
    pieces: Sequence[Piece],
    electrolyte: Electrolyte,
    stages: Sequence[Stage],
    plating: Plating,
    *,
    wanted_mm: float,
    metal_mm: float = 0.3,
    steps: int = 12,
    progress: Progress = quiet,
) -> Map:
    """Solve and grow a case.

    Parameters
    ----------
    pieces : sequence of Piece
    electrolyte : Electrolyte
    stages : sequence of Stage
    plating : pinseat.case.plating.Plating
    wanted_mm : float
        Minimum wanted.
    metal_mm : float
        Cell edge at metal.
    steps : int
        Of the growth, in all.
    progress : callable

    Returns
    -------
    Map
    """
    geometry = geometry_of(pieces, plating, metal_mm)
    growth = grow(geometry, electrolyte, stages, steps=steps, wanted_mm=wanted_mm, progress=progress)
    mesh = surface_of(geometry)
    thickness = at_vertices(growth, mesh.vertices)[0]
    body = geometry.bodies[0]
    plated = (body.electrode(mesh.vertices) >= 1) & (body.metal_distance(mesh.vertices) < 0.5 * metal_mm)
    shapes = "idealised cups with upright walls and flat floors, side by side in one block"
    return Map(
        growth=growth,
        geometry=geometry,
        mesh=mesh,
        thickness_mm=np.where(plated, thickness, np.nan),
        up=np.array([0.0, 0.0, 1.0]),
        notes=(shapes,),
    )
