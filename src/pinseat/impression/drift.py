"""What shrinkage toward the tray and cooling do to each pin's bed and to each margin."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pinseat.case.model import Case
from pinseat.errors import ImpressionError
from pinseat.impression.bulk import Around, relative_u
from pinseat.impression.fibres import reach
from pinseat.impression.model import FaceDrift, Float, PinDrift
from pinseat.impression.removal import abutment_of, standing_mm
from pinseat.impression.rubber import Strain, spoken
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import PinField, frame

OFF_MM = 0.05
"""A point of the rubber lies this far off the tooth's surface."""


@dataclass(frozen=True, eq=False)
class Moved:
    """Movement of every bed per unit of free strain, before anything common is taken out.

    Attributes
    ----------
    foot_mm, tip_mm : (n, 3) array
        Of the bed at the tooth and at its closed end; towards the tray.
    over_tip_mm, beside_mm : (n,) array
    tall_mm : (n,) array
        How far each pin stands into the rubber.
    u_tall : float
        Relative standard uncertainty of that, the largest.
    uneven_mm : float
        Standard uncertainty of each component across, from what is not known of the bulk.
    """

    foot_mm: Float
    tip_mm: Float
    over_tip_mm: Float
    beside_mm: Float
    tall_mm: Float
    u_tall: float
    uneven_mm: float


def moved(field: PinField, around: Around, case: Case) -> Moved:
    """Movement of the beds of all pins.

    With a tray the sum over rays (:mod:`pinseat.impression.fibres`); with a uniform bulk *t* the layer's
    ``2 z`` towards the tray, where *z* is the distance to it along the pin: *t* over the free end.

    Parameters
    ----------
    field : PinField
    around : Around
    case : Case

    Returns
    -------
    Moved

    Raises
    ------
    ImpressionError
        If the tray does not surround a pin.
    """
    axes = np.array([pin.axis for pin in field.pins])
    feet = np.array([pin.foot for pin in field.pins])
    stands = [standing_mm(pin, abutment_of(pin, case), field.basis) for pin in field.pins]
    tall = np.array([one for one, _ in stands])
    u_tall = max(u / one for one, u in stands)
    if around.wall is None:
        t = around.bulk.middle_mm
        return Moved(
            2.0 * (t + tall)[:, None] * axes,
            2.0 * t * axes,
            np.full(len(tall), t),
            np.full(len(tall), t),
            tall,
            u_tall,
            2.0 * around.bulk.u_mm,
        )
    ends = [feet + OFF_MM * axes, feet + tall[:, None] * axes, feet + 0.5 * tall[:, None] * axes]
    low, high, middle = (reach(points, around.wall, around.free) for points in ends)
    over = around.wall.distance(ends[1], axes)
    for pin, found in zip(field.pins, low.reach_mm + high.reach_mm, strict=True):
        if not np.all(np.isfinite(found)):
            raise ImpressionError(
                "the tray does not surround this pin",
                where=f"pin {pin.name}",
                do="give a tray in the coordinates of the scan, or state bulk_mm and no tray_file",
            )
    return Moved(low.reach_mm, high.reach_mm, over, middle.nearest_mm, tall, u_tall, 2.0 * around.bulk.u_mm)


def common(points: Float, movement: Float) -> tuple[float, Float, Float]:
    """The best common scale and turn of small movements, and what they leave.

    Least squares of ``a + w x q + s q`` with *q* from the middle of the points; of several equally good ones
    the smallest.

    Parameters
    ----------
    points, movement : (n, 3) arrays

    Returns
    -------
    scale : float
    turn : (3,) array, rad
    left : (n, 3) array
    """
    q = points - points.mean(axis=0)
    n = len(q)
    rows = np.zeros((3 * n, 7))
    for axis in range(3):
        rows[axis::3, axis] = 1.0
        rows[:, 3 + axis] = np.cross(np.eye(3)[axis], q).ravel()
    rows[:, 6] = q.ravel()
    found = np.linalg.lstsq(rows, movement.ravel(), rcond=1e-9)[0]
    return float(found[6]), np.asarray(found[3:6], float), movement - (rows @ found).reshape(-1, 3)


def pin_drifts(
    field: PinField, shape: Moved, strain: Strain, around: Around
) -> tuple[tuple[PinDrift, ...], float, float]:
    """Shift, tilt and depth of each bed, and the common scale.

    Parameters
    ----------
    field : PinField
    shape : Moved
    strain : Strain
    around : Around

    Returns
    -------
    drifts : tuple of PinDrift
    scale_percent, u_scale_percent : float
        Of the distances between the pins.
    """
    e = strain.percent / 100.0 * spoken("impression.constraint_ratio").value
    relative = math.hypot(relative_u(around), strain.u_percent / strain.percent if strain.percent else 0.0)
    uneven = abs(e) * shape.uneven_mm * 1000.0
    feet = np.array([pin.foot for pin in field.pins])
    scale, turn, left = common(feet, e * shape.foot_mm)
    if len(feet) == 1:
        turn = np.zeros(3)
    drifts = []
    for i, pin in enumerate(field.pins):
        across = frame(pin.axis)
        shift = 1000.0 * across @ left[i]
        bed = e * (shape.foot_mm[i] - shape.tip_mm[i])
        tall = float(shape.tall_mm[i])
        lean = -(across @ bed) / tall - across @ np.cross(turn, pin.axis)
        proud = 1000.0 * float(bed @ pin.axis)
        drifts.append(
            PinDrift(
                name=pin.name,
                over_tip_mm=float(shape.over_tip_mm[i]),
                beside_mm=float(shape.beside_mm[i]),
                shift_um=shift,
                u_shift_um=math.hypot(relative * float(np.linalg.norm(shift)), uneven),
                tilt_deg=np.degrees(lean),
                u_tilt_deg=math.degrees(
                    math.hypot(relative * float(np.linalg.norm(lean)), uneven / 1000.0 / tall)
                ),
                proud_um=proud,
                u_proud_um=abs(proud) * math.hypot(relative, shape.u_tall),
                scale_percent=-proud / tall / 10.0,
                u_scale_percent=abs(proud) * relative / tall / 10.0,
            )
        )
    return tuple(drifts), 100.0 * scale, 100.0 * abs(scale) * relative


def face_drifts(faces: Sequence[Face], strain: Strain, around: Around) -> tuple[FaceDrift, ...]:
    """Movement of the copy of each contact face along its normal; positive = the die grows.

    Parameters
    ----------
    faces : sequence of Face
        Those that no wall of the tray holds are left out.
    strain : Strain
    around : Around

    Returns
    -------
    tuple of FaceDrift
    """
    e = strain.percent / 100.0 * spoken("impression.constraint_ratio").value
    relative = math.hypot(relative_u(around), strain.u_percent / strain.percent if strain.percent else 0.0)
    if around.wall is None:
        along = [2.0 * around.bulk.middle_mm] * len(faces)
    else:
        normals = np.array([face.normal for face in faces]).reshape(-1, 3)
        points = np.array([face.point for face in faces]).reshape(-1, 3) + OFF_MM * normals
        along = np.einsum("ij,ij->i", reach(points, around.wall, around.free).reach_mm, normals).tolist()
    return tuple(
        FaceDrift(face.kind, face.tooth, 1000.0 * e * out, 1000.0 * abs(e * out) * relative)
        for face, out in zip(faces, along, strict=True)
        if math.isfinite(out)
    )
