"""What shrinkage toward the tray and cooling do to each pin's bed and to each margin.

Rubber keeps its volume, so what shrinks is taken from the free surfaces; a bond that slips and a tray that
gives take some of that back. Everything is therefore reckoned twice, with Poisson's ratio near 1/2 and with
1/3, and the truth is taken to lie anywhere between.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pinseat.case.model import Case
from pinseat.errors import ImpressionError
from pinseat.impression.block import ACCURACY, STEPS, block_of
from pinseat.impression.bulk import Around
from pinseat.impression.model import FaceDrift, Float, PinDrift
from pinseat.impression.removal import abutment_of, standing_mm
from pinseat.impression.rubber import Strain
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import PinField, frame
from pinseat.reference import value

FREE = 1.0
"""Part of its free strain that a bed shrinks by when nothing holds it; on the demo arch it is 0.7 to 0.9."""


@dataclass(frozen=True, eq=False)
class Moved:
    """Movement per unit of free strain, for one Poisson's ratio; towards the tray.

    Attributes
    ----------
    foot_mm, tip_mm : (n, 3) array
        Of each bed at the tooth and at its closed end.
    face_mm : (f,) array
        Of each contact face along its normal; not a number where no rubber is.
    """

    foot_mm: Float
    tip_mm: Float
    face_mm: Float


@dataclass(frozen=True, eq=False)
class Shape:
    """Both ends of what the rubber can do, and what they were reckoned from.

    Attributes
    ----------
    ends : tuple of Moved
        With the loose and with the tight Poisson's ratio.
    over_tip_mm, beside_mm, tall_mm : (n,) array
        Rubber over each pin's free end; shortest way from its middle to the tray; how far it stands into the
        rubber.
    relative : float
        Relative standard uncertainty of every movement, from thickness, length and cubes.
    uneven_mm : float
        Standard uncertainty of each component across, from what is not known of the bulk.
    sideways_mm : float
        Standard uncertainty across of all pins of a tooth together: where the walls are not known, a tooth is
        pulled to one side by anything up to a whole layer.
    """

    ends: tuple[Moved, ...]
    over_tip_mm: Float
    beside_mm: Float
    tall_mm: Float
    relative: float
    uneven_mm: float
    sideways_mm: float = 0.0


def poissons() -> tuple[float, float]:
    """The loose and the tight Poisson's ratio."""
    return value("impression.poisson_loose_ratio").value, value("impression.poisson_tight_ratio").value


def layer(poisson: float) -> float:
    """How far the free side of a bonded layer moves, over its thickness times its free strain."""
    return (1.0 + poisson) / (1.0 - poisson)


def moved(field: PinField, faces: Sequence[Face], draw: Float, around: Around, case: Case) -> Shape:
    """Movement of the beds of all pins and of the contact faces.

    With a tray by finite elements on a block of cubes; with a uniform bulk *t* that of a bonded layer,
    ``(1 + v) / (1 - v) t`` towards the tray. A bed then shrinks by something between its free strain, for it
    stands in a pocket that is no thin layer, and the strain of a layer.

    Parameters
    ----------
    field : PinField
    faces : sequence of Face
    draw : (3,) array
    around : Around
    case : Case

    Returns
    -------
    Shape

    Raises
    ------
    ImpressionError
        If the tray does not surround a pin, or the rubber hangs on nothing.
    """
    axes = np.array([pin.axis for pin in field.pins])
    feet = np.array([pin.foot for pin in field.pins])
    stands = [standing_mm(pin, abutment_of(pin, case), field.basis) for pin in field.pins]
    tall = np.array([one for one, _ in stands])
    u_tall = max(u / one for one, u in stands)
    thick, u_thick = around.bulk.middle_mm, around.bulk.u_mm
    uneven = u_thick * float(np.mean([layer(poisson) for poisson in poissons()]))
    relative = math.hypot(u_thick / thick, u_tall)
    ends: tuple[Moved, ...]
    if around.teeth is None or around.tray is None or around.wall is None or around.distance is None:
        loose, tight = map(layer, poissons())
        ends = (
            _layered(field, faces, tall, thick, loose, FREE),
            _layered(field, faces, tall, thick, tight, tight),
        )
        even = np.full(len(tall), thick)
        factor = float(np.mean([layer(poisson) for poisson in poissons()]))
        return Shape(ends, even, even, tall, relative, uneven, factor * thick / math.sqrt(3.0))
    tips = feet + tall[:, None] * axes
    block = block_of(around.teeth, around.tray, feet, draw, thick)
    normals = np.array([face.normal for face in faces]).reshape(-1, 3)
    points = np.vstack([feet, tips, np.array([face.point for face in faces]).reshape(-1, 3)])
    try:
        ends = tuple(_split(block.moved(points, poisson), normals) for poisson in poissons())
    except ArithmeticError as error:
        raise ImpressionError(f"{error}", do="look at the tray's mesh: it must be closed") from error
    for pin, found in zip(field.pins, ends[0].foot_mm + ends[0].tip_mm, strict=True):
        if not np.all(np.isfinite(found)):
            raise ImpressionError(
                "the tray does not surround this pin",
                where=f"pin {pin.name}",
                do="give a tray in the coordinates of the scan, or state bulk_mm and no tray_file",
            )
    beside = np.abs(around.distance.search(0.5 * (feet + tips)).distance_mm)
    over = around.wall.distance(tips, axes)
    rough = math.hypot(uneven, STEPS * block.side_mm)
    return Shape(ends, over, beside, tall, math.hypot(relative, ACCURACY), rough)


