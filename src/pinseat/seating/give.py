"""What yields as a bridge is held up: teeth in their sockets, and a long span."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinseat.case.model import Case
from pinseat.case.tryin import Beam
from pinseat.reference import value


@dataclass(frozen=True)
class Give:
    """How far teeth and span may yield.

    Attributes
    ----------
    force_N : float
        Largest force at which they are let yield.
    mobility_mm : tuple of (int, float)
        Tooth, and how far it may move across the draw at that force.
    beam : Beam or None
        The span, when it may flex.
    """

    force_N: float
    mobility_mm: tuple[tuple[int, float], ...]
    beam: Beam | None


def stated_give(case: Case) -> Give | None:
    """What a case states; None when nothing yields.

    Parameters
    ----------
    case : Case
    """
    stated = case.mechanics
    if not stated.mobility and stated.beam is None:
        return None
    force = stated.finger_force_N or value("seat.finger_force_N").value
    return Give(force, tuple((m.tooth, force * m.um_per_N / 1000.0) for m in stated.mobility), stated.beam)


def cantilever(beam: Beam, span_mm: float, force_N: float) -> tuple[float, float, float, float, float]:
    """Deflection and slope at the end of a beam held at the other, for a force along and across the draw.

    ``w = F L^3 / (3 E I)`` and ``w' = F L^2 / (2 E I)`` (any beam table); twist of a rectangle
    ``M L / (G J)`` with ``J = b h^3 (1/3 - 0.21 h/b (1 - h^4 / (12 b^4)))`` for the shorter side `h` (from
    memory; Roark), the moment being that of the force at half the width of the section.

    Parameters
    ----------
    beam : Beam
    span_mm, force_N : float

    Returns
    -------
    tuple of float
        Deflection in mm and slope in rad along the draw, the same across the arch, twist in rad.

    Examples
    --------
    >>> steel = Beam(width_mm=3.0, height_mm=3.0, modulus_GPa=200.0)
    >>> round(1000.0 * cantilever(steel, 30.0, 10.0)[0], 1)  # 10 x 27000 / (3 x 200000 x 6.75) mm
    66.7
    """
    modulus = 1000.0 * beam.modulus_GPa
    found = []
    for across, along in ((beam.width_mm, beam.height_mm), (beam.height_mm, beam.width_mm)):
        stiff = modulus * across * along**3 / 12.0
        found += [force_N * span_mm**3 / (3.0 * stiff), force_N * span_mm**2 / (2.0 * stiff)]
    thick, thin = max(beam.width_mm, beam.height_mm), min(beam.width_mm, beam.height_mm)
    ratio = thin / thick
    torsion = thick * thin**3 * (1.0 / 3.0 - 0.21 * ratio * (1.0 - ratio**4 / 12.0))
    shear = modulus / (2.0 * (1.0 + beam.poisson))
    twist = force_N * beam.width_mm / 2.0 * span_mm / (shear * torsion)
    return found[0], found[1], found[2], found[3], math.atan(twist)
