"""The motions that yielding teeth and a flexing span add to those of a rigid bridge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.pins import frame
from pinseat.numerics.yielding import Extra
from pinseat.seating.assembly import Assembly
from pinseat.seating.give import cantilever

Float = NDArray[np.float64]


def further_motions(
    assembly: Assembly, pins: NDArray[np.intp], at: Float, across: Float, points: Float, normals: Float
) -> Extra | None:
    """What yields, as motions of discs and faces; None for a rigid bridge on rigid teeth.

    A tooth moves in any direction across the draw, up to its bound. Of the span each retainer after the first
    moves against the first as the end of a beam held there: bent along the draw, bent across it, and twisted,
    each between the two signs of the largest force.

    Parameters
    ----------
    assembly : Assembly
    pins : (D,) int array
        Pin of each disc.
    at : (D, 3) array
    across : (D, 2, 3) array
    points, normals : (F, 3) array
        Floors of all pins come first where there are any, then the faces of the assembly.

    Returns
    -------
    Extra or None
        None when nothing is stated to yield.
    """
    if assembly.give is None:
        return None
    teeth = np.array(assembly.teeth)
    floors = len(teeth) if len(points) else 0
    of_faces = np.concatenate([teeth[:floors], [face.tooth for face in assembly.faces]])[: len(points)]
    fields: list[tuple[Float, Float]] = []
    groups: list[tuple[int, ...]] = []
    bounds: list[float] = []
    for tooth, bound in assembly.give.mobility_mm:
        groups.append((len(fields), len(fields) + 1))
        bounds.append(bound)
        for way in frame(assembly.draw):
            fields.append(
                (
                    -np.where(teeth[pins] == tooth, 1.0, 0.0)[:, None] * way,
                    -np.where(of_faces == tooth, 1.0, 0.0)[:, None] * way,
                )
            )
    for (disc, face), bound in _beam(assembly, teeth[pins], at, of_faces, points):
        groups.append((len(fields),))
        bounds.append(bound)
        fields.append((disc, face))
    if not fields:
        return Extra(np.zeros((len(at), 2, 0)), np.zeros((len(points), 0)), (), ())
    return Extra(
        np.stack([np.einsum("dcj,dj->dc", across, disc) for disc, _ in fields], axis=2),
        np.stack([np.einsum("fj,fj->f", normals, face) for _, face in fields], axis=1),
        tuple(groups),
        tuple(bounds),
    )


def _beam(
    assembly: Assembly, of_discs: NDArray[np.int64], at: Float, of_faces: NDArray[np.int64], points: Float
) -> list[tuple[tuple[Float, Float], float]]:
    """Motion fields of the span, each for one millimetre of its largest travel, and that travel."""
    give = assembly.give
    if give is None or give.beam is None:
        return []
    core = len(assembly.names) - assembly.spare
    mouths, teeth = assembly.mouths[:core], np.array(assembly.teeth[:core])
    first, *others = dict.fromkeys(assembly.teeth)
    made: list[tuple[tuple[Float, Float], float]] = []
    for tooth in others:
        end = mouths[teeth == tooth].mean(axis=0)
        apart = end - mouths[teeth == first].mean(axis=0)
        span = float(np.linalg.norm(apart))
        along = apart / span
        up = assembly.draw - (assembly.draw @ along) * along
        up = up / np.linalg.norm(up)
        side = np.cross(up, along)
        sag, slope, sway, swing, twist = cantilever(give.beam, span, give.force_N)
        arm = give.beam.width_mm / 2.0
        for way, travel, turn, amount in (
            (up, sag, np.cross(along, up), slope),
            (side, sway, np.cross(along, side), swing),
            (np.zeros(3), twist * arm, along, twist),
        ):
            if travel > 0.0:
                field = [
                    np.where((of == tooth)[:, None], way + amount / travel * np.cross(turn, p - end), 0.0)
                    for of, p in ((of_discs, at), (of_faces, points))
                ]
                made.append(((field[0], field[1]), travel))
    return made