def _layered(
    field: PinField, faces: Sequence[Face], tall: Float, thick: float, factor: float, bed: float
) -> Moved:
    axes = np.array([pin.axis for pin in field.pins])
    tip = factor * thick * axes
    return Moved(tip + bed * tall[:, None] * axes, tip, np.full(len(faces), factor * thick))


def _split(moves: Float, normals: Float) -> Moved:
    pins = (len(moves) - len(normals)) // 2
    along = np.einsum("ij,ij->i", moves[2 * pins :], normals)
    return Moved(moves[:pins], moves[pins : 2 * pins], along)


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


def pin_drifts(field: PinField, shape: Shape, strain: Strain) -> tuple[tuple[PinDrift, ...], float, float]:
    """Shift, tilt and depth of each bed, and the common scale.

    Parameters
    ----------
    field : PinField
    shape : Shape
    strain : Strain

    Returns
    -------
    drifts : tuple of PinDrift
    scale_percent, u_scale_percent : float
        Of the distances between the pins.
    """
    e = strain.percent / 100.0
    both = np.array([_of_end(field, end, shape.tall_mm) for end in shape.ends])
    mean, doubt = e * both.mean(axis=0), abs(e) * np.abs(both[1] - both[0]) / math.sqrt(12.0)
    relative = math.hypot(shape.relative, strain.u_percent / strain.percent if strain.percent else 0.0)
    uneven, measured = abs(e) * shape.uneven_mm, shape.sideways_mm == 0.0

    def u(value: float, doubt: float, more: float = 0.0) -> float:
        return math.hypot(relative * value, doubt, more)

    drifts = []
    for i, pin in enumerate(field.pins):
        x, y, a, b, proud = map(float, mean[i, :5])
        d = doubt[i]
        tall = float(shape.tall_mm[i])
        drifts.append(
            PinDrift(
                name=pin.name,
                over_tip_mm=float(shape.over_tip_mm[i]),
                beside_mm=float(shape.beside_mm[i]),
                shift_um=1000.0 * np.array([x, y]),
                u_shift_um=1000.0 * u(math.hypot(x, y), float(np.hypot(d[0], d[1])), uneven),
                tilt_deg=np.degrees([a, b]),
                u_tilt_deg=math.degrees(u(math.hypot(a, b), float(np.hypot(d[2], d[3])), uneven / tall)),
                proud_um=1000.0 * proud,
                u_proud_um=1000.0 * u(proud, d[4], uneven if measured else 0.0),
                scale_percent=-100.0 * proud / tall,
                u_scale_percent=100.0 * u(proud, d[4], uneven if measured else 0.0) / tall,
            )
        )
    apart = abs(e) * math.sqrt(2.0) * shape.sideways_mm / _between_teeth(field)
    scale = float(mean[0, 5])
    return tuple(drifts), 100.0 * scale, 100.0 * u(scale, float(doubt[0, 5]), apart)


def _between_teeth(field: PinField) -> float:
    """Largest distance between the middles of two teeth's pins, mm; infinite with one tooth."""
    teeth = dict.fromkeys(pin.tooth for pin in field.pins)
    middles = [np.mean([p.foot for p in field.pins if p.tooth == tooth], axis=0) for tooth in teeth]
    return max(
        (float(np.linalg.norm(a - b)) for a in middles for b in middles if a is not b), default=math.inf
    )


def _of_end(field: PinField, end: Moved, tall: Float) -> Float:
    """Per unit of strain: shift across (2), lean (2), proud of each bed, and the common scale, (n, 6)."""
    feet = np.array([pin.foot for pin in field.pins])
    scale, turn, left = common(feet, end.foot_mm)
    if len(feet) == 1:
        turn = np.zeros(3)
    rows = []
    for i, pin in enumerate(field.pins):
        across = frame(pin.axis)
        bed = end.foot_mm[i] - end.tip_mm[i]
        lean = -(across @ bed) / tall[i] - across @ np.cross(turn, pin.axis)
        rows.append([*(across @ left[i]), *lean, float(bed @ pin.axis), scale])
    return np.array(rows)


def face_drifts(faces: Sequence[Face], shape: Shape, strain: Strain) -> tuple[FaceDrift, ...]:
    """Movement of the copy of each contact face along its normal; positive = the die grows.

    Parameters
    ----------
    faces : sequence of Face
        Those in whose place there is no rubber are left out.
    shape : Shape
        Reckoned with the same faces.
    strain : Strain

    Returns
    -------
    tuple of FaceDrift
    """
    e = strain.percent / 100.0
    loose, tight = (end.face_mm for end in shape.ends)
    relative = math.hypot(shape.relative, strain.u_percent / strain.percent if strain.percent else 0.0)
    found = []
    for face, low, high in zip(faces, loose, tight, strict=True):
        if math.isfinite(low + high):
            out = float(e * (low + high) / 2.0)
            u = math.hypot(relative * out, float(e * (high - low)) / math.sqrt(12.0))
            found.append(FaceDrift(face.kind, face.tooth, 1000.0 * out, 1000.0 * u))
    return tuple(found)
