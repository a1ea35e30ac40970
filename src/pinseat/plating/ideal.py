"""Pieces without a scan: idealised cups side by side in a flat block, and the surface that is shown."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from skimage.measure import marching_cubes

from pinseat.case.plating import Plating
from pinseat.mesh.model import Mesh
from pinseat.plating.cups import Block, Cup, ideal_cups
from pinseat.plating.hung import Stand, clear_mm, hang
from pinseat.plating.model import Geometry
from pinseat.plating.pieces import Piece, scale_to

GAP_MM = 2.0
"""Between two cups of the row."""
LEAST_DEPTH_MM = 1.8
"""What is shallower is taken as so deep, with the same area: a deposit needs room to grow in."""
SHOWN_MM = 0.25
"""Grid of the surface that is shown."""


def row_of(pieces: Sequence[Piece]) -> tuple[Cup, ...]:
    """The cups of the pieces in a row along x, about the middle."""
    depths = [max(piece.depth_mm, LEAST_DEPTH_MM) for piece in pieces]
    outlines = [
        piece.outline_mm * scale_to(piece.outline_mm, depth, piece.area_mm2)
        for piece, depth in zip(pieces, depths, strict=True)
    ]
    reach = [float(np.linalg.norm(outline, axis=1).max()) for outline in outlines]
    ends = np.cumsum([2.0 * r + GAP_MM for r in reach])
    at = ends - np.array(reach) - 0.5 * GAP_MM - 0.5 * ends[-1]
    return tuple(
        Cup(piece.name, depth, outline_mm=outline, at_mm=(float(x), 0.0))
        for piece, depth, outline, x in zip(pieces, depths, outlines, at, strict=True)
    )


def geometry_of(pieces: Sequence[Piece], plating: Plating, metal_mm: float) -> Geometry:
    """Everything in the bath, for pieces without a scan.

    Parameters
    ----------
    pieces : sequence of Piece
    plating : pinseat.case.plating.Plating
        Masks, flange, anode, and what else hangs in the bath.
    metal_mm : float
        Cell edge at metal.

    Returns
    -------
    Geometry

    Raises
    ------
    PlatingError
        As :func:`pinseat.plating.hung.hang`.
    """
    cups = row_of(pieces)
    plain = ideal_cups(
        cups,
        mask_mm=plating.mask_mm,
        ring_mm=0.0 if plating.mask_mm > 0.0 else plating.flange_mm,
        anode_mm=clear_mm(plating),
        metal_mm=metal_mm,
        rubber_mm=2.0 * metal_mm,
    )
    return hang(plain, plating, stands_of(cups), beside_mm=12.0)


def stands_of(cups: Sequence[Cup]) -> dict[str, Stand]:
    """Where idealised cups are."""
    return {cup.name: Stand(np.array(cup.at_mm), -cup.depth_mm, 0.0, cup.reach_mm) for cup in cups}


def surface_of(geometry: Geometry) -> Mesh:
    """The block with its cups as a mesh, seen from the bath.

    Parameters
    ----------
    geometry : Geometry
        Of :func:`geometry_of`.

    Returns
    -------
    Mesh
        Faces turned towards the liquid.
    """
    block = geometry.bodies[0]
    assert isinstance(block, Block)
    reach = np.array([c.reach_mm + 1.5 for c in block.cups])
    at = np.array([c.at_mm for c in block.cups])
    deep = max(c.depth_mm for c in block.cups)
    low = np.array([*(at - reach[:, None]).min(axis=0), -deep - 1.0])
    high = np.array([*(at + reach[:, None]).max(axis=0), 0.5])
    axes = [np.arange(a, b + SHOWN_MM, SHOWN_MM) for a, b in zip(low, high, strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    far = block.distance(grid.reshape(-1, 3)).reshape(grid.shape[:3])
    vertices, faces, _, _ = marching_cubes(far, 0.0, spacing=(SHOWN_MM,) * 3, gradient_direction="ascent")
    return Mesh(vertices.astype(np.float64) + low, faces.astype(np.int32))
