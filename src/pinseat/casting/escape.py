"""How the cement gets out under a bridge that goes down straight, and what it does to the holes meanwhile.

A blind hole full of cement is a hydraulic cylinder. While only the pins resist, the whole force stands on
the area of their tips, however thin the cement: 50 N on two pins of 0.65 mm is 75 MPa, and the wall of a hole
feels the pressure as tension round it. Up to 17 MPa were measured while posts of 1.3 mm were cemented. So the
bridge is let down gently until the faces carry most of the force.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pinseat.case.model import Abutment, Case
from pinseat.casting.flow import annulus_number, disc_factor_mm2, groove_number, pin_factor_mm2
from pinseat.ledger.pins import PinField
from pinseat.reference import value

SEEN_MM = 0.1
"""About the least opening that an eye tells from a closed margin at the chair."""
STEPS = 300
"""Openings at which the walls are looked at."""


@dataclass(frozen=True)
class Hole:
    """One pin in its blind hole.

    Attributes
    ----------
    name : str
    hole_mm, pin_mm : float
        Diameters.
    engaged_mm : float
        Length in the hole when home.
    relief_mm : float
        From the tip to the floor when home.
    """

    name: str
    hole_mm: float
    pin_mm: float
    engaged_mm: float
    relief_mm: float

    @property
    def room_um(self) -> float:
        """Radial room for cement."""
        return 500.0 * (self.hole_mm - self.pin_mm)

    def factor_mm(self, opening_mm: float, groove_mm: float) -> float:
        """Force over viscosity and speed at an opening."""
        inside = max(self.engaged_mm - opening_mm, 0.0)
        tip = 1.5 * math.pi * (self.pin_mm / 2.0) ** 4 / (self.relief_mm + opening_mm) ** 3
        return 2.0 * math.pi * inside / self._number(groove_mm) + tip

    def work_mm2(self, from_mm: float, to_mm: float, groove_mm: float) -> float:
        """Integral of its factor while the opening goes from one value to a smaller one."""
        number = self._number(groove_mm)
        start, end = (max(self.engaged_mm - gap, 0.0) for gap in (from_mm, to_mm))
        tip = disc_factor_mm2(self.pin_mm / 2.0, self.relief_mm + from_mm, self.relief_mm + to_mm)
        return pin_factor_mm2(end, number) - pin_factor_mm2(start, number) + tip

    def _number(self, groove_mm: float) -> float:
        number = annulus_number(self.hole_mm / 2.0, self.pin_mm / 2.0)
        return number + groove_number(self.pin_mm / 2.0, groove_mm)


@dataclass(frozen=True)
class Escape:
    """All ways out of a bridge.

    Attributes
    ----------
    holes : tuple of Hole
    faces : int
        Retainers; the surface each covers is taken as a disc of the same area.
    covered_mm2 : float
    groove_mm : float
        Vent along each pin.
    film_mm : float
        Film that is left when seated.
    """

    holes: tuple[Hole, ...]
    faces: int
    covered_mm2: float
    groove_mm: float
    film_mm: float

    @property
    def open_mm(self) -> float:
        """Opening at which the longest pin stands at the mouth of its hole."""
        return max(hole.engaged_mm for hole in self.holes)

    def factor_mm(self, opening_mm: float) -> float:
        """Force over viscosity and speed at an opening."""
        faces = self.faces * 1.5 * math.pi * (self.covered_mm2 / math.pi) ** 2 / opening_mm**3
        return faces + math.fsum(hole.factor_mm(opening_mm, self.groove_mm) for hole in self.holes)

    def work_mm2(self, from_mm: float, to_mm: float) -> float:
        """Integral of the factor while the opening goes from one value to a smaller one."""
        radius = math.sqrt(self.covered_mm2 / math.pi)
        pins = math.fsum(hole.work_mm2(from_mm, to_mm, self.groove_mm) for hole in self.holes)
        return pins + self.faces * disc_factor_mm2(radius, from_mm, to_mm)

    def wall_MPa(self, force_N: float, opening_mm: float, dentine_mm: float) -> float:
        """Largest tension round a hole under a force at an opening.

        The pin's part of the force over the area of its tip is the pressure; the wall is a thick tube
        (Lame): ``p (b^2 + a^2) / (b^2 - a^2)`` at a hole of radius `a` in dentine out to `b`.
        """
        whole = self.factor_mm(opening_mm)
        return max(
            force_N
            * hole.factor_mm(opening_mm, self.groove_mm)
            / whole
            / (math.pi * (hole.pin_mm / 2.0) ** 2)
            * tube_ratio(hole.hole_mm / 2.0, dentine_mm)
            for hole in self.holes
        )


@dataclass(frozen=True)
class Push:
    """How hard to press, and until when gently.

    Attributes
    ----------
    full_N : float
        When the faces carry; no more than the gentle force where nobody could see when to change.
    gentle_N : float
        Until then; the full force where that is harmless from the beginning.
    until_mm : float
        Opening below which the full force is harmless; 0 when it is harmless everywhere.
    wall_MPa : float
        Tension in the wall that the full force would bring if it were there from the beginning.
    """

    full_N: float
    gentle_N: float
    until_mm: float
    wall_MPa: float

    def fluidity(self, way: Escape) -> float:
        """Integral of 1/viscosity over time that brings the bridge home, 1/Pa."""
        change = min(self.until_mm, way.open_mm) if self.gentle_N < self.full_N else way.open_mm
        gently = way.work_mm2(way.open_mm, change) / self.gentle_N if change < way.open_mm else 0.0
        return 1e-6 * (gently + way.work_mm2(change, way.film_mm) / self.full_N)


def tube_ratio(hole_radius_mm: float, wall_mm: float) -> float:
    """Tension round a hole over the pressure in it: thick tube (Lame).

    Examples
    --------
    >>> round(tube_ratio(0.35, 1.0), 3)
    1.144
    """
    inner, outer = hole_radius_mm**2, (hole_radius_mm + wall_mm) ** 2
    return (outer + inner) / (outer - inner)


def push_of(way: Escape, full_N: float) -> Push:
    """How hard the bridge may be pressed at first so that no wall is strained beyond what dentine stands.

    Parameters
    ----------
    way : Escape
    full_N : float

    Returns
    -------
    Push
    """
    dentine = value("pin.dentine_around_min_mm").value
    most = value("dentine.fatigue_stress_MPa").value
    openings = np.geomspace(way.open_mm, way.film_mm, STEPS)
    walls = np.array([way.wall_MPa(full_N, float(h), dentine) for h in openings])
    worst = float(walls.max())
    if worst <= most:
        return Push(full_N, full_N, 0.0, worst)
    harmless = int(np.flatnonzero(walls > most)[-1]) + 1
    until, gentle = float(openings[min(harmless, STEPS - 1)]), full_N * most / worst
    if until < SEEN_MM:  # nobody sees so little left: gently all the way
        return Push(gentle, gentle, 0.0, worst)
    return Push(full_N, gentle, until, worst)


def holes_of(case: Case, field: PinField) -> tuple[Hole, ...]:
    """Each pin of the case in its hole."""
    by_tooth: dict[int, Abutment] = {a.tooth: a for a in case.abutments}
    return tuple(
        Hole(
            pin.name,
            (a := by_tooth[pin.tooth]).hole_diameter_mm,
            a.cast_pin_diameter_mm,
            a.hole_depth_mm - a.floor_relief_mm,
            a.floor_relief_mm,
        )
        for pin in field.pins
        if pin.tooth in by_tooth
    )


def escape_of(case: Case, holes: tuple[Hole, ...]) -> Escape:
    """The ways out of this case's bridge, as stated or assumed."""
    said = case.cement
    return Escape(
        holes=holes,
        faces=len({hole.name.split("-")[0] for hole in holes}),
        covered_mm2=said.covered_mm2 or value("cement.covered_mm2").value,
        groove_mm=said.vent_mm,
        film_mm=(said.film_um or value("cement.film_max_um").value) / 1000.0,
    )
