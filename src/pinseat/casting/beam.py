"""The span between the retainers as a beam under the bite.

A load `P` in the middle of a beam of length `L`, rectangular, `b` wide and `h` high (``I = b h^3 / 12``):

    ends that turn freely      sag P L^3 / (48 E I)      largest moment P L / 4
    ends that cannot turn      sag P L^3 / (192 E I)     largest moment P L / 8

A bridge on pins lies between the two. The whole span is taken as thin as its connector, which makes it softer
than it is. Any table of beams has these, for example Young and Budynas, Roark's Formulas for Stress and
Strain, table 8.1 (from memory).
"""

from __future__ import annotations

import math
from typing import Literal

from pinseat.case.model import Case
from pinseat.casting.model import Beam
from pinseat.errors import ReferenceValueError
from pinseat.ledger.verdict import one_sided
from pinseat.reference import value

Ends = Literal["free", "fixed"]
_SAG: dict[Ends, float] = {"free": 48.0, "fixed": 192.0}
_MOMENT: dict[Ends, float] = {"free": 4.0, "fixed": 8.0}


def sag_mm(
    load_N: float, span_mm: float, modulus_GPa: float, width_mm: float, height_mm: float, ends: Ends
) -> float:
    """Deflection at mid-span under a load there.

    Examples
    --------
    >>> round(1000.0 * sag_mm(200.0, 15.0, 90.0, 3.0, 3.0, "free"), 1)
    23.1
    """
    inertia = width_mm * height_mm**3 / 12.0
    return load_N * span_mm**3 / (_SAG[ends] * 1000.0 * modulus_GPa * inertia)


def stress_MPa(load_N: float, span_mm: float, width_mm: float, height_mm: float, ends: Ends) -> float:
    """Largest bending stress under a load at mid-span.

    Examples
    --------
    >>> stress_MPa(200.0, 15.0, 3.0, 3.0, "free"), stress_MPa(200.0, 15.0, 3.0, 3.0, "fixed")
    (166.66666666666666, 83.33333333333333)
    """
    return 6.0 * load_N * span_mm / _MOMENT[ends] / (width_mm * height_mm**2)


def height_for_mm(load_N: float, span_mm: float, width_mm: float, stress: float) -> float:
    """Height of a connector at which a load at mid-span, ends free, gives just this stress (MPa).

    Examples
    --------
    >>> round(height_for_mm(200.0, 15.0, 3.0, 166.666667), 6)
    3.0
    """
    return math.sqrt(6.0 * load_N * span_mm / _MOMENT["free"] / (width_mm * stress))


def beam_of(case: Case) -> Beam | None:
    """The span of a case under its bite.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Beam or None
        None when the connector is not stated, or the span neither stated nor known from crown widths.
    """
    stated = case.casting
    width, height, span = stated.connector_width_mm, stated.connector_height_mm, _span_mm(case)
    if width is None or height is None or span is None:
        return None
    alloy = case.chain.alloy.replace(" ", "_")
    modulus = value(f"alloy.{alloy}.modulus_GPa")
    proof = value(f"alloy.{alloy}.proof_MPa").value
    load, u_load = bite_N(case)
    highest = load + one_sided() * u_load
    free, fixed = (1000.0 * sag_mm(load, span, modulus.value, width, height, e) for e in ("free", "fixed"))
    return Beam(
        span_mm=span,
        load_N=load,
        u_load_N=u_load,
        width_mm=width,
        height_mm=height,
        sag_free_um=free,
        sag_fixed_um=fixed,
        u_sag_share=math.hypot(u_load / load, (modulus.uncertainty or 0.0) / modulus.value),
        stress_free_MPa=stress_MPa(load, span, width, height, "free"),
        stress_fixed_MPa=stress_MPa(load, span, width, height, "fixed"),
        proof_MPa=proof,
        height_needed_mm=height_for_mm(highest, span, width, proof),
    )


def bite_N(case: Case) -> tuple[float, float]:
    """Largest bite on the span and its standard uncertainty: as stated, or for the hindmost missing tooth."""
    if case.casting.load_N is not None:
        return case.casting.load_N, 0.0
    molar = value("bite.molar_N")
    place = max(tooth % 10 for tooth in case.missing)
    if place >= 6:
        return molar.value, molar.uncertainty or 0.0
    kind = "incisor" if place <= 2 else "canine" if place == 3 else "premolar"
    share = value(f"bite.{kind}_share")
    mean = molar.value * share.value
    return mean, mean * math.hypot(
        (molar.uncertainty or 0.0) / molar.value, (share.uncertainty or 0.0) / share.value
    )


def _span_mm(case: Case) -> float | None:
    """Free length: as stated, or the crown widths of the missing teeth."""
    if case.casting.beam_span_mm is not None:
        return case.casting.beam_span_mm
    try:
        return math.fsum(value(f"crown.{tooth}.mesiodistal_mm").value for tooth in case.missing) or None
    except ReferenceValueError:
        return None
