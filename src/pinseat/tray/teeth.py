"""Pins and prepared teeth as the tray sees them, in its own frame."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Abutment
from pinseat.errors import ReferenceValueError, TrayError
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import PinField
from pinseat.reference import value
from pinseat.tray.frame import Frame
from pinseat.tray.model import Asked
from pinseat.tray.pocket import Pocket
from pinseat.tray.stops import Prepared

Float = NDArray[np.float64]

_BEYOND_CROWN_MM = 0.5
_AROUND_FACE_MM = 1.5
_UNKNOWN_CROWN_MM = 10.0


def pockets_of(field: PinField, frame: Frame, asked: Asked) -> tuple[Pocket, ...]:
    """The pins with their wobble.

    Parameters
    ----------
    field : PinField
    frame : Frame
    asked : Asked
    """
    return tuple(
        Pocket(
            name=pin.name,
            foot=frame.local(pin.foot),
            axis=frame.axes @ pin.axis,
            length_mm=pin.protrusion_mm,
            radius_mm=0.5 * pin.diameter_mm,
            tilt_rad=math.radians(asked.wobble_deg),
            shift_mm=asked.wobble_mm,
        )
        for pin in field.pins
    )


def u_of_pins(field: PinField) -> tuple[float, ...]:
    """Standard uncertainty of each pin's surface at its free end, mm.

    Worst direction of the foot, worst direction of the tilt times the protrusion, half the diameter, and the
    protrusion, added in squares.
    """
    out = []
    for i, pin in enumerate(field.pins):
        block = field.covariance[4 * i : 4 * i + 4, 4 * i : 4 * i + 4]
        foot, tilt = (float(np.linalg.eigvalsh(block[k : k + 2, k : k + 2])[-1]) for k in (0, 2))
        square = foot + tilt * pin.protrusion_mm**2 + (0.5 * pin.u_diameter_mm) ** 2
        out.append(math.sqrt(max(square, 0.0) + pin.u_protrusion_mm**2))
    return tuple(out)


def prepared_teeth(
    abutments: Sequence[Abutment], field: PinField, faces: Sequence[Face], frame: Frame
) -> Prepared:
    """Where the prepared teeth stand: by their pins, else as stated, else by places picked on them.

    Each reaches half its crown's larger width (reference values) and half a millimetre from its middle; every
    place picked on it keeps 1.5 mm round it besides.

    Raises
    ------
    TrayError
        When nothing tells where any of them stands.
    """
    teeth: list[int] = []
    places: list[Float] = []
    reach: list[float] = []
    for abutment in abutments:
        at = [pin.foot for pin in field.pins if pin.tooth == abutment.tooth]
        at = at or ([np.array(abutment.at)] if abutment.at is not None else [])
        at = at or [face.point for face in faces if face.tooth == abutment.tooth]
        if at:
            teeth.append(abutment.tooth)
            places.append(frame.local(np.mean(at, axis=0)))
            reach.append(0.5 * _crown_mm(abutment.tooth) + _BEYOND_CROWN_MM)
    if not teeth:
        raise TrayError(
            "nothing tells where the prepared teeth stand",
            where="abutments",
            do="give at = [x, y, z] for each",
        )
    whole = len(teeth)
    for face in faces:
        if face.basis != "assumed from crown size":
            teeth.append(face.tooth)
            places.append(frame.local(face.point))
            reach.append(_AROUND_FACE_MM)
    return Prepared(tuple(teeth), np.array(places), np.array(reach), whole)


def _crown_mm(tooth: int) -> float:
    try:
        sizes = [value(f"crown.{tooth}.{side}_mm").value for side in ("mesiodistal", "faciolingual")]
    except ReferenceValueError:
        return _UNKNOWN_CROWN_MM
    return max(sizes)
