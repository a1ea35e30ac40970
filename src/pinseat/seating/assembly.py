"""The bridge and its holes as plain numbers: what a change at the bench would alter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Abutment, Case
from pinseat.case.tryin import PinSize
from pinseat.errors import SeatingError
from pinseat.ledger.faces import Face
from pinseat.ledger.pins import PinField
from pinseat.ledger.rows import FitLedger, Row
from pinseat.reference import value
from pinseat.seating.give import Give, stated_give

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Assembly:
    """Everything the contact problem is built from; a lever is a changed copy of it.

    Attributes
    ----------
    names : tuple of str
        Pins, ``11-2``.
    teeth : tuple of int
        Tooth of each pin.
    mouths, axes : (n, 3) array
        Centres of the holes' mouths in mm, unit vectors out of the holes.
    hole_mm, pin_mm, depth_mm, relief_mm : (n,) array
        Diameter of hole and cast pin, depth of the hole, how far the cast pin stops short of the floor.
    u_hole_mm, u_pin_mm : float
        Standard uncertainty of each diameter.
    tilt_covariance : (2 n, 2 n) array
        Of the surveyed axes across themselves, rad^2, in the frame of :func:`pinseat.ledger.pins.frame`.
    faces : tuple of Face
    draw : (3,) array
        Unit vector off the teeth.
    rows : tuple of Row
        The fit ledger.
    tilt_pivot : {"mouth", "mid-pin"}
    limit_mm : float
        Largest opening accepted.
    taper_mm : (n,) array
        By how much each cast pin is thinner at its tip than at the mouth; 0 = straight.
    bevel_mm : float
        Depth of the bevel at every mouth: there the hole holds the pin no more.
    pivot_below_mm : float or None
        How far below the mouth tilt errors act about; goes before `tilt_pivot`.
    present : (n,) bool array
        Pins that the bridge has; the others only keep their random numbers.
    spare : int
        How many of the last pins were added as a change: their random numbers come after all others.
    give : Give or None
        What yields as the bridge is held up.
    """

    names: tuple[str, ...]
    teeth: tuple[int, ...]
    mouths: Float
    axes: Float
    hole_mm: Float
    pin_mm: Float
    depth_mm: Float
    relief_mm: Float
    u_hole_mm: float
    u_pin_mm: float
    tilt_covariance: Float
    faces: tuple[Face, ...]
    draw: Float
    rows: tuple[Row, ...]
    tilt_pivot: str
    limit_mm: float
    taper_mm: Float
    bevel_mm: float
    pivot_below_mm: float | None
    present: NDArray[np.bool_]
    spare: int = 0
    give: Give | None = None

    @property
    def length_mm(self) -> Float:
        """Length of each cast pin inside its hole when seated, (n,)."""
        return self.depth_mm - self.relief_mm

    @property
    def pivot_mm(self) -> Float:
        """Where along each pin its tilt errors act about: 0 at the mouth, negative into the hole, (n,)."""
        if self.pivot_below_mm is not None:
            return np.full(len(self.names), -self.pivot_below_mm)
        return np.zeros(len(self.names)) if self.tilt_pivot == "mouth" else -self.length_mm / 2.0

    def diameter_at(self, pins: NDArray[np.intp], along: Float) -> Float:
        """Diameter of cast pins at places along them, 0 at the mouth and negative into the hole."""
        return self.pin_mm[pins] + self.taper_mm[pins] * along / self.length_mm[pins]

    @property
    def lean_deg(self) -> Float:
        """Angle of each hole to the draw in degrees, (n,)."""
        along = self.axes @ self.draw
        across = np.linalg.norm(self.draw - along[:, None] * self.axes, axis=1)
        return np.degrees(np.arctan2(across, along))


def assemble(field: PinField, faces: Sequence[Face], draw: Float, fit: FitLedger, case: Case) -> Assembly:
    """Bring what earlier steps found together with what the case states.

    Parameters
    ----------
    field : PinField
    faces : sequence of Face
        At least one margin or ledge: there the opening is measured.
    draw : (3,) array
        Off the teeth; any length.
    fit : FitLedger
    case : Case

    Returns
    -------
    Assembly

    Raises
    ------
    SeatingError
        Without pins or a margin, for a pin of a tooth that is not an abutment, a pin that does not reach into
        its hole, or a draw that runs across a pin.
    """
    if not field.pins:
        raise SeatingError("there is no pin to seat", do="run survey, or add the pins by hand in case.toml")
    if not any(face.kind in ("margin", "ledge") for face in faces):
        raise SeatingError(
            "there is no margin or ledge to measure the opening at",
            do="pick one for each abutment under [[contacts]] in case.toml",
        )
    stated = [_abutment_of(pin.tooth, pin.name, case) for pin in field.pins]
    size = _sizes(field, stated, case)
    assembly = Assembly(
        names=tuple(pin.name for pin in field.pins),
        teeth=tuple(pin.tooth for pin in field.pins),
        mouths=np.array([pin.foot for pin in field.pins], dtype=np.float64),
        axes=np.array([pin.axis for pin in field.pins], dtype=np.float64),
        hole_mm=np.array([a.hole_diameter_mm for a in stated]),
        pin_mm=size[0],
        depth_mm=np.array([a.hole_depth_mm for a in stated]),
        relief_mm=np.array([a.hole_depth_mm for a in stated]) - size[1],
        u_hole_mm=_u_mm("seat.hole_diameter_error_um"),
        u_pin_mm=_u_mm("seat.cast_pin_diameter_error_um"),
        tilt_covariance=field.tilt_covariance,
        faces=tuple(faces),
        draw=np.asarray(draw, dtype=np.float64) / float(np.linalg.norm(draw)),
        rows=fit.rows,
        tilt_pivot=case.seat.tilt_pivot,
        limit_mm=case.seat.limit_um / 1000.0,
        taper_mm=size[0] - size[2],
        bevel_mm=case.mechanics.mouth_bevel_mm,
        pivot_below_mm=case.mechanics.tilt_pivot_mm,
        present=np.ones(len(stated), dtype=bool),
        give=stated_give(case),
    )
    _refuse_impossible(assembly)
    return assembly


def _u_mm(name: str) -> float:
    found = value(name)
    if found.uncertainty is None:
        raise SeatingError("seating needs an uncertainty here", where=f"{found.file}, {name}", value="none")
    return found.uncertainty / 1000.0


def _sizes(field: PinField, stated: list[Abutment], case: Case) -> Float:
    """Diameter at the mouth, length in the hole and diameter at the tip of each cast pin, (3, n)."""
    own = {size.pin: size for size in case.mechanics.pins}
    names = [pin.name for pin in field.pins]
    for name in own:
        if name not in names:
            raise SeatingError(
                "there is no such pin",
                where="case.toml, [[mechanics.pins]]",
                value=name,
                limit=f"one of {', '.join(names)}",
            )
    sizes = []
    for name, abutment in zip(names, stated, strict=True):
        size = own.get(name, PinSize(pin=name))
        thick = size.diameter_mm or abutment.cast_pin_diameter_mm
        length = size.length_mm or abutment.hole_depth_mm - abutment.floor_relief_mm
        thin = size.tip_diameter_mm or case.mechanics.tip_diameter_mm or thick
        sizes.append((thick, length, min(thin, thick)))
    return np.array(sizes).T


def _abutment_of(tooth: int, name: str, case: Case) -> Abutment:
    for abutment in case.abutments:
        if abutment.tooth == tooth:
            return abutment
    raise SeatingError(
        "this pin's tooth is not among the abutments",
        where=f"pin {name}",
        limit=", ".join(str(a.tooth) for a in case.abutments),
        do="add the tooth under [[abutments]] or reject the pin",
    )


def _refuse_impossible(assembly: Assembly) -> None:
    for name, length, lean in zip(assembly.names, assembly.length_mm, assembly.lean_deg, strict=True):
        if length <= assembly.bevel_mm:
            deep = assembly.bevel_mm > 0.0
            raise SeatingError(
                "the cast pin does not reach into its hole",
                where=f"pin {name}",
                value=f"{length:.2f} mm in the hole" + (f", {assembly.bevel_mm:.2f} mm bevel" * deep),
                limit="hole depth larger than floor relief" + (" and bevel" * deep),
                do="correct hole_depth_mm or floor_relief_mm of the abutment",
            )
        if lean > 45.0:
            raise SeatingError(
                "the draw runs across this pin",
                where=f"pin {name}",
                value=f"{lean:.0f} deg between them",
                limit="at most 45 deg",
                do="check the pin's axis; it must point out of the hole",
            )
