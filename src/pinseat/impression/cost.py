"""What a pin that is too long costs in opening: the bridge set down on its floors, all else true."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.impression.model import Float
from pinseat.impression.removal import abutment_of
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import PinField, frame
from pinseat.numerics.contact import Contact, disc_rows, face_rows, solve_opening
from pinseat.reference import value

COUNTED = ("margin", "ledge")


@dataclass(frozen=True, eq=False)
class Seat:
    """The bridge of a case in its holes without any error but the length of its pins.

    Attributes
    ----------
    contact : Contact
        Discs: all mouths, then all tips. Faces: all floors, then those of the survey.
    tooth : (f,) int array
        Of each face; 0 for the floors.
    nominal : (m,) array, mm
    first_floor : int
        Where the floors' gaps begin in it.
    pins : int
    """

    contact: Contact
    tooth: NDArray[np.int64]
    nominal: Float
    first_floor: int
    pins: int

    def opening_um(self, too_long_mm: Sequence[float], tooth: int | None = None) -> float:
        """The least opening the bridge can be brought to.

        Parameters
        ----------
        too_long_mm : sequence of float
            Pin by pin; negative = too short.
        tooth : int, optional
            Look at this tooth alone, whatever the others do.

        Returns
        -------
        float
            In um; infinite when the pins do not let the bridge come to rest at all.
        """
        y = self.nominal.copy()
        y[self.first_floor : self.first_floor + self.pins] -= np.asarray(too_long_mm)
        contact = self.contact
        if tooth is not None:
            contact = replace(contact, counted=contact.counted & (self.tooth == tooth))
        return 1000.0 * float(solve_opening(contact, y[None])[0][0])


def seat_of(field: PinField, faces: Sequence[Face], case: Case) -> Seat | None:
    """Set the bridge of a case in its holes.

    Parameters
    ----------
    field : PinField
    faces : sequence of Face
    case : Case

    Returns
    -------
    Seat or None
        None without a margin or ledge: then there is no opening.
    """
    stops = [face.kind in COUNTED for face in faces]
    if not any(stops):
        return None
    stated = [abutment_of(pin, case) for pin in field.pins]
    n = len(stated)
    mouths, axes = (np.array([getattr(pin, name) for pin in field.pins]) for name in ("foot", "axis"))
    length = np.array([a.hole_depth_mm - a.floor_relief_mm for a in stated])
    play = np.array([(a.hole_diameter_mm - a.cast_pin_diameter_mm) / 2.0 for a in stated])
    tips = mouths - length[:, None] * axes
    origin = mouths.mean(axis=0)
    frames = np.array([frame(axis) for axis in axes])
    points = np.vstack([tips, [face.point for face in faces]])
    normals = np.vstack([axes, [face.normal for face in faces]])
    relieved = value("seat.wall_relief_um").value / 1000.0
    gaps = [a.floor_relief_mm for a in stated] + [0.0 if stop else relieved for stop in stops]
    contact = Contact(
        disc_rows(np.vstack([mouths, tips]), np.concatenate([frames, frames]), origin),
        face_rows(points, normals, origin),
        np.array([False] * n + stops),
    )
    return Seat(
        contact=contact,
        tooth=np.array([0] * n + [face.tooth for face in faces]),
        nominal=np.concatenate([np.zeros(4 * n), play, play, gaps]),
        first_floor=6 * n,
        pins=n,
    )
